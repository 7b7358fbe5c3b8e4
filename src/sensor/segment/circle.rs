//! The border of a round segment: a circle, and its top.

use super::{Belongs, Portion, SegmentError};
use crate::math;
use crate::quantity::{Millimetre, Point};
use crate::sensor::scaled::Scaled;
use crate::sensor::{Geometry, SpotPair};
use core::num::NonZeroU64;

/// The circle of a round segment.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RoundTop {
    /// Its middle.
    pub centre: Point,
    /// Its radius.
    pub radius: Millimetre,
    /// Its highest point.
    pub top: Point,
    /// Standard uncertainty of the top's height, from the scatter of the points about the circle; `None` of three points.
    pub uncertainty: Option<Millimetre>,
}

/// Sums over points of a circle: constant memory, any order.
///
/// Range: places within 64 mm, 2^22 units, squares of a distance below 2^45: products of three below 2^67, and 2^16 of them
/// below 2^83.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RoundTopSums {
    count: u32,
    /// Of x, y.
    linear: [i64; 2],
    /// Of xx, xy, yy.
    products: [i64; 3],
    /// Of xz, yz, zz with z = xx + yy.
    cubes: [i128; 3],
}

const MOST_PLACE: u32 = 1 << 22;

impl RoundTopSums {
    /// Most points.
    pub const MOST_POINTS: u32 = 1 << 16;

    /// Adds a point of the edge.
    ///
    /// # Errors
    /// [`SegmentError::PointRange`], [`SegmentError::PointCount`].
    pub fn add(&mut self, point: Point) -> Result<(), SegmentError> {
        let (x, y) = (point.x.to_bits(), point.y.to_bits());
        if x.unsigned_abs() > MOST_PLACE || y.unsigned_abs() > MOST_PLACE {
            return Err(SegmentError::PointRange);
        }
        if self.count >= Self::MOST_POINTS {
            return Err(SegmentError::PointCount);
        }
        let (x, y) = (i64::from(x), i64::from(y));
        let (xx, xy, yy) = (x.wrapping_mul(x), x.wrapping_mul(y), y.wrapping_mul(y));
        let z = xx.wrapping_add(yy);
        let wide = |a: i64| i128::from(a).wrapping_mul(i128::from(z));
        self.count = self.count.wrapping_add(1);
        for (sum, part) in self.linear.iter_mut().zip([x, y]) {
            *sum = sum.wrapping_add(part);
        }
        for (sum, part) in self.products.iter_mut().zip([xx, xy, yy]) {
            *sum = sum.wrapping_add(part);
        }
        for (sum, part) in self.cubes.iter_mut().zip([wide(x), wide(y), wide(z)]) {
            *sum = sum.wrapping_add(part);
        }
        Ok(())
    }

    /// Adds the border between the spots of a round segment and those around it: the point halfway from each spot of
    /// either to the nearest one of the other, if that lies within one and a half `pitch`.
    ///
    /// Places are those where the light leaves the vertex plane. A point is known to half a pitch at best.
    ///
    /// # Cost
    /// Twice the number of the segment's spots times that of the others.
    ///
    /// # Errors
    /// [`SegmentError::TooFewClasses`], [`SegmentError::PointCount`].
    pub fn add_border(
        &mut self,
        pairs: &[SpotPair],
        classes: &[Belongs],
        geometry: &Geometry,
        pitch: Millimetre,
    ) -> Result<(), SegmentError> {
        if classes.len() < pairs.len() {
            return Err(SegmentError::TooFewClasses);
        }
        let back = geometry.gap_over_throw();
        let of = |portion: Portion| {
            let is_of = move |(_, class): &(&SpotPair, &Belongs)| **class == Belongs::To(portion);
            pairs.iter().zip(classes).filter(is_of).map(move |(pair, _)| back.exit(pair))
        };
        let square = |a: Millimetre| i64::from(a.to_bits()).wrapping_mul(i64::from(a.to_bits()));
        let most = square(pitch + pitch.half());
        // From both sides, or the circle would be drawn to one of them.
        for (from, to) in [(Portion::Near, Portion::Distance), (Portion::Distance, Portion::Near)] {
            for here in of(from) {
                let mut nearest: Option<(Point, i64)> = None;
                for there in of(to) {
                    let apart = there - here;
                    let distance = square(apart.x).saturating_add(square(apart.y));
                    if distance <= most && nearest.is_none_or(|(_, least)| distance < least) {
                        nearest = Some((apart, distance));
                    }
                }
                if let Some((apart, _)) = nearest {
                    self.add(here + Point::new(apart.x.half(), apart.y.half()))?;
                }
            }
        }
        Ok(())
    }

    /// Points in the sums.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The circle that leaves the least squares of `x^2 + y^2 + D x + E y + F`.
    ///
    /// # Accuracy
    /// Within 2 units of 2^-16 mm for circles to 16 mm and points over a third of one or more. Noise draws the radius in by about its variance over the radius.
    ///
    /// # Errors
    /// [`SegmentError::PointCount`], [`SegmentError::Degenerate`].
    ///
    /// # Source
    /// I. Kasa, "A circle fitting procedure and its error analysis", IEEE Trans. Instrum. Meas. 25 (1976), from memory.
    pub fn fit(&self) -> Result<RoundTop, SegmentError> {
        let count = NonZeroU64::new(u64::from(self.count)).filter(|n| n.get() >= 3).ok_or(SegmentError::PointCount)?;
        let moments = CircleMoments::of(self, count);
        moments.circle().ok_or(SegmentError::Degenerate)
    }
}

/// Moments about the points' mean, times their number.
struct CircleMoments {
    mean: [i64; 2],
    count: NonZeroU64,
    xx: i128,
    xy: i128,
    yy: i128,
    xz: i128,
    yz: i128,
    zz: i128,
}

impl CircleMoments {
    /// Shifts the sums to the mean `(a, b)`, rounded to a unit: `x = X - a`, `z = Z - 2 a X - 2 b Y + c` with `c = a^2 + b^2`.
    ///
    /// Range: the mean is below 2^22, `c` below 2^45, and what they multiply as [`RoundTopSums`] has it: parts below 2^108.
    fn of(sums: &RoundTopSums, count: NonZeroU64) -> Self {
        let [a, b] = sums.linear.map(|sum| math::div_round(sum, count));
        let n = i128::from(count.get());
        let [x, y] = sums.linear.map(i128::from);
        let [xx, xy, yy] = sums.products.map(i128::from);
        let [xz, yz, zz] = sums.cubes;
        let (wide_a, wide_b) = (i128::from(a), i128::from(b));
        let c = wide_a.wrapping_mul(wide_a).wrapping_add(wide_b.wrapping_mul(wide_b));
        let times = |p: i128, q: i128| p.wrapping_mul(q);
        // Sums about the mean.
        let z = xx.wrapping_add(yy);
        let z_sum = z.wrapping_sub(times(2, times(wide_a, x).wrapping_add(times(wide_b, y)))).wrapping_add(times(c, n));
        let of_z = |xz: i128, xx: i128, xy: i128, x: i128| {
            xz.wrapping_sub(times(2, times(wide_a, xx).wrapping_add(times(wide_b, xy)))).wrapping_add(times(c, x))
        };
        let (x0, y0) = (x.wrapping_sub(times(wide_a, n)), y.wrapping_sub(times(wide_b, n)));
        let (xz_part, yz_part) = (of_z(xz, xx, xy, x), of_z(yz, xy, yy, y));
        let (xz0, yz0) = (xz_part.wrapping_sub(times(wide_a, z_sum)), yz_part.wrapping_sub(times(wide_b, z_sum)));
        // z z: z times each of its parts.
        let zz0 = of_z(zz, xz, yz, z)
            .wrapping_sub(times(2, times(wide_a, xz_part).wrapping_add(times(wide_b, yz_part))))
            .wrapping_add(times(c, z_sum));
        let central = |product: i128, p: i128, q: i128| times(product, n).wrapping_sub(times(p, q));
        let square = |sum: i128, p: i128, mean: i128| {
            sum.wrapping_sub(times(2, times(mean, p))).wrapping_add(times(n, times(mean, mean)))
        };
        let xy0 = xy
            .wrapping_sub(times(wide_a, y))
            .wrapping_sub(times(wide_b, x))
            .wrapping_add(times(n, times(wide_a, wide_b)));
        Self {
            mean: [a, b],
            count,
            xx: central(square(xx, x, wide_a), x0, x0),
            xy: central(xy0, x0, y0),
            yy: central(square(yy, y, wide_b), y0, y0),
            xz: central(xz0, x0, z_sum),
            yz: central(yz0, y0, z_sum),
            zz: central(zz0, z_sum, z_sum),
        }
    }

    /// `2 centre = M^-1 (xz, yz)`, and `radius^2 = mean z + |centre|^2 - ...`, all about the mean.
    fn circle(&self) -> Option<RoundTop> {
        let of = |value: i128| Scaled::of(value, 0);
        let [xx, xy, yy, xz, yz] = [self.xx, self.xy, self.yy, self.xz, self.yz].map(of);
        let determinant = xx.times(yy).plus(xy.times(xy).negated());
        let trace = xx.plus(yy);
        // As for spots: a spread across under 1/256 of that along is a line.
        if !determinant.plus(trace.times(trace).times(Scaled::of(-1, -16))).is_positive() {
            return None;
        }
        let half = Scaled::of(1, -1);
        let x = xz.times(yy).plus(yz.times(xy).negated()).over(determinant).times(half);
        let y = yz.times(xx).plus(xz.times(xy).negated()).over(determinant).times(half);
        // About the mean the points' mean z is their spread: trace over the number of points squared.
        let n = of(i128::from(self.count.get()));
        let spread = trace.over(n).over(n);
        let radius = x.times(x).plus(y.times(y)).plus(spread).root();
        let bits = |value: i64| Millimetre::from_bits(math::saturate(value));
        let [a, b] = self.mean.map(bits);
        let centre = Point::new(a + bits(x.to_fixed(0)), b + bits(y.to_fixed(0)));
        let radius_mm = bits(radius.to_fixed(0));
        Some(RoundTop {
            centre,
            radius: radius_mm,
            top: Point::new(centre.x, centre.y + radius_mm),
            uncertainty: self.uncertainty((x, y), radius, [xx, xy, yy], determinant),
        })
    }

    /// Of `y + r`: a point's distance from the circle scatters by `s`; with `w = x^2 + y^2 - 2 c . x` about the mean, residuals
    /// of `w` are `2 r` times those distances, and `d(y + r) = dy + (c . dc + dk / 2) / r` where `k` is the mean of `w`.
    fn uncertainty(
        &self,
        (x, y): (Scaled, Scaled),
        radius: Scaled,
        [xx, xy, yy]: [Scaled; 3],
        determinant: Scaled,
    ) -> Option<Millimetre> {
        let n = Scaled::of(i128::from(self.count.get()), 0);
        let freedom = self.count.get().checked_sub(3).filter(|freedom| *freedom > 0)?;
        // Sum of squared residuals of w, times n: zz - 2 c . (xz, yz).
        let explained = x.times(Scaled::of(self.xz, 1)).plus(y.times(Scaled::of(self.yz, 1)));
        let left = Scaled::of(self.zz, 0).plus(explained.negated());
        let variance = left.over(n).over(Scaled::of(i128::from(freedom), 0));
        // Gradient by the centre: (x / r, 1 + y / r); the centre's covariance is n / 4 M^-1 of w's variance, k's a 1 / n.
        let (gx, gy) = (x.over(radius), Scaled::of(1, 0).plus(y.over(radius)));
        let form = gx
            .times(gx)
            .times(yy)
            .plus(gy.times(gy).times(xx))
            .plus(gx.times(gy).times(xy).times(Scaled::of(-2, 0)))
            .over(determinant)
            .times(n)
            .times(Scaled::of(1, -2));
        let own = Scaled::of(1, -2).over(radius.times(radius)).over(n);
        let result = variance.times(form.plus(own)).root();
        Some(Millimetre::from_bits(math::saturate(result.to_fixed(0))))
    }
}
