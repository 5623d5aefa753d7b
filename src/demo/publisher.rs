//! Publishes the cellar's messages over a real connection to a broker.
//!
//! What enters is a cellar and settings; what leaves are MQTT packets, until the publisher is dropped. While there is no
//! connection messages are left out, as with real sensors; what the broker keeps is published again once it is back.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::task::JoinHandle;
use tokio::time::{self, Instant};

use super::cellar::{Cellar, Publication};
use crate::feed::{Event, Session, Settings, SettingsError, Topic};

/// A running publisher; dropping it ends it.
#[derive(Debug)]
pub struct Publisher {
    task: JoinHandle<()>,
}

impl Publisher {
    /// Starts to publish what `cellar` has to say. Must be called in a tokio runtime with network and time.
    ///
    /// # Errors
    /// [`SettingsError`] if the settings contradict themselves.
    pub fn start(cellar: Cellar, settings: &Settings, random: fastrand::Rng) -> Result<Self, SettingsError> {
        let session = Session::new(settings, Vec::new(), random)?;
        Ok(Self { task: tokio::spawn(publish(cellar, session)) })
    }
}

impl Drop for Publisher {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn publish(mut cellar: Cellar, mut session: Session) {
    let start = Instant::now();
    // What the broker should keep, by topic: after a restart it may have forgotten.
    let mut kept = BTreeMap::new();
    loop {
        let due = cellar.next_due().min(Duration::from_secs(3600));
        tokio::select! {
            event = session.next() => if event == Event::Connected {
                for publication in kept.values() {
                    send(&session, publication);
                }
            },
            () = time::sleep_until(start + due) => for publication in cellar.step(start.elapsed()) {
                send(&session, &publication);
                if publication.retain {
                    kept.insert(publication.topic, publication);
                }
            },
        }
    }
}

/// Publishes one message; without a connection it is left out.
fn send(session: &Session, publication: &Publication) {
    if let Ok(topic) = Topic::new(publication.topic) {
        let _ = session.publish(&topic, publication.payload.clone(), publication.retain);
    }
}
