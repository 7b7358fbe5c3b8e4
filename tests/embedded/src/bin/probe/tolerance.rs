mod pair;

use core::hint::black_box;

use dioptric::{
    sensor::{ExpandedUncertainty, StandardUncertainty},
    tolerance::{
        self, AdditionRow, Class, Confidence, DirectionLimit, Error, Finding, Limit, Measured, MeasuredPower, Ordered,
        Parameter, PrismRule, RowPower, Rule, TestReading, Uncertainty, Value, Verdict,
    },
};

use crate::{
    axis, degrees, dioptres, keep, millimetres, point, prism::prism, prism_dioptres, rx::prescription, show,
    vector::vector, word,
};

pub fn probe() {
    let ordered = Ordered { power: prescription(), addition: black_box(Some(dioptres())), prism: prism() };
    for power in [MeasuredPower::from(vector()), MeasuredPower::from(prescription())] {
        let measured =
            Measured { power: Some(power), addition: black_box(Some(dioptres())), prism: black_box(Some(prism())) };
        for rule in [Rule::Simple, Rule::Guarded(uncertainty())] {
            let class = black_box("iso21987");
            keep(Class::find(class).map(|class| verdict(&tolerance::judge(class, &ordered, &measured, rule))));
        }
    }
    keep(Uncertainty::of_fit(&standard_uncertainty()));
    keep(Uncertainty::of_budget(&expanded_uncertainty()));
    instrument();
    keep(Limit::of(black_box(Limit::Percent(2)), dioptres()));
    keep(tolerance::below(dioptres()));
    directions();
    classes();
    pair::probe();
}

fn instrument() {
    let readings = black_box([
        TestReading::Power { nominal: prescription(), measured: Some(vector().into()) },
        TestReading::Prism { nominal: prism(), measured: Some(prism()) },
    ]);
    for class in black_box(Class::INSTRUMENTS) {
        for rule in [Rule::Simple, Rule::Guarded(uncertainty())] {
            keep(tolerance::judge_instrument(class, &readings, rule, |index, finding| {
                keep(index);
                one(finding);
            }));
            for reading in &readings {
                keep(TestReading::verdict(reading, class, rule));
            }
        }
    }
}

fn directions() {
    let limit = DirectionLimit { limit: degrees(), ..tolerance::POLARISER_AXIS };
    for rule in [Rule::Simple, Rule::Guarded(uncertainty())] {
        let polariser = DirectionLimit::judge_axis(&limit, axis(), black_box(Some(axis())), rule);
        let gradient = DirectionLimit::judge_bearing(&limit, axis().bearing(), black_box(Some(axis().bearing())), rule);
        let ordered = Ordered { power: prescription(), ..Ordered::default() };
        let judged = tolerance::judge(&tolerance::ISO_21987, &ordered, &Measured::default(), rule);
        verdict(&Verdict::with(Verdict::with(judged, polariser), gradient));
    }
}

fn uncertainty() -> Uncertainty {
    Uncertainty {
        sphere_meridian: black_box(Some(dioptres())),
        cylinder_meridian: Some(dioptres()),
        cylinder: Some(dioptres()),
        axis: Some(degrees()),
        addition: Some(dioptres()),
        prism_horizontal: Some(prism_dioptres()),
        prism_vertical: Some(prism_dioptres()),
        prism: Some(prism_dioptres()),
        position: Some(millimetres()),
        polariser: Some(degrees()),
        gradient: Some(degrees()),
        length: black_box(Some(millimetres())),
        tilt: Some(degrees()),
        thickness: Some(millimetres()),
        curve: Some(dioptres()),
        bicentric: Some(prism_dioptres()),
    }
}

fn expanded_uncertainty() -> ExpandedUncertainty {
    ExpandedUncertainty {
        sphere: dioptres(),
        cylinder: dioptres(),
        across: dioptres(),
        axis: black_box(Some(degrees())),
        prism_x: prism_dioptres(),
        prism_y: prism_dioptres(),
        prism_amount: black_box(Some(prism_dioptres())),
        centre: black_box(Some(point())),
    }
}

fn standard_uncertainty() -> StandardUncertainty {
    StandardUncertainty {
        sphere: dioptres(),
        cylinder: dioptres(),
        across: dioptres(),
        axis: black_box(Some(degrees())),
        prism_x: prism_dioptres(),
        prism_y: prism_dioptres(),
        centre: black_box(Some(point())),
    }
}

/// Every kind of row, from a class that is not known when the program is compiled.
fn classes() {
    for class in black_box(Class::ALL) {
        show(class);
        show(&Class::provenance(class));
        keep(Confidence::text(Class::provenance(class)));
        let addition: &'static [AdditionRow] = class.addition.get(word() as usize..).unwrap_or_default();
        let changed = Class { addition, row_power: black_box(RowPower::StrongestMeridian), ..*class };
        if let Err(error) = Class::check(&black_box(Class { prism: PrismRule::NoRequirement, ..changed })) {
            keep(Error::table(error));
            keep(Error::row(error));
            keep(Error::kind(error));
            keep(Error::is_range(error));
            show(&error);
        }
    }
}

fn verdict(verdict: &Verdict) {
    show(&Verdict::decision(verdict));
    show(verdict);
    for finding in Verdict::findings(verdict) {
        one(finding);
    }
    keep(Verdict::finding(verdict, black_box(Parameter::Axis)).map(one));
}

fn one(finding: &Finding) {
    show(&Finding::parameter(finding));
    keep(Finding::decision(finding));
    keep(Finding::is_excused(finding));
    let ordered = Finding::ordered(finding);
    show(&ordered);
    keep(Value::is_saturated(ordered));
    keep(Finding::measured(finding));
    keep(Finding::deviation(finding));
    keep(Finding::limit(finding));
    keep(Finding::uncertainty(finding));
    keep(Finding::share_per_mille(finding));
    show(finding);
}
