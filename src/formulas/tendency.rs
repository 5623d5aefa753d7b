//! The characteristic of pressure tendency: how the air's pressure went during the last three hours.
//!
//! Pressures enter, oldest first; one of the nine figures of WMO code table 0200 (WMO-No. 306, volume I.1) leaves. The table says
//! what the curve of a barograph looks like, not how to tell it from numbers: here a curve is as bent as its furthest point from the
//! straight line between its ends, and whatever is below a tenth of a hectopascal, the step in which tendency is reported, counts as
//! nothing. That rule is this project's own.

/// Pressures of the air near the ground, in hPa.
const PRESSURES: std::ops::RangeInclusive<f64> = 500.0..=1100.0;

/// The step in which tendency is reported, in hPa; numbers half a billionth below it, as rounding makes them, are it.
const STEP: f64 = 0.1 - 5e-10;

/// A shape of three hours of pressure; the figures of code table 0200.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Characteristic {
    /// Up, then down; the same as three hours ago, or higher.
    UpThenDown = 0,
    /// Up, then steady or up more slowly; higher.
    UpThenSlower = 1,
    /// Up; higher.
    Up = 2,
    /// Down or steady, then up, or up and then faster; higher.
    UpAtLast = 3,
    /// Steady; the same.
    Steady = 4,
    /// Down, then up; the same, or lower.
    DownThenUp = 5,
    /// Down, then steady or down more slowly; lower.
    DownThenSlower = 6,
    /// Down; lower.
    Down = 7,
    /// Up or steady, then down, or down and then faster; lower.
    DownAtLast = 8,
}

impl Characteristic {
    /// The figure in code table 0200.
    pub fn code(self) -> u8 {
        self as u8
    }
}

/// The characteristic of `pressures` in hPa from 500 to 1100: taken at equal distances over three hours, the oldest first, both ends
/// among them. `None` below four of them, which is one an hour, and where one is no such pressure.
pub fn characteristic(pressures: &[f64]) -> Option<Characteristic> {
    use Characteristic::*;
    let [first, between @ .., last] = pressures else { return None };
    if between.len() < 2 || !pressures.iter().all(|pressure| PRESSURES.contains(pressure)) {
        return None;
    }
    let change = last - first;
    let intervals = (pressures.len() - 1) as f64;
    // How far each point stands above the straight line between the ends.
    let bends = between.iter().zip(1..).map(|(pressure, place)| {
        let bend = pressure - first - change * (f64::from(place) / intervals);
        (bend, *pressure)
    });
    let (bend, turn) =
        bends.fold((0.0_f64, *first), |most, next| if next.0.abs() > most.0.abs() { next } else { most });
    Some(if bend >= STEP {
        match last - turn {
            _ if change <= -STEP => DownAtLast,
            _ if change < STEP => UpThenDown,
            after if after <= -STEP => UpThenDown,
            _ => UpThenSlower,
        }
    } else if bend <= -STEP {
        match last - turn {
            _ if change >= STEP => UpAtLast,
            _ if change > -STEP => DownThenUp,
            after if after >= STEP => DownThenUp,
            _ => DownThenSlower,
        }
    } else if change >= STEP {
        Up
    } else if change <= -STEP {
        Down
    } else {
        Steady
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    // One curve for each line of code table 0200, hourly and half-hourly.
    #[test]
    fn every_line_of_the_code_table() {
        for (pressures, code) in [
            (&[1010.0, 1012.0, 1013.0, 1011.0][..], 0),
            (&[1010.0, 1012.0, 1013.0, 1010.0], 0),
            (&[1010.0, 1012.0, 1013.0, 1013.0], 1),
            (&[1010.0, 1012.0, 1013.0, 1013.3], 1),
            (&[1010.0, 1011.0, 1012.0, 1013.0], 2),
            (&[1010.0, 1011.04, 1011.96, 1013.0], 2),
            (&[1010.0, 1009.0, 1010.0, 1012.0], 3),
            (&[1010.0, 1010.0, 1010.0, 1012.0], 3),
            (&[1010.0, 1010.2, 1011.0, 1013.0], 3),
            (&[1010.0, 1010.0, 1010.0, 1010.0], 4),
            (&[1010.0, 1010.05, 1009.95, 1010.05], 4),
            (&[1010.0, 1008.0, 1007.0, 1010.0], 5),
            (&[1010.0, 1008.0, 1007.0, 1009.0], 5),
            (&[1010.0, 1008.0, 1007.0, 1007.0], 6),
            (&[1010.0, 1008.0, 1007.0, 1006.7], 6),
            (&[1010.0, 1009.0, 1008.0, 1007.0], 7),
            (&[1010.0, 1011.0, 1010.0, 1008.0], 8),
            (&[1010.0, 1010.0, 1010.0, 1008.0], 8),
            (&[1010.0, 1009.8, 1009.0, 1007.0], 8),
            (&[1010.0, 1010.5, 1011.0, 1011.5, 1012.0, 1012.5, 1012.0], 0),
        ] {
            assert_eq!(characteristic(pressures).map(Characteristic::code), Some(code), "{pressures:?}");
        }
    }

    #[test]
    fn nothing_is_guessed() {
        for pressures in [
            &[][..],
            &[1010.0],
            &[1010.0, 1010.0, 1010.0],
            &[1010.0, f64::NAN, 1010.0, 1010.0],
            &[1010.0, 1010.0, 1010.0, 1100.1],
            &[499.9, 1010.0, 1010.0, 1010.0],
        ] {
            assert_eq!(characteristic(pressures), None, "{pressures:?}");
        }
    }

    proptest! {
        // Whatever the curve, the table ties the figure to the change: 1 to 3 are higher, 6 to 8 lower, 4 the same.
        #[test]
        fn a_figure_agrees_with_the_change(tenths in proptest::collection::vec(9900..10_100i32, 4..40)) {
            let pressures: Vec<f64> = tenths.iter().map(|tenth| f64::from(*tenth) / 10.0).collect();
            let code = characteristic(&pressures).unwrap().code();
            let change = tenths[tenths.len() - 1] - tenths[0];
            let allowed: &[u8] = match change.signum() {
                1 => &[0, 1, 2, 3],
                -1 => &[5, 6, 7, 8],
                _ => &[0, 4, 5],
            };
            prop_assert!(allowed.contains(&code), "{} for {:?}", code, pressures);
        }

        // The table is its own mirror image.
        #[test]
        fn a_curve_upside_down_has_the_opposite_figure(tenths in proptest::collection::vec(-10..10i32, 4..12)) {
            let curve = |sign: i32| -> Vec<f64> { tenths.iter().map(|tenth| f64::from(10_000 + sign * tenth) / 10.0).collect() };
            // Where two points are bent alike and oppositely, the older one tells, either way up; rounding must not choose.
            let intervals = tenths.len() as i32 - 1;
            let bend = |place: usize| (tenths[place] - tenths[0]) * intervals - (tenths[intervals as usize] - tenths[0]) * place as i32;
            let mut bends: Vec<i32> = (1..tenths.len() - 1).map(|place| bend(place).abs()).collect();
            bends.sort_unstable();
            prop_assume!(bends[bends.len() - 1] != bends[bends.len() - 2]);
            let (code, mirrored) = (characteristic(&curve(1)).unwrap().code(), characteristic(&curve(-1)).unwrap().code());
            let opposite = if code == 4 { 4 } else { (code + 5) % 10 };
            prop_assert_eq!(mirrored, opposite, "{:?}", tenths);
        }
    }
}
