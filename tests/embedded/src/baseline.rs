//! What a developer would write without this library: the same round trip and the same least-squares sums in `f32`
//! and `f64` with the `libm` crate. Counted in the same run as the library, so that the comparison is fair.

macro_rules! baseline {
    ($name:ident, $float:ident, $sin_cos:path, $atan2:path, $sqrt:path) => {
        pub mod $name {
            /// Sphere and cylinder in dioptres, axis in radians.
            pub type Prescription = ($float, $float, $float);
            /// M, J0 and J45 in dioptres.
            pub type Vector = ($float, $float, $float);

            pub fn to_vector((sphere, cylinder, axis): Prescription) -> Vector {
                let (sin, cos) = $sin_cos(2.0 * axis);
                let half = 0.5 * cylinder;
                (sphere + half, -half * cos, -half * sin)
            }

            pub fn to_prescription((m, j0, j45): Vector) -> Prescription {
                let half = $sqrt(j0 * j0 + j45 * j45);
                (m + half, -2.0 * half, 0.5 * $atan2(j45, j0))
            }

            /// Two prescriptions to vectors, their sum, and back.
            pub fn round_trip((a, b): (Prescription, Prescription)) -> Prescription {
                let (a, b) = (to_vector(a), to_vector(b));
                to_prescription((a.0 + b.0, a.1 + b.1, a.2 + b.2))
            }

            /// A spot: position x, y and slope u, v.
            pub type Spot = ($float, $float, $float, $float);

            /// The sums of a least-squares plane through the slopes.
            #[derive(Clone, Copy, Default)]
            pub struct Sums {
                count: u32,
                x: $float,
                y: $float,
                xx: $float,
                xy: $float,
                yy: $float,
                u: $float,
                v: $float,
                xu: $float,
                yu: $float,
                xv: $float,
                yv: $float,
            }

            pub fn sum(spots: &[Spot]) -> Sums {
                let mut sums = Sums::default();
                for &(x, y, u, v) in spots {
                    sums.count += 1;
                    sums.x += x;
                    sums.y += y;
                    sums.xx += x * x;
                    sums.xy += x * y;
                    sums.yy += y * y;
                    sums.u += u;
                    sums.v += v;
                    sums.xu += x * u;
                    sums.yu += y * u;
                    sums.xv += x * v;
                    sums.yv += y * v;
                }
                sums
            }
        }
    };
}

baseline!(single, f32, libm::sincosf, libm::atan2f, libm::sqrtf);
baseline!(double, f64, libm::sincos, libm::atan2, libm::sqrt);
