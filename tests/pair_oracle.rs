//! The verdict on a pair against the same rules in `f64`, straight from the tables' words, and the ends of their rows to the last unit.
//!
//! Limits: ANSI Z80.1-2015, "Quick Reference Guide - Ansi Z80.1-2015", docslib.org (of progressive lenses from memory); ISO 21987 from
//! memory through GB 13511.1-2011, Table 4.

use dioptric::order::{LensKind, LensMeasurement, LensOrder, Measurement, Order};
use dioptric::prism::Prism;
use dioptric::quantity::{Axis, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::tolerance::{
    ANSI_Z80_1_PAIR, Acceptance, Decision, Finding, ISO_21987_PAIR, Measured, PairClass, PairVerdict, Parameter,
    Uncertainty, Value, judge_pair,
};
use dioptric::vector::PowerMatrix;
use dioptric::{millimetres, prism_dioptres};
use proptest::prelude::*;

/// Prism or millimetres: the slack of 2 units, and what the rounding of a position or of a power in a direction may come to.
const BORDER: f64 = 4e-5;

/// A lens in `f64`: power matrix, surplus of prism, resultant of the ordered prism.
#[derive(Clone, Copy)]
struct Exact {
    power: [[f64; 2]; 2],
    surplus: [f64; 2],
    ordered: f64,
}

impl Exact {
    fn of(power: SpheroCylinder, ordered: Prism, off: Prism) -> Self {
        let (sphere, cylinder) = (power.sphere().to_f64(), power.cylinder().to_f64());
        let axis = f64::from(power.axis().to_bits()) / 4_294_967_296.0 * std::f64::consts::PI;
        // The textbook's: sphere in every direction, cylinder at right angles to its axis.
        let across = [-axis.sin(), axis.cos()];
        let element = |row: usize, column: usize| {
            f64::from(u8::from(row == column)) * sphere + cylinder * across[row] * across[column]
        };
        Self {
            power: [[element(0, 0), element(0, 1)], [element(1, 0), element(1, 1)]],
            surplus: [off.x.to_f64(), off.y.to_f64()],
            ordered: ordered.x.to_f64().hypot(ordered.y.to_f64()),
        }
    }

    /// Where the point with the ordered prism lies: the surplus is F d / 10.
    fn offset(&self) -> [f64; 2] {
        let [[a, b], [c, d]] = self.power;
        let (x, y, det) = (self.surplus[0] * 10.0, self.surplus[1] * 10.0, a * d - b * c);
        [(d * x - b * y) / det, (a * y - c * x) / det]
    }
}

/// How far within the limit: positive conforms.
fn room(value: f64, limit: f64) -> f64 {
    limit - value.abs()
}

/// Room horizontally and vertically, by ANSI Z80.1: the prism's or the position's, whichever is more.
fn ansi(right: &Exact, left: &Exact, progressive: bool) -> [f64; 2] {
    let (r, l) = (right.offset(), left.offset());
    let across = if progressive { room(r[0].abs().max(l[0].abs()), 1.0) } else { room(r[0] - l[0], 2.5) };
    let prism = |at: usize, limit: f64| room(right.surplus[at] - left.surplus[at], limit);
    [prism(0, 0.67).max(across), prism(1, 0.33).max(room(r[1] - l[1], 1.0))]
}

/// The same by ISO 21987, of lenses that are judged together.
fn iso(right: &Exact, left: &Exact) -> [f64; 2] {
    let ordered = right.ordered.max(left.ordered);
    let [across, up] = match ordered {
        ..=2.0 => [[0.67, 0.0], [0.50, 0.0]],
        2.0..=10.0 => [[1.00, 0.33], [0.75, 0.25]],
        _ => [[1.25, 0.58], [1.00, 0.50]],
    };
    let limit = |[within, beyond]: [f64; 2], at: usize, strong: f64, shift: f64| {
        let power = right.power[at][at].abs().min(left.power[at][at].abs());
        if power <= strong { within } else { beyond + 0.1 * shift * power }
    };
    let prism = |at: usize, limit: f64| room(right.surplus[at] - left.surplus[at], limit);
    [prism(0, limit(across, 0, 3.25, 2.0)), prism(1, limit(up, 1, 5.00, 1.0))]
}

fn powers() -> impl Strategy<Value = SpheroCylinder> {
    let eighths = |count: i32| Dioptre::from_thousandths(count * 125).expect("in range");
    (-80i32..=80, -32i32..=0, any::<u32>()).prop_filter_map(
        "a quarter of a dioptre",
        move |(sphere, cylinder, axis)| {
            // A position is an imbalance over the power: below a quarter of a dioptre its rounding is more than the border.
            let weakest = sphere.abs().min((sphere + cylinder).abs());
            (weakest >= 2 && sphere.signum() == (sphere + cylinder).signum()).then(|| {
                SpheroCylinder::new(eighths(sphere), eighths(cylinder), Axis::from_bits(axis)).expect("in range")
            })
        },
    )
}

fn prisms(most: i32) -> impl Strategy<Value = Prism> {
    (-most..=most, -most..=most).prop_map(|(x, y)| Prism::new(PrismDioptre::from_bits(x), PrismDioptre::from_bits(y)))
}

fn lens(power: SpheroCylinder, prism: Prism, kind: LensKind) -> LensOrder {
    LensOrder { power, prism, kind, ..LensOrder::default() }
}

fn found(order: &LensOrder, off: Prism) -> LensMeasurement {
    let optics = Measured { power: Some(order.power.into()), prism: Some(order.prism + off), addition: None };
    LensMeasurement { optics, ..LensMeasurement::default() }
}

fn judged(class: &PairClass, right: (LensOrder, Prism), left: (LensOrder, Prism)) -> PairVerdict {
    let order = Order { right: Some(right.0), left: Some(left.0) };
    let measured = Measurement { right: found(&right.0, right.1), left: found(&left.0, left.1) };
    judge_pair(class, &order, &measured, Acceptance::Simple).expect("lenses that can be ordered")
}

fn of_pair(verdict: &PairVerdict, parameter: Parameter) -> Finding {
    *verdict.pair.as_ref().expect("two lenses").finding(parameter).expect("judged")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    /// Decisions in `f64`, but where a value lies so near a border that rounding decides.
    #[test]
    fn decisions_are_those_of_exact_arithmetic(
        powers in (powers(), powers()), ordered in (prisms(8 << 20), prisms(8 << 20)), off in (prisms(1 << 20), prisms(1 << 20)),
        progressive: bool,
    ) {
        let kind = if progressive { LensKind::PowerVariation } else { LensKind::SingleVision };
        let (right, left) = (lens(powers.0, ordered.0, kind), lens(powers.1, ordered.1, kind));
        let exact = (Exact::of(powers.0, ordered.0, off.0), Exact::of(powers.1, ordered.1, off.1));
        let classes = [
            (&ANSI_Z80_1_PAIR, Some(ansi(&exact.0, &exact.1, progressive))),
            (&ISO_21987_PAIR, (!progressive).then(|| iso(&exact.0, &exact.1))),
        ];
        for (class, rooms) in classes {
            let verdict = judged(class, (right, off.0), (left, off.1));
            let Some(rooms) = rooms else {
                prop_assert!(verdict.pair.unwrap().finding(Parameter::ImbalanceHorizontal).is_none(), "each by itself");
                continue;
            };
            for (parameter, room) in [Parameter::ImbalanceHorizontal, Parameter::ImbalanceVertical].into_iter().zip(rooms) {
                if room.abs() > BORDER {
                    let expected = if room > 0.0 { Decision::Conforms } else { Decision::Fails };
                    prop_assert_eq!(of_pair(&verdict, parameter).decision(), expected, "{} {} {}", class.name, room, verdict);
                }
            }
        }
    }
}

/// Expanded, of each lens.
const U: PrismDioptre = prism_dioptres!(0.03);

proptest! {
    #![proptest_config(ProptestConfig::with_cases(10_000))]

    /// Unequal lenses of any kind, under either rule: after the shift of either lens the imbalance conforms.
    #[test]
    fn after_its_shift_an_unequal_pair_conforms(
        powers in (powers(), powers()), ordered in (prisms(4 << 20), prisms(4 << 20)), off in (prisms(3 << 19), prisms(3 << 19)),
        progressive: bool, guarded: bool,
    ) {
        let kind = if progressive { LensKind::PowerVariation } else { LensKind::SingleVision };
        let orders = [lens(powers.0, ordered.0, kind), lens(powers.1, ordered.1, kind)];
        let uncertainty = Uncertainty {
            prism_horizontal: Some(U),
            prism_vertical: Some(U),
            position: Some(millimetres!(0.05)),
            ..Uncertainty::default()
        };
        let acceptance = if guarded { Acceptance::Guarded } else { Acceptance::Simple };
        let order = Order { right: Some(orders[0]), left: Some(orders[1]) };
        for class in PairClass::ALL {
            let verdict = |off: [Prism; 2]| {
                let [right, left] = [0, 1].map(|at| LensMeasurement { uncertainty, ..found(&orders[at], off[at]) });
                judge_pair(class, &order, &Measurement { right, left }, acceptance).expect("lenses")
            };
            let before = verdict([off.0, off.1]);
            let moved = |order: &LensOrder, off: Prism, shift: Point| off + PowerMatrix::from(order.power).prism_at(-shift);
            let after = [
                before.shift_right.map(|shift| [moved(&orders[0], off.0, shift), off.1]),
                before.shift_left.map(|shift| [off.0, moved(&orders[1], off.1, shift)]),
            ];
            for off in after.into_iter().flatten() {
                let after = verdict(off);
                for parameter in [Parameter::ImbalanceHorizontal, Parameter::ImbalanceVertical] {
                    prop_assert_eq!(of_pair(&after, parameter).decision(), Decision::Conforms, "{} {}", class.name, after);
                }
            }
            // With power in every direction either lens can do it.
            let judged = before.pair.unwrap().finding(Parameter::ImbalanceHorizontal).is_some();
            let conforms = !judged
                || [Parameter::ImbalanceHorizontal, Parameter::ImbalanceVertical]
                    .iter()
                    .all(|parameter| of_pair(&before, *parameter).decision() == Decision::Conforms);
            prop_assert_eq!(conforms, before.shift_right.is_none(), "{}", before);
            prop_assert_eq!(conforms, before.shift_left.is_none(), "{}", before);
        }
    }
}

/// Either decision occurs often enough for the law above to say something.
#[test]
fn the_cases_are_on_both_sides_of_the_border() {
    let off = |y: i32| Prism::new(PrismDioptre::ZERO, PrismDioptre::from_bits(y));
    let order = lens("-2.00 -1.00 x 30".parse().unwrap(), Prism::ZERO, LensKind::SingleVision);
    let conforming = (-32..=32).filter(|step| {
        let verdict = judged(&ISO_21987_PAIR, (order, off(step << 15)), (order, Prism::ZERO));
        of_pair(&verdict, Parameter::ImbalanceVertical).decision() == Decision::Conforms
    });
    // 0.50 of 1.00, in steps of 1/32.
    assert_eq!(conforming.count(), 33);
}

fn limit_of(class: &PairClass, order: LensOrder, parameter: Parameter) -> f64 {
    let verdict = judged(class, (order, Prism::ZERO), (order, Prism::ZERO));
    match of_pair(&verdict, parameter).limit() {
        Some(Value::Prism(limit)) => limit.to_f64(),
        other => panic!("{other:?} is no prism"),
    }
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 4e-6, "{found} for {expected}");
}

/// A value on a row's end belongs to the lower row ("<=" in both ANSI guides and in ISO 8980-1:2004, Table 1), with 2 units of slack.
#[test]
fn a_value_on_the_end_of_a_row_is_in_the_lower_one() {
    let ordered = |bits: i32| {
        lens(
            SpheroCylinder::default(),
            Prism::new(PrismDioptre::ZERO, PrismDioptre::from_bits(bits)),
            LensKind::SingleVision,
        )
    };
    let units = |prism: PrismDioptre| prism.to_bits();
    for (end, lower, upper) in [(prism_dioptres!(2.0), 0.67, 1.00), (prism_dioptres!(10.0), 1.00, 1.25)] {
        for sign in [1, -1] {
            for (over, limit) in [(-1, lower), (0, lower), (2, lower), (3, upper)] {
                let order = ordered(sign * (units(end) + over));
                near(limit_of(&ISO_21987_PAIR, order, Parameter::ImbalanceHorizontal), limit);
            }
        }
    }
    let sphere = |bits: i32| {
        let power = SpheroCylinder::new(Dioptre::from_bits(bits), Dioptre::ZERO, Axis::HORIZONTAL).expect("in range");
        lens(power, prism_up(4.0), LensKind::SingleVision)
    };
    let rows = [
        (Parameter::ImbalanceHorizontal, 3.25, 1.00, 0.33 + 0.2 * 3.25),
        (Parameter::ImbalanceVertical, 5.00, 0.75, 0.25 + 0.1 * 5.00),
    ];
    for (parameter, end, within, beyond) in rows {
        let end = Dioptre::try_from_f64(end).expect("in range").to_bits();
        for sign in [1, -1] {
            for (over, limit) in [(-1, within), (0, within), (2, within), (3, beyond)] {
                near(limit_of(&ISO_21987_PAIR, sphere(sign * (end + over)), parameter), limit);
            }
        }
    }
}

fn prism_up(amount: f64) -> Prism {
    Prism::new(PrismDioptre::ZERO, PrismDioptre::try_from_f64(amount).expect("in range"))
}

/// A single-vision lens's place as read with a rule has the rule's uncertainty, not that of the fit: 1.0 mm of heights less 0.14.
#[test]
fn a_position_read_in_the_frame_has_the_uncertainty_of_its_reading() {
    let order = LensOrder {
        centration_distance: Some(millimetres!(31.0)),
        height: Some(millimetres!(20.0)),
        ..lens("-8.00".parse().unwrap(), Prism::ZERO, LensKind::SingleVision)
    };
    let uncertainty = Uncertainty {
        prism_horizontal: Some(prism_dioptres!(0.001)),
        prism_vertical: Some(prism_dioptres!(0.001)),
        position: Some(millimetres!(0.001)),
        length: Some(millimetres!(0.1)),
        ..Uncertainty::default()
    };
    let at = |height: Millimetre, off: Prism| LensMeasurement {
        centration_distance: Some(millimetres!(31.0)),
        height: Some(height),
        uncertainty,
        ..found(&order, off)
    };
    let decision = |height: Millimetre| {
        let measured = Measurement { right: at(height, prism_up(-0.8)), left: at(millimetres!(20.0), Prism::ZERO) };
        let both = Order { right: Some(order), left: Some(order) };
        let verdict = judge_pair(&ANSI_Z80_1_PAIR, &both, &measured, Acceptance::Guarded).expect("lenses");
        of_pair(&verdict, Parameter::ReferenceHeights).decision()
    };
    let heights = [millimetres!(20.8), millimetres!(20.9), millimetres!(21.1), millimetres!(21.2)];
    let [conforms, undetermined, fails] = [Decision::Conforms, Decision::Undetermined, Decision::Fails];
    assert_eq!(heights.map(decision), [conforms, undetermined, undetermined, fails]);
}
