use core::hint::black_box;

use dioptric::rx::{CrossedCylinders, Error, SpheroCylinder, Step};

use crate::{axis, dioptres, keep, parse, show};

pub fn prescription() -> SpheroCylinder {
    SpheroCylinder::new(dioptres(), dioptres(), axis()).unwrap_or_default()
}

pub fn probe() {
    keep(SpheroCylinder::from_sphere(dioptres()));
    let rx = prescription();
    keep(SpheroCylinder::sphere(rx));
    keep(SpheroCylinder::cylinder(rx));
    keep(SpheroCylinder::axis(rx));
    keep(SpheroCylinder::transposed(rx));
    keep(SpheroCylinder::minus_form(rx));
    keep(SpheroCylinder::plus_form(rx));
    keep(SpheroCylinder::spherical_equivalent(rx));
    keep(SpheroCylinder::principal_powers(rx));
    keep(SpheroCylinder::mirrored(rx));
    keep(SpheroCylinder::rounded(rx, black_box(Step::Hundredth)));
    keep(Step::round(black_box(Step::Eighth), dioptres()));
    show(&rx);
    parse::<SpheroCylinder>();
    let crossed = SpheroCylinder::crossed(rx);
    show(&crossed);
    if let Err(error) = CrossedCylinders::sphero_cylinder(crossed) {
        keep(Error::is_range(error));
        show(&error);
    }
}
