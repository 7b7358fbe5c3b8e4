//! Quantities written as numbers in the program, computed by the compiler.

/// Declares a macro that turns a number into a quantity at compile time.
#[rustfmt::skip] // the formatter indents the nested macro anew at every run
macro_rules! literal {
    ($dollar:tt $macro:ident, $name:ident, $unit:literal, $example:literal) => {
        #[doc = concat!("A [`", stringify!($name), "`](crate::quantity::", stringify!($name), ") from ", $unit, ".")]
        ///
        /// Computed at compile time, so that no float is left in the program; out of range is a compile error.
        ///
        /// ```
        #[doc = concat!("let value = dioptric::", stringify!($macro), "!(", $example, ");")]
        /// # let _ = value;
        /// ```
        #[macro_export]
        macro_rules! $macro {
            ($dollar value:expr) => {
                const { $dollar crate::quantity::$name::literal($dollar value) }
            };
        }
    };
}

literal!($ dioptres, Dioptre, "dioptres", "-1.25");
literal!($ prism_dioptres, PrismDioptre, "prism dioptres", "0.5");
literal!($ millimetres, Millimetre, "millimetres", "12.5");
literal!($ micrometres, Micrometre, "micrometres", "0.5");
literal!($ degrees, Degree, "degrees", "2.0");
literal!($ fraction, Fraction, "a number", "0.85");
literal!($ nanometres, Nanometre, "nanometres", "546.07");
literal!($ cubic_millimetres, CubicMillimetre, "cubic millimetres", "4250.5");
literal!($ density, Density, "grams per cubic centimetre", "1.32");
literal!($ milligrams, Milligram, "milligrams", "8500.5");
literal!($ axis, Axis, "degrees, 0 to 180", "35.0");
literal!($ bearing, Bearing, "degrees, 0 to 360", "270.0");
