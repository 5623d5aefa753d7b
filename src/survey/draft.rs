//! A first layout for what was heard: readings, and screens on which they all have a place.
//!
//! What enters are a survey and a panel's size; what leaves is the text of a layout in its canonical form, which the checker
//! itself found clean. What cannot be shown is left out, and said so.

use std::fmt::Write;
use std::path::Path;

use super::look::Spot;
use super::names::{self, Called};
use super::rounding::{Round, around};
use super::{Field, Survey, Topic, written};
use crate::draw::Size;
use crate::language::format::canonical;
use crate::language::report;
use crate::recording::cadence::long_enough;
use crate::service::compile;
use crate::units::{self, Unit};

/// Readings of a draft. Who wants more knows by then which.
pub const MOST_READINGS: usize = 24;
/// Larger numbers are for no small panel.
const LARGEST: f64 = 1e9;
/// Decimals that are shown at most.
const MOST_DECIMALS: u32 = 2;
/// A wider text gets a row of its own.
const HALF_ROW: usize = 8;
/// A candidate loses in turn a part of its caption, its unit and its caption; then it is left out.
const MOST_WORN: u8 = 3;
/// Characters of a caption that is cut short.
const SHORT_CAPTION: usize = 7;
/// Opposites, so that a door that was only ever seen open can be closed: the first is 1, the other 0.
const OPPOSITES: [(&str, &str); 8] = [
    ("open", "closed"),
    ("on", "off"),
    ("true", "false"),
    ("yes", "no"),
    ("online", "offline"),
    ("locked", "unlocked"),
    ("up", "down"),
    ("wet", "dry"),
];

/// A drafted layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// The text of the file.
    pub text: String,
    /// How many readings it has.
    pub readings: usize,
    /// What it leaves out, and why, a line each.
    pub left_out: Vec<String>,
}

/// Why there is no draft.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DraftError {
    /// Nothing to be shown.
    #[error(
        "nothing that was heard can be shown: no topic had a number or a few words; listen for longer, or to other topics"
    )]
    Nothing,
    /// Not a panel that layouts can be made for.
    #[error("there is no layout for a panel of {}x{}; write 128x32 or 128x64", .0.width, .0.height)]
    Panel(Size),
}

/// A reading that may become a part of the draft.
#[derive(Clone, Debug)]
struct Candidate {
    called: Called,
    topic: String,
    pick: String,
    unit: Option<Unit>,
    shape: Shape,
    stale: String,
    /// What was seen, for whoever mends the draft.
    seen: String,
    /// How far it has been simplified because the checker did not like it.
    worn: u8,
}

/// What is shown of a reading.
#[derive(Clone, Debug)]
enum Shape {
    Number { range: Round, decimals: u32 },
    Words(Vec<(String, usize)>),
}

/// A layout for a panel of this size.
///
/// # Errors
/// [`DraftError`] if nothing was heard that could be shown, or there is no such panel.
pub fn draft(survey: &Survey, panel: Size) -> Result<Draft, DraftError> {
    if panel.width != 128 || !matches!(panel.height, 32 | 64) {
        return Err(DraftError::Panel(panel));
    }
    let mut left_out = Vec::new();
    let mut candidates = candidates(survey, &mut left_out);
    loop {
        if candidates.is_empty() {
            return Err(DraftError::Nothing);
        }
        let (text, owners) = text(&candidates, survey, panel, &left_out);
        let place = match first_finding(&text) {
            None => {
                if let Some(text) = canonical(&text).ok().filter(|text| first_finding(text).is_none()) {
                    return Ok(Draft { text, readings: candidates.len(), left_out });
                }
                candidates.len() - 1
            }
            Some((line, _)) => owners.get(line - 1).copied().flatten().unwrap_or(candidates.len() - 1),
        };
        candidates[place].worn += 1;
        if candidates[place].worn > MOST_WORN {
            let why = first_finding(&text).map_or("it has no canonical form".into(), |(_, why)| why);
            let gone = candidates.remove(place);
            left_out.push(format!("{} {}: {why}", gone.topic.escape_default(), gone.pick.escape_default()));
        }
    }
}

/// The line of the first finding, from 1, and its name.
fn first_finding(text: &str) -> Option<(usize, String)> {
    let loaded = compile(text.as_bytes(), Path::new("new.layout"));
    let finding = loaded.findings.first()?;
    Some((report::line_and_column(text, finding.span.start as usize).line, finding.name.into()))
}

/// Every field that a reading can be made of, in the order of the topics.
fn candidates(survey: &Survey, left_out: &mut Vec<String>) -> Vec<Candidate> {
    let mut fields: Vec<(&str, &Topic, &Spot, Shape, Option<Unit>)> = Vec::new();
    for (name, topic) in survey.topics() {
        let mut shown = false;
        for (spot, field) in &topic.fields {
            if let Some((shape, unit)) = shape(topic, spot, field) {
                shown = true;
                fields.push((name, topic, spot, shape, unit));
            }
        }
        if !shown {
            left_out.push(format!("{}: no number, and not two to eight words", name.escape_default()));
        }
    }
    if fields.len() > MOST_READINGS {
        left_out.push(format!("{} further fields: a draft has at most {MOST_READINGS}", fields.len() - MOST_READINGS));
        fields.truncate(MOST_READINGS);
    }
    let several = |name: &str| fields.iter().filter(|(other, ..)| *other == name).count() > 1;
    let heard: Vec<_> = fields.iter().map(|(name, _, spot, ..)| (*name, *spot, several(name))).collect();
    let called = names::call(&heard);
    let candidate =
        |((name, topic, spot, shape, unit), called): (&(&str, &Topic, &Spot, Shape, Option<Unit>), Called)| {
            let pick = match shape {
                Shape::Number { .. } => written::pick(spot),
                Shape::Words(pairs) => written::words(pairs),
            };
            Some(Candidate {
                called,
                topic: written::quoted(name)?,
                pick: pick?,
                unit: *unit,
                shape: shape.clone(),
                stale: stale(topic, shape),
                seen: seen(topic, &topic.fields[*spot]),
                worn: 0,
            })
        };
    fields.iter().zip(called).filter_map(candidate).collect()
}

/// What could be shown of a field, and its unit; `None` if nothing.
fn shape(topic: &Topic, spot: &Spot, field: &Field) -> Option<(Shape, Option<Unit>)> {
    // What stood there once or twice is a fault among numbers, or a number among texts.
    let often = match spot {
        Spot::Whole | Spot::Column { .. } => field.messages * 2 >= topic.messages,
        Spot::Pointer(_) | Spot::Senml(_) => field.messages * 10 >= topic.messages,
    };
    if !often {
        return None;
    }
    if let Some((least, greatest)) = field.spread {
        if !field.words.is_empty() && field.words.len() > 2 || greatest.max(-least) > LARGEST {
            return None;
        }
        let range = around(least, greatest, field.decimals);
        let size = range.high.abs().max(range.low.abs());
        let room = if size >= 10_000.0 { 0 } else { MOST_DECIMALS - u32::from(size >= 100.0) };
        let unit = field.unit.as_deref().and_then(|name| match spot {
            Spot::Senml(_) => units::lookup_senml(name),
            _ => units::lookup(name),
        });
        return Some((
            Shape::Number { range, decimals: field.decimals.min(room) },
            unit.filter(|unit| !unit.is_bare()),
        ));
    }
    if field.more_words {
        return None;
    }
    let mut words: Vec<String> = field.words.iter().cloned().collect();
    let opposite = OPPOSITES.iter().find(|(one, other)| words.iter().all(|word| word == one || word == other));
    let pairs = match opposite {
        Some((one, other)) => vec![(other.to_string(), 0), (one.to_string(), 1)],
        None if words.len() < 2 => return None,
        None => {
            words.sort_unstable();
            words.into_iter().enumerate().map(|(number, word)| (word, number)).collect()
        }
    };
    Some((Shape::Words(pairs), None))
}

fn stale(topic: &Topic, shape: &Shape) -> String {
    let known = long_enough(&topic.cadence).filter(|_| topic.cadence.intervals() >= 3);
    match (shape, known) {
        // Published when something happens, as a door is.
        (Shape::Words(_), _) if !topic.cadence.is_regular() => "never".into(),
        (Shape::Words(_), None) => "never".into(),
        (_, Some((_, written))) => written.into(),
        (Shape::Number { .. }, None) => "auto".into(),
    }
}

/// What was seen of a field, in one line.
fn seen(topic: &Topic, field: &Field) -> String {
    let mut words = match field.spread {
        Some((least, greatest)) if least == greatest => format!("{least}"),
        Some((least, greatest)) => format!("{least} to {greatest}"),
        None => field.words.iter().map(|word| word.escape_default().to_string()).collect::<Vec<_>>().join(", "),
    };
    let plural = if field.messages == 1 { "" } else { "s" };
    let _ = write!(words, " in {} message{plural}", field.messages);
    if let Some(usual) = topic.cadence.usual() {
        let _ = write!(words, ", one in {}", super::table::seconds(usual));
    }
    words
}

/// The layout, and for each of its lines the candidate that it belongs to.
fn text(candidates: &[Candidate], survey: &Survey, panel: Size, left_out: &[String]) -> (String, Vec<Option<usize>>) {
    let mut page = Page::default();
    page.line(None, &format!("# A first layout for what was heard in {} messages.", survey.messages()));
    if candidates.iter().any(|candidate| candidate.unit.is_none() && matches!(candidate.shape, Shape::Number { .. })) {
        page.line(None, "# Where no unit stands, none was published: add the sensor's, such as `unit: °C`.");
    }
    if !left_out.is_empty() {
        page.line(None, "# Left out:");
        left_out.iter().for_each(|line| page.line(None, &format!("#   {line}")));
    }
    page.line(None, &format!("panel {}x{}", panel.width, panel.height));
    page.line(None, "");
    for (place, candidate) in candidates.iter().enumerate() {
        page.line(Some(place), &format!("# {}", candidate.seen));
        page.line(Some(place), &candidate.reading());
    }
    let rows = rows(candidates);
    let per_screen = if panel.height == 32 { 1 } else { 2 };
    for (number, screen) in rows.chunks(per_screen).enumerate() {
        page.line(None, "");
        page.line(None, &format!("screen page_{} {{", number + 1));
        for (at, row) in screen.iter().enumerate() {
            if at > 0 {
                page.line(None, "space 3");
            }
            page.row(candidates, row);
        }
        page.line(None, "}");
    }
    (page.text, page.owners)
}

/// The candidates row by row, two in a row where both are short.
fn rows(candidates: &[Candidate]) -> Vec<Vec<usize>> {
    let mut rows: Vec<Vec<usize>> = Vec::new();
    // The row that has room for another short one, though long ones may have come since.
    let mut open: Option<usize> = None;
    for (place, candidate) in candidates.iter().enumerate() {
        let half = candidate.width() <= HALF_ROW;
        match open.take_if(|_| half) {
            Some(row) => rows[row].push(place),
            None => {
                if half {
                    open = Some(rows.len());
                }
                rows.push(vec![place]);
            }
        }
    }
    rows
}

#[derive(Default)]
struct Page {
    text: String,
    owners: Vec<Option<usize>>,
}

impl Page {
    fn line(&mut self, owner: Option<usize>, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
        self.owners.push(owner);
    }

    fn row(&mut self, candidates: &[Candidate], row: &[usize]) {
        if let [single] = row {
            candidates[*single]
                .cell(&candidates[*single].called.long)
                .iter()
                .for_each(|line| self.line(Some(*single), line));
            return;
        }
        self.line(None, "columns gap: 6 {");
        for place in row {
            self.line(None, "stack gap: 2 {");
            candidates[*place]
                .cell(&candidates[*place].called.caption)
                .iter()
                .for_each(|line| self.line(Some(*place), line));
            self.line(None, "}");
        }
        self.line(None, "}");
    }
}

impl Candidate {
    fn reading(&self) -> String {
        let Self { called, topic, pick, unit, shape, stale, .. } = self;
        let unit = unit.map_or(String::new(), |unit| format!(" unit: {unit}"));
        let range = match shape {
            Shape::Number { range, .. } => format!(" range: {}", range.written),
            Shape::Words(_) => String::new(),
        };
        format!("reading {} from: {topic} pick: {pick}{unit}{range} stale: {stale}", called.name)
    }

    /// A caption above what is shown.
    fn cell(&self, caption: &str) -> Vec<String> {
        let shown = format!("text \"{}\" size: fit", self.shown());
        let most = if self.worn > 0 { SHORT_CAPTION } else { usize::MAX };
        let caption: String = caption.chars().take(most).collect();
        if self.worn == MOST_WORN || caption.trim().is_empty() {
            return vec![shown];
        }
        vec![format!("text \"{}\" size: 7 face: small", caption.trim()), shown]
    }

    fn shown(&self) -> String {
        let name = &self.called.name;
        match &self.shape {
            Shape::Number { decimals, .. } => format!("{{{name}:.{decimals}}}{}", self.unit_shown()),
            Shape::Words(pairs) => {
                let mut choice = String::new();
                for (word, number) in pairs.iter().skip(1).rev() {
                    let _ = write!(choice, "if {name} == {number} then \"{word}\" else ");
                }
                let first = pairs.first().map_or("", |(word, _)| word);
                format!("{{{choice}\"{first}\"}}")
            }
        }
    }

    /// The unit behind the number, with a blank where the trade has one.
    fn unit_shown(&self) -> String {
        match self.unit.filter(|_| self.worn < 2).map(|unit| unit.to_string()) {
            None => String::new(),
            Some(unit) if matches!(unit.as_str(), "%" | "°") => unit,
            Some(unit) if unit == "°C" || unit == "°F" => unit,
            Some(unit) => format!(" {unit}"),
        }
    }

    /// How many characters it shows at most.
    fn width(&self) -> usize {
        match &self.shape {
            Shape::Number { range, decimals } => {
                let longest = [range.low, range.high].map(|end| format!("{end:.*}", *decimals as usize).len());
                longest[0].max(longest[1]) + self.unit_shown().chars().count()
            }
            Shape::Words(pairs) => pairs.iter().map(|(word, _)| word.chars().count()).max().unwrap_or(0),
        }
    }
}

#[cfg(test)]
mod tests;
