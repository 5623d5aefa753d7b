//! What the page is told of a recording: where in it one is, in words, too, and the line on which that lies, with states, sums and wear.
//!
//! What enters are a desk and its recording; what leaves is JSON.

use std::fmt::Write;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use serde_json::{Value, json};

use super::desk::{Desk, Seen};
use super::replay::Replay;
use crate::draw::Point;
use crate::layout::value_in_words;
use crate::panel::wear::{AHEAD, USUAL_HALF_LIFE, Wear};
use crate::readings::{ReadingSpec, State};
use crate::recording::{Course, Stamp, Standing};
use crate::units::span;

/// Readings that are named one by one where the slider's place is told.
const MOST_NAMED: usize = 6;
/// The line has at most so many marks of time.
const MOST_MARKS: i64 = 6;
/// What may lie between two of them, in seconds.
const MARKS: [i64; 17] = [
    1, 5, 15, 60, 300, 900, 3600, 10_800, 21_600, 43_200, 86_400, 172_800, 604_800, 2_592_000, 7_776_000, 31_536_000,
    63_072_000,
];

/// Where in the recording one is.
pub fn place(desk: &Desk, replay: &Replay) -> Value {
    let civil = replay.civil();
    let time = civil.strftime("%-d %B %Y, %H:%M:%S").to_string();
    let specs = desk.good().map_or(&[][..], |good| &good.program.readings);
    let states = states(specs, &desk.seen(replay.at()));
    json!({
        "at_ms": milliseconds(replay.at().since(crate::readings::Moment::default())),
        "time": time,
        "words": format!("{}{}", time, if states.is_empty() { String::new() } else { format!(": {states}") }),
        "speed": replay.speed(),
    })
}

/// What the readings are, the worse ones first.
fn states(specs: &[ReadingSpec], seen: &[Seen]) -> String {
    let mut each: Vec<(&ReadingSpec, &Seen)> = specs.iter().zip(seen).collect();
    each.sort_by_key(|(_, seen)| std::cmp::Reverse(seen.value.state));
    let named = each.iter().take(MOST_NAMED).map(|(spec, seen)| match seen.value.state {
        State::Live | State::Stale if seen.value.is_known() => {
            format!("{} {}, {}", spec.name, value_in_words(spec, seen.value.number), seen.value.state.word())
        }
        state => format!("{} {}", spec.name, state.word()),
    });
    let mut words = named.collect::<Vec<_>>().join("; ");
    if let Some(further) = each.get(MOST_NAMED..).filter(|further| !further.is_empty()) {
        let worst = further[0].1.value.state.word();
        // Writing to a string never fails.
        let _ = write!(words, "; {} more, {worst} at worst", further.len());
    }
    words
}

/// The line: how long, from when, and how each reading stood along it.
pub fn line(desk: &Desk, replay: &Replay) -> Value {
    let mut told = json!({
        "file": replay.name(), "ready": replay.is_ready(), "trouble": replay.trouble(),
        "course": null,
    });
    if let Some(good) = desk.good()
        && let Some(course) = replay.course(&good.program)
    {
        told["course"] = along(&good.program.readings, course, replay.begun());
    }
    told
}

fn along(specs: &[ReadingSpec], course: &Course, begun: Stamp) -> Value {
    let strips = course.strips();
    let readings =
        specs.iter().zip(strips.columns()).zip(course.tally().readings()).map(|((spec, columns), standing)| {
            let letters: String = columns.iter().map(|state| letter(*state)).collect();
            json!({ "name": spec.name, "columns": letters, "words": sums(standing) })
        });
    let screens = course.tally().screens().map(|(name, shown)| json!({ "name": name, "words": span::in_words(shown) }));
    let span = course.span();
    let messages = course.messages();
    let words = format!(
        "{messages} message{} for this layout in {}, from {}",
        if messages == 1 { "" } else { "s" },
        span::in_words(span),
        begun.civil().strftime("%-d %B %Y, %H:%M:%S"),
    );
    json!({
        "span_ms": milliseconds(span), "column_ms": strips.column().as_secs_f64() * 1000.0,
        "words": words, "short": course.short().map(ToString::to_string),
        "marks": marks(begun, span), "readings": readings.collect::<Vec<_>>(),
        "screens": screens.collect::<Vec<_>>(), "wear": wear(course.wear()),
    })
}

/// Whole milliseconds, up, so that the end can be reached.
fn milliseconds(span: Duration) -> u64 {
    u64::try_from(span.as_nanos().div_ceil(1_000_000)).unwrap_or(u64::MAX)
}

fn letter(state: State) -> char {
    match state {
        State::Live => 'l',
        State::Stale => 's',
        State::Waiting => 'w',
        State::Faulty => 'f',
    }
}

/// How long a reading was in each state, in words.
fn sums(standing: &Standing) -> String {
    let spent = Standing::STATES.iter().filter(|state| !standing.spent(**state).is_zero());
    let words = spent.map(|state| format!("{} {}", state.word(), span::in_words(standing.spent(*state))));
    words.collect::<Vec<_>>().join(", ")
}

/// Some round times on the line, each with its place.
fn marks(begun: Stamp, span: Duration) -> Vec<Value> {
    let seconds = span.as_secs() as i64;
    let apart = MARKS.into_iter().find(|apart| seconds / apart <= MOST_MARKS).unwrap_or(seconds / MOST_MARKS + 1);
    let ahead = i64::from(begun.offset.seconds());
    let first = (begun.time.as_second() + ahead).div_euclid(apart) * apart - ahead;
    let times = (0..=MOST_MARKS + 2).filter_map(|step| Timestamp::from_second(first + step * apart).ok());
    let each = times.filter_map(|time| {
        let at = time.duration_since(begun.time);
        let within = at >= SignedDuration::ZERO && at.unsigned_abs() <= span;
        let civil = Stamp { time, ..begun }.civil();
        within.then(|| json!({ "at_ms": at.as_millis() as u64, "words": mark(&civil, apart) }))
    });
    each.collect()
}

fn mark(time: &ZonedDateTime, apart: i64) -> String {
    let form = match apart {
        ..60 => "%H:%M:%S",
        60..86_400 => "%H:%M",
        86_400..2_592_000 => "%-d %b",
        _ => "%b %Y",
    };
    time.strftime(form).to_string()
}

/// What this recording, over and over, would do to a new panel.
fn wear(wear: &Wear) -> Value {
    let (most, at) = wear.most();
    let size = wear.size();
    let pixels = (0..size.height).flat_map(|y| (0..size.width).map(move |x| Point::new(x as i32, y as i32)));
    let shades = wear.shades();
    let shades = pixels.map(shades).fold(String::new(), |mut text, shade| {
        let _ = write!(text, "{shade:02x}");
        text
    });
    let words = if most.is_zero() {
        "No pixel was lit.".to_string()
    } else {
        let share = 100.0 * most.as_secs_f64() / wear.shown().as_secs_f64().max(1.0);
        format!(
            "The most worn pixel is {},{}, lit {share:.0} % of the time as if at full contrast; {}.",
            at.x,
            at.y,
            wear.difference(USUAL_HALF_LIFE)
        )
    };
    let left = wear.outlook(USUAL_HALF_LIFE);
    let row = |name: &str, pick: fn((f64, f64)) -> f64| json!({ "name": name, "left": left.map(|left| format!("{:.0} %", 100.0 * pick(left))) });
    json!({
        "width": size.width, "height": size.height, "shades": shades, "words": words,
        "years": AHEAD.map(|years| match years { 0 => "now".to_string(), 1 => "1 year".into(), years => format!("{years} years") }),
        "rows": [row("least worn pixel", |left| left.0), row("most worn pixel", |left| left.1)],
        "half_life_h": USUAL_HALF_LIFE.as_secs() / 3600,
    })
}
