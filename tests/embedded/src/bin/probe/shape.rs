use core::hint::black_box;

use dioptric::shape::{Contour, Error, Motion};

use crate::{axis, degrees, keep, millimetres, point, show, word};

pub fn probe() {
    let radii = black_box([millimetres(); 64]);
    let angles = black_box([axis().bearing(); 64]);
    contour(Contour::new(&radii));
    contour(Contour::with_angles(&radii, &angles));
    let motion = Motion::new(degrees(), point());
    keep(Motion::of(&motion, point()));
    keep(Motion::back(&motion, point()));
}

fn contour(contour: Result<Contour, Error>) {
    let heights = black_box([millimetres(); 64]);
    match contour.and_then(|contour| Contour::with_heights(contour, &heights)) {
        Ok(contour) => {
            keep(Contour::count(&contour));
            keep(Contour::radii(&contour).len());
            keep(Contour::heights(&contour).map(<[_]>::len));
            keep(Contour::angle(&contour, word() as usize));
            keep(Contour::corners(&contour).last());
        }
        Err(error) => show(&error),
    }
}
