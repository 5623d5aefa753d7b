//! A panel's writer: a thread that keeps one glass equal to the newest frame, whatever the bus does.
//!
//! What enters are frames, of which only the newest counts; what leaves are updates through an [`Outlet`]. After trouble the
//! way is opened again after a growing wait, the panel initialised anew and drawn whole. Whoever hands over a frame never
//! waits for the bus.

use std::io;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use serde::Deserialize;
use tracing::{info, warn};

use super::outlet::{Outlet, Trouble};
use super::tally::Tally;
use super::throttle::untold;
use crate::draw::{Frame, Size};
use crate::panel::{Driver, Setup, SetupError};
use embedded_graphics_core::geometry::OriginDimensions;

/// The wait after the first failure; it doubles with each further one.
const FIRST_WAIT: Duration = Duration::from_millis(250);
const LONGEST_WAIT: Duration = Duration::from_secs(5);
/// How often trouble is told, and how often the same.
const APART: Duration = Duration::from_secs(10);
const REPEAT: Duration = Duration::from_secs(60);

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
    renew: bool,
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

    /// Waits for something to do: a wish, or until `again` if that is given. Before `again` only the end interrupts.
    fn wait(&self, again: Option<Instant>) -> Wish {
        let mut wish = self.lock();
        loop {
            let wanted = wish.frame.is_some() || wish.renew;
            let now = Instant::now();
            let due = match again {
                Some(again) => again <= now,
                None => wanted,
            };
            if wish.stop || due {
                return std::mem::take(&mut *wish);
            }
            wish = match again {
                Some(again) => {
                    let waited = self.said.wait_timeout(wish, again - now);
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
    pub fn start(name: String, setup: Setup, outlet: impl Outlet, at_exit: AtExit) -> io::Result<Self> {
        let slot = Arc::new(Slot::default());
        let (alive, ended) = channel();
        let (wishes, told) = (Arc::clone(&slot), Told::new(name.clone()));
        let tally = Arc::<Tally>::default();
        let kept = Arc::clone(&tally);
        let work = move || {
            let work =
                Work { slot: wishes, outlet, driver: None, newest: None, trouble: told, tally: kept, _alive: alive };
            work.run(at_exit);
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

    /// Has the panel initialised and drawn from scratch, as its supply may have been gone unnoticed.
    pub fn renew(&self) {
        self.slot.say(|wish| wish.renew = true);
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

/// What the thread works with.
struct Work<O: Outlet> {
    slot: Arc<Slot>,
    outlet: O,
    driver: Option<Driver<O::Bus>>,
    newest: Option<Frame>,
    trouble: Told,
    tally: Arc<Tally>,
    /// Dropped with the thread, whichever way it ends.
    _alive: Sender<()>,
}

impl<O: Outlet> Work<O> {
    fn run(mut self, at_exit: AtExit) {
        let mut wait = FIRST_WAIT;
        let mut again = None;
        loop {
            let wish = self.slot.wait(again);
            self.newest = wish.frame.or(self.newest);
            if wish.renew {
                self.driver = None;
            }
            if wish.stop {
                break;
            }
            match self.update() {
                Ok(()) => {
                    self.tally.shows();
                    self.trouble.over();
                    (again, wait) = (None, FIRST_WAIT);
                }
                Err(trouble) => {
                    self.tally.fails(&trouble);
                    self.trouble.tell(&trouble);
                    again = Some(Instant::now() + wait);
                    wait = (wait * 2).min(LONGEST_WAIT);
                }
            }
        }
        if let Err(trouble) = self.leave(at_exit) {
            self.trouble.tell(&trouble);
        }
    }

    /// Makes the glass equal to the newest frame.
    fn update(&mut self) -> Result<(), Trouble> {
        let Some(frame) = &self.newest else { return Ok(()) };
        let (outlet, driver) = (&mut self.outlet, &mut self.driver);
        let shown =
            ready(outlet, driver, frame).and_then(|driver| Ok(driver.show(frame).map(|sent| self.tally.sent(sent))?));
        forget_after_trouble(driver, shown)?;
        driver.as_ref().map_or(Ok(()), |driver| outlet.updated(driver.bus()))
    }

    /// The last thing that is done to the panel: one attempt, since somebody waits for the end.
    fn leave(&mut self, at_exit: AtExit) -> Result<(), Trouble> {
        if at_exit == AtExit::Keep {
            return self.update();
        }
        let Some(frame) = &self.newest else { return Ok(()) };
        let (outlet, driver) = (&mut self.outlet, &mut self.driver);
        let driver = ready(outlet, driver, frame)?;
        // Dark RAM alone would be a lit glass on an inverted panel.
        driver.blank()?;
        driver.set_on(false)?;
        outlet.updated(driver.bus())
    }
}

/// A driver that can show `frame`: the one there is, or a new one if there is none, or it is for another size.
fn ready<'a, O: Outlet>(
    outlet: &mut O,
    driver: &'a mut Option<Driver<O::Bus>>,
    frame: &Frame,
) -> Result<&'a mut Driver<O::Bus>, Trouble> {
    let fits = driver.take().filter(|driver| driver.setup().size == frame.size());
    let opened = match fits {
        Some(fitting) => fitting,
        None => outlet.open(frame.size())?,
    };
    let driver = driver.insert(opened);
    if driver.needs_initialising() {
        driver.initialise()?;
    }
    Ok(driver)
}

/// After trouble the bus itself is opened again: its adapter may have been pulled out and put back.
fn forget_after_trouble<B>(driver: &mut Option<Driver<B>>, result: Result<(), Trouble>) -> Result<(), Trouble> {
    if result.is_err() {
        *driver = None;
    }
    result
}

/// What has been told of a panel's trouble.
struct Told {
    name: String,
    /// The trouble that was told and is not known to be over.
    words: Option<String>,
    last: Option<Instant>,
    untold: u64,
}

impl Told {
    fn new(name: String) -> Self {
        Self { name, words: None, last: None, untold: 0 }
    }

    /// Tells trouble that is new, and from time to time trouble that lasts. Nothing is lost by waiting: while there is
    /// trouble, there are further attempts.
    fn tell(&mut self, trouble: &Trouble) {
        let words = trouble.to_string();
        let apart = if self.words.as_ref() == Some(&words) { REPEAT } else { APART };
        let now = Instant::now();
        if self.last.is_some_and(|last| now.duration_since(last) < apart) {
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
