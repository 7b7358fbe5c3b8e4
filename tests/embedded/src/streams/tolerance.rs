use dioptric::{
    quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, PrismDioptre},
    rx::SpheroCylinder,
    tolerance::{
        self, Class, DirectionLimit, Finding, ISO_8598_1, Measured, Ordered, POLARISER_AXIS, Rule, TestReading,
        Uncertainty, Value,
    },
    vector::PowerVector,
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "tolerance.judge", run: judge },
    Stream { name: "tolerance.direction", run: direction },
    Stream { name: "tolerance.instrument", run: instrument },
];

fn bits(value: Option<Value>) -> u32 {
    match value {
        Some(Value::Power(power)) => power.to_bits() as u32,
        Some(Value::Axis(axis)) => axis.to_bits(),
        Some(Value::Bearing(bearing)) => bearing.to_bits(),
        Some(Value::Angle(angle)) => angle.to_bits() as u32,
        Some(Value::Prism(prism)) => prism.to_bits() as u32,
        Some(Value::Length(length)) => length.to_bits() as u32,
        None => u32::MAX,
    }
}

pub fn words(finding: &Finding) -> [u32; 7] {
    [
        u32::from(finding.is_excused()) << 16 | (finding.decision() as u32) << 8 | finding.parameter() as u32,
        bits(Some(finding.ordered())),
        bits(finding.measured()),
        bits(finding.deviation()),
        bits(finding.limit()),
        bits(finding.uncertainty()),
        finding.share_per_mille().unwrap_or(u32::MAX),
    ]
}

/// Deviations about as large as the limits.
impl Generator {
    /// Within a quarter of a dioptre, or of a prism dioptre.
    fn small(&mut self) -> i32 {
        (self.word() as i32) >> 13
    }

    fn near(&mut self, rx: SpheroCylinder) -> SpheroCylinder {
        let off = |value: Dioptre, by| value + Dioptre::from_bits(by);
        let axis = Axis::from_bits(rx.axis().to_bits().wrapping_add(((self.word() as i32) >> 4) as u32));
        SpheroCylinder::new(off(rx.sphere(), self.small()), off(rx.cylinder(), self.small()), axis).unwrap_or_default()
    }

    fn sometimes<T>(&mut self, value: T) -> Option<T> {
        (self.word() & 7 != 0).then_some(value)
    }

    fn rule(&mut self) -> Rule {
        if self.word() & 1 == 0 {
            return Rule::Simple;
        }
        let small = Dioptre::from_bits(self.small() >> 2);
        let meridian = self.sometimes(small);
        let prism = Some(PrismDioptre::from_bits(small.to_bits()));
        Rule::Guarded(Uncertainty {
            sphere_meridian: meridian,
            cylinder_meridian: meridian,
            cylinder: self.sometimes(small),
            axis: Some(Degree::from_bits(self.small())),
            addition: Some(small),
            prism_horizontal: prism,
            prism_vertical: prism,
            prism,
            position: Some(Millimetre::from_bits(self.small() >> 6)),
            ..Uncertainty::default()
        })
    }
}

/// Every shipped class on lenses near what was ordered, with and without addition, under both rules.
fn judge(digest: &mut Digest) {
    let mut classes = Class::ALL.iter().cycle();
    random(|generator| {
        let Some(class) = classes.next() else { return };
        let prism = generator.prism();
        let addition = Dioptre::from_bits((generator.word() % 14) as i32 * (1 << 18));
        let power = generator.prescription();
        let ordered = Ordered { power, addition: generator.sometimes(addition), prism };
        let read = generator.near(power);
        let measured = if generator.word() & 1 == 0 { PowerVector::from(read).into() } else { read.into() };
        let mut off = |value: PrismDioptre| value + PrismDioptre::from_bits(generator.small());
        let read_prism = dioptric::prism::Prism::new(off(prism.x), off(prism.y));
        let read_addition = addition + Dioptre::from_bits(generator.small());
        let measured = Measured {
            power: generator.sometimes(measured),
            addition: generator.sometimes(read_addition),
            prism: generator.sometimes(read_prism),
        };
        let verdict = tolerance::judge(class, &ordered, &measured, generator.rule());
        digest.take([verdict.decision() as u32]);
        for finding in verdict.findings() {
            digest.take(words(finding));
        }
    });
}

/// Directions near and far from what was ordered, under both rules.
fn direction(digest: &mut Digest) {
    random(|generator| {
        let limit = DirectionLimit { limit: Degree::from_bits(generator.small() << 2), ..POLARISER_AXIS };
        let guard = Uncertainty {
            polariser: Some(Degree::from_bits(generator.small())),
            gradient: Some(Degree::from_bits(generator.small())),
            ..Uncertainty::default()
        };
        let rule = if generator.word() & 1 == 0 { Rule::Simple } else { Rule::Guarded(guard) };
        let (ordered, off) = (generator.word(), generator.word() >> (generator.word() & 15));
        let (near, far) = (ordered.wrapping_add(off), ordered.wrapping_sub(off));
        let axis = limit.judge_axis(Axis::from_bits(ordered), Some(Axis::from_bits(near)), rule);
        let bearing = limit.judge_bearing(Bearing::from_bits(ordered), Some(Bearing::from_bits(far)), rule);
        digest.take(words(&axis));
        digest.take(words(&bearing));
    });
}

/// A set of four test lenses, read near their certificates.
fn instrument(digest: &mut Digest) {
    random(|generator| {
        let mut lens = || {
            let nominal = generator.prescription();
            TestReading::Power { nominal, measured: Some(generator.near(nominal).into()) }
        };
        let [a, b, c] = [lens(), lens(), lens()];
        let prism = generator.prism();
        let mut off = |value: PrismDioptre| value + PrismDioptre::from_bits(generator.small());
        let read = dioptric::prism::Prism::new(off(prism.x), off(prism.y));
        let readings = [a, b, c, TestReading::Prism { nominal: prism, measured: Some(read) }];
        let rule = generator.rule();
        let verdict = tolerance::judge_instrument(&ISO_8598_1, &readings, rule, |index, finding| {
            digest.take([index]);
            digest.take(words(finding));
        });
        digest.take([verdict.decision as u32, verdict.failed, verdict.undetermined]);
        digest.take([verdict.worst.map_or(u32::MAX, |(index, _)| index)]);
    });
}
