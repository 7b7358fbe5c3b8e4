//! Least squares of a plane in `f64`, and the published worked examples about light.
#![allow(dead_code, reason = "each test file uses its part")]

use dioptric::quantity::Fraction;

/// One reading: place and value.
pub type Reading = [f64; 3];

/// The plane `v = mean + p (x - x0) + q (y - y0)`, and what propagates from it.
pub struct Plane {
    pub centre: [f64; 2],
    pub mean: f64,
    pub p: f64,
    pub q: f64,
    /// Standard deviation of a reading.
    pub residual: f64,
    /// Covariance of p and q for readings of standard deviation one: pp, pq, qq.
    pub covariance: [f64; 3],
    /// Ratio of the places' principal second moments.
    pub condition: f64,
}

impl Plane {
    pub fn of(readings: &[Reading]) -> Self {
        let n = readings.len() as f64;
        let [x, y, v] = [0, 1, 2].map(|i| readings.iter().map(|r| r[i]).sum::<f64>() / n);
        let moment = |i: usize, j: usize| {
            let mean = [x, y, v];
            readings.iter().map(|r| (r[i] - mean[i]) * (r[j] - mean[j])).sum::<f64>()
        };
        let (xx, xy, yy, xv, yv) = (moment(0, 0), moment(0, 1), moment(1, 1), moment(0, 2), moment(1, 2));
        let det = xx * yy - xy * xy;
        let (p, q) = ((xv * yy - yv * xy) / det, (yv * xx - xv * xy) / det);
        let squares: f64 = readings.iter().map(|r| (r[2] - v - p * (r[0] - x) - q * (r[1] - y)).powi(2)).sum();
        let root = ((xx - yy).powi(2) + 4.0 * xy * xy).sqrt();
        Self {
            centre: [x, y],
            mean: v,
            p,
            q,
            residual: (squares / (n - 3.0)).sqrt(),
            covariance: [yy / det, -xy / det, xx / det],
            condition: (xx + yy + root) / (xx + yy - root),
        }
    }

    /// Variance of `a p + b q` for readings of standard deviation one.
    pub fn variance(&self, a: f64, b: f64) -> f64 {
        let [pp, pq, qq] = self.covariance;
        a * a * pp + 2.0 * a * b * pq + b * b * qq
    }
}

pub fn fraction(value: f64) -> Fraction {
    Fraction::try_from_f64(value).expect("in range")
}

/// One unit of a [`Fraction`].
pub const UNIT: f64 = 1.0 / 16_777_216.0;

#[derive(serde::Deserialize, Debug)]
pub struct Row {
    pub id: String,
    pub topic: String,
    pub inputs: String,
    expected: String,
    tolerance: String,
    pub status: String,
    pub source: String,
}

/// The rows of one topic of `data/check_values_sensor.csv`: columns as in `data/check_values.csv`.
pub fn rows(topic: &str) -> Vec<Row> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/check_values_sensor.csv");
    let rows = csv::Reader::from_path(path).expect("the file is there").into_deserialize();
    rows.map(|row| row.expect("seven columns")).filter(|row: &Row| row.topic == topic).collect()
}

fn pairs(text: &str) -> Vec<(String, f64)> {
    let pair = |part: &str| {
        let (name, value) = part.split_once('=').expect("name=value");
        (name.trim().to_owned(), value.trim().parse().expect("a number"))
    };
    text.split(';').map(pair).collect()
}

impl Row {
    /// Name, value, and how far the source lets it be off.
    pub fn expected(&self) -> Vec<(String, f64, f64)> {
        let (wanted, allowed) = (pairs_or_all(&self.tolerance), pairs(&self.expected));
        let tolerance = |name: &str| {
            let found = wanted.iter().find(|(n, _)| n == name || n.is_empty());
            found.unwrap_or_else(|| panic!("{}: no tolerance of {name}", self.id)).1
        };
        allowed.into_iter().map(|(name, value)| (name.clone(), value, tolerance(&name))).collect()
    }

    /// The numbers in a part of the inputs.
    pub fn numbers(&self, from: &str) -> Vec<f64> {
        let at = self.inputs.find(from).unwrap_or_else(|| panic!("{}: no {from}", self.id)) + from.len();
        let rest = &self.inputs[at..];
        let end = rest.find([';', ']']).unwrap_or(rest.len());
        let words = rest[..end].split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-' || c == '+'));
        words.filter_map(|word| word.parse().ok()).collect()
    }
}

/// `0.05` for all values, or `name=0.05` for each.
fn pairs_or_all(text: &str) -> Vec<(String, f64)> {
    text.parse().map_or_else(|_| pairs(text), |all| vec![(String::new(), all)])
}

/// Checks every value of a topic, or has a reason not to: `value` computes one by row and name, `promised` is what the crate
/// promises of it where that is more than the source's tolerance, `left_out` lists rows (`id`) and values (`id name`) with reasons.
pub fn check_rows(
    topic: &str,
    count: usize,
    left_out: &[(&str, &str)],
    value: impl Fn(&Row, &str) -> Option<f64>,
    promised: impl Fn(&Row, &str) -> f64,
) {
    let rows = rows(topic);
    assert_eq!(rows.len(), count);
    for (place, reason) in left_out {
        let is_there = |row: &Row| place.split(' ').next() == Some(row.id.as_str());
        assert!(rows.iter().any(is_there) && !reason.is_empty(), "{place}");
    }
    for row in &rows {
        assert!(!row.source.is_empty(), "{}", row.id);
        for (name, wanted, tolerance) in row.expected() {
            let place = format!("{} {name}", row.id);
            let is_left_out = left_out.iter().any(|(left, _)| *left == row.id || *left == place);
            let found = value(row, &name);
            assert_eq!(found.is_none(), is_left_out, "{place}");
            let Some(found) = found else { continue };
            let allowed = tolerance.max(promised(row, &name));
            println!("{place:16} {found:>16.9} {wanted:>16.9} {:.1e} of {allowed:.0e}", (found - wanted).abs());
            assert!((found - wanted).abs() <= allowed, "{place}: {found}, not {wanted}, by {}", row.source);
        }
    }
}
