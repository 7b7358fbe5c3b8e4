use dioptric::sensor::{FinderMemory, FoundSpot, OpenBlob, Run, SpotFinder, SpotLimits, Tile};

use super::{Digest, Stream, inputs::Generator};

pub const STREAMS: &[Stream] = &[Stream { name: "sensor.finder", run: finder }];

const WIDTH: usize = 77;
const ROWS: u32 = 2400;
const FRAMES: u32 = 2;

impl Digest {
    fn take_spot(&mut self, spot: &FoundSpot) {
        self.take([spot.x, spot.y, spot.light as u32, (spot.light >> 32) as u32, spot.area]);
        self.take([spot.peak, spot.height, spot.elongation, spot.saturated.into()].map(u32::from));
        self.take([spot.left, spot.top, spot.right, spot.bottom].map(u32::from));
    }
}

/// Light patches of every shape, size and height on a noisy ground that grows brighter along the row and down the frame.
fn finder(digest: &mut Digest) {
    for marks in [false, true] {
        let common = if marks { SpotLimits::marks(8) } else { SpotLimits::spots(8) };
        let limits = SpotLimits { least_area: 3, most_elongation: 2000, ..common };
        let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 2], [Run::EMPTY; 78], [OpenBlob::EMPTY; 78]);
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        let Ok(mut finder) = SpotFinder::new(WIDTH as u16, limits, memory) else { return };
        let mut generator = Generator::new();
        for _ in 0..FRAMES {
            frame(digest, &mut generator, &mut finder, marks);
        }
    }
}

fn frame(digest: &mut Digest, generator: &mut Generator, finder: &mut SpotFinder, marks: bool) {
    // Of each patch: first and one past the last column, rows that are left, height.
    let mut patches = [[0u32; 4]; 3];
    for y in 0..ROWS {
        for patch in &mut patches {
            if patch[2] == 0 {
                let (start, width, rows) = (generator.word() % 80, generator.word() % 12, generator.word() % 12);
                *patch = [start, start + width, rows, generator.word() % 220];
            }
            patch[2] = patch[2].saturating_sub(1);
        }
        let row: [u8; WIDTH] = core::array::from_fn(|x| {
            let x = x as u32;
            let ground = 10 + (x >> 4) + (y >> 7) + (generator.word() >> 30);
            let light = |patch: &[u32; 4]| if (patch[0]..patch[1]).contains(&x) { patch[3] } else { 0 };
            let level = patches.iter().map(light).fold(ground, |sum, height| sum + height).min(255) as u8;
            if marks { !level } else { level }
        });
        let taken = finder.row(&row, |spot: FoundSpot| digest.take_spot(&spot));
        digest.take([u32::from(taken.is_ok())]);
    }
    let rejected = finder.finish(|spot: FoundSpot| digest.take_spot(&spot)).unwrap_or_default();
    digest.take([rejected.too_large, rejected.too_small, rejected.clipped]);
    digest.take([rejected.too_dim, rejected.saturated, rejected.elongated]);
}
