//! How bright a panel is to be: full, unless a `dim` of the layout holds.
//!
//! What enters are what is known of readings and values; what leaves is a share of the panel's own contrast.

use crate::formulas::{Compiled, Given};

/// A share of a panel's contrast in per cent; at none the panel is switched off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Brightness(u8);

/// While the condition holds, the panel is no brighter than this.
#[derive(Clone, Debug, PartialEq)]
pub struct Dim {
    /// How bright it is at most.
    pub to: Brightness,
    /// The condition.
    pub when: Compiled,
}

impl Brightness {
    /// All of the contrast.
    pub const FULL: Self = Self(100);
    /// The panel is off.
    pub const OFF: Self = Self(0);

    /// So many per cent, at most 100.
    pub fn percent(share: u8) -> Self {
        Self(share.min(100))
    }

    /// The contrast of a panel that has `contrast` at full brightness; the least one where the panel is on.
    pub fn of(self, contrast: u8) -> u8 {
        ((u32::from(contrast) * u32::from(self.0) + 50) / 100) as u8
    }

    /// The darkest of those whose condition holds. A condition of which nobody knows dims nothing.
    pub fn under(dims: &[Dim], given: &Given<'_>) -> Self {
        let holding = dims.iter().filter(|dim| dim.when.evaluate(given).holds());
        holding.map(|dim| dim.to).min().unwrap_or(Self::FULL)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_of_the_contrast() {
        assert_eq!([100, 50, 20, 1, 0].map(|share| Brightness::percent(share).of(0xcf)), [207, 104, 41, 2, 0]);
        assert_eq!(Brightness::percent(200), Brightness::FULL);
    }
}
