//! What the camera of a sensor saw, compiled in so that this example needs no camera.
//!
//! From the ray-traced data of the library's tests (`tests/data/raytrace`, lens `minus_02_25_cyl_1_50_axis_035_n150_near`,
//! gap 5 mm, throw 20 mm): of its holes those on a lattice of 1 mm, to 0.1 um. Simulated: no lens was measured.

use dioptric::{millimetres, quantity::Point, sensor::SpotPair};

/// Where a hole is, and where its light lands with the lens, millimetres. The compiler works the numbers out: there is no
/// float in the program.
macro_rules! pair {
    ($x:literal, $y:literal, $u:literal, $v:literal) => {
        match SpotPair::new(
            Point::new(millimetres!($x), millimetres!($y)),
            Point::new(millimetres!($u), millimetres!($v)),
        ) {
            Ok(pair) => pair,
            Err(_) => panic!("a spot is out of range"),
        }
    };
}

pub const SPOTS: [SpotPair; 29] = [
    pair!(0.0, 3.0, -0.0411, 3.1925),
    pair!(-2.0, 2.0, -2.1358, 2.1557),
    pair!(-1.0, 2.0, -1.0815, 2.1419),
    pair!(0.0, 2.0, -0.0274, 2.1282),
    pair!(1.0, 2.0, 1.0267, 2.1145),
    pair!(2.0, 2.0, 2.0809, 2.1008),
    pair!(-2.0, 1.0, -2.1220, 1.0915),
    pair!(-1.0, 1.0, -1.0678, 1.0778),
    pair!(0.0, 1.0, -0.0137, 1.0641),
    pair!(1.0, 1.0, 1.0404, 1.0504),
    pair!(2.0, 1.0, 2.0946, 1.0367),
    pair!(-3.0, 0.0, -3.1625, 0.0411),
    pair!(-2.0, 0.0, -2.1082, 0.0274),
    pair!(-1.0, 0.0, -1.0541, 0.0137),
    pair!(0.0, 0.0, 0.0000, 0.0000),
    pair!(1.0, 0.0, 1.0541, -0.0137),
    pair!(2.0, 0.0, 2.1082, -0.0274),
    pair!(3.0, 0.0, 3.1625, -0.0411),
    pair!(-2.0, -1.0, -2.0946, -1.0367),
    pair!(-1.0, -1.0, -1.0404, -1.0504),
    pair!(0.0, -1.0, 0.0137, -1.0641),
    pair!(1.0, -1.0, 1.0678, -1.0778),
    pair!(2.0, -1.0, 2.1220, -1.0915),
    pair!(-2.0, -2.0, -2.0809, -2.1008),
    pair!(-1.0, -2.0, -1.0267, -2.1145),
    pair!(0.0, -2.0, 0.0274, -2.1282),
    pair!(1.0, -2.0, 1.0815, -2.1419),
    pair!(2.0, -2.0, 2.1358, -2.1557),
    pair!(0.0, -3.0, 0.0411, -3.1925),
];
