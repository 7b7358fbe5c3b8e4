//! Quantities in the device's log (feature `defmt`), in the same notation as `Display`.

use crate::text::{Notation, decimal_parts};

/// The sign stands in the format strings: as an argument it would be shown in quotes wherever a derived `Format` nests.
pub(crate) fn fixed(f: defmt::Formatter<'_>, bits: i64, fraction_bits: u32, notation: Notation) {
    let (sign, units, fraction) = decimal_parts(bits, fraction_bits, notation);
    match (sign, notation.digits) {
        ("-", 3) => defmt::write!(f, "-{=u64}.{=u64:03}", units, fraction),
        ("+", 3) => defmt::write!(f, "+{=u64}.{=u64:03}", units, fraction),
        (_, 3) => defmt::write!(f, "{=u64}.{=u64:03}", units, fraction),
        ("-", _) => defmt::write!(f, "-{=u64}.{=u64:02}", units, fraction),
        ("+", _) => defmt::write!(f, "+{=u64}.{=u64:02}", units, fraction),
        _ => defmt::write!(f, "{=u64}.{=u64:02}", units, fraction),
    }
}
