//! When the service tells of its own health, and to whom: topics of the broker, the supervisor, the page on loopback.
//!
//! What enters are the time and whether something is another than before; what leaves is what is due. Nothing is told more often
//! than it was allowed to, and while nothing changes nothing is due but the supervisor's signs of life.

use std::io;
use std::net::SocketAddr;
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;

use super::health::page::{Page, Question};
use super::health::{HealthTopics, LinkHealth};
use super::supervisor::Supervisor;
use super::throttle::Throttle;
use super::turns::ONLINE;
use crate::feed::Message;
use crate::readings::Moment;

/// How far apart documents are if nobody says otherwise.
const APART: Duration = Duration::from_secs(10);
/// Documents at once after a quiet time, so that those of a start come without delay.
const BURST: u32 = 2;
/// A panel that neither shows something nor fails until then does not keep the program from being ready.
const READY: Duration = Duration::from_secs(10);

/// What an installation wants to be told about itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reporting {
    /// The topics to publish under.
    pub topics: Option<HealthTopics>,
    /// How far apart documents are at least.
    pub apart: Duration,
    /// Where to serve the page.
    pub listen: Option<Loopback>,
}

/// An address on this machine's own loopback, which no other machine reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Loopback(SocketAddr);

/// Why a text is no address on loopback.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LoopbackError {
    /// No address with a port.
    #[error("{text:?} is no address with a port: write 127.0.0.1:9464 or [::1]:9464")]
    Address {
        /// The text.
        text: String,
    },
    /// An address that others reach.
    #[error("{address} can be reached from other machines, and the page knows no users: write 127.0.0.1:{} or [::1]:{}", address.port(), address.port())]
    Reachable {
        /// The address.
        address: SocketAddr,
    },
}

impl FromStr for Loopback {
    type Err = LoopbackError;

    fn from_str(text: &str) -> Result<Self, LoopbackError> {
        let address: SocketAddr = text.parse().map_err(|_| LoopbackError::Address { text: text.into() })?;
        if address.ip().is_loopback() { Ok(Self(address)) } else { Err(LoopbackError::Reachable { address }) }
    }
}

/// Why the page of health is not served.
#[derive(Debug, thiserror::Error)]
#[error("cannot serve the page of health at {address}: {problem}; stop what holds the port, or choose another")]
pub struct PageError {
    address: SocketAddr,
    problem: io::Error,
}

impl Default for Reporting {
    fn default() -> Self {
        Self { topics: None, apart: APART, listen: None }
    }
}

/// A service's way to tell of itself.
pub struct Reports {
    pub(super) topics: Option<HealthTopics>,
    pub(super) supervisor: Option<Supervisor>,
    page: Option<Page>,
    /// Called when a panel is another than before.
    pub(super) panels: Arc<Notify>,
    pub(super) link: LinkHealth,
    apart: Duration,
    throttle: Throttle,
    /// What was looked at last, in a number.
    sight: Option<u64>,
    /// Whether something is another than what was told.
    news: bool,
    is_ready: bool,
    /// The last sign of life.
    alive: Moment,
}

impl Reports {
    /// Opens all that is wanted. Must be called in a tokio runtime with network.
    ///
    /// # Errors
    /// [`PageError`], if it cannot listen for the page.
    pub fn open(reporting: &Reporting, supervisor: Option<Supervisor>) -> Result<Self, PageError> {
        let page = |Loopback(address)| Page::open(address).map_err(|problem| PageError { address, problem });
        Ok(Self {
            topics: reporting.topics.clone(),
            // Nobody else waits for it.
            is_ready: supervisor.is_none(),
            supervisor,
            page: reporting.listen.map(page).transpose()?,
            panels: Arc::default(),
            link: LinkHealth::default(),
            apart: reporting.apart,
            throttle: throttle(reporting.apart),
            sight: None,
            news: false,
            alive: Moment::default(),
        })
    }

    /// Nobody to tell anything.
    pub(super) fn none() -> Self {
        Self {
            topics: None,
            supervisor: None,
            page: None,
            panels: Arc::default(),
            link: LinkHealth::default(),
            apart: APART,
            throttle: throttle(APART),
            sight: None,
            news: false,
            is_ready: true,
            alive: Moment::default(),
        }
    }

    /// Whether somebody is to be told without asking.
    pub(super) fn has_listeners(&self) -> bool {
        self.topics.is_some() || self.supervisor.is_some()
    }

    /// Whether a message says that the program is not there.
    pub(super) fn is_denied_by(&self, message: &Message) -> bool {
        let topics = self.topics.as_ref();
        topics.is_some_and(|topics| message.topic == topics.online.as_str() && message.payload != ONLINE.as_bytes())
    }

    /// Forgets what was told, as the broker may be another one: the next look tells all.
    pub(super) fn start_over(&mut self) {
        self.throttle = throttle(self.apart);
        self.news = true;
    }

    /// Tells the supervisor, if there is one.
    pub(super) fn tell(&self, word: impl Fn(&Supervisor)) {
        self.supervisor.iter().for_each(word);
    }

    /// Waits until somebody asks a question about health, or a panel is another than before, which is none.
    pub(super) async fn called(&mut self) -> Option<Question> {
        match &mut self.page {
            Some(page) => tokio::select! {
                question = page.question() => Some(question),
                () = self.panels.notified() => None,
            },
            None => {
                self.panels.notified().await;
                None
            }
        }
    }

    /// Takes in what there is to see, as a number that is another when something worth telling is; whether to tell now.
    pub(super) fn look(&mut self, sight: u64, now: Moment) -> bool {
        self.news |= self.sight.replace(sight) != Some(sight);
        if !self.news || self.throttle.admit(now).is_none() {
            return false;
        }
        self.news = false;
        true
    }

    /// What was told did not arrive.
    pub(super) fn untold(&mut self) {
        self.news = true;
    }

    /// Whether to tell the supervisor now that all is ready: once `panels_begun`, or when it has been long enough.
    pub(super) fn becomes_ready(&mut self, panels_begun: bool, now: Moment) -> bool {
        let becomes = !self.is_ready && (panels_begun || now.since(Moment::default()) >= READY);
        self.is_ready |= becomes;
        becomes
    }

    /// Gives the supervisor a sign of life, if it is time or nearly so: a turn that happens anyway saves one of its own.
    pub(super) fn live(&mut self, now: Moment) {
        let Some(supervisor) = &self.supervisor else { return };
        if supervisor.watchdog().is_some_and(|within| now.since(self.alive) >= within / 4) {
            supervisor.alive();
            self.alive = now;
        }
    }

    /// When something will be due although nothing happens.
    pub(super) fn next_due(&self) -> Option<Moment> {
        let watchdog = self.supervisor.as_ref().and_then(Supervisor::watchdog);
        let alive = watchdog.map(|within| self.alive + within / 2);
        let ready = (!self.is_ready).then(|| Moment::at(READY));
        let news = (self.news && self.has_listeners()).then(|| self.throttle.next());
        [alive, ready, news].into_iter().flatten().min()
    }
}

fn throttle(apart: Duration) -> Throttle {
    Throttle::with_burst(apart, BURST)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn reports() -> Reports {
        let topics = HealthTopics::below("cellar/doors/ripening").unwrap();
        Reports { topics: Some(topics), ..Reports::none() }
    }

    #[test]
    fn a_change_is_told_at_once_and_many_are_told_once_in_ten_seconds() {
        let mut reports = reports();
        assert!(reports.look(0, at(0)) && reports.look(1, at(0)) && !reports.look(1, at(1)) && reports.look(2, at(2)));
        assert_eq!(reports.next_due(), None, "nothing changed, nothing is due");
        let told: Vec<u64> = (3..43).filter(|second| reports.look(*second, at(*second))).collect();
        assert_eq!(told, [10, 20, 30, 40]);
        // The last change is told too, though nothing else happens.
        assert_eq!(reports.next_due(), Some(at(50)));
        assert!(reports.look(42, at(50)));
        assert_eq!(reports.next_due(), None);
    }

    #[test]
    fn what_did_not_arrive_is_told_again() {
        let mut reports = reports();
        assert!(reports.look(1, at(0)));
        reports.untold();
        assert_eq!(reports.next_due(), Some(at(0)), "once more at once, as after a quiet time");
        assert!(reports.look(1, at(0)) && reports.look(2, at(0)));
        reports.untold();
        assert_eq!(reports.next_due(), Some(at(10)));
        reports.start_over();
        assert!(reports.look(2, at(1)), "after a new connection at once");
    }

    #[test]
    fn without_anybody_to_tell_nothing_is_ever_due() {
        let reports = Reports::open(&Reporting::default(), None).unwrap_or_else(|_| panic!("no page was asked for"));
        assert_eq!(reports.next_due(), None);
    }

    #[test]
    fn it_is_ready_when_panels_began_or_after_ten_seconds() {
        let mut reports = Reports { is_ready: false, ..reports() };
        assert!(!reports.becomes_ready(false, at(1)));
        assert_eq!(reports.next_due(), Some(at(10)));
        assert!(reports.becomes_ready(true, at(2)) && !reports.becomes_ready(true, at(3)));
        let mut reports = Reports { is_ready: false, ..reports };
        assert!(reports.becomes_ready(false, at(10)));
        assert_eq!(reports.next_due(), None);
    }
}
