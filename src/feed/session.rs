//! The session with the broker: connects, subscribes, hands over messages, and connects again when it must.
//!
//! What enters are settings and filters; what leaves, one at a time, are [`Event`]s. It works while [`Session::next`] is
//! awaited and a few events ahead of it, then it makes the broker wait: memory stays bounded however fast messages come.

use std::sync::Arc;
use std::task::{Context, Poll, Waker};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio::time::{self, Instant};

use super::backoff::BackOff;
use super::filter::{Filter, Topic};
use super::link::{Client, Dial, Link, Signal};
use super::reason::{FilterRefusal, Reason};
use super::settings::{Delivery, Settings, SettingsError};

/// The largest payload that is handed over, in bytes. A reading is a few dozen.
pub const LARGEST_PAYLOAD: usize = 64 * 1024;
/// Events that may wait to be taken.
const AHEAD: usize = 32;
/// How long the broker may take to answer a subscription.
const ANSWER: Duration = Duration::from_secs(10);
/// Filters in one packet, and their bytes.
const FILTERS_AT_A_TIME: usize = 64;
const FILTER_BYTES_AT_A_TIME: usize = 64 * 1024;

/// A published message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The topic it was published under.
    pub topic: String,
    /// Its bytes, as they came.
    pub payload: Vec<u8>,
    /// Whether the broker had kept it, for a time that nobody knows, rather than passed it on as it came.
    pub retained: bool,
    /// How hard the broker tried to deliver it: the lesser of what its publisher and what its subscriber asked for.
    pub delivery: Delivery,
}

/// What happened in a session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// The broker accepted the connection; the filters are being subscribed.
    Connected,
    /// The broker does not accept one of the filters; the others go on.
    FilterRefused {
        /// The filter.
        filter: Filter,
        /// Why.
        why: FilterRefusal,
    },
    /// The broker has answered every filter: from here on nothing is missed.
    Subscribed,
    /// A message.
    Message(Message),
    /// A message whose payload was larger than [`LARGEST_PAYLOAD`], and was dropped.
    Oversized {
        /// The topic it was published under.
        topic: String,
        /// The size of its payload.
        bytes: usize,
    },
    /// The connection ended or did not come about.
    Lost {
        /// Why, and what to do.
        reason: Reason,
        /// When the next attempt will be.
        retry_in: Duration,
    },
}

/// Why a message was not published.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PublishError {
    /// There is no connection.
    #[error("there is no connection to the broker: publish again once it is back")]
    Offline,
    /// Too many wait already.
    #[error("the broker takes messages more slowly than they come: leave this one out, or publish it again later")]
    Busy,
    /// More bytes than a session would accept itself.
    #[error("a payload of {bytes} bytes is too large: publish at most {LARGEST_PAYLOAD}")]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
}

/// A session with one broker, which lasts through any number of connections.
pub struct Session {
    dial: Dial,
    filters: Arc<[Filter]>,
    waits: BackOff,
    stage: Stage,
    oversized: u64,
}

enum Stage {
    /// No connection until then.
    Waiting(Instant),
    /// A connection at work in a task of its own, so that awaiting its events may be given up at any time.
    Running { events: mpsc::Receiver<Event>, client: Client, accepted: bool, task: JoinSet<Ending> },
}

/// How a connection ended.
struct Ending {
    reason: Reason,
    lasted: Duration,
}

impl Session {
    /// A session that subscribes to `filters`; it begins to connect with the first [`Session::next`]. `random` decides how
    /// much the waits between attempts stray.
    ///
    /// # Errors
    /// [`SettingsError`] if the settings contradict themselves or the certificates cannot be read.
    pub fn new(settings: &Settings, filters: Vec<Filter>, random: fastrand::Rng) -> Result<Self, SettingsError> {
        Ok(Self {
            dial: Dial::new(settings)?,
            filters: filters.into(),
            waits: BackOff::new(random),
            stage: Stage::Waiting(Instant::now()),
            oversized: 0,
        })
    }

    /// The same session, which subscribes to these filters instead; to be asked for before the first [`Session::next`].
    pub fn hearing(self, filters: Vec<Filter>) -> Self {
        Self { filters: filters.into(), ..self }
    }

    /// Waits for the next event. To give up waiting loses nothing, so that it may stand in a `select!`. Must be awaited in a
    /// tokio runtime with network and time.
    pub async fn next(&mut self) -> Event {
        loop {
            match &mut self.stage {
                Stage::Waiting(until) => {
                    time::sleep_until(*until).await;
                    self.stage = self.connect();
                }
                Stage::Running { events, accepted, task, .. } => match events.recv().await {
                    Some(event) => {
                        match event {
                            Event::Connected => *accepted = true,
                            Event::Oversized { .. } => self.oversized += 1,
                            _ => {}
                        }
                        return event;
                    }
                    None => {
                        let Ending { reason, lasted } = match task.join_next().await {
                            Some(Ok(ending)) => ending,
                            // The client library broke on what it read: the next connection starts afresh.
                            _ => Ending {
                                reason: self.dial.not_mqtt("a packet that broke the reader"),
                                lasted: Duration::ZERO,
                            },
                        };
                        let retry_in = self.waits.after(lasted);
                        self.stage = Stage::Waiting(Instant::now() + retry_in);
                        return Event::Lost { reason, retry_in };
                    }
                },
            }
        }
    }

    /// The next event, if there is one already.
    pub fn received(&mut self) -> Option<Event> {
        let mut next = std::pin::pin!(self.next());
        match next.as_mut().poll(&mut Context::from_waker(Waker::noop())) {
            Poll::Ready(event) => Some(event),
            Poll::Pending => None,
        }
    }

    /// Starts a connection in a task, which ends when the stage is dropped.
    fn connect(&self) -> Stage {
        let (client, link) = self.dial.open();
        let (sender, events) = mpsc::channel(AHEAD);
        let mut task = JoinSet::new();
        let conversation =
            Conversation { client: client.clone(), link, filters: Arc::clone(&self.filters), events: sender };
        task.spawn(conversation.hold());
        Stage::Running { events, client, accepted: false, task }
    }

    /// Hands a message to the broker. It is sent while [`Session::next`] is awaited, and lost if the connection ends first:
    /// nothing is kept for later.
    ///
    /// # Errors
    /// [`PublishError`] if there is no connection, or it has no room for the message.
    pub fn publish(&self, topic: &Topic, payload: Vec<u8>, retain: bool) -> Result<(), PublishError> {
        if payload.len() > LARGEST_PAYLOAD {
            return Err(PublishError::TooLarge { bytes: payload.len() });
        }
        match &self.stage {
            Stage::Running { client, accepted: true, events, .. } if !events.is_closed() => {
                if client.publish(topic, payload, retain) { Ok(()) } else { Err(PublishError::Busy) }
            }
            _ => Err(PublishError::Offline),
        }
    }

    /// Takes leave of the broker, which then does not publish the last will, and waits for the end of the connection, at most
    /// `patience`. What comes in the meantime is lost.
    pub async fn leave(mut self, patience: Duration) {
        if matches!(&self.stage, Stage::Running { client, accepted: true, .. } if client.say_farewell()) {
            let ended = async { while !matches!(self.next().await, Event::Lost { .. }) {} };
            // Who does not answer is left all the same.
            let _ = time::timeout(patience, ended).await;
        }
    }

    /// How many payloads were larger than [`LARGEST_PAYLOAD`] so far.
    pub fn oversized(&self) -> u64 {
        self.oversized
    }
}

/// One connection from its beginning to its end.
struct Conversation {
    client: Client,
    link: Link,
    filters: Arc<[Filter]>,
    events: mpsc::Sender<Event>,
}

/// How far the subscriptions of a connection are.
struct Progress {
    /// When the broker accepted the connection.
    since: Option<Instant>,
    /// How many filters have been answered.
    answered: usize,
    /// How many filters the broker has yet to answer, and until when.
    asked: Option<(usize, Instant)>,
}

impl Conversation {
    /// Connects, subscribes and passes events on until the connection ends. The events end with it.
    async fn hold(mut self) -> Ending {
        let mut progress = Progress { since: None, answered: 0, asked: None };
        let reason = loop {
            self.ask(&mut progress);
            // The library asks for signs of life itself; this catches it being stuck on a full socket.
            let silence = Instant::now() + 2 * self.link.keep_alive() + ANSWER;
            let limit = progress.asked.map_or(silence, |(_, until)| until.min(silence));
            match time::timeout_at(limit, self.link.poll()).await {
                Ok(Ok(signal)) => match self.pass_on(signal, &mut progress).await {
                    Ok(()) => {}
                    Err(reason) => break reason,
                },
                Ok(Err(reason)) => {
                    for signal in self.link.rest() {
                        if self.pass_on(signal, &mut progress).await.is_err() {
                            break;
                        }
                    }
                    break reason;
                }
                Err(_) if progress.asked.is_some() => break Reason::Unanswered,
                Err(_) => break self.link.timed_out(),
            }
        };
        Ending { reason, lasted: progress.since.map_or(Duration::ZERO, |since| since.elapsed()) }
    }

    /// Asks for the next filters once the last ones have been answered, so that no number of filters fills the queue of
    /// requests, and answers can be told apart.
    fn ask(&self, progress: &mut Progress) {
        let rest = &self.filters[progress.answered..];
        if progress.since.is_none() || progress.asked.is_some() || rest.is_empty() {
            return;
        }
        let mut bytes = 0;
        let fits = |filter: &&Filter| {
            bytes += filter.as_str().len();
            bytes <= FILTER_BYTES_AT_A_TIME
        };
        let count = rest.iter().take(FILTERS_AT_A_TIME).take_while(fits).count().max(1);
        // Without room in the queue the next turn tries again.
        if self.client.subscribe(&rest[..count]) {
            progress.asked = Some((count, Instant::now() + ANSWER));
        }
    }

    /// Passes on what a signal means; an error ends the connection.
    async fn pass_on(&mut self, signal: Signal, progress: &mut Progress) -> Result<(), Reason> {
        let event = match signal {
            Signal::Nothing => return Ok(()),
            Signal::Message(message) => Event::Message(message),
            Signal::Oversized { topic, bytes } => Event::Oversized { topic, bytes },
            Signal::Connected => {
                progress.since = Some(Instant::now());
                send(&self.events, Event::Connected).await?;
                return if self.filters.is_empty() { send(&self.events, Event::Subscribed).await } else { Ok(()) };
            }
            Signal::Answered(answers) => {
                let asked = progress.asked.take().map_or(0, |(count, _)| count);
                if answers.len() != asked {
                    return Err(self.link.not_mqtt("an answer to a subscription that was not asked for"));
                }
                for (filter, answer) in self.filters[progress.answered..].iter().zip(answers) {
                    if let Err(why) = answer {
                        send(&self.events, Event::FilterRefused { filter: filter.clone(), why }).await?;
                    }
                }
                progress.answered += asked;
                if progress.answered < self.filters.len() {
                    return Ok(());
                }
                Event::Subscribed
            }
        };
        send(&self.events, event).await
    }
}

/// Waits for room among the events. Without anybody to take them the connection has no use any more.
async fn send(events: &mpsc::Sender<Event>, event: Event) -> Result<(), Reason> {
    events.send(event).await.map_err(|_| Reason::Closed)
}
