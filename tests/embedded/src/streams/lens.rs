use dioptric::{
    lens::{
        Error, Surface, ThickLens, approximate_sagitta, longitudinal_chromatic_aberration, radius_of_sagitta,
        reflectance, sagitta, transverse_chromatic_aberration,
    },
    quantity::{AbbeNumber, Axis, Millimetre, Point, RefractiveIndex},
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{Generator, edges, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "lens.thick", run: thick },
    Stream { name: "lens.missing_surface", run: missing_surface },
    Stream { name: "lens.surface", run: surface },
    Stream { name: "lens.sagitta", run: sagittas },
    Stream { name: "lens.thickness", run: thickness },
    Stream { name: "lens.material", run: material },
];

fn index(generator: &mut Generator) -> RefractiveIndex {
    RefractiveIndex::from_bits((5 << 27) + generator.word() % (11 << 27)).unwrap_or(RefractiveIndex::AIR)
}

/// From 0 to 30 mm.
fn centre(generator: &mut Generator) -> Millimetre {
    Millimetre::from_bits((generator.word() % ((30 << 16) + 1)) as i32)
}

fn lens(generator: &mut Generator) -> Result<ThickLens, Error> {
    let (front, back) = (generator.matrix(), generator.matrix());
    ThickLens::new(front, back, index(generator), centre(generator))
}

fn take(digest: &mut Digest, found: Result<PowerMatrix, Error>) {
    match found {
        Ok(power) => digest.take(power.words()),
        Err(error) => digest.take([u32::from(error.is_range())]),
    }
}

fn thick(digest: &mut Digest) {
    random(|generator| match lens(generator) {
        Ok(lens) => {
            take(digest, lens.back_vertex_power());
            take(digest, lens.front_vertex_power());
            take(digest, lens.neutralising_power());
            take(digest, lens.equivalent_power().map(|equivalent| equivalent.power));
            digest.take_or(lens.equivalent_power().ok().map(|equivalent| equivalent.skew));
        }
        Err(error) => digest.take([u32::from(error.is_range())]),
    });
}

fn missing_surface(digest: &mut Digest) {
    random(|generator| {
        let (given, wanted) = (generator.matrix(), generator.matrix());
        let (index, thickness) = (index(generator), centre(generator));
        take(digest, ThickLens::for_front(given, wanted, index, thickness).map(|lens| lens.back().power()));
        take(digest, ThickLens::for_back(given, wanted, index, thickness).map(|lens| lens.front().power()));
    });
}

fn surface(digest: &mut Digest) {
    for radius in edges().map(Millimetre::from_bits) {
        take(digest, Surface::from_radius(radius, Surface::CLOCK_INDEX).map(|surface| surface.power()));
    }
    random(|generator| {
        let (power, from, to) = (generator.matrix(), index(generator), index(generator));
        let meridian = Axis::from_bits(generator.word());
        take(digest, Surface::from_clock_reading(power.xx, from).map(|surface| surface.power()));
        match Surface::new(power, from) {
            Ok(surface) => {
                take(digest, surface.at_index(to).map(|surface| surface.power()));
                digest.take_or(surface.clock_reading(meridian).ok());
                digest.take_or(surface.radius_along(meridian).ok());
            }
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
    });
}

fn sagittas(digest: &mut Digest) {
    let mut all = |radius: Millimetre, semi_diameter: Millimetre| {
        digest.take_or(sagitta(radius, semi_diameter).ok());
        digest.take_or(approximate_sagitta(radius, semi_diameter).ok());
        digest.take_or(radius_of_sagitta(radius, semi_diameter).ok());
    };
    for radius in edges().map(Millimetre::from_bits) {
        for semi_diameter in edges().map(|edge| Millimetre::from_bits(edge >> 9)) {
            all(radius, semi_diameter);
        }
    }
    random(|generator| {
        let semi_diameter = Millimetre::from_bits((generator.word() % (40 << 16)) as i32);
        all(Millimetre::from_bits(generator.signed()), semi_diameter);
    });
}

fn thickness(digest: &mut Digest) {
    random(|generator| {
        let coordinate = |word: u32| Millimetre::from_bits((word % (56 << 16)) as i32 - (28 << 16));
        let point = Point::new(coordinate(generator.word()), coordinate(generator.word()));
        match lens(generator) {
            Ok(lens) => {
                digest.take_or(lens.front().sagitta_at(point).ok());
                digest.take_or(lens.back().sagitta_at(point).ok());
                digest.take_or(lens.thickness_at(point).ok());
            }
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
    });
}

fn material(digest: &mut Digest) {
    random(|generator| {
        let abbe = AbbeNumber::from_bits((15 << 24) + generator.word() % (85 << 24)).unwrap_or(AbbeNumber::LEAST);
        digest.take(transverse_chromatic_aberration(generator.prism(), abbe).words());
        digest.take(longitudinal_chromatic_aberration(generator.dioptres(), abbe).words());
        digest.take(reflectance(index(generator)).words());
    });
}
