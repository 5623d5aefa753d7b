//! The roll of doors: who is known, who was told, and what each answered.
//!
//! What enters are names, answers and the time; what leaves are messages to publish, and a table. Pure. Answers come from the
//! network: they are quoted without control characters.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::digest::digest;
use crate::feed::{Message, Topic};
use crate::service::{Answer, DoorTopics, Verdict};

/// Doors that one call can reach.
const MOST_DOORS: usize = 10_000;
/// Characters of an answer that are quoted at a time.
const QUOTED: usize = 200;
/// Findings of a door that are listed.
const LISTED: usize = 5;

/// All doors, and the layout for them.
pub(super) struct Roll {
    layout: Vec<u8>,
    digest: String,
    doors: BTreeMap<String, Door>,
    left_out: usize,
}

struct Door {
    topic: Topic,
    /// When the layout was published for it first; and whether that is on its way on this connection.
    told: Option<Instant>,
    is_told: bool,
    outcome: Outcome,
}

enum Outcome {
    /// No answer since it was told; what it showed before, as far as is known.
    Silent { showed: Option<String> },
    /// It shows the layout.
    Shows { after: Duration, kept: bool },
    /// It does not want it.
    Refused { after: Duration, why: String, report: Option<Value> },
}

/// Words from the network as a terminal can take them.
fn quoted(text: &str) -> String {
    let mut signs = text.chars().map(|sign| if sign.is_control() { ' ' } else { sign });
    let mut words: String = signs.by_ref().take(QUOTED).collect();
    if signs.next().is_some() {
        words.push('…');
    }
    words
}

impl Roll {
    pub fn new(layout: Vec<u8>) -> Self {
        Self { digest: digest(&layout), layout, doors: BTreeMap::new(), left_out: 0 }
    }

    /// Enters a door by its topic; one that no layout can be published under is none.
    pub fn call(&mut self, name: &str) {
        if self.doors.contains_key(name) {
            return;
        }
        if self.doors.len() >= MOST_DOORS {
            self.left_out += 1;
            return;
        }
        let Ok(topics) = DoorTopics::below(name) else { return };
        let outcome = Outcome::Silent { showed: None };
        self.doors.insert(name.into(), Door { topic: topics.layout, told: None, is_told: false, outcome });
    }

    pub fn is_empty(&self) -> bool {
        self.doors.is_empty()
    }

    /// Hands the layout to `publish` for each door that was not told yet, until that has no room.
    pub fn publish(&mut self, now: Instant, publish: &mut dyn FnMut(&Topic, &[u8]) -> bool) {
        for door in self.doors.values_mut().filter(|door| !door.is_told) {
            if !publish(&door.topic, &self.layout) {
                return;
            }
            door.is_told = true;
            door.told = door.told.or(Some(now));
        }
    }

    /// Whether every door was told.
    pub fn is_published(&self) -> bool {
        self.doors.values().all(|door| door.is_told)
    }

    /// After a lost connection nobody knows what was on its way: all that did not answer are told again.
    pub fn start_over(&mut self) {
        for door in self.doors.values_mut() {
            door.is_told = !matches!(door.outcome, Outcome::Silent { .. });
        }
    }

    /// Takes an answer. One that the broker kept introduces a door; only one that comes live, after it was told, counts.
    pub fn hear(&mut self, message: &Message, now: Instant) {
        let Some(name) = message.topic.strip_suffix(DoorTopics::ANSWER) else { return };
        let Some(answer) = Answer::read(&message.payload) else { return };
        self.call(name);
        let Some(door) = self.doors.get_mut(name) else { return };
        let Some(told) = door.told.filter(|_| !message.retained) else {
            if let Outcome::Silent { showed } = &mut door.outcome {
                *showed = Some(answer.shows);
            }
            return;
        };
        let after = now.saturating_duration_since(told);
        match answer.last {
            _ if matches!(door.outcome, Outcome::Shows { .. }) => {}
            Some(Verdict { sha256, taken: false, why, report }) if sha256.as_ref() == Some(&self.digest) => {
                let why = why.unwrap_or_default();
                door.outcome = Outcome::Refused { after, why, report };
            }
            Some(_) if answer.shows == self.digest => door.outcome = Outcome::Shows { after, kept: answer.kept },
            _ => {}
        }
    }

    /// Whether every door shows the layout.
    pub fn is_done(&self) -> bool {
        !self.is_empty()
            && self.left_out == 0
            && self.count(|outcome| matches!(outcome, Outcome::Shows { .. })) == self.doors.len()
    }

    /// Whether every door answered.
    pub fn is_answered(&self) -> bool {
        self.count(|outcome| matches!(outcome, Outcome::Silent { .. })) == 0
    }

    fn count(&self, wanted: impl Fn(&Outcome) -> bool) -> usize {
        self.doors.values().filter(|door| wanted(&door.outcome)).count()
    }

    /// How far it is, in words.
    pub fn progress(&self) -> String {
        let shows = self.count(|outcome| matches!(outcome, Outcome::Shows { .. }));
        let refused = self.count(|outcome| matches!(outcome, Outcome::Refused { .. }));
        let refused = if refused == 0 { String::new() } else { format!(", {refused} refused it") };
        format!("{shows} of {} doors show it{refused}", self.doors.len())
    }

    /// A line for each door, findings below it, and one for all.
    pub fn table(&self) -> String {
        let width = self.doors.keys().map(|name| quoted(name).chars().count()).max().unwrap_or(0).max("door".len());
        let mut table = format!("{:width$}  {:>6}  outcome\n", "door", "ms");
        for (name, door) in &self.doors {
            let (after, words) = door.outcome.words(&self.digest);
            let after = after.map_or("-".into(), |after| after.as_millis().to_string());
            let _ = writeln!(table, "{:width$}  {after:>6}  {words}", quoted(name));
            if let Outcome::Refused { report: Some(report), .. } = &door.outcome {
                findings(&mut table, report);
            }
        }
        if self.left_out > 0 {
            let _ = writeln!(table, "more than {MOST_DOORS} doors: the others were left out; use narrower filters");
        }
        let _ = writeln!(table, "{}; SHA-256 {}", self.progress(), self.digest);
        table
    }
}

impl Outcome {
    fn words(&self, digest: &str) -> (Option<Duration>, String) {
        match self {
            Self::Shows { after, kept: true } => (Some(*after), "shows it".into()),
            Self::Shows { after, kept: false } => {
                (Some(*after), "shows it, but could not keep it: its log says why".into())
            }
            Self::Refused { after, why, .. } => (Some(*after), format!("refused: {}", quoted(why))),
            Self::Silent { showed: None } => (None, "no answer, and never one before".into()),
            Self::Silent { showed: Some(showed) } if showed == digest => {
                (None, "no answer; it showed this before".into())
            }
            Self::Silent { showed: Some(_) } => (None, "no answer; it takes it when it is back".into()),
        }
    }
}

/// What a door found, in the shape of `check --json`.
fn findings(table: &mut String, report: &Value) {
    let found = report["findings"].as_array().map_or(&[][..], Vec::as_slice);
    for finding in found.iter().take(LISTED) {
        let text = |key: &str| quoted(finding[key].as_str().unwrap_or_default());
        let number = |key: &str| finding[key].as_u64().unwrap_or(0);
        let _ =
            writeln!(table, "    {}:{}: {}: {}", number("line"), number("column"), text("severity"), text("message"));
    }
    let more = found.len().saturating_sub(LISTED) as u64 + report["left_out"].as_u64().unwrap_or(0);
    if more > 0 {
        let _ = writeln!(table, "    and {more} more");
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;
    use crate::feed::Delivery;

    const LAYOUT: &[u8] = b"panel 128x32\nscreen s { text \"a\" }\n";

    fn message(door: &str, answer: &Answer, retained: bool) -> Message {
        let topic = format!("{door}/layout/answer");
        Message { topic, payload: answer.document(), retained, delivery: Delivery::AtMostOnce }
    }

    fn answer(shows: &str, last: Option<Verdict>) -> Answer {
        Answer::new(shows.into(), "128x32".into(), true, last)
    }

    #[test]
    fn a_table_tells_what_became_of_each_door() {
        let mut roll = Roll::new(LAYOUT.into());
        let start = Instant::now();
        let after = |ms| start + Duration::from_millis(ms);
        let this = digest(LAYOUT);
        let taken = answer(&this, Some(Verdict::taken(this.clone())));
        roll.call("cellar/doors/press");
        for door in ["brine", "packing", "ripening", "store", "yard"] {
            let before = answer(if door == "yard" { &this } else { "00" }, None);
            roll.hear(&message(&format!("cellar/doors/{door}"), &before, true), start);
        }
        let mut published = Vec::new();
        roll.publish(start, &mut |topic, layout| {
            assert_eq!(layout, LAYOUT);
            published.push(topic.to_string());
            published.len() < 4
        });
        assert!(!roll.is_published());
        roll.publish(start, &mut |topic, _| {
            published.push(topic.to_string());
            true
        });
        assert_eq!(
            (roll.is_published(), published.len(), published[0].as_str()),
            (true, 7, "cellar/doors/brine/layout")
        );
        // An answer that the broker kept is from before, however late it comes.
        roll.hear(&message("cellar/doors/yard", &taken, true), after(1));
        roll.hear(&message("cellar/doors/brine", &taken, false), after(12));
        let unkept = Answer { kept: false, ..taken };
        roll.hear(&message("cellar/doors/packing", &unkept, false), after(34));
        let report = json!({"findings": [{"severity": "error", "line": 3, "column": 7, "message": "odd \u{1b}[2J"}], "left_out": 2});
        let refused = Verdict {
            sha256: Some(this.clone()),
            taken: false,
            why: Some("it has\nan error".into()),
            report: Some(report),
        };
        roll.hear(&message("cellar/doors/ripening", &answer("00", Some(refused)), false), after(56));
        // Of another layout.
        roll.hear(&message("cellar/doors/store", &answer("00", Some(Verdict::taken("00".into()))), false), after(60));
        assert!(!roll.is_done() && !roll.is_answered());
        insta::assert_snapshot!(roll.table().replace(&this, "…"), @"
        door                       ms  outcome
        cellar/doors/brine         12  shows it
        cellar/doors/packing       34  shows it, but could not keep it: its log says why
        cellar/doors/press          -  no answer, and never one before
        cellar/doors/ripening      56  refused: it has an error
            3:7: error: odd  [2J
            and 2 more
        cellar/doors/store          -  no answer; it takes it when it is back
        cellar/doors/yard           -  no answer; it showed this before
        2 of 6 doors show it, 1 refused it; SHA-256 …
        ");
    }

    #[test]
    fn what_is_no_answer_is_no_door() {
        let mut roll = Roll::new(LAYOUT.into());
        for (topic, payload) in [
            ("cellar/doors/brine/layout/answer", &b"online"[..]),
            ("cellar/doors/brine/layout", br#"{"version":1}"#),
            ("/layout/answer", b"{}"),
        ] {
            let message = Message {
                topic: topic.into(),
                payload: payload.into(),
                retained: true,
                delivery: Delivery::AtMostOnce,
            };
            roll.hear(&message, Instant::now());
        }
        assert!(roll.is_empty() && !roll.is_done());
    }

    #[test]
    fn after_a_lost_connection_who_did_not_answer_is_told_again() {
        let mut roll = Roll::new(LAYOUT.into());
        let (now, this) = (Instant::now(), digest(LAYOUT));
        roll.call("cellar/doors/brine");
        roll.call("cellar/doors/packing");
        roll.publish(now, &mut |_, _| true);
        roll.hear(&message("cellar/doors/brine", &answer(&this, Some(Verdict::taken(this.clone()))), false), now);
        roll.start_over();
        let mut told = Vec::new();
        roll.publish(now, &mut |topic, _| {
            told.push(topic.to_string());
            true
        });
        assert_eq!(told, ["cellar/doors/packing/layout"]);
    }

    #[test]
    fn doors_are_bounded() {
        let mut roll = Roll::new(LAYOUT.into());
        (0..MOST_DOORS + 3).for_each(|number| roll.call(&format!("cellar/doors/{number}")));
        assert_eq!((roll.doors.len(), roll.left_out), (MOST_DOORS, 3));
    }
}
