use core::hint::black_box;

use dioptric::sensor::{
    FinderError, FinderMemory, FoundSpot, OpenBlob, Polarity, Rejected, Run, SpotFinder, SpotLimits, Tile,
};

use crate::{int, keep, show, word};

pub fn probe() {
    let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 3], [Run::EMPTY; 9], [OpenBlob::EMPTY; 3]);
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    keep(SpotFinder::tiles(word() as u16));
    match SpotFinder::new(word() as u16, limits(), memory) {
        Ok(mut finder) => frame(&mut finder),
        Err(error) => not_found(error),
    }
}

fn limits() -> SpotLimits {
    let bits = word() as u8;
    let common = if word() & 1 == 0 { SpotLimits::spots(bits) } else { SpotLimits::marks(bits) };
    SpotLimits {
        margin: word() as u16,
        sigmas: word() as u8,
        least_area: word(),
        most_area: word(),
        polarity: if int() < 0 { Polarity::BrightOnDark } else { Polarity::DarkOnBright },
        ..common
    }
}

fn frame(finder: &mut SpotFinder) {
    keep(SpotFinder::limits(finder));
    for _ in 0..word() & 7 {
        let (bytes, words) = (black_box([word() as u8; 77]), black_box([word() as u16; 77]));
        for row in [bytes.get(..word() as u8 as usize), Some(&bytes)].into_iter().flatten() {
            if let Err(error) = SpotFinder::row(finder, row, |spot: FoundSpot| keep(spot)) {
                not_found(error);
            }
        }
        keep(SpotFinder::row(finder, &words, |spot: FoundSpot| keep(spot)));
        let packed = black_box([word(); 39]);
        for words in [packed.get(..word() as u8 as usize), packed.get(..20)].into_iter().flatten() {
            keep(SpotFinder::packed_row::<u8>(finder, words, |spot: FoundSpot| keep(spot)));
            keep(SpotFinder::packed_row::<u16>(finder, &packed, |spot: FoundSpot| keep(spot)));
        }
    }
    keep(Rejected::total(&SpotFinder::rejected(finder)));
    keep(SpotFinder::finish(finder, |spot: FoundSpot| keep(spot)));
    SpotFinder::restart(finder);
}

fn not_found(error: FinderError) {
    keep(FinderError::is_memory(error));
    show(&error);
}
