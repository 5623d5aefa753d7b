//! The situations in which a layout is worth a look: each screen at its least, middle and greatest numbers, in each state, and on
//! both sides of its condition.
//!
//! What enters is a program; what leaves are scenes with words for them, always the same for the same program. Nothing is drawn
//! to be seen: pictures are taken only to find out which screen a scene shows.

use std::sync::Arc;

use jiff::ZonedDateTime;

use crate::formulas::{Compiled, Evaluated, Observed};
use crate::readings::{ReadingSpec, State};

use super::format;
use super::{Program, Renderer, Scene};

/// A scene with its name.
#[derive(Clone, Debug, PartialEq)]
pub struct Situation {
    /// The screen that it is about, by its place in the program.
    pub screen: usize,
    /// What it is, such as `greatest numbers`.
    pub words: String,
    /// The readings behind it, such as `temp 40 °C, rh 100 %`; empty where there is nothing to tell.
    pub detail: String,
    /// The readings.
    pub scene: Scene,
    /// Whether the screen is shown by itself, whatever the conditions of all screens say.
    pub alone: bool,
}

/// More scenes than this are not tried to find one in which a screen takes over.
const MOST_TRIES: usize = 4096;
/// At most so many readings leave their middle in a scene that is tried.
const MOST_MOVED: usize = 3;
/// More numbers than this of one reading are not tried.
const MOST_NUMBERS: usize = 16;
/// How many numbers a past has.
const PAST: usize = 48;

/// The numbers that a reading takes in most situations.
#[derive(Clone, Copy)]
enum Extreme {
    Least,
    Middle,
    Greatest,
}

impl Situation {
    /// The picture of it at a civil time.
    pub fn draw(&self, program: &Arc<Program>, time: &ZonedDateTime) -> Renderer {
        if self.alone {
            self.scene.draw(&Arc::new(program.alone(self.screen)), time)
        } else {
            self.scene.draw(program, time)
        }
    }
}

/// All situations of a program, screen by screen in the order of the file. A condition may depend on the time.
///
/// A screen without a condition is shown by itself. One with a condition is shown as it takes over, so far as a scene of a few
/// simple numbers is found in which it does; its readings then keep the numbers and states in which the condition holds.
pub fn situations(program: &Arc<Program>, time: &ZonedDateTime) -> Vec<Situation> {
    (0..program.screens.len()).flat_map(|screen| Search { program, time, screen }.situations()).collect()
}

/// The search for the situations of one screen.
struct Search<'a> {
    program: &'a Arc<Program>,
    time: &'a ZonedDateTime,
    screen: usize,
}

impl Search<'_> {
    fn situations(&self) -> Vec<Situation> {
        let screen = &self.program.screens[self.screen];
        let shown = self.program.readings_behind(&screen.inputs());
        let mut found = Vec::new();
        let Some(condition) = &screen.when else {
            self.looks(&shown, &shown, self.middle(), "typical numbers, live", true, &mut found);
            return found;
        };
        let deciding = self.program.readings_behind(&self.program.inputs_of(condition));
        let told: Vec<usize> = (0..self.program.readings.len())
            .filter(|index| shown.contains(index) || deciding.contains(index))
            .collect();
        match self.find(condition, &deciding, true) {
            Some(base) => self.looks(&shown, &told, base, "takes over, live", false, &mut found),
            None => self.looks(&shown, &shown, self.middle(), "condition not reached, live", true, &mut found),
        }
        if let Some(scene) = self.find(condition, &deciding, false) {
            let detail = self.numbers(&deciding, &scene);
            found.push(self.situation("condition does not hold", detail, scene, false));
        }
        found
    }

    /// The extremes and the states of the readings on the screen, as far as they leave it shown. The first is called `live`, and
    /// each tells the numbers of the readings in `told`.
    fn looks(&self, shown: &[usize], told: &[usize], base: Scene, live: &str, alone: bool, found: &mut Vec<Situation>) {
        // Changes one reading after the other, and takes back what makes another screen take over.
        let changed = |from: &Scene, change: &dyn Fn(&mut Scene, usize)| {
            let (mut scene, mut reached) = (from.clone(), Vec::new());
            for index in shown {
                let mut next = scene.clone();
                change(&mut next, *index);
                if alone || self.shows(&next) {
                    scene = next;
                    reached.push(*index);
                }
            }
            (scene, reached)
        };
        let at = |extreme| changed(&base, &|scene, index| self.put(scene, index, self.extreme(index, extreme))).0;
        let typical = at(Extreme::Middle);
        for (words, scene) in [
            (live, typical.clone()),
            ("least numbers", at(Extreme::Least)),
            ("greatest numbers", at(Extreme::Greatest)),
        ] {
            if !found.iter().any(|other: &Situation| other.scene == scene) {
                found.push(self.situation(words, self.numbers(told, &scene), scene, alone));
            }
        }
        for (state, words) in [(State::Stale, "stale"), (State::Waiting, "waiting"), (State::Faulty, "faulty")] {
            let (scene, reached) = changed(&typical, &|scene, index| worsen(scene, index, state));
            if reached.is_empty() {
                continue;
            }
            let names = reached.iter().map(|index| self.program.readings[*index].name.as_str());
            let names = names.collect::<Vec<_>>().join(", ");
            let words = if reached == told { words.to_string() } else { format!("{words} {names}") };
            let known: Vec<usize> = told.iter().copied().filter(|index| scene.readings[*index].is_known()).collect();
            found.push(self.situation(&words, self.numbers(&known, &scene), scene, alone));
        }
    }

    fn situation(&self, words: &str, detail: String, scene: Scene, alone: bool) -> Situation {
        Situation { screen: self.screen, words: words.to_string(), detail, scene, alone }
    }

    /// Whether the program shows this screen.
    fn shows(&self, scene: &Scene) -> bool {
        scene.draw(self.program, self.time).screen_index() == Some(self.screen)
    }

    /// All readings live, in the middle of their ranges.
    fn middle(&self) -> Scene {
        let mut scene = Scene::waiting(self.program);
        for index in 0..self.program.readings.len() {
            self.put(&mut scene, index, self.extreme(index, Extreme::Middle));
        }
        scene
    }

    /// Makes a reading live, with a past that ends around its number.
    fn put(&self, scene: &mut Scene, index: usize, number: f64) {
        scene.readings[index] = Evaluated::new(number, State::Live);
        if self.program.is_looked_back_at(index) {
            scene.past[index] = waves(&self.program.readings[index], number);
        }
    }

    fn extreme(&self, index: usize, extreme: Extreme) -> f64 {
        let spec = &self.program.readings[index];
        let words = words(spec);
        let (low, high) = spec.range.unwrap_or((0.0, 1.0));
        match extreme {
            Extreme::Least => words.first().copied().unwrap_or(low),
            Extreme::Middle => words.get(words.len().saturating_sub(1) / 2).copied().unwrap_or((low + high) / 2.0),
            Extreme::Greatest => words.last().copied().unwrap_or(high),
        }
    }

    /// A scene of as few unusual numbers as possible in which the screen is shown, or in which it is not.
    fn find(&self, condition: &Compiled, deciding: &[usize], shown: bool) -> Option<Scene> {
        let candidates: Vec<Vec<f64>> = deciding.iter().map(|index| self.candidates(*index, condition)).collect();
        let mut tries = 0;
        let broken = Scene { linked: false, ..self.middle() };
        let is_link = |observed: &Observed| *observed == Observed::Link;
        let broken = self.program.observed.iter().any(is_link).then_some(broken);
        for base in [self.middle()].into_iter().chain(broken) {
            for count in 0..=MOST_MOVED.min(deciding.len()) {
                let found = self.vary(&mut base.clone(), deciding, &candidates, count, shown, &mut tries);
                if found.is_some() {
                    return found;
                }
            }
        }
        None
    }

    /// Moves `count` of the readings away from the middle in every way, until the screen is shown, or is not.
    fn vary(
        &self,
        scene: &mut Scene,
        deciding: &[usize],
        candidates: &[Vec<f64>],
        count: usize,
        shown: bool,
        tries: &mut usize,
    ) -> Option<Scene> {
        if count == 0 {
            *tries += 1;
            return (*tries <= MOST_TRIES && self.shows(scene) == shown).then(|| scene.clone());
        }
        for (place, index) in deciding.iter().enumerate() {
            let before = scene.clone();
            for number in &candidates[place] {
                if *tries > MOST_TRIES {
                    return None;
                }
                self.put(scene, *index, *number);
                let found = self.vary(scene, &deciding[place + 1..], &candidates[place + 1..], count - 1, shown, tries);
                if found.is_some() {
                    return found;
                }
            }
            *scene = before;
        }
        None
    }

    /// The numbers to be tried for a reading: its words; or quarters of its range, and what stands in the condition with what lies
    /// between.
    fn candidates(&self, index: usize, condition: &Compiled) -> Vec<f64> {
        let spec = &self.program.readings[index];
        let mut numbers = words(spec);
        if numbers.is_empty() {
            let (low, high) = spec.range.unwrap_or((0.0, 1.0));
            let quarter = (high - low) / 4.0;
            numbers.extend([low + quarter, low + 3.0 * quarter, low, high]);
            let mut written = Vec::new();
            self.constants(condition, 0, &mut written);
            written.retain(|number| spec.range.is_none_or(|(low, high)| low < *number && *number < high));
            written.sort_by(f64::total_cmp);
            written.dedup();
            numbers.extend(written.iter().flat_map(|number| [*number, number - quarter / 8.0, number + quarter / 8.0]));
            numbers.extend(written.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0));
            numbers.retain(|number| spec.range.is_none_or(|(low, high)| low <= *number && *number <= high));
        }
        numbers.truncate(MOST_NUMBERS);
        numbers
    }

    /// The numbers that stand in an expression, also in the values that it looks at.
    fn constants(&self, formula: &Compiled, depth: usize, found: &mut Vec<f64>) {
        if depth > 64 || found.len() >= MOST_NUMBERS {
            return;
        }
        let mut inner = |formula: &Compiled| self.constants(formula, depth + 1, found);
        match formula {
            Compiled::Constant(number) => found.push(*number),
            Compiled::Value(index) => inner(&self.program.values[*index].formula),
            Compiled::Convert(one, _) | Compiled::Not(one) | Compiled::Interpolate(one, _) => inner(one),
            Compiled::Binary(_, left, right) => [left, right].into_iter().for_each(|side| inner(side)),
            Compiled::If(parts) => parts.iter().for_each(inner),
            Compiled::Call(_, arguments) => arguments.iter().for_each(inner),
            Compiled::Reading(_) | Compiled::Observed(_) => {}
        }
    }

    /// Readings with their numbers, and a link that is broken: `temp 15 °C, door closed, broker lost`.
    fn numbers(&self, readings: &[usize], scene: &Scene) -> String {
        let tell = |index: &usize| {
            let spec = &self.program.readings[*index];
            format!("{} {}", spec.name, value_in_words(spec, scene.readings[*index].number))
        };
        let lost = (!scene.linked).then(|| "broker lost".to_string());
        readings.iter().map(tell).chain(lost).collect::<Vec<_>>().join(", ")
    }
}

/// A reading's number as people would say it: its word, or the number with its unit.
pub fn value_in_words(spec: &ReadingSpec, number: f64) -> String {
    let mut words = spec.pick.known_words().into_iter().flat_map(|words| words.pairs());
    if let Some((word, _)) = words.find(|(_, known)| *known == number) {
        return word.to_string();
    }
    let number = number.to_string().replace('-', &format::MINUS.to_string());
    format!("{number} {}", spec.unit).trim_end().to_string()
}

/// The different numbers that a reading's words stand for, rising; none where it has no words.
fn words(spec: &ReadingSpec) -> Vec<f64> {
    let words = spec.pick.known_words().into_iter().flat_map(|words| words.pairs());
    let mut numbers: Vec<f64> = words.map(|(_, number)| number).collect();
    numbers.sort_by(f64::total_cmp);
    numbers.dedup();
    numbers
}

fn worsen(scene: &mut Scene, index: usize, state: State) {
    match state {
        State::Live => {}
        State::Stale => scene.readings[index].state = State::Stale,
        State::Waiting => {
            scene.readings[index] = Evaluated::WAITING;
            scene.past[index].clear();
        }
        State::Faulty => scene.readings[index] = Evaluated::FAULTY,
    }
}

/// A past of slow waves around a number, within the reading's range, that ends at the number.
pub fn waves(spec: &ReadingSpec, number: f64) -> Vec<Option<f64>> {
    let (low, high) = spec.range.unwrap_or((number - 1.0, number + 1.0));
    let wave = |place: usize| libm::sin((PAST - place) as f64 * core::f64::consts::TAU / 24.0);
    (0..PAST).map(|place| Some((number + (high - low) / 8.0 * wave(place)).clamp(low, high))).collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use jiff::civil::DateTime;

    use super::*;
    use crate::language::clock;

    fn program(layout: &str) -> Arc<Program> {
        crate::service::compile(layout.as_bytes(), Path::new("door.layout")).program.expect("a good layout")
    }

    fn noon() -> ZonedDateTime {
        clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0))
    }

    /// What each situation is called, and the screen that its picture shows.
    fn told(program: &Arc<Program>) -> Vec<(String, String, Option<String>)> {
        let tell = |one: &Situation| {
            let drawn = one.draw(program, &noon());
            (one.words.clone(), one.detail.clone(), drawn.screen().map(str::to_string))
        };
        situations(program, &noon()).iter().map(tell).collect()
    }

    const CLIMATE: &str = "panel 128x32\n\
        reading temp from: \"cellar/a\" unit: °C range: -10..40\n\
        reading door from: \"cellar/b\" pick: words(open: 1, closed: 0)\n\
        screen usual { text \"{temp:.1}\" }\n";

    #[test]
    fn a_plain_screen_is_shown_at_its_ends_and_in_each_state() {
        let program = program(CLIMATE);
        let expected = [
            ("typical numbers, live", "temp 15 °C"),
            ("least numbers", "temp −10 °C"),
            ("greatest numbers", "temp 40 °C"),
            ("stale", "temp 15 °C"),
            ("waiting", ""),
            ("faulty", ""),
        ];
        let told = told(&program);
        let names: Vec<(&str, &str)> =
            told.iter().map(|(words, detail, _)| (words.as_str(), detail.as_str())).collect();
        assert_eq!(names, expected);
        let looks = situations(&program, &noon());
        let states: Vec<State> = looks.iter().map(|one| one.draw(&program, &noon()).words()[0].state).collect();
        let live = State::Live;
        assert_eq!(states, [live, live, live, State::Stale, State::Waiting, State::Faulty]);
    }

    #[test]
    fn a_condition_is_shown_from_both_sides() {
        let program =
            program(&format!("{CLIMATE}screen open when: door == 1 and temp < 3 {{ text \"{{temp:.0}}\" }}\n"));
        let told = told(&program);
        let open: Vec<_> = told.iter().filter(|(_, detail, _)| detail.contains("door")).collect();
        assert_eq!(open[0].0, "takes over, live");
        assert!(open[0].1.contains("door open"), "{open:?}");
        let last = open.last().unwrap();
        assert_eq!((last.0.as_str(), last.2.as_deref()), ("condition does not hold", Some("usual")));
        assert!(open[..open.len() - 1].iter().all(|(_, _, shown)| shown.as_deref() == Some("open")), "{open:?}");
    }

    #[test]
    fn a_condition_that_never_holds_is_shown_all_the_same() {
        let program = program(&format!("{CLIMATE}screen never when: temp > 41 {{ text \"{{temp:.0}}\" }}\n"));
        assert!(
            told(&program).iter().any(|(words, _, shown)| {
                words == "condition not reached, live" && shown.as_deref() == Some("never")
            })
        );
    }
}
