//! The session with the broker, over real sockets: against the demo's broker, against one that misbehaves byte by byte, and
//! over TLS. (Promise: it stays up.)

#[cfg(feature = "demo")]
mod deliveries;
mod fake;
mod farewell;
mod faults;
mod refusals;
mod tls;

use std::net::SocketAddr;
use std::time::Duration;

use sidelight::feed::{Event, Filter, Message, Protocol, Session, Settings};
use tokio::time;

/// How long to wait for something that must happen; far longer than it takes.
const PATIENCE: Duration = Duration::from_secs(20);

const BOTH: [Protocol; 2] = [Protocol::V3, Protocol::V5];

fn settings(broker: SocketAddr, protocol: Protocol) -> Settings {
    let url = format!("mqtt://{broker}").parse().unwrap();
    Settings { protocol, ..Settings::new(url, &mut fastrand::Rng::new()) }
}

fn session(settings: &Settings, filters: &[&str]) -> Session {
    let filters = filters.iter().map(|filter| Filter::new(filter).unwrap()).collect();
    Session::new(settings, filters, fastrand::Rng::with_seed(1)).unwrap()
}

async fn next(session: &mut Session) -> Event {
    time::timeout(PATIENCE, session.next()).await.expect("an event should have come")
}

/// Waits for the next message, passing over others.
async fn message(session: &mut Session) -> Message {
    loop {
        if let Event::Message(message) = next(session).await {
            return message;
        }
    }
}

/// The next event, which must be a loss.
async fn loss(session: &mut Session) -> (sidelight::feed::Reason, Duration) {
    match next(session).await {
        Event::Lost { reason, retry_in } => (reason, retry_in),
        other => panic!("expected a loss, found {other:?}"),
    }
}
