//! Windows as bytes, for a file that outlives the program.
//!
//! What enters are windows, whose past they are, and the civil time; what leaves are bytes of bounded length. On the way
//! back bytes enter, from whatever source, and windows leave that go on where they were, or a reason why there are none. No file is
//! touched here, and no byte is believed before the checksum was.
//!
//! All numbers are little-endian. The file is [sealed](crate::seal). Behind the seal stand the civil time of writing in milliseconds since 1970 in Greenwich (8), the number
//! of windows (4), and the windows: whose past it is (length in 4, UTF-8); length of the window in nanoseconds, 0 for today (8); how
//! much of the newest part is over in nanoseconds, or the day's number (8); the age of the newest number in nanoseconds, all ones for
//! none (8), and that number (8); the number of parts in use (2); and these, newest first: how many parts back (2), count (4), least,
//! greatest, sum, first, last, area (8 each).

use std::time::Duration;

use super::super::Moment;
use super::{History, Lookback, Part, Span, nanoseconds};
use crate::seal::{self, Seal, SealError};

/// A file has no more bytes: what eight layouts need that look back as far and as often as a layout may.
pub const MOST_STORED_BYTES: usize = 4 << 20;

const SEAL: Seal = Seal { magic: *b"sl-past\n", version: 1 };
/// Greater numbers are not stored: sums and differences of those that are have an end.
const LARGEST: f64 = 1e300;
/// No age is greater, in nanoseconds: a hundred years.
const OLDEST: u64 = 100 * 365 * 86_400 * 1_000_000_000;

/// Why bytes are no past.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoredError {
    /// Something else.
    #[error("this is not the past of readings")]
    Foreign,
    /// From a program with another form of it.
    #[error("it is of version {0}, and this program knows version {known}", known = SEAL.version)]
    Version(u32),
    /// More than is ever written.
    #[error("it has more than the {MOST_STORED_BYTES} bytes allowed")]
    TooLarge,
    /// Cut short, continued, or changed.
    #[error("it is damaged")]
    Damaged,
}

/// Windows as they were when they were stored.
#[derive(Clone, Debug)]
pub struct Stored {
    /// The civil time at which they were, since 1970 in Greenwich.
    written: Duration,
    windows: Vec<Window>,
}

/// A window as it was when it was stored.
#[derive(Clone, Debug)]
struct Window {
    identity: String,
    span: Span,
    /// How much of the newest part is over, in nanoseconds; of today, the day's number.
    phase: u64,
    /// The newest number's age in nanoseconds, and the number.
    last: Option<(u64, f64)>,
    /// The parts in use with how many parts they lie back.
    parts: Vec<(u16, Part)>,
}

/// The windows as bytes, as they are at `now`, which is `written` after the beginning of 1970 in Greenwich; and how many were left out
/// because there is no more room. Of two windows of the same numbers only the first is kept.
pub fn encode<'a>(
    windows: impl IntoIterator<Item = (&'a Lookback, &'a History)>,
    now: Moment,
    written: Duration,
) -> (Vec<u8>, usize) {
    let mut body = Vec::new();
    let mut known: Vec<&Lookback> = Vec::new();
    let mut left_out = 0;
    for (lookback, history) in windows {
        let is_same = |other: &&Lookback| other.identity == lookback.identity && other.span == lookback.span;
        let is_storable = history.last.is_some_and(|(_, number)| number.abs() <= LARGEST);
        if !is_storable || known.iter().any(is_same) {
            continue;
        }
        let before = body.len();
        write_window(&mut body, &lookback.identity, history, now);
        if body.len() > MOST_STORED_BYTES - seal::BYTES - 12 {
            body.truncate(before);
            left_out += 1;
        } else {
            known.push(lookback);
        }
    }
    let written = u64::try_from(written.as_millis()).unwrap_or(u64::MAX).to_le_bytes();
    let rest = [&written[..], &(known.len() as u32).to_le_bytes(), &body].concat();
    (SEAL.close(&rest), left_out)
}

fn write_window(into: &mut Vec<u8>, identity: &str, history: &History, now: Moment) {
    let mut history = history.clone();
    // What is too old goes, and what holds counts up to now. That today is over shows when it is read again.
    history.move_on(now, history.newest);
    let own = nanoseconds(now + history.ahead);
    let (length, phase) = match history.span {
        Span::Last(span) => (u64::try_from(span.as_nanos()).unwrap_or(u64::MAX), own % history.part()),
        Span::Today => (0, history.newest),
    };
    let (age, number) = history
        .last
        .map_or((u64::MAX, 0.0), |(since, number)| (own.saturating_sub(nanoseconds(since)).min(OLDEST), number));
    into.extend((identity.len() as u32).to_le_bytes());
    into.extend(identity.as_bytes());
    [length, phase, age, number.to_bits()].iter().for_each(|word| into.extend(word.to_le_bytes()));
    let count = history.parts.len() as u64;
    let parts = (0..count).map(|back| (back as u16, history.parts[history.place((history.newest + count) - back)]));
    let used: Vec<(u16, Part)> =
        parts.filter(|(_, part)| (part.count > 0 || part.area != 0.0) && part.is_sound()).collect();
    into.extend((used.len() as u16).to_le_bytes());
    for (back, part) in used {
        into.extend(back.to_le_bytes());
        into.extend(part.count.to_le_bytes());
        let numbers = [part.least, part.greatest, part.sum, part.first, part.last, part.area];
        numbers.iter().for_each(|number| into.extend(number.to_bits().to_le_bytes()));
    }
}

impl Part {
    /// Whether its numbers can be those of one part.
    fn is_sound(&self) -> bool {
        let heard = [self.least, self.greatest, self.sum, self.first, self.last];
        let inside = |number: f64| self.least <= number && number <= self.greatest;
        let fits = if self.count == 0 {
            heard.iter().all(|number| *number == 0.0)
        } else {
            inside(self.first) && inside(self.last)
        };
        fits && heard.iter().chain([&self.area]).all(|number| number.abs() <= LARGEST)
    }
}

/// Bytes that are read from the front.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        self.take(N)?.try_into().ok()
    }

    fn short(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    fn word(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    fn long(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    fn number(&mut self) -> Option<f64> {
        self.long().map(f64::from_bits)
    }

    fn window(&mut self) -> Option<Window> {
        let length = self.word()?;
        let identity = str::from_utf8(self.take(length as usize)?).ok()?.to_string();
        let span = match self.long()? {
            0 => Span::Today,
            length => Span::Last(Duration::from_nanos(length)),
        };
        let empty = History::new(span, None);
        let phase = self.long()?;
        let (age, number) = (self.long()?, self.number()?);
        let last = (age != u64::MAX).then_some((age, number));
        let good = last.is_none_or(|(age, number)| age <= OLDEST && number.abs() <= LARGEST)
            && (span == Span::Today || phase < empty.part());
        let count = usize::from(self.short()?);
        if !good || count > empty.parts.len() {
            return None;
        }
        let mut parts: Vec<(u16, Part)> = Vec::with_capacity(count);
        for _ in 0..count {
            let (back, part) = (self.short()?, self.part()?);
            let follows = parts.last().is_none_or(|(newer, _)| *newer < back);
            if !follows || usize::from(back) >= empty.parts.len() || !part.is_sound() {
                return None;
            }
            parts.push((back, part));
        }
        Some(Window { identity, span, phase, last, parts })
    }

    fn part(&mut self) -> Option<Part> {
        Some(Part {
            count: self.word()?,
            least: self.number()?,
            greatest: self.number()?,
            sum: self.number()?,
            first: self.number()?,
            last: self.number()?,
            area: self.number()?,
        })
    }

    fn stored(&mut self) -> Option<Stored> {
        let written = Duration::from_millis(self.long()?);
        let windows = (0..self.word()?).map(|_| self.window()).collect::<Option<Vec<Window>>>()?;
        self.0.is_empty().then_some(Stored { written, windows })
    }
}

impl Stored {
    /// What [`encode`] made.
    ///
    /// # Errors
    /// [`StoredError`] for anything else.
    pub fn decode(bytes: &[u8]) -> Result<Self, StoredError> {
        let rest = match SEAL.open(bytes) {
            Err(SealError::Foreign) => return Err(StoredError::Foreign),
            _ if bytes.len() > MOST_STORED_BYTES => return Err(StoredError::TooLarge),
            Err(SealError::Version(version)) => return Err(StoredError::Version(version)),
            Err(SealError::Damaged) => return Err(StoredError::Damaged),
            Ok(rest) => rest,
        };
        Bytes(rest).stored().ok_or(StoredError::Damaged)
    }

    /// The window that looks back like this, as it is at `now` after a silence since it was stored. `time` is the civil time since
    /// 1970 in Greenwich, on the local day of the number `day`.
    ///
    /// `None` where it was not stored, where everything in it is too old, where a number is out of bounds, and where the civil clock was set
    /// back.
    pub fn window(&self, lookback: &Lookback, now: Moment, time: Duration, day: u64) -> Option<History> {
        let silence = time.checked_sub(self.written)?;
        let span = lookback.span;
        let is_same = |window: &&Window| window.span == span && window.identity == lookback.identity;
        let window = self.windows.iter().find(is_same)?;
        let mut history = History::new(span, lookback.hold);
        let age = window.last.map_or(0, |(age, _)| age);
        // The window's own clock reads so much when it was stored, which leaves room for all that was heard before.
        let (newest, own) = match span {
            Span::Last(length) => {
                let room = u64::try_from(length.as_nanos()).ok()?.max(age).checked_add(nanoseconds(now))?;
                let newest = room.div_ceil(history.part()).checked_add(1)?;
                (newest, newest.checked_mul(history.part())?.checked_add(window.phase)?)
            }
            Span::Today => (window.phase, age.checked_add(nanoseconds(now))?),
        };
        let over = match span {
            Span::Last(length) => silence > length,
            Span::Today => window.phase != day,
        };
        if over {
            return None;
        }
        history.newest = newest;
        let count = history.parts.len() as u64;
        for (back, part) in &window.parts {
            // As many parts are there, so that none of them lies before the first.
            let place = history.place(newest % count + count - u64::from(*back));
            history.parts[place] = *part;
        }
        history.sum_up();
        let stored = Moment::at(Duration::from_nanos(own));
        history.ahead = (stored + silence).since(now);
        history.last = window.last.map(|(age, number)| (Moment::at(Duration::from_nanos(own - age)), number));
        history.settled = stored;
        history.lies_within(lookback.bounds).then_some(history)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::Figure;
    use super::*;

    const WINDOW: Span = Span::Last(Duration::from_secs(1440));
    const WRITTEN: Duration = Duration::from_secs(1_795_000_000);
    const DAY: u64 = 7;
    const FIGURES: [Figure; 7] =
        [Figure::Lowest, Figure::Highest, Figure::Mean, Figure::Change, Figure::Slope, Figure::Integral, Figure::Count];

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn back_to(span: Span, hold: Option<Duration>) -> Lookback {
        Lookback { identity: "temp".into(), span, hold, bounds: (f64::NEG_INFINITY, f64::INFINITY) }
    }

    fn filled(span: Span, hold: Option<Duration>, samples: &[(u64, f64)]) -> History {
        let mut history = History::new(span, hold);
        for (second, number) in samples {
            history.move_on(at(*second), DAY);
            history.hear(*number, at(*second));
        }
        history
    }

    fn usual() -> (Lookback, History) {
        let hold = Some(Duration::from_secs(60));
        (back_to(WINDOW, hold), filled(WINDOW, hold, &[(10, 18.0), (700, 12.0), (1400, 13.0)]))
    }

    fn stored(lookback: &Lookback, history: &History, now: Moment) -> Stored {
        Stored::decode(&encode([(lookback, history)], now, WRITTEN).0).unwrap()
    }

    fn alike(one: &History, other: &History) -> Result<(), TestCaseError> {
        for figure in FIGURES {
            match (one.figure(figure), other.figure(figure)) {
                // Its parts may be added in another order.
                (Some(one), Some(other)) if figure == Figure::Integral => prop_assert!((one - other).abs() < 1e-9),
                (one, other) => prop_assert_eq!(one, other, "{:?}", figure),
            }
        }
        let (mut trend, mut other_trend) = ([None; 48], [None; 48]);
        one.trend(&mut trend);
        other.trend(&mut other_trend);
        prop_assert_eq!(trend, other_trend);
        Ok(())
    }

    proptest! {
        /// Stored at one moment, gone on with at another of a new clock: as if nothing had happened but a silence.
        #[test]
        fn a_window_goes_on_where_it_was(
            steps in proptest::collection::vec((0u64..400, -50.0..50.0f64), 1..60),
            more in 0u64..2000, silence in 0u64..1441, start in 0u64..5000, later in 0u64..2000, hold in 0u64..3,
            today: bool,
        ) {
            let mut second = 0;
            let samples: Vec<(u64, f64)> = steps.iter().map(|(step, number)| { second += step; (second, *number) }).collect();
            let hold = (hold > 0).then(|| Duration::from_secs(hold * 300));
            let span = if today { Span::Today } else { WINDOW };
            let lookback = back_to(span, hold);
            let mut history = filled(span, hold, &samples);
            let stopped = second + more;
            let stored = stored(&lookback, &history, at(stopped));
            let time = WRITTEN + Duration::from_secs(silence);
            let mut again = stored.window(&lookback, at(start), time, DAY).unwrap();
            // As clocks differ, each goes on by its own.
            history.move_on(at(stopped), DAY);
            history.move_on(at(stopped + silence), DAY);
            again.move_on(at(start), DAY);
            alike(&history, &again)?;
            let next = (history.next_move(at(stopped + silence)), again.next_move(at(start)));
            prop_assert_eq!(next.0.map(|next| next.since(at(stopped + silence))), next.1.map(|next| next.since(at(start))));
            for (number, wait) in [(3.5, later / 2), (-1.0, later)] {
                history.move_on(at(stopped + silence + wait), DAY);
                again.move_on(at(start + wait), DAY);
                history.hear(number, at(stopped + silence + wait));
                again.hear(number, at(start + wait));
                alike(&history, &again)?;
            }
            // And once more.
            let once_more = self::stored(&lookback, &again, at(start + later)).window(&lookback, at(0), WRITTEN, DAY).unwrap();
            alike(&again, &once_more)?;
        }

        #[test]
        fn no_bytes_are_too_odd(bytes in proptest::collection::vec(any::<u8>(), 0..300), silence in 0u64..2000) {
            // With a good header, so that what is behind it is looked at.
            if let Ok(stored) = Stored::decode(&SEAL.close(&bytes)) {
                let time = stored.written + Duration::from_secs(silence);
                stored.window(&back_to(WINDOW, None), at(5), time, DAY);
            }
        }

        /// A good file in which a byte is another, and the checksum made to agree: refused, or figures of some sort.
        #[test]
        fn a_forged_file_does_no_harm(place in 0usize..300, byte: u8, start in 0u64..5000) {
            let (lookback, history) = usual();
            let (bytes, _) = encode([(&lookback, &history)], at(1410), WRITTEN);
            let mut rest = bytes[seal::BYTES..].to_vec();
            let place = place % rest.len();
            rest[place] = byte;
            if let Ok(stored) = Stored::decode(&SEAL.close(&rest)) {
                for time in [stored.written, WRITTEN, Duration::MAX] {
                    for span in [WINDOW, Span::Today, stored.windows[0].span] {
                        if let Some(mut history) = stored.window(&back_to(span, None), at(start), time, DAY) {
                            history.move_on(at(start + 1), DAY);
                            history.hear(1.0, at(start + 1));
                            prop_assert!(history.figure(Figure::Count) >= Some(1.0));
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn what_is_no_past_is_told() {
        let (lookback, history) = usual();
        let (bytes, left_out) = encode([(&lookback, &history)], at(1410), WRITTEN);
        assert!(Stored::decode(&bytes).is_ok() && left_out == 0);
        let problem = |bytes: &[u8]| Stored::decode(bytes).unwrap_err();
        assert_eq!(problem(b"about cheese"), StoredError::Foreign);
        assert_eq!(problem(&vec![1; 2 * MOST_STORED_BYTES]), StoredError::Foreign);
        assert_eq!(problem(&bytes[..bytes.len() - 1]), StoredError::Damaged);
        let newer = Seal { version: 2, ..SEAL };
        assert_eq!(problem(&newer.close(&bytes[seal::BYTES..])), StoredError::Version(2));
        let long = [&bytes[..], &vec![0; MOST_STORED_BYTES]].concat();
        assert_eq!(problem(&long), StoredError::TooLarge);
    }

    #[test]
    fn what_is_written_is_read_whatever_was_heard() {
        let (usual, history) = usual();
        let huge = filled(WINDOW, None, &[(10, 18.0), (1400, f64::MAX)]);
        let other = Lookback { identity: "rh".into(), ..usual.clone() };
        let (bytes, _) = encode([(&other, &huge), (&usual, &history)], at(1410), WRITTEN);
        assert_eq!(Stored::decode(&bytes).unwrap().windows.len(), 1);
        // What came after it leaves the rest of the window as it was.
        let past = filled(WINDOW, None, &[(10, f64::MAX), (700, 12.0)]);
        let window = stored(&other, &past, at(1410)).window(&other, at(0), WRITTEN, DAY).unwrap();
        assert_eq!(window.figure(Figure::Highest), Some(12.0));
    }

    #[test]
    fn no_number_without_end_is_believed() {
        let (lookback, history) = usual();
        let (bytes, _) = encode([(&lookback, &history)], at(1410), WRITTEN);
        let rest = &bytes[seal::BYTES..];
        // Where the numbers of the newest part begin.
        let first = 8 + 4 + 4 + lookback.identity.len() + 4 * 8 + 2 + 2 + 4;
        for place in 0..6 {
            for number in [f64::INFINITY, f64::NEG_INFINITY, f64::NAN, f64::MAX, f64::MIN] {
                let mut forged = rest.to_vec();
                forged[first + 8 * place..][..8].copy_from_slice(&number.to_bits().to_le_bytes());
                assert_eq!(
                    Stored::decode(&SEAL.close(&forged)).unwrap_err(),
                    StoredError::Damaged,
                    "{place}: {number}"
                );
            }
        }
    }

    #[test]
    fn only_the_same_numbers_go_on() {
        let (same, history) = usual();
        let stored = stored(&same, &history, at(1410));
        let found = |lookback: &Lookback| stored.window(lookback, at(0), WRITTEN, DAY).is_some();
        assert!(found(&same) && found(&back_to(WINDOW, None)));
        assert!(!found(&Lookback { identity: "rh".into(), ..same.clone() }));
        // From 12 to 18.
        for (bounds, fits) in [((12.0, 18.0), true), ((12.1, 18.0), false), ((12.0, 17.9), false)] {
            assert_eq!(found(&Lookback { bounds, ..same.clone() }), fits);
        }
        assert!(!found(&back_to(Span::Last(Duration::from_secs(1441)), None)) && !found(&back_to(Span::Today, None)));
    }

    #[test]
    fn what_is_too_old_and_what_is_yet_to_come_is_empty() {
        let (lookback, history) = usual();
        let (today, since_midnight) = (back_to(Span::Today, None), filled(Span::Today, None, &[(10, 18.0)]));
        let (bytes, _) = encode([(&lookback, &history), (&today, &since_midnight)], at(1410), WRITTEN);
        let stored = Stored::decode(&bytes).unwrap();
        let millisecond = Duration::from_millis(1);
        let found = |lookback: &Lookback, time, day| stored.window(lookback, at(0), time, day).is_some();
        let window = Duration::from_secs(1440);
        for (time, day, expected) in [
            (WRITTEN - millisecond, DAY, (false, false)),
            (WRITTEN, DAY, (true, true)),
            (WRITTEN, DAY + 1, (true, false)),
            (WRITTEN + window, DAY, (true, true)),
            (WRITTEN + window + millisecond, DAY, (false, true)),
        ] {
            assert_eq!((found(&lookback, time, day), found(&today, time, day)), expected, "{time:?}, day {day}");
        }
    }

    #[test]
    fn a_window_is_kept_once_and_a_file_is_bounded() {
        let samples: Vec<(u64, f64)> = (0..1500).map(|second| (second, second as f64)).collect();
        let history = filled(WINDOW, None, &samples);
        let lookback = |column: u32| Lookback { identity: format!("column {column}"), ..back_to(WINDOW, None) };
        let lookbacks: Vec<Lookback> = (1..=1000).map(lookback).collect();
        let twice = encode([(&lookbacks[0], &history), (&lookbacks[0], &history)], at(1500), WRITTEN);
        assert_eq!(twice, encode([(&lookbacks[0], &history)], at(1500), WRITTEN));
        let (bytes, left_out) = encode(lookbacks.iter().map(|lookback| (lookback, &history)), at(1500), WRITTEN);
        assert!(bytes.len() <= MOST_STORED_BYTES);
        let stored = Stored::decode(&bytes).unwrap();
        assert_eq!(stored.windows.len() + left_out, 1000);
        // As many as eight layouts may have.
        assert!(stored.windows.len() >= 8 * 64, "{} windows", stored.windows.len());
    }
}
