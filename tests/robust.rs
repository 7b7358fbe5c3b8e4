//! Fits without gross outliers: wrong holes, dust and reflections must not bend them, and clean spots must all stay.

mod common;
#[path = "common/spots.rs"]
mod spots;
#[path = "common/traced.rs"]
mod traced;

use common::{Random, cases};
use dioptric::quantity::{Dioptre, Fraction, Point};
use dioptric::sensor::{Error, Fit, Outlier, RobustError, RobustFit, RobustLimits, SpotPair};
use dioptric::{fraction, micrometres, millimetres};
use proptest::prelude::{any, prop, prop_assert, prop_assert_eq, proptest};
use spots::{Bench, Lens, Place, UNIT, lattice, on_grid, pairs, place, point, scattered, signed, sums, unit};
use traced::Traced;

fn robust(pairs: &[SpotPair], bench: &Bench) -> RobustFit {
    RobustFit::of(pairs, &bench.geometry(), &RobustLimits::default()).expect("a lens")
}

fn plain(pairs: &[SpotPair], bench: &Bench) -> Fit {
    sums(pairs).and_then(|sums| sums.fit(&bench.geometry())).expect("a lens")
}

/// Largest difference of power elements, D.
fn power_apart(a: &Fit, b: &Fit) -> f64 {
    let (a, b) = (a.power(), b.power());
    let off = |a: Dioptre, b: Dioptre| (a.to_f64() - b.to_f64()).abs();
    off(a.xx, b.xx).max(off(a.xy, b.xy)).max(off(a.yy, b.yy))
}

// Clean spots.

/// Ray-traced lenses to 25 D over 7 mm, with up to 3.1 um of aberration (RMS): not one spot is lost, and the fit is the plain
/// one to the bit.
#[test]
fn no_spot_of_a_clean_lens_is_lost_to_its_aberration() {
    let mut rejecting = 0;
    for lens in Traced::all() {
        let found = RobustFit::of(&lens.pairs, &lens.geometry, &RobustLimits::default()).expect("a lens");
        assert_eq!(found.outliers().total(), 0, "{}", lens.file());
        assert_eq!(*found.fit(), lens.fit, "{}", lens.file());
        assert!(found.quality().converged && lens.pairs.iter().all(|pair| found.uses(pair)));
        rejecting += u32::from(found.passes() > 1);
    }
    // The strong ones do not get by as below the least limit.
    assert!(rejecting >= 8, "{rejecting}");
}

/// Normal noise alone, well above the least limit: what four standard deviations cost.
///
/// The share lost is `exp(-16 / 2)` of Rayleigh's distribution; what the loss of those few adds to the scatter of the fit is
/// measured against the plain fit of the same spots.
#[test]
fn four_standard_deviations_lose_one_spot_in_three_thousand_and_next_to_no_efficiency() {
    let mut random = Random::new("efficiency");
    let (bench, holes) = (Bench::new(5.0, 20.0), lattice(0.5, 3.0));
    let lens = Lens::new(-2.0, -0.5, 30.0, [0.0; 2]);
    let limits = RobustLimits { multiple: 4 << 8, least_limit: micrometres!(0.0), ..RobustLimits::default() };
    let (mut lost, mut robust, mut plainly) = (0, 0.0, 0.0);
    const FRAMES: u32 = 10_000;
    for _ in 0..FRAMES {
        let pairs = pairs(&bench.spots(&lens, &holes, 2e-3, &mut random)).expect("in range");
        let found = RobustFit::of(&pairs, &bench.geometry(), &limits).expect("a lens");
        let error = |fit: &Fit| (fit.vector().m.to_f64() - lens.power.sphero_cylinder().sphere + 0.25).powi(2);
        lost += found.outliers().total();
        robust += error(found.fit());
        plainly += error(&plain(&pairs, &bench));
        assert_eq!(found.outliers().gross, 0);
        if found.outliers().total() == 0 {
            assert_eq!(*found.fit(), plain(&pairs, &bench));
        }
    }
    let share = f64::from(lost) / f64::from(FRAMES * 113);
    let loss = (robust / plainly).sqrt() - 1.0;
    println!("share lost {share:.2e}, exp(-8) = {:.2e}; standard deviation of M grows by {loss:.5}", (-8f64).exp());
    assert!(share < 2.0 * (-8f64).exp() && share > 0.5 * (-8f64).exp(), "{share}");
    assert!(loss.abs() < 0.003, "{loss}");
}

// Outliers.

/// Which spots go astray.
#[derive(Clone, Copy, Debug)]
enum Where {
    Anywhere,
    /// Those nearest a place: dust, a scratch at the rim.
    Cluster,
    /// Those furthest to one side.
    Side,
}

/// What becomes of them.
#[derive(Clone, Copy, Debug)]
enum How {
    /// All moved alike.
    Together,
    /// Each its own way.
    Apart,
    /// All in one place: a reflection.
    Onto,
    /// As behind another lens.
    Lens,
    /// Each to the next: the wrong hole.
    Exchanged,
}

const WHERE: [Where; 3] = [Where::Anywhere, Where::Cluster, Where::Side];
const HOW: [How; 5] = [How::Together, How::Apart, How::Onto, How::Lens, How::Exchanged];

/// Frames of a lens with some spots astray.
struct Frame {
    bench: Bench,
    /// Those astray first.
    pairs: Vec<SpotPair>,
    clean: Vec<SpotPair>,
    astray: usize,
}

impl Frame {
    /// `size` in millimetres.
    fn of(
        lens: &Lens,
        holes: &[Place],
        astray: usize,
        (at, how): (Where, How),
        size: f64,
        random: &mut Random,
    ) -> Self {
        let bench = Bench::new(5.0, 20.0);
        let mut spots = bench.spots(lens, holes, 2e-4, random);
        let (from, angle) = ([3.0 * signed(random), 3.0 * signed(random)], 7.0 * unit(random));
        let keys: Vec<f64> = spots
            .iter()
            .map(|&[x, y, ..]| match at {
                Where::Anywhere => unit(random),
                Where::Cluster => (x - from[0]).hypot(y - from[1]),
                Where::Side => -(x * angle.cos() + y * angle.sin()),
            })
            .collect();
        let mut order: Vec<usize> = (0..spots.len()).collect();
        order.sort_by(|a, b| keys[*a].total_cmp(&keys[*b]));
        spots = order.into_iter().map(|i| spots[i]).collect();
        let clean = pairs(&spots).expect("in range");
        let (others, first) = (spots.clone(), spots[0]);
        for (i, spot) in spots.iter_mut().enumerate().take(astray) {
            let [x, y, u, v] = *spot;
            let away = 7.0 * unit(random);
            let [u, v] = match how {
                How::Together => [u + size * angle.cos(), v + size * angle.sin()],
                How::Apart => [u + size * away.cos(), v + size * away.sin()],
                How::Onto => [first[2] + size * angle.cos(), first[3] + size * angle.sin()],
                How::Lens => [u + size * (x - first[0] + 1.0), v + size * (y - first[1] - 0.5)],
                How::Exchanged => {
                    let [_, _, u, v] = others[(i + 1) % astray.max(2)];
                    [u, v]
                }
            };
            let [u, v] = on_grid([u.clamp(-31.9, 31.9), v.clamp(-31.9, 31.9)]);
            *spot = [x, y, u, v];
        }
        Self { bench, pairs: pairs(&spots).expect("in range"), clean, astray }
    }

    /// How far a spot was led astray, mm.
    fn moved(&self, i: usize) -> f64 {
        let ([a, b], [c, d]) = (place(self.pairs[i].spot()), place(self.clean[i].spot()));
        (a - c).hypot(b - d)
    }
}

proptest! {
    #![proptest_config(cases(3000, "tests/data/regressions/robust.txt"))]

    /// Up to a fifth of the spots astray by anything from 20 um to 20 mm: every one that lies beyond the limit is found, no
    /// other is lost, and the fit is the plain fit of the rest, to the bit.
    #[test]
    fn gross_outliers_leave_no_trace(
        seed in any::<u64>(), share in 0.0..0.2f64, at in prop::sample::select(&WHERE[..]),
        how in prop::sample::select(&HOW[..]), exponent in -1.7..1.3f64,
    ) {
        let mut random = Random::seeded(seed);
        let lens = Lens::new(12.0 * signed(&mut random), 3.0 * signed(&mut random), 180.0 * unit(&mut random), [0.5, -1.0]);
        let holes = if seed & 1 == 0 { lattice(0.5, 3.0) } else { scattered(60 + random.u32() % 60, 3.5, &mut random) };
        let astray = (share * holes.len() as f64) as usize;
        let frame = Frame::of(&lens, &holes, astray, (at, how), 10f64.powf(exponent), &mut random);
        let found = robust(&frame.pairs, &frame.bench);
        let limit = found.limit().to_f64() / 1000.0;
        prop_assert!(limit < 0.003, "{limit}");
        for (i, pair) in frame.pairs.iter().enumerate() {
            // Noise to five standard deviations, and what the fit itself may be off.
            if i >= frame.astray || frame.moved(i) < limit - 0.001 {
                prop_assert!(found.uses(pair), "{i} lost: {:?}", found.outlier(pair));
            } else if frame.moved(i) > limit + 0.0015 {
                prop_assert!(!found.uses(pair), "{i} used, {} mm astray", frame.moved(i));
            }
        }
        let rest: Vec<SpotPair> = frame.pairs.iter().filter(|pair| found.uses(pair)).copied().collect();
        prop_assert_eq!(*found.fit(), plain(&rest, &frame.bench));
        prop_assert_eq!(found.used() as usize, rest.len());
        prop_assert_eq!(found.outliers().total() as usize, frame.pairs.len() - rest.len());
        prop_assert!(found.quality().converged);
    }

    /// Outliers of any size, small ones that hide within the limit too: the power is never off by more than all of them at
    /// the limit, on one side, could do.
    #[test]
    fn small_outliers_do_no_more_than_the_limit_lets_them(
        seed in any::<u64>(), share in 0.0..0.2f64, at in prop::sample::select(&WHERE[..]),
        how in prop::sample::select(&HOW[..4]), exponent in -5.0..-1.0f64,
    ) {
        let mut random = Random::seeded(seed);
        let lens = Lens::new(5.0 * signed(&mut random), signed(&mut random), 180.0 * unit(&mut random), [0.5, -1.0]);
        let holes = lattice(0.5, 3.0);
        let astray = (share * holes.len() as f64) as usize;
        let frame = Frame::of(&lens, &holes, astray, (at, how), 10f64.powf(exponent), &mut random);
        let found = robust(&frame.pairs, &frame.bench);
        let (limit, n) = (found.limit().to_f64() / 1000.0 + 0.0015, holes.len() as f64);
        let squares: f64 = holes.iter().map(|[x, _]| x * x).sum();
        // The lever of a spot is at most 3 mm, the slope over throw in dioptres, the step back below 1.1.
        let most = 1.1 * share * n * limit * 3.0 / squares / 20.0 * 1000.0;
        let off = power_apart(found.fit(), &plain(&frame.clean, &frame.bench));
        prop_assert!(off <= most + 1e-3, "{off} of {most}");
    }

    /// What is seen does not depend on the order.
    #[test]
    fn order_does_not_matter(seed in any::<u64>(), turn in 1usize..112) {
        let mut random = Random::seeded(seed);
        let lens = Lens::new(4.0, -1.0, 20.0, [0.0; 2]);
        let frame = Frame::of(&lens, &lattice(0.5, 3.0), 20, (Where::Side, How::Apart), 0.01 * unit(&mut random), &mut random);
        let mut turned = frame.pairs.clone();
        turned.rotate_left(turn);
        turned[turn / 2..].reverse();
        prop_assert_eq!(robust(&turned, &frame.bench), robust(&frame.pairs, &frame.bench));
    }
}

/// The same outliers drag the plain fit by dioptres: the test above is about something.
#[test]
fn least_squares_alone_are_bent() {
    let mut random = Random::new("bent");
    let lens = Lens::new(-2.0, -0.5, 30.0, [0.0; 2]);
    let frame = Frame::of(&lens, &lattice(0.5, 3.0), 22, (Where::Side, How::Together), 1.0, &mut random);
    let clean = plain(&frame.clean, &frame.bench);
    assert!(power_apart(&plain(&frame.pairs, &frame.bench), &clean) > 5.0);
    let found = robust(&frame.pairs, &frame.bench);
    assert!(power_apart(found.fit(), &clean) < 2e-3);
    assert_eq!((found.outliers().gross, found.outliers().marginal), (22, 0));
    assert_eq!(found.outlier(&frame.pairs[0]), Some(Outlier::Gross));
    assert!((found.quality().rejected.to_f64() - 22.0 / 113.0).abs() < 1e-6);
}

/// The strongest lenses of the ray-traced set with a fifth of their spots astray: aberration widens the limit, and the
/// outliers still go, all of them, alone.
#[test]
fn outliers_among_aberration_are_found() {
    let mut random = Random::new("aberration");
    for lens in Traced::all() {
        let mut pairs = lens.pairs.clone();
        let astray = pairs.len() / 5;
        for pair in pairs.iter_mut().take(astray) {
            let [x, y] = place(pair.spot());
            let spot = point([x + 0.1 + 0.4 * unit(&mut random), y + 0.3 * signed(&mut random)]);
            *pair = SpotPair::new(pair.reference(), spot).expect("in range");
        }
        let found = RobustFit::of(&pairs, &lens.geometry, &RobustLimits::default()).expect("a lens");
        let lost = pairs.iter().skip(astray).filter(|pair| !found.uses(pair)).count();
        let kept = pairs.iter().take(astray).filter(|pair| found.uses(pair)).count();
        println!("{}: {lost} lost, {kept} kept, limit {} um", lens.file(), found.limit());
        assert_eq!(kept, 0, "{}", lens.file());
        assert_eq!(lost, 0, "{}", lens.file());
    }
}

// Refusals and corners.

fn five() -> Vec<SpotPair> {
    [[0.0, 0.0], [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]
        .map(|hole| SpotPair::new(point(hole), point([hole[0] * 0.9, hole[1] * 0.9])).expect("in range"))
        .to_vec()
}

#[test]
fn what_is_no_lens_is_refused_by_name() {
    let bench = Bench::new(5.0, 20.0);
    let fit = |pairs: &[SpotPair], limits| RobustFit::of(pairs, &bench.geometry(), &limits);
    let usual = RobustLimits::default();
    assert_eq!(fit(&five()[..2], usual), Err(RobustError::Fit(Error::TooFewSpots)));
    assert_eq!(fit(&five()[..3], usual), Err(RobustError::Fit(Error::Collinear)));
    for limits in [
        RobustLimits { multiple: 511, ..usual },
        RobustLimits { least_limit: micrometres!(-1.0), ..usual },
        RobustLimits { most_passes: 0, ..usual },
        RobustLimits { least_share: fraction!(0.4), ..usual },
        RobustLimits { least_share: fraction!(1.01), ..usual },
    ] {
        assert_eq!(fit(&five(), limits), Err(RobustError::LimitsRange));
        assert!(RobustError::LimitsRange.is_range());
    }
    assert!(!RobustError::TooFewRemain.is_range());
    assert_eq!(RobustError::from(Error::Collinear).to_string(), "the spots lie on a line");
}

/// Three in ten astray is more than a quarter: refused by default, fitted by who allows it.
#[test]
fn more_outliers_than_allowed_are_no_fit() {
    let mut random = Random::new("too many");
    let lens = Lens::new(-2.0, -0.5, 30.0, [0.0; 2]);
    let frame = Frame::of(&lens, &lattice(0.5, 3.0), 34, (Where::Anywhere, How::Apart), 0.5, &mut random);
    let fit = |limits| RobustFit::of(&frame.pairs, &frame.bench.geometry(), &limits);
    assert_eq!(fit(RobustLimits::default()), Err(RobustError::TooFewRemain));
    let found = fit(RobustLimits { least_share: Fraction::try_from_f64(0.65).unwrap(), ..RobustLimits::default() });
    assert_eq!(found.expect("a lens").outliers().gross, 34);
}

/// Spots anywhere have no outliers among them: the quality tells that they show no lens.
#[test]
fn spots_without_any_law_are_told_by_the_quality() {
    let mut random = Random::new("anywhere");
    let spots: Vec<[f64; 4]> = (0..100).map(|_| [0; 4].map(|_| 3.0 * signed(&mut random))).collect();
    let found = robust(&pairs(&spots).expect("in range"), &Bench::new(5.0, 20.0));
    assert!(found.quality().residual.to_f64() > 1000.0 && found.quality().largest.to_f64() > 2000.0);
}

/// A single pass of rejection has nothing to compare with: it says that it may not be the last.
#[test]
fn what_has_not_settled_says_so() {
    let mut random = Random::new("unsettled");
    let lens = Lens::new(-2.0, -0.5, 30.0, [0.0; 2]);
    let frame = Frame::of(&lens, &lattice(0.5, 3.0), 10, (Where::Side, How::Apart), 0.5, &mut random);
    let limits = RobustLimits { most_passes: 1, ..RobustLimits::default() };
    let found = RobustFit::of(&frame.pairs, &frame.bench.geometry(), &limits).expect("a lens");
    assert_eq!((found.passes(), found.quality().converged), (1, false));
    let rest: Vec<SpotPair> = frame.pairs.iter().filter(|pair| found.uses(pair)).copied().collect();
    assert_eq!(*found.fit(), plain(&rest, &frame.bench));
}

/// Exact spots on a coarse grid: a median of zero must not reject what rounding moved.
#[test]
fn a_median_of_zero_rejects_nothing_within_the_least_limit() {
    let bench = Bench::new(0.0, 20.0);
    let mut pairs = five();
    pairs[4] =
        SpotPair::new(point([0.0, -1.0]), Point::new(millimetres!(0.001), millimetres!(-0.9))).expect("in range");
    let found = robust(&pairs, &bench);
    assert_eq!(found.used(), 5);
    assert!(found.quality().largest.to_f64() < 1.0 && (found.limit().to_f64() - 2.0).abs() < 0.002);
    assert!(found.fit().power().xx.to_f64() - 5.0 < 0.1 + UNIT);
}
