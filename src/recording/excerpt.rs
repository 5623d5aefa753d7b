//! What of a recording concerns a layout, kept in memory so that it can be played from any place.
//!
//! What enters are a recording and filters; what leaves are its entries, again and again. Its size is bounded: what a recording holds
//! beyond that is left out, and told. Pictures made of it are those of the whole recording.

use std::collections::HashMap;
use std::convert::Infallible;
use std::io::BufRead;
use std::sync::Arc;
use std::time::Duration;

use jiff::SignedDuration;

use super::entry::{Entry, Heard, Stamp};
use super::file::Reader;
use crate::feed::{Delivery, Filter, Message};

/// The most bytes that are kept of a recording: more than a million small messages.
pub const MOST_BYTES: usize = 64 << 20;
/// Nothing is kept that was recorded later than this after the beginning.
pub const MOST_SPAN: Duration = Duration::from_secs(3660 * 24 * 3600);
/// Between two looks at whether the work was given up.
const LOOK: u64 = 1024;

/// Why it is not the whole recording.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Short {
    /// It ended within a line.
    #[error("the recording was cut off in line {0}; what came before is shown")]
    CutOff(u64),
    /// It is damaged.
    #[error("{0}; what came before is shown")]
    Unreadable(String),
    /// More than is kept.
    #[error(
        "the recording holds more than {} MiB that this layout listens to; what comes later is left out",
        MOST_BYTES >> 20
    )]
    Large,
    /// More than is played.
    #[error("more happens in the recording than a page can go back and forth in; what comes later is left out")]
    Busy,
    /// Longer than anybody records.
    #[error("the recording is longer than ten years; what comes later is left out")]
    Long,
}

/// One entry, with its topic and payload elsewhere.
#[derive(Clone, Copy, Debug)]
struct Kept {
    at: Stamp,
    what: What,
}

#[derive(Clone, Copy, Debug)]
enum What {
    Message {
        topic: u32,
        from: u32,
        to: u32,
        retained: bool,
        delivery: Delivery,
    },
    Oversized {
        topic: u32,
        bytes: usize,
    },
    Subscribed,
    Lost,
    /// The end, and anything that only moves the time on.
    Time,
}

/// The entries that concern a layout.
#[derive(Clone, Debug)]
pub struct Excerpt {
    begun: Stamp,
    kept: Vec<Kept>,
    topics: Vec<String>,
    payloads: Vec<u8>,
    short: Option<Short>,
}

impl Excerpt {
    /// Reads on to the end of a recording and keeps what matches the filters; `None` where `given_up` says that nobody wants it
    /// any more.
    pub fn gather<R: BufRead>(reader: &mut Reader<R>, filters: &[Filter], given_up: &dyn Fn() -> bool) -> Option<Self> {
        Self::gather_within(reader, filters, given_up, MOST_BYTES)
    }

    fn gather_within<R: BufRead>(
        reader: &mut Reader<R>,
        filters: &[Filter],
        given_up: &dyn Fn() -> bool,
        most: usize,
    ) -> Option<Self> {
        let begun = reader.header().begun;
        let mut excerpt = Self { begun, kept: Vec::new(), topics: Vec::new(), payloads: Vec::new(), short: None };
        let mut places: HashMap<String, u32> = HashMap::new();
        let (mut bytes, mut read) = (0, 0_u64);
        // Where the last entry stands, if it is not kept: the recording goes on up to there.
        let mut last = None;
        for entry in reader.by_ref() {
            read += 1;
            if read.is_multiple_of(LOOK) && given_up() {
                return None;
            }
            let Entry { at, heard } = match entry {
                Ok(entry) => entry,
                Err(problem) => {
                    excerpt.short = Some(Short::Unreadable(problem.to_string()));
                    break;
                }
            };
            if at.time.duration_since(begun.time) > SignedDuration::try_from(MOST_SPAN).unwrap_or(SignedDuration::MAX) {
                excerpt.short = Some(Short::Long);
                break;
            }
            let concerns = match &heard {
                Heard::Message(Message { topic, .. }) | Heard::Oversized { topic, .. } => {
                    filters.iter().any(|filter| filter.matches(topic))
                }
                Heard::Subscribed | Heard::Lost | Heard::Ended => true,
            };
            let offset = excerpt.kept.last().map_or(begun.offset, |kept| kept.at.offset);
            if !concerns && at.offset == offset {
                last = Some(at);
                continue;
            }
            let size = excerpt.weigh(&heard, &places);
            if bytes + size > most {
                excerpt.short = Some(Short::Large);
                break;
            }
            bytes += size;
            last = None;
            let what = if concerns { excerpt.keep(heard, &mut places) } else { What::Time };
            excerpt.kept.push(Kept { at, what });
        }
        if let Some(cut) = reader.cut() {
            excerpt.short.get_or_insert(Short::CutOff(cut.line));
        }
        excerpt.kept.extend(last.map(|at| Kept { at, what: What::Time }));
        Some(excerpt)
    }

    /// The bytes that an entry would take.
    fn weigh(&self, heard: &Heard, places: &HashMap<String, u32>) -> usize {
        let name =
            |topic: &String| if places.contains_key(topic) { 0 } else { 2 * (topic.len() + size_of::<String>()) };
        size_of::<Kept>()
            + match heard {
                Heard::Message(message) => message.payload.len() + name(&message.topic),
                Heard::Oversized { topic, .. } => name(topic),
                Heard::Subscribed | Heard::Lost | Heard::Ended => 0,
            }
    }

    fn keep(&mut self, heard: Heard, places: &mut HashMap<String, u32>) -> What {
        let mut place = |topic: String| {
            let topics = &mut self.topics;
            *places.entry(topic).or_insert_with_key(|topic| {
                topics.push(topic.clone());
                // The bytes are bounded far below.
                topics.len() as u32 - 1
            })
        };
        match heard {
            Heard::Message(message) => {
                let from = self.payloads.len() as u32;
                self.payloads.extend(&message.payload);
                let to = self.payloads.len() as u32;
                let (retained, delivery) = (message.retained, message.delivery);
                What::Message { topic: place(message.topic), from, to, retained, delivery }
            }
            Heard::Oversized { topic, bytes } => What::Oversized { topic: place(topic), bytes },
            Heard::Subscribed => What::Subscribed,
            Heard::Lost => What::Lost,
            Heard::Ended => What::Time,
        }
    }

    /// When the recording began.
    pub fn begun(&self) -> Stamp {
        self.begun
    }

    /// Why it is not the whole recording, if it is not.
    pub fn short(&self) -> Option<&Short> {
        self.short.as_ref()
    }

    /// The entry at a place.
    fn entry(&self, place: usize) -> Option<Entry> {
        let Kept { at, what } = *self.kept.get(place)?;
        let topic = |place: u32| self.topics.get(place as usize).cloned().unwrap_or_default();
        let heard = match what {
            What::Message { topic: of, from, to, retained, delivery } => {
                let payload = self.payloads.get(from as usize..to as usize).unwrap_or_default().to_vec();
                Heard::Message(Message { topic: topic(of), payload, retained, delivery })
            }
            What::Oversized { topic: of, bytes } => Heard::Oversized { topic: topic(of), bytes },
            What::Subscribed => Heard::Subscribed,
            What::Lost => Heard::Lost,
            What::Time => Heard::Ended,
        };
        Some(Entry { at, heard })
    }

    /// All entries from the first one on.
    pub fn entries(self: &Arc<Self>) -> Entries {
        Entries { excerpt: Arc::clone(self), next: 0 }
    }
}

/// The entries of an excerpt one after the other; a copy goes on from the same place.
#[derive(Clone, Debug)]
pub struct Entries {
    excerpt: Arc<Excerpt>,
    next: usize,
}

impl Iterator for Entries {
    type Item = Result<Entry, Infallible>;

    fn next(&mut self) -> Option<Self::Item> {
        let entry = self.excerpt.entry(self.next)?;
        self.next += 1;
        Some(Ok(entry))
    }
}

#[cfg(test)]
mod tests {
    use std::io::BufReader;

    use super::*;
    use crate::recording::Header;

    fn recording(lines: &[&str]) -> Reader<BufReader<std::io::Cursor<Vec<u8>>>> {
        let begun: jiff::Timestamp = "2026-11-25T13:00:00Z".parse().unwrap();
        let offset = jiff::tz::Offset::from_seconds(3600).unwrap();
        let header = Header { begun: Stamp { time: begun, offset }, filters: vec!["cellar/#".into()] };
        let text = header.to_line() + "\n" + &lines.join("\n") + "\n";
        match Reader::new(BufReader::new(std::io::Cursor::new(text.into_bytes()))) {
            Ok(reader) => reader,
            Err(problem) => panic!("{problem:?}"),
        }
    }

    fn line(second: u32, offset: &str, topic: &str, payload: &str) -> String {
        let hour = if offset == "Z" { 13 } else { 14 };
        format!(r#"{{"time":"2026-11-25T{hour}:00:{second:02}{offset}","topic":"{topic}","payload":"{payload}"}}"#)
    }

    fn gathered(lines: &[String], most: usize) -> Excerpt {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let filters = [Filter::new("cellar/ripening/#").unwrap()];
        Excerpt::gather_within(&mut recording(&lines), &filters, &|| false, most).unwrap()
    }

    fn topics(excerpt: Excerpt) -> Vec<Option<String>> {
        let each = Arc::new(excerpt).entries().map(|entry| match entry.unwrap().heard {
            Heard::Message(message) => Some(message.topic),
            _ => None,
        });
        each.collect()
    }

    #[test]
    fn what_concerns_nobody_leaves_its_time_only_where_that_matters() {
        let ours = |second| line(second, "+01:00", "cellar/ripening/climate", "12.4");
        let other = |second, offset: &str| line(second, offset, "cellar/brine/tank", "{}");
        // The third one moves the clocks, the last one is the end.
        let lines = [ours(1), other(2, "+01:00"), other(3, "Z"), other(4, "Z"), other(5, "Z")];
        let excerpt = gathered(&lines, MOST_BYTES);
        let end = excerpt.kept.last().unwrap().at.time.duration_since(excerpt.begun.time);
        assert_eq!((end.as_secs(), excerpt.short()), (5, None));
        assert_eq!(topics(excerpt), [Some("cellar/ripening/climate".into()), None, None]);
    }

    #[test]
    fn its_size_is_bounded_and_damage_is_told() {
        let lines: Vec<String> =
            (0..50).map(|second| line(second, "+01:00", "cellar/ripening/climate", "12.4")).collect();
        let whole = gathered(&lines, MOST_BYTES);
        assert_eq!((whole.kept.len(), whole.short()), (50, None));
        let part = gathered(&lines, 20 * (size_of::<Kept>() + 4));
        assert!((15..20).contains(&part.kept.len()), "{}", part.kept.len());
        assert_eq!(part.short(), Some(&Short::Large));
        let damaged = gathered(&[lines[0].clone(), "{".into(), lines[1].clone()], MOST_BYTES);
        let told = damaged.short().unwrap().to_string();
        assert!(damaged.kept.len() == 1 && told.starts_with("line 3: this is no line of a recording"), "{told}");
        let late = line(0, "+01:00", "cellar/ripening/climate", "12.4").replace("2026", "2037");
        assert_eq!(gathered(&[late], MOST_BYTES).short(), Some(&Short::Long));
    }

    #[test]
    fn it_can_be_given_up() {
        let lines: Vec<String> = vec![line(0, "+01:00", "cellar/ripening/climate", "12.4"); 2000];
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        assert!(Excerpt::gather(&mut recording(&lines), &[], &|| true).is_none());
    }
}
