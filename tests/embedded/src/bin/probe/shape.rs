use core::hint::black_box;

use dioptric::shape::{Bends, Boxing, Contour, Error, Motion, SizeTarget};

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
            measures(&contour);
            others(&contour);
        }
        Err(error) => show(&error),
    }
}

fn measures(contour: &Contour) {
    keep(Contour::circumference(contour));
    keep(Contour::circumference_in_space(contour));
    keep(Contour::circumference_on_sphere(contour, millimetres()));
    keep(Contour::area_square_micrometres(contour));
    keep(Contour::effective_diameter(contour));
    let bends = Contour::bends(contour, word() as usize);
    keep(Bends::is_convex(&bends));
    let boxing = Contour::boxing(contour);
    keep((Boxing::width(&boxing), Boxing::height(&boxing), Boxing::centre(&boxing)));
}

fn others(contour: &Contour) {
    let mut radii = black_box([millimetres(); 64]);
    let mut angles = black_box([axis().bearing(); 64]);
    let target = SizeTarget { circumference: millimetres(), apex: millimetres(), sphere: Some(millimetres()) };
    keep(Contour::recentred(contour, &mut radii).is_ok());
    keep(Contour::about(contour, point(), &mut radii).is_ok());
    keep(Contour::resampled(contour, &mut radii).is_ok());
    keep(Contour::resampled_at(contour, &angles, &mut radii).is_ok());
    keep(Contour::turned(contour, degrees(), &mut radii).is_ok());
    keep(Contour::mirrored(contour, &mut radii, &mut angles).is_ok());
    keep(Contour::offset(contour, millimetres(), &mut radii).is_ok());
    keep(Contour::sized(contour, &target, &mut radii).is_ok());
}
