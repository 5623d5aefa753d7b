//! How a layout would wear a panel out that showed it for the length of a recording.
//!
//! What enters is a player at its beginning; what leaves is for how long each pixel would have been lit. Shifts and dimming are those of
//! the service.

use crate::draw::Frame;
use crate::panel::orbit;
use crate::panel::wear::Wear;
use crate::readings::Moment;

use super::{Entry, Player};

/// Plays the whole recording to a new panel of that contrast.
///
/// # Errors
/// That of an entry that cannot be read.
pub fn wear<E, I: Iterator<Item = Result<Entry, E>>>(player: &mut Player<I, E>, contrast: u8) -> Result<Wear, E> {
    let program = player.pane().program();
    let (mut wear, shift) = (Wear::new(program.size), program.shift);
    loop {
        let (shown, brightness, since) = (player.frame().clone(), player.pane().brightness(), player.now());
        let Some(until) = player.step()? else { return Ok(wear) };
        pass(&mut wear, &shown, brightness.of(contrast), shift, (since, until));
    }
}

/// Counts a frame from one moment to another, wherever it stood meanwhile.
fn pass(wear: &mut Wear, frame: &Frame, contrast: u8, shift: u32, (mut since, until): (Moment, Moment)) {
    while since < until {
        let end = orbit::next_step(shift, since).map_or(until, |step| step.min(until));
        wear.add(&frame.shifted(orbit::place(shift, since)), end.since(since), contrast);
        since = end;
    }
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;
    use std::path::Path;
    use std::time::Duration;

    use jiff::Timestamp;
    use jiff::tz::Offset;

    use super::*;
    use crate::draw::Point;
    use crate::feed::{Delivery, Message};
    use crate::recording::{Heard, Stamp};
    use crate::service::compile;

    fn stamp(second: i64) -> Stamp {
        Stamp { time: Timestamp::from_second(1_795_000_000 + second).unwrap(), offset: Offset::UTC }
    }

    fn entry(second: i64, heard: Heard) -> Result<Entry, Infallible> {
        Ok(Entry { at: stamp(second), heard })
    }

    fn worn(layout: &str, entries: Vec<Result<Entry, Infallible>>) -> Wear {
        let program = compile(layout.as_bytes(), Path::new("door.layout")).program.expect("a good layout");
        let mut player = Player::new(program, stamp(0), entries.into_iter());
        wear(&mut player, 255).unwrap()
    }

    fn door(second: i64, payload: &str) -> Result<Entry, Infallible> {
        let topic = "cellar/ripening/door".to_string();
        entry(
            second,
            Heard::Message(Message { topic, payload: payload.into(), retained: false, delivery: Delivery::AtMostOnce }),
        )
    }

    const LAYOUT: &str = "panel 128x32\n\
        reading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) stale: never\n\
        screen s { rule at: (0, 0) width: 20 height: 1 when: door == 1 }\n";

    #[test]
    fn each_pixel_is_counted_for_as_long_as_it_was_lit() {
        let wear =
            worn(LAYOUT, vec![door(10, "open"), door(70, "closed"), door(100, "closed"), entry(160, Heard::Ended)]);
        let lit = [(0, 0), (19, 0), (20, 0), (0, 1)].map(|(x, y)| wear.lit(Point::new(x, y)).as_secs());
        assert_eq!((lit, wear.shown().as_secs()), ([60, 60, 0, 0], 160));
    }

    #[test]
    fn a_dimmed_panel_wears_less_and_a_shifted_picture_more_evenly() {
        let dimmed = LAYOUT.replace("screen s", "dim to: 20% when: door == 1\nscreen s");
        let wear = worn(&dimmed, vec![door(10, "open"), entry(110, Heard::Ended)]);
        assert_eq!(wear.most().0, Duration::from_secs(20));
        let shifted = LAYOUT.replace("panel 128x32", "panel 128x32 shift: 1");
        let entries = || vec![door(0, "open"), entry(160 * 60, Heard::Ended)];
        let (still, wandering) = (worn(LAYOUT, entries()), worn(&shifted, entries()));
        assert_eq!(still.most().0, Duration::from_secs(160 * 60));
        assert!(wandering.most().0 * 2 < still.most().0, "{wandering:?}");
    }
}
