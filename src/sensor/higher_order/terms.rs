//! Zernike's polynomials to the fourth order.

/// Terms but for the constant one, which no slope shows.
pub(super) const TERMS: usize = 14;
/// Monomials of two variables to the sixth power: products of two first derivatives.
pub(super) const MONOMIALS: usize = 28;
/// Monomials to the third power: first derivatives.
pub(super) const SLOPES: usize = 10;

/// A term of the wavefront by its double index: radial order and angular frequency, positive for the cosine, negative for the
/// sine, of the angle counter-clockwise from the observer's right.
///
/// # Source
/// ISO 24157 and ANSI Z80.28, from memory; "secondary astigmatism" as commonly said, no source.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Zernike {
    /// `Z(1, -1)`: prism up and down.
    TiltY,
    /// `Z(1, 1)`: prism to the sides.
    TiltX,
    /// `Z(2, -2)`: J45.
    ObliqueAstigmatism,
    /// `Z(2, 0)`: mean power.
    Defocus,
    /// `Z(2, 2)`: J0.
    Astigmatism,
    /// `Z(3, -3)`: trefoil by the sine of the threefold angle.
    TrefoilY,
    /// `Z(3, -1)`: mean power that grows up or down.
    ComaY,
    /// `Z(3, 1)`: mean power that grows to a side.
    ComaX,
    /// `Z(3, 3)`: trefoil by the cosine.
    TrefoilX,
    /// `Z(4, -4)`: quadrafoil by the sine of the fourfold angle.
    ObliqueQuadrafoil,
    /// `Z(4, -2)`: J45 that grows outwards.
    ObliqueSecondaryAstigmatism,
    /// `Z(4, 0)`: mean power that grows outwards.
    SphericalAberration,
    /// `Z(4, 2)`: J0 that grows outwards.
    SecondaryAstigmatism,
    /// `Z(4, 4)`: quadrafoil by the cosine.
    Quadrafoil,
}

/// `[factor, power of x, power of y]`.
type Monomial = [i32; 3];

/// Per term its polynomial, and the square of what normalises it.
const POLYNOMIALS: [(&[Monomial], u32); TERMS] = [
    (&[[1, 0, 1]], 4),
    (&[[1, 1, 0]], 4),
    (&[[2, 1, 1]], 6),
    (&[[2, 2, 0], [2, 0, 2]], 3),
    (&[[1, 2, 0], [-1, 0, 2]], 6),
    (&[[3, 2, 1], [-1, 0, 3]], 8),
    (&[[3, 2, 1], [3, 0, 3], [-2, 0, 1]], 8),
    (&[[3, 3, 0], [3, 1, 2], [-2, 1, 0]], 8),
    (&[[1, 3, 0], [-3, 1, 2]], 8),
    (&[[4, 3, 1], [-4, 1, 3]], 10),
    (&[[8, 3, 1], [8, 1, 3], [-6, 1, 1]], 10),
    (&[[6, 4, 0], [12, 2, 2], [6, 0, 4], [-6, 2, 0], [-6, 0, 2]], 5),
    (&[[4, 4, 0], [-4, 0, 4], [-3, 2, 0], [3, 0, 2]], 10),
    (&[[1, 4, 0], [-6, 2, 2], [1, 0, 4]], 10),
];

impl Zernike {
    /// All, in the order of the single index, from 1.
    pub const ALL: [Self; TERMS] = [
        Self::TiltY,
        Self::TiltX,
        Self::ObliqueAstigmatism,
        Self::Defocus,
        Self::Astigmatism,
        Self::TrefoilY,
        Self::ComaY,
        Self::ComaX,
        Self::TrefoilX,
        Self::ObliqueQuadrafoil,
        Self::ObliqueSecondaryAstigmatism,
        Self::SphericalAberration,
        Self::SecondaryAstigmatism,
        Self::Quadrafoil,
    ];

    pub(super) const fn place(self) -> usize {
        self as usize
    }

    /// The single index `(n (n + 2) + m) / 2`.
    #[must_use]
    pub const fn index(self) -> u8 {
        // Fourteen terms.
        (self as u8).wrapping_add(1)
    }

    /// Radial order.
    #[must_use]
    pub const fn order(self) -> u8 {
        match self.index() {
            1 | 2 => 1,
            3..=5 => 2,
            6..=9 => 3,
            _ => 4,
        }
    }

    /// Angular frequency: negative for the sine.
    #[must_use]
    pub const fn frequency(self) -> i8 {
        let (n, index) = (self.order().cast_signed(), self.index().cast_signed());
        index.wrapping_mul(2).wrapping_sub(n.wrapping_mul(n.wrapping_add(2)))
    }

    pub(super) fn polynomial(self) -> &'static [Monomial] {
        POLYNOMIALS.get(self.place()).map_or(&[], |(polynomial, _)| polynomial)
    }

    /// Micrometres of the normalised term to a millimetre of its polynomial, Q52: `1000 / sqrt(square)`.
    pub(super) fn micrometres(self) -> i64 {
        let square = POLYNOMIALS.get(self.place()).map_or(1, |(_, square)| *square);
        match square {
            3 => 2_600_154_457_184_654_151,
            4 => 2_251_799_813_685_248_000,
            5 => 2_014_070_982_048_630_302,
            6 => 1_838_586_848_807_695_496,
            8 => 1_592_262_918_131_443_141,
            _ => 1_424_163_249_197_635_714,
        }
    }
}

/// Place of `x^i y^j` among the monomials; `None` for a negative power, whose factor is 0.
pub(super) fn index(i: i32, j: i32) -> Option<usize> {
    let (i, j) = (usize::try_from(i).ok()?, usize::try_from(j).ok()?);
    let degree = i.wrapping_add(j);
    Some((degree.wrapping_mul(degree.wrapping_add(1)) >> 1).wrapping_add(j))
}
