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
        if !retained {
            self.cadence.heard(now);
        }
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
                *self.counter(&judged) += 1;
                self.standing = judged;
                Event::Rejected
            }
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
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LIMITS: Limits =
        Limits { range: Some((-10.0, 40.0)), stale: Some(Duration::from_secs(45)), trust: Trust::PLAIN };

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn garbage() -> Result<f64, DecodeError> {
        Err(DecodeError::Empty)
    }

    fn live(value: f64) -> Reading {
        let mut reading = Reading::new(LIMITS);
        assert_eq!(reading.accept(Ok(value), false, at(100)), Event::Accepted);
        reading
    }

    #[test]
    fn waits_lives_and_grows_stale() {
        let reading = Reading::new(LIMITS);
        assert_eq!((reading.state(at(1_000_000)), reading.value(), reading.age(at(5))), (State::Waiting, None, None));
        assert_eq!(reading.next_change(at(0)), None);

        let reading = live(12.4);
        let change = reading.next_change(at(100)).unwrap();
        assert_eq!(reading.state(at(145)), State::Live);
        assert_eq!(change, at(145) + Duration::from_nanos(1));
        assert_eq!(reading.state(change), State::Stale);
        assert_eq!((reading.value(), reading.age(at(160))), (Some(12.4), Some(Duration::from_secs(60))));
        assert_eq!(reading.next_change(change), None);
    }

    #[test]
    fn without_a_limit_nothing_grows_stale() {
        let mut reading = Reading::new(Limits { stale: None, ..LIMITS });
        reading.accept(Ok(1.0), true, at(0));
        assert_eq!((reading.state(at(1 << 40)), reading.age(at(5))), (State::Live, None));
        reading.accept(Ok(2.0), false, at(0));
        assert_eq!((reading.state(at(1 << 40)), reading.next_change(at(0))), (State::Live, None));
    }

    #[test]
    fn a_fault_hides_the_number_until_a_good_one_comes() {
        let mut reading = live(12.4);
        assert_eq!(reading.accept(garbage(), false, at(110)), Event::Rejected);
        assert_eq!((reading.state(at(110)), reading.value()), (State::Faulty, None));
        assert_eq!(reading.fault(), Some(&Fault::Undecodable(DecodeError::Empty)));
        assert_eq!((reading.state(at(100_000)), reading.next_change(at(110))), (State::Faulty, None));
        assert_eq!(reading.accept(Ok(40.1), false, at(120)), Event::Rejected);
        assert_eq!(reading.fault().unwrap().to_string(), "40.1 is out of range -10.0 to 40.0");
        assert_eq!(reading.accept(Ok(40.0), false, at(130)), Event::Accepted);
        assert_eq!((reading.state(at(130)), reading.value(), reading.fault()), (State::Live, Some(40.0), None));
    }

    #[test]
    fn retained_messages_are_stale_until_a_live_one_comes() {
        let mut reading = Reading::new(LIMITS);
        assert_eq!(reading.accept(Ok(12.0), true, at(0)), Event::Accepted);
        assert_eq!((reading.state(at(0)), reading.value(), reading.age(at(9))), (State::Stale, Some(12.0), None));
        assert_eq!(reading.accept(Ok(12.0), true, at(1)), Event::Repeated);
        assert_eq!(reading.state(at(1)), State::Stale);
        reading.accept(Ok(12.0), false, at(2));
        assert_eq!(reading.state(at(2)), State::Live);
    }

    #[test]
    fn a_retained_repetition_after_a_reconnection_changes_nothing() {
        let mut reading = live(12.4);
        let before = reading.clone();
        assert_eq!(reading.accept(Ok(12.4), true, at(110)), Event::Repeated);
        assert_eq!(reading, before);
        assert_eq!(reading.accept(Ok(12.5), true, at(111)), Event::Accepted);
        assert_eq!((reading.state(at(111)), reading.value()), (State::Stale, Some(12.5)));
        assert_eq!(reading.accept(garbage(), true, at(112)), Event::Rejected);
        assert_eq!((reading.state(at(112)), reading.age(at(200))), (State::Faulty, None));
        assert_eq!(reading.accept(Ok(12.5), true, at(113)), Event::Accepted);
        assert_eq!(reading.state(at(113)), State::Stale);
    }

    #[test]
    fn refusals_are_counted_by_reason() {
        let mut reading = live(12.4);
        reading.accept(garbage(), false, at(1));
        reading.accept(Err(DecodeError::TooLong { length: 70_000 }), false, at(1));
        for payload in [&b"nan"[..], b"1e999", b"99"] {
            reading.accept(super::super::Pick::number().decode(payload), false, at(1));
        }
        let counts = Counts { accepted: 1, undecodable: 1, too_long: 1, not_finite: 2, out_of_range: 1, jumps: 0 };
        assert_eq!((reading.counts(), reading.counts().rejected()), (counts, 5));
    }

    #[test]
    fn states_can_be_set_for_a_picture() {
        let mut reading = Reading::new(LIMITS);
        for state in [State::Live, State::Stale] {
            reading.set(12.4, state, at(7));
            assert_eq!((reading.state(at(7)), reading.value()), (state, Some(12.4)));
        }
        for state in [State::Waiting, State::Faulty] {
            reading.set(12.4, state, at(7));
            assert_eq!((reading.state(at(7)), reading.value()), (state, None));
        }
        for wrong in [41.0, f64::NAN] {
            reading.set(wrong, State::Live, at(7));
            assert_eq!(reading.state(at(7)), State::Faulty);
        }
        let mut unlimited = Reading::new(Limits::default());
        unlimited.set(12.4, State::Stale, at(7));
        assert_eq!(unlimited.state(at(7)), State::Stale);
    }

    #[test]
    fn what_is_carried_over_is_judged_anew() {
        let carried = |old: &Reading, limits| {
            let mut new = Reading::new(limits);
            new.carry_over(old, true);
            (new.state(at(120)), new.value(), new.age(at(120)))
        };
        let age = Some(Duration::from_secs(20));
        let old = live(12.4);
        assert_eq!(carried(&old, LIMITS), (State::Live, Some(12.4), age));
        assert_eq!(carried(&old, Limits { range: Some((0.0, 10.0)), ..LIMITS }), (State::Faulty, None, age));
        let short = Limits { stale: Some(Duration::from_secs(10)), ..LIMITS };
        assert_eq!(carried(&old, short), (State::Stale, Some(12.4), age));

        let mut kept = Reading::new(Limits { stale: None, ..LIMITS });
        kept.accept(Ok(12.4), true, at(100));
        assert_eq!(kept.state(at(120)), State::Live);
        assert_eq!(carried(&kept, LIMITS), (State::Stale, Some(12.4), None));

        let mut hot = Reading::new(LIMITS);
        hot.accept(Ok(41.0), false, at(100));
        assert_eq!(carried(&hot, Limits { range: None, ..LIMITS }), (State::Live, Some(41.0), age));
    }

    fn trusting(trust: Trust) -> Reading {
        Reading::new(Limits { trust, ..LIMITS })
    }

    #[test]
    fn numbers_are_calibrated_before_they_are_judged() {
        let mut reading = trusting(Trust { scale: 0.1, offset: -1.0, ..Trust::PLAIN });
        assert_eq!(reading.accept(Ok(134.0), false, at(0)), Event::Accepted);
        assert!((reading.value().unwrap() - 12.4).abs() < 1e-12);
        assert_eq!(reading.accept(Ok(420.0), false, at(1)), Event::Rejected);
        assert_eq!(reading.fault().unwrap().to_string(), "41.0 is out of range -10.0 to 40.0");
        let huge = Trust { scale: 1e300, ..Trust::PLAIN };
        let mut reading = Reading::new(Limits { trust: huge, ..Limits::default() });
        assert_eq!(reading.accept(Ok(-1e300), false, at(0)), Event::Rejected);
        assert_eq!(reading.fault().unwrap().to_string(), "expected a finite number, found \"-inf after calibration\"");
        assert_eq!(reading.counts().not_finite, 1);
    }

    #[test]
    fn a_jump_is_rejected_until_a_second_number_confirms_it() {
        let mut reading = trusting(Trust { jump: Some(2.0), ..Trust::PLAIN });
        reading.accept(Ok(12.0), false, at(100));
        assert_eq!(reading.accept(Ok(31.0), false, at(110)), Event::Rejected);
        // It keeps its number, and grows old as if nothing had come.
        assert_eq!((reading.state(at(110)), reading.value(), reading.fault()), (State::Live, Some(12.0), None));
        assert_eq!(reading.age(at(110)), Some(Duration::from_secs(10)));
        assert_eq!(reading.state(at(146)), State::Stale);
        let why = "31.0 is too far from 12.0, more than 2.0 a minute";
        assert_eq!(reading.refused().unwrap().to_string(), why);
        // The broker kept it: that confirms nothing.
        assert_eq!(reading.accept(Ok(31.0), true, at(111)), Event::Repeated);
        assert_eq!(reading.accept(Ok(30.5), false, at(120)), Event::Accepted);
        assert_eq!((reading.state(at(120)), reading.value()), (State::Live, Some(30.5)));
        assert_eq!(reading.counts(), Counts { accepted: 2, jumps: 1, ..Counts::default() });
        assert_eq!(reading.counts().rejected(), 1);
    }

    #[test]
    fn a_confirmed_jump_is_not_smoothed() {
        let mut reading = trusting(Trust { jump: Some(2.0), smooth: Smooth::Median(3), ..Trust::PLAIN });
        for (second, number) in [(0, 12.0), (4, 12.1), (8, 12.2), (12, 30.0), (16, 30.1)] {
            reading.accept(Ok(number), false, at(second));
        }
        assert_eq!(reading.value(), Some(30.1));
    }

    #[test]
    fn a_retained_repetition_is_compared_with_what_was_heard() {
        let mut reading = trusting(Trust { smooth: Smooth::Median(3), ..Trust::PLAIN });
        for number in [12.0, 13.0, 14.0] {
            reading.accept(Ok(number), false, at(100));
        }
        assert_eq!(reading.value(), Some(13.0));
        assert_eq!(reading.accept(Ok(14.0), true, at(101)), Event::Repeated);
        assert_eq!(reading.accept(Ok(13.0), true, at(101)), Event::Accepted);
        assert_eq!(reading.state(at(101)), State::Stale);
    }

    #[test]
    fn the_age_limit_can_follow_the_cadence() {
        let trust = Trust { cadence: true, ..Trust::PLAIN };
        let mut reading = Reading::new(Limits { stale: Some(Duration::from_secs(300)), trust, ..LIMITS });
        for second in [0, 20, 40] {
            reading.accept(Ok(12.0), false, at(second));
        }
        assert_eq!(reading.next_change(at(40)), Some(at(340) + Duration::from_nanos(1)));
        reading.accept(garbage(), false, at(60));
        reading.accept(Ok(12.0), false, at(80));
        assert_eq!(reading.age_limit(), Some(Duration::from_secs(60)));
        assert_eq!((reading.state(at(140)), reading.state(at(141))), (State::Live, State::Stale));
        assert_eq!(reading.next_change(at(80)), Some(at(140) + Duration::from_nanos(1)));
    }

    #[test]
    fn what_is_carried_over_was_calibrated_and_smoothed_alike() {
        let trust = Trust { smooth: Smooth::Median(3), ..Trust::PLAIN };
        let mut old = trusting(trust);
        for number in [12.0, 13.0, 14.0] {
            old.accept(Ok(number), false, at(100));
        }
        let carried = |limits| {
            let mut new = Reading::new(limits);
            new.carry_over(&old, true);
            new
        };
        let same = carried(old.limits());
        assert_eq!((same.value(), same == old), (Some(13.0), true));
        assert_eq!(carried(LIMITS).value(), Some(14.0));
        let narrow = Limits { range: Some((12.5, 20.0)), trust, ..LIMITS };
        let mut narrowed = carried(narrow);
        assert_eq!(narrowed.accept(Ok(14.0), true, at(101)), Event::Repeated);
        narrowed.accept(Ok(13.0), false, at(104));
        assert_eq!(narrowed.value(), Some(13.0));
        for calibration in [Trust { scale: 2.0, ..trust }, Trust { offset: 0.1, ..trust }] {
            let other = carried(Limits { trust: calibration, ..LIMITS });
            assert_eq!((other.state(at(101)), other.counts().accepted), (State::Waiting, 3));
        }
    }

    fn trust() -> impl Strategy<Value = Trust> {
        let smooth = prop_oneof![
            Just(Smooth::Off),
            (3..16usize).prop_map(Smooth::Median),
            (1..100u64).prop_map(|seconds| Smooth::Average(Duration::from_secs(seconds))),
        ];
        (-3.0..3.0f64, -5.0..5.0f64, proptest::option::of(0.1..50.0f64), smooth, any::<bool>())
            .prop_map(|(scale, offset, jump, smooth, cadence)| Trust { scale, offset, jump, smooth, cadence })
    }

    #[test]
    fn a_number_may_have_been_old_when_it_came() {
        let aged = |seconds| Ok(Sample { value: 12.4, age: Duration::from_secs(seconds) });
        let mut reading = Reading::new(LIMITS);
        // Older than the start of the clock.
        reading.accept(aged(30), false, at(10));
        assert_eq!((reading.state(at(25)), reading.state(at(26))), (State::Live, State::Stale));
        assert_eq!(reading.age(at(10)), Some(Duration::from_secs(30)));
        assert_eq!(reading.next_change(at(10)), Some(at(25) + Duration::from_nanos(1)));
        reading.accept(aged(46), false, at(30));
        assert_eq!((reading.state(at(30)), reading.next_change(at(30))), (State::Stale, None));
        reading.accept(aged(u64::MAX), false, at(31));
        assert_eq!(reading.state(at(31)), State::Stale);
    }

    #[test]
    fn a_publisher_that_is_gone_makes_its_number_stale_at_once() {
        let mut reading = live(12.4);
        reading.hear_presence(true);
        assert_eq!(reading.state(at(101)), State::Live);
        reading.hear_presence(false);
        assert_eq!((reading.state(at(102)), reading.value()), (State::Stale, Some(12.4)));
        assert_eq!((reading.publisher(), reading.next_change(at(102))), (Publisher::Gone, None));
        // It waits for the next live number; a kept one is as old as before.
        reading.hear_presence(true);
        assert_eq!((reading.state(at(103)), reading.publisher()), (State::Stale, Publisher::Back));
        reading.accept(Ok(12.5), true, at(104));
        assert_eq!(reading.state(at(104)), State::Stale);
        reading.accept(Ok(12.5), false, at(105));
        assert_eq!((reading.state(at(105)), reading.publisher()), (State::Live, Publisher::There));

        let mut door = Reading::new(Limits { stale: None, ..LIMITS });
        door.hear_presence(false);
        assert_eq!(door.state(at(0)), State::Waiting);
        door.accept(Ok(1.0), true, at(1));
        assert_eq!(door.state(at(1)), State::Stale);
    }

    /// A message: its number (or garbage), whether it was retained, and how long after the one before it came.
    fn message() -> impl Strategy<Value = (Option<f64>, bool, u64)> {
        (proptest::option::weighted(0.8, prop_oneof![-20.0..50.0f64, Just(12.0)]), any::<bool>(), 0..60u64)
    }

    proptest! {
        #[test]
        fn no_trust_shows_a_number_out_of_range(
            trust in trust(),
            messages in proptest::collection::vec(message(), 0..40),
        ) {
            let mut reading = trusting(trust);
            let mut now = at(0);
            for (number, retained, after) in messages {
                now = now + Duration::from_secs(after);
                let before = (reading.state(now), reading.value(), reading.counts());
                let event = reading.accept(number.ok_or(DecodeError::Empty), retained, now);
                prop_assert!(reading.value().is_none_or(|value| (-10.0..=40.0).contains(&value)));
                let counts = reading.counts();
                let jumped = counts.jumps > before.2.jumps;
                if jumped || event == Event::Repeated {
                    prop_assert_eq!((reading.state(now), reading.value()), (before.0, before.1));
                } else {
                    prop_assert_eq!(event == Event::Rejected, reading.state(now) == State::Faulty);
                }
                let told = u64::from(event != Event::Repeated);
                prop_assert_eq!(counts.accepted + counts.rejected(), before.2.accepted + before.2.rejected() + told);
            }
        }

        #[test]
        fn the_rules_hold_after_any_messages(
            messages in proptest::collection::vec(message(), 0..30),
            silence in 0..200u64,
            limited in any::<bool>(),
        ) {
            let limits = Limits { stale: limited.then_some(Duration::from_secs(45)), ..LIMITS };
            let mut reading = Reading::new(limits);
            let mut now = at(0);
            let mut last_live_good = None;
            for (number, retained, after) in &messages {
                now = now + Duration::from_secs(*after);
                let decoded = number.ok_or(DecodeError::Empty);
                let before = (reading.state(now), reading.value());
                let event = reading.accept(decoded, *retained, now);
                let good = number.is_some_and(|value| (-10.0..=40.0).contains(&value));
                prop_assert_eq!(event == Event::Rejected, !good);
                prop_assert_eq!(reading.state(now) == State::Faulty, !good);
                match event {
                    Event::Repeated => prop_assert_eq!((reading.state(now), reading.value()), before),
                    Event::Accepted => prop_assert_eq!(reading.value(), *number),
                    Event::Rejected => prop_assert_eq!(reading.value(), None),
                }
                if good && !retained {
                    prop_assert_eq!(reading.state(now), State::Live);
                    last_live_good = Some(now);
                }
            }
            prop_assert_eq!(reading.state(now) == State::Waiting, messages.is_empty());

            let later = now + Duration::from_secs(silence);
            if reading.state(later) == State::Live && limited {
                // Never live without a good live message that is young enough.
                prop_assert!(later.since(last_live_good.unwrap()) <= Duration::from_secs(45));
            }
            prop_assert_eq!(reading.value().is_some(), matches!(reading.state(later), State::Live | State::Stale));
            // A state changes by itself when it was foretold, and at no other time.
            match reading.next_change(now) {
                Some(change) => {
                    let expected = if later >= change { State::Stale } else { reading.state(now) };
                    prop_assert_eq!(reading.state(later), expected);
                    prop_assert_eq!(reading.state(change), State::Stale);
                }
                None => prop_assert_eq!(reading.state(later), reading.state(now)),
            }
        }
    }
}
