use dioptric::{
    lens::{self, EdgedLens, Error, Line, Material, OutlineError, Surface, ThickLens, ToricCurves, WavelengthError},
    quantity::{AbbeNumber, Bearing, CubicMillimetre, Density, Fraction, Nanometre, RefractiveIndex},
    rx::SpheroCylinder,
    vector::PowerMatrix,
};

use core::hint::black_box;

use crate::{axis, dioptres, int, keep, millimetres, point, prism::prism, prism_dioptres, show, vector::matrix, word};

pub fn probe() {
    curves();
    edges();
    dispersion();
    keep(lens::conic_sagitta(millimetres(), Fraction::from_bits(int()), millimetres()));
}

fn index() -> RefractiveIndex {
    RefractiveIndex::from_bits(word()).unwrap_or(RefractiveIndex::AIR)
}

fn prescription() -> SpheroCylinder {
    SpheroCylinder::new(dioptres(), dioptres(), axis()).unwrap_or_default()
}

fn curves() {
    keep(ToricCurves::for_base(prescription(), dioptres()));
    keep(ToricCurves::try_from(matrix()));
    keep(ToricCurves::from(prescription()));
    if let Ok(curves) = ToricCurves::new(dioptres(), dioptres(), axis()) {
        keep(ToricCurves::base(curves));
        keep(ToricCurves::cross(curves));
        keep(ToricCurves::meridian(curves));
        keep(ToricCurves::sphero_cylinder(curves));
        keep(PowerMatrix::from(curves));
        show(&curves);
    }
    keep(Surface::sphere(dioptres(), index()).and_then(|surface| Surface::curves(&surface)));
    if let Ok(lens) = ThickLens::new(matrix(), matrix(), index(), millimetres()) {
        keep(ThickLens::base_curve(&lens));
    }
}

fn edges() {
    keep(lens::wedge_difference(prism_dioptres(), index(), millimetres()));
    let Ok(lens) = ThickLens::new(matrix(), matrix(), index(), millimetres()) else { return };
    match EdgedLens::new(lens, point(), prism()) {
        Ok(edged) => {
            let outline = || [point(), point(), point()];
            keep(EdgedLens::lens(&edged));
            keep(EdgedLens::axis(&edged));
            keep(EdgedLens::prism(&edged));
            keep(EdgedLens::thickness_at(&edged, point()));
            keep(EdgedLens::thickness_along(&edged, Bearing::from_bits(word()), millimetres()));
            keep(EdgedLens::with_least_edge(&edged, outline(), millimetres()));
            keep(EdgedLens::for_least_edge(&edged, matrix(), outline(), millimetres()));
            keep(EdgedLens::volume(&edged, outline()).map(CubicMillimetre::to_bits));
            keep(EdgedLens::weight(&edged, outline(), Density::from_bits(int())));
            match EdgedLens::edge(&edged, outline()) {
                Ok(edge) => keep(edge),
                Err(error) => error_of(error),
            }
        }
        Err(error) => show(&error),
    }
}

fn error_of(error: OutlineError) {
    keep(OutlineError::is_range(error));
    show(&error);
    keep(matches!(error, OutlineError::At { reason: Error::NoThickness, .. }));
}

fn dispersion() {
    let line = black_box(Line::E);
    show(&Line::wavelength(line));
    let abbe = AbbeNumber::from_bits(word()).unwrap_or(AbbeNumber::LEAST);
    let wavelength = Nanometre::from_bits(int());
    keep(Material::index_at(&Material::nearest(index()), wavelength));
    // By its module, beside the method of that name.
    match lens::index_at(index(), abbe, wavelength) {
        Ok(index) => keep(index),
        Err(error) => {
            keep(WavelengthError::is_range(error));
            show(&error);
        }
    }
}
