//! Streams of results whose checksums must be the same on every machine: the host, and each core at each opt-level.
//!
//! Integers only, and no memory: the same files are compiled into the firmware and into the host's test. A stream feeds
//! one function structured edges first (powers of two and their neighbours, octant borders, extreme values: where
//! carries and signs go wrong), then random inputs of every magnitude.

mod chain;
mod digest;
mod finder;
mod form;
mod holes;
mod inputs;
mod lens;
mod light;
mod math;
mod multifocal;
mod pair;
mod prism;
mod quantity;
mod rx;
mod seen;
mod sensor;
mod shape;
mod tolerance;
mod uncertainty;
mod vector;
mod worn;
mod zones;

pub use digest::Digest;

/// A named stream.
pub struct Stream {
    pub name: &'static str,
    pub run: fn(&mut Digest),
}

/// Every stream, in the order of `digests.txt`.
pub fn all() -> impl Iterator<Item = &'static Stream> {
    [
        inputs::STREAMS,
        math::STREAMS,
        quantity::STREAMS,
        rx::STREAMS,
        vector::STREAMS,
        prism::STREAMS,
        lens::STREAMS,
        worn::STREAMS,
        form::STREAMS,
        seen::STREAMS,
        finder::STREAMS,
        holes::STREAMS,
        sensor::STREAMS,
        light::STREAMS,
        uncertainty::STREAMS,
        multifocal::STREAMS,
        zones::STREAMS,
        tolerance::STREAMS,
        pair::STREAMS,
        shape::STREAMS,
        chain::STREAMS,
    ]
    .into_iter()
    .flatten()
}

impl Stream {
    /// The whole stream's digest.
    #[must_use]
    pub fn digest(&self) -> Digest {
        let mut digest = Digest::new();
        (self.run)(&mut digest);
        digest
    }
}
