//! What must hold for every lens.

use super::number;
use dioptric::prism::Prism;
use dioptric::quantity::{Axis, Degree, Dioptre, Millimetre, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::tolerance::*;
use dioptric::vector::PowerVector;
use proptest::prelude::*;

fn dioptres(most: i32) -> impl Strategy<Value = Dioptre> {
    // Quarters, as most orders are, and anything.
    prop_oneof![
        (-4 * most..=4 * most).prop_map(|quarters| Dioptre::from_bits(quarters << 18)),
        (-most << 20..=most << 20).prop_map(Dioptre::from_bits)
    ]
}

fn prism() -> impl Strategy<Value = Prism> {
    let component = || (-12 << 20..=12 << 20).prop_map(PrismDioptre::from_bits);
    prop_oneof![Just(Prism::ZERO), (component(), component()).prop_map(|(x, y)| Prism::new(x, y))]
}

fn power() -> impl Strategy<Value = SpheroCylinder> {
    let axis = prop_oneof![
        (0..=180u16).prop_map(|axis| Axis::from_degrees(axis).unwrap()),
        any::<u32>().prop_map(Axis::from_bits)
    ];
    (dioptres(25), dioptres(8), axis)
        .prop_map(|(sphere, cylinder, axis)| SpheroCylinder::new(sphere, cylinder, axis).unwrap())
}

fn ordered() -> impl Strategy<Value = Ordered> {
    (power(), proptest::option::of(dioptres(5)), prism()).prop_map(|(power, addition, prism)| Ordered {
        power,
        addition,
        prism,
    })
}

fn small(most: f64) -> impl Strategy<Value = i32> {
    let most = (most * f64::from(1 << 20)) as i32;
    -most..=most
}

/// How far a measured lens is off, in the units of each parameter.
#[derive(Clone, Copy, Debug)]
struct Off {
    sphere: i32,
    cylinder: i32,
    axis: i32,
    addition: i32,
    prism: (i32, i32),
}

fn off() -> impl Strategy<Value = Off> {
    let prism = (small(1.0), small(1.0));
    (small(0.6), small(0.6), small(20.0), small(0.3), prism).prop_map(|(sphere, cylinder, axis, addition, prism)| Off {
        sphere,
        cylinder,
        axis,
        addition,
        prism,
    })
}

impl Off {
    /// `eighths / 8` of it.
    fn part(self, eighths: i32) -> Self {
        let part = |whole: i32| (i64::from(whole) * i64::from(eighths) / 8) as i32;
        Self {
            sphere: part(self.sphere),
            cylinder: part(self.cylinder),
            axis: part(self.axis),
            addition: part(self.addition),
            prism: (part(self.prism.0), part(self.prism.1)),
        }
    }

    /// The ordered lens, off by so much; `None` where the cylinder would change its sign, which turns the axis.
    fn of(self, ordered: &Ordered) -> Option<Measured> {
        let minus = ordered.power.minus_form();
        let shifted = |power: Dioptre, units: i32| Dioptre::from_bits(power.to_bits() + units);
        let cylinder = shifted(minus.cylinder(), self.cylinder);
        if cylinder > Dioptre::ZERO || (cylinder == Dioptre::ZERO) != (minus.cylinder() == Dioptre::ZERO) {
            return None;
        }
        let axis = minus.axis().turned(Degree::from_bits(self.axis));
        let power = SpheroCylinder::new(shifted(minus.sphere(), self.sphere), cylinder, axis).unwrap();
        let component = |prism: PrismDioptre, units: i32| PrismDioptre::from_bits(prism.to_bits() + units);
        Some(Measured {
            power: Some(power.into()),
            addition: ordered.addition.map(|addition| shifted(addition, self.addition)),
            prism: Some(Prism::new(component(ordered.prism.x, self.prism.0), component(ordered.prism.y, self.prism.1))),
        })
    }
}

fn rule() -> impl Strategy<Value = Rule> {
    let guard = || proptest::option::of(small(0.1));
    let powers = [(); 4].map(|()| guard());
    let prisms = [(); 3].map(|()| guard());
    let known = (powers, proptest::option::of(small(3.0)), prisms, guard()).prop_map(
        |([sphere, across, cylinder, addition], axis, [horizontal, vertical, prism], position)| {
            Rule::Guarded(Uncertainty {
                sphere_meridian: sphere.map(Dioptre::from_bits),
                cylinder_meridian: across.map(Dioptre::from_bits),
                cylinder: cylinder.map(Dioptre::from_bits),
                axis: axis.map(Degree::from_bits),
                addition: addition.map(Dioptre::from_bits),
                prism_horizontal: horizontal.map(PrismDioptre::from_bits),
                prism_vertical: vertical.map(PrismDioptre::from_bits),
                prism: prism.map(PrismDioptre::from_bits),
                position: position.map(Millimetre::from_bits),
                ..Uncertainty::default()
            })
        },
    );
    prop_oneof![Just(Rule::Simple), known]
}

fn class() -> impl Strategy<Value = &'static Class> {
    prop::sample::select(Class::ALL.to_vec())
}

fn mirrored_vector(power: PowerVector) -> PowerVector {
    PowerVector { j45: -power.j45, ..power }
}

fn mirrored_order(ordered: &Ordered) -> Ordered {
    Ordered { power: ordered.power.mirrored(), addition: ordered.addition, prism: ordered.prism.mirrored() }
}

fn mirrored(measured: &Measured) -> Measured {
    Measured {
        power: measured.power.map(|power| match power {
            MeasuredPower::Written(power) => power.mirrored().into(),
            MeasuredPower::Vector(power) => mirrored_vector(power).into(),
        }),
        addition: measured.addition,
        prism: measured.prism.map(Prism::mirrored),
    }
}

/// The same but for what a mirror turns round.
fn assert_mirror_images(one: &Verdict, other: &Verdict) {
    assert_eq!(one.findings().count(), other.findings().count());
    for (one, other) in one.findings().zip(other.findings()) {
        assert_eq!(one.decision(), other.decision(), "{one} / {other}");
        assert_eq!(one.limit(), other.limit());
        assert_eq!(one.is_excused(), other.is_excused());
        assert_eq!(one.share_per_mille(), other.share_per_mille());
        let size = |finding: &Finding| finding.deviation().map(|deviation| number(deviation).abs());
        assert_eq!(size(one), size(other), "{one} / {other}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Each finding, and with it the verdict, gets no better while the lens moves away from the order.
    ///
    /// Where the position counts, power and prism move one at a time: a stronger lens has the same prism nearer.
    #[test]
    fn more_deviation_is_never_better(
        class in class(), ordered in ordered(), off in off(), rule in rule(), prism_moves: bool
    ) {
        let off = match (class.prism, prism_moves) {
            (PrismRule::PrismOrPosition { .. }, true) => Off { sphere: 0, cylinder: 0, axis: 0, ..off },
            (PrismRule::PrismOrPosition { .. }, false) => Off { prism: (0, 0), ..off },
            _ => off,
        };
        let mut before: Option<Verdict> = None;
        for eighths in 0..=8 {
            let Some(measured) = off.part(eighths).of(&ordered) else { return Ok(()) };
            let verdict = judge(class, &ordered, &measured, rule);
            for (earlier, finding) in before.iter().flat_map(Verdict::findings).zip(verdict.findings()) {
                prop_assert!(finding.decision() >= earlier.decision(), "{earlier} -> {finding}");
            }
            before = Some(verdict);
        }
    }

    #[test]
    fn right_and_left_agree(class in class(), ordered in ordered(), off in off(), rule in rule(), vector: bool) {
        let Some(mut measured) = off.of(&ordered) else { return Ok(()) };
        if let (true, Some(MeasuredPower::Written(power))) = (vector, measured.power) {
            measured.power = Some(PowerVector::from(power).into());
        }
        let one = judge(class, &ordered, &measured, rule);
        assert_mirror_images(&one, &judge(class, &mirrored_order(&ordered), &mirrored(&measured), rule));
    }

    /// The lens exactly as ordered conforms to every class, and uses nothing of its tolerance.
    #[test]
    fn the_ordered_lens_conforms(class in class(), ordered in ordered()) {
        let measured = Measured { power: Some(ordered.power.into()), addition: ordered.addition, prism: Some(ordered.prism) };
        let verdict = judge(class, &ordered, &measured, Rule::Simple);
        prop_assert_eq!(verdict.decision(), Decision::Conforms);
        for finding in verdict.findings() {
            prop_assert!(finding.share_per_mille().is_none_or(|share| share == 0), "{}", finding);
        }
    }

    /// The verdict is the worst finding; simple acceptance and a guard of nothing agree.
    #[test]
    fn a_guard_of_nothing_is_simple_acceptance(class in class(), ordered in ordered(), off in off()) {
        let Some(measured) = off.of(&ordered) else { return Ok(()) };
        let nothing = Rule::Guarded(Uncertainty {
            sphere_meridian: Some(Dioptre::ZERO),
            cylinder_meridian: Some(Dioptre::ZERO),
            cylinder: Some(Dioptre::ZERO),
            axis: Some(Degree::ZERO),
            addition: Some(Dioptre::ZERO),
            prism_horizontal: Some(PrismDioptre::ZERO),
            prism_vertical: Some(PrismDioptre::ZERO),
            prism: Some(PrismDioptre::ZERO),
            position: Some(Millimetre::ZERO),
            ..Uncertainty::default()
        });
        let simple = judge(class, &ordered, &measured, Rule::Simple);
        let guarded = judge(class, &ordered, &measured, nothing);
        let decisions = |verdict: &Verdict| verdict.findings().map(Finding::decision).collect::<Vec<_>>();
        prop_assert_eq!(decisions(&simple), decisions(&guarded));
        prop_assert_eq!(Some(simple.decision()), decisions(&simple).into_iter().max());
    }

    /// No input makes it panic or accept what is saturated.
    #[test]
    fn anything_is_judged(bits: [i32; 9], axis: u32, class in class(), rule in rule()) {
        let [m, j0, j45, sphere, cylinder, ordered_addition, addition, x, y] = bits;
        let d = Dioptre::from_bits;
        let power = SpheroCylinder::new(d(sphere >> 6), d(cylinder >> 6), Axis::from_bits(axis)).unwrap_or_default();
        let ordered = Ordered { power, addition: Some(d(ordered_addition)), prism: Prism::ZERO };
        let power = PowerVector { m: d(m), j0: d(j0), j45: d(j45) };
        let prism = Prism::new(PrismDioptre::from_bits(x), PrismDioptre::from_bits(y));
        let measured = Measured { power: Some(power.into()), addition: Some(d(addition)), prism: Some(prism) };
        let verdict = judge(class, &ordered, &measured, rule);
        for finding in verdict.findings() {
            if finding.deviation().is_some_and(Value::is_saturated) && !finding.is_excused() {
                prop_assert_eq!(finding.decision(), Decision::Fails);
            }
        }
        prop_assert!(!verdict.to_string().is_empty());
    }
}
