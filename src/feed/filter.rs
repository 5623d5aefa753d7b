//! Topic names and topic filters of MQTT.
//!
//! What enters is text; what leaves is a checked [`Topic`] or [`Filter`], and whether a filter matches a topic. Rules and
//! examples: MQTT 3.1.1 and 5.0, section 4.7. Nothing here talks to a broker.

use std::fmt;
use std::str::FromStr;

/// The longest topic name or filter in bytes of UTF-8: its length travels in sixteen bits (section 1.5.3).
pub const LONGEST: usize = 65_535;

/// Why a text is no topic name or no topic filter.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TopicError {
    /// No character at all.
    #[error("the topic is empty: write at least one level, as in \"cellar/brine/climate\"")]
    Empty,
    /// More than 65,535 bytes.
    #[error("the topic has {bytes} bytes and MQTT allows {LONGEST}: shorten it")]
    TooLong {
        /// Its length in bytes.
        bytes: usize,
    },
    /// U+0000, which MQTT forbids in every text.
    #[error("the topic holds the character U+0000: remove it")]
    Nul,
    /// `+` or `#` in a topic name.
    #[error("the topic {topic:?} holds the wildcard {wildcard:?}: a message has one topic, name it in full")]
    Wildcard {
        /// The text.
        topic: String,
        /// The first wildcard in it.
        wildcard: char,
    },
    /// `+` beside other characters in its level.
    #[error(
        "in the filter {filter:?} the level {level:?} mixes \"+\" with other characters: \"+\" stands for a whole level, as in \"cellar/+/climate\""
    )]
    PartOfLevel {
        /// The whole filter.
        filter: String,
        /// The level at fault.
        level: String,
    },
    /// `#` beside other characters, or before the last level.
    #[error(
        "in the filter {filter:?} the level {level:?} holds \"#\": \"#\" stands alone and comes last, as in \"cellar/#\""
    )]
    NotLast {
        /// The whole filter.
        filter: String,
        /// The level at fault.
        level: String,
    },
    /// `$share/...`: the broker would deal the messages out among the subscribers.
    #[error(
        "{filter:?} is a shared subscription, which gives each message to one subscriber only: write the filter that follows the group"
    )]
    Shared {
        /// The whole filter.
        filter: String,
    },
}

/// The name under which a message is published: no wildcards, 1 to 65,535 bytes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Topic(Box<str>);

impl Topic {
    /// Checks a topic name.
    ///
    /// # Errors
    /// [`TopicError`] if it is empty, too long, or holds U+0000 or a wildcard.
    pub fn new(text: &str) -> Result<Self, TopicError> {
        check_text(text)?;
        match text.chars().find(|c| matches!(c, '+' | '#')) {
            Some(wildcard) => Err(TopicError::Wildcard { topic: text.into(), wildcard }),
            None => Ok(Self(text.into())),
        }
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Topic {
    /// The filter that takes this topic alone.
    pub fn to_filter(&self) -> Filter {
        Filter(self.0.clone())
    }
}

/// What to subscribe to: a topic name in which `+` stands for one level and a last `#` for all that follow.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Filter(Box<str>);

impl Filter {
    /// Checks a topic filter.
    ///
    /// # Errors
    /// [`TopicError`] if it is empty, too long, holds U+0000, has a misplaced wildcard or is a shared subscription.
    pub fn new(text: &str) -> Result<Self, TopicError> {
        check_text(text)?;
        if text.starts_with("$share/") {
            return Err(TopicError::Shared { filter: text.into() });
        }
        let mut levels = text.split('/').peekable();
        while let Some(level) = levels.next() {
            if level.contains('#') && (level != "#" || levels.peek().is_some()) {
                return Err(TopicError::NotLast { filter: text.into(), level: level.into() });
            }
            if level.contains('+') && level != "+" {
                return Err(TopicError::PartOfLevel { filter: text.into(), level: level.into() });
            }
        }
        Ok(Self(text.into()))
    }

    /// Whether a message under `topic` belongs to this filter.
    ///
    /// A filter that begins with a wildcard leaves out topics that begin with `$`, which belong to the broker itself
    /// (section 4.7.2).
    pub fn matches(&self, topic: &str) -> bool {
        if topic.starts_with('$') && self.0.starts_with(['+', '#']) {
            return false;
        }
        let mut levels = topic.split('/');
        for wanted in self.0.split('/') {
            match (wanted, levels.next()) {
                // "sport/#" takes "sport" too: the level above belongs to what follows.
                ("#", _) => return true,
                ("+", Some(_)) => {}
                (wanted, Some(level)) if wanted == level => {}
                _ => return false,
            }
        }
        levels.next().is_none()
    }

    /// Whether it can match more than one topic.
    pub fn has_wildcards(&self) -> bool {
        self.0.contains(['+', '#'])
    }

    /// The filter as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// What topic names and filters have in common (sections 1.5.3 and 4.7.3).
fn check_text(text: &str) -> Result<(), TopicError> {
    if text.is_empty() {
        Err(TopicError::Empty)
    } else if text.len() > LONGEST {
        Err(TopicError::TooLong { bytes: text.len() })
    } else if text.contains('\0') {
        Err(TopicError::Nul)
    } else {
        Ok(())
    }
}

impl FromStr for Topic {
    type Err = TopicError;

    fn from_str(text: &str) -> Result<Self, TopicError> {
        Self::new(text)
    }
}

impl FromStr for Filter {
    type Err = TopicError;

    fn from_str(text: &str) -> Result<Self, TopicError> {
        Self::new(text)
    }
}

impl From<Topic> for Filter {
    /// The filter that matches this topic alone.
    fn from(topic: Topic) -> Self {
        Self(topic.0)
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn matches(filter: &str, topic: &str) -> bool {
        Filter::new(filter).unwrap().matches(topic)
    }

    /// The examples in the comments of MQTT 3.1.1 and 5.0, section 4.7 (from memory).
    #[test]
    fn examples_of_the_standard_match_as_it_says() {
        for (filter, topic, expected) in [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/ranking", true),
            ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true),
            ("sport/#", "sport", true),
            ("#", "sport/tennis", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player2", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("#", "$SYS/broker/uptime", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/broker/uptime", true),
            ("$SYS/monitor/+", "$SYS/monitor/Clients", true),
            ("accounts", "ACCOUNTS", false),
            ("finance", "/finance", false),
        ] {
            assert_eq!(matches(filter, topic), expected, "{filter} on {topic}");
        }
    }

    /// The same section's examples of filters that are valid and of filters that are not (from memory).
    #[test]
    fn examples_of_the_standard_are_valid_or_not_as_it_says() {
        for valid in ["#", "sport/tennis/#", "+", "+/tennis/#", "sport/+/player1", "/", "$SYS/#", "a//b"] {
            assert_eq!(Filter::new(valid).as_ref().map(Filter::as_str), Ok(valid));
        }
        let not_last =
            |filter: &str, level: &str| Err(TopicError::NotLast { filter: filter.into(), level: level.into() });
        assert_eq!(Filter::new("sport/tennis#"), not_last("sport/tennis#", "tennis#"));
        assert_eq!(Filter::new("sport/tennis/#/ranking"), not_last("sport/tennis/#/ranking", "#"));
        assert_eq!(Filter::new("##"), not_last("##", "##"));
        for filter in ["sport+", "sport/+x", "++"] {
            assert!(matches!(Filter::new(filter), Err(TopicError::PartOfLevel { .. })), "{filter}");
        }
        assert_eq!(Filter::new(""), Err(TopicError::Empty));
        assert_eq!(Filter::new("a\0"), Err(TopicError::Nul));
        assert_eq!(
            Filter::new("$share/doors/cellar/#"),
            Err(TopicError::Shared { filter: "$share/doors/cellar/#".into() })
        );
    }

    #[test]
    fn topic_names_are_whole() {
        assert_eq!(Topic::new("cellar/brine/tank").unwrap().as_str(), "cellar/brine/tank");
        assert_eq!(Topic::new(""), Err(TopicError::Empty));
        assert_eq!(
            Topic::new("cellar/+/door"),
            Err(TopicError::Wildcard { topic: "cellar/+/door".into(), wildcard: '+' })
        );
        assert!(Topic::new(&"a".repeat(LONGEST)).is_ok());
        assert_eq!(Topic::new(&"a".repeat(LONGEST + 1)), Err(TopicError::TooLong { bytes: LONGEST + 1 }));
    }

    proptest! {
        /// Apart from topics that begin with "$", where it differs from the standard, the client library agrees.
        #[test]
        fn agrees_with_the_client_library(filter in "[ab+#/]{0,8}", topic in "[ab/]{1,8}") {
            let ours = Filter::new(&filter);
            prop_assert_eq!(ours.is_ok(), rumqttc::valid_filter(&filter));
            if let Ok(ours) = ours {
                prop_assert_eq!(ours.matches(&topic), rumqttc::matches(&topic, &filter));
            }
        }

        #[test]
        fn every_topic_matches_itself_and_no_text_panics(text in any::<String>(), other in any::<String>()) {
            if let Ok(topic) = Topic::new(&text)
                && let Ok(filter) = Filter::new(&text)
            {
                prop_assert!(filter.matches(topic.as_str()));
                prop_assert_eq!(filter.matches(&other), other == text);
            }
        }
    }
}
