//! Where the power differs from that of the whole: a fit over a disc about each spot.

use super::plot::Plot;
use super::{PLOT, text};
use crate::lens::Lens;
use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Disc, SpotPair};
use svg::node::element::{Circle, Group, Rectangle};

/// Spots that a disc should have: its radius is chosen so.
const WANTED: usize = 12;
/// Differences below this, in dioptres, are not worth a colour.
const LEAST_SPAN: f64 = 0.06;

struct Cell {
    at: Point,
    /// Mean power of the disc less that of the whole lens, dioptres.
    surplus: f64,
}

/// Mean powers about the spots.
pub struct Map {
    cells: Vec<Cell>,
    radius: f64,
    /// The colours' end, dioptres.
    span: f64,
}

impl Map {
    pub fn of(lens: &Lens) -> Self {
        let exits: Vec<Point> = lens.pairs.iter().map(|pair| lens.order.geometry.exit(pair)).collect();
        let radius = radius(&exits);
        let cells: Vec<Cell> = exits.iter().filter_map(|exit| cell(lens, *exit, radius)).collect();
        let widest = cells.iter().map(|cell| cell.surplus.abs()).fold(0.0, f64::max);
        Self { cells, radius: radius.to_f64(), span: widest.max(LEAST_SPAN) }
    }

    pub fn draw(&self, plot: &Plot) -> Group {
        let mut group = Group::new().set("opacity", 0.55);
        for cell in &self.cells {
            let (x, y) = plot.point(cell.at);
            let disc = Circle::new().set("cx", x).set("cy", y).set("r", plot.length(self.radius * 0.45));
            group = group.add(disc.set("fill", colour(cell.surplus / self.span)));
        }
        group
    }

    /// What the colours mean.
    pub fn legend(&self, plot: &Plot) -> Group {
        const STEPS: u32 = 41;
        let (_, floor) = plot.at(0.0, 0.0);
        let (left, top, width) = (430.0, floor + PLOT / 2.0 - 10.0, 250.0);
        let mut group = Group::new();
        for step in 0..STEPS {
            let share = f64::from(step) / f64::from(STEPS - 1) * 2.0 - 1.0;
            let x = left + width * f64::from(step) / f64::from(STEPS);
            let bar = Rectangle::new().set("x", x).set("y", top).set("width", width / f64::from(STEPS) + 0.5);
            group = group.add(bar.set("height", 12).set("fill", colour(share)).set("opacity", 0.7));
        }
        let ends = format!("{:.2} D", self.span);
        group
            .add(text("local mean power, from that of the whole", left + width / 2.0, top - 6.0, 12.0, "middle"))
            .add(text(format!("-{ends}"), left, top + 26.0, 12.0, "start"))
            .add(text(format!("+{ends}"), left + width, top + 26.0, 12.0, "end"))
    }
}

/// Large enough for [`WANTED`] spots about the spot that lies nearest the middle of all.
fn radius(exits: &[Point]) -> Millimetre {
    let Some(middle) = exits.iter().min_by_key(|exit| exit.distance()) else { return Millimetre::ZERO };
    let mut far: Vec<Millimetre> = exits.iter().map(|exit| (*exit - *middle).distance()).collect();
    far.sort_unstable();
    far.get(WANTED).or(far.last()).copied().unwrap_or(Millimetre::ZERO)
}

/// `None` where the fit has too few spots.
fn cell(lens: &Lens, at: Point, radius: Millimetre) -> Option<Cell> {
    let (geometry, pairs): (_, &[SpotPair]) = (&lens.order.geometry, &lens.pairs);
    let fit = Disc::new(at, radius).ok()?.sums(pairs, geometry).ok()?.fit(geometry).ok()?;
    Some(Cell { at, surplus: (fit.vector().m - lens.fit.vector().m).to_f64() })
}

/// From blue at -1 by white to orange at 1.
fn colour(share: f64) -> String {
    const LESS: [f64; 3] = [33.0, 102.0, 172.0];
    const MORE: [f64; 3] = [217.0, 95.0, 2.0];
    let end = if share < 0.0 { LESS } else { MORE };
    let [r, g, b] = end.map(|level| 255.0 + (level - 255.0) * share.abs().min(1.0));
    format!("rgb({r:.0},{g:.0},{b:.0})")
}
