//! Numbers as the report shows them.

use std::fmt::Display;

/// What there is not.
pub const DASH: &str = "-";

pub fn or_dash(text: Option<String>) -> String {
    text.unwrap_or_else(|| DASH.into())
}

/// An uncertainty with two digits that count, at least two decimals and at most five.
pub fn two_digits(uncertainty: impl Display) -> String {
    let with = |decimals: usize| unsigned(&format!("{uncertainty:.decimals$}"));
    let counts = |text: &String| text.trim_start_matches(['0', '.']).len() >= 2;
    (2..=5).map(with).find(counts).unwrap_or_else(|| with(5))
}

/// A power displays with a plus.
pub fn unsigned(text: &str) -> String {
    text.trim_start_matches('+').into()
}
