//! The published rows, typed a second time: `tests/data/tolerances.csv`.

use dioptric::tolerance::Class;

/// A row of the file.
#[derive(Clone, Debug, PartialEq, serde::Deserialize)]
pub struct Row {
    pub class: String,
    pub parameter: String,
    pub power_over: Option<f64>,
    pub power_up_to: Option<f64>,
    pub over: Option<f64>,
    pub up_to: String,
    pub limit: String,
    pub confidence: String,
    pub source: String,
}

/// What a row allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    Absolute(f64),
    Percent(f64),
    NoLimit,
}

impl Row {
    pub fn allowed(&self) -> Allowed {
        match self.limit.strip_suffix('%') {
            Some(percent) => Allowed::Percent(percent.parse().unwrap()),
            None if self.limit == "none" => Allowed::NoLimit,
            None => Allowed::Absolute(self.limit.parse().unwrap()),
        }
    }

    /// The upper bound and whether it belongs to the row; `None` when the row is open.
    pub fn end(&self) -> Option<(f64, bool)> {
        match self.up_to.strip_prefix('<') {
            Some(bound) => Some((bound.parse().unwrap(), false)),
            None if self.up_to.is_empty() => None,
            None => Some((self.up_to.parse().unwrap(), true)),
        }
    }

    pub fn class(&self) -> &'static Class {
        let mut instruments = Class::INSTRUMENTS.into_iter();
        Class::find(&self.class)
            .or_else(|| instruments.find(|class| class.name == self.class))
            .unwrap_or_else(|| panic!("there is no class {}", self.class))
    }
}

pub fn rows() -> Vec<Row> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/tolerances.csv");
    let rows: Result<Vec<Row>, _> = csv::Reader::from_path(path).unwrap().deserialize().collect();
    rows.unwrap()
}

/// The rows of one table.
pub fn table(class: &str, parameter: &str) -> Vec<Row> {
    rows().into_iter().filter(|row| row.class == class && row.parameter == parameter).collect()
}
