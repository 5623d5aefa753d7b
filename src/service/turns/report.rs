//! What the service sees of itself, and how it tells: the part of a turn that comes after readings and pictures.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::time::Duration;

use super::{Running, Service, filters};
use crate::feed::{Event, Filter, Session};
use crate::readings::Moment;
use crate::service::health::page::{Answer, Question, Subject};
use crate::service::health::{Health, LayoutHealth, PanelHealth, open_metrics};
use crate::service::supervisor::Supervisor;
use crate::service::tally::Standing;
use crate::service::writer::Writer;
use crate::service::{Door, Reports};

/// The payload under the topic that says whether the program is there.
pub(in crate::service) const ONLINE: &str = "online";
/// How long the broker may take to let the program go.
const LEAVING: Duration = Duration::from_millis(500);

impl Service {
    /// The same service, which tells of its health.
    pub fn reporting(mut self, reports: Reports) -> Self {
        for writer in self.writers() {
            writer.tally().call(Arc::clone(&reports.panels));
        }
        self.reports = reports;
        self.filters = self.wanted();
        self.session = self.session.hearing(self.filters.clone());
        self
    }

    /// What all layouts together have to hear, each filter once, and what is said of the program in its name.
    pub(super) fn wanted(&self) -> Vec<Filter> {
        let mut wanted = filters(&self.running);
        let own = self.reports.topics.as_ref().map(|topics| topics.online.to_filter());
        wanted.extend(own.filter(|own| !wanted.contains(own)));
        let layout = self.door.as_ref().map(|door| door.topics().layout.to_filter());
        wanted.extend(layout.filter(|layout| !wanted.contains(layout)));
        wanted
    }

    fn writers(&self) -> impl Iterator<Item = &Writer> {
        self.running.iter().flat_map(|running| &running.show.writers)
    }

    /// Takes in what an event says about the link.
    pub(super) fn follow_link(&mut self, event: &Event) {
        let denied = matches!(event, Event::Message(message) if self.reports.is_denied_by(message));
        let link = &mut self.reports.link;
        match event {
            Event::Connected => {
                link.connected = true;
                self.reports.start_over();
                self.door.iter_mut().for_each(Door::start_over);
                self.say_online();
            }
            // The last will of a connection that the broker held for alive until now: of one before a power cut, for example.
            _ if denied => self.say_online(),
            Event::Lost { .. } => (link.connected, link.losses) = (false, link.losses + 1),
            Event::Oversized { .. } => link.oversized += 1,
            _ => {}
        }
    }

    fn say_online(&self) {
        if let Some(topics) = &self.reports.topics {
            // Without room for it there is a flood of denials, of which one more will come.
            let _ = self.session.publish(&topics.online, ONLINE.into(), true);
        }
    }

    /// Tells what is due at the end of a turn.
    pub(super) fn report(&mut self, now: Moment) {
        if !self.reports.has_listeners() {
            return;
        }
        let begun = self.writers().all(|writer| writer.tally().standing() != Standing::Waiting);
        let becomes_ready = self.reports.becomes_ready(begun, now);
        if self.reports.look(self.sight(now), now) {
            let health = self.health(now);
            self.reports.tell(|supervisor| supervisor.status(&health.sentence()));
            let topics = self.reports.topics.as_ref().filter(|_| self.reports.link.connected);
            if topics.is_some_and(|topics| self.session.publish(&topics.health, health.document(), true).is_err()) {
                self.reports.untold();
            }
        }
        if becomes_ready {
            self.reports.tell(Supervisor::ready);
        }
        self.reports.live(now);
    }

    /// Answers somebody who asked for the page.
    pub(super) fn answer(&self, question: Question) {
        let health = self.health(self.clock.now());
        let body = match question.subject {
            Subject::Health => health.document(),
            Subject::Metrics => open_metrics(&health).into_bytes(),
        };
        // Who asked may be gone.
        let _ = question.answer.send(Answer { well: health.is_well(), body });
    }

    /// Ends a session so that the next one's `online` is the last word.
    pub(super) async fn leave(&self, session: Session) {
        if self.reports.topics.is_some() {
            session.leave(LEAVING).await;
        }
    }

    /// What is worth telling when it changes, as a number: states and refusals, and not how much went well.
    fn sight(&self, now: Moment) -> u64 {
        let mut hasher = DefaultHasher::new();
        self.reports.link.connected.hash(&mut hasher);
        self.reports.link.losses.hash(&mut hasher);
        self.reports.link.oversized.hash(&mut hasher);
        for Running { show, pane, .. } in &self.running {
            show.digest.hash(&mut hasher);
            show.is_broken.hash(&mut hasher);
            for (_, reading) in pane.store().iter() {
                reading.state(now).hash(&mut hasher);
                reading.counts().rejected().hash(&mut hasher);
            }
            for writer in &show.writers {
                writer.tally().standing().hash(&mut hasher);
            }
        }
        hasher.finish()
    }

    fn health(&self, now: Moment) -> Health {
        let layout = |Running { show, pane, .. }: &Running| {
            LayoutHealth::of(&show.name, &show.digest, show.is_broken, pane, now)
        };
        Health {
            version: env!("CARGO_PKG_VERSION"),
            uptime_seconds: now.since(Moment::default()).as_secs(),
            link: self.reports.link.clone(),
            layouts: self.running.iter().map(layout).collect(),
            panels: self.writers().map(|writer| PanelHealth::of(writer.name(), writer.tally())).collect(),
        }
    }
}
