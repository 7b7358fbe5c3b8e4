//! An instrument judged by its readings of test lenses.

use super::published::table;
use super::{SLACK, d, pd, plus, rx};
use dioptric::axis;
use dioptric::prism::Prism;
use dioptric::quantity::{Degree, Dioptre, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::tolerance::*;

fn sphere(nominal: f64, measured: Dioptre) -> TestReading {
    let of = |power| SpheroCylinder::from_sphere(power).expect("in range");
    TestReading::Power { nominal: of(d(nominal)), measured: Some(of(measured).into()) }
}

fn judged(readings: &[TestReading]) -> (InstrumentVerdict, Vec<(u32, Finding)>) {
    let mut reported = Vec::new();
    let verdict =
        judge_instrument(&ISO_8598_1, readings, Rule::Simple, |index, finding| reported.push((index, *finding)));
    (verdict, reported)
}

/// Spheres of ISO 9342-1 (a supplier's page: 5, 10, 15, 20, 25 D of either sign) on the limits that the published table states.
#[test]
fn spheres_conform_up_to_the_published_limit_and_no_further() {
    let rows = table("iso8598-1", "meridian");
    for nominal in [5.0, 10.0, 15.0, 20.0, 25.0].into_iter().flat_map(|power| [power, -power]) {
        let row = rows.iter().find(|row| row.power_up_to.is_none_or(|end| f64::abs(nominal) <= end)).expect("a row");
        let limit = d(row.limit.parse().expect("a limit"));
        for sign in [1, -1] {
            let off = |units: i32| Dioptre::from_bits(d(nominal).to_bits() + sign * (limit.to_bits() + units));
            let (on, reported) = judged(&[sphere(nominal, off(SLACK))]);
            assert_eq!((on.decision, reported.len()), (Decision::Conforms, 0), "{nominal}");
            let (beyond, reported) = judged(&[sphere(nominal, off(SLACK + 1))]);
            assert_eq!((beyond.decision, beyond.failed, reported.len()), (Decision::Fails, 1, 2), "{nominal}");
            let deviation = Value::Power(Dioptre::from_bits(sign * (limit.to_bits() + SLACK + 1)));
            assert_eq!(
                (reported[0].1.deviation(), reported[0].1.limit()),
                (Some(deviation), Some(Value::Power(limit)))
            );
        }
    }
}

#[test]
fn prisms_are_judged_by_their_components_alone() {
    for (amount, limit) in [(2.0, 0.1), (5.0, 0.1), (10.0, 0.2), (15.0, 0.3), (20.0, 0.4), (25.0, 0.5)] {
        let reading = |units| TestReading::Prism {
            nominal: Prism::new(pd(amount), PrismDioptre::ZERO),
            measured: Some(Prism::new(
                PrismDioptre::from_bits(pd(amount).to_bits() + pd(limit).to_bits() + units),
                PrismDioptre::ZERO,
            )),
        };
        assert_eq!(judged(&[reading(SLACK)]).0.decision, Decision::Conforms, "{amount}");
        let (verdict, reported) = judged(&[reading(SLACK + 1)]);
        assert_eq!(verdict.decision, Decision::Fails, "{amount}");
        let parameters: Vec<_> = reported.iter().map(|(_, finding)| finding.parameter()).collect();
        assert_eq!(parameters, [Parameter::PrismHorizontal]);
        let parameters: Vec<_> =
            reading(0).verdict(&ISO_8598_1, Rule::Simple).findings().map(Finding::parameter).collect();
        assert_eq!(parameters, [Parameter::PrismHorizontal, Parameter::PrismVertical]);
    }
}

/// The cylinder of 5 D: axis within one degree; and the cylinder that is seen in a sphere counts.
#[test]
fn cylinder_and_axis_are_judged() {
    let cylinder = |power: &str| TestReading::Power { nominal: rx("pl -5.00 x 180"), measured: Some(rx(power).into()) };
    assert_eq!(judged(&[cylinder("+0.02 -5.03 x 1")]).0.decision, Decision::Conforms);
    let (_, reported) = judged(&[cylinder("+0.02 -5.03 x 178")]);
    assert_eq!(reported.len(), 1);
    let angle = Value::Angle(Degree::literal(-2.0));
    assert_eq!((reported[0].1.parameter(), reported[0].1.deviation()), (Parameter::Axis, Some(angle)));
    let seen = SpheroCylinder::new(d(5.03), d(-0.07), axis!(90.0)).expect("in range");
    let reading = TestReading::Power { nominal: rx("+5.00 DS"), measured: Some(seen.into()) };
    let (verdict, reported) = judged(&[reading]);
    assert_eq!((verdict.decision, reported.len()), (Decision::Fails, 1));
    assert_eq!(reported[0].1.parameter(), Parameter::Cylinder);
}

#[test]
fn a_set_says_which_failed_and_which_is_worst() {
    let unread = TestReading::Power { nominal: rx("-5.00 DS"), measured: None };
    let set = [sphere(5.0, d(5.05)), sphere(-10.0, d(-10.2)), unread, sphere(20.0, d(20.1)), sphere(25.0, d(25.3))];
    let (verdict, reported) = judged(&set);
    assert_eq!((verdict.decision, verdict.failed, verdict.undetermined), (Decision::Fails, 2, 1));
    let (index, worst) = verdict.worst.expect("a worst one");
    // 0.2 of 0.09, where 0.3 of 0.25 is less.
    assert_eq!((index, worst.share_per_mille()), (1, Some(2222)));
    let indices: Vec<u32> = reported.iter().map(|(index, _)| *index).collect();
    assert_eq!(indices, [1, 1, 2, 2, 2, 4, 4]);
    let (none, _) = judged(&[]);
    assert_eq!((none.decision, none.worst), (Decision::Undetermined, None));
    // A saturated reading is worse than any other.
    let beyond = TestReading::Prism { nominal: Prism::ZERO, measured: Some(Prism::SATURATED) };
    let (verdict, _) = judged(&[set[1], beyond]);
    assert_eq!(verdict.worst.expect("a worst one").0, 1);
}

/// With an uncertainty of the certificates, near the limit nothing is proved.
#[test]
fn guarded_acceptance_leaves_a_zone() {
    let expanded = d(0.02);
    let uncertainty = Uncertainty {
        sphere_meridian: Some(expanded),
        cylinder_meridian: Some(expanded),
        cylinder: Some(expanded),
        ..Uncertainty::default()
    };
    let decision = |off: f64| {
        let reading = sphere(5.0, plus(d(5.0), d(off).to_bits()));
        judge_instrument(&ISO_8598_1, &[reading], Rule::Guarded(uncertainty), |_, _| ()).decision
    };
    assert_eq!(
        [0.03, 0.05, 0.07, 0.09].map(decision),
        [Decision::Conforms, Decision::Undetermined, Decision::Undetermined, Decision::Fails]
    );
}
