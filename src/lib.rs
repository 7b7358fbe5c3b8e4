#![doc = include_str!("../README.md")]
//!
//! # Map of modules
//!
//! | module | question | types |
//! |---|---|---|
//! | [`quantity`] | in which unit? | [`Dioptre`](quantity::Dioptre), [`PrismDioptre`](quantity::PrismDioptre), [`Millimetre`](quantity::Millimetre), [`Axis`](quantity::Axis), [`Bearing`](quantity::Bearing) |
//! | [`rx`] | what was ordered? | [`SpheroCylinder`](rx::SpheroCylinder) |
//! | [`vector`] | how do powers add, turn and step? | [`PowerVector`](vector::PowerVector), [`PowerMatrix`](vector::PowerMatrix) |
//! | [`prism`] | where is the base, and what does decentring do? | [`Prism`](prism::Prism) |
//! | [`sensor`] | where are the spots, and what lens do they show? how do polariser and tint lie? | [`SpotFinder`](sensor::SpotFinder), [`Reference`](sensor::Reference), [`SlopeSums`](sensor::SlopeSums), [`Fit`](sensor::Fit), [`RobustFit`](sensor::RobustFit), [`PowerMap`](sensor::PowerMap), [`HigherOrder`](sensor::HigherOrder), [`Pose`](sensor::Pose), [`Portions`](sensor::Portions), [`PolariserSums`](sensor::PolariserSums), [`GradientSums`](sensor::GradientSums), [`WavelengthCorrection`](sensor::WavelengthCorrection) |
//! | [`lens`] | what does a lens with two surfaces and a thickness do, how thick and heavy is it in its shape, and what does one that is worn tilted? | [`ThickLens`](lens::ThickLens), [`Surface`](lens::Surface), [`ToricCurves`](lens::ToricCurves), [`EdgedLens`](lens::EdgedLens), [`Tilt`](lens::Tilt) |
//! | [`shape`] | to which outline is it cut, and how large is that? | [`Contour`](shape::Contour), [`Boxing`](shape::Boxing), [`Motion`](shape::Motion) |
//! | [`order`] | what was ordered for both eyes, and what was measured? | [`Order`](order::Order), [`Measurement`](order::Measurement) |
//! | [`tolerance`] | is it the lens, and the pair, that was ordered? | [`Class`](tolerance::Class), [`Verdict`](tolerance::Verdict), [`PairClass`](tolerance::PairClass), [`PairVerdict`](tolerance::PairVerdict) |
//! | [`math`], [`text`] | with what arithmetic and notation? | kernels, [`ParseError`](text::ParseError) |
//!
//! # Conventions
//!
//! Stated here once, and used everywhere.
//!
//! - The plane is right-handed, seen as the observer looks at the wearer, in front of the lens: x to the observer's right, y up.
//!   An axis runs from 1 to 180 degrees counter-clockwise from the observer's right, written 180 rather than 0; a base bearing
//!   from 0 to 360 the same way, for both eyes. Nasal is +x on the right eye and -x on the left: in and out are converted at
//!   the edge, never inside.
//! - Power is the matrix `F = [[M + J0, J45], [J45, M - J0]]` with `M = S + C/2`, `J0 = -(C/2) cos 2A`, `J45 = -(C/2) sin 2A`.
//! - Prism is a vector that points to the base; light bends towards the base by a slope of prism/100. At `r` millimetres from
//!   the optical centre it is `p = -F r / 10` (Prentice, for any lens), so the slopes that a wavefront sensor measures are the
//!   prism field.
//! - A unit is in the type or in the name: dioptres, prism dioptres (cm/m), millimetres, degrees.
//! - Rounding is to nearest and symmetric under negation. A value on a limit counts as within it, with 2 units of 2^-20
//!   (2e-6 D) of slack, since decimal hundredths are not exact in binary.
//! - Overflow: constructors return an error; sums saturate, stay saturated, and no verdict accepts them.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(docsrs, feature(doc_cfg))]
#![deny(
    clippy::arithmetic_side_effects,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    clippy::integer_division,
    clippy::missing_errors_doc,
    clippy::missing_panics_doc,
    clippy::must_use_candidate,
    clippy::allow_attributes_without_reason
)]

#[macro_use]
mod literals;
pub mod lens;
#[cfg(feature = "defmt")]
mod log;
pub mod math;
#[cfg(feature = "libm")]
pub mod oracle;
pub mod order;
pub mod prism;
pub mod quantity;
pub mod rx;
pub mod sensor;
pub mod shape;
pub mod text;
pub mod tolerance;
pub mod vector;
