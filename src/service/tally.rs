//! The tally of a panel: how it is, and what was sent to it, for whoever asks in another thread.
//!
//! What enters is told by the panel's writer; what leaves are numbers, and a call when the panel is another than before. A tally
//! decides nothing and holds nobody up.

use std::fmt::Display;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use tokio::sync::Notify;

use crate::panel::Traffic;

/// How a panel is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Nothing has been shown yet.
    #[default]
    Waiting,
    /// It shows its picture.
    Shows,
    /// It does not, for this reason.
    Trouble(String),
}

/// What a writer did so far.
#[derive(Debug, Default)]
pub struct Tally {
    frames: AtomicU64,
    bytes: AtomicU64,
    failures: AtomicU64,
    standing: Mutex<Standing>,
    listener: OnceLock<Arc<Notify>>,
}

impl Tally {
    /// Has `listener` called whenever the panel is another than before. The first one stays.
    pub fn call(&self, listener: Arc<Notify>) {
        // Two listeners would be one too many: the service is the only one.
        let _ = self.listener.set(listener);
    }

    /// Frames that reached the panel, also those in which no pixel was new.
    pub fn frames(&self) -> u64 {
        self.frames.load(Ordering::Relaxed)
    }

    /// Bytes on the bus for those frames, address bytes included; what sets up a panel is not counted.
    pub fn bytes(&self) -> u64 {
        self.bytes.load(Ordering::Relaxed)
    }

    /// Attempts to show something that failed.
    pub fn failures(&self) -> u64 {
        self.failures.load(Ordering::Relaxed)
    }

    /// How the panel is.
    pub fn standing(&self) -> Standing {
        self.lock().clone()
    }

    /// A frame went over the bus.
    pub(super) fn sent(&self, traffic: Traffic) {
        self.frames.fetch_add(1, Ordering::Relaxed);
        self.bytes.fetch_add(traffic.bytes, Ordering::Relaxed);
    }

    /// The panel shows its picture.
    pub(super) fn shows(&self) {
        self.stand(Standing::Shows);
    }

    /// An attempt failed.
    pub(super) fn fails(&self, why: &impl Display) {
        self.failures.fetch_add(1, Ordering::Relaxed);
        self.stand(Standing::Trouble(why.to_string()));
    }

    fn stand(&self, standing: Standing) {
        let mut now = self.lock();
        if *now == standing {
            return;
        }
        *now = standing;
        drop(now);
        if let Some(listener) = self.listener.get() {
            listener.notify_one();
        }
    }

    fn lock(&self) -> MutexGuard<'_, Standing> {
        // A standing is whole after every statement that changes it.
        self.standing.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;

    #[tokio::test(flavor = "current_thread")]
    async fn only_a_panel_that_is_another_calls() {
        let (tally, listener) = (Tally::default(), Arc::new(Notify::new()));
        tally.call(Arc::clone(&listener));
        let called = async || timeout(Duration::ZERO, listener.notified()).await.is_ok();
        tally.shows();
        assert!(called().await);
        tally.sent(Traffic { transactions: 2, bytes: 40 });
        tally.shows();
        assert!(!called().await);
        tally.fails(&"no answer");
        assert!(called().await);
        tally.fails(&"no answer");
        assert!(!called().await);
        assert_eq!(tally.standing(), Standing::Trouble("no answer".into()));
        assert_eq!((tally.frames(), tally.bytes(), tally.failures()), (1, 40, 2));
    }
}
