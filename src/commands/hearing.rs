//! Hearing what a broker publishes, for a while: what `listen` and `record` have in common.
//!
//! What enters are filters, a broker and a time; what leaves are events, one at a time, and ticks between them. It ends after its time,
//! at a signal, or when the listener has enough.

use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use tokio::signal::unix::{SignalKind, signal};
use tokio::time::{MissedTickBehavior, interval, sleep_until};

use super::connection::Connection;
use super::{Failure, spans};
use crate::feed::{Event, Filter, Session, Settings};

/// What to hear, and for how long
#[derive(Debug, clap::Args)]
pub(super) struct Hearing {
    /// What to subscribe to: topics, with `+` for one level and a last `#` for all that follow
    #[arg(required = true, value_name = "FILTER")]
    filters: Vec<Filter>,
    /// Where the broker is: mqtt://host:port, or mqtts://host:port for TLS
    #[arg(long, value_name = "URL")]
    broker: String,
    /// For how long, such as 30s, 5min or 24h; until Ctrl-C if left out
    #[arg(long = "for", value_name = "TIME", value_parser = spans::parse)]
    time: Option<Duration>,
    #[command(flatten)]
    connection: Connection,
}

/// Something that the listener is told.
pub(super) enum Turn {
    /// What the session says.
    Event(Event),
    /// A little time has passed.
    Tick,
}

impl Hearing {
    /// What is subscribed to.
    pub(super) fn filters(&self) -> &[Filter] {
        &self.filters
    }

    /// For how long.
    pub(super) fn time(&self) -> Option<Duration> {
        self.time
    }

    /// What it does, for the line that says so once nothing is missed any more.
    pub(super) fn words(&self) -> String {
        let filters: Vec<String> =
            self.filters.iter().map(|filter| filter.as_str().escape_debug().to_string()).collect();
        format!("listening to {}", filters.join(", "))
    }

    /// Hears until the end and tells `listener` each event, and a tick in each `tick`.
    ///
    /// # Errors
    /// What keeps the session from beginning, what the listener says, and the last reason where the broker never answered.
    pub(super) fn hear(
        &self,
        tick: Duration,
        listener: &mut dyn FnMut(Turn) -> Result<ControlFlow<()>, Failure>,
    ) -> Result<(), Failure> {
        let mut random = fastrand::Rng::new();
        let settings = self.connection.broker(&self.broker)?.settings(&mut random).map_err(outside)?;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
        runtime.block_on(self.listen(&settings, random, tick, listener))
    }

    async fn listen(
        &self,
        settings: &Settings,
        random: fastrand::Rng,
        tick: Duration,
        listener: &mut dyn FnMut(Turn) -> Result<ControlFlow<()>, Failure>,
    ) -> Result<(), Failure> {
        let mut session = Session::new(settings, self.filters.clone(), random).map_err(outside)?;
        let mut terminate = signal(SignalKind::terminate()).map_err(outside)?;
        let mut interrupt = signal(SignalKind::interrupt()).map_err(outside)?;
        let end = self.time.and_then(|time| Instant::now().checked_add(time));
        let mut ticks = interval(tick);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        // Why there never was a connection.
        let mut missing = None;
        let mut connected = false;
        loop {
            let over = async { sleep_until(end.unwrap_or_else(Instant::now).into()).await };
            let turn = tokio::select! {
                biased;
                _ = terminate.recv() => break,
                _ = interrupt.recv() => break,
                () = over, if end.is_some() => break,
                _ = ticks.tick() => Turn::Tick,
                event = session.next() => Turn::Event(event),
            };
            match &turn {
                Turn::Event(Event::Connected) => connected = true,
                Turn::Event(Event::Lost { reason, .. }) if !connected => missing = Some(reason.to_string()),
                _ => {}
            }
            if listener(turn)?.is_break() {
                break;
            }
        }
        match missing.filter(|_| !connected) {
            Some(reason) => Err(Failure::Outside(reason)),
            None => Ok(()),
        }
    }
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}
