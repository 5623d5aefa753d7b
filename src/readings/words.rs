//! Words that stand for numbers: `open` for 1, `closed` for 0.
//!
//! The list comes from the layout and is checked once; a text from a payload enters, a number leaves. Case counts.

use super::decode_error::Excerpt;

/// A list of different words, each with the finite number that it stands for.
#[derive(Clone, Debug, PartialEq)]
pub struct Words(Box<[(Box<str>, f64)]>);

/// Why a list of words cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WordsError {
    /// No words at all.
    #[error("words needs at least one word with its number")]
    None,
    /// A word without characters, or with white space at its ends, which payloads lose before they are read.
    #[error("a word must not be empty or begin or end with a space: {word:?}")]
    Blank {
        /// The word.
        word: String,
    },
    /// The same word twice.
    #[error("the word {word:?} is listed twice")]
    Twice {
        /// The word.
        word: String,
    },
    /// A word for something that is no number.
    #[error("the word {word:?} needs a finite number")]
    NotFinite {
        /// The word.
        word: String,
    },
}

impl Words {
    /// The list, if it can be used.
    pub fn new(pairs: impl IntoIterator<Item = (String, f64)>) -> Result<Self, WordsError> {
        let mut words: Vec<(Box<str>, f64)> = Vec::new();
        for (word, number) in pairs {
            if word.is_empty() || word.trim() != word {
                return Err(WordsError::Blank { word });
            }
            if !number.is_finite() {
                return Err(WordsError::NotFinite { word });
            }
            if words.iter().any(|(other, _)| **other == *word) {
                return Err(WordsError::Twice { word });
            }
            words.push((word.into(), number));
        }
        if words.is_empty() { Err(WordsError::None) } else { Ok(Self(words.into())) }
    }

    /// The words with their numbers, in the order given.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, f64)> {
        self.0.iter().map(|(word, number)| (&**word, *number))
    }

    /// What `text` stands for.
    pub(super) fn number(&self, text: &str) -> Option<f64> {
        self.pairs().find(|(word, _)| *word == text).map(|(_, number)| number)
    }

    /// What the number `value` of a JSON document stands for, when the list has it as a word: `words("1": 100)`.
    pub(super) fn number_for(&self, value: f64) -> Option<f64> {
        self.pairs().find(|(word, _)| word.parse() == Ok(value)).map(|(_, number)| number)
    }

    /// The words for an error message.
    pub(super) fn listed(&self) -> Excerpt {
        let mut list = String::new();
        for (word, _) in self.pairs().take(8) {
            if !list.is_empty() {
                list.push_str(", ");
            }
            list.push_str(word);
        }
        Excerpt::of(list.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(pairs: &[(&str, f64)]) -> Result<Words, WordsError> {
        Words::new(pairs.iter().map(|(word, number)| (word.to_string(), *number)))
    }

    #[test]
    fn a_word_stands_for_its_number() {
        let words = words(&[("open", 1.0), ("closed", 0.0), ("2", 7.0)]).unwrap();
        assert_eq!(words.number("open"), Some(1.0));
        assert_eq!(words.number("Open"), None);
        assert_eq!(words.number_for(2.0), Some(7.0));
        assert_eq!(words.number_for(1.0), None);
        assert_eq!(words.listed().as_str(), "\"open, closed, 2\"");
    }

    #[test]
    fn lists_that_cannot_be_used() {
        assert_eq!(words(&[]), Err(WordsError::None));
        assert_eq!(words(&[(" on", 1.0)]), Err(WordsError::Blank { word: " on".into() }));
        assert_eq!(words(&[("on", f64::NAN)]), Err(WordsError::NotFinite { word: "on".into() }));
        assert_eq!(words(&[("on", 1.0), ("on", 0.0)]), Err(WordsError::Twice { word: "on".into() }));
    }
}
