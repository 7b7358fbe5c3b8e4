//! How thick a lens must be in the middle for a wanted edge.

use super::{EdgedLens, Error, OutlineError, ThickLens};
use crate::quantity::{Millimetre, Point};
use crate::vector::PowerMatrix;

/// Where the back surface makes up for less than 0.4 of a change of thickness, so many steps leave less than a unit of 30 mm.
const STEPS: u32 = 24;

impl EdgedLens {
    /// The lens of the same surfaces whose edge is as thick as wanted where it is thinnest.
    ///
    /// Every thickness, that of the centre too, changes by as much; the back vertex power does, too, by about `F1^2 / n`
    /// times that: [`Self::for_least_edge`] keeps it.
    ///
    /// # Accuracy
    /// The thinnest point is then as wanted to the bit.
    ///
    /// # Errors
    /// Those of [`Self::edge`] but for [`Error::NoThickness`]; [`Error::ThicknessRange`] for a centre thickness outside 0 to 30 mm
    /// or a negative edge.
    pub fn with_least_edge(
        &self,
        outline: impl IntoIterator<Item = Point>,
        least: Millimetre,
    ) -> Result<Self, OutlineError> {
        let thinnest = self.ends(outline)?.thinnest;
        let fault = |reason| thinnest.error(reason);
        if least < Millimetre::ZERO {
            return Err(fault(Error::ThicknessRange));
        }
        let centre = self.lens().thickness() + (least - thinnest.thickness);
        let lens = self.lens();
        let (front, back) = (lens.front().power(), lens.back().power());
        Ok(self.with(ThickLens::new(front, back, lens.index(), centre).map_err(fault)?))
    }

    /// The lens of the same front surface and a wanted back vertex power whose edge is as thick as wanted where it is thinnest:
    /// what a laboratory surfaces on a blank.
    ///
    /// A thicker lens needs another back surface, which changes the edge again, by at most some tenths of the change: found by steps.
    ///
    /// # Accuracy
    /// The lens has the wanted power to the bit; its least edge is within 0.1 um of the one wanted.
    ///
    /// # Errors
    /// Those of [`Self::with_least_edge`]; [`OutlineError::Lens`] with those of [`ThickLens::for_front`], and with
    /// [`Error::ThicknessRange`] where the steps do not settle.
    ///
    /// ```
    /// use dioptric::{dioptres, lens::{EdgedLens, Surface, ThickLens}, millimetres, prism::Prism, quantity::Point};
    /// let index = "1.6".parse()?;
    /// let sphere = |power| Surface::sphere(power, index).unwrap().power();
    /// let blank = ThickLens::for_front(sphere(dioptres!(6.0)), sphere(dioptres!(4.0)), index, millimetres!(9.0)).unwrap();
    /// let blank = EdgedLens::new(blank, Point::ORIGIN, Prism::ZERO).unwrap();
    /// let outline = [Point::new(millimetres!(25.0), millimetres!(0.0)), Point::new(millimetres!(0.0), millimetres!(18.0))];
    /// let lens = blank.for_least_edge(sphere(dioptres!(4.0)), outline, millimetres!(1.0)).unwrap().lens();
    /// assert_eq!(lens.thickness().to_string(), "3.10");
    /// assert_eq!(lens.back_vertex_power(), Ok(sphere(dioptres!(4.0))));
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    pub fn for_least_edge(
        &self,
        wanted: PowerMatrix,
        outline: impl IntoIterator<Item = Point> + Clone,
        least: Millimetre,
    ) -> Result<Self, OutlineError> {
        let mut surfaced = self.surfaced(wanted, self.lens().thickness())?;
        for _ in 0..STEPS {
            let centre = surfaced.with_least_edge(outline.clone(), least)?.lens().thickness();
            let step = (centre - surfaced.lens().thickness()).to_bits().unsigned_abs();
            surfaced = self.surfaced(wanted, centre)?;
            if step <= 1 {
                return Ok(surfaced);
            }
        }
        Err(OutlineError::Lens(Error::ThicknessRange))
    }

    /// The wanted power on the same front at a centre thickness.
    fn surfaced(&self, wanted: PowerMatrix, centre: Millimetre) -> Result<Self, OutlineError> {
        let lens = self.lens();
        let surfaced = ThickLens::for_front(lens.front().power(), wanted, lens.index(), centre);
        surfaced.map(|lens| self.with(lens)).map_err(OutlineError::Lens)
    }
}
