//! The situations in which a layout is worth a look: each screen at its least, middle and greatest numbers, in each state, and on
//! both sides of its condition.
//!
//! What enters is a program; what leaves are scenes with words for them, always the same for the same program. Nothing is drawn
//! to be seen: pictures are taken only to find out which screen a scene shows.

use std::sync::Arc;

use jiff::civil::DateTime;

use crate::formulas::{Compiled, Evaluated};
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
    /// The picture of it at a civil time, which is taken to be that of Greenwich.
    pub fn draw(&self, program: &Arc<Program>, time: DateTime) -> Renderer {
        if self.alone {
            self.scene.draw(&Arc::new(program.alone(self.screen)), time, 0)
        } else {
            self.scene.draw(program, time, 0)
        }
    }
}

/// All situations of a program, screen by screen in the order of the file. A condition may depend on the time.
///
/// A screen without a condition is shown by itself. One with a condition is shown as it takes over, so far as a scene of a few
/// simple numbers is found in which it does; its readings then keep the numbers and states in which the condition holds.
pub fn situations(program: &Arc<Program>, time: DateTime) -> Vec<Situation> {
    (0..program.screens.len()).flat_map(|screen| Search { program, time, screen }.situations()).collect()
}

/// The search for the situations of one screen.
struct Search<'a> {
    program: &'a Arc<Program>,
    time: DateTime,
    screen: usize,
}

impl Search<'_> {
    fn situations(&self) -> Vec<Situation> {
        let shown = self.program.readings_behind(&self.program.screens[self.screen].inputs());
        let mut found = Vec::new();
        match &self.program.screens[self.screen].when {
            None => self.looks(&shown, self.middle(), "", true, &mut found),
            Some(condition) => {
                let deciding = self.program.readings_behind(&self.program.inputs_of(condition));
                match self.find(condition, &deciding, true) {
                    Some(base) => self.looks(&shown, base, ", taking over", false, &mut found),
                    None => self.looks(&shown, self.middle(), ", condition not reached", true, &mut found),
                }
                if let Some(scene) = self.find(condition, &deciding, false) {
                    let detail = self.numbers(&deciding, &scene);
                    found.push(self.situation("condition does not hold".to_string(), detail, scene, false));
                }
            }
        }
        found
    }

    /// The extremes and the states of the readings on the screen, as far as they leave it shown.
    fn looks(&self, shown: &[usize], base: Scene, how: &str, alone: bool, found: &mut Vec<Situation>) {
        let stays = |scene: &Scene| alone || self.shows(scene);
        let moved = |change: &dyn Fn(&mut Scene, usize)| {
            let mut scene = base.clone();
            let mut reached = Vec::new();
            for index in shown {
                let mut next = scene.clone();
                change(&mut next, *index);
                if stays(&next) {
                    scene = next;
                    reached.push(*index);
                }
            }
            (scene, reached)
        };
        let to = |extreme: Extreme| moved(&|scene, index| self.put(scene, index, self.extreme(index, extreme))).0;
        let typical = to(Extreme::Middle);
        let mut numbers = |words: String, scene: Scene| {
            let known = found.iter().any(|other: &Situation| other.screen == self.screen && other.scene == scene);
            if !known {
                found.push(self.situation(words, self.numbers(shown, &scene), scene, alone));
            }
        };
        if shown.is_empty() {
            numbers(format!("always alike{how}"), typical);
            return;
        }
        numbers(format!("typical numbers, live{how}"), typical.clone());
        numbers("least numbers".to_string(), to(Extreme::Least));
        numbers("greatest numbers".to_string(), to(Extreme::Greatest));
        for (state, words) in [(State::Stale, "stale"), (State::Waiting, "waiting"), (State::Faulty, "faulty")] {
            let (scene, reached) = moved(&|scene, index| {
                self.put(scene, index, self.extreme(index, Extreme::Middle));
                worsen(scene, index, state);
            });
            if reached.is_empty() {
                continue;
            }
            let words = if reached.len() == shown.len() {
                words.to_string()
            } else {
                let names = reached.iter().map(|index| self.program.readings[*index].name.as_str());
                format!("{words}: {}", names.collect::<Vec<_>>().join(", "))
            };
            let known: Vec<usize> = shown.iter().copied().filter(|index| scene.readings[*index].is_known()).collect();
            found.push(self.situation(words, self.numbers(&known, &scene), scene, alone));
        }
    }

    fn situation(&self, words: String, detail: String, scene: Scene, alone: bool) -> Situation {
        Situation { screen: self.screen, words, detail, scene, alone }
    }

    /// Whether the program shows this screen.
    fn shows(&self, scene: &Scene) -> bool {
        scene.draw(self.program, self.time, 0).screen_index() == Some(self.screen)
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
        if self.program.histories.iter().any(|(reading, _)| *reading == index) {
            scene.past[index] = past(&self.program.readings[index], number);
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
        for count in 0..=MOST_MOVED.min(deciding.len()) {
            let found = self.vary(&mut self.middle(), deciding, &candidates, count, shown, &mut tries);
            if found.is_some() {
                return found;
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

    /// Readings with their numbers: `temp 15 °C, door closed`.
    fn numbers(&self, readings: &[usize], scene: &Scene) -> String {
        let tell = |index: &usize| {
            let spec = &self.program.readings[*index];
            format!("{} {}", spec.name, value_in_words(spec, scene.readings[*index].number))
        };
        readings.iter().map(tell).collect::<Vec<_>>().join(", ")
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
fn past(spec: &ReadingSpec, number: f64) -> Vec<Option<f64>> {
    let (low, high) = spec.range.unwrap_or((number - 1.0, number + 1.0));
    let wave = |place: usize| libm::sin((PAST - place) as f64 * core::f64::consts::TAU / 24.0);
    (0..PAST).map(|place| Some((number + (high - low) / 8.0 * wave(place)).clamp(low, high))).collect()
}
