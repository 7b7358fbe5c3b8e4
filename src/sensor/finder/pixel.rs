//! Pixels of 8 and of 10 to 16 bits, and the one question that most of them are asked: is any of these bright?

use crate::math;

/// A pixel as the sensor delivers it: `u8`, or `u16` for 10, 12 and up to 16 bits.
pub trait Pixel: sealed::Pixel {}

impl Pixel for u8 {}
impl Pixel for u16 {}

pub(super) mod sealed {
    pub trait Pixel: Copy {
        /// Most bits that the type holds.
        const BITS: u8;
        /// As a number.
        fn level(self) -> u32;
        /// Whether the level of any pixel, its bits turned by `flip`, is above `floor`.
        fn any_above(pixels: &[Self], floor: u32, flip: u32) -> bool;
        /// Sum of the levels of up to 64 pixels.
        fn sum(pixels: &[Self]) -> u32;
    }
}

impl sealed::Pixel for u8 {
    const BITS: u8 = 8;

    #[inline]
    fn level(self) -> u32 {
        self.into()
    }

    #[inline]
    fn any_above(pixels: &[Self], floor: u32, flip: u32) -> bool {
        math::any_byte_above(pixels, floor, flip)
    }

    #[inline]
    fn sum(pixels: &[Self]) -> u32 {
        math::sum_of_bytes(pixels)
    }
}

impl sealed::Pixel for u16 {
    const BITS: u8 = 16;

    #[inline]
    fn level(self) -> u32 {
        self.into()
    }

    #[inline]
    fn any_above(pixels: &[Self], floor: u32, flip: u32) -> bool {
        // Above the floor exactly when the sum reaches bit 16; neither part exceeds 16 bits.
        let lift = 0xffff_u32.saturating_sub(floor);
        let reach = |reached: u32, &pixel: &Self| reached | (u32::from(pixel) ^ flip).wrapping_add(lift);
        pixels.iter().fold(0, reach) > 0xffff
    }

    #[inline]
    fn sum(pixels: &[Self]) -> u32 {
        pixels.iter().fold(0, |sum, &pixel| sum.wrapping_add(pixel.into()))
    }
}

/// How the levels of a frame are read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Scale {
    /// Full scale.
    pub(super) full: u32,
    /// What turns a level into its depth below full scale; 0 where light is looked for.
    pub(super) flip: u32,
}

impl Scale {
    /// A pixel's level, or its depth below full scale; a level beyond full scale counts as that.
    #[inline]
    pub(super) fn level<P: sealed::Pixel>(self, pixel: P) -> u32 {
        pixel.level().min(self.full) ^ self.flip
    }
}
