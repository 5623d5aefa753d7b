//! The survey: what unknown publishers publish, and a first layout for it.
//!
//! What enters are messages with the time; what leaves are topics with their fields, each with how it could be picked, its spread and
//! its cadence, and from those a layout that checks clean. Pure: no clock, no file, no socket. Memory is bounded whatever is published.

mod draft;
mod look;
mod names;
mod rounding;
mod table;
mod written;

use std::collections::{BTreeMap, BTreeSet};

use crate::readings::{Excerpt, Moment};
use crate::recording::cadence::Cadence;

pub use draft::{Draft, DraftError, draft};
pub use look::{Found, Spot};
pub use table::table;

use look::look;

/// Topics that are looked at; of others only the number of messages is known.
pub const MOST_TOPICS: usize = 1000;
/// Fields of a topic that are looked at.
pub const MOST_FIELDS: usize = 32;
/// Distinct words of a field that are kept.
pub const MOST_WORDS: usize = 8;
/// Longer topics are not looked at: no layout names one.
const LONGEST_TOPIC: usize = 512;

/// What was published so far.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    topics: BTreeMap<Box<str>, Topic>,
    messages: u64,
    unlisted: u64,
}

/// What was published under one topic.
#[derive(Clone, Debug, Default)]
pub struct Topic {
    /// Messages in all.
    pub messages: u64,
    /// Messages that the broker had kept.
    pub retained: u64,
    /// Messages in which nothing could be found.
    pub unread: u64,
    /// The last payload, short and escaped.
    pub last: Option<Excerpt>,
    /// How often live messages come.
    pub cadence: Cadence,
    /// What was found, by where it stands.
    pub fields: BTreeMap<Spot, Field>,
    /// Whether there were more fields than are kept.
    pub more_fields: bool,
}

/// What was found at one place of the payloads of a topic.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Field {
    /// In how many messages.
    pub messages: u64,
    /// The least and the greatest number.
    pub spread: Option<(f64, f64)>,
    /// The most decimals.
    pub decimals: u32,
    /// The distinct words.
    pub words: BTreeSet<String>,
    /// Whether there were more words than are kept.
    pub more_words: bool,
    /// The unit that the payload itself names, as it writes it; the last one.
    pub unit: Option<String>,
}

impl Survey {
    /// Takes in a message.
    pub fn hear(&mut self, topic: &str, payload: &[u8], retained: bool, now: Moment) {
        self.messages += 1;
        let full = self.topics.len() >= MOST_TOPICS;
        let known = match self.topics.get_mut(topic) {
            Some(known) => known,
            None if full || topic.len() > LONGEST_TOPIC => {
                self.unlisted += 1;
                return;
            }
            None => self.topics.entry(topic.into()).or_default(),
        };
        known.hear(payload, retained, now);
    }

    /// Takes in a message whose payload was too large to be handed over.
    pub fn hear_oversized(&mut self, topic: &str, now: Moment) {
        self.hear(topic, &[0xff], false, now);
    }

    /// The connection was lost: the silence up to the next message is nobody's cadence.
    pub fn interrupt(&mut self) {
        self.topics.values_mut().for_each(|topic| topic.cadence.interrupt());
    }

    /// The topics in alphabetical order.
    pub fn topics(&self) -> impl Iterator<Item = (&str, &Topic)> {
        self.topics.iter().map(|(name, topic)| (&**name, topic))
    }

    /// How many messages there were.
    pub fn messages(&self) -> u64 {
        self.messages
    }

    /// How many of them were under topics beyond [`MOST_TOPICS`], or under very long ones.
    pub fn unlisted(&self) -> u64 {
        self.unlisted
    }
}

impl Topic {
    fn hear(&mut self, payload: &[u8], retained: bool, now: Moment) {
        self.messages += 1;
        if retained {
            self.retained += 1;
        } else {
            self.cadence.heard(now);
        }
        self.last = Some(Excerpt::of(payload));
        let found = look(payload);
        if found.is_empty() {
            self.unread += 1;
        }
        for (spot, found) in found {
            let spot = self.same_column(spot, &found);
            let full = self.fields.len() >= MOST_FIELDS;
            match self.fields.get_mut(&spot) {
                Some(field) => field.take(found),
                None if full => self.more_fields = true,
                None => self.fields.entry(spot).or_default().take(found),
            }
        }
    }
}

impl Topic {
    /// A whole number reads alike with a decimal point and with a decimal comma: it belongs to the column that has been seen.
    fn same_column(&mut self, spot: Spot, found: &Found) -> Spot {
        let Spot::Column { number, separator, comma } = spot else { return spot };
        let other = Spot::column(number, separator, !comma);
        let is_whole = |found: &Found| matches!(found, Found::Number { value, .. } if look::decimals(*value) == 0);
        if !comma && is_whole(found) && self.fields.contains_key(&other) {
            return other;
        }
        let only_whole = |field: &Field| field.decimals == 0;
        if comma
            && !self.fields.contains_key(&spot)
            && self.fields.get(&other).is_some_and(only_whole)
            && let Some(whole) = self.fields.remove(&other)
        {
            self.fields.insert(spot.clone(), whole);
        }
        spot
    }
}

impl Field {
    fn take(&mut self, found: Found) {
        self.messages += 1;
        match found {
            Found::Number { value, unit } => {
                let (least, greatest) = self.spread.unwrap_or((value, value));
                self.spread = Some((least.min(value), greatest.max(value)));
                self.decimals = self.decimals.max(look::decimals(value));
                self.unit = unit.or(self.unit.take());
            }
            Found::Word(word) if self.words.len() >= MOST_WORDS => self.more_words |= !self.words.contains(&word),
            Found::Word(word) => {
                self.words.insert(word);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    #[test]
    fn topics_fields_and_words_are_bounded() {
        let mut survey = Survey::default();
        for number in 0..2 * MOST_TOPICS as u64 {
            survey.hear(&format!("cellar/shelf{number}/climate"), b"12.4", false, at(number));
        }
        assert_eq!((survey.topics().count(), survey.unlisted()), (MOST_TOPICS, MOST_TOPICS as u64));
        let mut survey = Survey::default();
        for number in 0..100 {
            survey.hear("cellar/door", format!("word{number}").as_bytes(), false, at(number));
            let object = format!("{{\"a{number}\":1}}");
            survey.hear("cellar/tank", object.as_bytes(), false, at(number));
        }
        survey.hear(&"x".repeat(LONGEST_TOPIC + 1), b"1", false, at(100));
        assert_eq!((survey.messages(), survey.unlisted()), (201, 1));
        let topics: Vec<&Topic> = survey.topics().map(|(_, topic)| topic).collect();
        let words = &topics[0].fields[&Spot::Whole];
        assert_eq!((words.words.len(), words.more_words), (MOST_WORDS, true));
        assert_eq!((topics[1].fields.len(), topics[1].more_fields), (MOST_FIELDS, true));
    }

    #[test]
    fn spread_cadence_and_kept_messages() {
        let mut survey = Survey::default();
        survey.hear("cellar/ripening/climate", b"31.0,91.0", true, at(0));
        for (second, payload) in [(4, "12.4,91.0"), (8, "12.75,90.0"), (12, "err"), (17, "11.9,89.5")] {
            survey.hear("cellar/ripening/climate", payload.as_bytes(), false, at(second));
        }
        let (_, topic) = survey.topics().next().unwrap();
        assert_eq!((topic.messages, topic.retained, topic.unread), (5, 1, 0));
        assert_eq!(topic.cadence.usual(), Some(Duration::from_secs(4)));
        let first = &topic.fields[&Spot::column(1, ',', false)];
        assert_eq!((first.spread, first.decimals, first.messages), (Some((11.9, 31.0)), 2, 4));
        assert_eq!(topic.fields[&Spot::Whole].words.iter().collect::<Vec<_>>(), ["err"]);
    }

    #[test]
    fn whole_numbers_belong_to_the_column_with_the_decimal_comma() {
        let mut survey = Survey::default();
        for (second, payload) in [(0, "12;1"), (4, "12,5;1"), (8, "13;1")] {
            survey.hear("cellar/yard/climate", payload.as_bytes(), false, at(second));
        }
        let (_, topic) = survey.topics().next().unwrap();
        let fields: Vec<_> = topic.fields.iter().map(|(spot, field)| (spot.clone(), field.messages)).collect();
        assert_eq!(fields, [(Spot::column(1, ';', true), 3), (Spot::column(2, ';', false), 3)]);
    }
}
