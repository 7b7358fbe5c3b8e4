use core::hint::black_box;

use dioptric::{
    order::LensKind,
    prism::Eye,
    tolerance::{self, Acceptance, ImbalanceLimit, PairClass, PairVerdict},
};

use crate::{dioptres, keep, millimetres, order, prism::prism, prism_dioptres, show, vector::matrix};

pub fn probe() {
    let measured = order::measurement(super::uncertainty());
    for class in black_box(PairClass::ALL) {
        keep(PairClass::provenance(class));
        keep(PairClass::of_lens(class, black_box(LensKind::PowerVariation)).name);
        keep(PairClass::check(class));
        for acceptance in [Acceptance::Simple, Acceptance::Guarded] {
            let verdict = tolerance::judge_pair(class, &order::order(), &measured, black_box(acceptance));
            keep(verdict.map(|verdict| shown(&verdict)));
        }
    }
    keep(PairClass::find(black_box("iso21987")).map(|class| class.title));
    keep(tolerance::shift_for_imbalance(matrix(), prism(), [prism_dioptres(), prism_dioptres()]));
    let limit = ImbalanceLimit {
        power_up_to: dioptres(),
        within: prism_dioptres(),
        beyond: prism_dioptres(),
        shift: millimetres(),
    };
    keep(ImbalanceLimit::of(&limit, dioptres()));
}

fn shown(verdict: &PairVerdict) {
    keep(PairVerdict::decision(verdict));
    show(verdict);
    for eye in black_box([Eye::Right, Eye::Left]) {
        keep(PairVerdict::lens(verdict, eye).map(super::verdict));
    }
    keep(verdict.pair.as_ref().map(super::verdict));
}
