mod finder;
mod holes;
mod light;
mod multifocal;
mod uncertainty;
mod zones;

use core::hint::black_box;

use dioptric::{
    quantity::Point,
    sensor::{Centre, CompactPair, Disc, Error, Fit, Geometry, SlopeSums, SpotPair},
};

use crate::{int, keep, millimetres, point, show, word};

pub fn probe() {
    match Geometry::new(millimetres(), millimetres()) {
        Ok(geometry) => {
            keep(Geometry::gap(&geometry));
            keep(Geometry::throw(&geometry));
            disc(&geometry);
            multifocal::probe(&geometry);
            zones::probe(&geometry);
            match SlopeSums::fit(&sums(), &geometry) {
                Ok(fit) => fitted(&fit),
                Err(error) => failed(error),
            }
        }
        Err(error) => failed(error),
    }
    finder::probe();
    holes::probe();
    light::probe();
}

fn disc(geometry: &Geometry) {
    let (Ok(disc), Ok(pair)) = (Disc::new(point(), millimetres()), SpotPair::new(point(), point())) else { return };
    keep(Disc::centre(&disc));
    keep(Disc::radius(&disc));
    keep(Disc::contains(&disc, point()));
    keep(Disc::sums(&disc, black_box(&[pair, pair, pair]), geometry));
    keep(Geometry::exit(geometry, &pair));
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
    uncertainty::budget(fit);
    uncertainty::calibration(fit, Fit::geometry(fit));
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
