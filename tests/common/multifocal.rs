//! The ray-traced multifocal lenses of `data/multifocal`.
#![allow(dead_code, reason = "each test file uses its part")]

use dioptric::quantity::{Degree, Dioptre, Millimetre, Point};
use dioptric::sensor::{Geometry, Pose, SpotPair, Vertex};
use std::collections::HashMap;

pub fn mm(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).expect("a length")
}

pub fn point(x: f64, y: f64) -> Point {
    Point::new(mm(x), mm(y))
}

pub fn degrees(value: f64) -> Degree {
    Degree::try_from_f64(value).expect("an angle")
}

pub fn dioptres(value: f64) -> Dioptre {
    Dioptre::try_from_f64(value).expect("a power")
}

/// Gap and throw of all files.
pub fn geometry() -> Geometry {
    Geometry::new(mm(5.0), mm(20.0)).expect("in range")
}

fn reader(file: &str) -> csv::Reader<std::fs::File> {
    csv::Reader::from_path(format!("{}/tests/data/multifocal/{file}", env!("CARGO_MANIFEST_DIR"))).expect("the file")
}

pub fn pairs(file: &str) -> Vec<SpotPair> {
    let rows = reader(file).into_deserialize::<[f64; 4]>();
    rows.map(|row| row.expect("four numbers"))
        .map(|[a, b, x, y]| SpotPair::new(point(a, b), point(x, y)).expect("in range"))
        .collect()
}

/// A row of a table by the names of its columns.
pub struct Row(HashMap<String, String>);

impl Row {
    pub fn text(&self, column: &str) -> &str {
        self.0.get(column).unwrap_or_else(|| panic!("no column {column}"))
    }

    pub fn number(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap_or_else(|_| panic!("{column}: {}", self.text(column)))
    }

    pub fn file(&self) -> &str {
        self.text("file")
    }

    /// A place on the lens or in the machine, by the name of its columns.
    pub fn place(&self, name: &str) -> [f64; 2] {
        ["x", "y"].map(|axis| self.number(&format!("{name}_{axis}_mm")))
    }

    pub fn point(&self, name: &str) -> Point {
        let [x, y] = self.place(name);
        point(x, y)
    }

    /// M, J0, J45 of a power.
    pub fn vector(&self, name: &str) -> [f64; 3] {
        let [xx, xy, yy] = ["xx", "xy", "yy"].map(|part| self.number(&format!("{name}_{part}")));
        [(xx + yy) / 2.0, (xx - yy) / 2.0, xy]
    }

    /// The pose in which the lens was traced.
    pub fn pose(&self) -> Pose {
        let vertex = if self.text("vertex") == "front" { Vertex::Front } else { Vertex::Back };
        Pose::given(self.point("offset"), degrees(self.number("rotation_deg")), vertex)
    }
}

pub fn rows(table: &str) -> Vec<Row> {
    reader(table).into_deserialize().map(|row| Row(row.expect("a row"))).collect()
}
