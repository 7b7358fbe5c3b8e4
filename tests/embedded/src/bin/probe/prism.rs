use core::hint::black_box;

use dioptric::{
    prism::{self, Eye, EyePrism, Prism},
    quantity::{Axis, RefractiveIndex},
};

use crate::{degrees, keep, parse, prism_dioptres, show, vector::matrix, word};

pub fn prism() -> Prism {
    Prism::new(prism_dioptres(), prism_dioptres())
}

fn eye() -> Eye {
    black_box(Eye::Left)
}

pub fn probe() {
    prisms();
    notation();
    let index = RefractiveIndex::from_bits(word()).unwrap_or(RefractiveIndex::AIR);
    keep(prism::deviation(prism_dioptres()));
    keep(prism::from_deviation(degrees()));
    keep(prism::apical_angle(prism_dioptres(), index));
    match prism::decentration(matrix(), prism()) {
        Ok(point) => show(&point),
        Err(no_power) => show(&no_power),
    }
}

fn prisms() {
    let (value, other) = (prism(), prism());
    let bearing = Axis::bearing(Axis::from_bits(word()));
    keep(Prism::from_base(prism_dioptres(), bearing));
    keep(Prism::resultant(value));
    keep(Prism::component(value, bearing));
    keep(Prism::is_saturated(value));
    keep(Prism::mirrored(value));
    keep(Prism::shared(value, word() as u8));
    keep(value + other);
    keep(value - other);
    keep(-value);
    keep([value, other, value].into_iter().sum::<Prism>());
    show(&value);
    parse::<Prism>();
}

fn notation() {
    keep(Eye::other(eye()));
    show(&eye());
    keep(Prism::from_bases(eye(), prism_dioptres(), prism_dioptres()));
    keep(Prism::parse(black_box("1.50 base in"), eye()));
    let named = Prism::of(prism(), eye());
    keep(EyePrism::base_in(named));
    keep(EyePrism::base_up(named));
    keep(EyePrism::prism(named));
    show(&named);
}
