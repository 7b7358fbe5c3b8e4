use core::hint::black_box;

use dioptric::{
    lens::Tilt,
    order::{LensKind, LensMeasurement, LensOrder, Measurement, Order, SegmentSize, Verification, Worn},
    prism::Eye,
    quantity::RefractiveIndex,
    tolerance::{Measured, Uncertainty},
};

use crate::{axis, degrees, dioptres, keep, millimetres, point, prism::prism, prism_dioptres, rx::prescription, word};

pub fn probe() {
    let order = order();
    for eye in black_box([Eye::Right, Eye::Left]) {
        keep(Order::lens(&order, eye).map(|lens| {
            keep(LensOrder::is_position_specific(lens));
            keep(LensOrder::at_bench(lens));
        }));
        keep(*Measurement::lens(&measurement(Uncertainty::default()), eye));
    }
}

fn segment() -> SegmentSize {
    SegmentSize { width: millimetres(), depth: millimetres() }
}

/// With a position of wear on one eye, and the maker's powers on the other.
pub fn order() -> Order {
    let index = RefractiveIndex::from_bits(word()).unwrap_or(RefractiveIndex::AIR);
    let tilt = Tilt::worn(degrees(), degrees(), Eye::Right).ok();
    let worn = tilt.map(|tilt| Worn { tilt, index, refracted_at: millimetres(), fitted_at: millimetres() });
    let maker = Verification { power: prescription(), prism: Some(prism()), addition: Some(dioptres()) };
    let lens = LensOrder {
        kind: black_box(LensKind::Multifocal),
        power: prescription(),
        prism: prism(),
        addition: black_box(Some(dioptres())),
        bicentric: black_box(Some(prism_dioptres())),
        centration_distance: black_box(Some(millimetres())),
        near_centration: black_box(Some(millimetres())),
        height: black_box(Some(millimetres())),
        segment: black_box(Some(segment())),
        polariser: black_box(Some(axis())),
        gradient: black_box(Some(axis().bearing())),
        centre_thickness: black_box(Some(millimetres())),
        base_curve: black_box(Some(dioptres())),
        worn: black_box(worn),
        verification: None,
    };
    let left = LensOrder { kind: black_box(LensKind::PowerVariation), verification: black_box(Some(maker)), ..lens };
    Order { right: black_box(Some(lens)), left: black_box(Some(left)) }
}

pub fn measurement(uncertainty: Uncertainty) -> Measurement {
    let lens = || LensMeasurement {
        optics: Measured {
            power: black_box(Some(prescription().into())),
            addition: black_box(Some(dioptres())),
            prism: black_box(Some(prism())),
        },
        reference_offset: black_box(Some(point())),
        bicentric: black_box(Some(prism_dioptres())),
        centration_distance: black_box(Some(millimetres())),
        near_centration: black_box(Some(millimetres())),
        height: black_box(Some(millimetres())),
        segment: black_box(Some(segment())),
        tilt: black_box(Some(degrees())),
        polariser: black_box(Some(axis())),
        gradient: black_box(Some(axis().bearing())),
        centre_thickness: black_box(Some(millimetres())),
        base_curve: black_box(Some(dioptres())),
        warpage: black_box(Some(dioptres())),
        uncertainty,
    };
    Measurement { right: lens(), left: lens() }
}
