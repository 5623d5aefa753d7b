//! What a layout says of its readings against what a recording heard of them.
//!
//! What enters are a layout's text and the entries of a recording; what leaves are findings with their places in the layout.
//! All of them are warnings: a recording shows what happened while it ran, not what can. Memory depends on the layout alone,
//! apart from the names of the first topics heard.

use std::collections::BTreeSet;
use std::time::Duration;

use crate::feed::{Filter, Message};
use crate::formulas::Compiled;
use crate::language::model::{Layout, TextPart};
use crate::language::syntax::{Document, Statement};
use crate::language::{self, Finding, Span, nearest};
use crate::readings::{self, Counts, DecodeError, Excerpt, Fault, Moment, Store, Trust};

use super::cadence::{self, Cadence};
use super::entry::{Entry, Header, Heard, Stamp};

/// Topics that are remembered, to name one that was meant.
const MOST_TOPICS: usize = 1000;
/// Words that are named in a finding.
const MOST_WORDS: usize = 5;
/// Of the intervals, one in so many may be longer than the age limit before that is told.
const MOST_LATE: u64 = 10;
/// Fewer numbers tell nothing of a sensor's resolution.
const LEAST_NUMBERS: u64 = 20;
/// More decimals than this are not told apart.
const MOST_DECIMALS: usize = 6;
/// Fewer intervals tell no cadence.
const LEAST_INTERVALS: u64 = 3;

/// What the recording says about the layout in `text`; nothing where that has errors of its own.
///
/// # Errors
/// That of an entry that cannot be read.
pub fn findings<E>(
    text: &str,
    header: &Header,
    entries: impl Iterator<Item = Result<Entry, E>>,
) -> Result<Vec<Finding>, E> {
    let document = language::parse(text).0;
    let Some(layout) = language::check(&document).0 else { return Ok(Vec::new()) };
    let mut comparison = Comparison::new(&layout, header);
    for entry in entries {
        comparison.hear(entry?);
    }
    let mut findings: Vec<Finding> =
        (0..layout.readings.len()).flat_map(|place| comparison.of_reading(&document, &layout, place)).collect();
    findings.sort_by_key(|finding| finding.span);
    Ok(findings)
}

/// How often something happened, and when first.
#[derive(Clone, Debug, Default)]
struct Times {
    count: u64,
    first: Option<Stamp>,
}

impl Times {
    fn again(&mut self, at: Stamp) -> bool {
        self.count += 1;
        let is_first = self.first.is_none();
        self.first.get_or_insert(at);
        is_first
    }

    /// `3 of 120 numbers`, and ` first at …`.
    fn told(&self, of: u64, what: &str) -> (String, String) {
        let first =
            self.first.map_or(String::new(), |at| format!(", first at {}", at.civil().strftime("%Y-%m-%d %H:%M:%S")));
        (format!("{} of {of} {what}", self.count), first)
    }
}

/// What was heard of one reading.
#[derive(Clone, Debug, Default)]
struct Seen {
    messages: u64,
    counts: Counts,
    outside: Times,
    spread: Option<(f64, f64)>,
    undecodable: Times,
    reason: String,
    unknown: Times,
    words: BTreeSet<String>,
    jumps: Times,
    jump: String,
    cadence: Cadence,
    late: u64,
    numbers: u64,
    /// Decimals that tell all numbers so far apart.
    decimals: usize,
}

struct Comparison {
    store: Store,
    seen: Vec<Seen>,
    topics: BTreeSet<String>,
    filters: Vec<Filter>,
    begun: Stamp,
    ended: Stamp,
    outcomes: Vec<readings::Outcome>,
}

impl Comparison {
    fn new(layout: &Layout, header: &Header) -> Self {
        let specs = layout.readings.iter().map(|reading| reading.spec.clone()).collect();
        Self {
            store: Store::new(specs),
            seen: vec![Seen::default(); layout.readings.len()],
            topics: BTreeSet::new(),
            filters: header.filters.iter().filter_map(|filter| Filter::new(filter).ok()).collect(),
            begun: header.begun,
            ended: header.begun,
            outcomes: Vec::new(),
        }
    }

    fn hear(&mut self, Entry { at, heard }: Entry) {
        self.ended = at;
        match heard {
            Heard::Message(message) => self.take(at, &message),
            Heard::Oversized { topic, bytes } => {
                let payload = vec![0; bytes.min(readings::MOST_BYTES + 1)];
                let delivery = crate::feed::Delivery::AtMostOnce;
                self.take(at, &Message { topic, payload, retained: false, delivery });
            }
            // What was published in between was not heard: that silence is the recorder's.
            Heard::Lost => self.seen.iter_mut().for_each(|seen| seen.cadence.interrupt()),
            Heard::Subscribed | Heard::Ended => {}
        }
    }

    fn take(&mut self, at: Stamp, message: &Message) {
        let now = Moment::at(at.time.duration_since(self.begun.time).unsigned_abs());
        let mut outcomes = std::mem::take(&mut self.outcomes);
        self.store.accept(&message.topic, &message.payload, message.retained, now, &mut outcomes);
        if self.topics.len() < MOST_TOPICS && !self.topics.contains(&message.topic) {
            self.topics.insert(message.topic.clone());
        }
        for outcome in outcomes.iter().filter(|outcome| outcome.event != readings::Event::Presence) {
            let (Some(spec), Some(reading)) = (self.store.spec(outcome.reading), self.store.reading(outcome.reading))
            else {
                continue;
            };
            let seen = &mut self.seen[outcome.reading];
            seen.messages += 1;
            if !message.retained
                && let Some(interval) = seen.cadence.heard(now)
                && spec.stale.is_some_and(|limit| interval > limit)
            {
                seen.late += 1;
            }
            let (before, counts) = (std::mem::replace(&mut seen.counts, reading.counts()), reading.counts());
            if counts.jumps > before.jumps {
                if seen.jumps.again(at) {
                    seen.jump = reading.refused().map_or(String::new(), |jump| jump.to_string());
                }
                continue;
            }
            match reading.fault().filter(|_| counts.rejected() > before.rejected()) {
                Some(Fault::OutOfRange { value, .. }) => {
                    seen.outside.again(at);
                    let (low, high) = seen.spread.unwrap_or((*value, *value));
                    seen.spread = Some((low.min(*value), high.max(*value)));
                }
                Some(Fault::Undecodable(DecodeError::UnknownWord { found, .. })) => {
                    seen.unknown.again(at);
                    if seen.words.len() < MOST_WORDS {
                        seen.words.insert(found.to_string());
                    }
                }
                Some(fault) => {
                    let is_first = seen.undecodable.again(at);
                    if is_first {
                        seen.reason = fault.to_string();
                    }
                }
                None => {
                    seen.numbers += 1;
                    seen.decimals = seen.decimals.max(reading.value().map_or(0, decimals));
                }
            }
        }
        self.outcomes = outcomes;
    }

    fn of_reading(&self, document: &Document, layout: &Layout, place: usize) -> Vec<Finding> {
        let (reading, seen) = (&layout.readings[place], &self.seen[place]);
        let (spec, name) = (&reading.spec, &reading.spec.name);
        let argument = |named: &str| argument(&document.statements, reading.span, named).unwrap_or(reading.span);
        let mut findings = Vec::new();
        if seen.messages == 0 {
            findings.push(self.never(&spec.filter, argument("from")));
            return findings;
        }
        let numbers = seen.messages - seen.undecodable.count - seen.unknown.count;
        if let (Some((low, high)), Some((least, greatest))) = (seen.spread, spec.range) {
            let (how_many, first) = seen.outside.told(numbers, "numbers");
            let spread = if low == high { number(low) } else { format!("from {} to {}", number(low), number(high)) };
            let (range, wide) = (range(least, greatest), range(least.min(low), greatest.max(high)));
            findings.push(
                Finding::warning(
                    "heard out of range",
                    argument("range"),
                    format!("{how_many} of `{name}` lie outside of {range}: {spread}{first}"),
                )
                .label("numbers beyond it are faulty")
                .help(format!("if they can be true, `range: {wide}` takes them in; if not, leave it")),
            );
        }
        if seen.undecodable.count > 0 {
            let (how_many, first) = seen.undecodable.told(seen.messages, "payloads");
            findings.push(
                Finding::warning(
                    "heard undecodable",
                    argument("pick"),
                    format!("{how_many} gave no number for `{name}`{first}: {}", seen.reason),
                )
                .label("faulty with each of them")
                .help("if all of them fail, `pick:` does not go with what is published"),
            );
        }
        if seen.unknown.count > 0 {
            let (how_many, first) = seen.unknown.told(seen.messages, "payloads");
            let words: Vec<&str> = seen.words.iter().map(String::as_str).collect();
            findings.push(
                Finding::warning(
                    "heard another word",
                    argument("pick"),
                    format!("{how_many} are none of the words of `{name}`{first}: {}", words.join(", ")),
                )
                .label("faulty with each other word")
                .help("add what can be published to `words(…)`, each with its number"),
            );
        }
        if seen.jumps.count > 0 {
            let (how_many, first) = seen.jumps.told(numbers, "numbers");
            findings.push(
                Finding::warning(
                    "heard a jump",
                    argument("jump"),
                    format!("{how_many} of `{name}` were rejected as jumps{first}: {}", seen.jump),
                )
                .label("further than this in a minute")
                .help("if such changes are real, write a larger `jump:`"),
            );
        }
        findings.extend(self.late(seen, spec, argument("stale")));
        findings.extend(finer(seen, spec, place, layout));
        findings
    }

    fn late(&self, seen: &Seen, spec: &readings::ReadingSpec, span: Span) -> Option<Finding> {
        let limit = spec.stale.filter(|_| !spec.trust.cadence)?;
        let (intervals, usual) = (seen.cadence.intervals(), seen.cadence.usual()?);
        if intervals < LEAST_INTERVALS || seen.late * MOST_LATE <= intervals {
            return None;
        }
        let long = cadence::long_enough(&seen.cadence).map_or(String::new(), |(_, written)| {
            format!("`stale: {written}` is three times the usual interval or more; ")
        });
        let finding = Finding::warning(
            "stale too short",
            span,
            format!(
                "`{}` would have grown old {} times between its messages: the usual interval is {}, and the longest {}",
                spec.name,
                seen.late,
                seconds(usual),
                seconds(seen.cadence.longest())
            ),
        );
        let label = format!("no older than {}", seconds(limit));
        Some(finding.label(label).help(format!("{long}`stale: auto` follows what is published")))
    }

    fn never(&self, filter: &Filter, span: Span) -> Finding {
        let asked = filter.has_wildcards() || self.filters.iter().any(|asked| asked.matches(filter.as_str()));
        let topic = Excerpt::of(filter.as_str().as_bytes());
        let passed = seconds(self.ended.time.duration_since(self.begun.time).unsigned_abs());
        let finding =
            Finding::warning("never heard", span, format!("nothing was heard on {topic} in {passed} of the recording"));
        if !asked {
            return finding.help("the recording did not subscribe to it: record with this topic among the filters");
        }
        match nearest(filter.as_str(), self.topics.iter().map(String::as_str)) {
            Some(near) => finding.help(format!("did you mean {}?", Excerpt::of(near.as_bytes()))),
            None => finding.help("check the topic, or record for longer if it is seldom published"),
        }
    }
}

/// The warnings about texts that show more decimals of a reading than were ever heard of it.
fn finer<'a>(
    seen: &'a Seen,
    spec: &'a readings::ReadingSpec,
    place: usize,
    layout: &'a Layout,
) -> impl Iterator<Item = Finding> + 'a {
    // What is smoothed or calibrated has decimals of its own.
    let as_heard = Trust { jump: None, cadence: false, ..spec.trust } == Trust::PLAIN;
    let parts = layout.texts().into_iter().flat_map(|text| &text.parts);
    parts.filter(move |_| as_heard && seen.numbers >= LEAST_NUMBERS).filter_map(move |part| {
        let TextPart::Number { formula: Compiled::Reading(of), format, span, .. } = part else { return None };
        let shown = usize::from(format.precision?);
        (*of == place && shown > seen.decimals).then(|| {
            let (name, heard) = (&spec.name, seen.decimals);
            let message =
                format!("{shown} decimals of `{name}` are shown, and {heard} were heard in {} numbers", seen.numbers);
            Finding::warning("heard coarser", *span, message)
                .label("the last digit says nothing")
                .help(format!("write `{{{name}:.{heard}}}`"))
        })
    })
}

/// The decimals that a number has, as far as they are told apart.
fn decimals(number: f64) -> usize {
    (0..MOST_DECIMALS)
        .find(|decimals| {
            let scaled = number * f64::from(10_u32.pow(*decimals as u32));
            (scaled - libm::round(scaled)).abs() <= 1e-9 * scaled.abs().max(1.0)
        })
        .unwrap_or(MOST_DECIMALS)
}

/// A number as a layout writes it; huge ones stay short.
fn number(value: f64) -> String {
    if value.abs() < 1e12 { format!("{value}") } else { format!("{value:?}") }
}

fn range(low: f64, high: f64) -> String {
    format!("{}..{}", number(low), number(high))
}

/// A time in seconds as findings write it.
fn seconds(time: Duration) -> String {
    format!("{:.0} s", time.as_secs_f64())
}

/// The place of a named argument of the reading whose name stands at `name`.
fn argument(statements: &[Statement], name: Span, named: &str) -> Option<Span> {
    statements.iter().find_map(|statement| {
        let is_it = statement.plain.iter().any(|plain| plain.span == name);
        let found = statement.named.iter().filter(|_| is_it).find(|argument| argument.name.value == named);
        let here = found.map(|argument| argument.name.span.to(argument.value.span));
        here.or_else(|| argument(&statement.block.as_ref()?.statements, name, named))
    })
}

#[cfg(test)]
mod tests {
    use super::super::Reader;
    use super::*;

    const LAYOUT: &str = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40 stale: 45s\n\
        screen s { text \"{temp:.1}\" }\n";

    /// The findings with their help, about a recording with these lines, each a second and what follows the time.
    fn found(lines: &[(u32, &str)]) -> Vec<(&'static str, String)> {
        let time = |second: u32| format!("\"time\":\"2026-11-25T09:{:02}:{:02}Z\"", second / 60, second % 60);
        let first = format!(
            "{{\"format\":\"sidelight recording\",\"version\":1,{},\"filters\":[\"cellar/+/climate\"]}}\n",
            time(0)
        );
        let line = |(second, rest): &(u32, &str)| format!("{{{},{rest}}}\n", time(*second));
        let text: String = [first].into_iter().chain(lines.iter().map(line)).collect();
        let reader = Reader::new(text.as_bytes()).unwrap_or_else(|_| panic!("a recording"));
        let header = reader.header().clone();
        let found = findings(LAYOUT, &header, reader).unwrap();
        found.into_iter().map(|finding| (finding.name, finding.help.unwrap_or_default())).collect()
    }

    const GOOD: &str = "\"topic\":\"cellar/ripening/climate\",\"payload\":\"12.4\"";
    const OTHER: &str = "\"topic\":\"cellar/ripening/climat\",\"payload\":\"12.4\"";

    #[test]
    fn a_layout_that_goes_with_what_was_heard_has_no_findings() {
        assert_eq!(found(&[(0, GOOD), (30, GOOD), (60, GOOD), (90, GOOD), (120, GOOD)]), []);
    }

    #[test]
    fn a_silence_of_the_recorder_is_none_of_the_sensor() {
        let (lost, back) = ("\"session\":\"lost\"", "\"session\":\"subscribed\"");
        let offline = [(0, GOOD), (30, GOOD), (60, GOOD), (61, lost), (500, back), (510, GOOD), (540, GOOD)];
        assert_eq!(found(&offline), []);
        let silent: Vec<_> = offline.into_iter().filter(|(_, line)| line.contains("topic")).collect();
        let told = found(&silent);
        assert_eq!(told.iter().map(|(name, _)| *name).collect::<Vec<_>>(), ["stale too short"]);
    }

    #[test]
    fn digits_that_no_sensor_gives_are_told() {
        let numbers: Vec<String> = (0..20)
            .map(|number| format!("\"topic\":\"cellar/ripening/climate\",\"payload\":\"{}\"", 10 + number % 3))
            .collect();
        let lines: Vec<(u32, &str)> = (0..).step_by(30).zip(numbers.iter().map(String::as_str)).collect();
        assert_eq!(found(&lines), [("heard coarser", "write `{temp:.0}`".into())]);
        assert_eq!(found(&lines[1..]), [], "fewer numbers may be whole by chance");
        let finer: Vec<_> = lines[1..].iter().copied().chain([(600, GOOD)]).collect();
        assert_eq!(found(&finer), []);
    }

    #[test]
    fn decimals_are_counted_as_they_are_written() {
        for (number, wanted) in
            [(12.0, 0), (12.4, 1), (-0.05, 2), (0.1 + 0.2, 1), (1013.25, 2), (1e300, 0), (1.0 / 3.0, 6)]
        {
            assert_eq!(decimals(number), wanted, "{number}");
        }
    }

    #[test]
    fn what_was_never_heard_names_what_may_have_been_meant() {
        let told = found(&[(0, OTHER), (30, OTHER)]);
        assert_eq!(told, [("never heard", "did you mean \"cellar/ripening/climat\"?".into())]);
    }
}
