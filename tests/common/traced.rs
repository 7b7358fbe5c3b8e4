//! The ray-traced lenses of `tests/data/raytrace`.
#![allow(dead_code, reason = "each test file uses its part")]

use dioptric::quantity::{Millimetre, Point};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{Fit, Geometry, SlopeSums, SpotPair};
use std::collections::HashMap;

/// A row of the manifest and the spots of its file.
pub struct Traced {
    pub columns: HashMap<String, String>,
    pub pairs: Vec<SpotPair>,
    pub geometry: Geometry,
    pub fit: Fit,
}

impl Traced {
    pub fn all() -> Vec<Self> {
        let mut manifest = csv::Reader::from_path("tests/data/raytrace/lenses.csv").expect("the manifest");
        manifest.deserialize().map(|row| Self::of(row.expect("a row"))).collect()
    }

    fn of(columns: HashMap<String, String>) -> Self {
        let file = format!("tests/data/raytrace/{}", columns["file"]);
        let length = |text: &str| text.parse::<Millimetre>().expect("a length");
        let pair = |row: csv::StringRecord| {
            let [a, b, c, d] = [0, 1, 2, 3].map(|i| length(&row[i]));
            SpotPair::new(Point::new(a, b), Point::new(c, d)).expect("a spot in range")
        };
        let mut rows = csv::Reader::from_path(file).expect("the spots");
        let pairs: Vec<SpotPair> = rows.records().map(|row| pair(row.expect("a row"))).collect();
        let geometry = Geometry::new(length(&columns["gap_mm"]), length(&columns["throw_mm"])).expect("in range");
        let mut sums = SlopeSums::default();
        sums.add_all(&pairs).expect("few spots");
        let fit = sums.fit(&geometry).expect("a lens");
        Self { columns, pairs, geometry, fit }
    }

    pub fn file(&self) -> &str {
        &self.columns["file"]
    }

    pub fn value(&self, column: &str) -> f64 {
        self.columns[column].parse().unwrap_or(f64::NAN)
    }

    pub fn form(&self) -> SpheroCylinder {
        self.fit.sphero_cylinder().expect("in range")
    }

    /// The largest difference from the named columns.
    pub fn off(&self, seen: &[(&str, f64)]) -> f64 {
        let difference = |(column, seen): &(&str, f64)| (seen - self.value(column)).abs();
        // `max` would pass over what is no number.
        seen.iter().map(difference).fold(0.0, |most, error| if error <= most { most } else { error })
    }
}
