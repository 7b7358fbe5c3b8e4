//! Spots, rim, optical centre, axis and base, in millimetres of the lens.

use super::{FAINT, INK, PLOT, text};
use crate::lens::Lens;
use dioptric::prism::Eye;
use dioptric::quantity::{Dioptre, Millimetre, Point};
use svg::node::element::{Circle, Group, Line, Path, path::Data};

const LEFT: f64 = 40.0;
const TOP: f64 = 70.0;
/// Between the plotted disc and the border, for the degrees.
const RIM: f64 = 34.0;

const MOVED: &str = "#1f4e79";
const REFUSED: &str = "#b3261e";
const BASE: &str = "#7b3fa0";

/// From millimetres to the page.
pub struct Plot {
    /// Millimetres from the sensor's axis to the rim.
    radius: f64,
}

impl Plot {
    pub fn of(lens: &Lens) -> Self {
        let places = lens.pairs.iter().chain(&lens.refused).flat_map(|pair| [pair.reference(), pair.spot()]);
        let farthest = places.map(|place| place.x.to_f64().hypot(place.y.to_f64())).fold(0.5, f64::max);
        Self { radius: farthest * 1.08 }
    }

    const fn middle() -> (f64, f64) {
        (LEFT + PLOT / 2.0, TOP + PLOT / 2.0)
    }

    /// Pixels of a length.
    pub fn length(&self, mm: f64) -> f64 {
        mm * (PLOT / 2.0 - RIM) / self.radius
    }

    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let (middle_x, middle_y) = Self::middle();
        (middle_x + self.length(x), middle_y - self.length(y))
    }

    pub fn point(&self, point: Point) -> (f64, f64) {
        self.at(point.x.to_f64(), point.y.to_f64())
    }

    /// A direction on the rim, `share` of the radius from the middle.
    fn polar(&self, degrees: f64, share: f64) -> (f64, f64) {
        let (sin, cos) = degrees.to_radians().sin_cos();
        self.at(self.radius * share * cos, self.radius * share * sin)
    }

    /// Degrees, nasal and temporal, and a scale.
    pub fn rim(&self, eye: Eye) -> Group {
        let (x, y) = Self::middle();
        let circle = Circle::new().set("cx", x).set("cy", y).set("r", self.length(self.radius));
        let mut group = Group::new().add(circle.set("fill", "none").set("stroke", FAINT));
        for degrees in (0..360).step_by(10) {
            let is_labelled = degrees % 30 == 0;
            let (from, to) = (self.polar(degrees.into(), 1.0), self.polar(degrees.into(), 1.02));
            group = group.add(line(from, to, FAINT, if is_labelled { 2.0 } else { 1.0 }));
            if is_labelled {
                let (x, y) = self.polar(degrees.into(), 1.065);
                group = group.add(text(degrees.to_string(), x, y + 4.0, 12.0, "middle"));
            }
        }
        let (right, left) = if eye == Eye::Right { ("nasal", "temporal") } else { ("temporal", "nasal") };
        let edge = LEFT + PLOT;
        group
            .add(text(right, edge, TOP + 14.0, 13.0, "end"))
            .add(text(left, LEFT, TOP + 14.0, 13.0, "start"))
            .add(self.scale())
    }

    /// What the marks of the spots mean.
    pub fn key() -> Group {
        let (x, y) = (LEFT, TOP + PLOT + 22.0);
        let words = |content: &str, by: f64| text(content, x + by, y + 4.0, 12.0, "start");
        Group::new()
            .add(ring((x + 4.0, y), 2.2, MOVED))
            .add(words("without lens", 12.0))
            .add(dot((x + 104.0, y), 2.4, MOVED))
            .add(words("with it", 112.0))
            .add(cross((x + 174.0, y), 5.0, REFUSED))
            .add(words("left out", 184.0))
    }

    fn scale(&self) -> Group {
        let whole = [5.0, 2.0, 1.0, 0.5].into_iter().find(|mm| *mm < self.radius * 0.6).unwrap_or(0.2);
        let (x, y) = (LEFT, TOP + PLOT);
        let end = x + self.length(whole);
        Group::new().add(line((x, y), (end, y), INK, 2.0)).add(text(format!("{whole} mm"), x, y - 6.0, 12.0, "start"))
    }

    /// From each reference to its spot.
    pub fn spots(&self, lens: &Lens) -> Group {
        let mut group = Group::new();
        for pair in &lens.pairs {
            let (from, to) = (self.point(pair.reference()), self.point(pair.spot()));
            group = group.add(line(from, to, MOVED, 1.0)).add(ring(from, 2.2, MOVED)).add(dot(to, 2.4, MOVED));
        }
        for pair in &lens.refused {
            let (from, to) = (self.point(pair.reference()), self.point(pair.spot()));
            group = group.add(line(from, to, REFUSED, 1.0).set("stroke-dasharray", "3 2")).add(cross(to, 5.0, REFUSED));
        }
        for place in lens.capture.iter().flat_map(|capture| &capture.extra) {
            group = group.add(cross(self.point(*place), 5.0, REFUSED));
        }
        group
    }

    /// Axis, optical centre and base.
    pub fn optics(&self, lens: &Lens) -> Group {
        let mut group = Group::new();
        if let Some(power) = lens.power().filter(|power| power.cylinder() != Dioptre::ZERO) {
            let degrees = power.axis().degrees().to_f64();
            let ends = (self.polar(degrees + 180.0, 1.0), self.polar(degrees, 1.0));
            let label = self.polar(degrees, 0.9);
            group = group.add(line(ends.0, ends.1, INK, 1.4).set("stroke-dasharray", "10 4")).add(halo(
                format!("axis {:.1}", power.axis()),
                label.0 + 6.0,
                label.1 - 6.0,
            ));
        }
        if let Some(centre) = lens.centre().filter(|centre| self.shows(*centre)) {
            let at = self.point(centre);
            group = group.add(cross(at, 9.0, INK)).add(ring(at, 5.0, INK)).add(halo(
                "optical centre".into(),
                at.0 + 10.0,
                at.1 - 8.0,
            ));
        }
        group.add(self.base(lens))
    }

    fn shows(&self, point: Point) -> bool {
        point.distance() < Millimetre::try_from_f64(self.radius).unwrap_or(Millimetre::ZERO)
    }

    /// The prism on the sensor's axis: an arrow to the base, half of the radius long for 2 cm/m and more.
    fn base(&self, lens: &Lens) -> Group {
        let prism = lens.fit.prism();
        let (amount, base) = prism.resultant();
        let amount = amount.to_f64();
        if amount < 0.05 {
            return Group::new();
        }
        let degrees = base.degrees().to_f64();
        let reach = 0.5 * (amount / 2.0).min(1.0);
        let (from, to) = (self.polar(degrees, 0.0), self.polar(degrees, reach));
        let back = |turn: f64| {
            let (sin, cos) = (degrees + turn).to_radians().sin_cos();
            (to.0 + 12.0 * cos, to.1 - 12.0 * sin)
        };
        let head = Data::new().move_to(to).line_to(back(160.0)).line_to(back(200.0)).close();
        Group::new().add(line(from, to, BASE, 3.0)).add(Path::new().set("d", head).set("fill", BASE)).add(
            halo(format!("base {base}, {amount:.2} cm/m"), to.0, to.1 - 14.0)
                .set("fill", BASE)
                .set("text-anchor", "middle"),
        )
    }
}

fn line((x1, y1): (f64, f64), (x2, y2): (f64, f64), colour: &str, width: f64) -> Line {
    let line = Line::new().set("x1", x1).set("y1", y1).set("x2", x2).set("y2", y2);
    line.set("stroke", colour).set("stroke-width", width)
}

fn ring((x, y): (f64, f64), radius: f64, colour: &str) -> Circle {
    Circle::new().set("cx", x).set("cy", y).set("r", radius).set("fill", "none").set("stroke", colour)
}

fn dot((x, y): (f64, f64), radius: f64, colour: &str) -> Circle {
    Circle::new().set("cx", x).set("cy", y).set("r", radius).set("fill", colour)
}

fn cross((x, y): (f64, f64), arm: f64, colour: &str) -> Group {
    Group::new().add(line((x - arm, y - arm), (x + arm, y + arm), colour, 2.0)).add(line(
        (x - arm, y + arm),
        (x + arm, y - arm),
        colour,
        2.0,
    ))
}

/// A text with a white outline, for above the spots.
fn halo(content: String, x: f64, y: f64) -> svg::node::element::Text {
    text(content, x, y, 13.0, "start")
        .set("stroke", "white")
        .set("stroke-width", 4)
        .set("stroke-linejoin", "round")
        .set("paint-order", "stroke")
}
