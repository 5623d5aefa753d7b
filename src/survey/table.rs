//! What was heard, as a table for people.
//!
//! What enters is a survey; what leaves are lines: one a topic, and one below it for each way in which it could be picked.
//! Nothing of a payload or a topic gets into them unescaped.

use std::time::Duration;

use super::look::Spot;
use super::{Field, MOST_FIELDS, MOST_TOPICS, Survey, Topic, written};

/// The widest column of topics.
const WIDEST: usize = 40;

/// The lines of the table, its heading first.
pub fn table(survey: &Survey) -> Vec<String> {
    let names: Vec<String> = survey.topics().map(|(name, _)| shown(name)).collect();
    let width = names.iter().map(|name| name.chars().count()).chain([5]).max().unwrap_or(5).min(WIDEST);
    let mut lines = vec![format!("{:width$}  {:>9}  {:>7}  {:<8}  last", "topic", "messages", "every", "kept")];
    for (name, (_, topic)) in names.iter().zip(survey.topics()) {
        lines.push(line(name, topic, width));
        lines.extend(topic.fields.iter().map(|(spot, field)| field_line(spot, field, topic)));
        if topic.more_fields {
            lines.push(format!("    and more than {MOST_FIELDS} fields"));
        }
    }
    if survey.unlisted() > 0 {
        let unlisted = survey.unlisted();
        lines.push(format!("{unlisted} messages under further topics: only the first {MOST_TOPICS} are looked at"));
    }
    lines
}

/// A topic, escaped and cut to its column.
fn shown(topic: &str) -> String {
    let escaped = topic.escape_debug().to_string();
    if escaped.chars().count() <= WIDEST {
        return escaped;
    }
    let mut short: String = escaped.chars().take(WIDEST - 1).collect();
    short.push('…');
    short
}

/// A time, with a decimal where it is short and has one.
pub(super) fn seconds(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    let tenths = libm::round(seconds * 10.0);
    if tenths < 100.0 && tenths % 10.0 != 0.0 { format!("{seconds:.1} s") } else { format!("{seconds:.0} s") }
}

fn line(name: &str, topic: &Topic, width: usize) -> String {
    let every = topic.cadence.usual().map_or("once".into(), seconds);
    let kept = match topic.retained {
        0 => "live",
        retained if retained == topic.messages => "retained",
        _ => "both",
    };
    let last = topic.last.as_ref().map_or("", |last| last.as_str());
    format!("{name:width$}  {:>9}  {every:>7}  {kept:<8}  {last}", topic.messages)
}

fn field_line(spot: &Spot, field: &Field, topic: &Topic) -> String {
    let unit = field.unit.as_ref().map_or(String::new(), |unit| format!(" {}", unit.escape_debug()));
    let (pick, found) = match field.spread {
        Some((least, greatest)) => {
            let pick = written::pick(spot).unwrap_or_else(|| format!("{spot:?}"));
            let spread = if least == greatest { format!("{least}") } else { format!("{least} to {greatest}") };
            (pick, format!("{spread}{unit}"))
        }
        None => {
            let words: Vec<String> = field.words.iter().map(|word| word.escape_debug().to_string()).collect();
            let more = if field.more_words { ", …" } else { "" };
            ("words(…)".into(), format!("{}{more}", words.join(", ")))
        }
    };
    let share =
        if field.messages == topic.messages { String::new() } else { format!(" in {} of them", field.messages) };
    format!("    {pick:<24}  {found}{share}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Moment;

    #[test]
    fn a_table_as_it_is_shown() {
        let mut survey = Survey::default();
        let mut second = 0;
        let mut hear = |topic: &str, payload: &str, retained| {
            survey.hear(topic, payload.as_bytes(), retained, Moment::at(Duration::from_secs(second)));
            second += 2;
        };
        hear("cellar/ripening/door", "closed", true);
        for temperature in ["12.4", "12.7", "11.9", "err"] {
            hear("cellar/ripening/climate", &format!("{temperature},91.0"), false);
            hear("cellar/brine/tank", &format!("{{\"level\":64,\"temperature\":{:?}}}", temperature), false);
        }
        hear("cellar/plant/power", r#"[{"n":"power","u":"W","v":412}]"#, false);
        hear("cellar/odd\u{1b}[2J", "\u{1b}[2J", false);
        insta::assert_snapshot!(table(&survey).join("\n"));
    }
}
