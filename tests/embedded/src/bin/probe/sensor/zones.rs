use core::hint::black_box;

use dioptric::{
    quantity::{Fraction, Micrometre},
    sensor::{
        Disc, Geometry, HigherOrder, HigherOrderError, HigherOrderSums, LatticeKind, MapCell, MapError, Outliers,
        PowerMap, RobustError, RobustFit, RobustLimits, SlopeSums, SpotPair, Zernike,
    },
};

use crate::{int, keep, millimetres, point, show, word};

pub fn probe(geometry: &Geometry) {
    let Ok(pair) = SpotPair::new(point(), point()) else { return };
    let pairs = black_box([pair; 9]);
    robust(&pairs, geometry);
    let Ok(disc) = Disc::new(point(), millimetres()) else { return };
    map(&pairs, geometry, disc);
    higher_order(&pairs, geometry, disc);
}

fn robust(pairs: &[SpotPair], geometry: &Geometry) {
    let limits = RobustLimits {
        multiple: word() as u16,
        least_limit: Micrometre::from_bits(int()),
        most_passes: word() as u8,
        least_share: Fraction::from_bits(int()),
    };
    for limits in [limits, RobustLimits::default()] {
        match RobustFit::of(pairs, geometry, &limits) {
            Ok(found) => {
                keep(*RobustFit::fit(&found));
                keep(RobustFit::quality(&found));
                keep(RobustFit::used(&found));
                keep(Outliers::total(&RobustFit::outliers(&found)));
                keep(RobustFit::passes(&found));
                keep(RobustFit::limit(&found));
                for pair in pairs {
                    keep(RobustFit::uses(&found, pair));
                    keep(RobustFit::outlier(&found, pair));
                }
            }
            Err(error) => {
                keep(RobustError::is_range(error));
                show(&error);
            }
        }
    }
}

fn map(pairs: &[SpotPair], geometry: &Geometry, disc: Disc) {
    let lattice = if int() < 0 { LatticeKind::Square } else { LatticeKind::Hexagonal };
    let map = match PowerMap::new(lattice, disc, word() as u16, word() as u16, millimetres()) {
        Ok(map) => map,
        Err(error) => return unmapped(error),
    };
    keep((PowerMap::cells(&map), PowerMap::columns(&map), PowerMap::rows(&map)));
    keep(PowerMap::disc(&map, word() as usize));
    PowerMap::of_frame(&map, pairs, geometry).for_each(cell);
    let mut sums = [SlopeSums::default(); 9];
    let sums = sums.get_mut(..word() as usize & 15).unwrap_or_default();
    for pair in pairs {
        if let Err(error) = PowerMap::add(&map, sums, *pair, geometry) {
            unmapped(error);
        }
    }
    keep(PowerMap::add_all(&map, sums, pairs, geometry));
    match PowerMap::of_sums(&map, sums, geometry) {
        Ok(cells) => cells.for_each(cell),
        Err(error) => unmapped(error),
    }
}

fn cell(cell: MapCell) {
    keep(MapCell::prism(&cell));
    keep(MapCell::power(&cell));
    keep(cell);
}

fn unmapped(error: MapError) {
    keep(MapError::is_range(error));
    show(&error);
}

fn higher_order(pairs: &[SpotPair], geometry: &Geometry, disc: Disc) {
    match Disc::higher_order(&disc, pairs, geometry) {
        Ok(found) => wavefront(&found),
        Err(error) => unfitted(error),
    }
    let Ok(mut sums) = HigherOrderSums::new(disc, geometry) else { return };
    for pair in pairs {
        keep(HigherOrderSums::add(&mut sums, *pair));
    }
    keep(HigherOrderSums::add_all(&mut sums, pairs));
    let other = black_box(sums);
    keep(HigherOrderSums::merge(&mut sums, &other));
    keep(HigherOrderSums::count(&sums));
    match HigherOrderSums::fit(&sums) {
        Ok(found) => wavefront(&found),
        Err(error) => unfitted(error),
    }
}

fn wavefront(found: &HigherOrder) {
    for term in Zernike::ALL {
        keep((Zernike::index(term), Zernike::order(term), Zernike::frequency(term)));
        keep(HigherOrder::coefficient(found, term));
    }
    keep(HigherOrder::rms(found));
    keep(HigherOrder::unexplained(found));
    keep(HigherOrder::power(found));
    keep(HigherOrder::power_at(found, point()));
    keep(HigherOrder::prism_at(found, point()));
    keep(HigherOrder::disc(found));
    keep(HigherOrder::count(found));
}

fn unfitted(error: HigherOrderError) {
    keep(HigherOrderError::is_range(error));
    show(&error);
}
