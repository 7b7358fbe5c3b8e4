//! An order and what was measured, as they are stored: read back to the bit, and what no constructor takes is refused.
#![cfg(feature = "serde")]

#[path = "common/stored.rs"]
mod stored;

use dioptric::lens::Tilt;
use dioptric::order::{LensKind, LensMeasurement, LensOrder, Measurement, Order, SegmentSize, Verification, Worn};
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::Point;
use dioptric::tolerance::{Measured, Uncertainty};
use dioptric::{axis, bearing, degrees, dioptres, millimetres, prism_dioptres};
use stored::returns;

const SEGMENT: SegmentSize = SegmentSize { width: millimetres!(28.0), depth: millimetres!(19.0) };

/// Everything ordered that can be.
fn order() -> Order {
    let worn = Worn {
        tilt: Tilt::framed(degrees!(8.0), degrees!(-5.0), Eye::Left).expect("in range"),
        index: "1.6".parse().expect("an index"),
        refracted_at: millimetres!(14.0),
        fitted_at: millimetres!(12.0),
    };
    let maker = Verification {
        power: "-2.12 -1.37 x 34".parse().expect("a prescription"),
        prism: None,
        addition: Some(dioptres!(2.12)),
    };
    let lens = LensOrder {
        kind: LensKind::PowerVariation,
        power: "-2.25 -1.50 x 35".parse().expect("a prescription"),
        prism: Prism::new(prism_dioptres!(1.0), prism_dioptres!(-0.5)),
        addition: Some(dioptres!(2.0)),
        bicentric: Some(prism_dioptres!(1.5)),
        centration_distance: Some(millimetres!(31.5)),
        near_centration: Some(millimetres!(29.5)),
        height: Some(millimetres!(18.0)),
        segment: Some(SEGMENT),
        polariser: Some(axis!(180.0)),
        gradient: Some(bearing!(270.0)),
        centre_thickness: Some(millimetres!(2.2)),
        base_curve: Some(dioptres!(6.0)),
        worn: Some(worn),
        verification: Some(maker),
    };
    Order { right: None, left: Some(lens) }
}

fn measurement() -> Measurement {
    let lens = LensMeasurement {
        optics: Measured { prism: Some(Prism::ZERO), ..Measured::default() },
        reference_offset: Some(Point::new(millimetres!(-0.5), millimetres!(0.25))),
        segment: Some(SEGMENT),
        tilt: Some(degrees!(-1.5)),
        warpage: Some(dioptres!(0.25)),
        uncertainty: Uncertainty { length: Some(millimetres!(0.1)), ..Uncertainty::default() },
        ..LensMeasurement::default()
    };
    Measurement { right: lens, left: LensMeasurement::default() }
}

#[test]
fn stored_values_return() {
    returns(order());
    returns(Order::default());
    returns(measurement());
    returns(Measurement::default());
}

#[test]
fn what_no_constructor_takes_is_refused() {
    let text = serde_json::to_string(&order()).expect("serialises");
    let angle = serde_json::to_string(&degrees!(8.0)).expect("serialises");
    let beyond = serde_json::to_string(&degrees!(31.0)).expect("serialises");
    let changed = text.replacen(&format!("\"pantoscopic\":{angle}"), &format!("\"pantoscopic\":{beyond}"), 1);
    assert_ne!(changed, text);
    let error = serde_json::from_str::<Order>(&changed).expect_err("beyond 30 degrees").to_string();
    assert!(error.contains("within 30 degrees"), "{error}");
}
