//! The dimension of a quantity: the powers of the base quantities that it is made of.
//!
//! The base quantities are the seven of the SI and three more, kept apart so that units which the SI counts as plain numbers
//! are not taken for one another: plane angle (a base quantity in UCUM too), information content, and level in decibels.

/// How many base quantities there are.
const BASES: usize = 10;

/// The coherent units of the base quantities, in the order of the exponents.
const BASE_SYMBOLS: [&str; BASES] = ["kg", "m", "s", "A", "K", "mol", "cd", "rad", "bit", "dB"];

/// The powers of the base quantities; all zero for a plain ratio.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Dimension([i8; BASES]);

impl Dimension {
    /// A plain ratio.
    pub const RATIO: Self = Self([0; BASES]);
    /// Mass, in kilograms.
    pub const MASS: Self = Self::base(0);
    /// Length, in metres.
    pub const LENGTH: Self = Self::base(1);
    /// Time, in seconds.
    pub const TIME: Self = Self::base(2);
    /// Electric current, in amperes.
    pub const CURRENT: Self = Self::base(3);
    /// Thermodynamic temperature, in kelvins.
    pub const TEMPERATURE: Self = Self::base(4);
    /// Amount of substance, in moles.
    pub const AMOUNT: Self = Self::base(5);
    /// Luminous intensity, in candelas.
    pub const LUMINOUS_INTENSITY: Self = Self::base(6);
    /// Plane angle, in radians.
    pub const ANGLE: Self = Self::base(7);
    /// Information content, in bits.
    pub const INFORMATION: Self = Self::base(8);
    /// Level of a power or field quantity, in decibels.
    pub const LEVEL: Self = Self::base(9);

    const fn base(index: usize) -> Self {
        let mut powers = [0; BASES];
        powers[index] = 1;
        Self(powers)
    }

    /// The dimension of a product; `None` where a power would leave -128…127.
    pub const fn times(self, other: Self) -> Option<Self> {
        let mut powers = [0; BASES];
        let mut index = 0;
        while index < BASES {
            match self.0[index].checked_add(other.0[index]) {
                Some(power) => powers[index] = power,
                None => return None,
            }
            index += 1;
        }
        Some(Self(powers))
    }

    /// The dimension of a quotient; `None` where a power would leave -128…127.
    pub const fn over(self, other: Self) -> Option<Self> {
        let mut powers = [0; BASES];
        let mut index = 0;
        while index < BASES {
            match self.0[index].checked_sub(other.0[index]) {
                Some(power) => powers[index] = power,
                None => return None,
            }
            index += 1;
        }
        Some(Self(powers))
    }

    /// Whether this is a plain ratio.
    pub fn is_ratio(self) -> bool {
        self == Self::RATIO
    }

    /// Writes the coherent unit as a product of base units: `kg·m²/s³`.
    pub(super) fn write_coherent(self, out: &mut impl std::fmt::Write) -> std::fmt::Result {
        let above = || self.0.iter().zip(BASE_SYMBOLS).filter(|(power, _)| **power > 0);
        let below = || self.0.iter().zip(BASE_SYMBOLS).filter(|(power, _)| **power < 0);
        if above().next().is_none() && below().next().is_some() {
            out.write_char('1')?;
        }
        for (place, (power, symbol)) in above().enumerate() {
            let dot = if place > 0 { "·" } else { "" };
            write!(out, "{dot}{symbol}{}", superscript(*power))?;
        }
        let several = below().nth(1).is_some();
        for (place, (power, symbol)) in below().enumerate() {
            let before = match (place, several) {
                (0, true) => "/(",
                (0, false) => "/",
                _ => "·",
            };
            write!(out, "{before}{symbol}{}", superscript(*power))?;
        }
        if several {
            out.write_char(')')?;
        }
        Ok(())
    }
}

/// The size of a power as superscript digits; nothing for the first power.
fn superscript(power: i8) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let size = power.unsigned_abs();
    if size == 1 {
        return String::new();
    }
    size.to_string().bytes().map(|digit| DIGITS[usize::from(digit - b'0')]).collect()
}
