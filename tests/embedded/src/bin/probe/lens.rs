mod form;
mod seen;
mod worn;

use dioptric::{
    lens::{self, EquivalentPower, Error, Material, Surface, ThickLens},
    quantity::{AbbeNumber, RefractiveIndex},
};

use crate::{axis, dioptres, keep, millimetres, point, prism::prism, show, vector::matrix, word};

fn index() -> RefractiveIndex {
    RefractiveIndex::from_bits(word()).unwrap_or(RefractiveIndex::AIR)
}

pub fn probe() {
    surfaces();
    thick_lenses();
    sagittas();
    materials();
    form::probe();
    seen::probe();
    worn::probe();
}

fn surfaces() {
    keep(Surface::new(matrix(), index()));
    keep(Surface::sphere(dioptres(), index()));
    keep(Surface::from_clock_reading(dioptres(), index()));
    match Surface::from_radius(millimetres(), index()) {
        Ok(surface) => {
            keep(Surface::power(&surface));
            keep(Surface::index(&surface));
            keep(Surface::at_index(&surface, index()));
            keep(Surface::clock_reading(&surface, axis()));
            keep(Surface::radius_along(&surface, axis()));
            keep(Surface::sagitta_at(&surface, point()));
        }
        Err(error) => error_of(error),
    }
}

fn thick_lenses() {
    keep(ThickLens::for_front(matrix(), matrix(), index(), millimetres()));
    keep(ThickLens::for_back(matrix(), matrix(), index(), millimetres()));
    match ThickLens::new(matrix(), matrix(), index(), millimetres()) {
        Ok(lens) => {
            keep(ThickLens::front(&lens));
            keep(ThickLens::back(&lens));
            keep(ThickLens::index(&lens));
            keep(ThickLens::thickness(&lens));
            keep(ThickLens::reversed(&lens));
            keep(ThickLens::nominal_power(&lens));
            keep(ThickLens::back_vertex_power(&lens));
            keep(ThickLens::front_vertex_power(&lens));
            keep(ThickLens::neutralising_power(&lens));
            keep(ThickLens::equivalent_power(&lens).map(EquivalentPower::elements));
            keep(ThickLens::thickness_at(&lens, point()));
            keep(ThickLens::shape_factor(&lens));
            keep(ThickLens::magnification(&lens, millimetres()));
        }
        Err(error) => error_of(error),
    }
}

fn sagittas() {
    keep(lens::sagitta(millimetres(), millimetres()));
    keep(lens::approximate_sagitta(millimetres(), millimetres()));
    keep(lens::radius_of_sagitta(millimetres(), millimetres()));
}

fn materials() {
    let abbe = AbbeNumber::from_bits(word()).unwrap_or(AbbeNumber::LEAST);
    keep(lens::transverse_chromatic_aberration(prism(), abbe));
    keep(lens::longitudinal_chromatic_aberration(dioptres(), abbe));
    keep(lens::reflectance(index()));
    keep(Material::nearest(index()));
}

fn error_of(error: Error) {
    keep(Error::is_range(error));
    show(&error);
}
