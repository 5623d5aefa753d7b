//! The upkeep of one glass: it is made equal to the newest frame, whatever the bus does.
//!
//! What enters are frames, of which only the newest counts, and the time; what leaves are updates through an [`Outlet`], and what is
//! worth telling to the log. After trouble the way is opened again, the panel initialised anew and drawn whole. When that is, and when
//! what cannot be noticed is healed, a [`Schedule`] says. It reads no clock and never waits by itself.

use std::sync::Arc;
use std::time::Duration;

use embedded_graphics_core::geometry::{Dimensions, OriginDimensions};
use tracing::{info, warn};

use super::ledger::Ledger;
use super::outlet::{Outlet, Trouble};
use super::schedule::{Refresh, Schedule, Task};
use super::tally::Tally;
use super::throttle::untold;
use super::writer::AtExit;
use crate::draw::Frame;
use crate::layout::Brightness;
use crate::panel::Driver;
use crate::readings::Moment;

/// How often trouble is told, and how often the same.
const APART: Duration = Duration::from_secs(10);
const REPEAT: Duration = Duration::from_secs(60);

/// A way to a glass, what is known of the panel there, and what it shall show.
#[derive(Debug)]
pub struct Upkeep<O: Outlet> {
    outlet: O,
    driver: Option<Driver<O::Bus>>,
    newest: Option<Frame>,
    brightness: Brightness,
    /// The contrast at full brightness, as the way to the glass has it.
    contrast: u8,
    /// Whether something was asked for that was not done yet.
    wanted: bool,
    schedule: Schedule,
    trouble: Told,
    tally: Arc<Tally>,
    ledger: Option<Ledger>,
}

impl<O: Outlet> Upkeep<O> {
    /// A glass of which nothing is known; `name` stands in the log, and `tally` is told of what is done.
    pub fn new(name: String, outlet: O, refresh: Refresh, tally: Arc<Tally>) -> Self {
        let trouble = Told::new(name);
        Self {
            outlet,
            driver: None,
            newest: None,
            brightness: Brightness::FULL,
            contrast: 0,
            wanted: false,
            schedule: Schedule::new(refresh),
            trouble,
            tally,
            ledger: None,
        }
    }

    /// The same, keeping account of what the panel shows.
    pub fn keeping(mut self, ledger: Option<Ledger>) -> Self {
        self.ledger = ledger;
        self
    }

    /// Takes the frame to show from now on.
    pub fn show(&mut self, frame: Frame) {
        self.newest = Some(frame);
        self.wanted = true;
    }

    /// Has the panel shine so brightly from now on.
    pub fn dim(&mut self, brightness: Brightness) {
        self.brightness = brightness;
        self.wanted = true;
    }

    /// Has the panel initialised and drawn from scratch.
    pub fn start_over(&mut self) {
        self.driver = None;
        self.wanted = true;
    }

    /// When it is whose turn.
    pub fn schedule(&self) -> &Schedule {
        &self.schedule
    }

    /// The way to the glass.
    pub fn outlet(&self) -> &O {
        &self.outlet
    }

    /// Does what is due, if anything is. `clock` is read before and after.
    pub fn turn(&mut self, clock: impl Fn() -> Moment) {
        let wanted = self.wanted && self.newest.is_some();
        let Some(task) = self.schedule.task(wanted, clock()) else { return };
        self.wanted = false;
        let done = self.work(task);
        let now = clock();
        match done {
            Ok(()) => {
                self.tally.shows();
                self.note(now);
                self.trouble.over();
                self.schedule.went_well(task, now);
            }
            Err(trouble) => {
                self.tally.fails(&trouble);
                if let Some(ledger) = &mut self.ledger {
                    ledger.lost(now);
                }
                self.trouble.tell(&trouble, now);
                self.schedule.failed(now);
            }
        }
    }

    /// Writes into the ledger which pixels the panel has lit: those that the frame leaves dark where it is inverted.
    fn note(&mut self, now: Moment) {
        if let (Some(ledger), Some(frame), Some(driver)) = (&mut self.ledger, &self.newest, &self.driver) {
            let mut lit = frame.clone();
            if driver.setup().inverted {
                lit.invert(lit.bounding_box());
            }
            ledger.shows(lit, self.brightness.of(self.contrast), now);
        }
    }

    fn work(&mut self, task: Task) -> Result<(), Trouble> {
        let Some(frame) = &self.newest else { return Ok(()) };
        let (outlet, driver) = (&mut self.outlet, &mut self.driver);
        let (brightness, contrast) = (self.brightness, &mut self.contrast);
        let shown = ready(outlet, driver, contrast, frame).and_then(|driver| {
            let mut traffic = driver.set_contrast(brightness.of(*contrast))?;
            traffic.add(match task {
                Task::Update => driver.show(frame)?,
                Task::Refresh => driver.refresh(frame)?,
            });
            traffic.add(driver.set_on(brightness > Brightness::OFF)?);
            Ok(traffic)
        });
        match shown {
            Ok(traffic) => self.tally.sent(traffic),
            Err(trouble) => {
                // The bus itself is opened again: its adapter may have been pulled out and put back.
                *driver = None;
                return Err(trouble);
            }
        }
        driver.as_ref().map_or(Ok(()), |driver| outlet.updated(driver.bus()))
    }

    /// The last thing that is done to the panel: one attempt, since somebody waits for the end.
    pub fn leave(mut self, at_exit: AtExit, now: Moment) {
        if let Err(trouble) = self.last_work(at_exit) {
            self.trouble.tell(&trouble, now);
        }
        if let Some(ledger) = &mut self.ledger {
            ledger.close(now);
        }
    }

    fn last_work(&mut self, at_exit: AtExit) -> Result<(), Trouble> {
        if at_exit == AtExit::Keep {
            return self.work(Task::Update);
        }
        let Some(frame) = &self.newest else { return Ok(()) };
        let (outlet, driver) = (&mut self.outlet, &mut self.driver);
        let driver = ready(outlet, driver, &mut self.contrast, frame)?;
        // Dark RAM alone would be a lit glass on an inverted panel.
        driver.blank()?;
        driver.set_on(false)?;
        outlet.updated(driver.bus())
    }
}

/// A driver that can show `frame`: the one there is, or a new one if there is none, or it is for another size. Of a new one, `contrast` is noted.
fn ready<'a, O: Outlet>(
    outlet: &mut O,
    driver: &'a mut Option<Driver<O::Bus>>,
    contrast: &mut u8,
    frame: &Frame,
) -> Result<&'a mut Driver<O::Bus>, Trouble> {
    let fits = driver.take().filter(|driver| driver.setup().size == frame.size());
    let opened = match fits {
        Some(fitting) => fitting,
        None => {
            let opened = outlet.open(frame.size())?;
            *contrast = opened.setup().contrast;
            opened
        }
    };
    let driver = driver.insert(opened);
    if driver.needs_initialising() {
        driver.initialise()?;
    }
    Ok(driver)
}

/// What has been told of a panel's trouble.
#[derive(Debug)]
struct Told {
    name: String,
    /// The trouble that was told and is not known to be over.
    words: Option<String>,
    last: Option<Moment>,
    untold: u64,
}

impl Told {
    fn new(name: String) -> Self {
        Self { name, words: None, last: None, untold: 0 }
    }

    /// Tells trouble that is new, and from time to time trouble that lasts. Nothing is lost by waiting: while there is
    /// trouble, there are further attempts.
    fn tell(&mut self, trouble: &Trouble, now: Moment) {
        let words = trouble.to_string();
        let apart = if self.words.as_ref() == Some(&words) { REPEAT } else { APART };
        if self.last.is_some_and(|last| now.since(last) < apart) {
            self.untold += 1;
            return;
        }
        warn!("{}: {words}{}", self.name, untold(std::mem::take(&mut self.untold), "failure"));
        self.words = Some(words);
        self.last = Some(now);
    }

    fn over(&mut self) {
        if self.words.take().is_some() {
            info!("{}: shows its picture again", self.name);
        }
    }
}
