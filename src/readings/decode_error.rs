//! Why a payload gave no number, in words that can go into a log and onto a panel.
//!
//! Bytes of the payload enter only as an [`Excerpt`]: short, escaped and of bounded length, whatever was published.

use std::fmt;

/// How many characters of a payload an error shows.
const EXCERPT: usize = 32;

/// The beginning of something that was published: at most 32 characters, escaped where they could not be shown.
#[derive(Clone, PartialEq, Eq)]
pub struct Excerpt(Box<str>);

impl Excerpt {
    /// The beginning of `bytes`; what is no UTF-8 is shown as U+FFFD.
    pub fn of(bytes: &[u8]) -> Self {
        // A character has at most four bytes, so that this much holds more than will be shown.
        let beginning = &bytes[..bytes.len().min(4 * (EXCERPT + 1))];
        let mut shown = String::from("\"");
        let mut signs = String::from_utf8_lossy(beginning).into_owned();
        if bytes.len() > beginning.len() {
            signs.push(' ');
        }
        for (count, sign) in signs.chars().enumerate() {
            if count == EXCERPT {
                shown.push('…');
                break;
            }
            shown.extend(sign.escape_debug());
        }
        shown.push('"');
        Self(shown.into())
    }

    /// The excerpt with its quotation marks.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Excerpt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for Excerpt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Where in a payload something was looked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Spot {
    /// The whole payload.
    Whole,
    /// A column, counted from 1.
    Column(u16),
    /// A place in a JSON document, as an RFC 6901 pointer.
    Pointer(Excerpt),
    /// A SenML record, by its name.
    Record(Excerpt),
}

impl fmt::Display for Spot {
    /// Writes what follows "expected a number": nothing, ` in column 2`, ` at "/a/b"`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Column(number) => write!(f, " in column {number}"),
            Self::Pointer(pointer) => write!(f, " at {pointer}"),
            Self::Record(name) => write!(f, " in the record {name}"),
        }
    }
}

/// Why a payload gave no number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DecodeError {
    /// Nothing but white space.
    #[error("the payload is empty")]
    Empty,
    /// Longer than [`MOST_BYTES`](super::MOST_BYTES).
    #[error("the payload has {length} bytes, more than the {} allowed", super::MOST_BYTES)]
    TooLong {
        /// Bytes of the payload.
        length: usize,
    },
    /// Not UTF-8.
    #[error("expected text in UTF-8, found {found}")]
    NotText {
        /// What was found.
        found: Excerpt,
    },
    /// Text that is no number.
    #[error("expected a number{spot}, found {found}")]
    NotANumber {
        /// Where.
        spot: Spot,
        /// What was found.
        found: Excerpt,
    },
    /// A decimal point, which would leave open what a comma means.
    #[error("expected a number with a decimal comma{spot}, found {found}")]
    DecimalPoint {
        /// Where.
        spot: Spot,
        /// What was found.
        found: Excerpt,
    },
    /// `nan`, `inf`, or larger than a number can be.
    #[error("expected a finite number{spot}, found {found}")]
    NotFinite {
        /// Where.
        spot: Spot,
        /// What was found.
        found: Excerpt,
    },
    /// Text that is none of the words that the layout lists.
    #[error("expected one of {expected}{spot}, found {found}")]
    UnknownWord {
        /// Where.
        spot: Spot,
        /// The words that the layout lists, shortened if they are many.
        expected: Excerpt,
        /// What was found.
        found: Excerpt,
    },
    /// Fewer columns than wanted.
    #[error("expected at least {wanted} columns, found {columns}")]
    NoSuchColumn {
        /// The column that was looked for, from 1.
        wanted: u16,
        /// How many there are.
        columns: usize,
    },
    /// Quotation marks against RFC 4180, section 2.
    #[error("quotation marks do not pair in column {column}")]
    UnpairedQuotes {
        /// The column, from 1.
        column: usize,
    },
    /// Columns in more than one line.
    #[error("expected one line of columns, found more")]
    SeveralLines,
    /// Not JSON (RFC 8259).
    #[error("expected JSON, found {found} ({reason})")]
    NotJson {
        /// The payload.
        found: Excerpt,
        /// What is wrong with it, and where.
        reason: Box<str>,
    },
    /// Not SenML (RFC 8428).
    #[error("expected SenML, found {reason}")]
    NotSenml {
        /// What is wrong with it.
        reason: Box<str>,
    },
    /// The SenML pack has no such record with a number.
    #[error("found no record {name} in the SenML pack")]
    NoRecord {
        /// The name that was looked for.
        name: Excerpt,
    },
    /// The record is in a unit that measures something else, or in none that is known.
    #[error("the record {name} is in {found}{}, which cannot be given in {wanted}", if *.sum { " times a second" } else { "" })]
    UnlikeUnit {
        /// The record's name.
        name: Excerpt,
        /// The unit that the record names.
        found: Excerpt,
        /// Whether its sum was looked for.
        sum: bool,
        /// The reading's unit.
        wanted: Box<str>,
    },
    /// The JSON document has nothing at the pointer.
    #[error("found nothing{spot} in the JSON document")]
    NothingThere {
        /// Where.
        spot: Spot,
    },
    /// The pointer leads to something that is no number.
    #[error("expected a number{spot}, found {found}{}", if *.found == "true or false" { "; say with words(true: 1, false: 0) what they mean" } else { "" })]
    WrongKind {
        /// Where.
        spot: Spot,
        /// What is there.
        found: &'static str,
    },
}

impl DecodeError {
    /// Whether it was a number, but none that can be used: not finite.
    pub fn is_not_finite(&self) -> bool {
        matches!(self, Self::NotFinite { .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn excerpts_are_short_and_printable() {
        assert_eq!(Excerpt::of(b"err").as_str(), r#""err""#);
        assert_eq!(Excerpt::of(b"a\"\n\0").as_str(), r#""a\"\n\0""#);
        assert_eq!(Excerpt::of(b"\xff1").as_str(), "\"\u{fffd}1\"");
        assert_eq!(Excerpt::of(&[b'x'; 32]).as_str(), format!("\"{}\"", "x".repeat(32)));
        assert_eq!(Excerpt::of(&[b'x'; 33]).as_str(), format!("\"{}…\"", "x".repeat(32)));
    }

    proptest! {
        #[test]
        fn excerpts_are_bounded(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            let excerpt = Excerpt::of(&bytes);
            // The longest escape of one character is \u{10ffff}.
            prop_assert!(excerpt.as_str().chars().count() <= EXCERPT * 10 + 3);
            prop_assert!(excerpt.as_str().chars().all(|sign| !sign.is_control()));
        }
    }
}
