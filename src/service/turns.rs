//! The event loop: one turn for each message, moment, changed file or signal, and none without.
//!
//! What enters is everything that can happen to a running service; what leaves are frames for writers and happenings for a
//! witness. Between turns it sleeps. It never waits for a bus.

use std::future::Future;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::time::{sleep_until, timeout_at};

use super::Loaded;
use super::clock::Clock;
use super::door::Door;
use super::notices::Notices;
use super::pane::Pane;
use super::past::{Past, PastError};
use super::reports::Reports;
use super::source::Source;
use super::supervisor::Supervisor;
use super::watch::Watch;
use super::witness::{Happening, Witness};
use super::writer::Writer;
use crate::digest::digest;
use crate::draw::Point;
use crate::feed::{Delivery, Event, Filter, Message, Session, Settings, SettingsError};
use crate::layout::{Brightness, Program};
use crate::panel::orbit;
use crate::readings::history::encode;
use crate::readings::{self, Moment};

mod door;
mod report;

pub(super) use report::ONLINE;

/// How long panels may take to show their last picture.
const FAREWELL: Duration = Duration::from_secs(2);
/// A payload that was dropped unseen is judged by its size alone, of which no more than this is made up.
const LARGEST_STAND_IN: usize = 2 << 20;

/// Events that are taken together, when they came together.
const MOST_RECEIVED: usize = 64;

/// Why the service cannot begin.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The session's settings contradict themselves.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// The system gives no signals.
    #[error("cannot listen for signals: {0}")]
    Signals(io::Error),
}

/// Why the service ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// SIGTERM or SIGINT.
    Signal,
    /// The caller had enough.
    Asked,
}

/// A layout and the panels that show it.
#[derive(Debug)]
pub struct Show {
    source: Source,
    name: String,
    /// The text as it was read last, good or broken.
    text: String,
    /// Of the text that is shown.
    digest: String,
    /// Whether the text that was read last cannot be shown.
    is_broken: bool,
    first: Arc<Program>,
    writers: Vec<Writer>,
}

impl Show {
    /// A layout that was loaded from `source` and compiled to `program`, on these panels.
    pub fn new(source: Source, loaded: &Loaded, program: Arc<Program>, writers: Vec<Writer>) -> Self {
        let (text, digest) = (loaded.text.clone(), digest(&loaded.text));
        Self { name: source.name(), source, text, digest, is_broken: false, first: program, writers }
    }
}

/// A layout at work.
struct Running {
    show: Show,
    pane: Pane,
    notices: Notices,
    /// Where the picture stands, and how bright it is, as the panels were told.
    presented: (Point, Brightness),
}

/// All layouts with their panels, and the session that feeds them.
pub struct Service {
    settings: Settings,
    random: fastrand::Rng,
    clock: Clock,
    session: Session,
    filters: Vec<Filter>,
    running: Vec<Running>,
    /// Where the past of readings outlives the program.
    past: Option<Past>,
    reports: Reports,
    /// What takes a layout from the broker, if that is wanted.
    door: Option<Door>,
}

/// The signals that matter.
struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    fn new() -> io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }
}

impl Service {
    /// A service that will subscribe to what the layouts need. Must be called in a tokio runtime with network and time.
    ///
    /// # Errors
    /// [`ServiceError::Settings`] if the settings contradict themselves.
    pub fn new(settings: Settings, shows: Vec<Show>, mut random: fastrand::Rng) -> Result<Self, ServiceError> {
        let clock = Clock::start();
        let now = clock.now();
        let running: Vec<Running> = shows
            .into_iter()
            .map(|show| {
                let pane = Pane::new(Arc::clone(&show.first), now);
                let mut notices = Notices::default();
                notices.follow(pane.store());
                Running { show, pane, notices, presented: (Point::zero(), Brightness::FULL) }
            })
            .collect();
        let filters = filters(&running);
        let session = Session::new(&settings, filters.clone(), random.fork())?;
        Ok(Self {
            settings,
            random,
            clock,
            session,
            filters,
            running,
            past: None,
            reports: Reports::none(),
            door: None,
        })
    }

    /// The same service, which keeps the past of its readings in `file` and begins with what is there.
    pub fn keeping(mut self, file: PathBuf) -> Self {
        self.past = Some(Past::new(file));
        self
    }

    /// Works until a signal ends it or `enough` is done; then the panels get their last picture.
    ///
    /// # Errors
    /// [`ServiceError::Signals`] before anything was shown.
    pub async fn run(
        mut self,
        witness: &mut dyn Witness,
        enough: impl Future<Output = ()>,
    ) -> Result<Ending, ServiceError> {
        let mut signals = Signals::new().map_err(ServiceError::Signals)?;
        let mut watch = self.watch(witness);
        let mut enough = std::pin::pin!(enough);
        self.recall(witness);
        self.update(self.clock.now(), witness);
        let ending = loop {
            self.tend_door(witness).await;
            self.report(self.clock.now());
            let due = self.next_due().map(|due| self.clock.instant(due));
            let wake = async { sleep_until(due.unwrap_or_else(tokio::time::Instant::now)).await };
            let is_writing = self.past.as_ref().is_some_and(Past::is_writing);
            let past = &mut self.past;
            let written = async { if let Some(past) = past { past.written().await } else { Ok(()) } };
            tokio::select! {
                event = self.session.next() => {
                    let now = self.clock.now();
                    self.take(event, now, witness);
                    self.take_received(now, witness);
                    self.update(now, witness);
                }
                () = wake, if due.is_some() => self.update(self.clock.now(), witness),
                written = written, if is_writing => if let Err(problem) = written {
                    witness.see(self.clock.now(), Happening::Forgotten { problem: &problem });
                },
                question = self.reports.called() => if let Some(question) = question { self.answer(question) },
                () = watch.changed() => self.reload(false, witness).await,
                _ = signals.hang_up.recv() => {
                    witness.see(self.clock.now(), Happening::Renewed);
                    self.reports.tell(Supervisor::reloading);
                    self.reload(true, witness).await;
                    watch = self.watch(witness);
                    self.reports.tell(Supervisor::ready);
                }
                _ = signals.terminate.recv() => break Ending::Signal,
                _ = signals.interrupt.recv() => break Ending::Signal,
                () = &mut enough => break Ending::Asked,
            }
        };
        self.end(witness).await;
        Ok(ending)
    }

    /// Goes on with the past that was kept.
    fn recall(&mut self, witness: &mut dyn Witness) {
        let Some(past) = &self.past else { return };
        let now = self.clock.now();
        match past.read() {
            Ok(Some(stored)) => {
                let time = self.clock.civil();
                let panes = self.running.iter_mut().map(|running| &mut running.pane);
                let windows = panes.map(|pane| pane.recall(&stored, now, &time)).sum();
                witness.see(now, Happening::Recalled { file: past.file(), windows });
            }
            Ok(None) => {}
            Err(problem) => {
                witness.see(now, Happening::Forgotten { problem: &problem });
                if !matches!(problem, PastError::Useless { .. }) {
                    self.past = None;
                    return;
                }
            }
        }
        if let Err(problem) = past.probe() {
            witness.see(now, Happening::Forgotten { problem: &problem });
        }
    }

    /// Begins to write what the past is now.
    fn keep(&mut self, now: Moment, witness: &mut dyn Witness) {
        let Some(past) = &mut self.past else { return };
        let windows = self.running.iter().flat_map(|running| running.pane.windows());
        let (bytes, left_out) = encode(windows, now, self.clock.since_1970());
        if left_out > 0 {
            let problem = PastError::Full { file: past.file().into(), windows: left_out };
            witness.see(now, Happening::Forgotten { problem: &problem });
        }
        if let Err(problem) = past.write(bytes) {
            witness.see(now, Happening::Forgotten { problem: &problem });
        }
    }

    /// Draws what changed, and tells what is new about readings.
    fn update(&mut self, now: Moment, witness: &mut dyn Witness) {
        let time = self.clock.civil();
        for Running { show, pane, notices, presented } in &mut self.running {
            let layout = &show.name;
            notices.look(pane.store(), now, &mut |notice| {
                witness.see(now, Happening::Reading { layout, notice: &notice });
            });
            pane.set_link(self.reports.link.connected);
            let drawn = pane.update(now, &time);
            let (place, brightness) = (orbit::place(pane.program().shift, now), pane.brightness());
            let (place_before, brightness_before) = std::mem::replace(presented, (place, brightness));
            if drawn || place != place_before {
                let shifted = (place != Point::zero()).then(|| pane.frame().shifted(place));
                let frame = shifted.as_ref().unwrap_or(pane.frame());
                show.writers.iter().for_each(|writer| writer.show(frame));
            }
            if brightness != brightness_before {
                show.writers.iter().for_each(|writer| writer.dim(brightness));
            }
            witness.see(now, Happening::Updated { layout, pane, drawn });
        }
        if self.past.as_mut().is_some_and(|past| past.is_due(now)) {
            self.keep(now, witness);
        }
    }

    /// When something will be to do although nothing happens.
    fn next_due(&self) -> Option<Moment> {
        let now = self.clock.now();
        let due = |Running { pane, notices, .. }: &Running| {
            let step = orbit::next_step(pane.program().shift, now);
            pane.next_change().into_iter().chain(notices.next_due()).chain(step).min()
        };
        let past = self.past.as_ref().and_then(Past::next_due);
        let door = self.door.as_ref().and_then(Door::next_due);
        self.running.iter().filter_map(due).chain(past).chain(self.reports.next_due()).chain(door).min()
    }

    /// Takes what has been received already, so that all of it is drawn at once.
    fn take_received(&mut self, now: Moment, witness: &mut dyn Witness) {
        for _ in 0..MOST_RECEIVED {
            let Some(event) = self.session.received() else { break };
            self.take(event, now, witness);
        }
    }

    /// Takes an event; what comes of it is not drawn yet.
    fn take(&mut self, event: Event, now: Moment, witness: &mut dyn Witness) {
        self.follow_link(&event);
        self.knock(&event);
        match event {
            Event::Connected => witness.see(now, Happening::Connected),
            Event::FilterRefused { filter, why } => witness.see(now, Happening::FilterRefused { filter: &filter, why }),
            Event::Subscribed => witness.see(now, Happening::Subscribed { filters: &self.filters }),
            Event::Lost { reason, retry_in } => {
                witness.see(now, Happening::Lost { reason: &reason, retry_in });
            }
            Event::Message(message) => {
                witness.see(now, Happening::Message { message: &message });
                self.accept(&message, now);
            }
            Event::Oversized { topic, bytes } => {
                witness.see(now, Happening::Oversized { topic: &topic, bytes });
                // Nothing of it is left but its size; zeros in its place are refused for the same reason.
                let payload = vec![0; bytes.min(LARGEST_STAND_IN)];
                let delivery = Delivery::AtMostOnce;
                self.accept(&Message { topic, payload, retained: false, delivery }, now);
            }
        }
    }

    fn accept(&mut self, message: &Message, now: Moment) {
        for running in &mut self.running {
            let outcomes = running.pane.accept(message, now);
            let heard = outcomes.iter().any(|outcome| outcome.event == readings::Event::Accepted);
            if let Some(past) = self.past.as_mut().filter(|_| heard && running.pane.windows().next().is_some()) {
                past.stir(now);
            }
        }
    }

    fn watch(&self, witness: &mut dyn Witness) -> Watch {
        let now = self.clock.now();
        let files = self.running.iter().filter_map(|running| running.show.source.path());
        Watch::new(files, &mut |problem| witness.see(now, Happening::Unwatched { problem: &problem }))
    }

    /// Reads the layouts again and goes on with those that changed. `renew` takes all for changed, and has all panels set up
    /// anew.
    async fn reload(&mut self, renew: bool, witness: &mut dyn Witness) {
        let now = self.clock.now();
        for running in &mut self.running {
            if renew {
                running.show.writers.iter().for_each(Writer::renew);
            }
            running.reload(renew, now, witness);
        }
        self.update(now, witness);
        self.subscribe_anew(now, witness).await;
    }

    /// Goes on with another session if the layouts want to hear something else than before.
    async fn subscribe_anew(&mut self, now: Moment, witness: &mut dyn Witness) {
        let filters = self.wanted();
        if filters == self.filters {
            return;
        }
        // What has been received already still counts.
        self.take_received(now, witness);
        self.update(now, witness);
        // The same settings were good before.
        if let Ok(session) = Session::new(&self.settings, filters.clone(), self.random.fork()) {
            let before = std::mem::replace(&mut self.session, session);
            self.leave(before).await;
            self.filters = filters;
        }
    }

    /// Writes the past for the last time, if something was heard since it was written, and waits until `deadline`.
    async fn keep_last(&mut self, deadline: Instant, witness: &mut dyn Witness) {
        self.write_ended(deadline, witness).await;
        if self.past.as_ref().is_some_and(|past| past.is_stirred() && !past.is_writing()) {
            self.keep(self.clock.now(), witness);
            self.write_ended(deadline, witness).await;
        }
    }

    async fn write_ended(&mut self, deadline: Instant, witness: &mut dyn Witness) {
        let Some(past) = self.past.as_mut().filter(|past| past.is_writing()) else { return };
        let ended = timeout_at(deadline.into(), past.written()).await;
        let late = || Err(past.unwritten(io::ErrorKind::TimedOut.into()));
        if let Err(problem) = ended.unwrap_or_else(|_| late()) {
            witness.see(self.clock.now(), Happening::Forgotten { problem: &problem });
        }
    }

    /// Has the panels show their last picture and the past written, and waits for them, but not for long.
    async fn end(mut self, witness: &mut dyn Witness) {
        let now = self.clock.now();
        witness.see(now, Happening::Ending);
        self.reports.tell(Supervisor::stopping);
        self.running.iter().flat_map(|running| &running.show.writers).for_each(Writer::stop);
        let deadline = Instant::now() + FAREWELL;
        self.keep_last(deadline, witness).await;
        let writers = || self.running.iter().flat_map(|running| &running.show.writers);
        for writer in writers() {
            if !writer.wait(deadline) {
                witness.see(now, Happening::Stuck { panel: writer.name() });
            }
        }
    }
}

impl Running {
    fn reload(&mut self, even_unchanged: bool, now: Moment, witness: &mut dyn Witness) {
        let show = &mut self.show;
        let loaded = match show.source.load() {
            Ok(loaded) => loaded,
            Err(failure) => return witness.see(now, Happening::Unread { failure: &failure }),
        };
        if loaded.text == show.text && !even_unchanged {
            return;
        }
        show.text.clone_from(&loaded.text);
        show.is_broken = true;
        let Some(program) = &loaded.program else {
            return witness.see(now, Happening::Broken { layout: &loaded });
        };
        for writer in &show.writers {
            if let Err(problem) = writer.takes(program.size) {
                let (layout, panel) = (&show.name, writer.name());
                return witness.see(now, Happening::Unfit { layout, panel, problem });
            }
        }
        let program = Arc::clone(program);
        self.swap(&loaded, program, now);
        witness.see(now, Happening::Swapped { layout: &loaded });
    }

    /// Goes on with another layout, which its panels can show.
    fn swap(&mut self, loaded: &Loaded, program: Arc<Program>, now: Moment) {
        let Self { show, pane, notices, .. } = self;
        show.text.clone_from(&loaded.text);
        (show.digest, show.is_broken) = (digest(&loaded.text), false);
        pane.swap(program, now);
        notices.follow(pane.store());
    }
}

/// What all layouts together have to hear, each filter once.
fn filters(running: &[Running]) -> Vec<Filter> {
    let mut filters: Vec<Filter> = Vec::new();
    for filter in running.iter().flat_map(|running| running.pane.store().filters()) {
        if !filters.contains(filter) {
            filters.push(filter.clone());
        }
    }
    filters
}
