//! Whether a publisher is there, as its last will tells (MQTT 5.0, section 3.1.2.5).
//!
//! A payload of the topic enters, `online` or `offline` leaves; any other word says nothing.

use crate::feed::Filter;

/// Where a publisher says that it is there, and the broker in its place that it is not.
#[derive(Clone, Debug, PartialEq)]
pub struct Presence {
    /// The topic, without wildcards.
    pub topic: Filter,
    /// What is published while it is there.
    pub online: String,
    /// What is published when it is gone.
    pub offline: String,
}

impl Presence {
    /// Whether the publisher is there; `None` if the payload is neither of the two words. White space around a word and a NUL behind
    /// it do not count.
    pub fn read(&self, payload: &[u8]) -> Option<bool> {
        let word = str::from_utf8(payload).ok()?.trim_matches(|sign: char| sign.is_ascii_whitespace() || sign == '\0');
        if word == self.online { Some(true) } else { (word == self.offline).then_some(false) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_words_are_known() {
        let topic = Filter::new("cellar/ripening/status").unwrap();
        let presence = Presence { topic, online: "online".into(), offline: "offline".into() };
        for (payload, there) in [
            (&b"online"[..], Some(true)),
            (b" offline\n\0", Some(false)),
            (b"Online", None),
            (b"", None),
            (b"\xff", None),
        ] {
            assert_eq!(presence.read(payload), there);
        }
    }
}
