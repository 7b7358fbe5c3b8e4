use core::num::NonZeroU16;

use dioptric::{
    quantity::{Dioptre, Fraction, Micrometre, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    sensor::{
        Calibration, Certified, Component, CorrectionTable, Coverage, Extra, Fit, Freedom, Geometry,
        GeometryUncertainty, Knot, Measurand, SlopeSums, Sources, SpotNoise, SpotPair, TestLens,
    },
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.budget", run: budget },
    Stream { name: "sensor.calibration", run: calibration },
    Stream { name: "sensor.corrections", run: corrections },
];

fn millimetres(whole: i32) -> Millimetre {
    Millimetre::from_bits(whole << Millimetre::FRACTION_BITS)
}

impl Generator {
    fn within(&mut self, bits: u32) -> i32 {
        (self.word() >> (32 - bits)) as i32
    }

    fn noise(&mut self) -> SpotNoise {
        if self.word() & 3 == 0 {
            return SpotNoise::Residual;
        }
        let mut frames = || NonZeroU16::new(self.word() as u16 & 63).unwrap_or(NonZeroU16::MIN);
        let (frames, reference_frames) = (frames(), frames());
        let centroid = Micrometre::from_bits(self.within(17));
        SpotNoise::Known { centroid, freedom: Freedom::new(self.word() & 127), frames, reference_frames }
    }

    fn sources(&mut self) -> Sources {
        let geometry = GeometryUncertainty {
            gap: Millimetre::from_bits(self.within(14)),
            throw: Millimetre::from_bits(self.within(14)),
            correlation: Fraction::from_bits(self.within(26) - (1 << 25)),
            freedom: Freedom::new(self.word() & 63),
        };
        let extra = Extra {
            sphere: Dioptre::from_bits(self.within(14)),
            prism_y: PrismDioptre::from_bits(self.within(14)),
            freedom: Freedom::new(self.word() & 31),
            ..Extra::default()
        };
        Sources { spots: self.noise(), geometry, extra, ..Sources::default() }
    }

    /// The fit of a lens in the plate, seen through five holes.
    fn fit(&mut self, power: PowerMatrix, geometry: Geometry) -> Option<Fit> {
        let mut sums = SlopeSums::default();
        for (x, y) in [(3, 0), (-3, 0), (0, 3), (0, -3), (1, 1)] {
            let hole = Point::new(millimetres(x), millimetres(y));
            let prism = power.prism_at(hole);
            let mut moved = |at: Millimetre, prism: PrismDioptre| {
                let shift = (i64::from(prism.to_bits()) * i64::from(geometry.throw().to_bits()) / 100) >> 20;
                Millimetre::from_bits(at.to_bits().saturating_add(shift as i32).saturating_add(self.within(8)))
            };
            let spot = Point::new(moved(hole.x, prism.x), moved(hole.y, prism.y));
            SpotPair::new(hole, spot).and_then(|pair| sums.add(pair)).ok()?;
        }
        sums.fit(&geometry).ok()
    }
}

fn budget(digest: &mut Digest) {
    random(|generator| {
        let Ok(geometry) = Geometry::new(millimetres(generator.within(3)), millimetres(10 + generator.within(5)))
        else {
            return;
        };
        let power = generator.prescription().into();
        let (Some(fit), sources) = (generator.fit(power, geometry), generator.sources()) else { return };
        let Some(budget) = fit.budget(&sources) else { return };
        let expanded = budget.expanded(Coverage::Percent95);
        digest.take([expanded.sphere, expanded.cylinder, expanded.across].map(|part| part.to_bits() as u32));
        digest.take([expanded.prism_x, expanded.prism_y].map(|part| part.to_bits() as u32));
        digest.take_or(expanded.axis);
        digest.take_or(expanded.prism_amount);
        digest.take_or(expanded.centre);
        if let Some(entry) = budget.entry(Measurand::Sphere) {
            digest.take([entry.freedom.degrees(), entry.dominant() as u32]);
            digest.take(Component::ALL.map(|component| entry.share(component).to_bits() as u32));
        }
    });
}

fn calibration(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..1_200 {
        let Ok(nominal) = Geometry::new(millimetres(5), millimetres(20)) else { return };
        let Ok(actual) = Geometry::new(Millimetre::ZERO, millimetres(18 + generator.within(2))) else { return };
        let mut lenses = [None; 6];
        for (place, whole) in lenses.iter_mut().zip([5, -5, 10, -10, 15, -15]) {
            let power = SpheroCylinder::from_sphere(Dioptre::from_bits(whole << 20)).unwrap_or_default();
            let certified = Certified::Power { power, uncertainty: Dioptre::from_bits(generator.within(14)) };
            // What the sensor believes does not matter.
            let fit = generator.fit(power.into(), actual);
            *place = fit.and_then(|fit| TestLens::new(&fit, certified, generator.noise()).ok());
        }
        let [Some(a), Some(b), Some(c), Some(d), Some(e), Some(f)] = lenses else { continue };
        let lenses = [a, b, c, d, e, f];
        let found = match Calibration::of(&lenses, nominal) {
            Ok(found) => found,
            Err(error) => {
                digest.take([u32::from(error.is_range())]);
                continue;
            }
        };
        let geometry = found.geometry();
        digest.take([geometry.gap(), geometry.throw()].map(|part| part.to_bits() as u32));
        let uncertainty = found.uncertainty();
        digest.take([uncertainty.gap, uncertainty.throw].map(|part| part.to_bits() as u32));
        digest.take([uncertainty.correlation, found.chi_squared()].map(|part| part.to_bits() as u32));
        for lens in &lenses {
            digest.take([found.residual(lens).map_or(0, |left| left.standardised().to_bits() as u32)]);
        }
        if let Ok(drift) = found.check(&lenses) {
            digest.take([drift.state as u32, drift.worst]);
            digest.take([drift.scale, drift.uncertainty, drift.statistic].map(|part| part.to_bits() as u32));
        }
    }
}

fn corrections(digest: &mut Digest) {
    random(|generator| {
        let (step, mut at) = (1 + generator.within(23), -(generator.within(25)));
        let knots: [Knot<Dioptre>; 4] = core::array::from_fn(|_| {
            at += step;
            Knot { at: Dioptre::from_bits(at), correction: Dioptre::from_bits(generator.within(17) - (1 << 16)) }
        });
        let power = generator.vector();
        match CorrectionTable::new(&knots) {
            Ok(table) => digest.take(table.power(power).words()),
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
        let knots = knots.map(|knot| Knot {
            at: PrismDioptre::from_bits(knot.at.to_bits()),
            correction: PrismDioptre::from_bits(knot.correction.to_bits()),
        });
        let prism = generator.prism();
        if let Ok(table) = CorrectionTable::new(&knots) {
            digest.take(table.prism(prism).words());
        }
    });
}
