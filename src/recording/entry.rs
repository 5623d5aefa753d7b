//! One line of a recording: a message with its time, or what happened to the connection.
//!
//! What enters is a line of JSON or an [`Entry`]; what leaves is the other. The format is documented in `layouts/README.md`. A
//! key that is not known is passed over, so that later versions may add some.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jiff::Timestamp;
use jiff::ZonedDateTime;
use jiff::fmt::temporal::DateTimeParser;
use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

use crate::feed::{Delivery, LARGEST_PAYLOAD, Message};

/// What the first line of every recording names.
pub const FORMAT: &str = "sidelight recording";
/// The version of the format that is written, and the latest that is read.
pub const VERSION: u32 = 1;

/// A point in time with the offset of the civil time from that of Greenwich where it was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// The time, to the microsecond.
    pub time: Timestamp,
    /// How far the civil time was ahead of Greenwich.
    pub offset: Offset,
}

impl Stamp {
    /// What clocks showed.
    pub fn civil(self) -> ZonedDateTime {
        self.time.to_zoned_datetime(self.offset.to_time_zone())
    }

    /// The time as in RFC 3339, with a fraction of six digits.
    fn written(self) -> String {
        format!("{:.6}", self.time.display_with_offset(self.offset))
    }

    fn parse(text: &str) -> Option<Self> {
        static PARSER: DateTimeParser = DateTimeParser::new();
        let offset = PARSER.parse_pieces(text).ok()?.to_numeric_offset()?;
        let time: Timestamp = text.parse().ok()?;
        Some(Self { time, offset })
    }
}

/// The first line: what this is and when it began.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    /// When the recording began.
    pub begun: Stamp,
    /// What was subscribed to.
    pub filters: Vec<String>,
}

/// Any other line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// When it happened.
    pub at: Stamp,
    /// What happened.
    pub heard: Heard,
}

/// What can happen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// A message.
    Message(Message),
    /// A message whose payload was too large to be kept.
    Oversized {
        /// Its topic.
        topic: String,
        /// The size of its payload.
        bytes: usize,
    },
    /// From here on nothing is missed.
    Subscribed,
    /// The connection was lost: from here on nothing is heard.
    Lost,
    /// The recording ended as it should.
    Ended,
}

/// Why a line cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// Not JSON, or of another shape.
    #[error("this is no line of a recording: {0}")]
    Shape(String),
    /// The first line is another's.
    #[error("this is no recording: its first line does not name the format \"{FORMAT}\"")]
    Format,
    /// Written by a later program.
    #[error("this recording has version {found} and {VERSION} is the latest known: a newer sidelight can read it")]
    Version {
        /// Its version.
        found: u32,
    },
    /// No time as in RFC 3339.
    #[error("expected a time as in RFC 3339, found {found:?}")]
    Time {
        /// What was found.
        found: String,
    },
    /// Neither payload nor size.
    #[error("a message has a `payload`, `base64` or `bytes`")]
    NoPayload,
    /// Characters that base64 does not have.
    #[error("the payload in base64 is damaged")]
    Base64,
    /// More than a session hands over.
    #[error("a payload has at most {LARGEST_PAYLOAD} bytes, this one has {bytes}")]
    TooLarge {
        /// Its size.
        bytes: usize,
    },
}

#[derive(Serialize, Deserialize)]
struct FirstLine {
    format: String,
    version: u32,
    time: String,
    #[serde(default)]
    filters: Vec<String>,
}

#[derive(Default, Serialize, Deserialize)]
struct Line {
    time: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    topic: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    payload: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    base64: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bytes: Option<usize>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    retained: Option<bool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    qos: Option<u8>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    session: Option<Session>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Session {
    Subscribed,
    Lost,
    Ended,
}

impl Header {
    /// The line, without its end.
    pub fn to_line(&self) -> String {
        let line = FirstLine {
            format: FORMAT.into(),
            version: VERSION,
            time: self.begun.written(),
            filters: self.filters.clone(),
        };
        // Texts and numbers are always JSON.
        serde_json::to_string(&line).unwrap_or_default()
    }

    /// Reads a first line.
    ///
    /// # Errors
    /// [`LineError`] if it begins no recording that is known here.
    pub fn parse(line: &[u8]) -> Result<Self, LineError> {
        let first: FirstLine = serde_json::from_slice(line).map_err(|_| LineError::Format)?;
        if first.format != FORMAT {
            return Err(LineError::Format);
        }
        if !(1..=VERSION).contains(&first.version) {
            return Err(LineError::Version { found: first.version });
        }
        Ok(Self { begun: stamp(&first.time)?, filters: first.filters })
    }
}

impl Entry {
    /// The line, without its end.
    pub fn to_line(&self) -> String {
        let mut line = Line { time: self.at.written(), ..Line::default() };
        match &self.heard {
            Heard::Message(message) => {
                line.topic = Some(message.topic.clone());
                match str::from_utf8(&message.payload) {
                    Ok(text) => line.payload = Some(text.into()),
                    Err(_) => line.base64 = Some(STANDARD.encode(&message.payload)),
                }
                line.retained = Some(message.retained);
                line.qos = Some(u8::from(message.delivery == Delivery::AtLeastOnce));
            }
            Heard::Oversized { topic, bytes } => {
                (line.topic, line.bytes) = (Some(topic.clone()), Some(*bytes));
            }
            Heard::Subscribed => line.session = Some(Session::Subscribed),
            Heard::Lost => line.session = Some(Session::Lost),
            Heard::Ended => line.session = Some(Session::Ended),
        }
        serde_json::to_string(&line).unwrap_or_default()
    }

    /// Reads any line but the first.
    ///
    /// # Errors
    /// [`LineError`] if it is none.
    pub fn parse(line: &[u8]) -> Result<Self, LineError> {
        let line: Line = serde_json::from_slice(line).map_err(|error| LineError::Shape(error.to_string()))?;
        let at = stamp(&line.time)?;
        let Some(topic) = line.topic else {
            let heard = match line.session {
                Some(Session::Subscribed) => Heard::Subscribed,
                Some(Session::Lost) => Heard::Lost,
                Some(Session::Ended) => Heard::Ended,
                None => return Err(LineError::Shape("it has neither `topic` nor `session`".into())),
            };
            return Ok(Self { at, heard });
        };
        let payload = match (line.payload, line.base64, line.bytes) {
            (Some(text), ..) => text.into_bytes(),
            (None, Some(coded), _) => STANDARD.decode(coded).map_err(|_| LineError::Base64)?,
            (None, None, Some(bytes)) => return Ok(Self { at, heard: Heard::Oversized { topic, bytes } }),
            (None, None, None) => return Err(LineError::NoPayload),
        };
        if payload.len() > LARGEST_PAYLOAD {
            return Err(LineError::TooLarge { bytes: payload.len() });
        }
        let delivery = if line.qos.unwrap_or(0) == 0 { Delivery::AtMostOnce } else { Delivery::AtLeastOnce };
        let retained = line.retained.unwrap_or(false);
        Ok(Self { at, heard: Heard::Message(Message { topic, payload, retained, delivery }) })
    }
}

fn stamp(text: &str) -> Result<Stamp, LineError> {
    let found = || text.chars().take(40).collect();
    Stamp::parse(text).ok_or_else(|| LineError::Time { found: found() })
}

#[cfg(test)]
mod tests {
    use jiff::civil::DateTime;
    use proptest::prelude::*;

    use super::*;

    fn at(text: &str) -> Stamp {
        Stamp::parse(text).unwrap()
    }

    /// The lines that the reference shows.
    #[test]
    fn lines_as_the_reference_shows_them() {
        let at = at("2026-11-25T09:00:04.250000+01:00");
        let message = |payload: &[u8], retained| Message {
            topic: "cellar/ripening/climate".into(),
            payload: payload.into(),
            retained,
            delivery: Delivery::AtMostOnce,
        };
        let header = Header { begun: at, filters: vec!["cellar/#".into()] };
        let entries = [
            Heard::Subscribed,
            Heard::Message(message(b"12.4,91.0", false)),
            Heard::Message(message(&[0x82, 0xff], true)),
            Heard::Oversized { topic: "cellar/yard/photo".into(), bytes: 900_000 },
            Heard::Lost,
            Heard::Ended,
        ];
        let entries = entries.map(|heard| Entry { at, heard });
        let lines: Vec<String> = [header.to_line()].into_iter().chain(entries.iter().map(Entry::to_line)).collect();
        let page = include_str!("../../layouts/README.md");
        let shown = page.split("```recording\n").nth(1).and_then(|rest| rest.split("```").next()).unwrap();
        assert_eq!(lines.join("\n") + "\n", shown);
        assert_eq!(Header::parse(lines[0].as_bytes()), Ok(header));
        for (line, entry) in lines[1..].iter().zip(&entries) {
            assert_eq!(Entry::parse(line.as_bytes()).as_ref(), Ok(entry));
        }
    }

    #[test]
    fn the_civil_time_is_that_of_the_place() {
        let stamp = at("2026-11-25T23:30:00.5+01:00");
        assert_eq!(stamp.civil().datetime(), DateTime::constant(2026, 11, 25, 23, 30, 0, 500_000_000));
        assert_eq!(at("2026-11-25T22:30:00.500Z").time, stamp.time);
    }

    #[test]
    fn lines_that_are_none_say_why() {
        let header = |line: &str| Header::parse(line.as_bytes()).unwrap_err().to_string();
        let entry = |line: &str| Entry::parse(line.as_bytes()).unwrap_err().to_string();
        assert!(header("12.4,91.0").starts_with("this is no recording"));
        let later = r#"{"format":"sidelight recording","version":2,"time":"2026-11-25T09:00:00Z"}"#;
        assert!(header(later).contains("version 2 and 1 is the latest"), "{}", header(later));
        assert_eq!(
            entry(r#"{"time":"noon","topic":"a","payload":""}"#),
            "expected a time as in RFC 3339, found \"noon\""
        );
        assert_eq!(
            entry(r#"{"time":"2026-11-25T09:00:00Z","topic":"a"}"#),
            "a message has a `payload`, `base64` or `bytes`"
        );
        assert!(entry(r#"{"time":"2026-11-25T09:00:00Z","topic":"a","base64":"*"}"#).contains("damaged"));
        assert!(entry("{").starts_with("this is no line of a recording"));
    }

    proptest! {
        #[test]
        fn every_message_comes_back(
            topic in any::<String>(),
            payload in proptest::collection::vec(any::<u8>(), 0..40),
            text in proptest::option::of(any::<String>()),
            (retained, again) in any::<(bool, bool)>(),
            micros in 0..4_000_000_000_000_000i64,
            quarters in -48..=56i32,
        ) {
            let at = Stamp {
                time: Timestamp::from_microsecond(micros).unwrap(),
                offset: Offset::from_seconds(quarters * 900).unwrap(),
            };
            let payload = text.map_or(payload, String::into_bytes);
            let delivery = if again { Delivery::AtLeastOnce } else { Delivery::AtMostOnce };
            let entry = Entry { at, heard: Heard::Message(Message { topic, payload, retained, delivery }) };
            let line = entry.to_line();
            prop_assert!(!line.contains('\n'));
            prop_assert_eq!(Entry::parse(line.as_bytes()), Ok(entry));
        }

        #[test]
        fn no_line_panics(line in prop_oneof![any::<String>(), "[{}\":,a-z0-9TZ.+-]{0,60}"]) {
            let _ = (Header::parse(line.as_bytes()), Entry::parse(line.as_bytes()));
        }
    }
}
