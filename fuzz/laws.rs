//! What must hold for any input. The fuzz targets call one law each; `tests/fuzz_corpus.rs` replays the corpus on stable.

use dioptric::math;
use dioptric::oracle;
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, Point};
use dioptric::rx::{SpheroCylinder, Step};
use dioptric::sensor::{
    Cell, CompactPair, FinderError, FinderMemory, FoundSpot, Geometry, Hole, Lattice, LatticeKind, OpenBlob, Pixel,
    PlacedSpot, Plate, Reference, Rejected, Run, SlopeSums, SpotFinder, SpotLimits, SpotPair, Tile,
};
use dioptric::shape::{Contour, SizeTarget};
use dioptric::vector::{PowerMatrix, PowerVector};

/// Reading a prescription: errors point into the text; what is read can be printed and read again.
pub fn prescription(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let read = match text.parse::<SpheroCylinder>() {
        Ok(read) => read,
        Err(error) => {
            assert!(error.position() <= text.chars().count(), "{error}");
            return;
        }
    };
    assert_eq!(read.transposed().transposed(), read);
    assert_eq!(read.transposed().spherical_equivalent(), read.spherical_equivalent());
    assert_eq!(PowerVector::from(read), PowerVector::from(read.transposed()));
    // Ten decimals name every count of 2^-20; whole degrees do not name every axis.
    let printed = format!("{read:.9}");
    let again: SpheroCylinder = printed.parse().expect("what is printed can be read");
    assert_eq!((again.sphere(), again.cylinder()), (read.sphere(), read.cylinder()), "{printed}");
    assert_eq!(format!("{again:.9}"), printed);
    for step in [Step::Quarter, Step::Eighth, Step::Hundredth] {
        let Ok(rounded) = read.rounded(step) else { continue };
        assert_eq!(rounded.rounded(step), Ok(rounded));
        let back: SpheroCylinder = rounded.to_string().parse().expect("what is printed can be read");
        assert_eq!(back.rounded(step), Ok(rounded), "{rounded}");
    }
}

/// Reading prisms: errors point into the text; a prism read is printed by eye and read again.
pub fn prism(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    for eye in [Eye::Right, Eye::Left] {
        let read = match Prism::parse(text, eye) {
            Ok(read) => read,
            Err(error) => {
                assert!(error.position() <= text.chars().count(), "{error}");
                continue;
            }
        };
        let printed = format!("{:.9}", read.of(eye));
        assert_eq!(Prism::parse(&printed, eye), Ok(read), "{printed}");
        assert_eq!(Prism::parse(&printed, eye.other()).map(Prism::mirrored), Ok(read));
        let (right, left) = read.shared(data.len() as u8);
        assert_eq!(right - left, read);
    }
}

/// Takes numbers from bytes, zeros when they run out.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().map_or((0, self.0), |(first, rest)| (*first, rest));
        self.0 = rest;
        first
    }

    /// A signed number of so many bits.
    fn signed(&mut self, bits: u32) -> i32 {
        let word = u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()]);
        (word as i32) >> (32 - bits)
    }

    fn millimetre(&mut self) -> Millimetre {
        Millimetre::from_bits(self.signed(22))
    }

    fn pair(&mut self) -> SpotPair {
        let (x, y) = (self.millimetre(), self.millimetre());
        // Spots stay near their holes, as light through a lens does.
        let moved = |c: Millimetre, by: i32| {
            Millimetre::from_bits((c.to_bits() + by).clamp(-SpotPair::MOST.to_bits(), SpotPair::MOST.to_bits()))
        };
        let spot = Point::new(moved(x, self.signed(19)), moved(y, self.signed(19)));
        SpotPair::new(Point::new(x, y), spot).expect("clamped")
    }
}

/// Any spots: the same sums in any grouping and order, no panic anywhere, and the oracle's fit where that is well posed.
pub fn fit(data: &[u8]) {
    let mut bytes = Bytes(data);
    let gap = Millimetre::from_bits(bytes.signed(22).abs());
    let throw = Millimetre::from_bits(bytes.signed(24).abs());
    let geometry = Geometry::new(gap, throw);
    let mut spots = Vec::new();
    while !bytes.0.is_empty() && spots.len() < 400 {
        spots.push(bytes.pair());
    }
    let sums = sum(&spots);
    let (head, tail) = spots.split_at(spots.len() / 3);
    let mut merged = sum(tail);
    merged.merge(&sum(head)).expect("few spots");
    assert_eq!(merged, sums);
    let mut one_by_one = SlopeSums::default();
    for pair in spots.iter().rev() {
        one_by_one.add(*pair).expect("few spots");
    }
    assert_eq!(one_by_one, sums);
    compact(&spots);
    let Ok(geometry) = geometry else { return };
    let Ok(fit) = sums.fit(&geometry) else { return };
    let _all = (fit.uncertainty(), fit.centre(), fit.residual(), fit.rotation(), fit.sphero_cylinder());
    compare_with_oracle(&spots, &geometry, fit.power());
}

fn sum(spots: &[SpotPair]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    sums.add_all(spots).expect("few spots");
    sums
}

/// On the compact grid both forms give the same sums.
fn compact(spots: &[SpotPair]) {
    let short = |c: Millimetre| (c.to_bits() >> 6) as i16;
    let wide = |c: i16| Millimetre::from_bits(i32::from(c) << 4);
    let compact: Vec<CompactPair> = spots
        .iter()
        .map(|pair| CompactPair {
            x: short(pair.reference().x),
            y: short(pair.reference().y),
            dx: short(pair.displacement().x),
            dy: short(pair.displacement().y),
        })
        .collect();
    let mut sums = SlopeSums::default();
    sums.add_compact(&compact).expect("few spots");
    let whole: Vec<SpotPair> = compact
        .iter()
        .map(|c| {
            let reference = Point::new(wide(c.x), wide(c.y));
            SpotPair::new(reference, reference + Point::new(wide(c.dx), wide(c.dy))).expect("within 16 mm")
        })
        .collect();
    assert_eq!(sum(&whole), sums);
}

/// Where the pattern is round enough and the step back short enough, the oracle finds the same power.
fn compare_with_oracle(spots: &[SpotPair], geometry: &Geometry, power: PowerMatrix) {
    let rows: Vec<[f64; 4]> = spots
        .iter()
        .map(|p| [p.reference().x, p.reference().y, p.spot().x, p.spot().y].map(Millimetre::to_f64))
        .collect();
    let (gap, throw) = (geometry.gap().to_f64(), geometry.throw().to_f64());
    let Some(exact) = oracle::fit(&rows, gap, throw) else { return };
    let largest = exact.power.xx.abs().max(exact.power.yy.abs()).max(exact.power.xy.abs());
    let spread = rows.iter().map(|r| r[0].hypot(r[1])).fold(0.0, f64::max);
    if largest * gap > 300.0 || throw < 5.0 || spread < 1.0 || !is_round(&rows) {
        return;
    }
    // Units of the result and of V, and 2^-28 in the ratio; the step back magnifies by at most (1 + 0.3)^2.
    let allowed = 8e-6 + 2e-5 / throw + largest * 2e-7;
    for (got, want) in [(power.xx, exact.power.xx), (power.xy, exact.power.xy), (power.yy, exact.power.yy)] {
        assert!((got.to_f64() - want).abs() <= allowed, "{got:?} {want} {allowed}");
    }
}

fn is_round(rows: &[[f64; 4]]) -> bool {
    let n = rows.len() as f64;
    let (mx, my) = (rows.iter().map(|r| r[0]).sum::<f64>() / n, rows.iter().map(|r| r[1]).sum::<f64>() / n);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for r in rows {
        xx += (r[0] - mx).powi(2);
        xy += (r[0] - mx) * (r[1] - my);
        yy += (r[1] - my).powi(2);
    }
    xx + yy > 0.1 && (xx * yy - xy * xy) > 0.01 * (xx + yy).powi(2)
}

/// Two lenses, an angle, a step and a point: every operation within its bound of the oracle's.
pub fn differential(data: &[u8]) {
    let mut bytes = Bytes(data);
    let mut lens = || {
        let sphere = Dioptre::from_bits(bytes.signed(26));
        let cylinder = Dioptre::from_bits(bytes.signed(25));
        SpheroCylinder::new(sphere, cylinder, Axis::from_bits(bytes.signed(32) as u32)).expect("within 48 D")
    };
    let (a, b) = (lens(), lens());
    let (va, vb) = (PowerVector::from(a), PowerVector::from(b));
    near_vector(va, exact(a).vector(), 1.1e-6);
    let sum = va + vb;
    let want: Vec<f64> = exact(a).vector().iter().zip(exact(b).vector()).map(|(p, q)| p + q).collect();
    near_vector(sum, [want[0], want[1], want[2]], 2.2e-6);
    back(sum);
    let meridian = Axis::from_bits(bytes.signed(32) as u32);
    let degrees = f64::from(meridian.to_bits()) * 180.0 / 4_294_967_296.0;
    near(va.power_along(meridian), exact(a).power_along(degrees), 2.2e-6);
    let turned = va.turned(Degree::from_bits(bytes.signed(28)));
    assert!((turned.half_cylinder().to_f64() - va.half_cylinder().to_f64()).abs() <= 2.5e-6);
    step(a, bytes.millimetre());
    let point = Point::new(bytes.millimetre(), bytes.millimetre());
    let prism = PowerMatrix::from(a).prism_at(point);
    let want = exact(a).matrix().prism_at(point.x.to_f64(), point.y.to_f64());
    let allowed = 1e-6 + 1.2e-6 * (point.x.to_f64().abs() + point.y.to_f64().abs()) / 10.0;
    assert!((prism.x.to_f64() - want[0]).abs() <= allowed && (prism.y.to_f64() - want[1]).abs() <= allowed);
    let ratio = math::ratio(i64::from(bytes.signed(32)), i64::from(bytes.signed(32)), 20);
    assert!(ratio != i64::MIN);
}

fn exact(rx: SpheroCylinder) -> oracle::SpheroCylinder {
    oracle::SpheroCylinder {
        sphere: rx.sphere().to_f64(),
        cylinder: rx.cylinder().to_f64(),
        axis: f64::from(rx.axis().to_bits()) * 180.0 / 4_294_967_296.0,
    }
}

fn near(got: Dioptre, want: f64, allowed: f64) {
    assert!((got.to_f64() - want).abs() <= allowed, "{got:?} {want}");
}

fn near_vector(got: PowerVector, [m, j0, j45]: [f64; 3], allowed: f64) {
    near(got.m, m, allowed);
    near(got.j0, j0, allowed);
    near(got.j45, j45, allowed);
}

/// From the vector to the prescription: within 2e-6 D, and the mean power to the bit.
fn back(vector: PowerVector) {
    let Ok(rx) = vector.sphero_cylinder() else { return };
    let want = oracle::SpheroCylinder::from_vector([vector.m.to_f64(), vector.j0.to_f64(), vector.j45.to_f64()]);
    near(rx.sphere(), want.sphere, 2e-6);
    near(rx.cylinder(), want.cylinder, 2e-6);
    assert_eq!(rx.spherical_equivalent(), vector.m);
}

fn step(rx: SpheroCylinder, distance: Millimetre) {
    let power = PowerMatrix::from(rx);
    let Ok(stepped) = power.stepped(distance) else { return };
    let matrix = oracle::Matrix { xx: power.xx.to_f64(), xy: power.xy.to_f64(), yy: power.yy.to_f64() };
    let want = matrix.step(distance.to_f64());
    let d = distance.to_f64() / 1000.0;
    let determinant = 1.0 - d * (matrix.xx + matrix.yy) + d * d * matrix.det();
    let largest = want.xx.abs().max(want.yy.abs()).max(matrix.xx.abs()).max(matrix.yy.abs());
    let allowed = 2e-6 + 1e-8 * largest / determinant;
    near(stepped.xx, want.xx, allowed);
    near(stepped.xy, want.xy, allowed);
    near(stepped.yy, want.yy, allowed);
}

/// A plate, and any spots: anywhere, or near where a lens puts them. Whatever is assigned, no hole and no spot is in two pairs.
pub fn assign(data: &[u8]) {
    let mut bytes = Bytes(data);
    let kind = if bytes.byte() & 1 == 0 { LatticeKind::Square } else { LatticeKind::Hexagonal };
    let pitch = Millimetre::from_bits(6554 + 256 * i32::from(bytes.byte()));
    let radius = Millimetre::from_bits(pitch.to_bits() / 16 * i32::from(bytes.byte() % 224));
    let marker = (bytes.byte() & 1 == 0).then_some(Hole::new(bytes.byte() as i8 % 4, bytes.byte() as i8 % 4));
    let (origin, centre) = (Point::ORIGIN, Point::new(Millimetre::from_bits(bytes.signed(16)), Millimetre::ZERO));
    let rotation = Degree::from_bits(bytes.signed(29));
    let plate = Plate { kind, pitch, origin, rotation, centre, radius, marker };
    let Ok(lattice) = Lattice::new(plate) else { return };
    let mut spots = spots_of(&lattice, &mut bytes);
    let mut cells = vec![Cell::EMPTY; lattice.cells()];
    let mut places = vec![None; lattice.count().into()];
    let mut bare = spots.clone();
    if let Ok((reference, findings)) = Reference::measure(&lattice, &mut bare, &mut cells, &mut places) {
        assert_eq!(usize::from(findings.assigned), reference.places().iter().flatten().count());
        assert_eq!(
            Reference::from_places(&lattice, reference.places()).expect("it was accepted").mounting(),
            reference.mounting()
        );
    }
    let drawn: Vec<Option<Point>> = lattice.holes().map(|hole| Some(lattice.place(hole))).collect();
    let reference = Reference::from_places(&lattice, &drawn).expect("as drawn");
    let Ok(assignment) = reference.assign(&mut spots, &mut cells) else { return };
    let pairs: Vec<_> = assignment.pairs().collect();
    assert_eq!(
        (pairs.len(), assignment.extra().count()),
        (assignment.findings().assigned.into(), assignment.findings().extra.into())
    );
    let mut holes: Vec<Hole> = pairs.iter().map(|found| found.hole).collect();
    holes.sort_unstable();
    assert!(holes.windows(2).all(|two| two[0] != two[1]));
    for found in &pairs {
        assert_eq!(Some(found.pair.reference()), reference.place(found.hole));
        // A place may have been given more often.
        let is_it = |spot: Point| spot == found.pair.spot();
        let given = bare.iter().filter(|spot| is_it(spot.place())).count();
        assert!(pairs.iter().filter(|other| is_it(other.pair.spot())).count() <= given);
    }
}

/// Of some holes a spot near an affine image, others anywhere.
fn spots_of(lattice: &Lattice, bytes: &mut Bytes) -> Vec<PlacedSpot> {
    let map: [i32; 4] = core::array::from_fn(|_| bytes.signed(8));
    let shift = Point::new(Millimetre::from_bits(bytes.signed(20)), Millimetre::from_bits(bytes.signed(20)));
    let mut spots = Vec::new();
    for hole in lattice.holes() {
        let (x, y) = (lattice.place(hole).x.to_bits(), lattice.place(hole).y.to_bits());
        let along = |a: i32, b: i32| ((i64::from(x) * i64::from(a) + i64::from(y) * i64::from(b)) / 128) as i32;
        let [a, b, c, d] = map;
        let image = Point::new(Millimetre::from_bits(x + along(a, b)), Millimetre::from_bits(y + along(c, d))) + shift;
        let fault = bytes.byte();
        let noise = Point::new(Millimetre::from_bits(i32::from(fault >> 3) - 16), Millimetre::ZERO);
        let light = 1000 + u32::from(lattice.plate().marker == Some(hole)) * 1000;
        match fault & 7 {
            7 => {}
            6 => spots.push(PlacedSpot::new(Point::new(bytes.millimetre(), bytes.millimetre()), light)),
            _ => spots.push(PlacedSpot::new(image + noise, light)),
        }
    }
    while !bytes.0.is_empty() && spots.len() < 300 {
        spots.push(PlacedSpot::new(Point::new(bytes.millimetre(), bytes.millimetre()), u32::from(bytes.byte())));
    }
    spots
}

/// A frame to search: its bytes and how they are read.
#[derive(Clone, Copy)]
struct Search {
    width: usize,
    limits: SpotLimits,
    runs: usize,
    blobs: usize,
    /// Of so many rows one comes after a row of another width.
    odd: usize,
}

impl Search {
    /// What became of each row and of the frame, and the spots.
    fn run<P>(
        &self,
        lanes: usize,
        frame: &[P],
        take: impl Fn(&mut SpotFinder, &[P], &mut Vec<FoundSpot>) -> Result<(), FinderError>,
    ) -> Searched {
        let (mut tiles, mut runs, mut blobs) = (
            vec![Tile::EMPTY; SpotFinder::tiles(self.width as u16)],
            vec![Run::EMPTY; self.runs],
            vec![OpenBlob::EMPTY; self.blobs],
        );
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        let mut finder = match SpotFinder::new(self.width as u16, self.limits, memory) {
            Ok(finder) => finder,
            Err(error) => {
                assert!(matches!(error, FinderError::WidthRange | FinderError::LimitsRange), "{error}");
                return Searched { rows: vec![Err(error)], spots: vec![], end: Err(error), taken: 0 };
            }
        };
        let first = self.frame(&mut finder, (lanes, frame), &take);
        assert_eq!(self.frame(&mut finder, (lanes, frame), &take), first, "the next frame is a new one");
        first
    }

    fn frame<P>(
        &self,
        finder: &mut SpotFinder,
        (lanes, frame): (usize, &[P]),
        take: &impl Fn(&mut SpotFinder, &[P], &mut Vec<FoundSpot>) -> Result<(), FinderError>,
    ) -> Searched {
        let (mut rows, mut spots) = (vec![], vec![]);
        let mut before = finder.rejected();
        for (at, row) in frame.chunks_exact(self.width.max(1)).enumerate() {
            let half = &row[..row.len() / 2];
            // A row of another width is left out, and never more than that; words tell apart what they round up to.
            if at % self.odd == self.odd - 1 && half.len().div_ceil(lanes) != self.width.div_ceil(lanes) {
                let wrong = take(finder, half, &mut spots);
                assert_eq!(wrong == Err(FinderError::RowWidth), !rows.iter().any(lost), "{wrong:?}");
            }
            let taken = take(finder, row, &mut spots);
            rows.push(taken);
            assert!(finder.rejected().total() >= before.total());
            before = finder.rejected();
        }
        let taken = rows.iter().filter(|row| row.is_ok()).count();
        let end = finder.finish(|spot| spots.push(spot));
        match end {
            Ok(rejected) => assert!(taken > 0 && rejected.total() >= before.total()),
            Err(FinderError::NoRows) => assert_eq!(taken, 0),
            Err(error) => assert!(rows.contains(&Err(error)), "{error}"),
        }
        assert_eq!(finder.rejected(), Rejected::default());
        Searched { rows, spots, end, taken }
    }
}

/// Whether a row says that the frame is lost.
fn lost(row: &Result<(), FinderError>) -> bool {
    matches!(row, Err(FinderError::TooManyRows | FinderError::TooManyRuns | FinderError::TooManyBlobs))
}

#[derive(PartialEq, Debug)]
struct Searched {
    rows: Vec<Result<(), FinderError>>,
    spots: Vec<FoundSpot>,
    end: Result<Rejected, FinderError>,
    taken: usize,
}

fn search<P: Pixel>(frame: &[P], search: &Search) -> Searched {
    search.run(1, frame, |finder, row, spots| finder.row(row, |spot| spots.push(spot)))
}

/// The same in words, in whose last one what lies beyond the row is not dark.
fn search_packed<P: Pixel + Into<u32>>(frame: &[P], search: &Search) -> Searched {
    let lanes = 4 / size_of::<P>();
    search.run(lanes, frame, |finder, row, spots| {
        let pack = |group: &[P]| {
            let beyond = u32::MAX.checked_shl(group.len() as u32 * (32 / lanes as u32)).unwrap_or(0);
            let add = |word: u32, (at, &pixel): (usize, &P)| word | pixel.into() << (at * 32 / lanes);
            group.iter().enumerate().fold(beyond, add)
        };
        let words: Vec<u32> = row.chunks(lanes).map(pack).collect();
        finder.packed_row::<P>(&words, |spot| spots.push(spot))
    })
}

/// Any rows and limits: no panic, the same from pixels and from words, every spot within its box and its limits, and the same
/// number of blobs whatever is asked of a spot.
pub fn rows(data: &[u8]) {
    let mut bytes = Bytes(data);
    let width = usize::from(bytes.byte() % 150);
    let form = bytes.byte();
    let bits = if form & 1 == 0 { 8 } else { bytes.byte() % 20 };
    let common = if form & 2 == 0 { SpotLimits::spots(bits) } else { SpotLimits::marks(bits) };
    let limits = SpotLimits {
        margin: u16::from(bytes.byte()) << (form >> 6),
        sigmas: bytes.byte() % 8,
        least_area: (bytes.byte() % 16).into(),
        most_area: u32::from(bytes.byte()) << (form >> 5),
        least_height: u16::from(bytes.byte()) << (form >> 6),
        most_elongation: u16::from(bytes.byte()) << 4,
        saturation: if form & 4 == 0 { common.saturation } else { bytes.byte().into() },
        accept_saturated: form & 8 == 0,
        ..common
    };
    let memory = if form & 16 == 0 { width + 1 } else { bytes.byte().into() };
    let odd = usize::from(bytes.byte() % 8) + 1;
    let this = Search { width, limits, runs: memory, blobs: memory, odd };
    let all = Search { limits: accepting(limits), ..this };
    let (searched, accepted) = if width == 0 {
        (search::<u8>(&[], &this), search::<u8>(&[], &all))
    } else if bits == 8 && form & 1 == 0 {
        let searched = search(bytes.0, &this);
        assert_eq!(search_packed(bytes.0, &this), searched);
        (searched, search(bytes.0, &all))
    } else {
        let frame: Vec<u16> = bytes.0.chunks_exact(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]])).collect();
        let searched = search(&frame, &this);
        assert_eq!(search_packed(&frame, &this), searched);
        (searched, search(&frame, &all))
    };
    for spot in &searched.spots {
        within(spot, &this.limits, width, searched.taken);
    }
    if let (Ok(some), Ok(every)) = (searched.end, accepted.end) {
        let blobs = |rejected: Rejected, spots: &[FoundSpot]| rejected.total() as usize + spots.len();
        assert_eq!(blobs(some, &searched.spots), blobs(every, &accepted.spots));
    }
}

/// Limits that reject by the area and the border alone.
fn accepting(limits: SpotLimits) -> SpotLimits {
    SpotLimits {
        least_area: 0,
        most_area: SpotLimits::MOST_AREA,
        least_height: 0,
        most_elongation: u16::MAX,
        accept_saturated: true,
        ..limits
    }
}

fn within(spot: &FoundSpot, limits: &SpotLimits, width: usize, rows: usize) {
    let places = |pixel: u16| u32::from(pixel) << FoundSpot::PLACE_BITS;
    assert!(places(spot.left) <= spot.x && spot.x <= places(spot.right), "{spot:?}");
    assert!(places(spot.top) <= spot.y && spot.y <= places(spot.bottom), "{spot:?}");
    assert!(spot.left > 0 && usize::from(spot.right) + 1 < width && spot.top > 0, "{spot:?}");
    assert!(usize::from(spot.bottom) + 1 < rows, "{spot:?} {rows}");
    let (columns, lines) = (spot.right - spot.left + 1, spot.bottom - spot.top + 1);
    assert!(spot.area <= u32::from(columns) * u32::from(lines), "{spot:?}");
    assert!(spot.area >= u32::from(columns.max(lines)), "{spot:?}");
    assert!((limits.least_area..=limits.most_area).contains(&spot.area), "{spot:?}");
    assert!(spot.light > 0 && spot.light <= u64::from(spot.area) * (u64::from(spot.height) + 1) * 256, "{spot:?}");
    assert!(spot.height >= limits.least_height && spot.height <= spot.peak, "{spot:?}");
    assert_eq!(spot.saturated, spot.peak >= limits.saturation);
    assert!(limits.accept_saturated || !spot.saturated, "{spot:?}");
    assert!(spot.elongation >= 255 && spot.elongation <= limits.most_elongation, "{spot:?}");
}

/// Any outline is refused or measured; what is made of it is an outline, and its mirror image twice is itself.
pub fn contour(data: &[u8]) {
    let mut bytes = Bytes(data);
    let (distance, wanted) = (bytes.millimetre(), Millimetre::from_bits(bytes.signed(26)));
    let shift = Point::new(bytes.millimetre(), bytes.millimetre());
    let fine = bytes.signed(5).unsigned_abs();
    let mean = bytes.signed(24) & 0x3f_ffff;
    let radii: Vec<_> = (0..96).map(|_| Millimetre::from_bits(mean + (bytes.signed(23) >> fine))).collect();
    let angle = |at: u32, by: i32| Bearing::from_bits((at * (u32::MAX / 96)).wrapping_add_signed(by));
    let angles: Vec<_> = (0..96).map(|at| angle(at, bytes.signed(27))).collect();
    for contour in [Contour::new(&radii), Contour::with_angles(&radii, &angles)].into_iter().flatten() {
        let boxing = contour.boxing();
        assert!(boxing.least.x <= boxing.most.x && boxing.least.y <= boxing.most.y);
        assert!(contour.circumference() > Millimetre::ZERO);
        let _ = (contour.area_square_micrometres(), contour.effective_diameter());
        let _ = contour.circumference_on_sphere(wanted);
        let (mut made, mut again) = ([Millimetre::ZERO; 96], [Millimetre::ZERO; 96]);
        let _ = contour.offset(distance, &mut made);
        let _ = contour.about(shift, &mut made);
        let _ = contour.recentred(&mut made);
        let target =
            SizeTarget { circumference: wanted, apex: distance, sphere: Some(shift.x).filter(|r| *r > distance) };
        let _ = contour.sized(&target, &mut made);
        let (mut turned, mut back) = ([Bearing::default(); 96], [Bearing::default(); 96]);
        // The angle 0 may come to lie where two were: refused, never wrong.
        if let Ok(mirrored) = contour.mirrored(&mut made, &mut turned) {
            assert_eq!(mirrored.mirrored(&mut again, &mut back), Ok(contour));
        }
    }
}
