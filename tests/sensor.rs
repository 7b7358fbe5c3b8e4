//! The sensor: ray-traced lenses, laws that hold to the bit, optical centres, and every refusal.
//!
//! Accuracy against `f64` is in `sensor_fit.rs`, uncertainties are in `sensor_uncertainty.rs`.

mod common;
#[path = "common/spots.rs"]
mod spots;
#[path = "common/traced.rs"]
mod traced;

use common::{Budget, Random, Worst, cases};
use dioptric::prism::Prism;
use dioptric::quantity::{Axis, Millimetre, Point};
use dioptric::sensor::{Centre, CompactPair, Error, Fit, Geometry, SlopeSums, SpotPair};
use dioptric::vector::PowerMatrix;
use dioptric::{bearing, millimetres};
use proptest::prelude::{Strategy, any, prop, prop_assert, prop_assert_eq, proptest};
use spots::{Bench, GRID, Lens, any_bench, any_holes, arranged, fitted, lattice, pairs, ring, sums, two_rows};
use traced::Traced;

// Ray-traced lenses. Their files are in units of 0.1 nm, the crate's spots in units of 15 nm: that rounding is what the
// differences show.

const TRACED: &[Budget] = &[
    traced("power elements", "D", 1.5e-4, |worst| {
        each_traced(worst, |lens| {
            let p = lens.fit.power();
            lens.off(&[("fit_xx", p.xx.to_f64()), ("fit_xy", p.xy.to_f64()), ("fit_yy", p.yy.to_f64())])
        });
    }),
    traced("sphere and cylinder", "D", 1.4e-4, |worst| {
        each_traced(worst, |lens| {
            let form = lens.form();
            lens.off(&[("fit_sphere", form.sphere().to_f64()), ("fit_cylinder", form.cylinder().to_f64())])
        });
    }),
    traced("axis of a cylinder from 0.25 D", "degree", 1.5e-3, |worst| {
        each_traced(worst, |lens| {
            let axis = lens.form().axis().degrees().to_f64();
            // The short way round.
            let off = (axis - lens.value("fit_axis") + 90.0).rem_euclid(180.0) - 90.0;
            if lens.value("fit_cylinder") > -0.25 { 0.0 } else { off.abs() }
        });
    }),
    traced("prism", "prism dioptre", 8e-5, |worst| {
        each_traced(worst, |lens| {
            let p = lens.fit.prism();
            lens.off(&[("fit_prism_x", p.x.to_f64()), ("fit_prism_y", p.y.to_f64())])
        });
    }),
    traced("centre", "mm", 8e-4, |worst| {
        each_traced(worst, |lens| match lens.fit.centre() {
            Centre::Point(at) => lens.off(&[("fit_centre_x_mm", at.x.to_f64()), ("fit_centre_y_mm", at.y.to_f64())]),
            // The manifest leaves it empty.
            Centre::Line { .. } | Centre::None => {
                if lens.columns["fit_centre_x_mm"].is_empty() {
                    0.0
                } else {
                    f64::NAN
                }
            }
        });
    }),
    traced("residual", "um", 8e-3, |worst| {
        each_traced(worst, |lens| lens.off(&[("fit_residual_um", lens.fit.residual().to_f64())]));
    }),
    traced("rotation", "D", 3e-5, |worst| {
        each_traced(worst, |lens| {
            let dioptres = lens.fit.rotation().to_f64().to_radians() * 1000.0 / lens.value("throw_mm");
            lens.off(&[("fit_rotation", dioptres)])
        });
    }),
];

const fn traced(function: &'static str, unit: &'static str, allowed: f64, measure: fn(&mut Worst)) -> Budget {
    Budget { function, domain: "34 ray-traced lenses, spots of 15 nm", unit, allowed, points: 34, measure }
}

#[test]
fn ray_traced_lenses_are_found() {
    common::check(TRACED);
}

fn each_traced(worst: &mut Worst, error: impl Fn(&Traced) -> f64) {
    for lens in Traced::all() {
        worst.see(error(&lens), || lens.file().to_owned());
    }
}

// Laws to the bit.

/// The same spots in another order (Fisher and Yates).
fn shuffled(pairs: &[SpotPair], random: &mut Random) -> Vec<SpotPair> {
    let mut pairs = pairs.to_vec();
    for last in (1..pairs.len()).rev() {
        pairs.swap(last, random.u32() as usize % (last + 1));
    }
    pairs
}

/// Sums of chunks of any size, some of them empty, merged.
fn merged(pairs: &[SpotPair], random: &mut Random) -> SlopeSums {
    let mut whole = SlopeSums::default();
    let mut rest = pairs;
    while !rest.is_empty() {
        let (chunk, later) = rest.split_at(random.u32() as usize % (rest.len() + 1));
        let mut part = sums(chunk).expect("few spots");
        if random.u32() & 1 == 0 {
            part.merge(&whole).expect("few spots");
            whole = part;
        } else {
            whole.merge(&part).expect("few spots");
        }
        rest = later;
    }
    whole
}

#[test]
fn order_and_grouping_of_the_spots_do_not_change_a_bit() {
    let mut random = Random::new("order");
    for lens in Traced::all() {
        let whole = sums(&lens.pairs).expect("few spots");
        for _ in 0..20 {
            let pairs = shuffled(&lens.pairs, &mut random);
            let mut singly = SlopeSums::default();
            pairs.iter().for_each(|pair| singly.add(*pair).expect("few spots"));
            for other in [sums(&pairs).expect("few spots"), singly, merged(&pairs, &mut random)] {
                assert_eq!(other, whole);
                assert_eq!(other.fit(&lens.geometry), Ok(lens.fit));
            }
        }
    }
}

#[test]
fn grouping_more_spots_than_a_word_sums_does_not_change_a_bit() {
    let mut random = Random::new("many");
    let most = SpotPair::MOST.to_bits();
    let mut coordinate = || Millimetre::from_bits(if random.u32() & 1 == 0 { most } else { random.within(most) });
    let pairs: Vec<SpotPair> = (0..5000)
        .map(|_| SpotPair::new(Point::new(coordinate(), coordinate()), Point::new(coordinate(), coordinate())))
        .collect::<Result<_, _>>()
        .expect("in range");
    let whole = sums(&pairs).expect("few spots");
    let mut singly = SlopeSums::default();
    pairs.iter().for_each(|pair| singly.add(*pair).expect("few spots"));
    assert_eq!(singly, whole);
    assert_eq!(merged(&pairs, &mut Random::new("many merged")), whole);
}

/// Spots under a change of axes, and what becomes of the lens.
struct Symmetry {
    name: &'static str,
    place: fn(Point) -> Point,
    power: fn(PowerMatrix) -> PowerMatrix,
    prism: fn(Prism) -> Prism,
    axis: fn(Axis) -> Axis,
    turns_over: bool,
}

const SYMMETRIES: &[Symmetry] = &[
    Symmetry {
        name: "right and left",
        place: |p| Point::new(-p.x, p.y),
        power: |f| PowerMatrix { xy: -f.xy, ..f },
        prism: |p| Prism::new(-p.x, p.y),
        axis: Axis::mirrored,
        turns_over: true,
    },
    Symmetry {
        name: "up and down",
        place: |p| Point::new(p.x, -p.y),
        power: |f| PowerMatrix { xy: -f.xy, ..f },
        prism: |p| Prism::new(p.x, -p.y),
        axis: Axis::mirrored,
        turns_over: true,
    },
    Symmetry { name: "half a turn", place: |p| -p, power: |f| f, prism: |p| -p, axis: |axis| axis, turns_over: false },
];

impl Symmetry {
    fn of(&self, pairs: &[SpotPair]) -> Vec<SpotPair> {
        let image = |pair: &SpotPair| SpotPair::new((self.place)(pair.reference()), (self.place)(pair.spot()));
        pairs.iter().map(image).collect::<Result<_, _>>().expect("in range")
    }

    fn check(&self, seen: &Fit, image: &Fit) {
        let name = self.name;
        assert_eq!(image.power(), (self.power)(seen.power()), "{name}: {seen:?}");
        assert_eq!(image.prism(), (self.prism)(seen.prism()), "{name}: {seen:?}");
        assert_eq!(image.residual(), seen.residual(), "{name}");
        assert_eq!(image.rotation(), if self.turns_over { -seen.rotation() } else { seen.rotation() }, "{name}");
        if let (Ok(form), Ok(other)) = (seen.sphero_cylinder(), image.sphero_cylinder()) {
            assert_eq!((other.sphere(), other.cylinder()), (form.sphere(), form.cylinder()), "{name}");
            if form.cylinder().to_bits() != 0 {
                assert_eq!(other.axis(), (self.axis)(form.axis()), "{name}: {form}");
            }
        }
        match (seen.centre(), image.centre()) {
            (Centre::Point(at), Centre::Point(other)) => assert_eq!(other, (self.place)(at), "{name}: {seen:?}"),
            (Centre::None, Centre::None) => {}
            (Centre::Line { nearest, .. }, Centre::Line { nearest: other, .. }) => {
                // The line's bearing has half the resolution of the axis.
                let (off, size) = (other - (self.place)(nearest), nearest.distance().to_f64());
                assert!(off.distance().to_f64() < 2.0 * GRID + 4e-9 * size, "{name}: {nearest:?} {other:?}");
            }
            (a, b) => panic!("{name}: {a:?} {b:?}"),
        }
    }
}

/// The symmetries on the ray-traced lenses and on random ones; returns how many it checked.
fn check_symmetries(symmetries: &[Symmetry], bench: impl Fn(Bench) -> Bench, random: &mut Random) -> u32 {
    let mut checked = 0;
    let mut check = |pairs: &[SpotPair], geometry: &Geometry| {
        let seen = sums(pairs).and_then(|sums| sums.fit(geometry));
        for symmetry in symmetries {
            match (seen, sums(&symmetry.of(pairs)).and_then(|sums| sums.fit(geometry))) {
                (Ok(seen), Ok(image)) => symmetry.check(&seen, &image),
                (seen, image) => assert_eq!(seen, image, "{}", symmetry.name),
            }
            checked += 1;
        }
    };
    for lens in Traced::all() {
        let throw = lens.geometry.throw();
        let usual = Bench { gap: lens.geometry.gap().to_f64(), throw: throw.to_f64() };
        check(&lens.pairs, &bench(usual).geometry());
    }
    for _ in 0..20_000 {
        let (lens, bench, holes) = (Lens::any(random), bench(any_bench(random)), any_holes(random));
        if let Ok(pairs) = pairs(&bench.spots(&lens, &holes, 1e-3, random)) {
            check(&pairs, &bench.geometry());
        }
    }
    checked
}

#[test]
fn mirrored_and_overturned_spots_give_the_mirrored_lens_to_the_bit() {
    let checked = check_symmetries(SYMMETRIES, |bench| bench, &mut Random::new("mirror"));
    assert!(checked > 30_000, "{checked}");
}

/// Horizontal and vertical are treated alike, to the bit, in the fit and in the step back.
#[test]
fn spots_turned_by_a_quarter_give_the_turned_lens_to_the_bit() {
    let mut random = Random::new("quarter");
    let mut checked = 0;
    for _ in 0..20_000 {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let spots = bench.spots(&lens, &holes, 1e-3, &mut random);
        let turned: Vec<[f64; 4]> = spots.iter().map(|[x, y, p, q]| [-y, *x, -q, *p]).collect();
        if let (Ok(seen), Ok(image)) = (fitted(&spots, &bench), fitted(&turned, &bench)) {
            let (f, g) = (seen.power(), image.power());
            assert_eq!(g, PowerMatrix { xx: f.yy, xy: -f.xy, yy: f.xx }, "{seen:?} {image:?}");
            assert_eq!(image.prism(), Prism { x: -seen.prism().y, y: seen.prism().x });
            assert_eq!(image.residual(), seen.residual());
            checked += 1;
        }
    }
    assert!(checked > 10_000, "{checked}");
}

#[test]
fn at_the_plate_the_opposite_displacements_give_the_opposite_lens_to_the_bit() {
    let mut random = Random::new("opposite");
    for _ in 0..5000 {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let bench = Bench { gap: 0.0, ..bench };
        let Ok(pairs) = pairs(&bench.spots(&lens, &holes, 1e-3, &mut random)) else { continue };
        let opposite = |pair: &SpotPair| SpotPair::new(pair.reference(), pair.reference() - pair.displacement());
        let Ok(others) = pairs.iter().map(opposite).collect::<Result<Vec<_>, _>>() else { continue };
        let fit = |pairs: &[SpotPair]| sums(pairs).and_then(|sums| sums.fit(&bench.geometry()));
        match (fit(&pairs), fit(&others)) {
            (Ok(seen), Ok(other)) => {
                let f = seen.power();
                assert_eq!(other.power(), PowerMatrix { xx: -f.xx, xy: -f.xy, yy: -f.yy });
                assert_eq!(other.prism(), -seen.prism());
                assert_eq!((other.residual(), other.rotation()), (seen.residual(), -seen.rotation()));
            }
            (a, b) => assert_eq!(a, b),
        }
    }
}

/// The same spot in both forms.
fn both_forms([x, y, dx, dy]: [i16; 4]) -> (CompactPair, SpotPair) {
    let length = |units: i32| Millimetre::from_bits(units << (Millimetre::FRACTION_BITS - 12));
    let [a, b, c, d] = [x, y, dx, dy].map(i32::from);
    let reference = Point::new(length(a), length(b));
    let spot = Point::new(length(a + c), length(b + d));
    (CompactPair { x, y, dx, dy }, SpotPair::new(reference, spot).expect("16 mm at most"))
}

#[test]
fn the_compact_form_gives_the_same_bits() {
    let mut random = Random::new("compact");
    let bench = Bench::new(5.0, 20.0).geometry();
    for round in 0..2000u32 {
        let count = 1 + random.u32() as usize % 60;
        let any = |random: &mut Random| match round % 3 {
            0 => random.i32() as i16,
            1 => [i16::MIN, i16::MAX, i16::MIN + 1, -1, 0, 1][random.u32() as usize % 6],
            // A lens: displacements a fraction of the positions.
            _ => (random.i32() as i16) >> 2,
        };
        let spot = |random: &mut Random| {
            let [x, y, dx, dy] = [0; 4].map(|_| any(random));
            if round % 3 == 2 { [x, y, -x / 8 + dx / 1024, -y / 9 + dy / 1024] } else { [x, y, dx, dy] }
        };
        let (compact, plain): (Vec<_>, Vec<_>) = (0..count).map(|_| both_forms(spot(&mut random))).unzip();
        let mut short = SlopeSums::default();
        let (first, second) = compact.split_at(random.u32() as usize % (count + 1));
        short.add_compact(first).expect("few spots");
        short.add_compact(second).expect("few spots");
        let whole = sums(&plain).expect("few spots");
        assert_eq!(short, whole);
        assert_eq!(short.fit(&bench), whole.fit(&bench));
    }
}

// Optical centres.

fn found(lens: Lens, bench: &Bench) -> Fit {
    // A fine lattice: the rounding of its spots hardly shows.
    let spots = bench.spots(&lens, &lattice(0.25, 4.0), 0.0, &mut Random::new("centre"));
    fitted(&spots, bench).expect("a lens")
}

/// At the centre there is no prism; elsewhere Prentice's rule counts from there.
#[test]
fn a_centre_is_where_the_prism_vanishes() {
    let bench = Bench::new(5.0, 20.0);
    for (sphere, cylinder) in [(4.0, 0.0), (-6.0, -2.0), (2.0, -4.0), (0.5, -0.25), (0.0, 2.0)] {
        for axis in (0..180).step_by(15) {
            // Not both meridians of the last form have power.
            let lens = Lens::new(sphere + f64::from(u8::from(sphere == 0.0)), cylinder, f64::from(axis), [1.5, -0.75]);
            let fit = found(lens, &bench);
            let centre = fit.centre().point().expect("a point");
            let left = fit.prism_at(centre);
            // A unit of length moves the prism by a tenth of the power.
            let limit = (sphere.abs() + cylinder.abs() + 1.0) * GRID / 10.0 + 3e-6;
            assert!(left.x.abs().to_f64() < limit && left.y.abs().to_f64() < limit, "{left:?}");
            let beside = centre + Point::new(millimetres!(3.0), millimetres!(-2.0));
            let rule = fit.power().prism_at(Point::new(millimetres!(3.0), millimetres!(-2.0)));
            let off = fit.prism_at(beside) - rule;
            assert!(off.x.abs().to_f64() < limit && off.y.abs().to_f64() < limit, "{off:?}");
        }
    }
}

#[test]
fn a_plano_cylinder_has_a_line_of_centres() {
    for gap in [0.0, 8.0] {
        for cylinder in [3.0, -0.5, -5.0] {
            for step in 0..48 {
                let axis = 3.75 * f64::from(step);
                let lens = Lens::new(0.0, cylinder, axis, [1.25, -0.5]);
                let fit = found(lens, &Bench::new(gap, 20.0));
                let Centre::Line { nearest, direction, remaining } = fit.centre() else { panic!("{:?}", fit.centre()) };
                let [px, py] = lens.prism;
                let (sin, cos) = axis.to_radians().sin_cos();

                // The power is across the axis: what prism there is along the axis stays.
                let along = px * cos + py * sin;
                let at = |prism: Prism| (prism.x.to_f64(), prism.y.to_f64());
                let (rx, ry) = at(remaining);
                assert!((rx - along * cos).abs() < 2e-4 && (ry - along * sin).abs() < 2e-4, "{axis} {remaining:?}");

                // The rest vanishes on the line at `10 p / C` across the axis.
                let across = 10.0 * (py * cos - px * sin) / cylinder;
                let (x, y) = (nearest.x.to_f64(), nearest.y.to_f64());
                assert!((x + across * sin).abs() < 5e-3 && (y - across * cos).abs() < 5e-3, "{axis} {nearest:?}");

                let off = direction.degrees().to_f64() - axis;
                let off = (off + 90.0).rem_euclid(180.0) - 90.0;
                assert!(off.abs() < 0.01, "{axis} {direction:?}");
                assert!(direction.to_bits() < bearing!(180.0).to_bits(), "{direction:?}");

                // Along the whole line the prism is the same, but for what the weaker meridian has left.
                let weak = weaker_power(&fit);
                let (sin, cos) = (direction.degrees().to_f64()).to_radians().sin_cos();
                for t in [-20.0, -5.0, 0.0, 12.0] {
                    let (sx, sy) = at(fit.prism_at(nearest + spots::point([t * cos, t * sin])));
                    // The line's point has whole units, worth a tenth of the cylinder each.
                    let limit = 3e-6 + 1.5 * GRID * cylinder.abs() / 10.0 + weak * (t.abs() + x.hypot(y)) / 10.0;
                    assert!((sx - rx).abs() < limit && (sy - ry).abs() < limit, "{axis} {t} {sx} {rx} {sy} {ry}");
                }
            }
        }
    }
}

fn weaker_power(fit: &Fit) -> f64 {
    let form = fit.sphero_cylinder().expect("in range");
    let (along, across) = (form.sphere().to_f64(), (form.sphere() + form.cylinder()).to_f64());
    along.abs().min(across.abs())
}

#[test]
fn a_window_has_no_centre_and_its_prism_is_everywhere_the_same() {
    let fit = found(Lens::new(0.0, 0.0, 180.0, [2.0, -1.0]), &Bench::new(5.0, 20.0));
    assert_eq!(fit.centre(), Centre::None);
    let (here, there) = (fit.prism(), fit.prism_at(Point::new(millimetres!(20.0), millimetres!(-20.0))));
    let off = there - here;
    assert!(off.x.abs().to_f64() < 1e-4 && off.y.abs().to_f64() < 1e-4, "{off:?}");
}

#[test]
fn the_least_power_of_a_meridian_with_a_centre_is_a_fiftieth_of_a_dioptre() {
    let bench = Bench::new(5.0, 20.0);
    for axis in [10.0, 45.0, 90.0, 133.0, 180.0] {
        for sign in [1.0, -1.0] {
            let centre = |sphere: f64, cylinder: f64| {
                found(Lens::new(sign * sphere, sign * cylinder, axis, [0.1, 0.1]), &bench).centre()
            };
            assert!(matches!(centre(0.0202, 2.0), Centre::Point(_)));
            assert!(matches!(centre(0.0198, 2.0), Centre::Line { .. }));
            assert!(matches!(centre(0.0202, 0.0), Centre::Point(_)));
            assert!(matches!(centre(0.0198, 0.0), Centre::None));
            assert!(matches!(centre(0.0198, -0.0396), Centre::None));
            assert!(matches!(centre(0.0198, 0.001), Centre::Line { .. }));
        }
    }
}

// Refusals.

fn spot(x: f64, y: f64, moved_x: f64, moved_y: f64) -> [f64; 4] {
    [x, y, x + moved_x, y + moved_y]
}

/// Spots as a power at the plate moves them: by `-ratio` of their place.
fn scaled(ratio: f64) -> Vec<[f64; 4]> {
    ring(6, 4.0, 0.0)
        .iter()
        .map(|hole| spots::on_grid(*hole))
        .map(|[x, y]| spot(x, y, -ratio * x, -ratio * y))
        .collect()
}

const USUAL: Bench = Bench { gap: 5.0, throw: 20.0 };

#[test]
fn fewer_than_three_spots_are_refused() {
    let spots = [spot(1.0, 0.0, 0.1, 0.0), spot(0.0, 1.0, 0.0, 0.1)];
    assert_eq!(SlopeSums::default().fit(&USUAL.geometry()), Err(Error::TooFewSpots));
    assert_eq!(fitted(&spots[..1], &USUAL), Err(Error::TooFewSpots));
    assert_eq!(fitted(&spots, &USUAL), Err(Error::TooFewSpots));
}

#[test]
fn spots_in_one_point_or_two_are_refused() {
    for count in [3, 4, 100] {
        let one = vec![spot(1.0, 2.0, 0.1, -0.1); count];
        assert_eq!(fitted(&one, &USUAL), Err(Error::Collinear));
        let mut two = one.clone();
        two.extend(vec![spot(-2.0, 0.5, 0.1, 0.1); count]);
        assert_eq!(fitted(&two, &USUAL), Err(Error::Collinear));
        // Also where the sums are as large as they get.
        assert_eq!(fitted(&vec![spot(31.5, -31.5, 0.1, 0.1); count], &USUAL), Err(Error::Collinear));
    }
}

#[test]
fn a_repeated_spot_counts_as_often_as_it_is_given() {
    let spots = [spot(0.0, 0.0, 0.01, 0.0), spot(3.0, 0.0, -0.3, 0.1), spot(0.0, 3.0, 0.0, -0.25)];
    let weights = [1, 3, 2];
    let repeated: Vec<[f64; 4]> = spots.iter().zip(weights).flat_map(|(spot, count)| vec![*spot; count]).collect();
    let repeated: Vec<[f64; 4]> = pairs(&repeated).expect("in range").iter().map(exact).collect();
    let fit = fitted(&repeated, &USUAL).expect("a lens");
    let same = dioptric::oracle::fit(&repeated, USUAL.gap, USUAL.throw).expect("a lens");
    assert!((fit.power().xx.to_f64() - same.power.xx).abs() < 2e-6, "{fit:?} {same:?}");
    assert!((fit.power().xy.to_f64() - same.power.xy).abs() < 2e-6, "{fit:?} {same:?}");
    assert_eq!(fit.count(), 6);
}

fn exact(pair: &SpotPair) -> [f64; 4] {
    let ([a, b], [c, d]) = (spots::place(pair.reference()), spots::place(pair.spot()));
    [a, b, c, d]
}

#[test]
fn spots_on_a_line_are_refused_at_any_angle() {
    let mut random = Random::new("line");
    for _ in 0..5000 {
        // Whole units, so that the points lie exactly on the line.
        let (a, b) = (random.within(40_000), random.within(40_000));
        let (x, y) = (random.within(1 << 20), random.within(1 << 20));
        let place = |k: i32| Point::new(Millimetre::from_bits(x + k * a), Millimetre::from_bits(y + k * b));
        let less = (a.abs() + b.abs()) / 4;
        let mut moved =
            || Point::new(Millimetre::from_bits(random.within(less)), Millimetre::from_bits(random.within(less)));
        let pair = |k: i32| SpotPair::new(place(k), place(k) + moved()).expect("in range");
        let pairs: Vec<SpotPair> = (-12..12).map(pair).collect();
        assert_eq!(sums(&pairs).and_then(|sums| sums.fit(&USUAL.geometry())), Err(Error::Collinear), "{a} {b} {x} {y}");
    }
}

/// The limit: least spread 1/256 of the largest.
#[test]
fn spots_nearly_on_a_line_are_refused_up_to_the_limit_and_accepted_beyond() {
    // Two rows at +-w of +-l, +-l/2 and 0 have moments 5 l^2 and 10 w^2.
    for (length, margin) in [(25.0, 0.002), (6.0, 0.005), (1.0, 0.03)] {
        let limit = length * (0.5f64 / 65_536.0).sqrt();
        for step in 0..90 {
            let rows = |share: f64| -> Vec<[f64; 4]> {
                let holes = arranged(&two_rows(length, limit * share), 1.0, 2.0 * f64::from(step), [1.0, -2.0]);
                holes.iter().map(|[x, y]| spot(*x, *y, x / 16.0, y / 16.0)).collect()
            };
            assert_eq!(fitted(&rows(1.0 - margin), &USUAL), Err(Error::Collinear), "{length} {step}");
            assert!(fitted(&rows(1.0 + margin), &USUAL).is_ok(), "{length} {step}");
        }
    }
}

#[test]
fn a_power_that_cannot_be_stepped_back_is_refused() {
    let bench = Bench::new(60.0, 20.0);
    let fit = |sphere: f64, cylinder: f64| {
        // Near the axis, since near a focus the light goes far.
        let spots = bench.spots(
            &Lens::new(sphere, cylinder, 30.0, [0.0; 2]),
            &lattice(0.1, 0.5),
            0.0,
            &mut Random::new("step"),
        );
        fitted(&spots, &bench)
    };
    // Focus within the gap; in one meridian only.
    assert_eq!(fit(25.0, 0.0), Err(Error::SingularStepBack));
    assert_eq!(fit(5.0, 20.0), Err(Error::SingularStepBack));
    assert_eq!(fit(30.0, 30.0), Err(Error::SingularStepBack));
    // Behind the plate by less than half the gap, and by more.
    assert_eq!(fit(1000.0 / 85.0, 0.0), Err(Error::SingularStepBack));
    assert!(fit(1000.0 / 95.0, 0.0).is_ok());
    // In the plate itself, all but.
    assert_eq!(fit(1000.0 / 60.5, 0.0), Err(Error::SlopeRange));
    // det(I - gap F) on both sides of 64.
    assert!(fit(-115.0, 0.0).is_ok());
    assert_eq!(fit(-118.5, 0.0), Err(Error::SingularStepBack));
}

#[test]
fn displacements_that_no_lens_makes_are_refused() {
    let long = Bench::new(0.0, 512.0);
    assert!(fitted(&scaled(3.99), &long).is_ok());
    assert!(fitted(&scaled(-3.99), &long).is_ok());
    assert_eq!(fitted(&scaled(4.01), &long), Err(Error::SlopeRange));
    assert_eq!(fitted(&scaled(-4.01), &long), Err(Error::SlopeRange));
    // 512 D over 2 mm are a ratio of 1.024.
    let short = Bench::new(0.0, 2.0);
    assert!(fitted(&scaled(1.023), &short).is_ok());
    assert!(fitted(&scaled(-1.023), &short).is_ok());
    assert_eq!(fitted(&scaled(1.025), &short), Err(Error::SlopeRange));
    assert_eq!(fitted(&scaled(-1.025), &short), Err(Error::SlopeRange));
    // Along a diagonal, where all elements are half of it, on a pattern stretched that way.
    let diagonal = |[x, y]: &[f64; 2]| spot(*x, *y, -1.95 * (x + y), -1.95 * (x + y));
    let stretched: Vec<[f64; 4]> = arranged(&ring(6, 4.0, 0.0), 0.05, 45.0, [0.0; 2]).iter().map(diagonal).collect();
    let power = fitted(&stretched, &long).expect("a lens").power();
    let off = |element: f64| (element - 1950.0 / long.throw).abs();
    assert!([power.xx, power.xy, power.yy].into_iter().all(|element| off(element.to_f64()) < 1e-3), "{power:?}");
    // A tiny pattern that is moved apart: the right side of the equations is beyond their range.
    let tiny: Vec<[f64; 4]> = ring(3, 0.01, 0.0).iter().map(|[x, y]| spot(*x, *y, 1000.0 * x, -900.0 * y)).collect();
    assert_eq!(fitted(&tiny, &long), Err(Error::SlopeRange));
}

#[test]
fn a_power_and_a_prism_beyond_the_scale_saturate_and_say_so() {
    // The plate sees 31 and 0.1 of -1000/gap D: the vertex has thirty times that, and a determinant just below 64.
    let spots: Vec<[f64; 4]> =
        lattice(0.5, 3.0).into_iter().map(|[x, y]| spot(x, y, x * 30.0 / 32.0, y * 24.0 / 32.0)).collect();
    let fit = fitted(&spots, &Bench::new(2.0, 2.0)).expect("a lens");
    assert!(fit.is_saturated(), "{fit:?}");
    assert_eq!(fit.prism(), Prism::SATURATED);
    assert!(fit.sphero_cylinder().is_err());
    // A slope of 28, behind a flat plate: 2800 prism dioptres.
    let far: Vec<[f64; 4]> = lattice(0.5, 3.0).into_iter().map(|[x, y]| spot(x - 28.0, y, 56.0, 0.0)).collect();
    let fit = fitted(&far, &Bench::new(0.0, 2.0)).expect("a lens");
    assert!(fit.is_saturated() && fit.prism().x.is_saturated() && fit.prism().x.to_bits() > 0, "{fit:?}");
    assert!(!found(Lens::new(4.0, 0.0, 180.0, [20.0, 0.0]), &USUAL).is_saturated());
}

/// A strong cylinder behind a long gap and throw, far off the axis: products of 65 bits.
#[test]
fn an_absurd_prism_does_not_wrap() {
    let bench = Bench::new(128.0, 512.0);
    let (across, along, on_axis) = (-63.0 / 16.0, 1.0 / 8.0, 118.0);
    let lens = |[x, y]: &[f64; 2]| spot(*x, *y, on_axis - across * x, -along * y);
    let spots: Vec<[f64; 4]> = arranged(&lattice(0.5, 2.0), 1.0, 0.0, [-20.0, 3.0]).iter().map(lens).collect();
    let fit = fitted(&spots, &bench).expect("a lens");
    // 64 times what the plate sees.
    assert!((fit.prism().x.to_f64() - 64.0 * 100.0 * on_axis / bench.throw).abs() < 1e-2, "{fit:?}");
    assert!(fit.prism().y.abs().to_f64() < 1e-4, "{fit:?}");
}

#[test]
fn coordinates_are_refused_from_one_unit_beyond_the_range() {
    let most = SpotPair::MOST.to_bits();
    assert_eq!(most, (32 << Millimetre::FRACTION_BITS) - 1);
    let with = |index: usize, bits: i32| {
        let mut all = [Millimetre::from_bits(1); 4];
        all[index] = Millimetre::from_bits(bits);
        SpotPair::new(Point::new(all[0], all[1]), Point::new(all[2], all[3]))
    };
    for index in 0..4 {
        for bits in [most, -most, 0] {
            assert!(with(index, bits).is_ok(), "{index} {bits}");
        }
        for bits in [most + 1, -most - 2, i32::MAX, -i32::MAX, 1 << 22, -(1 << 22), 1 << 30, -(1 << 30)] {
            assert_eq!(with(index, bits), Err(Error::CoordinateRange), "{index} {bits}");
        }
    }
}

#[test]
fn geometries_are_refused_from_one_unit_beyond_the_range() {
    let ends = [Geometry::MOST_GAP, Geometry::LEAST_THROW, Geometry::MOST_THROW];
    assert_eq!(ends, [millimetres!(128.0), millimetres!(2.0), millimetres!(512.0)]);
    let one = Millimetre::from_bits(1);
    let (gap, throw) = (millimetres!(5.0), millimetres!(20.0));
    for good in [Millimetre::ZERO, one, Geometry::MOST_GAP] {
        let geometry = Geometry::new(good, throw).expect("in range");
        assert_eq!((geometry.gap(), geometry.throw()), (good, throw));
    }
    for bad in [-one, Geometry::MOST_GAP + one, Millimetre::MAX, Millimetre::MIN] {
        assert_eq!(Geometry::new(bad, throw), Err(Error::GeometryRange));
    }
    for good in [Geometry::LEAST_THROW, Geometry::MOST_THROW] {
        assert_eq!(Geometry::new(gap, good).map(|geometry| geometry.throw()), Ok(good));
    }
    for bad in [Geometry::LEAST_THROW - one, Geometry::MOST_THROW + one, Millimetre::ZERO, -throw, Millimetre::MAX] {
        assert_eq!(Geometry::new(gap, bad), Err(Error::GeometryRange));
    }
}

#[test]
fn more_spots_than_the_sums_hold_are_refused_and_leave_them_as_they_were() {
    assert_eq!(SlopeSums::MOST_SPOTS, 65_536);
    let bench = USUAL.geometry();
    let (compact, pair): (Vec<_>, Vec<_>) = [[900, -800, -90, 70], [-700, 300, 71, -33], [200, 650, -19, -60]]
        .into_iter()
        .cycle()
        .take(SlopeSums::MOST_SPOTS as usize)
        .map(both_forms)
        .unzip();
    let full = sums(&pair).expect("just enough");
    assert_eq!(full.count(), SlopeSums::MOST_SPOTS);
    let fit = full.fit(&bench).expect("a lens");
    // A third of them each: nearly the lens of three.
    assert!(
        (fit.power().xx.to_f64() - sums(&pair[..3]).unwrap().fit(&bench).unwrap().power().xx.to_f64()).abs() < 1e-2
    );

    let mut more = full;
    assert_eq!(more.add(pair[0]), Err(Error::TooManySpots));
    assert_eq!(more.add_all(&pair[..1]), Err(Error::TooManySpots));
    assert_eq!(more.add_compact(&compact[..1]), Err(Error::TooManySpots));
    assert_eq!(more.merge(&sums(&pair[..1]).unwrap()), Err(Error::TooManySpots));
    assert_eq!(more.merge(&full), Err(Error::TooManySpots));
    assert_eq!(more.add_all(&[]), Ok(()));
    assert_eq!(more.add_compact(&[]), Ok(()));
    assert_eq!(more.merge(&SlopeSums::default()), Ok(()));
    assert_eq!(more, full);

    let mut one = sums(&pair[..1]).unwrap();
    let before = one;
    assert_eq!(one.add_all(&pair), Err(Error::TooManySpots));
    assert_eq!(one.add_compact(&compact), Err(Error::TooManySpots));
    assert_eq!(one.merge(&full), Err(Error::TooManySpots));
    assert_eq!(one, before);
    assert_eq!(one.add_compact(&compact[1..]), Ok(()));
    assert_eq!(one, full);
    let mut beyond = compact.clone();
    beyond.push(compact[0]);
    let mut none = SlopeSums::default();
    assert_eq!(none.add_compact(&beyond), Err(Error::TooManySpots));
    assert_eq!(none, SlopeSums::default());
}

#[test]
fn every_error_says_what_was_wrong() {
    let all = [
        (Error::TooFewSpots, false),
        (Error::TooManySpots, true),
        (Error::Collinear, false),
        (Error::SingularStepBack, false),
        (Error::CoordinateRange, true),
        (Error::GeometryRange, true),
        (Error::SlopeRange, true),
    ];
    let texts: std::collections::HashSet<String> = all.iter().map(|(error, _)| error.to_string()).collect();
    assert_eq!(texts.len(), all.len());
    for (error, range) in all {
        assert_eq!(error.is_range(), range, "{error}");
    }
}

// Nothing panics.

/// Everything that a fit offers.
fn ask(fit: &Fit) {
    let _ = (fit.vector(), fit.sphero_cylinder(), fit.centre(), fit.residual(), fit.rotation(), fit.uncertainty());
    let _ = (fit.is_saturated(), format!("{fit:?} {} {}", fit.vector(), fit.prism()));
    for end in [Millimetre::MIN, Millimetre::ZERO, Millimetre::MAX] {
        let _ = fit.prism_at(Point::new(end, end));
    }
}

fn any_size() -> impl Strategy<Value = Millimetre> {
    (any::<i32>(), 0u32..32).prop_map(|(bits, shift)| Millimetre::from_bits(bits >> shift))
}

fn any_point() -> impl Strategy<Value = Point> {
    (any_size(), any_size()).prop_map(|(x, y)| Point::new(x, y))
}

/// Points in range, of every size.
fn any_place() -> impl Strategy<Value = Point> {
    let most = SpotPair::MOST.to_bits();
    let coordinate = || (-most..=most, 0u32..22).prop_map(|(bits, shift)| Millimetre::from_bits(bits >> shift));
    (coordinate(), coordinate()).prop_map(|(x, y)| Point::new(x, y))
}

fn any_geometry() -> impl Strategy<Value = Geometry> {
    let gap = 0..=Geometry::MOST_GAP.to_bits();
    let throw = Geometry::LEAST_THROW.to_bits()..=Geometry::MOST_THROW.to_bits();
    (gap, throw, 0u32..24, 0u32..8).prop_map(|(gap, throw, less, shorter)| {
        let throw = (throw >> shorter).max(Geometry::LEAST_THROW.to_bits());
        Geometry::new(Millimetre::from_bits(gap >> less), Millimetre::from_bits(throw)).expect("in range")
    })
}

proptest! {
    #![proptest_config(cases(4000, "tests/data/regressions/sensor.txt"))]

    #[test]
    fn a_pair_exists_exactly_when_its_coordinates_are_in_range(reference in any_point(), spot in any_point()) {
        let most = SpotPair::MOST;
        let all = [reference.x, reference.y, spot.x, spot.y];
        let pair = SpotPair::new(reference, spot);
        if all.iter().all(|c| c.abs() <= most) {
            let pair = pair.expect("in range");
            prop_assert_eq!((pair.reference(), pair.spot()), (reference, spot));
            prop_assert_eq!(pair.displacement(), spot - reference);
        } else if all.iter().any(|c| c.abs() > most + Millimetre::from_bits(1)) {
            prop_assert_eq!(pair, Err(Error::CoordinateRange));
        }
    }

    #[test]
    fn any_spots_fit_or_are_refused(
        spots in prop::collection::vec((any_place(), any_place()), 0..8),
        geometry in any_geometry(),
    ) {
        let pairs: Vec<SpotPair> = spots.iter().map(|(a, b)| SpotPair::new(*a, *b).expect("in range")).collect();
        match sums(&pairs).expect("few spots").fit(&geometry) {
            Ok(fit) => {
                ask(&fit);
                prop_assert_eq!(fit.count() as usize, pairs.len());
            }
            Err(error) => prop_assert!(!matches!(error, Error::TooManySpots | Error::CoordinateRange | Error::GeometryRange)),
        }
    }

    /// Spots like those of a lens, so that most fits succeed, doubled by merging until the sums are full.
    #[test]
    fn any_lens_fits_however_many_spots_there_are(
        spots in prop::collection::vec((any_place(), any_place()), 3..8),
        ratio in 0u32..8,
        geometry in any_geometry(),
    ) {
        let moved = |a: Millimetre, b: Millimetre| Millimetre::from_bits((a.to_bits() >> 1) + (b.to_bits() >> (ratio + 2)));
        let lens = |(a, b): &(Point, Point)| SpotPair::new(*a, Point::new(moved(a.x, b.x), moved(a.y, b.y)));
        let pairs: Vec<SpotPair> = spots.iter().map(lens).collect::<Result<_, _>>().expect("in range");
        let mut whole = sums(&pairs).expect("few spots");
        let first = whole.fit(&geometry);
        loop {
            let part = whole;
            if let Ok(fit) = whole.fit(&geometry) {
                ask(&fit);
            }
            // The lens does not depend on how often each spot is given.
            if let (Ok(first), Ok(fit)) = (first, whole.fit(&geometry)) {
                let off = fit.power().xx - first.power().xx;
                prop_assert!(off.abs().to_bits() <= 2 || fit.is_saturated() || first.power().xx.abs() > LARGE, "{:?} {:?}", first, fit);
            }
            if whole.merge(&part).is_err() {
                break;
            }
        }
        prop_assert!(whole.count() > SlopeSums::MOST_SPOTS / 2);
    }
}

/// Beyond the power of any lens, where a unit at the plate is many at the vertex.
const LARGE: dioptric::quantity::Dioptre = dioptric::dioptres!(64.0);

/// Sums as a hostile record might bring them.
#[cfg(feature = "serde")]
mod read_from_elsewhere {
    use super::{Lens, Random, SlopeSums, any_bench, any_holes, ask, pairs, sums};
    use serde_json::{Map, Value};

    /// Sums of a lens with some fields replaced, often by ends of the scale; all of them, at times.
    fn spoilt(record: &Map<String, Value>, random: &mut Random) -> Value {
        let mut record = record.clone();
        let replaced = [1, 2, 4, 13][random.u32() as usize % 4];
        for field in record.values_mut() {
            if random.u32() % 13 < replaced {
                let end = [i64::MIN, i64::MAX, 0, 1, -1][random.u32() as usize % 5];
                *field = (if random.u32() & 1 == 0 { end } else { random.long_of_any_size() }).into();
            }
        }
        // The count is a word.
        if record["count"].as_u64().is_none_or(|count| count > u64::from(u32::MAX)) {
            record.insert("count".to_owned(), (random.u32() >> (random.u32() & 31)).into());
        }
        record.into()
    }

    #[test]
    fn sums_that_no_spots_make_fit_or_are_refused() {
        let mut random = Random::new("hostile sums");
        let mut fitted = 0;
        for _ in 0..20_000 {
            let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
            let Ok(pairs) = pairs(&bench.spots(&lens, &holes, 1e-3, &mut random)) else { continue };
            let Ok(Value::Object(record)) = serde_json::to_value(sums(&pairs).expect("few spots")) else {
                panic!("sums are a record");
            };
            for _ in 0..10 {
                // A record may also be refused when it is read.
                let read = serde_json::from_value::<SlopeSums>(spoilt(&record, &mut random));
                if let Ok(Ok(fit)) = read.map(|sums| sums.fit(&bench.geometry())) {
                    ask(&fit);
                    fitted += 1;
                }
            }
        }
        assert!(fitted > 1000, "{fitted}");
    }
}
