//! How a layout would wear a panel out that showed it for the length of a recording.
//!
//! What enters is a player at its beginning; what leaves is for how long each pixel would have been lit. Shifts and dimming are those of
//! the service.

use crate::draw::Frame;
use crate::panel::orbit;
use crate::panel::wear::Wear;
use crate::readings::Moment;

use super::{Entry, Player};

/// The wear of a panel while a recording is played to it.
#[derive(Clone, Debug)]
pub struct Wearing {
    wear: Wear,
    shown: Frame,
    /// The contrast that the layout gets at full brightness, and what it has now.
    full: u8,
    contrast: u8,
    shift: u32,
    since: Moment,
}

impl Wearing {
    /// A new panel of that contrast, for a player at its beginning.
    pub fn new<E, I: Iterator<Item = Result<Entry, E>>>(player: &Player<I, E>, contrast: u8) -> Self {
        let program = player.pane().program();
        Self {
            wear: Wear::new(program.size),
            shown: player.frame().clone(),
            full: contrast,
            contrast: player.pane().brightness().of(contrast),
            shift: program.shift,
            since: player.now(),
        }
    }

    /// Looks at the player after a step.
    pub fn see<E, I: Iterator<Item = Result<Entry, E>>>(&mut self, player: &Player<I, E>) {
        let contrast = player.pane().brightness().of(self.full);
        if contrast != self.contrast || (player.drawn() && *player.frame() != self.shown) {
            self.pass(player.now());
            self.shown.clone_from(player.frame());
            self.contrast = contrast;
        }
    }

    /// The wear up to a moment after all that was seen.
    pub fn at(mut self, now: Moment) -> Wear {
        self.pass(now);
        self.wear
    }

    /// Counts the frame up to a moment, wherever it stood meanwhile.
    fn pass(&mut self, until: Moment) {
        while self.since < until {
            let end = orbit::next_step(self.shift, self.since).map_or(until, |step| step.min(until));
            let placed = self.shown.shifted(orbit::place(self.shift, self.since));
            self.wear.add(&placed, end.since(self.since), self.contrast);
            self.since = end;
        }
    }
}

/// Plays the whole recording to a new panel of that contrast.
///
/// # Errors
/// That of an entry that cannot be read.
pub fn wear<E, I: Iterator<Item = Result<Entry, E>>>(player: &mut Player<I, E>, contrast: u8) -> Result<Wear, E> {
    let mut wearing = Wearing::new(player, contrast);
    while player.step()?.is_some() {
        wearing.see(player);
    }
    Ok(wearing.at(player.now()))
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
