//! The optics of a spectacle lens in fixed point.
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
#[cfg(feature = "defmt")]
mod log;
pub mod math;
#[cfg(feature = "libm")]
pub mod oracle;
pub mod prism;
pub mod quantity;
pub mod rx;
pub mod sensor;
pub mod text;
pub mod tolerance;
pub mod vector;
