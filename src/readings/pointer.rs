//! JSON pointers (RFC 6901), followed through a document without building it.
//!
//! A pointer is parsed once; a document enters as text and is read through to its end in one pass, keeping nothing but what the
//! pointer leads to. Where an object has the same member twice, the last one counts, as in most parsers (RFC 8259 leaves it open).

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// The most steps of a pointer; well above any sensible document, and below the parser's own limit of depth.
const MOST_STEPS: usize = 64;

/// A parsed RFC 6901 pointer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pointer {
    text: Box<str>,
    steps: Box<[Step]>,
}

/// One reference token: a member's name, which is also an array's index where it has that form.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Step {
    name: Box<str>,
    index: Option<usize>,
}

/// Why a text is no pointer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PointerError {
    /// It does not begin with a slash.
    #[error("a JSON pointer is empty or begins with /, such as /tank/temperature; found {text:?}")]
    NoSlash {
        /// The text.
        text: String,
    },
    /// A tilde that is neither `~0` nor `~1`.
    #[error("a ~ in a JSON pointer is written ~0, and a / in a name ~1; found {text:?}")]
    Tilde {
        /// The text.
        text: String,
    },
    /// Too many steps.
    #[error("a JSON pointer has at most 64 steps")]
    TooDeep,
}

/// What a pointer leads to. Numbers and texts go through the caller's function at once, since a text lives no longer.
#[derive(Debug)]
pub(super) enum Found<T> {
    Nothing,
    Value(T),
    Bool(bool),
    Null,
    Array,
    Object,
}

/// A number or a text in a document.
pub(super) enum Scalar<'a> {
    Number(f64),
    Text(&'a str),
}

impl Pointer {
    /// Parses a pointer in its text form (RFC 6901, section 3).
    pub fn parse(text: &str) -> Result<Self, PointerError> {
        let mut steps = Vec::new();
        if !text.is_empty() {
            let tail = text.strip_prefix('/').ok_or_else(|| PointerError::NoSlash { text: text.into() })?;
            for token in tail.split('/') {
                let name = unescape(token).ok_or_else(|| PointerError::Tilde { text: text.into() })?;
                steps.push(Step { index: index(&name), name: name.into() });
            }
        }
        if steps.len() > MOST_STEPS {
            return Err(PointerError::TooDeep);
        }
        Ok(Self { text: text.into(), steps: steps.into() })
    }

    /// The pointer as it was written.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Follows the pointer through `document`; `read` makes a value of the number or text at its end.
    pub(super) fn follow<T>(
        &self,
        document: &str,
        read: &dyn Fn(Scalar<'_>) -> T,
    ) -> Result<Found<T>, serde_json::Error> {
        let mut parser = serde_json::Deserializer::from_str(document);
        let found = Walk { steps: &self.steps, read }.deserialize(&mut parser)?;
        parser.end()?;
        Ok(found)
    }
}

/// A reference token with `~1` and `~0` resolved, in this order (section 4).
fn unescape(token: &str) -> Option<String> {
    let mut pieces = token.split('~');
    let mut name = pieces.next()?.to_owned();
    for piece in pieces {
        name.push(match piece.as_bytes().first()? {
            b'0' => '~',
            b'1' => '/',
            _ => return None,
        });
        name.push_str(&piece[1..]);
    }
    Some(name)
}

/// The array index that a name is: digits without leading zeros (section 4).
fn index(name: &str) -> Option<usize> {
    let digits = !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_digit());
    if digits && (name == "0" || !name.starts_with('0')) { name.parse().ok() } else { None }
}

struct Walk<'a, T> {
    steps: &'a [Step],
    read: &'a dyn Fn(Scalar<'_>) -> T,
}

impl<'de, T> DeserializeSeed<'de> for Walk<'_, T> {
    type Value = Found<T>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Found<T>, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<T> Walk<'_, T> {
    /// What a number or text is: the end of the way, or in the way.
    fn scalar<E>(self, scalar: Scalar<'_>) -> Result<Found<T>, E> {
        Ok(if self.steps.is_empty() { Found::Value((self.read)(scalar)) } else { Found::Nothing })
    }

    fn end<E>(self, found: Found<T>) -> Result<Found<T>, E> {
        Ok(if self.steps.is_empty() { found } else { Found::Nothing })
    }
}

impl<'de, T> Visitor<'de> for Walk<'_, T> {
    type Value = Found<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON document")
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<Found<T>, E> {
        self.end(Found::Bool(value))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<Found<T>, E> {
        self.scalar(Scalar::Number(value as f64))
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<Found<T>, E> {
        self.scalar(Scalar::Number(value as f64))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Found<T>, E> {
        self.scalar(Scalar::Number(value))
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<Found<T>, E> {
        self.scalar(Scalar::Text(value))
    }

    fn visit_unit<E: Error>(self) -> Result<Found<T>, E> {
        self.end(Found::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Found<T>, A::Error> {
        let Some((step, steps)) = self.steps.split_first() else {
            while elements.next_element::<IgnoredAny>()?.is_some() {}
            return Ok(Found::Array);
        };
        let mut found = Found::Nothing;
        let mut place = 0;
        loop {
            if step.index == Some(place) {
                match elements.next_element_seed(Walk { steps, read: self.read })? {
                    Some(element) => found = element,
                    None => return Ok(found),
                }
            } else if elements.next_element::<IgnoredAny>()?.is_none() {
                return Ok(found);
            }
            place += 1;
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Found<T>, A::Error> {
        let Some((step, steps)) = self.steps.split_first() else {
            while members.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
            return Ok(Found::Object);
        };
        let mut found = Found::Nothing;
        while let Some(wanted) = members.next_key_seed(Name(&step.name))? {
            if wanted {
                found = members.next_value_seed(Walk { steps, read: self.read })?;
            } else {
                members.next_value::<IgnoredAny>()?;
            }
        }
        Ok(found)
    }
}

/// Whether a member's name is the one wanted, without keeping it.
struct Name<'a>(&'a str);

impl<'de> DeserializeSeed<'de> for Name<'_> {
    type Value = bool;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<bool, D::Error> {
        deserializer.deserialize_str(self)
    }
}

impl<'de> Visitor<'de> for Name<'_> {
    type Value = bool;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a member's name")
    }

    fn visit_str<E: Error>(self, name: &str) -> Result<bool, E> {
        Ok(name == self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn follow(pointer: &str, document: &str) -> String {
        let read = |scalar: Scalar<'_>| match scalar {
            Scalar::Number(value) => value.to_string(),
            Scalar::Text(text) => format!("{text:?}"),
        };
        match Pointer::parse(pointer).unwrap().follow(document, &read) {
            Ok(Found::Value(value)) => value,
            Ok(other) => format!("{other:?}").to_lowercase(),
            Err(error) => format!("error: {error}"),
        }
    }

    // RFC 6901, section 5.
    #[test]
    fn the_standards_examples() {
        let document = r#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;
        for (pointer, value) in [
            ("", "object"),
            ("/foo", "array"),
            ("/foo/0", "\"bar\""),
            ("/", "0"),
            ("/a~1b", "1"),
            ("/c%d", "2"),
            ("/e^f", "3"),
            ("/g|h", "4"),
            ("/i\\j", "5"),
            ("/k\"l", "6"),
            ("/ ", "7"),
            ("/m~0n", "8"),
        ] {
            assert_eq!(follow(pointer, document), value, "{pointer}");
        }
    }

    #[test]
    fn ways_that_end_early_lead_to_nothing() {
        let document = r#"{"a":[10,[20,21],{"b":null}],"c":true,"d":"x"}"#;
        for (pointer, value) in [
            ("/a/0", "10"),
            ("/a/1/1", "21"),
            ("/a/2/b", "null"),
            ("/a/3", "nothing"),
            ("/a/00", "nothing"),
            ("/a/-", "nothing"),
            ("/a/99999999999999999999999", "nothing"),
            ("/a/b", "nothing"),
            ("/c", "bool(true)"),
            ("/c/0", "nothing"),
            ("/d/0", "nothing"),
            ("/e", "nothing"),
        ] {
            assert_eq!(follow(pointer, document), value, "{pointer}");
        }
    }

    // RFC 6901, section 4: ~01 is ~1, not a slash.
    #[test]
    fn escapes_resolve_in_order() {
        assert_eq!(follow("/~01", r#"{"~1":5,"/":6}"#), "5");
    }

    #[test]
    fn the_last_of_equal_members_counts() {
        assert_eq!(follow("/a", r#"{"a":1,"b":2,"a":3}"#), "3");
        assert_eq!(follow("/a/b", r#"{"a":{"b":1},"a":{}}"#), "nothing");
        assert_eq!(follow("/caf\u{e9}", r#"{"caf\u00e9":4}"#), "4");
    }

    #[test]
    fn the_whole_document_must_be_sound() {
        for document in [r#"{"a":1"#, r#"{"a":1} x"#, r#"{"a":1,}"#, r#"{"a":1,"b":nan}"#, "", "1e400"] {
            assert!(follow("/a", document).starts_with("error"), "{document}");
        }
        let deep = format!("{}{}", "[".repeat(1000), "]".repeat(1000));
        assert_eq!(follow("/a", &format!(r#"{{"b":{deep},"a":1}}"#)), "1");
        assert!(follow("/a", &format!(r#"{{"b":{deep}]}}"#)).starts_with("error"));
    }

    #[test]
    fn texts_that_are_no_pointers() {
        assert!(matches!(Pointer::parse("a"), Err(PointerError::NoSlash { .. })));
        assert!(matches!(Pointer::parse("/a~2"), Err(PointerError::Tilde { .. })));
        assert!(matches!(Pointer::parse("/a~"), Err(PointerError::Tilde { .. })));
        assert_eq!(Pointer::parse(&"/0".repeat(65)), Err(PointerError::TooDeep));
    }
}
