//! Where a shifted picture stands as time goes by, so that no pixel is lit for ever.
//!
//! What enters is a time; what leaves is a place at most so many pixels from the middle, and when the next one comes. Each step moves the
//! picture by one pixel, which nobody sees who does not stand and watch; in one round it stands everywhere within its reach equally
//! long but at the ends.

use std::time::Duration;

use crate::draw::Point;
use crate::readings::Moment;

/// How long a picture stands in one place (common practice: some minutes).
pub const STEP: Duration = Duration::from_secs(600);

/// How far the picture is shifted at `now`, by at most `reach` pixels to each side.
pub fn place(reach: u32, now: Moment) -> Point {
    let side = u64::from(2 * reach + 1);
    let places = side * side;
    // There and back again through all rows, each in the other direction than the one before; it begins in the middle.
    let step = (steps(now) + places / 2) % (2 * (places - 1)).max(1);
    let at = step.min(2 * (places - 1) - step);
    let (row, column) = (at / side, at % side);
    let column = if row % 2 == 0 { column } else { side - 1 - column };
    let from_middle = |place: u64| place as i32 - reach as i32;
    Point::new(from_middle(column), from_middle(row))
}

/// When it moves on after `now`; never without a reach.
pub fn next_step(reach: u32, now: Moment) -> Option<Moment> {
    (reach > 0).then(|| Moment::default() + STEP * u32::try_from(steps(now) + 1).unwrap_or(u32::MAX))
}

fn steps(now: Moment) -> u64 {
    now.since(Moment::default()).as_secs() / STEP.as_secs()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    #[test]
    fn each_step_is_a_pixel_and_every_place_is_reached() {
        for reach in 0..=4 {
            let at = |step: u32| place(reach, Moment::at(STEP * step));
            assert_eq!(at(0), Point::zero());
            let places = (2 * reach + 1).pow(2);
            let mut visits: BTreeMap<(i32, i32), u32> = BTreeMap::new();
            for step in 0..2 * (places - 1).max(1) {
                let (now, next) = (at(step), at(step + 1));
                let moved = (next.x - now.x).abs() + (next.y - now.y).abs();
                assert_eq!(moved, i32::from(reach > 0), "step {step} of {reach}");
                assert!(now.x.unsigned_abs() <= reach && now.y.unsigned_abs() <= reach);
                *visits.entry((now.x, now.y)).or_default() += 1;
            }
            assert_eq!(visits.len() as u32, places);
            assert!(visits.values().all(|visits| *visits <= 2));
        }
    }

    #[test]
    fn it_says_when_it_moves_on() {
        let at = |seconds| Moment::at(Duration::from_secs(seconds));
        assert_eq!(next_step(1, at(0)), Some(at(600)));
        assert_eq!(next_step(1, at(600)), Some(at(1200)));
        assert_eq!(next_step(0, at(600)), None);
        assert_ne!(place(1, at(599)), place(1, at(600)));
    }
}
