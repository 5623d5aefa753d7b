//! A desk at work: follows the file, the broker, the clock and "play", and says when there is something new to be seen.
//!
//! What enters are a path, settings of a session and what time brings; what leaves is [`News`]. Nobody is shown anything here.

use std::path::{Path, PathBuf};
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::desk::{Change, Desk, Refusal};
use crate::feed::{Event, Filter, Session, Settings, SettingsError};
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
    /// A desk for a layout file, with a session where settings are given. Must be called in a tokio runtime with network and time. What
    /// cannot be watched is handed to `lament` in words.
    ///
    /// # Errors
    /// [`Unreadable`] if there is no such file; a broken layout is none.
    pub fn open(file: &Path, fed: bool, lament: &mut dyn FnMut(String)) -> Result<Self, Unreadable> {
        // Before the first look, so that no change in between is lost.
        let watch = Watch::new([file].into_iter(), lament).resting_after(QUIET);
        let clock = Clock::start();
        let desk = Desk::new(load(file)?, fed, clock.now());
        let mut live =
            Self { file: file.into(), desk, watch, clock, random: fastrand::Rng::new(), link: None, play: None };
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

    /// The desk.
    pub fn desk(&self) -> &Desk {
        &self.desk
    }

    /// The clock by which ages run.
    pub fn now(&self) -> crate::readings::Moment {
        self.clock.now()
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
            let due = self.desk.next_change().map(|due| self.clock.instant(due));
            let step = self.play.map(|(_, next)| next);
            let heard = async {
                match &mut self.link {
                    Some(link) => link.session.next().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
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
        self.desk.change(change, self.clock.now())?;
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
        self.desk.update(self.clock.now(), &self.clock.civil());
    }

    /// Reads the file again, and tells whether it is another.
    fn reload(&mut self) -> bool {
        match load(&self.file) {
            Ok(loaded) if loaded.text == self.desk.loaded().text && self.desk.unread().is_none() => return false,
            Ok(loaded) => self.desk.reload(loaded, self.clock.now()),
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
