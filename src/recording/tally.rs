//! What a layout did during a recording: how long each reading was in each state, how long each screen was shown, and what it cost.
//!
//! What enters are the moments of a [`Player`](super::Player) with its pane; what leaves are sums. The bytes on the bus are those that
//! the driver sends to an SSD1306 that answers at once.

use std::convert::Infallible;
use std::time::Duration;

use embedded_hal::i2c::{ErrorType, I2c, Operation};

use crate::layout::Program;
use crate::panel::{Controller, Driver, Error, Setup, SetupError, Traffic};
use crate::readings::{Moment, State};
use crate::service::Pane;

/// The usual address of a panel.
const ADDRESS: u8 = 0x3c;

/// How long a reading was in each state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    spent: [Duration; 4],
}

impl Standing {
    /// The states in their order.
    pub const STATES: [State; 4] = [State::Live, State::Stale, State::Waiting, State::Faulty];

    /// How long it was in one state.
    pub fn spent(&self, state: State) -> Duration {
        self.spent[state as usize]
    }
}

/// The sums so far.
#[derive(Debug)]
pub struct Tally {
    seen: Moment,
    states: Vec<State>,
    readings: Vec<Standing>,
    /// The screen that is shown, by its place.
    screen: Option<usize>,
    screens: Vec<Duration>,
    names: Vec<String>,
    driver: Driver<Ideal>,
    traffic: Traffic,
    pictures: u64,
}

/// A bus whose panel takes everything.
#[derive(Debug)]
struct Ideal;

impl ErrorType for Ideal {
    type Error = Infallible;
}

impl I2c for Ideal {
    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), Infallible> {
        Ok(())
    }
}

impl Tally {
    /// Sums at zero, for a pane that has just begun.
    ///
    /// # Errors
    /// [`SetupError`] if there is no panel of the program's size.
    pub fn new(program: &Program) -> Result<Self, SetupError> {
        let driver = Driver::new(Ideal, ADDRESS, Setup::new(Controller::Ssd1306, program.size))?;
        Ok(Self {
            seen: Moment::default(),
            states: vec![State::Waiting; program.readings.len()],
            readings: vec![Standing::default(); program.readings.len()],
            screen: None,
            screens: vec![Duration::ZERO; program.screens.len()],
            names: program.screens.iter().map(|screen| screen.name.clone()).collect(),
            driver,
            traffic: Traffic::default(),
            pictures: 0,
        })
    }

    /// Takes in how things stand at `now`, which lasts until the next time; `drawn` tells whether the picture may have changed.
    ///
    /// # Errors
    /// The driver's, if the picture is for another panel.
    pub fn see(&mut self, now: Moment, pane: &Pane, drawn: bool) -> Result<(), Error> {
        self.pass(now);
        for (state, (_, reading)) in self.states.iter_mut().zip(pane.store().iter()) {
            *state = reading.state(now);
        }
        self.screen = pane.screen().and_then(|shown| self.names.iter().position(|name| name == shown));
        if !drawn {
            return Ok(());
        }
        if self.driver.needs_initialising() {
            self.traffic.add(self.driver.initialise()?);
        }
        let sent = self.driver.show(pane.frame())?;
        self.pictures += u64::from(sent.bytes > 0);
        self.traffic.add(sent);
        Ok(())
    }

    /// Lets the time pass up to `now` with everything as it is.
    pub fn pass(&mut self, now: Moment) {
        let passed = now.since(self.seen);
        self.seen = self.seen.max(now);
        for (state, standing) in self.states.iter().zip(&mut self.readings) {
            standing.spent[*state as usize] += passed;
        }
        if let Some(screen) = self.screen {
            self.screens[screen] += passed;
        }
    }

    /// Each reading's time in each state, in the order of the layout.
    pub fn readings(&self) -> &[Standing] {
        &self.readings
    }

    /// The screens with the time for which each was shown, in the order of the layout.
    pub fn screens(&self) -> impl Iterator<Item = (&str, Duration)> {
        self.names.iter().map(String::as_str).zip(self.screens.iter().copied())
    }

    /// What went over the bus, the panel's setting up included.
    pub fn traffic(&self) -> Traffic {
        self.traffic
    }

    /// How many times something on the glass changed.
    pub fn pictures(&self) -> u64 {
        self.pictures
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use jiff::ZonedDateTime;
    use jiff::civil::DateTime;

    use super::*;
    use crate::feed::{Delivery, Message};
    use crate::language::clock;

    fn noon() -> ZonedDateTime {
        clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0))
    }

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    #[test]
    fn states_screens_and_bytes_are_summed() {
        let layout = "panel 128x32\n\
            reading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) stale: 30s\n\
            screen shut { text \"shut\" }\nscreen open when: door == 1 { text \"{if door == 1 then \"open\" else \"shut\"}\" }\n";
        let program = crate::service::compile(layout.as_bytes(), Path::new("door.layout")).program.unwrap();
        let mut pane = Pane::new(program.clone(), at(0));
        let mut tally = Tally::new(&program).unwrap();
        let mut see = |pane: &mut Pane, second, payload: Option<&str>| {
            if let Some(payload) = payload {
                let topic = "cellar/ripening/door".into();
                let message =
                    Message { topic, payload: payload.into(), retained: false, delivery: Delivery::AtMostOnce };
                pane.accept(&message, at(second));
            }
            let drawn = pane.update(at(second), &noon());
            tally.see(at(second), pane, drawn).unwrap();
            tally.traffic().bytes
        };
        let whole = see(&mut pane, 0, None);
        assert!(whole > 512, "the first picture is sent whole: {whole}");
        let open = see(&mut pane, 10, Some("open"));
        assert!(open > whole);
        assert_eq!(see(&mut pane, 20, Some("open")), open, "nothing changed");
        let stale = see(&mut pane, 51, None);
        assert!(stale > open);
        see(&mut pane, 60, Some("ajar"));
        tally.pass(at(100));
        let spent: Vec<u64> = Standing::STATES.map(|state| tally.readings()[0].spent(state).as_secs()).into();
        assert_eq!(spent, [41, 9, 10, 40]);
        assert_eq!(
            tally.screens().collect::<Vec<_>>(),
            [("shut", Duration::from_secs(50)), ("open", Duration::from_secs(50))]
        );
        assert_eq!(tally.pictures(), 4);
    }
}
