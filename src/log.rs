//! Quantities in the device's log (feature `defmt`), in the same notation as `Display`.

use crate::text::{Notation, decimal_parts};

pub(crate) fn fixed(f: defmt::Formatter<'_>, bits: i64, fraction_bits: u32, notation: Notation) {
    let (sign, units, fraction) = decimal_parts(bits, fraction_bits, notation);
    match notation.digits {
        3 => defmt::write!(f, "{=str}{=u64}.{=u64:03}", sign, units, fraction),
        _ => defmt::write!(f, "{=str}{=u64}.{=u64:02}", sign, units, fraction),
    }
}
