//! What is said of a scene, a setting at a time: `set temp=12.4`, `state rh=stale`, `time 2026-11-25T14:05`.
//!
//! What enters are settings as written, in a file or on a command line, and a program; what leaves is the scene that they make of it,
//! or what is wrong with which of them. It reads no file and no clock.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use jiff::fmt::temporal::Pieces;
use jiff::tz::TimeZone;

use crate::formulas::Evaluated;
use crate::language::{Finding, Span, clock, nearest};
use crate::layout::{Program, Scene};
use crate::readings::State;
use crate::units;

/// What a setting is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Word {
    /// A reading's number.
    Set,
    /// A reading's state.
    State,
    /// A reading's numbers before, oldest first.
    Past,
    /// How long ago a reading's number was heard.
    Age,
    /// The date and time that clocks show, and of which zone.
    Time,
    /// Whether the broker is connected.
    Link,
    /// The screen that is shown.
    Screen,
}

impl Word {
    /// All of them.
    pub const ALL: [Self; 7] = [Self::Set, Self::State, Self::Past, Self::Age, Self::Time, Self::Link, Self::Screen];

    /// How it is written.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::State => "state",
            Self::Past => "past",
            Self::Age => "age",
            Self::Time => "time",
            Self::Link => "link",
            Self::Screen => "screen",
        }
    }

    /// What may stand behind it.
    const fn example(self) -> &'static str {
        match self {
            Self::Set => "temp=12.4",
            Self::State => "temp=stale",
            Self::Past => "temp=12.0,12.2,,12.4",
            Self::Age => "temp=3min",
            Self::Time => "2026-11-25T14:05[Europe/Paris]",
            Self::Link => "down",
            Self::Screen => "door",
        }
    }

    /// The word that is written so.
    pub fn of(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|word| word.name() == name)
    }
}

/// One setting: its word, and what stands behind it.
pub type Setting<'a> = (Word, &'a str);

/// What settings make of a program.
#[derive(Clone, Debug)]
pub struct Staged {
    /// The program, with no more than the screen that was asked for.
    pub program: Arc<Program>,
    /// Its readings.
    pub scene: Scene,
    /// What clocks show, where a setting says it.
    pub time: Option<ZonedDateTime>,
}

/// The oldest that a number can be: as old as the longest window.
const LONGEST_AGE: Duration = Duration::from_secs(31 * 24 * 3600);
/// No past has more numbers; a window has fewer parts.
const MOST_NUMBERS: usize = 1000;

/// Applies settings to a program, whatever their order. What is not set is waiting; a number outside of its reading's range makes it
/// faulty, and one older than the reading's limit stale. A time that names no zone is one of `zone`. `lead` is what stands before each word where it was written, for the help.
/// What is wrong comes with the place of its setting in the list and with a span within what stands behind the word.
pub fn stage(
    program: &Arc<Program>,
    settings: &[Setting<'_>],
    zone: &TimeZone,
    lead: &str,
) -> Result<Staged, Vec<(usize, Finding)>> {
    let mut stage =
        Stage { program, lead, scene: Scene::waiting(program), numbered: vec![None; program.readings.len()] };
    let (mut screen, mut time) = (None, None);
    let mut wrong = Vec::new();
    // A state needs the number that it is said of, and an age decides over a state.
    for turn in [Word::Set, Word::Past, Word::Age, Word::State, Word::Time, Word::Link, Word::Screen] {
        for (place, (_, text)) in settings.iter().enumerate().filter(|(_, (word, _))| *word == turn) {
            let done = match turn {
                Word::Set => stage.set(text),
                Word::Past => stage.past(text),
                Word::Age => stage.age(text),
                Word::State => stage.state(text),
                Word::Time => civil_time(text, zone).map(|said| time = Some(said)),
                Word::Link => stage.link(text),
                Word::Screen => stage.screen(text).map(|index| screen = Some(index)),
            };
            wrong.extend(done.err().map(|finding| (place, *finding)));
        }
    }
    if !wrong.is_empty() {
        wrong.sort_by_key(|(place, _)| *place);
        return Err(wrong);
    }
    let scene = stage.scene;
    let program = screen.map_or_else(|| Arc::clone(program), |index| Arc::new(program.alone(index)));
    Ok(Staged { program, scene, time })
}

type Applied<T> = Result<T, Box<Finding>>;

fn refuse<T>(finding: Finding) -> Applied<T> {
    Err(Box::new(finding))
}

/// The scene so far.
struct Stage<'a> {
    program: &'a Program,
    lead: &'a str,
    scene: Scene,
    /// Whether a reading was given a number that is in its range.
    numbered: Vec<Option<bool>>,
}

impl Stage<'_> {
    fn set(&mut self, text: &str) -> Applied<()> {
        let (index, value, at) = self.reading(Word::Set, text)?;
        let Some(number) = number(value) else {
            let help = self.help(&format!("set {}=12.4", self.program.readings[index].name));
            return refuse(Finding::error("bad number", at, format!("`{value}` is no number")).help(help));
        };
        let range = self.program.readings[index].range;
        let in_range = range.is_none_or(|(low, high)| low <= number && number <= high);
        self.numbered[index] = Some(in_range);
        self.scene.readings[index] = if in_range { Evaluated::new(number, State::Live) } else { Evaluated::FAULTY };
        Ok(())
    }

    fn past(&mut self, text: &str) -> Applied<()> {
        let (index, value, at) = self.reading(Word::Past, text)?;
        let (low, high) = self.program.readings[index].range.unwrap_or((f64::MIN, f64::MAX));
        let mut numbers = Vec::new();
        let mut start = at.start as usize;
        for part in value.split(',') {
            let here = Span::new(start, start + part.len());
            start += part.len() + 1;
            let part = part.trim();
            match number(part) {
                _ if part.is_empty() => numbers.push(None),
                Some(number) if low <= number && number <= high => numbers.push(Some(number)),
                Some(_) => {
                    let finding =
                        Finding::error("out of range", here, format!("{part} is outside of the reading's range"));
                    return refuse(finding.help(format!("write numbers from {low} to {high}")));
                }
                None => {
                    let finding = Finding::error("bad number", here, format!("`{part}` is no number"));
                    return refuse(finding.help("write numbers with commas between; an empty one is a silence"));
                }
            }
        }
        if numbers.len() > MOST_NUMBERS {
            let message = format!("a past has at most {MOST_NUMBERS} numbers, and this one has {}", numbers.len());
            return refuse(Finding::error("out of range", at, message).help("a window keeps 144 parts: write fewer"));
        }
        self.scene.past[index] = numbers;
        Ok(())
    }

    fn age(&mut self, text: &str) -> Applied<()> {
        let (index, value, at) = self.reading(Word::Age, text)?;
        let name = &self.program.readings[index].name;
        let Some(age) = span_of_time(value) else {
            let finding = Finding::error("bad time", at, format!("`{value}` is no span of time up to 31 days"));
            return refuse(finding.help(self.help(&format!("age {name}=3min"))));
        };
        if self.numbered[index] != Some(true) {
            return refuse(self.nothing_given(index, at));
        }
        self.scene.heard[index] = Some(age);
        if self.program.readings[index].stale.is_some_and(|limit| age > limit) {
            self.scene.readings[index].state = State::Stale;
        }
        Ok(())
    }

    fn state(&mut self, text: &str) -> Applied<()> {
        let (index, value, at) = self.reading(Word::State, text)?;
        let Some(state) = State::of(value) else {
            let finding = Finding::error("unknown word", at, format!("`{value}` is no state"));
            return refuse(finding.help("write live, stale, waiting or faulty"));
        };
        let reading = &mut self.scene.readings[index];
        // There is nothing to believe in a number that was never given.
        if state <= State::Stale && !reading.is_known() {
            return refuse(self.nothing_given(index, at));
        }
        // What is too old is not live, whoever says so.
        if (state, reading.state) != (State::Live, State::Stale) {
            reading.state = state;
        }
        Ok(())
    }

    fn link(&mut self, text: &str) -> Applied<()> {
        self.scene.linked = match text {
            "up" => true,
            "down" => false,
            _ => {
                let at = Span::new(0, text.len());
                let finding = Finding::error("unknown word", at, format!("`{text}` says nothing of the link"));
                return refuse(finding.help("write up or down"));
            }
        };
        Ok(())
    }

    fn screen(&self, text: &str) -> Applied<usize> {
        let known = self.program.screens.iter().map(|screen| screen.name.as_str());
        let place = known.clone().position(|known| known == text);
        place.ok_or_else(|| Box::new(unknown("screen", text, Span::new(0, text.len()), known)))
    }

    /// The reading that a setting is about, what is said of it, and where that stands.
    fn reading<'t>(&self, word: Word, text: &'t str) -> Applied<(usize, &'t str, Span)> {
        let whole = Span::new(0, text.len());
        let Some((name, value)) = text.split_once('=') else {
            let finding = Finding::error("missing argument", whole, "expected a reading's name, `=` and a value");
            return refuse(finding.help(self.help(&format!("{} {}", word.name(), word.example()))));
        };
        let start = name.len() + 1 + (value.len() - value.trim_start().len());
        let (name, value) = (name.trim(), value.trim());
        let known = self.program.readings.iter().map(|spec| spec.name.as_str());
        match known.clone().position(|known| known == name) {
            Some(index) => Ok((index, value, Span::new(start, start + value.len()))),
            None => refuse(unknown("reading", name, Span::new(0, name.len()), known)),
        }
    }

    fn nothing_given(&self, index: usize, at: Span) -> Finding {
        let name = &self.program.readings[index].name;
        Finding::error("missing argument", at, format!("`{name}` has no number that this could be said of"))
            .help(format!("give it a number within its range as well, for example `{}set {name}=12.4`", self.lead))
    }

    fn help(&self, example: &str) -> String {
        format!("write, for example, `{}{example}`", self.lead)
    }
}

fn number(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|number: &f64| number.is_finite())
}

/// A number and a unit of time, such as `3min`.
fn span_of_time(text: &str) -> Option<Duration> {
    let digits = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let (number, unit) = text.split_at(digits);
    let seconds = units::convert(number.parse().ok()?, units::lookup(unit)?, units::lookup("s")?)?;
    Duration::try_from_secs_f64(seconds).ok().filter(|age| *age <= LONGEST_AGE)
}

/// A civil time: one of `zone`, or as in RFC 3339 with how far it is ahead of Greenwich, or as in RFC 9557 with the name of a zone. The
/// zone is from the database in the program, so that it is the same everywhere.
pub fn civil_time(text: &str, zone: &TimeZone) -> Applied<ZonedDateTime> {
    let read = || {
        let pieces = Pieces::parse(text).ok()?;
        let time = pieces.date().to_datetime(pieces.time()?);
        let zone = match (pieces.time_zone_annotation(), pieces.to_numeric_offset()) {
            // Both together may contradict each other, and one says it all.
            (Some(_), Some(_)) => None,
            (Some(_), None) => clock::zone(text.rsplit_once('[')?.1.strip_suffix(']')?),
            (None, Some(offset)) => Some(offset.to_time_zone()),
            (None, None) => Some(zone.clone()),
        };
        time.to_zoned_datetime(zone?).ok()
    };
    read().ok_or_else(|| {
        let finding = Finding::error("bad time", Span::new(0, text.len()), format!("`{text}` is no date and time"));
        Box::new(finding.help(
            "write it as 2026-11-25T14:05, or 2026-11-25T14:05+01:00 where that is ahead of Greenwich, or \
             2026-11-25T14:05[Europe/Paris]",
        ))
    })
}

fn unknown<'a>(what: &str, name: &str, at: Span, known: impl Iterator<Item = &'a str> + Clone) -> Finding {
    let help = match nearest(name, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("it has {}", known.map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")),
    };
    Finding::error("unknown name", at, format!("the layout has no {what} called `{name}`")).help(help)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn program() -> Arc<Program> {
        let layout = "panel 128x32\n\
            reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40 stale: 45s\n\
            screen door { text \"{temp:.1}° {clock(\"%H:%M\")}\" size: 9 }\n";
        crate::service::compile(layout.as_bytes(), Path::new("door.layout")).program.expect("a good layout")
    }

    fn staged(settings: &[Setting<'_>]) -> Staged {
        stage(&program(), settings, &TimeZone::UTC, "").expect("good settings")
    }

    fn refused(settings: &[Setting<'_>]) -> Vec<(usize, &'static str, std::ops::Range<usize>)> {
        let wrong = stage(&program(), settings, &TimeZone::UTC, "").expect_err("something is wrong");
        wrong.into_iter().map(|(place, finding)| (place, finding.name, finding.span.range())).collect()
    }

    #[test]
    fn the_order_of_settings_does_not_matter() {
        let settings = [(Word::State, "temp=stale"), (Word::Set, "temp=12.4")];
        let scene = staged(&settings).scene;
        assert_eq!(scene.readings, [Evaluated::new(12.4, State::Stale)]);
        assert_eq!(scene, staged(&[settings[1], settings[0]]).scene);
    }

    #[test]
    fn what_is_older_than_its_limit_is_stale() {
        let at = |age: &str| staged(&[(Word::Set, "temp=12.4"), (Word::Age, age), (Word::State, "temp=live")]).scene;
        assert_eq!(
            (at("temp=45s").readings[0].state, at("temp=45s").heard[0]),
            (State::Live, Some(Duration::from_secs(45)))
        );
        assert_eq!(at("temp=1.5min").readings[0].state, State::Stale);
    }

    #[test]
    fn a_time_may_say_of_which_zone_it_is() {
        let at = |time: &str| staged(&[(Word::Time, time)]).time.unwrap().to_string();
        assert_eq!(at("2026-11-25T12:00"), "2026-11-25T12:00:00+00:00[UTC]");
        assert_eq!(at("2026-11-25T12:00-03:30"), "2026-11-25T12:00:00-03:30[-03:30]");
        assert_eq!(at("2026-11-25T12:00Z"), "2026-11-25T12:00:00+00:00[UTC]");
        assert_eq!(at("2026-07-01T12:00[Europe/Paris]"), "2026-07-01T12:00:00+02:00[Europe/Paris]");
    }

    #[test]
    fn a_link_may_be_down() {
        assert_eq!([staged(&[]), staged(&[(Word::Link, "down")])].map(|staged| staged.scene.linked), [true, false]);
    }

    #[test]
    fn each_mistake_has_its_place() {
        for (setting, name, span) in [
            ((Word::Set, "temp"), "missing argument", 0..4),
            ((Word::Set, "temo=3"), "unknown name", 0..4),
            ((Word::Set, "temp = 1,5"), "bad number", 7..10),
            ((Word::Set, "temp=inf"), "bad number", 5..8),
            ((Word::State, "temp=odd"), "unknown word", 5..8),
            ((Word::State, "temp=stale"), "missing argument", 5..10),
            ((Word::Past, "temp=1,,x,2"), "bad number", 8..9),
            ((Word::Past, "temp=1,41"), "out of range", 7..9),
            ((Word::Age, "temp=3"), "bad time", 5..6),
            ((Word::Age, "temp=32d"), "bad time", 5..8),
            ((Word::Age, "temp=3min"), "missing argument", 5..9),
            ((Word::Time, "2026-11-25"), "bad time", 0..10),
            ((Word::Time, "2026-11-25T12:00[Europe/Pari]"), "bad time", 0..29),
            ((Word::Time, "2026-11-25T12:00+01:00[Europe/Paris]"), "bad time", 0..36),
            ((Word::Link, "lost"), "unknown word", 0..4),
            ((Word::Screen, "dor"), "unknown name", 0..3),
        ] {
            assert_eq!(refused(&[(Word::Set, "temp=90"), setting][1..]), [(0, name, span)], "{setting:?}");
        }
        let both = [(Word::State, "temp=odd"), (Word::Set, "temp=x")];
        assert_eq!(refused(&both), [(0, "unknown word", 5..8), (1, "bad number", 5..6)]);
        let outside = [(Word::Set, "temp=90"), (Word::Age, "temp=3s")];
        assert_eq!(refused(&outside), [(1, "missing argument", 5..7)]);
    }
}
