//! The job itself, without text and without hardware: what a product keeps of this example.

use dioptric::{
    millimetres,
    sensor::{Error, Fit, Geometry, SlopeSums, SpotPair},
    tolerance::{self, Class, Measured, Ordered, Rule, Verdict},
};

/// Sums up the spots, fits a lens, and judges it against what was ordered.
///
/// The sums need no memory that grows with the spots: a camera that finds them row by row hands over each row as it comes.
///
/// # Errors
/// [`Error`] when the spots give no lens: too few, on a line, moved too far.
pub fn inspect(spots: &[SpotPair], class: &Class, ordered: &Ordered) -> Result<(Fit, Verdict), Error> {
    let mut sums = SlopeSums::default();
    for row in spots.chunks(8) {
        sums.add_all(row)?;
    }
    // Of this bench: from the lens's back vertex to the plate, and from there to the detector.
    let geometry = Geometry::new(millimetres!(5.0), millimetres!(20.0))?;
    let fit = sums.fit(&geometry)?;
    let measured = Measured { power: Some(fit.vector().into()), prism: Some(fit.prism()), addition: None };
    let verdict = tolerance::judge(class, ordered, &measured, Rule::Simple);
    Ok((fit, verdict))
}
