//! A desk at work: follows the file, the broker, the clock and "play", and says when there is something new to be seen.
//!
//! What enters are a path, settings of a session and what time brings; what leaves is [`News`]. Nobody is shown anything here.

use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::desk::{Change, Desk, Refusal, Source};
use super::replay::{Move, Replay};
use crate::feed::{Event, Filter, Session, Settings, SettingsError};
use crate::readings::Moment;
use crate::service::{Clock, Unreadable, Watch, load};

/// A saved file has come to rest so long after the last sign of change: editors write files of this size at one go.
const QUIET: Duration = Duration::from_millis(12);
/// How fast and how slowly "play" steps.
const PACE: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(60));

/// What is new.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum News {
    /// Another text was read, good or broken; the picture may be another, too.
    Layout,
    /// The picture, a reading or what is known of the broker.
    Picture,
    /// The line of the recording, and the picture.
    Line,
}

/// A session with the broker, and what is known of it.
struct Link {
    settings: Settings,
    session: Session,
    filters: Vec<Filter>,
    words: String,
}

impl Link {
    fn new(settings: Settings, filters: Vec<Filter>, random: &mut fastrand::Rng) -> Result<Self, SettingsError> {
        let session = Session::new(&settings, filters.clone(), random.fork())?;
        let words = format!("{}: connecting", settings.broker);
        Ok(Self { settings, session, filters, words })
    }
}

/// A desk at work.
pub struct Live {
    file: PathBuf,
    desk: Desk,
    watch: Watch,
    clock: Clock,
    random: fastrand::Rng,
    link: Option<Link>,
    replay: Option<Replay>,
    /// The pace of "play" and its next step, while it goes on.
    play: Option<(Duration, Instant)>,
}

/// Waits for nothing where there is nothing to wait for.
async fn until(instant: Option<Instant>) {
    match instant {
        Some(instant) => sleep_until(instant).await,
        None => std::future::pending().await,
    }
}

impl Live {
    /// A desk for a layout file whose readings follow a source, which [`feed`](Self::feed) or [`replay`](Self::replay) names then. Must
    /// be called in a tokio runtime with network and time. What cannot be watched is handed to `lament` in words.
    ///
    /// # Errors
    /// [`Unreadable`] if there is no such file; a broken layout is none.
    pub fn open(file: &Path, source: Source, lament: &mut dyn FnMut(String)) -> Result<Self, Unreadable> {
        // Before the first look, so that no change in between is lost.
        let watch = Watch::new([file].into_iter(), lament).resting_after(QUIET);
        let clock = Clock::start();
        // A recording counts from its own beginning.
        let begun = if source == Source::Recording { Moment::default() } else { clock.now() };
        let desk = Desk::new(load(file)?, source, begun);
        let (file, random) = (file.into(), fastrand::Rng::new());
        let mut live = Self { file, desk, watch, clock, random, link: None, replay: None, play: None };
        live.update();
        Ok(live)
    }

    /// Feeds the desk from a broker.
    ///
    /// # Errors
    /// [`SettingsError`] if the settings contradict themselves.
    pub fn feed(&mut self, settings: Settings) -> Result<(), SettingsError> {
        self.link = Some(Link::new(settings, self.desk.filters(), &mut self.random)?);
        Ok(())
    }

    /// Feeds the desk from a recording.
    pub fn replay(&mut self, replay: Replay) {
        self.replay = Some(replay);
        self.follow();
        self.update();
    }

    /// Has the recording follow the layout that is shown.
    fn follow(&mut self) {
        if let (Some(replay), Some(good)) = (&mut self.replay, self.desk.good()) {
            replay.follow(&good.program);
        }
    }

    /// The recording, if there is one.
    pub fn recording(&self) -> Option<&Replay> {
        self.replay.as_ref()
    }

    /// Moves on the recording's line.
    ///
    /// # Errors
    /// [`Refusal`] if there is none, or if it cannot be played so.
    pub fn go(&mut self, to: Move) -> Result<(), Refusal> {
        self.replay.as_mut().ok_or(Refusal::NoRecording)?.go(to)?;
        self.update();
        Ok(())
    }

    /// The desk.
    pub fn desk(&self) -> &Desk {
        &self.desk
    }

    /// The clock by which ages run: the recording's, where there is one.
    pub fn now(&self) -> Moment {
        self.replay.as_ref().map_or_else(|| self.clock.now(), Replay::at)
    }

    /// What is known of the broker, if there is one.
    pub fn broker(&self) -> Option<&str> {
        self.link.as_ref().map(|link| link.words.as_str())
    }

    /// Whether "play" goes on.
    pub fn is_playing(&self) -> bool {
        self.play.is_some()
    }

    /// Waits for the next news. To give up waiting loses nothing.
    pub async fn next(&mut self) -> News {
        loop {
            // What changes by itself in a recording changes where that is played.
            let due = match &self.replay {
                None => self.desk.next_change().map(|due| self.clock.instant(due)),
                Some(replay) => replay.due(),
            };
            let step = self.play.map(|(_, next)| next);
            let heard = async {
                match &mut self.link {
                    Some(link) => link.session.next().await,
                    None => std::future::pending().await,
                }
            };
            let followed = async {
                match &mut self.replay {
                    Some(replay) => replay.followed().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                () = followed => {
                    self.update();
                    return News::Line;
                }
                () = self.watch.changed() => if self.reload() { return News::Layout },
                event = heard => {
                    self.take(event);
                    return News::Picture;
                }
                () = until(step) => {
                    if let Some((pace, next)) = &mut self.play {
                        *next = Instant::now() + *pace;
                    }
                    self.desk.play(&mut self.random);
                    self.update();
                    return News::Picture;
                }
                () = until(due) => {
                    if let Some(replay) = &mut self.replay {
                        replay.play_on();
                    }
                    self.update();
                    return News::Picture;
                }
            }
        }
    }

    /// Makes a change that somebody asks for.
    ///
    /// # Errors
    /// [`Refusal`] if the layout knows nothing of it.
    pub fn change(&mut self, change: &Change) -> Result<(), Refusal> {
        self.desk.change(change, self.now())?;
        self.update();
        Ok(())
    }

    /// Begins to play with so long between two steps, or ends.
    pub fn play(&mut self, pace: Option<Duration>) {
        self.play = pace.map(|pace| (pace.clamp(PACE.0, PACE.1), Instant::now()));
    }

    /// The desk, for what is worked out beside it.
    pub fn desk_mut(&mut self) -> &mut Desk {
        &mut self.desk
    }

    fn update(&mut self) {
        let Some(replay) = &mut self.replay else { return self.desk.update(self.clock.now(), &self.clock.civil()) };
        if let Some(good) = self.desk.good()
            && let Some(run) = replay.run(&good.program)
        {
            self.desk.put(run.pane().clone(), run.is_linked());
        }
        self.desk.update(replay.at(), &replay.civil());
    }

    /// Reads the file again, and tells whether it is another.
    fn reload(&mut self) -> bool {
        match load(&self.file) {
            Ok(loaded) if loaded.text == self.desk.loaded().text && self.desk.unread().is_none() => return false,
            Ok(loaded) => {
                let good = loaded.program.is_some();
                self.desk.reload(loaded, self.now());
                if good {
                    self.follow();
                }
            }
            Err(failure) => self.desk.lose(failure.to_string()),
        }
        self.update();
        let filters = self.desk.filters();
        if let Some(link) = self.link.as_mut().filter(|link| link.filters != filters)
            // The same settings were good before.
            && let Ok(next) = Link::new(link.settings.clone(), filters, &mut self.random)
        {
            *link = next;
        }
        true
    }

    fn take(&mut self, event: Event) {
        let now = self.clock.now();
        let Some(link) = &mut self.link else { return };
        let broker = &link.settings.broker;
        match event {
            Event::Connected => {
                link.words = format!("{broker}: connected");
                self.desk.set_link(true);
            }
            Event::Subscribed => link.words = format!("{broker}: connected, listening"),
            Event::FilterRefused { filter, why } => link.words = format!("{broker}: {filter}: {why}"),
            Event::Lost { reason, retry_in } => {
                link.words = format!("{broker}: {reason}; tries again in {:.0} s", retry_in.as_secs_f64().ceil());
                self.desk.set_link(false);
            }
            Event::Oversized { topic, bytes } => {
                link.words = format!("{broker}: {}: {bytes} bytes are too many", topic.escape_debug());
            }
            Event::Message(message) => self.desk.hear(&message, now),
        }
        self.update();
    }
}
