use dioptric::{
    quantity::{Bearing, Degree, Millimetre, Point},
    shape::{Contour, Motion, SizeTarget},
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] =
    &[Stream { name: "shape.outlines", run: outlines }, Stream { name: "shape.motion", run: motion }];

const COUNT: usize = 96;

/// Within 4 mm.
fn length(generator: &mut Generator) -> Millimetre {
    Millimetre::from_bits(generator.signed() >> 13)
}

/// A round outline, roughened by up to an eighth of a millimetre.
fn outline(generator: &mut Generator) -> [Millimetre; COUNT] {
    let mean = generator.signed() >> 12;
    [0; COUNT].map(|_| Millimetre::from_bits((25 << 16) + mean + (generator.signed() >> 18)))
}

fn take(digest: &mut Digest, point: Point) {
    digest.take([point.x.to_bits() as u32, point.y.to_bits() as u32]);
}

/// About forty outlines: one for so many of the random inputs.
fn each_outline(mut run: impl FnMut(&mut Generator, &Contour)) {
    let mut turn = 0u32;
    random(|generator| {
        turn = turn.wrapping_add(1);
        if turn & 255 == 0 {
            let radii = outline(generator);
            if let Ok(contour) = Contour::new(&radii) {
                run(generator, &contour);
            }
        }
    });
}

fn outlines(digest: &mut Digest) {
    each_outline(|generator, contour| {
        contour.corners().for_each(|corner| take(digest, corner));
        measures(digest, contour);
        others(digest, generator, contour);
    });
}

fn measures(digest: &mut Digest, contour: &Contour) {
    let area = contour.area_square_micrometres() as u64;
    let (diameter, at) = contour.effective_diameter();
    let curved = contour.circumference_on_sphere(Millimetre::from_bits(80 << 16)).unwrap_or_default();
    digest.take([contour.circumference().to_bits() as u32, curved.to_bits() as u32]);
    digest.take([area as u32, (area >> 32) as u32, diameter.to_bits() as u32, at.to_bits()]);
    let bends = contour.bends(3);
    for bend in [bends.sharpest, bends.hollowest] {
        digest.take(bend.map_or([u32::MAX; 2], |bend| [bend.corner as u32, bend.radius.to_bits() as u32]));
    }
    take(digest, contour.boxing().least);
    take(digest, contour.boxing().most);
}

fn others(digest: &mut Digest, generator: &mut Generator, contour: &Contour) {
    let (mut radii, mut angles) = ([Millimetre::ZERO; COUNT], [Bearing::default(); COUNT]);
    let mut take = |made: Option<Contour>| match made {
        Some(made) => made.radii().iter().for_each(|radius| digest.take([radius.to_bits() as u32])),
        None => digest.take([u32::MAX]),
    };
    let wanted = contour.circumference() + length(generator);
    let target = SizeTarget { circumference: wanted, apex: length(generator), sphere: None };
    take(contour.offset(length(generator), &mut radii).ok());
    take(contour.sized(&target, &mut radii).ok().map(|(made, _)| made));
    take(contour.about(Point::new(length(generator), length(generator)), &mut radii).ok());
    take(contour.turned(Degree::from_bits(generator.signed()), &mut radii).ok());
    take(contour.mirrored(&mut radii, &mut angles).ok());
}

fn motion(digest: &mut Digest) {
    random(|generator| {
        let mut place = || Point::new(length(generator), length(generator));
        let (shift, point) = (place(), place());
        let motion = Motion::new(Degree::from_bits(generator.signed()), shift);
        take(digest, motion.of(point));
        take(digest, motion.back(point));
    });
}
