//! Maps of a lens: where their discs lie, sums in passing, and the power of a lens that changes from place to place.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::{Random, cases};
use dioptric::millimetres;
use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Disc, Error, LatticeKind, MapError, PowerMap, SlopeSums, SpotPair};
use proptest::prelude::{any, prop_assert_eq, proptest};
use spots::{Bench, GRID, mm, place, point, scattered, signed, unit};

fn disc(x: f64, y: f64, radius: f64) -> Disc {
    Disc::new(point([x, y]), mm(radius)).expect("in range")
}

fn map(lattice: LatticeKind, columns: u16, rows: u16, step: f64, radius: f64) -> PowerMap {
    PowerMap::new(lattice, disc(0.0, 0.0, radius), columns, rows, mm(step)).expect("in range")
}

proptest! {
    #![proptest_config(cases(400, "tests/data/regressions/map.txt"))]

    /// The caller's sums, filled spot by spot or all at once, are those of each disc by itself, to the bit.
    #[test]
    fn sums_in_passing_are_those_of_each_disc(seed in any::<u64>(), columns in 1u16..8, rows in 1u16..8, hexagonal in any::<bool>()) {
        let mut random = Random::seeded(seed);
        let lattice = if hexagonal { LatticeKind::Hexagonal } else { LatticeKind::Square };
        let middle = disc(signed(&mut random), signed(&mut random), 3.0 * unit(&mut random));
        let map = PowerMap::new(lattice, middle, columns, rows, mm(0.2 + 2.0 * unit(&mut random))).unwrap();
        let geometry = Bench::new(20.0 * unit(&mut random), 20.0).geometry();
        let moved = |hole: &[f64; 2], random: &mut Random| [hole[0] + signed(random), hole[1] + signed(random)];
        let pairs: Vec<SpotPair> = scattered(60, 8.0, &mut random)
            .iter()
            .map(|hole| SpotPair::new(point(*hole), point(moved(hole, &mut random))).unwrap())
            .collect();
        let (mut singly, mut at_once) = (vec![SlopeSums::default(); map.cells()], vec![SlopeSums::default(); map.cells()]);
        for pair in &pairs {
            map.add(&mut singly, *pair, &geometry).unwrap();
        }
        map.add_all(&mut at_once, &pairs, &geometry).unwrap();
        prop_assert_eq!(&singly, &at_once);
        for (cell, sums) in at_once.iter().enumerate() {
            prop_assert_eq!(*sums, map.disc(cell).unwrap().sums(&pairs, &geometry).unwrap());
        }
        let (passing, frame): (Vec<_>, Vec<_>) =
            (map.of_sums(&at_once, &geometry).unwrap().collect(), map.of_frame(&pairs, &geometry).collect());
        prop_assert_eq!(passing.len(), map.cells());
        prop_assert_eq!(passing, frame);
    }
}

/// Every disc of a hexagonal lattice is a step from its six neighbours, to a unit of 15 nm; the lattice is centred.
#[test]
fn discs_lie_where_the_lattice_says() {
    let map = map(LatticeKind::Hexagonal, 7, 5, 1.3, 1.0);
    let at = |column: usize, row: usize| place(map.disc(row * 7 + column).expect("a cell").centre());
    let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let middle = at(3, 2);
    assert!(middle[0].abs() <= GRID && middle[1].abs() <= GRID, "{middle:?}");
    for neighbour in [at(2, 2), at(4, 2), at(2, 1), at(3, 1), at(2, 3), at(3, 3)] {
        assert!((apart(middle, neighbour) - 1.3).abs() < 1.5 * GRID, "{neighbour:?}");
    }
    assert_eq!((map.cells(), map.columns(), map.rows()), (35, 7, 5));
    assert_eq!(map.disc(35), None);
    let square = self::map(LatticeKind::Square, 3, 3, 2.0, 1.0);
    let centres: Vec<_> = (0..9).map(|cell| place(square.disc(cell).expect("a cell").centre())).collect();
    assert_eq!((centres[0], centres[2], centres[4], centres[8]), ([-2.0, -2.0], [2.0, -2.0], [0.0, 0.0], [2.0, 2.0]));
}

/// A lens whose mean power rises by 0.1 D a millimetre downwards, at the vertex: the slope is the gradient of a cubic
/// wavefront, and light goes straight from the lens through the plate.
#[test]
fn a_map_finds_the_power_and_the_prism_of_every_place() {
    let bench = Bench::new(5.0, 20.0);
    // Slopes of -(x^2 y + y^3 / 3) / 20 + (x^2 + y^2): power 2 - y / 10 in every meridian, and torsion -x / 10.
    let slope = |x: f64, y: f64| [-x * (2.0 - y / 10.0) / 1000.0, (-2.0 * y + (x * x + y * y) / 20.0) / 1000.0];
    let steps = || (-40..=40).map(|step| f64::from(step) / 2.0);
    let pairs: Vec<SpotPair> = steps()
        .flat_map(|x| steps().map(move |y| (x, y)))
        .map(|(x, y)| {
            let [p, q] = slope(x, y);
            let at = |distance: f64| point([x + distance * p, y + distance * q]);
            SpotPair::new(at(5.0), at(25.0)).expect("in range")
        })
        .collect();
    let geometry = bench.geometry();
    for map in [map(LatticeKind::Square, 9, 9, 3.0, 2.75), map(LatticeKind::Hexagonal, 9, 9, 3.0, 2.75)] {
        for cell in map.of_frame(&pairs, &geometry) {
            let [x, y] = place(cell.disc.centre());
            let power = cell.power().expect("a lens");
            // The spots of a disc need not lie evenly in it: their mean is up to 0.2 mm from its centre.
            assert!((power.m.to_f64() - (2.0 - y / 10.0)).abs() < 0.03, "{x} {y}: {power}");
            assert!(power.j0.to_f64().abs() < 0.02 && (power.j45.to_f64() + x / 10.0).abs() < 0.03, "{x} {y}: {power}");
            let (prism, [p, q]) = (cell.prism().expect("a lens"), slope(x, y));
            // A plane through a bowl: over 2.75 mm the slope bends by 1e-4 D mm.
            assert!((prism.x.to_f64() - 100.0 * p).abs() < 0.03 && (prism.y.to_f64() - 100.0 * q).abs() < 0.03);
            assert!(cell.count >= 80 && cell.fit.expect("a lens").residual().to_f64() < 10.0);
        }
    }
}

/// A cell without spots, or with spots on a line, says why it has no power; the others have theirs.
#[test]
fn a_cell_without_a_lens_says_why() {
    let geometry = Bench::new(0.0, 20.0).geometry();
    let holes = [[-4.0, 0.0], [-4.5, 0.0], [-3.5, 0.0], [4.0, 0.0], [4.0, 0.5], [4.5, 0.0], [4.5, 0.5]];
    let pairs = holes.map(|hole| SpotPair::new(point(hole), point(hole)).expect("in range"));
    let map = map(LatticeKind::Square, 3, 1, 4.0, 1.0);
    let cells: Vec<_> = map.of_frame(&pairs, &geometry).collect();
    assert_eq!(cells.iter().map(|cell| cell.count).collect::<Vec<_>>(), [3, 0, 4]);
    assert_eq!(cells[0].fit, Err(Error::Collinear));
    assert_eq!((cells[1].fit, cells[1].power(), cells[1].prism()), (Err(Error::TooFewSpots), None, None));
    assert!(cells[2].fit.is_ok());
}

#[test]
fn what_is_no_map_is_refused_by_name() {
    let new = |columns, rows, step| PowerMap::new(LatticeKind::Square, disc(0.0, 0.0, 1.0), columns, rows, step);
    let one = millimetres!(1.0);
    for refused in
        [new(0, 1, one), new(1, 0, one), new(65, 64, one), new(u16::MAX, u16::MAX, one), new(2, 2, Millimetre::ZERO)]
    {
        assert_eq!(refused, Err(MapError::Shape));
    }
    assert_eq!(new(2, 2, mm(64.0)), Err(MapError::Shape));
    assert_eq!(new(64, 3, one), Ok(map(LatticeKind::Square, 64, 3, 1.0, 1.0)));
    assert_eq!(new(66, 3, one), Err(MapError::CoordinateRange));
    let right = PowerMap::new(LatticeKind::Hexagonal, disc(31.5, 0.0, 1.0), 1, 2, one);
    assert_eq!(right, Err(MapError::CoordinateRange));
    assert!(PowerMap::new(LatticeKind::Hexagonal, disc(31.5, 0.0, 1.0), 1, 1, one).is_ok());
    let geometry = Bench::new(0.0, 20.0).geometry();
    let pair = SpotPair::new(Point::ORIGIN, Point::ORIGIN).expect("in range");
    let map = map(LatticeKind::Square, 3, 3, 1.0, 1.0);
    let mut few = [SlopeSums::default(); 8];
    assert_eq!(map.add(&mut few, pair, &geometry), Err(MapError::Memory));
    assert_eq!(map.add_all(&mut few, &[pair], &geometry), Err(MapError::Memory));
    assert!(matches!(map.of_sums(&few, &geometry), Err(MapError::Memory)));
    assert_eq!(few, [SlopeSums::default(); 8]);
    let mut full = [SlopeSums::default(); 9];
    let frame = vec![pair; SlopeSums::MOST_SPOTS as usize];
    map.add_all(&mut full, &frame, &geometry).expect("just as many");
    assert_eq!(map.add(&mut full, pair, &geometry), Err(MapError::TooManySpots));
    let more = vec![pair; SlopeSums::MOST_SPOTS as usize + 1];
    let cell = map.of_frame(&more, &geometry).nth(4).expect("the middle");
    assert_eq!((cell.fit, cell.count), (Err(Error::TooManySpots), SlopeSums::MOST_SPOTS));
    assert!(MapError::Shape.is_range() && !MapError::Memory.is_range());
    assert_eq!(MapError::Memory.to_string(), "the memory has not as many cells as the map");
}
