//! From the rows of two frames to a verdict: the job of the firmware example `frames`.

#[path = "../../../../examples/firmware/src/bin/frames/bench.rs"]
mod bench;
#[path = "../../../../examples/firmware/src/bin/frames/camera.rs"]
mod camera;
#[path = "../../../../examples/firmware/src/bin/frames/inspect.rs"]
mod inspect;

use dioptric::{
    axis, dioptres,
    prism::Prism,
    rx::SpheroCylinder,
    tolerance::{ISO_21987, Ordered},
};

use super::{Digest, Stream, digest::Words, tolerance::words};
use camera::Camera;
use inspect::{Fault, Inspected, Memory};

pub const STREAMS: &[Stream] = &[Stream { name: "chain", run: chain }];

/// Frames with noise of their own, so that the stream is as long as others.
const FRAMES: u32 = 48;

fn chain(digest: &mut Digest) {
    if inspected(digest).is_err() {
        digest.take([u32::MAX]);
    }
}

#[inline(never)]
fn inspected(digest: &mut Digest) -> Result<(), Fault> {
    let mut memory = Memory::new();
    let mut places = [None; bench::HOLES];
    let (detector, geometry) = (bench::detector()?, bench::geometry().map_err(Fault::Pair)?);
    let lattice = bench::lattice().map_err(|_| Fault::TooManySpots)?;
    let mounting = memory.reference(&mut Camera::new(camera::EMPTY, 1), &detector, &lattice, &mut places)?;
    digest.take([mounting.found.into(), mounting.rotation.to_bits() as u32, mounting.scale.to_bits() as u32]);
    let power = SpheroCylinder::new(dioptres!(-2.25), dioptres!(-1.50), axis!(35.0)).unwrap_or_default();
    let ordered = Ordered { power, addition: None, prism: Prism::ZERO };
    for noise in 2..FRAMES + 2 {
        let mut camera = Camera::new(camera::LENS, noise);
        let order = (&ISO_21987, &ordered);
        let found = memory.inspect(&mut camera, (&detector, &geometry), (&lattice, &places), order)?;
        digest.take_inspected(&found);
        for pair in memory.pairs() {
            digest.take(pair.reference().words());
            digest.take(pair.spot().words());
        }
    }
    Ok(())
}

impl Digest {
    fn take_inspected(&mut self, found: &Inspected) {
        let Inspected { findings, fit, verdict } = found;
        self.take([findings.assigned, findings.missing, findings.extra, findings.lead as u16].map(u32::from));
        self.take([findings.residual.to_bits() as u32, findings.largest_step.to_bits() as u32]);
        self.take(fit.fit().power().words());
        self.take(fit.fit().prism().words());
        self.take([fit.outliers().total(), fit.quality().largest.to_bits() as u32]);
        for finding in verdict.findings() {
            self.take(words(finding));
        }
    }
}
