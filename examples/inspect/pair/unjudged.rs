//! What was ordered and is not judged: silence would look like consent.

use super::Pair;
use dioptric::order::LensOrder;
use dioptric::prism::Eye;
use dioptric::tolerance::Parameter;

/// Of one lens: what was ordered, and the findings of which one is enough.
fn ordered(lens: &LensOrder) -> [(bool, &'static str, &'static [Parameter]); 10] {
    use Parameter as P;
    [
        (lens.addition.is_some(), "addition", &[P::Addition]),
        (lens.bicentric.is_some(), "bicentric prism", &[P::BicentricPrism]),
        (lens.centration_distance.is_some(), "centration distance", &[P::FittingPoint, P::CentrationDistance]),
        (lens.near_centration.is_some(), "near centration", &[P::NearCentration]),
        (lens.height.is_some(), "height", &[P::Height, P::ReferenceHeights]),
        (lens.segment.is_some(), "segment size", &[P::SegmentWidth]),
        (lens.polariser.is_some(), "polariser axis", &[P::PolariserAxis]),
        (lens.gradient.is_some(), "gradient direction", &[P::GradientDirection]),
        (lens.centre_thickness.is_some(), "centre thickness", &[P::CentreThickness]),
        (lens.base_curve.is_some(), "base curve", &[P::BaseCurve]),
    ]
}

impl Pair {
    /// What was ordered of a lens, and is judged neither of it nor of the pair.
    pub fn unjudged(&self, eye: Eye) -> Vec<&'static str> {
        let Some(order) = self.order.lens(eye) else { return Vec::new() };
        let verdicts = [self.verdict.lens(eye), self.verdict.pair.as_ref()];
        let is_judged =
            |parameter: &Parameter| verdicts.iter().flatten().any(|verdict| verdict.finding(*parameter).is_some());
        let missing = ordered(order).into_iter().filter(|(given, _, found)| *given && !found.iter().any(is_judged));
        missing.map(|(_, name, _)| name).collect()
    }
}
