//! A panel's writer: a thread for the [`Upkeep`] of one glass.
//!
//! What enters are frames, of which only the newest counts; what leaves are turns of the upkeep, when its schedule says so. Whoever
//! hands over a frame never waits for the bus. Nothing is decided here.

use std::io;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Instant;

use serde::Deserialize;

use super::clock::Clock;
use super::ledger::Ledger;
use super::outlet::Outlet;
use super::schedule::{Refresh, Schedule};
use super::tally::Tally;
use super::upkeep::Upkeep;
use crate::draw::{Frame, Size};
use crate::layout::Brightness;
use crate::panel::{Setup, SetupError};

/// What a panel shows after the end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum AtExit {
    /// Nothing: a number that nobody renews is no good number.
    #[default]
    Blank,
    /// Its last picture.
    Keep,
}

/// The handle of a running writer.
#[derive(Debug)]
pub struct Writer {
    name: String,
    setup: Setup,
    slot: Arc<Slot>,
    tally: Arc<Tally>,
    /// Closed when the thread ends.
    ended: Receiver<()>,
}

/// What the writer is to do, as last said.
#[derive(Debug, Default)]
struct Wish {
    frame: Option<Frame>,
    brightness: Option<Brightness>,
    start_over: bool,
    stop: bool,
}

#[derive(Debug, Default)]
struct Slot {
    wish: Mutex<Wish>,
    said: Condvar,
}

impl Slot {
    fn lock(&self) -> MutexGuard<'_, Wish> {
        // A wish is whole after every statement that changes it.
        self.wish.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn say(&self, change: impl FnOnce(&mut Wish)) {
        change(&mut self.lock());
        self.said.notify_one();
    }

    /// Waits until there is something to do, or the end has come.
    fn wait(&self, schedule: &Schedule, clock: Clock) -> Wish {
        let mut wish = self.lock();
        loop {
            let now = clock.now();
            let wanted = wish.frame.is_some() || wish.brightness.is_some() || wish.start_over;
            if wish.stop || schedule.task(wanted, now).is_some() {
                return std::mem::take(&mut *wish);
            }
            wish = match schedule.next_due() {
                Some(due) => {
                    let waited = self.said.wait_timeout(wish, due.since(now));
                    waited.map_or_else(|poisoned| poisoned.into_inner().0, |(wish, _)| wish)
                }
                None => self.said.wait(wish).unwrap_or_else(PoisonError::into_inner),
            };
        }
    }
}

impl Writer {
    /// Starts a writer's thread for a panel set up so; `name` stands in the log.
    ///
    /// # Errors
    /// The system's, if it gives no thread.
    pub fn start(
        name: String,
        setup: Setup,
        outlet: impl Outlet,
        at_exit: AtExit,
        refresh: Refresh,
        ledger: Option<Ledger>,
    ) -> io::Result<Self> {
        let slot = Arc::new(Slot::default());
        let (alive, ended) = channel();
        let (wishes, told) = (Arc::clone(&slot), name.clone());
        let tally = Arc::<Tally>::default();
        let kept = Arc::clone(&tally);
        let work = move || {
            // Closed with the thread, whichever way it ends.
            let _alive: Sender<()> = alive;
            work(&wishes, Upkeep::new(told, outlet, refresh, kept).keeping(ledger), at_exit);
        };
        thread::Builder::new().name("panel".into()).spawn(work)?;
        Ok(Self { name, setup, slot, tally, ended })
    }

    /// What has been shown so far, and how the panel is.
    pub fn tally(&self) -> &Arc<Tally> {
        &self.tally
    }

    /// The name in the log.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the panel can show frames of this size.
    ///
    /// # Errors
    /// [`SetupError`] if there is no such panel with its controller.
    pub fn takes(&self, size: Size) -> Result<(), SetupError> {
        Setup { size, ..self.setup }.check()
    }

    /// Hands over a frame, which replaces one that has not been shown yet.
    pub fn show(&self, frame: &Frame) {
        self.slot.say(|wish| wish.frame = Some(frame.clone()));
    }

    /// Has the panel shine so brightly from now on.
    pub fn dim(&self, brightness: Brightness) {
        self.slot.say(|wish| wish.brightness = Some(brightness));
    }

    /// Has the panel initialised and drawn from scratch, as its supply may have been gone unnoticed.
    pub fn renew(&self) {
        self.slot.say(|wish| wish.start_over = true);
    }

    /// Has the writer end: the panel gets its last picture, or goes dark.
    pub fn stop(&self) {
        self.slot.say(|wish| wish.stop = true);
    }

    /// Waits until the writer has ended, at most until `deadline`; whether it has.
    pub fn wait(&self, deadline: Instant) -> bool {
        let left = deadline.saturating_duration_since(Instant::now());
        matches!(self.ended.recv_timeout(left), Err(std::sync::mpsc::RecvTimeoutError::Disconnected))
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.stop();
    }
}

/// What the thread does.
fn work<O: Outlet>(wishes: &Slot, mut upkeep: Upkeep<O>, at_exit: AtExit) {
    let clock = Clock::start();
    loop {
        let Wish { frame, brightness, start_over, stop } = wishes.wait(upkeep.schedule(), clock);
        if start_over {
            upkeep.start_over();
        }
        if let Some(frame) = frame {
            upkeep.show(frame);
        }
        if let Some(brightness) = brightness {
            upkeep.dim(brightness);
        }
        if stop {
            return upkeep.leave(at_exit, clock.now());
        }
        upkeep.turn(|| clock.now());
    }
}
