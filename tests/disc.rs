//! Discs of the lens: which spots they take, and the local fits of a lens whose power is not the same everywhere.

use dioptric::{
    millimetres,
    quantity::{Millimetre, Point},
    sensor::{Disc, Error, Geometry, SpotPair},
};
use proptest::prelude::*;

fn mm(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).unwrap()
}

fn point(x: f64, y: f64) -> Point {
    Point::new(mm(x), mm(y))
}

fn coordinate() -> impl Strategy<Value = Millimetre> {
    (-(1i32 << 21)..1 << 21).prop_map(Millimetre::from_bits)
}

fn any_point() -> impl Strategy<Value = Point> {
    (coordinate(), coordinate()).prop_map(|(x, y)| Point::new(x, y))
}

proptest! {
    #[test]
    fn contains_agrees_with_the_distance_in_wide_integers(centre in any_point(), radius in 0i32..1 << 21, at in any_point()) {
        let disc = Disc::new(centre, Millimetre::from_bits(radius)).unwrap();
        let off = |a: Millimetre, b: Millimetre| i128::from(a.to_bits()) - i128::from(b.to_bits());
        let square = off(at.x, centre.x).pow(2) + off(at.y, centre.y).pow(2);
        prop_assert_eq!(disc.contains(at), square <= i128::from(radius).pow(2));
    }

    #[test]
    fn light_leaves_the_lens_on_the_line_through_hole_and_spot(
        hole in any_point(), spot in any_point(), gap in 0i32..=128 << 16, throw in 2i32 << 16..=512 << 16,
    ) {
        let geometry = Geometry::new(Millimetre::from_bits(gap), Millimetre::from_bits(throw)).unwrap();
        let exit = geometry.exit(&SpotPair::new(hole, spot).unwrap());
        let ratio = f64::from(gap) / f64::from(throw);
        for (exit, hole, spot) in [(exit.x, hole.x, spot.x), (exit.y, hole.y, spot.y)] {
            let moved = f64::from(spot.to_bits()) - f64::from(hole.to_bits());
            let error = f64::from(exit.to_bits()) - (f64::from(hole.to_bits()) - moved * ratio);
            prop_assert!(error.abs() <= 0.5 + 4e-8 * moved.abs(), "{error}");
        }
    }
}

/// A point out of the coordinates' range, and a radius below zero.
#[test]
fn a_disc_beyond_the_range_is_refused() {
    assert_eq!(Disc::new(point(33.0, 0.0), mm(1.0)), Err(Error::CoordinateRange));
    assert_eq!(Disc::new(Point::ORIGIN, millimetres!(-0.5)), Err(Error::CoordinateRange));
    assert_eq!(Disc::new(Point::ORIGIN, mm(32.0)), Err(Error::CoordinateRange));
}

/// A lens whose mean power rises by 0.25 D a millimetre downwards, at the plate: `slope = x (2 + y / 4)` to the side and
/// `2 y + y^2 / 8 + x^2 / 8` along y is the gradient of a wavefront. The fit over a disc has the power at its centre.
#[test]
fn a_fit_over_a_disc_has_the_power_at_its_centre() {
    let geometry = Geometry::new(millimetres!(0.0), millimetres!(20.0)).unwrap();
    let steps = || (-20..=20).map(|step| f64::from(step) / 2.0);
    let landing = |x: f64, y: f64| {
        let (u, v) = (x * (2.0 + y / 4.0), 2.0 * y + y * y / 8.0 + x * x / 8.0);
        point(x - 0.02 * u, y - 0.02 * v)
    };
    let pairs: Vec<_> =
        steps().flat_map(|x| steps().map(move |y| SpotPair::new(point(x, y), landing(x, y)).unwrap())).collect();
    for at in [-6.0, 0.0, 6.0] {
        let disc = Disc::new(point(0.0, at), mm(2.75)).unwrap();
        let fit = disc.sums(&pairs, &geometry).unwrap().fit(&geometry).unwrap();
        let error = fit.vector().m.to_f64() - (2.0 + at / 4.0);
        // By symmetry the quadratic terms of the slope do not touch the matrix: what is left is the spots' rounding.
        assert!(error.abs() < 1e-4, "{at}: {error}");
    }
}
