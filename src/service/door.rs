//! A door that takes its layout from the broker, as far as that can be decided without a glass.
//!
//! What enters are payloads under one topic, the time, and what is shown now; what leaves is whether a layout is shown from now on, and
//! what is answered. A layout from the broker must be good: signed if a key was given, without errors, for panels of the same size,
//! and it reads no file but faces in the folder of the layout that it replaces. However many come, only the newest waits, and a few in
//! a minute are looked at.

mod answer;
mod signature;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

pub use answer::{Answer, LARGEST_ANSWER, Verdict};
#[cfg(feature = "publish")]
pub use signature::PrivateKey;
pub use signature::{KeyError, PublicKey, SignatureError};

use super::Loaded;
use super::load::{Reach, compile_within};
use super::throttle::Throttle;
use crate::digest::digest;
use crate::draw::Size;
use crate::feed::{LARGEST_PAYLOAD, Message, Topic, TopicError};
use crate::language::Severity;
use crate::layout::Program;
use crate::readings::Moment;

/// How far apart layouts are looked at, since each is checked, shown and kept on a disk that wears.
const APART: Duration = Duration::from_secs(10);
/// Layouts at once after a quiet time, besides the first.
const BURST: u32 = 2;

/// The topics of a door.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DoorTopics {
    /// Where its layout comes from, retained.
    pub layout: Topic,
    /// Where it answers, retained.
    pub answer: Topic,
}

impl DoorTopics {
    /// What is appended to a door's topic for its answers.
    pub const ANSWER: &str = "/layout/answer";

    /// The topics below `topic`.
    ///
    /// # Errors
    /// [`TopicError`] if `topic` cannot be the beginning of a topic's name.
    pub fn below(topic: &str) -> Result<Self, TopicError> {
        // An empty one is told as such, not as "/layout".
        Topic::new(topic)?;
        let answer = Topic::new(&format!("{topic}{}", Self::ANSWER))?;
        Ok(Self { layout: Topic::new(&format!("{topic}/layout"))?, answer })
    }
}

/// What an installation says about the door that it is; the key is named, not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DoorPlate {
    /// Its topics.
    pub topics: DoorTopics,
    /// The file with the public key of whoever may change its layout.
    pub signed_by: Option<PathBuf>,
}

/// Why a layout from the broker is not shown.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// More bytes than a message may have.
    #[error("it has {bytes} bytes, and at most {LARGEST_PAYLOAD} are taken")]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
    /// Not signed, or not by the one who may.
    #[error(transparent)]
    Signature(#[from] SignatureError),
    /// Errors in the layout.
    #[error("it cannot be shown: {} error{}", errors(layout), if errors(layout) == 1 { "" } else { "s" })]
    Broken {
        /// The layout with its findings.
        layout: Box<Loaded>,
    },
    /// For other panels.
    #[error(
        "it is for a panel of {}x{} pixels, and this door's has {}x{}",
        theirs.width, theirs.height, ours.width, ours.height
    )]
    Size {
        /// What it is for.
        theirs: Size,
        /// What there is.
        ours: Size,
    },
}

fn errors(layout: &Loaded) -> usize {
    layout.findings.iter().filter(|finding| finding.severity == Severity::Error).count()
}

impl Refusal {
    /// The layout whose findings say why.
    pub fn layout(&self) -> Option<&Loaded> {
        if let Self::Broken { layout } = self { Some(layout) } else { None }
    }
}

/// What came from the broker.
#[derive(Debug)]
pub(super) enum Arrival {
    /// A layout, perhaps.
    Payload(Vec<u8>),
    /// Too large to be handed over.
    Oversized {
        /// Its size.
        bytes: usize,
    },
}

/// A door at work.
#[derive(Debug)]
pub struct Door {
    topics: DoorTopics,
    key: Option<PublicKey>,
    /// The newest that came and was not looked at yet.
    waiting: Option<Arrival>,
    throttle: Throttle,
    last: Option<Verdict>,
    /// The layout that could not be written into its file.
    unkept: Option<String>,
    /// The layout that the last answer told of; none if there is something else to tell.
    told: Option<String>,
}

impl Door {
    /// A door at which nothing came yet. With a key, only what that signed is taken.
    pub fn new(topics: DoorTopics, key: Option<PublicKey>) -> Self {
        let throttle = Throttle::with_burst(APART, BURST);
        Self { topics, key, waiting: None, throttle, last: None, unkept: None, told: None }
    }

    /// Its topics.
    pub(super) fn topics(&self) -> &DoorTopics {
        &self.topics
    }

    /// Takes notice of a message. An empty one says that the broker keeps no layout any more, which changes nothing.
    pub(super) fn hear(&mut self, message: &Message) {
        if message.topic == self.topics.layout.as_str() && !message.payload.is_empty() {
            self.waiting = Some(Arrival::Payload(message.payload.clone()));
        }
    }

    /// Takes notice of a message that was too large to be handed over.
    pub(super) fn hear_oversized(&mut self, topic: &str, bytes: usize) {
        if topic == self.topics.layout.as_str() {
            self.waiting = Some(Arrival::Oversized { bytes });
        }
    }

    /// What to look at now.
    pub(super) fn due(&mut self, now: Moment) -> Option<Arrival> {
        self.waiting.as_ref()?;
        self.throttle.admit(now)?;
        self.waiting.take()
    }

    /// When there will be something to look at although nothing happens.
    pub(super) fn next_due(&self) -> Option<Moment> {
        self.waiting.is_some().then(|| self.throttle.next())
    }

    /// Whether what came can be shown on panels of this size, in the place of the layout at `path`.
    pub(super) fn judge(&self, arrival: &Arrival, path: &Path, ours: Size) -> Result<(Loaded, Arc<Program>), Refusal> {
        let payload = match arrival {
            Arrival::Payload(payload) => payload,
            Arrival::Oversized { bytes } => return Err(Refusal::TooLarge { bytes: *bytes }),
        };
        if let Some(key) = &self.key {
            key.check(payload)?;
        }
        let mut layout = compile_within(payload, path, Reach::Beside);
        // Its lines are not those of the file.
        layout.name = self.topics.layout.to_string();
        match layout.program.clone() {
            None => Err(Refusal::Broken { layout: Box::new(layout) }),
            Some(program) if program.size != ours => Err(Refusal::Size { theirs: program.size, ours }),
            Some(program) => Ok((layout, program)),
        }
    }

    /// Keeps in mind what became of a layout; whether that is anything new.
    pub(super) fn conclude(&mut self, arrival: &Arrival, refusal: Option<&Refusal>) -> bool {
        let sha256 = if let Arrival::Payload(payload) = arrival { Some(digest(payload)) } else { None };
        let verdict = match (sha256, refusal) {
            (Some(sha256), None) => Verdict::taken(sha256),
            (sha256, refusal) => {
                let why = refusal.map(ToString::to_string).unwrap_or_default();
                Verdict::refused(sha256, why, refusal.and_then(Refusal::layout))
            }
        };
        self.told = None;
        let is_new = self.last.as_ref() != Some(&verdict);
        self.last = Some(verdict);
        is_new
    }

    /// Takes notice of whether the file holds the layout with this digest.
    pub(super) fn keeps(&mut self, sha256: &str, kept: bool) {
        self.unkept = (!kept).then(|| sha256.into());
        self.told = None;
    }

    /// The broker may be another one: it has to be told again.
    pub(super) fn start_over(&mut self) {
        self.told = None;
    }

    /// What to answer, if the last answer was another: `shows` is the digest of what is shown, on panels of this size.
    pub(super) fn answer(&self, shows: &str, panel: Size) -> Option<Answer> {
        if self.told.as_deref() == Some(shows) {
            return None;
        }
        let kept = self.unkept.as_deref() != Some(shows);
        Some(Answer::new(shows.into(), format!("{}x{}", panel.width, panel.height), kept, self.last.clone()))
    }

    /// The answer is on its way.
    pub(super) fn answered(&mut self, shows: &str) {
        self.told = Some(shows.into());
    }
}

#[cfg(test)]
mod tests;
