//! How long each pixel of a panel was lit: what wears an OLED out, and unevenly where a picture stands still.
//!
//! What enters are frames with how long and how brightly they were shown; what leaves are times for each pixel, bytes to be kept, and what
//! is to be expected of the panel's brightness. No clock is read and no file.
//!
//! The brightness of an organic light emitting diode falls with the time for which it was lit as a stretched exponential (Féry, Racine,
//! Vaufrey, Doyeux and Cinà, Applied Physics Letters 87, 213502, 2005; from memory). How fast is told by the module's data sheet, as the
//! time after which half of the brightness is left. That a dimmed pixel ages in proportion to its current is an assumption, and a careful
//! one: by the same paper it ages more slowly than that.

use std::time::Duration;

use embedded_graphics_core::geometry::OriginDimensions;

use crate::draw::{Frame, Point, Size};
use crate::seal::{self, Seal, SealError};
use crate::units::span;

/// The exponent of the stretched exponential; between 0.5 and 0.8 for most diodes (from memory).
const STRETCH: f64 = 0.65;
/// Half of the brightness is left after this time where nobody says otherwise (common practice for small modules).
pub const USUAL_HALF_LIFE: Duration = Duration::from_secs(10_000 * 3600);
/// A difference in brightness that is seen between neighbouring pixels (common practice).
pub const VISIBLE: f64 = 0.05;

/// How far it is looked ahead, in years.
pub const AHEAD: [u32; 4] = [0, 1, 3, 10];
/// Farther than this nobody looks, in days.
const FARTHEST: u32 = 30 * YEAR;
const YEAR: u32 = 365;
const DAY: Duration = Duration::from_secs(24 * 3600);

/// What a kept ledger is: width and height (2 bytes each), the time shown (8) and that of each pixel (4), in seconds and little-endian.
const SEAL: Seal = Seal { magic: *b"sl-wear\n", version: 1 };
/// The sides of a panel are no longer.
const MOST_SIDE: u16 = 256;
/// Kept ledgers are no longer than this.
pub const MOST_BYTES: usize = seal::BYTES + 2 + 2 + 8 + 4 * MOST_SIDE as usize * MOST_SIDE as usize;

/// Why kept bytes are no ledger.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WearError {
    /// They are something else.
    #[error("this is no record of a panel's wear")]
    Foreign,
    /// They were written by another version.
    #[error("this is the record of a panel's wear in another version of its form, {0}")]
    Version(u32),
    /// They are damaged.
    #[error("the record of the panel's wear is damaged")]
    Damaged,
}

impl From<SealError> for WearError {
    fn from(problem: SealError) -> Self {
        match problem {
            SealError::Foreign => Self::Foreign,
            SealError::Version(version) => Self::Version(version),
            SealError::Damaged => Self::Damaged,
        }
    }
}

/// For how long each pixel was lit, as if at full contrast.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wear {
    size: Size,
    /// Milliseconds for each pixel, row by row.
    lit: Vec<u64>,
    /// For how long anything at all was kept account of.
    shown: Duration,
}

impl Wear {
    /// A new panel.
    pub fn new(size: Size) -> Self {
        Self { size, lit: vec![0; (size.width * size.height) as usize], shown: Duration::ZERO }
    }

    /// How many pixels the panel has.
    pub fn size(&self) -> Size {
        self.size
    }

    /// For how long frames were counted.
    pub fn shown(&self) -> Duration {
        self.shown
    }

    /// For how long a pixel was lit, as if at full contrast; none outside of the panel.
    pub fn lit(&self, at: Point) -> Duration {
        let (Ok(x), Ok(y)) = (u32::try_from(at.x), u32::try_from(at.y)) else { return Duration::ZERO };
        let inside = x < self.size.width && y < self.size.height;
        Duration::from_millis(if inside { self.lit[(y * self.size.width + x) as usize] } else { 0 })
    }

    /// Counts a frame that was shown for some time at a contrast of 0 to 255; one of another size counts for nothing.
    pub fn add(&mut self, frame: &Frame, time: Duration, contrast: u8) {
        if frame.size() != self.size {
            return;
        }
        self.shown = self.shown.saturating_add(time);
        let milliseconds =
            u64::try_from(time.as_millis()).unwrap_or(u64::MAX).saturating_mul(u64::from(contrast)) / 255;
        let width = self.size.width as usize;
        for (place, byte) in frame.bytes().iter().enumerate().filter(|(_, byte)| **byte != 0) {
            let (page, column) = (place / width, place % width);
            for row in (0..8).filter(|row| byte >> row & 1 == 1) {
                if let Some(lit) = self.lit.get_mut((page * 8 + row) * width + column) {
                    *lit = lit.saturating_add(milliseconds);
                }
            }
        }
    }

    /// The longest time for which a pixel was lit, and where; the first of several.
    pub fn most(&self) -> (Duration, Point) {
        let most = self.lit.iter().copied().max().unwrap_or(0);
        let place = self.lit.iter().position(|lit| *lit == most).unwrap_or(0);
        let width = self.size.width.max(1) as usize;
        (Duration::from_millis(most), Point::new((place % width) as i32, (place / width) as i32))
    }

    /// How worn each pixel is beside the most worn one, from 0 to 255: what a picture of the wear shows.
    pub fn shades(&self) -> impl Fn(Point) -> u8 {
        let most = self.most().0.as_secs_f64();
        move |at| if most > 0.0 { libm::round(self.lit(at).as_secs_f64() / most * 255.0) as u8 } else { 0 }
    }

    /// The brightness left of the least and of the most worn pixel after each of the years [`AHEAD`] of the same use.
    pub fn outlook(&self, half_life: Duration) -> [(f64, f64); AHEAD.len()] {
        AHEAD.map(|years| self.forecast(half_life, DAY * YEAR * years))
    }

    /// In words, when the difference between the least and the most worn pixel can be seen.
    pub fn difference(&self, half_life: Duration) -> String {
        let differs = |days: u32| {
            let (least, most) = self.forecast(half_life, DAY * days);
            least - most >= VISIBLE * least
        };
        let share = 100.0 * VISIBLE;
        match (differs(0), differs(FARTHEST)) {
            (true, _) => format!("the difference can be seen already: more than {share:.0} %"),
            (_, false) => format!("the difference stays below {share:.0} % for 30 years"),
            _ => {
                // It only grows.
                let days = DAY * partition(FARTHEST, differs);
                format!("the difference can be seen, at {share:.0} %, after {} of the same use", span::in_words(days))
            }
        }
    }

    /// The brightness of the least and of the most worn pixel, as shares of that of a new one, after another while of the same use.
    pub fn forecast(&self, half_life: Duration, ahead: Duration) -> (f64, f64) {
        let shown = self.shown.as_secs_f64();
        let growth = if shown > 0.0 { 1.0 + ahead.as_secs_f64() / shown } else { 1.0 };
        let left = |lit: Option<&u64>| {
            let seconds = lit.copied().unwrap_or(0) as f64 / 1000.0 * growth;
            brightness(seconds / half_life.as_secs_f64().max(1.0))
        };
        (left(self.lit.iter().min()), left(self.lit.iter().max()))
    }

    /// The ledger as bytes, in whole seconds.
    pub fn encode(&self) -> Vec<u8> {
        let side = |side: u32| u16::try_from(side).unwrap_or(u16::MAX).to_le_bytes();
        let mut rest = [side(self.size.width), side(self.size.height)].concat();
        rest.extend(self.shown.as_secs().to_le_bytes());
        for lit in &self.lit {
            rest.extend(u32::try_from(lit / 1000).unwrap_or(u32::MAX).to_le_bytes());
        }
        SEAL.close(&rest)
    }

    /// Reads a ledger.
    ///
    /// # Errors
    /// [`WearError`] where the bytes are not those of one, whole and of this version.
    pub fn decode(bytes: &[u8]) -> Result<Self, WearError> {
        let rest = SEAL.open(bytes)?;
        let (sides, rest) = rest.split_first_chunk::<4>().ok_or(WearError::Damaged)?;
        let (shown, rest) = rest.split_first_chunk::<8>().ok_or(WearError::Damaged)?;
        let [width, height] = [[sides[0], sides[1]], [sides[2], sides[3]]].map(u16::from_le_bytes);
        let pixels = usize::from(width) * usize::from(height);
        if width > MOST_SIDE || height > MOST_SIDE || rest.len() != 4 * pixels {
            return Err(WearError::Damaged);
        }
        let lit = rest.chunks_exact(4).map(|word| {
            let word: [u8; 4] = word.try_into().unwrap_or_default();
            u64::from(u32::from_le_bytes(word)) * 1000
        });
        let size = Size::new(width.into(), height.into());
        Ok(Self { size, lit: lit.collect(), shown: Duration::from_secs(u64::from_le_bytes(*shown)) })
    }
}

/// The first number up to `most` for which `holds`, where it holds for all greater ones and for `most`.
fn partition(most: u32, holds: impl Fn(u32) -> bool) -> u32 {
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    low
}

/// The brightness that is left after so many half-lives, as a share.
fn brightness(half_lives: f64) -> f64 {
    libm::exp(-core::f64::consts::LN_2 * libm::pow(half_lives, STRETCH))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HOUR: Duration = Duration::from_secs(3600);

    fn checkered(size: Size) -> Frame {
        let mut frame = Frame::new(size);
        for y in 0..size.height as i32 {
            (0..size.width as i32).filter(|x| (x + y) % 2 == 0).for_each(|x| frame.set_pixel(Point::new(x, y), true));
        }
        frame
    }

    #[test]
    fn lit_pixels_age_in_proportion_to_the_contrast() {
        let size = Size::new(16, 12);
        let mut wear = Wear::new(size);
        wear.add(&checkered(size), 10 * HOUR, 255);
        wear.add(&checkered(size), 10 * HOUR, 51);
        wear.add(&Frame::new(size), 4 * HOUR, 255);
        assert_eq!([(0, 0), (1, 0), (15, 11), (14, 11)].map(|(x, y)| wear.lit(Point::new(x, y)) / 3600), {
            let lit = Duration::from_secs(12);
            [lit, Duration::ZERO, lit, Duration::ZERO]
        });
        assert_eq!((wear.shown(), wear.most()), (24 * HOUR, (12 * HOUR, Point::zero())));
        assert_eq!(wear.lit(Point::new(16, 0)), Duration::ZERO);
        wear.add(&Frame::new(Size::new(8, 8)), HOUR, 255);
        assert_eq!(wear.shown(), 24 * HOUR, "a frame of another size counts for nothing");
    }

    #[test]
    fn half_of_the_brightness_is_left_after_the_half_life() {
        let size = Size::new(16, 8);
        let mut wear = Wear::new(size);
        assert_eq!(wear.forecast(USUAL_HALF_LIFE, 1000 * HOUR), (1.0, 1.0), "nothing is known of its use");
        wear.add(&checkered(size), 100 * HOUR, 255);
        let (least, most) = wear.forecast(USUAL_HALF_LIFE, 9900 * HOUR);
        assert!(least == 1.0 && (most - 0.5).abs() < 1e-9, "{least} {most}");
        let (_, now) = wear.forecast(USUAL_HALF_LIFE, Duration::ZERO);
        assert!(most < now && now < 1.0);
    }

    #[test]
    fn what_is_no_ledger_is_told() {
        let good = Wear::new(Size::new(16, 8)).encode();
        assert_eq!(Wear::decode(b"{}"), Err(WearError::Foreign));
        assert_eq!(Wear::decode(&good[..good.len() - 1]), Err(WearError::Damaged));
        assert_eq!(Wear::decode(&vec![0; good.len()]), Err(WearError::Damaged), "what a lost supply leaves behind");
        let newer = Seal { version: 2, ..SEAL }.close(&good[seal::BYTES..]);
        assert_eq!(Wear::decode(&newer), Err(WearError::Version(2)));
    }

    proptest! {
        #[test]
        fn a_ledger_is_read_as_it_was_written_and_no_damage_goes_unseen(
            seconds in proptest::collection::vec(0..4_000_000_000u64, 16 * 8), shown in any::<u32>(), place in 0..10_000usize,
        ) {
            let lit = seconds.iter().map(|seconds| seconds * 1000).collect();
            let wear = Wear { size: Size::new(16, 8), lit, shown: Duration::from_secs(shown.into()) };
            let mut bytes = wear.encode();
            prop_assert!(bytes.len() <= MOST_BYTES);
            prop_assert_eq!(Wear::decode(&bytes), Ok(wear));
            let place = place % bytes.len();
            bytes[place] ^= 0x10;
            prop_assert!(Wear::decode(&bytes).is_err());
        }

        #[test]
        fn any_bytes_are_read_without_harm(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = Wear::decode(&SEAL.close(&bytes));
        }
    }
}
