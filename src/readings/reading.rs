//! One reading: the last number heard, and whether it can be believed.
//!
//! Decoded payloads and the time enter; a [`State`], a number and an age leave. The rules:
//!
//! - Nothing heard yet is `waiting`.
//! - A good live message makes it `live`, until it is older than the limit; then it is `stale`, and keeps its number.
//! - A message that cannot be decoded, is not finite or is out of range makes it `faulty`, until a good one comes. Silence does not
//!   mend a fault, and a faulty reading gives no number.
//! - A number that jumps further than is credible is rejected and changes nothing, until a second one near it confirms it.
//! - A retained message is of unknown age, so that its number is `stale` until a live one comes; where there is no age limit, it is
//!   as good as a live one. Brokers send retained messages again after each reconnection: one that only repeats the number held
//!   changes nothing.
//! - When its publisher is said to be gone, its number is `stale` at once, until the next live one comes.

use std::fmt;
use std::time::Duration;

use super::cadence::Cadence;
use super::trust::Memory;
use super::{DecodeError, Excerpt, Moment, Sample, Smooth, Spot, State, Trust};

/// What a layout asks of a reading.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// The lowest and the highest number that can be true, in the reading's unit; `None` for any.
    pub range: Option<(f64, f64)>,
    /// How old a number may be; `None` for any age.
    pub stale: Option<Duration>,
    /// How far its numbers are trusted.
    pub trust: Trust,
}

/// A number with its standing, over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    limits: Limits,
    standing: Standing,
    memory: Memory,
    cadence: Cadence,
    refused: Option<Jump>,
    publisher: Publisher,
    counts: Counts,
}

/// A number that was rejected because it was too far from the one before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// The number.
    pub value: f64,
    /// The last one believed.
    pub last: f64,
    /// The largest change that is credible in a minute.
    pub credible: f64,
}

impl fmt::Display for Jump {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { value, last, credible } = self;
        // Debug keeps huge numbers short.
        write!(f, "{value:?} is too far from {last:?}, more than {credible:?} a minute")
    }
}

/// What is known of who publishes a reading, besides its numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Publisher {
    /// Nothing speaks against it being there.
    #[default]
    There,
    /// It is gone, as its last will says.
    Gone,
    /// It was gone, came back, and has sent no number since.
    Back,
}

/// What the last message left behind.
#[derive(Clone, Debug, PartialEq)]
enum Standing {
    Waiting,
    Good { value: f64, heard: Heard },
    Faulty { fault: Fault, heard: Heard },
}

/// When a message came to be.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Heard {
    /// Came in at this moment, and was so old then, as far as can be told.
    At(Moment, Duration),
    /// Kept by the broker since nobody knows when.
    Retained,
    /// Too old whatever the limit: asked for when a picture of that state is wanted.
    TooOld,
}

/// Why a reading is faulty.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// The payload gave no number.
    Undecodable(DecodeError),
    /// The number cannot be true.
    OutOfRange {
        /// The number.
        value: f64,
        /// The lowest that can be true.
        low: f64,
        /// The highest that can be true.
        high: f64,
    },
    /// Nothing came in; the fault was asked for, so that a picture shows it.
    Asked,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Undecodable(error) => error.fmt(f),
            // Debug keeps huge numbers short.
            Self::OutOfRange { value, low, high } => write!(f, "{value:?} is out of range {low:?} to {high:?}"),
            Self::Asked => f.write_str("set to faulty by hand"),
        }
    }
}

/// How many messages were taken and refused, by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Good messages, also retained ones.
    pub accepted: u64,
    /// Payloads that gave no number, and were not too long.
    pub undecodable: u64,
    /// Payloads that were not looked at because of their length.
    pub too_long: u64,
    /// Numbers that were not finite.
    pub not_finite: u64,
    /// Numbers out of range.
    pub out_of_range: u64,
    /// Numbers that jumped further than is credible.
    pub jumps: u64,
}

impl Counts {
    /// All refused messages.
    pub fn rejected(self) -> u64 {
        self.undecodable + self.too_long + self.not_finite + self.out_of_range + self.jumps
    }
}

/// What a message did to a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// Its number is the reading's now.
    Accepted,
    /// It was a retained message with the number that the reading has already.
    Repeated,
    /// It brought no number, but told whether the publisher is there.
    Presence,
    /// It made the reading faulty, or was a jump that nothing has confirmed yet.
    Rejected,
}

impl Reading {
    /// A reading that waits for its first message.
    pub fn new(limits: Limits) -> Self {
        Self {
            limits,
            standing: Standing::Waiting,
            memory: Memory::default(),
            cadence: Cadence::default(),
            refused: None,
            publisher: Publisher::There,
            counts: Counts::default(),
        }
    }

    /// Takes in what a payload gave.
    pub fn accept<S: Into<Sample>>(&mut self, decoded: Result<S, DecodeError>, retained: bool, now: Moment) -> Event {
        let decoded = decoded.map(Into::into);
        let aged = decoded.as_ref().map_or(Duration::ZERO, |sample: &Sample| sample.age);
        let heard = if retained { Heard::Retained } else { Heard::At(now, aged) };
        let judged = match decoded {
            Ok(Sample { value: raw, .. }) => self.judge(self.limits.trust.calibrated(raw), heard),
            Err(error) => Standing::Faulty { fault: Fault::Undecodable(error), heard },
        };
        match judged {
            Standing::Good { value, .. } => {
                let held = matches!(self.standing, Standing::Good { .. });
                if retained && held && self.memory.repeats(value) {
                    return Event::Repeated;
                }
                let jump = self.limits.trust.jump.filter(|_| !retained);
                if let (Some(last), Some(credible)) = (self.memory.doubt(value, jump, now), jump) {
                    self.refused = Some(Jump { value, last, credible });
                    self.counts.jumps += 1;
                    return Event::Rejected;
                }
                self.hear_live(retained, now);
                self.counts.accepted += 1;
                let live = (!retained).then_some(now);
                let value = self.memory.smoothed(value, self.limits.trust.smooth, live, self.age_limit());
                self.standing = Standing::Good { value, heard };
                if !retained {
                    self.publisher = Publisher::There;
                }
                Event::Accepted
            }
            judged => {
                self.hear_live(retained, now);
                *self.counter(&judged) += 1;
                self.standing = judged;
                Event::Rejected
            }
        }
    }

    /// Lets the cadence know of a live message. A rejected jump is none: a longer limit must not make the number that it leaves in
    /// place live again.
    fn hear_live(&mut self, retained: bool, now: Moment) {
        if !retained {
            self.cadence.heard(now);
        }
    }

    /// Takes in whether the publisher is there.
    pub fn hear_presence(&mut self, there: bool) {
        self.publisher = match (there, self.publisher) {
            (false, _) => Publisher::Gone,
            (true, Publisher::Gone) => Publisher::Back,
            (true, known) => known,
        };
    }

    /// What is known of the publisher.
    pub fn publisher(&self) -> Publisher {
        self.publisher
    }

    /// What counts messages that leave a reading so.
    fn counter(&mut self, refused: &Standing) -> &mut u64 {
        let counts = &mut self.counts;
        match refused {
            Standing::Faulty { fault: Fault::OutOfRange { .. }, .. } => &mut counts.out_of_range,
            Standing::Faulty { fault: Fault::Undecodable(DecodeError::TooLong { .. }), .. } => &mut counts.too_long,
            Standing::Faulty { fault: Fault::Undecodable(error), .. } if error.is_not_finite() => {
                &mut counts.not_finite
            }
            _ => &mut counts.undecodable,
        }
    }

    /// Where a calibrated number leaves the reading, as far as its range goes.
    fn judge(&self, value: f64, heard: Heard) -> Standing {
        if !value.is_finite() {
            let found = Excerpt::of(format!("{value} after calibration").as_bytes());
            let fault = Fault::Undecodable(DecodeError::NotFinite { spot: Spot::Whole, found });
            return Standing::Faulty { fault, heard };
        }
        match self.limits.range {
            Some((low, high)) if !(low <= value && value <= high) => {
                Standing::Faulty { fault: Fault::OutOfRange { value, low, high }, heard }
            }
            _ => Standing::Good { value, heard },
        }
    }

    /// How old its number may be: what the layout says, or what the publisher's cadence suggests.
    pub fn age_limit(&self) -> Option<Duration> {
        let learned = if self.limits.trust.cadence { self.cadence.limit() } else { None };
        learned.or(self.limits.stale)
    }

    /// The last number that was rejected as a jump, if there was one.
    pub fn refused(&self) -> Option<Jump> {
        self.refused
    }

    /// Whether the reading can be believed at `now`.
    pub fn state(&self, now: Moment) -> State {
        match self.standing {
            Standing::Waiting => State::Waiting,
            Standing::Faulty { .. } => State::Faulty,
            Standing::Good { heard, .. } => {
                let fresh = match (heard, self.age_limit()) {
                    (Heard::TooOld, _) => false,
                    _ if self.publisher != Publisher::There => false,
                    (_, None) => true,
                    (Heard::Retained, Some(_)) => false,
                    (Heard::At(moment, aged), Some(limit)) => now.since(moment).saturating_add(aged) <= limit,
                };
                if fresh { State::Live } else { State::Stale }
            }
        }
    }

    /// The last good number, also while it is stale; `None` while waiting or faulty.
    pub fn value(&self) -> Option<f64> {
        match self.standing {
            Standing::Good { value, .. } => Some(value),
            _ => None,
        }
    }

    /// Why it is faulty, while it is.
    pub fn fault(&self) -> Option<&Fault> {
        match &self.standing {
            Standing::Faulty { fault, .. } => Some(fault),
            _ => None,
        }
    }

    /// How long ago the last message was published, good or bad; `None` where nobody can know: while waiting, and after a retained
    /// message.
    pub fn age(&self, now: Moment) -> Option<Duration> {
        match self.standing {
            Standing::Good { heard: Heard::At(moment, aged), .. }
            | Standing::Faulty { heard: Heard::At(moment, aged), .. } => Some(now.since(moment).saturating_add(aged)),
            _ => None,
        }
    }

    /// The first moment at which the state will have changed although nothing came in; `None` if it will not.
    pub fn next_change(&self, now: Moment) -> Option<Moment> {
        match (&self.standing, self.age_limit()) {
            (Standing::Good { heard: Heard::At(moment, aged), .. }, Some(limit)) if self.state(now) == State::Live => {
                Some(*moment + limit.saturating_sub(*aged) + Duration::from_nanos(1))
            }
            _ => None,
        }
    }

    /// How many messages were taken and refused.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// What the layout asks of it.
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// Puts the reading into `state`, for a picture of it. A live or stale `value` that is out of range or not finite makes it
    /// faulty, as a message would; while waiting or faulty there is no value, and the one given is not looked at.
    pub fn set(&mut self, value: f64, state: State, now: Moment) {
        let heard = if state == State::Live { Heard::At(now, Duration::ZERO) } else { Heard::TooOld };
        self.standing = match state {
            State::Waiting => Standing::Waiting,
            State::Faulty => Standing::Faulty { fault: Fault::Asked, heard: Heard::TooOld },
            State::Live | State::Stale if !value.is_finite() => Standing::Faulty { fault: Fault::Asked, heard },
            State::Live | State::Stale => self.judge(value, heard),
        };
        self.publisher = Publisher::There;
        self.memory = Memory::default();
        if let Standing::Good { value, .. } = self.standing {
            self.memory.smoothed(value, Smooth::Off, None, None);
        }
    }

    /// Goes on from where `old` was, under this reading's own limits: a number that `old` found out of range may be good here,
    /// and the other way about. Smoothing goes on where it is the same, and begins with the last number otherwise. A number that was
    /// calibrated in another way is none for this reading, which then waits. Counts and cadence go on in any case.
    /// So does what is known of the publisher, if both readings hear of it in the same way.
    pub fn carry_over(&mut self, old: &Reading, same_presence: bool) {
        self.counts = old.counts;
        if same_presence {
            self.publisher = old.publisher;
        }
        self.cadence = old.cadence;
        let (trust, before) = (self.limits.trust, old.limits.trust);
        if !trust.same_calibration(&before) {
            return;
        }
        let same = trust.smooth == before.smooth && self.limits.range == old.limits.range;
        self.memory = if same { old.memory.clone() } else { old.memory.without_smoothing() };
        self.refused = old.refused;
        self.standing = match &old.standing {
            Standing::Good { value, heard } => {
                let value = if same { *value } else { old.memory.last().unwrap_or(*value) };
                self.judge(value, *heard)
            }
            Standing::Faulty { fault: Fault::OutOfRange { value, .. }, heard } => self.judge(*value, *heard),
            standing => standing.clone(),
        };
    }
}

#[cfg(test)]
mod tests;
