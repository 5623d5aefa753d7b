//! The glass of a panel: how large its pixels are, and from how far what stands on it can be read.
//!
//! What enters are a diagonal and heights in pixels; what leaves are millimetres, metres and minutes of arc.

/// Below this angle digits are not to be expected to be read (ISO 9241-303, from memory): minutes of arc.
pub const LEAST_ANGLE: f64 = 16.0;
/// At this angle and above they are read with ease (ISO 9241-303, from memory): minutes of arc.
pub const PREFERRED_ANGLE: f64 = 20.0;

/// Usual modules: pixels, nominal diagonal in inches, and the distance from one pixel to the next in millimetres, as their data sheets
/// have it (from memory).
const MODULES: [((u32, u32), f64, f64); 4] =
    [((128, 32), 0.91, 0.175), ((128, 64), 0.96, 0.17), ((128, 64), 1.3, 0.23), ((128, 64), 2.42, 0.43)];

/// A panel's glass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glass {
    /// From one pixel to the next, in millimetres.
    pub pitch: f64,
    /// From how far people read it, in metres; `None` where the layout does not say.
    pub seen_from: Option<f64>,
}

impl Glass {
    /// The glass of a panel of so many pixels whose diagonal is so many inches: of the module that is sold under that number, or else
    /// with square pixels from corner to corner.
    pub fn new((width, height): (u32, u32), diagonal: f64, seen_from: Option<f64>) -> Self {
        let module = MODULES.iter().find(|(pixels, inches, _)| *pixels == (width, height) && *inches == diagonal);
        let pitch = module
            .map_or_else(|| diagonal * 25.4 / libm::hypot(f64::from(width), f64::from(height)), |(_, _, pitch)| *pitch);
        Self { pitch, seen_from }
    }

    /// How tall so many rows are, in millimetres.
    pub fn height(&self, rows: u32) -> f64 {
        f64::from(rows) * self.pitch
    }

    /// From how far so many rows are seen under an angle in minutes of arc, in metres.
    pub fn distance(&self, rows: u32, angle: f64) -> f64 {
        self.height(rows) / 1000.0 / (2.0 * libm::tan((angle / 60.0).to_radians() / 2.0))
    }

    /// How many rows are needed to be seen under an angle in minutes of arc from so many metres.
    pub fn rows(&self, distance: f64, angle: f64) -> u32 {
        let height = 2.0 * distance * libm::tan((angle / 60.0).to_radians() / 2.0);
        (height * 1000.0 / self.pitch).ceil() as u32
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Computed with d = h / (2 tan(a / 2)) from the pitches of the data sheets.
    #[test]
    fn known_modules_are_read_from_known_distances() {
        let cases = [
            ((128, 32), 0.91, 16, 2.80, [0.60, 0.48, 1.93]),
            ((128, 64), 2.42, 24, 10.32, [2.22, 1.77, 7.10]),
            ((128, 64), 0.96, 7, 1.19, [0.26, 0.20, 0.82]),
        ];
        for (pixels, diagonal, rows, height, distances) in cases {
            let glass = Glass::new(pixels, diagonal, None);
            assert!((glass.height(rows) - height).abs() < 0.005);
            for (angle, distance) in [LEAST_ANGLE, PREFERRED_ANGLE, 5.0].into_iter().zip(distances) {
                let found = glass.distance(rows, angle);
                assert!((found - distance).abs() < 0.005, "{rows} rows at {angle}': {found}");
            }
        }
    }

    #[test]
    fn an_unknown_module_has_square_pixels() {
        // 5 inches over 3-4-5: 3 and 4 inches.
        let pitch = Glass::new((400, 300), 5.0, None).pitch;
        assert!((pitch - 4.0 * 25.4 / 400.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn the_rows_needed_are_just_enough(distance in 0.1..3.0f64, angle in 5.0..40.0f64) {
            let glass = Glass::new((128, 64), 1.3, None);
            let rows = glass.rows(distance, angle);
            prop_assert!(glass.distance(rows, angle) >= distance * (1.0 - 1e-12));
            prop_assert!(glass.distance(rows - 1, angle) < distance);
        }
    }
}
