use core::hint::black_box;

use dioptric::{
    quantity::Point,
    sensor::{
        Centre, CompactPair, Error, FinderError, FinderMemory, Fit, FoundSpot, Geometry, OpenBlob, Polarity, Rejected,
        Run, SlopeSums, SpotFinder, SpotLimits, SpotPair, Tile,
    },
};

use crate::{int, keep, millimetres, point, show, word};

pub fn probe() {
    match Geometry::new(millimetres(), millimetres()) {
        Ok(geometry) => {
            keep(Geometry::gap(&geometry));
            keep(Geometry::throw(&geometry));
            match SlopeSums::fit(&sums(), &geometry) {
                Ok(fit) => fitted(&fit),
                Err(error) => failed(error),
            }
        }
        Err(error) => failed(error),
    }
    finder();
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

fn finder() {
    let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 3], [Run::EMPTY; 9], [OpenBlob::EMPTY; 3]);
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    keep(SpotFinder::tiles(word() as u16));
    match SpotFinder::new(word() as u16, limits(), memory) {
        Ok(mut finder) => frame(&mut finder),
        Err(error) => not_found(error),
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
    }
    keep(Rejected::total(&SpotFinder::rejected(finder)));
    keep(SpotFinder::finish(finder, |spot: FoundSpot| keep(spot)));
    SpotFinder::restart(finder);
}

fn not_found(error: FinderError) {
    keep(FinderError::is_memory(error));
    show(&error);
}

fn sums() -> SlopeSums {
    let mut sums = SlopeSums::default();
    if let (Ok(first), Ok(second)) = (SpotPair::new(point(), point()), SpotPair::new(point(), point())) {
        for _ in 0..word() & 15 {
            keep(SlopeSums::add(&mut sums, first));
        }
        keep(SlopeSums::add_all(&mut sums, black_box(&[first, second, first])));
        keep(SpotPair::reference(&first));
        keep(SpotPair::spot(&first));
        keep(SpotPair::displacement(&first));
        keep(SpotPair::try_from(<[Point; 2]>::from(first)));
    }
    let pair = || CompactPair { x: int() as i16, y: int() as i16, dx: int() as i16, dy: int() as i16 };
    keep(SlopeSums::add_compact(&mut sums, black_box(&[pair(), pair(), pair()])));
    let other = black_box(sums);
    keep(SlopeSums::merge(&mut sums, &other));
    keep(SlopeSums::count(&sums));
    sums
}

fn fitted(fit: &Fit) {
    keep(Fit::power(fit));
    keep(Fit::vector(fit));
    keep(Fit::sphero_cylinder(fit));
    keep(Fit::prism(fit));
    keep(Fit::prism_at(fit, point()));
    keep(Centre::point(Fit::centre(fit)));
    keep(Fit::residual(fit));
    keep(Fit::rotation(fit));
    keep(Fit::count(fit));
    keep(Fit::geometry(fit));
    keep(Fit::is_saturated(fit));
    keep(Fit::uncertainty(fit));
    keep(Fit::covariance(fit));
}

fn failed(error: Error) {
    keep(Error::is_range(error));
    show(&error);
}
