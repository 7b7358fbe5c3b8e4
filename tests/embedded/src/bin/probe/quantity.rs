use dioptric::quantity::{
    AbbeNumber, Axis, Bearing, CubicMillimetre, Degree, Density, Dioptre, Error, Fraction, Micrometre, Milligram,
    Millimetre, Nanometre, Point, PrismDioptre, RefractiveIndex,
};

use crate::{int, keep, millimetres, parse, show, show_debug, word};

macro_rules! linear {
    ($($name:ident)*) => {$({
        let value = $name::from_bits(int());
        let other = $name::from(int());
        keep($name::from_thousandths(int()));
        keep($name::to_bits(value));
        keep(i32::from(value));
        keep($name::is_saturated(value));
        keep($name::abs(value));
        keep($name::half(value));
        keep($name::double(value));
        keep(value + other);
        keep(value - other);
        keep(-value);
        keep([value, other, value].into_iter().sum::<$name>());
        keep(value < other);
        show(&value);
        show_debug(&value);
        parse::<$name>();
    })*};
}

macro_rules! direction {
    ($($name:ident)*) => {$({
        let value = $name::from_bits(word());
        let other = $name::from_bits(word());
        let angle = Degree::from_bits(int());
        keep($name::to_bits(value));
        keep($name::from_degrees(word() as u16));
        keep($name::degrees(value));
        keep($name::whole_degrees(value));
        keep($name::rounded(value));
        keep($name::turned(value, angle));
        keep($name::angle_from(value, other));
        show(&value);
        show_debug(&value);
        parse::<$name>();
    })*};
}

pub fn probe() {
    linear!(Dioptre PrismDioptre Millimetre Micrometre Degree Fraction Nanometre CubicMillimetre Density Milligram);
    direction!(Axis Bearing);
    directions();
    index();
    abbe();
    points();
}

fn directions() {
    let axis = Axis::from_bits(word());
    keep(Axis::perpendicular(axis));
    keep(Axis::bearing(axis));
    keep(Axis::mirrored(axis));
    keep(Bearing::opposite(Bearing::from_bits(word())));
}

fn index() {
    match RefractiveIndex::from_bits(word()) {
        Ok(index) => {
            keep(RefractiveIndex::to_bits(index));
            show(&index);
            show_debug(&index);
        }
        Err(error) => error_of(error),
    }
    keep(RefractiveIndex::try_from(word()).map(u32::from));
    parse::<RefractiveIndex>();
}

fn abbe() {
    match AbbeNumber::from_bits(word()) {
        Ok(abbe) => {
            keep(AbbeNumber::to_bits(abbe));
            show(&abbe);
            show_debug(&abbe);
        }
        Err(error) => error_of(error),
    }
    keep(AbbeNumber::try_from(word()).map(u32::from));
    parse::<AbbeNumber>();
}

fn error_of(error: Error) {
    keep(Error::is_range(error));
    show(&error);
}

fn points() {
    let (point, other) = (Point::new(millimetres(), millimetres()), Point::new(millimetres(), millimetres()));
    keep(Point::distance(point));
    keep(Point::is_saturated(point));
    keep(point + other);
    keep(point - other);
    keep(-point);
    show(&point);
}
