use core::num::{NonZeroU32, NonZeroU64};

use dioptric::math;

use crate::{int, keep, long, word};

pub fn probe() {
    keep(math::cos_sin(word()));
    keep(math::half_components(int(), word()));
    keep(math::polar(int(), int()));
    keep(math::atan2(int(), int()));
    keep(math::sqrt(long().cast_unsigned()));
    if let (Some(divisor), Some(by_word)) = (NonZeroU64::new(long().cast_unsigned()), NonZeroU32::new(word())) {
        keep(math::div_round(long(), divisor));
        keep(math::div_round_by_word(long(), by_word));
    }
    keep(math::ratio(long(), long(), word()));
    keep(math::shift_round(long(), word()));
    keep(math::saturate(long()));
}
