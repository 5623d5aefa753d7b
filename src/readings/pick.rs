//! How a payload becomes a number: from which place, and whether as digits or as a word.
//!
//! Payload bytes enter, a finite number or a [`DecodeError`] leaves. Nothing is guessed: a unit behind the digits, a missing column, a
//! decimal comma where the layout does not speak of one are errors. No payload makes this panic, recurse without bound, or work longer than its length asks for.

use std::fmt;

use super::column::column;
use super::decode_error::{DecodeError, Excerpt, Spot};
use super::pointer::{Found, Pointer, PointerError, Scalar};
use super::senml::{Sample, Senml};
use super::words::{Words, WordsError};
use crate::units::Unit;

/// The longest payload that is looked at, in bytes.
pub const MOST_BYTES: usize = 64 * 1024;

/// How a payload becomes a number.
#[derive(Clone, Debug, PartialEq)]
pub struct Pick {
    place: Place,
    words: Option<Words>,
    /// Whether numbers are written with a decimal comma.
    comma: bool,
}

/// Where in the payload the number or word stands.
#[derive(Clone, Debug, PartialEq)]
enum Place {
    Whole,
    Column { number: u16, separator: char },
    Pointer(Pointer),
    Senml(Senml),
}

/// Why a pick cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PickError {
    /// Columns count from 1 and go up to 65535.
    #[error("columns count from 1 to 65535")]
    ColumnNumber,
    /// A separator that could be part of a number, a word or the quoting.
    #[error("{separator:?} cannot separate columns; take a comma, a semicolon, a space, a tab or another sign")]
    Separator {
        /// The separator asked for.
        separator: char,
    },
    /// Commas cannot be both in numbers and between them.
    #[error(
        "a comma cannot separate columns of numbers with a decimal comma; the separator is then another, such as a semicolon"
    )]
    TwoCommas,
    /// No SenML record can have the name.
    #[error("a SenML name begins with a letter or digit and goes on with those and - : . / _; found {name:?}")]
    SenmlName {
        /// The name asked for.
        name: String,
    },
    /// The pointer is malformed.
    #[error(transparent)]
    Pointer(#[from] PointerError),
    /// The words cannot be used.
    #[error(transparent)]
    Words(#[from] WordsError),
}

impl Pick {
    /// The whole payload is one number: `12.4`.
    pub fn number() -> Self {
        Self::at(Place::Whole)
    }

    /// The number is in a column of a separated line, counted from 1: column 2 of `12.4,91.0`. Cells may be quoted as in
    /// RFC 4180. Letters, digits, signs of a number, quotation marks and line breaks cannot separate.
    pub fn column(number: usize, separator: char) -> Result<Self, PickError> {
        let number = u16::try_from(number).ok().filter(|number| *number > 0).ok_or(PickError::ColumnNumber)?;
        let control = separator.is_control() && separator != '\t';
        if separator.is_alphanumeric() || control || matches!(separator, '.' | '+' | '-' | '"') {
            return Err(PickError::Separator { separator });
        }
        Ok(Self::at(Place::Column { number, separator }))
    }

    /// The number is in a JSON document, at an RFC 6901 pointer. A text that holds a number counts as that number, since many
    /// devices publish `"12.4"`; `true`, `false`, `null`, arrays and objects do not.
    pub fn pointer(pointer: &str) -> Result<Self, PickError> {
        Ok(Self::at(Place::Pointer(Pointer::parse(pointer)?)))
    }

    /// The number is in a SenML pack (RFC 8428, JSON or CBOR), in the newest record called `name`: its value, or with `sum` its sum,
    /// converted to `unit` from the one that the record names.
    pub fn senml(name: &str, unit: Unit, sum: bool) -> Result<Self, PickError> {
        let senml = Senml::new(name, unit, sum).ok_or_else(|| PickError::SenmlName { name: name.into() })?;
        Ok(Self::at(Place::Senml(senml)))
    }

    /// The same place, where numbers are written with a decimal comma and never with a point.
    pub fn with_decimal_comma(self) -> Result<Self, PickError> {
        if matches!(self.place, Place::Column { separator: ',', .. }) {
            return Err(PickError::TwoCommas);
        }
        Ok(Self { comma: true, ..self })
    }

    fn at(place: Place) -> Self {
        Self { place, words: None, comma: false }
    }

    /// The whole payload is one of these words, each of which stands for a number.
    pub fn words(pairs: impl IntoIterator<Item = (String, f64)>) -> Result<Self, PickError> {
        Self::number().with_words(pairs)
    }

    /// The same place, where one of these words stands instead of a number. In JSON, `true` and `false` count as words too.
    pub fn with_words(self, pairs: impl IntoIterator<Item = (String, f64)>) -> Result<Self, PickError> {
        Ok(Self { words: Some(Words::new(pairs)?), ..self })
    }

    /// The words, where words are expected and not numbers: all that this pick can ever give.
    pub fn known_words(&self) -> Option<&Words> {
        self.words.as_ref()
    }

    /// The number in `payload`, always finite. White space around it and a NUL behind it do not count (common practice).
    pub fn decode(&self, payload: &[u8]) -> Result<f64, DecodeError> {
        self.sample(payload).map(|sample| sample.value)
    }

    /// The number in `payload` with its age, which only SenML tells.
    pub fn sample(&self, payload: &[u8]) -> Result<Sample, DecodeError> {
        if payload.len() > MOST_BYTES {
            return Err(DecodeError::TooLong { length: payload.len() });
        }
        let number = match &self.place {
            Place::Senml(_) if trimmed(payload, |_| false).is_empty() => return Err(DecodeError::Empty),
            Place::Senml(senml) => return senml.read(payload),
            Place::Whole => self.read(self.text(payload)?, || Spot::Whole),
            Place::Column { number, separator } => {
                let cell = column(self.text(payload)?, *number, *separator)?;
                self.read(&cell, || Spot::Column(*number))
            }
            Place::Pointer(pointer) => self.follow(pointer, self.text(payload)?),
        };
        number.map(Sample::from)
    }

    /// The payload as a text that is not empty.
    fn text<'a>(&self, payload: &'a [u8]) -> Result<&'a str, DecodeError> {
        let bytes = match self.place {
            // A tab or space that separates columns is no white space around them: to drop one would shift the columns.
            Place::Column { separator, .. } => trimmed(payload, |byte| char::from(byte) == separator),
            _ => trimmed(payload, |_| false),
        };
        let text = str::from_utf8(bytes).map_err(|_| DecodeError::NotText { found: Excerpt::of(bytes) })?;
        if text.is_empty() { Err(DecodeError::Empty) } else { Ok(text) }
    }

    /// The number that `text` writes or, where words are expected, stands for.
    fn read(&self, text: &str, spot: impl Fn() -> Spot) -> Result<f64, DecodeError> {
        let found = || Excerpt::of(text.as_bytes());
        match &self.words {
            Some(words) => words.number(text).ok_or_else(|| DecodeError::UnknownWord {
                spot: spot(),
                expected: words.listed(),
                found: found(),
            }),
            None if self.comma && text.contains('.') => Err(DecodeError::DecimalPoint { spot: spot(), found: found() }),
            None => match if self.comma { text.replace(',', ".").parse::<f64>() } else { text.parse() } {
                // Adding zero makes a plain zero of -0.
                Ok(value) if value.is_finite() => Ok(value + 0.0),
                Ok(_) => Err(DecodeError::NotFinite { spot: spot(), found: found() }),
                Err(_) => Err(DecodeError::NotANumber { spot: spot(), found: found() }),
            },
        }
    }

    fn follow(&self, pointer: &Pointer, document: &str) -> Result<f64, DecodeError> {
        let spot = || Spot::Pointer(Excerpt::of(pointer.as_str().as_bytes()));
        let read = |scalar: Scalar<'_>| match (scalar, &self.words) {
            (Scalar::Text(text), _) => self.read(text.trim(), spot),
            (Scalar::Number(value), None) if value.is_finite() => Ok(value + 0.0),
            (Scalar::Number(value), None) => {
                Err(DecodeError::NotFinite { spot: spot(), found: Excerpt::of(value.to_string().as_bytes()) })
            }
            (Scalar::Number(value), Some(words)) => words.number_for(value).ok_or_else(|| DecodeError::UnknownWord {
                spot: spot(),
                expected: words.listed(),
                found: Excerpt::of(value.to_string().as_bytes()),
            }),
        };
        let wrong = |found| DecodeError::WrongKind { spot: spot(), found };
        match pointer.follow(document, &read) {
            Ok(Found::Value(value)) => value,
            Ok(Found::Bool(value)) if self.words.is_some() => self.read(if value { "true" } else { "false" }, spot),
            Ok(Found::Bool(_)) => Err(wrong("true or false")),
            Ok(Found::Nothing) => Err(DecodeError::NothingThere { spot: spot() }),
            Ok(Found::Null) => Err(wrong("null")),
            Ok(Found::Array) => Err(wrong("an array")),
            Ok(Found::Object) => Err(wrong("an object")),
            Err(error) => Err(DecodeError::NotJson {
                found: Excerpt::of(document.as_bytes()),
                reason: error.to_string().chars().take(100).collect::<String>().into(),
            }),
        }
    }
}

/// The payload without white space around it and without NULs behind it; a byte to `keep` ends the trimming.
fn trimmed(payload: &[u8], keep: impl Fn(u8) -> bool) -> &[u8] {
    let white = |byte: u8| byte.is_ascii_whitespace() && !keep(byte);
    let mut rest = payload;
    while let [first, after @ ..] = rest
        && white(*first)
    {
        rest = after;
    }
    while let [before @ .., last] = rest
        && (*last == 0 || white(*last))
    {
        rest = before;
    }
    rest
}

/// As a layout writes it; equal picks, and only they, are written alike.
impl fmt::Display for Pick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::Whole if self.words.is_some() => {}
            Place::Whole => f.write_str("number")?,
            Place::Column { number, separator } => {
                write!(f, "column({number}, separator: {:?})", separator.to_string())?
            }
            Place::Pointer(pointer) => write!(f, "pointer({:?})", pointer.as_str())?,
            Place::Senml(senml) => write!(f, "{senml}")?,
        }
        if self.comma {
            f.write_str(" decimal: comma")?;
        }
        let Some(words) = &self.words else { return Ok(()) };
        f.write_str("words(")?;
        for (place, (word, number)) in words.pairs().enumerate() {
            write!(f, "{}{word:?}: {number:?}", if place > 0 { ", " } else { "" })?;
        }
        f.write_str(")")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn door() -> impl IntoIterator<Item = (String, f64)> {
        [("open".to_owned(), 1.0), ("closed".to_owned(), 0.0)]
    }

    fn words(pick: Pick, payload: &[u8]) -> String {
        match pick.decode(payload) {
            Ok(value) => value.to_string(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn plain_numbers() {
        for (payload, value) in [
            ("12.4", 12.4),
            (" -3\r\n", -3.0),
            ("91.0\0", 91.0),
            ("7\0\n\0", 7.0),
            ("+.5", 0.5),
            ("1e3", 1000.0),
            ("5.", 5.0),
            ("1e-400", 0.0),
        ] {
            assert_eq!(Pick::number().decode(payload.as_bytes()), Ok(value), "{payload:?}");
        }
        assert!(Pick::number().decode(b"-0").unwrap().is_sign_positive());
    }

    #[test]
    fn what_is_no_number_says_so() {
        for (payload, said) in [
            (&b""[..], "the payload is empty"),
            (b" \n\0", "the payload is empty"),
            (b"err", r#"expected a number, found "err""#),
            (b"1,5", r#"expected a number, found "1,5""#),
            (b"23.4C", r#"expected a number, found "23.4C""#),
            (b"0x10", r#"expected a number, found "0x10""#),
            (b"1 2", r#"expected a number, found "1 2""#),
            (b"\x001", r#"expected a number, found "\01""#),
            (b"nan", r#"expected a finite number, found "nan""#),
            (b"-inf", r#"expected a finite number, found "-inf""#),
            (b"1e999", r#"expected a finite number, found "1e999""#),
            (b"\xff\xfe", "expected text in UTF-8, found \"\u{fffd}\u{fffd}\""),
        ] {
            assert_eq!(words(Pick::number(), payload), said);
        }
        assert_eq!(
            words(Pick::number(), &vec![b'1'; MOST_BYTES + 1]),
            "the payload has 65537 bytes, more than the 65536 allowed"
        );
        assert!(Pick::number().decode(&vec![b'0'; MOST_BYTES]).is_ok());
    }

    #[test]
    fn columns() {
        let column = |number| Pick::column(number, ',').unwrap();
        assert_eq!(column(1).decode(b"12.4,91.0\n"), Ok(12.4));
        assert_eq!(column(2).decode(b"12.4,\"91.0\"\n"), Ok(91.0));
        assert_eq!(words(column(2), b"12.4,err"), r#"expected a number in column 2, found "err""#);
        assert_eq!(words(column(2), b"12.4,"), r#"expected a number in column 2, found """#);
        assert_eq!(words(column(3), b"12.4,91.0"), "expected at least 3 columns, found 2");
        assert_eq!(words(column(1), b"1,2\n3,4"), "expected one line of columns, found more");
        assert_eq!(Pick::column(0, ','), Err(PickError::ColumnNumber));
        assert_eq!(Pick::column(70_000, ','), Err(PickError::ColumnNumber));
        for separator in ['.', '-', '"', 'e', '5', '\n', '\0'] {
            assert_eq!(Pick::column(1, separator), Err(PickError::Separator { separator }));
        }
        let tab = |number| Pick::column(number, '\t').unwrap();
        assert_eq!(tab(2).decode(b"1\t2\r\n"), Ok(2.0));
        assert_eq!(tab(2).decode(b"\t2"), Ok(2.0));
        assert_eq!(words(tab(1), b"\t2"), r#"expected a number in column 1, found """#);
        assert_eq!(words(tab(2), b"1\t"), r#"expected a number in column 2, found """#);
    }

    #[test]
    fn pointers() {
        let at = |pointer| Pick::pointer(pointer).unwrap();
        let tank = br#"{"tank":{"temperature":13.1,"level":"71.5","heater":false},"alarms":[]}"#;
        assert_eq!(at("/tank/temperature").decode(tank), Ok(13.1));
        assert_eq!(at("/tank/level").decode(tank), Ok(71.5));
        assert_eq!(words(at("/tank"), tank), r#"expected a number at "/tank", found an object"#);
        assert_eq!(words(at("/alarms"), tank), r#"expected a number at "/alarms", found an array"#);
        assert_eq!(words(at("/salt"), tank), r#"found nothing at "/salt" in the JSON document"#);
        assert_eq!(
            words(at("/tank/heater"), tank),
            r#"expected a number at "/tank/heater", found true or false; say with words(true: 1, false: 0) what they mean"#
        );
        assert_eq!(
            words(at("/a"), b"12.4,"),
            r#"expected JSON, found "12.4," (trailing characters at line 1 column 5)"#
        );
        assert_eq!(words(at("/a"), br#"{"a":"nan"}"#), r#"expected a finite number at "/a", found "nan""#);
        assert!(words(at("/a"), br#"{"a":1e400}"#).contains("number out of range"));
        assert!(matches!(Pick::pointer("tank"), Err(PickError::Pointer(_))));
    }

    #[test]
    fn decimal_commas_where_the_layout_says_so() {
        let number = Pick::number().with_decimal_comma().unwrap();
        for (payload, value) in [("12,4", 12.4), ("-3", -3.0), (",5", 0.5), ("1,5e3\n", 1500.0)] {
            assert_eq!(number.decode(payload.as_bytes()), Ok(value), "{payload}");
        }
        let point = r#"expected a number with a decimal comma, found "1.234""#;
        assert_eq!(words(number.clone(), b"1.234"), point);
        assert_eq!(words(number.clone(), b"1,234,5"), r#"expected a number, found "1,234,5""#);
        assert_eq!(words(number, b"1.234,5"), r#"expected a number with a decimal comma, found "1.234,5""#);
        let cell = Pick::column(2, ';').unwrap().with_decimal_comma().unwrap();
        assert_eq!(cell.decode(b"12,4;91,5"), Ok(91.5));
        assert_eq!(Pick::column(2, ',').unwrap().with_decimal_comma(), Err(PickError::TwoCommas));
    }

    #[test]
    fn words_stand_for_numbers() {
        let pick = Pick::words(door()).unwrap();
        assert_eq!(pick.decode(b"open\n"), Ok(1.0));
        assert_eq!(words(pick.clone(), b"ajar"), r#"expected one of "open, closed", found "ajar""#);
        assert_eq!(words(pick, b"1"), r#"expected one of "open, closed", found "1""#);
        let cell = Pick::column(2, ',').unwrap().with_words(door()).unwrap();
        assert_eq!(cell.decode(b"7,closed"), Ok(0.0));
        let switch = [("true".to_owned(), 1.0), ("false".to_owned(), 0.0), ("2".to_owned(), 0.5)];
        let member = Pick::pointer("/on").unwrap().with_words(switch).unwrap();
        assert_eq!(member.decode(br#"{"on":true}"#), Ok(1.0));
        assert_eq!(member.decode(br#"{"on":"false"}"#), Ok(0.0));
        assert_eq!(member.decode(br#"{"on":2}"#), Ok(0.5));
        assert_eq!(words(member, br#"{"on":3}"#), r#"expected one of "true, false, 2" at "/on", found "3""#);
        assert!(matches!(Pick::words([]), Err(PickError::Words(WordsError::None))));
    }

    fn picks() -> Vec<Pick> {
        vec![
            Pick::number(),
            Pick::column(2, ',').unwrap(),
            Pick::column(1, ' ').unwrap().with_words(door()).unwrap(),
            Pick::pointer("/a/0").unwrap(),
            Pick::pointer("").unwrap().with_words(door()).unwrap(),
            Pick::column(1, ';').unwrap().with_decimal_comma().unwrap(),
            Pick::senml("a", Unit::BARE, false).unwrap(),
        ]
    }

    proptest! {
        #[test]
        fn no_payload_gives_more_than_a_number_or_an_error(payload in proptest::collection::vec(any::<u8>(), 0..200)) {
            for pick in picks() {
                if let Ok(value) = pick.decode(&payload) {
                    prop_assert!(value.is_finite());
                }
            }
        }

        #[test]
        fn nor_does_anything_that_looks_like_one(payload in r#"[-+0-9eE.,"\[\]{}:a \n\\truefalsnni]{0,60}"#) {
            for pick in picks() {
                match pick.decode(payload.as_bytes()) {
                    Ok(value) => prop_assert!(value.is_finite()),
                    Err(error) => prop_assert!(error.to_string().len() < 1000),
                }
            }
        }

        #[test]
        fn json_and_plain_text_give_the_same_number(digits in -9_007_199_254_740_991..9_007_199_254_740_991i64, places in 0..16u32) {
            // Up to 2^53 in digits and 22 decimal places the JSON parser is exact; what sensors publish is far within.
            let (sign, size) = (if digits < 0 { "-" } else { "" }, digits.unsigned_abs());
            let whole = size / 10u64.pow(places);
            let part = size % 10u64.pow(places);
            let written = match places {
                0 => format!("{sign}{whole}"),
                _ => format!("{sign}{whole}.{part:0width$}", width = places as usize),
            };
            let plain = Pick::number().decode(written.as_bytes());
            prop_assert!(plain.is_ok());
            let document = format!(r#"{{"a":{written}}}"#);
            prop_assert_eq!(Pick::pointer("/a").unwrap().decode(document.as_bytes()), plain);
        }

        #[test]
        fn each_number_is_read_as_written(value in proptest::num::f64::NORMAL, before in 0..3usize) {
            let line = format!("{}{value}", "x,".repeat(before));
            prop_assert_eq!(Pick::column(before + 1, ',').unwrap().decode(line.as_bytes()), Ok(value));
        }
    }

    #[test]
    fn it_is_written_as_in_a_layout() {
        let pairs = [("open".to_string(), 1.0), ("closed".to_string(), 0.0)];
        let picks = [
            (Pick::number(), "number"),
            (Pick::column(2, ';').unwrap(), r#"column(2, separator: ";")"#),
            (Pick::pointer("/level").unwrap(), r#"pointer("/level")"#),
            (Pick::words(pairs.clone()).unwrap(), r#"words("open": 1.0, "closed": 0.0)"#),
            (Pick::pointer("").unwrap().with_words(pairs).unwrap(), r#"pointer("")words("open": 1.0, "closed": 0.0)"#),
        ];
        for (pick, written) in picks {
            assert_eq!(pick.to_string(), written);
        }
    }
}
