//! How an installation is: its link, layouts, readings and panels, in numbers and words for other programs.
//!
//! What enters is what the service knows at one moment; what leaves is one JSON document, a text in OpenMetrics, or a line in
//! words. Pure: the time comes in, nothing is sent from here, and a document has a largest size however much there is to tell.

mod metrics;
pub(super) mod page;

use serde::Serialize;

use super::pane::Pane;
use super::tally::{Standing, Tally};
use crate::feed::{Topic, TopicError, Will};
use crate::readings::{Counts, Moment, State};

pub use metrics::open_metrics;

/// The largest document, in bytes. Lists are cut rather than that it grows beyond.
pub const LARGEST_DOCUMENT: usize = 32 * 1024;
/// How much of a panel's trouble is told, in characters.
const WORDS: usize = 200;

/// Under which topics the health of an installation is published.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HealthTopics {
    /// `online` while the program is connected, else `offline`; the broker says so itself when the connection is lost.
    pub online: Topic,
    /// The document.
    pub health: Topic,
}

impl HealthTopics {
    /// The topics below `topic`.
    ///
    /// # Errors
    /// [`TopicError`] if `topic` cannot be the beginning of a topic's name.
    pub fn below(topic: &str) -> Result<Self, TopicError> {
        // An empty one is told as such, not as "/online".
        Topic::new(topic)?;
        Ok(Self { online: Topic::new(&format!("{topic}/online"))?, health: Topic::new(&format!("{topic}/health"))? })
    }

    /// What the broker says when the connection is lost.
    pub fn will(&self) -> Will {
        Will { topic: self.online.clone(), payload: b"offline".into() }
    }
}

/// How an installation is at one moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Health {
    /// The program's version.
    pub version: &'static str,
    /// For how long it has been running.
    pub uptime_seconds: u64,
    /// The connection to the broker.
    pub link: LinkHealth,
    /// Layouts with their readings.
    pub layouts: Vec<LayoutHealth>,
    /// Panels.
    pub panels: Vec<PanelHealth>,
}

/// The connection to the broker.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LinkHealth {
    /// Whether there is one.
    pub connected: bool,
    /// How many times there was none, or it ended.
    pub losses: u64,
    /// Payloads that were dropped for their size.
    pub oversized: u64,
}

/// A layout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LayoutHealth {
    /// Its file, as it was given.
    pub name: String,
    /// SHA-256 of the text that is shown, in hexadecimal digits.
    pub sha256: String,
    /// Whether the file holds another text, which cannot be shown.
    pub broken: bool,
    /// Its readings, in the order of the file.
    pub readings: Vec<ReadingHealth>,
}

/// A reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ReadingHealth {
    /// Its name in the layout.
    pub name: String,
    /// `live`, `stale`, `waiting` or `faulty`.
    pub state: &'static str,
    /// Messages that were taken.
    pub accepted: u64,
    /// Messages that were refused, by reason.
    pub rejected: Rejected,
}

/// Messages that were refused, by reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Rejected {
    /// Payloads that gave no number.
    pub undecodable: u64,
    /// Payloads that were too long to be looked at.
    pub too_long: u64,
    /// Numbers that were not finite.
    pub not_finite: u64,
    /// Numbers out of range.
    pub out_of_range: u64,
    /// Numbers that jumped further than is credible.
    pub jumps: u64,
}

/// A panel.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PanelHealth {
    /// Where it is.
    pub place: String,
    /// `shows`, `trouble`, or `waiting` for its first picture.
    pub state: &'static str,
    /// Why it does not show its picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trouble: Option<String>,
    /// Frames that reached it.
    pub frames: u64,
    /// Bytes on the bus for them.
    pub bus_bytes: u64,
    /// Attempts to show something that failed.
    pub failures: u64,
}

/// The states of a reading, by name.
pub(super) const fn state_name(state: State) -> &'static str {
    match state {
        State::Live => "live",
        State::Stale => "stale",
        State::Waiting => "waiting",
        State::Faulty => "faulty",
    }
}

impl LayoutHealth {
    /// How a layout and its readings are.
    pub(super) fn of(name: &str, sha256: &str, broken: bool, pane: &Pane, now: Moment) -> Self {
        let readings = pane.store().iter().map(|(spec, reading)| ReadingHealth {
            name: spec.name.clone(),
            state: state_name(reading.state(now)),
            accepted: reading.counts().accepted,
            rejected: reading.counts().into(),
        });
        Self { name: name.into(), sha256: sha256.into(), broken, readings: readings.collect() }
    }
}

impl From<Counts> for Rejected {
    fn from(counts: Counts) -> Self {
        let Counts { accepted: _, undecodable, too_long, not_finite, out_of_range, jumps } = counts;
        Self { undecodable, too_long, not_finite, out_of_range, jumps }
    }
}

impl PanelHealth {
    /// How a panel is.
    pub(super) fn of(place: &str, tally: &Tally) -> Self {
        let (state, trouble) = match tally.standing() {
            Standing::Waiting => ("waiting", None),
            Standing::Shows => ("shows", None),
            Standing::Trouble(words) => ("trouble", Some(words.chars().take(WORDS).collect())),
        };
        let (frames, bus_bytes, failures) = (tally.frames(), tally.bytes(), tally.failures());
        Self { place: place.into(), state, trouble, frames, bus_bytes, failures }
    }
}

impl Health {
    /// Whether the link is up, every layout can be shown, and no panel is in trouble. What a sensor does wrong is not the
    /// installation's fault.
    pub fn is_well(&self) -> bool {
        let panels = self.panels.iter().all(|panel| panel.trouble.is_none());
        self.link.connected && panels && self.layouts.iter().all(|layout| !layout.broken)
    }

    /// The document: one JSON object. If it would be larger than [`LARGEST_DOCUMENT`], lists end early, and `left_out` says how
    /// many entries are missing.
    pub fn document(&self) -> Vec<u8> {
        for most in [usize::MAX, 256, 64, 16, 4, 0] {
            let bytes = self.cut(most);
            if bytes.len() <= LARGEST_DOCUMENT {
                return bytes;
            }
        }
        Vec::new()
    }

    fn cut(&self, most: usize) -> Vec<u8> {
        #[derive(Serialize)]
        struct Cut<'a> {
            #[serde(flatten)]
            health: &'a Health,
            left_out: usize,
        }
        fn shorten<T>(list: &mut Vec<T>, most: usize, left_out: &mut usize) {
            *left_out += list.len().saturating_sub(most);
            list.truncate(most);
        }
        let (mut health, mut left_out) = (self.clone(), 0);
        shorten(&mut health.layouts, most, &mut left_out);
        shorten(&mut health.panels, most, &mut left_out);
        health.layouts.iter_mut().for_each(|layout| shorten(&mut layout.readings, most, &mut left_out));
        // Strings and whole numbers always become JSON.
        serde_json::to_vec(&Cut { health: &health, left_out }).unwrap_or_default()
    }

    /// All in one line of words.
    pub fn sentence(&self) -> String {
        let link = if self.link.connected { "connected" } else { "no connection to the broker" };
        let readings = || self.layouts.iter().flat_map(|layout| &layout.readings);
        let states = [State::Live, State::Stale, State::Waiting, State::Faulty].map(state_name);
        let states = counted(&states, |state| readings().filter(|reading| reading.state == state).count());
        let panels = counted(&["shows", "waiting", "trouble"], |state| {
            self.panels.iter().filter(|panel| panel.state == state).count()
        });
        let broken = match self.layouts.iter().filter(|layout| layout.broken).count() {
            0 => String::new(),
            count => format!("; layouts that cannot be shown: {count}"),
        };
        format!("{link}; readings: {states}; panels: {panels}{broken}")
    }
}

/// `2 live, 1 stale`.
fn counted(kinds: &[&str], count: impl Fn(&str) -> usize) -> String {
    let parts = kinds.iter().map(|kind| (count(kind), kind)).filter(|(count, _)| *count > 0);
    let parts: Vec<String> = parts.map(|(count, kind)| format!("{count} {kind}")).collect();
    if parts.is_empty() { "none".into() } else { parts.join(", ") }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub fn example() -> Health {
        let reading =
            |name: &str, state, accepted, rejected| ReadingHealth { name: name.into(), state, accepted, rejected };
        let panel = |place: &str, state, trouble, failures| PanelHealth {
            place: place.into(),
            state,
            trouble,
            frames: 7,
            bus_bytes: 900,
            failures,
        };
        Health {
            version: "0.1.0",
            uptime_seconds: 3661,
            link: LinkHealth { connected: true, losses: 2, oversized: 0 },
            layouts: vec![LayoutHealth {
                name: "ripening \"door\".layout".into(),
                sha256: "00ff".into(),
                broken: false,
                readings: vec![
                    reading("temp", "live", 12, Rejected::default()),
                    reading("rh", "stale", 11, Rejected { undecodable: 3, ..Rejected::default() }),
                ],
            }],
            panels: vec![
                panel("ssd1306:/dev/i2c-1:0x3c", "shows", None, 0),
                panel("ssd1306:/dev/i2c-1:0x3d", "trouble", Some("no answer".into()), 4),
            ],
        }
    }

    #[test]
    fn the_document_says_it_all() {
        let document: serde_json::Value = serde_json::from_slice(&example().document()).unwrap();
        insta::assert_snapshot!(format!("{document}"), @r##"
        {"layouts":[{"broken":false,"name":"ripening \"door\".layout","readings":[{"accepted":12,"name":"temp","rejected":{"jumps":0,"not_finite":0,"out_of_range":0,"too_long":0,"undecodable":0},"state":"live"},{"accepted":11,"name":"rh","rejected":{"jumps":0,"not_finite":0,"out_of_range":0,"too_long":0,"undecodable":3},"state":"stale"}],"sha256":"00ff"}],"left_out":0,"link":{"connected":true,"losses":2,"oversized":0},"panels":[{"bus_bytes":900,"failures":0,"frames":7,"place":"ssd1306:/dev/i2c-1:0x3c","state":"shows"},{"bus_bytes":900,"failures":4,"frames":7,"place":"ssd1306:/dev/i2c-1:0x3d","state":"trouble","trouble":"no answer"}],"uptime_seconds":3661,"version":"0.1.0"}
        "##);
    }

    #[test]
    fn the_sentence_is_short() {
        let mut health = example();
        assert_eq!(health.sentence(), "connected; readings: 1 live, 1 stale; panels: 1 shows, 1 trouble");
        health.link.connected = false;
        health.layouts[0].readings.clear();
        health.layouts[0].broken = true;
        let words =
            "no connection to the broker; readings: none; panels: 1 shows, 1 trouble; layouts that cannot be shown: 1";
        assert_eq!(health.sentence(), words);
    }

    #[test]
    fn it_is_well_only_if_everything_of_its_own_is() {
        let mut health = example();
        assert!(!health.is_well());
        health.panels.pop();
        assert!(health.is_well(), "a stale reading is the sensor's");
        health.layouts[0].broken = true;
        assert!(!health.is_well());
        health.layouts[0].broken = false;
        health.link.connected = false;
        assert!(!health.is_well());
    }

    #[test]
    fn a_document_is_cut_rather_than_too_large() {
        let mut health = example();
        let reading = health.layouts[0].readings[0].clone();
        health.layouts[0].readings = vec![reading; 1000];
        let bytes = health.document();
        assert!(bytes.len() <= LARGEST_DOCUMENT);
        let document: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(document["layouts"][0]["readings"].as_array().unwrap().len(), 64);
        assert_eq!(document["left_out"], 936);
        health.layouts[0].name = "x".repeat(2 * LARGEST_DOCUMENT);
        let document: serde_json::Value = serde_json::from_slice(&health.document()).unwrap();
        assert_eq!((&document["layouts"], &document["left_out"]), (&serde_json::json!([]), &serde_json::json!(3)));
    }

    #[test]
    fn topics_lie_below_the_one_that_was_chosen() {
        let topics = HealthTopics::below("cellar/doors/ripening").unwrap();
        assert_eq!(topics.online.as_str(), "cellar/doors/ripening/online");
        assert_eq!(topics.health.as_str(), "cellar/doors/ripening/health");
        assert!(HealthTopics::below("").is_err() && HealthTopics::below("cellar/+/door").is_err());
    }
}
