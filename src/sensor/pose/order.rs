//! The pose of a single-vision lens from what was ordered: the axis of its cylinder, and the point with the ordered prism.

use super::{HalfTurn, Pose, PoseError, PoseSource, PoseUncertainty, Vertex};
use crate::prism::{Prism, decentration};
use crate::quantity::{Degree, Dioptre};
use crate::rx::SpheroCylinder;
use crate::sensor::Fit;

/// A cylinder below this tells no rotation.
///
/// # Source
/// No requirement on the axis below 0.125 D: ISO 21987:2017, from memory, not seen.
pub const LEAST_CYLINDER: Dioptre = dioptres!(0.125);

impl Pose {
    /// The pose of a single-vision lens: turned by as much as its axis is off the ordered one, and its origin where the lens
    /// has the ordered prism, which is the optical centre for a lens ordered without.
    ///
    /// The order is that of the power at the vertex on the stop, as the lens is drawn, seen from its front. Either cylinder
    /// below [`LEAST_CYLINDER`], or an axis not known to 45 degrees: no rotation. An axis has no sense: half a turn more would
    /// give the same.
    ///
    /// # Range
    /// The rotation lies above -90 and up to 90 degrees.
    ///
    /// # Accuracy
    /// Rotation within 1e-6 degree of the fit's axis less the ordered one, offset that of [`decentration`]. Uncertainties are
    /// the fit's, of its axis and of its optical centre: what the rotation's adds to an ordered prism is not in them.
    ///
    /// # Errors
    /// [`PoseError::NoCentre`] when a meridian has no power, [`PoseError::Saturated`].
    pub fn from_single_vision(
        fit: &Fit,
        ordered: SpheroCylinder,
        prism: Prism,
        vertex: Vertex,
    ) -> Result<Self, PoseError> {
        if fit.is_saturated() || prism.is_saturated() {
            return Err(PoseError::Saturated);
        }
        let uncertainty = fit.uncertainty();
        let mut pose = Self {
            vertex,
            half_turn: HalfTurn::Assumed,
            uncertainty: PoseUncertainty { offset: uncertainty.centre, rotation: None },
            source: PoseSource::AxisAndCentre,
            ..Self::default()
        };
        pose.rotation = uncertainty.axis.and_then(|_| pose.turned_from(fit, ordered));
        pose.uncertainty.rotation = pose.rotation.and(uncertainty.axis);
        let beyond = fit.prism() - pose.prism_to_machine(prism);
        pose.offset = decentration(fit.power(), beyond).map_err(|_| PoseError::NoCentre)?;
        if pose.offset.is_saturated() { Err(PoseError::Saturated) } else { Ok(pose) }
    }

    /// From the ordered axis, as it would lie unturned, to the fit's.
    fn turned_from(self, fit: &Fit, ordered: SpheroCylinder) -> Option<Degree> {
        let (found, ordered) = (fit.sphero_cylinder().ok()?, ordered.minus_form());
        let is_weak = found.cylinder().abs().min(ordered.cylinder().abs()) < LEAST_CYLINDER;
        let unturned = Self { rotation: None, ..self }.axis_to_machine(ordered.axis());
        (!is_weak).then(|| found.axis().angle_from(unturned))
    }
}
