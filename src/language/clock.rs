//! The time of day and the date as text, by a pattern of POSIX conversion specifications such as `%H:%M`.
//!
//! What enters is a pattern, and a time with its zone, which the caller took from the wall clock; what leaves are characters and the
//! time at which they change. Names of days and months are English. Zones that a file names come from the database in the program, so
//! that a file means the same on every machine.

use std::fmt::Write;
use std::time::Duration;

use jiff::ZonedDateTime;
use jiff::civil::DateTime;
use jiff::tz::{TimeZone, TimeZoneDatabase};

/// A clock in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clock {
    /// How the time is written.
    pub pattern: ClockPattern,
    /// The zone whose time it shows; that of the place where it hangs, where the file names none.
    pub zone: Option<TimeZone>,
}

impl Clock {
    /// Appends what it shows at `time`.
    pub fn write(&self, out: &mut String, time: &ZonedDateTime) {
        self.pattern.write(out, self.here(time));
    }

    /// How long until the text may be another one.
    pub fn until_change(&self, time: &ZonedDateTime) -> Duration {
        self.pattern.until_change(self.here(time))
    }

    fn here(&self, time: &ZonedDateTime) -> DateTime {
        self.zone.as_ref().map_or_else(|| time.datetime(), |zone| time.with_time_zone(zone.clone()).datetime())
    }
}

/// The zone of a name such as `Europe/Paris` in the IANA time zone database.
pub fn zone(name: &str) -> Option<TimeZone> {
    TimeZoneDatabase::bundled().get(name).ok()
}

/// The names of all zones.
pub fn zones() -> Vec<String> {
    TimeZoneDatabase::bundled().available().map(|name| name.to_string()).collect()
}

/// What a field calls that shows the time.
pub const NAME: &str = "clock";

/// A checked pattern.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClockPattern(Vec<Piece>);

#[derive(Clone, Debug, PartialEq, Eq)]
enum Piece {
    Literal(String),
    Field(Field),
}

/// The conversion specifications that a pattern may hold, a part of those of POSIX `strftime`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Field {
    Hour,
    Hour12,
    Minute,
    Second,
    HalfOfDay,
    Day,
    Month,
    Year,
    YearOfCentury,
    WeekdayShort,
    Weekday,
    MonthNameShort,
    MonthName,
}

/// Each specification with its letter.
const FIELDS: [(char, Field); 13] = [
    ('H', Field::Hour),
    ('I', Field::Hour12),
    ('M', Field::Minute),
    ('S', Field::Second),
    ('p', Field::HalfOfDay),
    ('d', Field::Day),
    ('m', Field::Month),
    ('Y', Field::Year),
    ('y', Field::YearOfCentury),
    ('a', Field::WeekdayShort),
    ('A', Field::Weekday),
    ('b', Field::MonthNameShort),
    ('B', Field::MonthName),
];

const WEEKDAYS: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];
const HALVES: [&str; 2] = ["AM", "PM"];
/// Letters of a shortened name.
const SHORT: usize = 3;

/// Why a pattern cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ClockPatternError {
    /// A letter behind a per cent sign that means nothing here.
    #[error("`%{0}` is no part of a time; there are {known}", known = known())]
    Unknown(char),
    /// A per cent sign at the end.
    #[error("`%` at the end means nothing; write `%%` for a per cent sign")]
    Unfinished,
    /// Nothing at all would be shown.
    #[error("an empty pattern shows nothing; write, for example, \"%H:%M\"")]
    Empty,
}

fn known() -> String {
    let names: Vec<String> = FIELDS.iter().map(|(letter, _)| format!("`%{letter}`")).collect();
    names.join(" ")
}

impl ClockPattern {
    /// Reads a pattern such as `%H:%M` or `%a %d. %b`.
    pub fn parse(text: &str) -> Result<Self, ClockPatternError> {
        let mut pieces = Vec::new();
        let mut literal = String::new();
        let mut characters = text.chars();
        while let Some(character) = characters.next() {
            if character != '%' {
                literal.push(character);
                continue;
            }
            let letter = characters.next().ok_or(ClockPatternError::Unfinished)?;
            if letter == '%' {
                literal.push('%');
                continue;
            }
            let field = FIELDS.iter().find(|(known, _)| *known == letter).map(|(_, field)| *field);
            let field = field.ok_or(ClockPatternError::Unknown(letter))?;
            if !literal.is_empty() {
                pieces.push(Piece::Literal(std::mem::take(&mut literal)));
            }
            pieces.push(Piece::Field(field));
        }
        if !literal.is_empty() {
            pieces.push(Piece::Literal(literal));
        }
        if pieces.is_empty() { Err(ClockPatternError::Empty) } else { Ok(Self(pieces)) }
    }

    /// Appends the time.
    pub fn write(&self, out: &mut String, time: DateTime) {
        for piece in &self.0 {
            match piece {
                Piece::Literal(text) => out.push_str(text),
                Piece::Field(field) => field.write(out, time),
            }
        }
    }

    /// For each piece the strings that it can show, digits being all of one width.
    pub fn extremes(&self) -> impl Iterator<Item = Vec<String>> {
        self.0.iter().map(|piece| match piece {
            Piece::Literal(text) => vec![text.clone()],
            Piece::Field(field) => field.extremes(),
        })
    }

    /// How long until the text may be another one.
    pub fn until_change(&self, time: DateTime) -> Duration {
        let has = |wanted: &[Field]| self.0.iter().any(|piece| matches!(piece, Piece::Field(f) if wanted.contains(f)));
        let nanoseconds = u64::try_from(time.subsec_nanosecond()).unwrap_or(0);
        let second = u64::try_from(time.second()).unwrap_or(0);
        let to_second = Duration::from_nanos(1_000_000_000 - nanoseconds.min(999_999_999));
        if has(&[Field::Second]) {
            return to_second;
        }
        // A date changes on a minute as well; to look once a minute costs nothing, and follows a clock that is set anew.
        to_second + Duration::from_secs(59 - second.min(59))
    }
}

impl Field {
    fn write(self, out: &mut String, time: DateTime) {
        let names = |names: &[&'static str], number: i8| names[usize::try_from(number).unwrap_or(0) % names.len()];
        let weekday = names(&WEEKDAYS, time.weekday().to_monday_zero_offset());
        let month = names(&MONTHS, time.month() - 1);
        // Writing to a string cannot fail.
        let _ = match self {
            Field::Hour => write!(out, "{:02}", time.hour()),
            Field::Hour12 => write!(out, "{}", (time.hour() + 11) % 12 + 1),
            Field::Minute => write!(out, "{:02}", time.minute()),
            Field::Second => write!(out, "{:02}", time.second()),
            Field::HalfOfDay => write!(out, "{}", names(&HALVES, time.hour() / 12)),
            Field::Day => write!(out, "{}", time.day()),
            Field::Month => write!(out, "{}", time.month()),
            Field::Year => write!(out, "{:04}", time.year().max(0)),
            Field::YearOfCentury => write!(out, "{:02}", time.year().rem_euclid(100)),
            Field::WeekdayShort => write!(out, "{}", &weekday[..SHORT]),
            Field::Weekday => write!(out, "{weekday}"),
            Field::MonthNameShort => write!(out, "{}", &month[..SHORT]),
            Field::MonthName => write!(out, "{month}"),
        };
    }

    fn extremes(self) -> Vec<String> {
        let all = |names: &[&str], letters: usize| {
            names.iter().map(|name| name.chars().take(letters).collect()).collect::<Vec<String>>()
        };
        match self {
            Field::Year => vec!["0000".into()],
            Field::HalfOfDay => all(&HALVES, SHORT),
            Field::WeekdayShort => all(&WEEKDAYS, SHORT),
            Field::Weekday => all(&WEEKDAYS, usize::MAX),
            Field::MonthNameShort => all(&MONTHS, SHORT),
            Field::MonthName => all(&MONTHS, usize::MAX),
            _ => vec!["00".into()],
        }
    }
}

/// The time that stands for "not told yet": a renderer starts with it.
pub fn unset() -> ZonedDateTime {
    greenwich(DateTime::constant(2000, 1, 1, 0, 0, 0, 0))
}

/// A civil time as that of Greenwich.
pub fn greenwich(time: DateTime) -> ZonedDateTime {
    // Of the years that a civil time can have, only the ends of the first and of the last have no instant.
    time.to_zoned_datetime(TimeZone::UTC).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;

    fn at(hour: i8, minute: i8, second: i8) -> DateTime {
        DateTime::constant(2026, 2, 3, hour, minute, second, 250_000_000)
    }

    fn written(pattern: &str, time: DateTime) -> String {
        let mut out = String::new();
        ClockPattern::parse(pattern).unwrap().write(&mut out, time);
        out
    }

    #[test]
    fn each_field() {
        assert_eq!(written("%H:%M:%S", at(7, 5, 9)), "07:05:09");
        assert_eq!(written("%I %p", at(0, 0, 0)), "12 AM");
        assert_eq!(written("%I %p", at(13, 0, 0)), "1 PM");
        assert_eq!(written("%a %d.%m.%y", at(0, 0, 0)), "Tue 3.2.26");
        assert_eq!(written("%A, %d %B %Y, 100%%", at(0, 0, 0)), "Tuesday, 3 February 2026, 100%");
    }

    #[test]
    fn what_a_pattern_cannot_hold() {
        assert_eq!(ClockPattern::parse("%H:%Q"), Err(ClockPatternError::Unknown('Q')));
        assert_eq!(ClockPattern::parse("%"), Err(ClockPatternError::Unfinished));
        assert_eq!(ClockPattern::parse(""), Err(ClockPatternError::Empty));
    }

    #[test]
    fn the_next_change() {
        let until = |pattern: &str, time| ClockPattern::parse(pattern).unwrap().until_change(time);
        assert_eq!(until("%S", at(7, 5, 9)), Duration::from_millis(750));
        assert_eq!(until("%H:%M", at(7, 5, 9)), Duration::from_millis(50_750));
    }

    #[test]
    fn every_moment_of_a_year_is_among_the_extremes() {
        let pattern = ClockPattern::parse("%A%B%a%b%p").unwrap();
        let extremes: Vec<Vec<String>> = pattern.extremes().collect();
        for hours in 0..366 * 24 {
            let time = unset().datetime() + SignedDuration::from_hours(hours);
            for (piece, strings) in pattern.0.iter().zip(&extremes) {
                let Piece::Field(field) = piece else { unreachable!("only fields here") };
                let mut text = String::new();
                field.write(&mut text, time);
                assert!(strings.contains(&text), "{text}");
            }
        }
    }
}
