//! The lens as a picture: what each spot did, where the power differs, the optical centre, the axis and the base.
//!
//! Drawn as the observer in front of the lens sees it, x to the right and y up; angles on the rim run counter-clockwise from the
//! right, as axes and bases are written.

mod findings;
mod map;
mod plot;

use crate::lens::Lens;
use map::Map;
use plot::Plot;
use std::path::Path;
use svg::Document;
use svg::node::element::{Rectangle, Text};

/// Side of the plot, and of the whole.
const PLOT: f64 = 640.0;
const WIDTH: f64 = 1180.0;
const HEIGHT: f64 = 760.0;

const INK: &str = "#222222";
const FAINT: &str = "#9a9a9a";

/// Writes the picture of a lens, or of each of several: then the eye is added to the file's name.
pub fn write_all(path: &Path, lenses: &[Lens]) -> Result<(), String> {
    if let [only] = lenses {
        return write(path, only);
    }
    for lens in lenses {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let name = format!("{stem}-{}", lens.order.eye);
        let name = path.extension().map_or_else(|| name.clone(), |end| format!("{name}.{}", end.to_string_lossy()));
        write(&path.with_file_name(name), lens)?;
    }
    Ok(())
}

fn write(path: &Path, lens: &Lens) -> Result<(), String> {
    svg::save(path, &draw(lens)).map_err(|error| format!("{}: {error}", path.display()))
}

fn draw(lens: &Lens) -> Document {
    let plot = Plot::of(lens);
    let map = Map::of(lens);
    let page = Rectangle::new().set("width", WIDTH).set("height", HEIGHT).set("fill", "white");
    let mut document = Document::new()
        .set("viewBox", (0.0, 0.0, WIDTH, HEIGHT))
        .set("width", WIDTH)
        .set("height", HEIGHT)
        .set("font-family", "sans-serif")
        .add(page)
        .add(findings::heading(lens))
        .add(map.draw(&plot))
        .add(plot.rim(lens.order.eye))
        .add(plot.spots(lens))
        .add(plot.optics(lens))
        .add(Plot::key())
        .add(map.legend(&plot));
    for part in findings::column(lens) {
        document = document.add(part);
    }
    document
}

/// A text, anchored at its start, middle or end.
fn text(content: impl Into<String>, x: f64, y: f64, size: f64, anchor: &str) -> Text {
    Text::new(content).set("x", x).set("y", y).set("font-size", size).set("text-anchor", anchor).set("fill", INK)
}
