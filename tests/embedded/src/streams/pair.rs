use dioptric::{
    order::{LensKind, LensMeasurement, LensOrder, Measurement, Order, SegmentSize},
    prism::Prism,
    quantity::{Axis, Degree, Dioptre, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    tolerance::{self, Acceptance, Measured, PairClass, Uncertainty},
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
    tolerance::words,
};

pub const STREAMS: &[Stream] =
    &[Stream { name: "tolerance.pair", run: pair }, Stream { name: "tolerance.shift", run: shift }];

/// Within 2 units of the quantity.
fn small(generator: &mut Generator) -> i32 {
    generator.signed() >> 11
}

fn prism(generator: &mut Generator) -> Prism {
    let mut part = || PrismDioptre::from_bits(small(generator) << 1);
    Prism::new(part(), part())
}

fn length(generator: &mut Generator) -> Millimetre {
    Millimetre::from_bits(small(generator) >> 4)
}

fn power(generator: &mut Generator) -> SpheroCylinder {
    let sphere = Dioptre::from_bits(generator.signed() >> 8);
    let cylinder = Dioptre::from_bits(generator.signed() >> 10);
    SpheroCylinder::new(sphere, cylinder, Axis::from_bits(generator.word())).unwrap_or_default()
}

fn order(generator: &mut Generator) -> LensOrder {
    let kinds = [LensKind::SingleVision, LensKind::Multifocal, LensKind::PowerVariation];
    let kind = kinds.get(generator.word() as usize % 3).copied().unwrap_or_default();
    let segment = SegmentSize { width: length(generator), depth: length(generator) };
    LensOrder {
        kind,
        power: power(generator),
        prism: prism(generator),
        bicentric: Some(PrismDioptre::from_bits(small(generator))),
        centration_distance: Some(length(generator)),
        near_centration: Some(length(generator)),
        height: Some(length(generator)),
        segment: Some(segment),
        polariser: Some(Axis::from_bits(generator.word())),
        centre_thickness: Some(length(generator)),
        base_curve: Some(Dioptre::from_bits(small(generator))),
        ..LensOrder::default()
    }
}

fn measured(order: &LensOrder, generator: &mut Generator) -> LensMeasurement {
    let near = |ordered: Option<Millimetre>, off: Millimetre| ordered.map(|ordered| ordered + off);
    let guard = Some(Millimetre::from_bits(small(generator) >> 8));
    let prism_guard = Some(PrismDioptre::from_bits(small(generator) >> 4));
    LensMeasurement {
        optics: Measured {
            power: Some(order.power.into()),
            prism: (generator.word() & 7 != 0).then(|| order.prism + prism(generator)),
            addition: None,
        },
        bicentric: order.bicentric,
        centration_distance: near(order.centration_distance, length(generator)),
        near_centration: near(order.near_centration, length(generator)),
        height: if generator.word() & 1 == 0 { None } else { near(order.height, length(generator)) },
        segment: order.segment,
        tilt: Some(Degree::from_bits(small(generator))),
        polariser: order.polariser,
        centre_thickness: order.centre_thickness,
        base_curve: order.base_curve,
        warpage: Some(Dioptre::from_bits(small(generator))),
        uncertainty: Uncertainty {
            prism_horizontal: prism_guard,
            prism_vertical: prism_guard,
            position: guard,
            length: guard,
            ..Uncertainty::default()
        },
        ..LensMeasurement::default()
    }
}

fn shifted(shift: Option<Point>) -> [u32; 2] {
    shift.map_or([u32::MAX; 2], |shift| [shift.x.to_bits() as u32, shift.y.to_bits() as u32])
}

/// Every class on pairs near what was ordered, under both rules.
fn pair(digest: &mut Digest) {
    let mut classes = PairClass::ALL.iter().cycle();
    random(|generator| {
        let Some(class) = classes.next() else { return };
        let (right, left) = (order(generator), order(generator));
        let order = Order { right: (generator.word() & 7 != 0).then_some(right), left: Some(left) };
        let measurement = Measurement { right: measured(&right, generator), left: measured(&left, generator) };
        let acceptance = if generator.word() & 1 == 0 { Acceptance::Simple } else { Acceptance::Guarded };
        let Ok(verdict) = tolerance::judge_pair(class, &order, &measurement, acceptance) else { return };
        digest.take([verdict.decision() as u32]);
        for part in [verdict.right, verdict.left, verdict.pair].into_iter().flatten() {
            part.findings().for_each(|finding| digest.take(words(finding)));
        }
        digest.take(shifted(verdict.shift_right));
        digest.take(shifted(verdict.shift_left));
        digest
            .take([verdict.blamed_horizontally, verdict.blamed_vertically].map(|eye| eye.map_or(2, |eye| eye as u32)));
    });
}

fn shift(digest: &mut Digest) {
    random(|generator| {
        let limits = [0; 2].map(|_| PrismDioptre::from_bits(small(generator).saturating_abs() >> 2));
        let power = power(generator).into();
        digest.take(shifted(tolerance::shift_for_imbalance(power, prism(generator), limits)));
    });
}
