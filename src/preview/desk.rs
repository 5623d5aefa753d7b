//! The desk: a layout with a control for each of its readings, and the picture that they give on an emulated panel.
//!
//! What enters are layouts as they are saved, changes that somebody asks for, messages of a broker, and the time; what leaves are the
//! picture, what each reading is, and what the last change cost on the bus. Pure: no file, clock or socket.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use jiff::civil::DateTime;
use serde::Deserialize;

use super::control::{Control, Past};
use crate::draw::Size;
use crate::feed::{Filter, Message};
use crate::formulas::Evaluated;
use crate::layout::{Program, Renderer, Scene, Situation};
use crate::panel::{Controller, Driver, EmulatedPanel, Setup, Traffic};
use crate::readings::{Moment, State};
use crate::service::{Loaded, Pane};

/// What readings follow until their controls are moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Nothing: the controls alone decide.
    Controls,
    /// A broker's messages.
    Broker,
    /// A recording, whose panes are [put](Desk::put) on the desk.
    Recording,
}

/// The address of the emulated panel and the seed of its noise: neither is to be seen.
const ADDRESS: u8 = 0x3c;
const NOISE: u64 = 1;
/// No reading is older.
const OLDEST: f64 = 31.0 * 24.0 * 3600.0;

/// Something that somebody at the page or the keyboard asks for.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase", deny_unknown_fields)]
pub enum Change {
    /// Another number for a reading; a waiting, stale or faulty one becomes live.
    Number {
        /// The reading's name.
        reading: String,
        /// The number.
        to: f64,
    },
    /// Another state for a reading.
    State {
        /// The reading's name.
        reading: String,
        /// The state's word.
        to: String,
    },
    /// Another age for a reading.
    Age {
        /// The reading's name.
        reading: String,
        /// In seconds; none leaves it to the state.
        to: Option<f64>,
    },
    /// Another past for a reading.
    Past {
        /// The reading's name.
        reading: String,
        /// Its shape.
        to: Past,
    },
    /// A reading follows the broker again.
    Release {
        /// The reading's name.
        reading: String,
    },
    /// One screen whatever the conditions say, or, with none, the one that the layout chooses.
    Screen(Option<String>),
    /// A date and time, or, with none, the machine's.
    Time(Option<DateTime>),
    /// A situation of the contact sheet, by its place.
    Situation(usize),
}

/// Why a change is not made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No program yet.
    #[error("the layout has mistakes and was never shown: mend it first")]
    NoLayout,
    /// A name that the layout does not know.
    #[error("the layout has no {what} called `{name}`")]
    Unknown {
        /// What kind of thing.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// Not a number that a control takes.
    #[error("{what} must be a number from {least} to {greatest}")]
    NoNumber {
        /// What it is for.
        what: &'static str,
        /// The least.
        least: &'static str,
        /// The greatest.
        greatest: &'static str,
    },
    /// Without a broker or a recording, nothing can be followed.
    #[error("there is no broker and no recording to follow: start with --broker or --replay")]
    NoSource,
    /// There is no line of time to move on.
    #[error("there is no recording: start with --replay")]
    NoRecording,
    /// Another time than the recording's would show what never was.
    #[error("the recording has its own time: move on its line")]
    OwnTime,
    /// The sheet is another by now.
    #[error("the contact sheet has no such picture any more")]
    NoSituation,
}

/// A layout that can be shown.
#[derive(Clone, Debug)]
pub struct Good {
    /// The text that it was compiled from.
    pub text: String,
    /// The whole program.
    pub program: Arc<Program>,
    /// The program with one screen alone, while one is chosen.
    pinned: Option<Arc<Program>>,
}

/// What a reading is at the moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// Number and state.
    pub value: Evaluated,
    /// How long ago it was heard, where anybody knows.
    pub age: Option<Duration>,
    /// Whether its control decides, and not the broker.
    pub held: bool,
    /// Why it is faulty, in the broker's case.
    pub fault: Option<String>,
}

/// The desk.
pub struct Desk {
    loaded: Loaded,
    /// Why the file cannot be read, while it cannot.
    unread: Option<String>,
    good: Option<Good>,
    controls: Vec<Control>,
    held: Vec<bool>,
    screen: Option<String>,
    time: Option<DateTime>,
    /// Whether the broker is connected.
    linked: bool,
    begun: Moment,
    /// What the broker says, if there is one.
    pane: Option<Pane>,
    source: Source,
    situations: Vec<Situation>,
    drawn: Option<Renderer>,
    /// When the picture was drawn, and how that moment is called in it.
    drawn_at: (Moment, Moment),
    panel: Option<Driver<EmulatedPanel>>,
    /// What the last change and a whole picture cost.
    cost: (Traffic, Traffic),
    version: u64,
}

impl Desk {
    /// A desk with a layout as it was loaded, every reading live in the middle of its range, or waiting for its source if there is one.
    pub fn new(loaded: Loaded, source: Source, now: Moment) -> Self {
        let empty = Loaded { name: loaded.name.clone(), text: String::new(), findings: Vec::new(), program: None };
        let mut desk = Self {
            loaded: empty,
            unread: None,
            good: None,
            controls: Vec::new(),
            held: Vec::new(),
            screen: None,
            time: None,
            linked: source != Source::Broker,
            begun: now,
            pane: None,
            source,
            situations: Vec::new(),
            drawn: None,
            drawn_at: (now, now),
            panel: None,
            cost: Default::default(),
            version: 0,
        };
        desk.reload(loaded, now);
        desk
    }

    /// Takes a layout as it was saved. A broken one leaves the last good one in place; controls stay with their readings' names.
    pub fn reload(&mut self, loaded: Loaded, now: Moment) {
        self.version += 1;
        self.unread = None;
        if let Some(program) = &loaded.program {
            let old = self.good.take();
            let before = |name: &str| old.as_ref().and_then(|good| place(&good.program, name));
            let kept: Vec<Option<usize>> = program.readings.iter().map(|spec| before(&spec.name)).collect();
            let control = |(spec, kept): (_, &Option<usize>)| match kept {
                Some(kept) => self.controls[*kept].clone(),
                None => Control::new(spec),
            };
            self.controls = program.readings.iter().zip(&kept).map(control).collect();
            let fed = self.is_fed();
            self.held = kept.iter().map(|kept| !fed || kept.is_some_and(|kept| self.held[kept])).collect();
            match &mut self.pane {
                Some(pane) => pane.swap(Arc::clone(program), now),
                None => self.pane = fed.then(|| Pane::new(Arc::clone(program), now)),
            }
            if old.is_some_and(|old| old.program.size != program.size) {
                self.panel = None;
            }
            self.situations.clear();
            self.good = Some(Good { text: loaded.text.clone(), program: Arc::clone(program), pinned: None });
            self.pin();
        }
        self.loaded = loaded;
    }

    /// Takes note that the file cannot be read, and why.
    pub fn lose(&mut self, why: String) {
        self.version += 1;
        self.unread = Some(why);
    }

    /// Makes a change.
    pub fn change(&mut self, change: &Change, now: Moment) -> Result<(), Refusal> {
        match change {
            Change::Number { reading, to } => {
                if !to.is_finite() {
                    return Err(Refusal::NoNumber { what: "a reading", least: "-1e308", greatest: "1e308" });
                }
                let (control, _) = self.take(reading, now)?;
                control.number = *to;
                if control.state != State::Stale {
                    control.state = State::Live;
                }
            }
            Change::State { reading, to } => {
                let state = State::of(to).ok_or_else(|| Refusal::Unknown { what: "state", name: to.clone() })?;
                let (control, program) = self.take(reading, now)?;
                if let Some(spec) = program.readings.iter().find(|spec| spec.name == *reading) {
                    control.put(state, spec);
                }
            }
            Change::Age { reading, to } => {
                let heard = match to {
                    Some(seconds) if !(0.0..=OLDEST).contains(seconds) => {
                        return Err(Refusal::NoNumber { what: "an age", least: "0", greatest: "2678400 s" });
                    }
                    Some(seconds) => Some(Duration::from_secs_f64(*seconds)),
                    None => None,
                };
                let (control, _) = self.take(reading, now)?;
                control.heard = heard;
                if heard.is_some() {
                    control.state = State::Live;
                }
            }
            Change::Past { reading, to } => self.take(reading, now)?.0.past = *to,
            Change::Release { reading } => {
                let index = self.index(reading)?;
                if !self.is_fed() {
                    return Err(Refusal::NoSource);
                }
                self.held[index] = false;
            }
            Change::Screen(name) => {
                let good = self.good.as_ref().ok_or(Refusal::NoLayout)?;
                if let Some(name) = name
                    && !good.program.screens.iter().any(|screen| screen.name == *name)
                {
                    return Err(Refusal::Unknown { what: "screen", name: name.clone() });
                }
                self.screen.clone_from(name);
                self.begun = now;
                self.pin();
            }
            Change::Time(_) if self.source == Source::Recording => return Err(Refusal::OwnTime),
            Change::Time(time) => self.time = *time,
            Change::Situation(place) => self.situate(*place, now)?,
        }
        Ok(())
    }

    /// Takes the numbers and states of a picture of the contact sheet.
    fn situate(&mut self, place: usize, now: Moment) -> Result<(), Refusal> {
        let good = self.good.as_ref().ok_or(Refusal::NoLayout)?;
        let situation = self.situations.get(place).ok_or(Refusal::NoSituation)?;
        for (control, value) in self.controls.iter_mut().zip(&situation.scene.readings) {
            if value.is_known() {
                control.number = value.number;
            }
            (control.state, control.heard, control.past) = (value.state, None, Past::default());
        }
        self.held.fill(true);
        self.screen = situation.alone.then(|| good.program.screens[situation.screen].name.clone());
        self.begun = now;
        self.pin();
        Ok(())
    }

    /// A reading's control, which decides from now on. Where the broker did, it begins with what that said.
    fn take(&mut self, name: &str, now: Moment) -> Result<(&mut Control, &Program), Refusal> {
        let index = self.index(name)?;
        let good = self.good.as_ref().ok_or(Refusal::NoLayout)?;
        if !std::mem::replace(&mut self.held[index], true)
            && let Some(reading) = self.pane.as_ref().and_then(|pane| pane.store().reading(index))
        {
            let control = &mut self.controls[index];
            control.number = reading.value().unwrap_or(control.number);
            (control.state, control.heard) = (reading.state(now), None);
        }
        Ok((&mut self.controls[index], &good.program))
    }

    fn index(&self, name: &str) -> Result<usize, Refusal> {
        let good = self.good.as_ref().ok_or(Refusal::NoLayout)?;
        place(&good.program, name).ok_or_else(|| Refusal::Unknown { what: "reading", name: name.into() })
    }

    /// Keeps the program of the chosen screen at hand; a screen that is gone is chosen no more.
    fn pin(&mut self) {
        let Some(good) = &mut self.good else { return };
        let chosen = |name: &String| good.program.screens.iter().position(|screen| screen.name == *name);
        let place = self.screen.as_ref().and_then(chosen);
        good.pinned = place.map(|screen| Arc::new(good.program.alone(screen)));
        if place.is_none() {
            self.screen = None;
        }
    }

    /// Takes a message of the broker.
    pub fn hear(&mut self, message: &Message, now: Moment) {
        if let Some(pane) = &mut self.pane {
            pane.accept(message, now);
        }
    }

    /// Takes a pane as a recording has it at the moment that is to be shown, and whether the recorder was connected.
    pub fn put(&mut self, pane: Pane, linked: bool) {
        self.pane = Some(pane);
        self.linked = linked;
    }

    /// Moves every reading on whose control decides and is live.
    pub fn play(&mut self, random: &mut fastrand::Rng) {
        let Some(good) = &self.good else { return };
        let fed = self.is_fed();
        let held = self.held.iter().map(|held| *held || !fed);
        for ((control, spec), held) in self.controls.iter_mut().zip(&good.program.readings).zip(held) {
            if held && control.state == State::Live {
                control.play(spec, random);
            }
        }
    }

    /// Takes whether the broker is connected.
    pub fn set_link(&mut self, linked: bool) {
        self.linked = linked;
    }

    /// Draws the picture as of now and sends it to the emulated panel. `time` is the machine's civil time.
    pub fn update(&mut self, now: Moment, time: &ZonedDateTime) {
        let Some(good) = &self.good else { return };
        let chosen = self.time.and_then(|chosen| chosen.to_zoned_datetime(time.time_zone().clone()).ok());
        let time = chosen.as_ref().unwrap_or(time);
        let program = good.pinned.as_ref().unwrap_or(&good.program);
        let renderer = match &mut self.pane {
            None => {
                self.drawn_at = (now, Scene::NOW);
                let mut scene = scene(&self.controls, program);
                scene.running = now.since(self.begun);
                scene.linked = self.linked;
                scene.draw(program, time)
            }
            Some(pane) => {
                self.drawn_at = (now, now);
                pane.set_link(self.linked);
                pane.update(now, time);
                if self.screen.is_none() && self.time.is_none() && !self.held.contains(&true) {
                    // Nobody has touched anything: the picture is the service's own, with all that it remembers.
                    let renderer = pane.renderer().clone();
                    self.send(&renderer);
                    self.drawn = Some(renderer);
                    return;
                }
                let mut renderer = Renderer::new(Arc::clone(program), self.begun.min(now));
                renderer.set_time(now, time.clone());
                renderer.set_link(self.linked);
                renderer.carry_over(pane.renderer());
                for (index, spec) in program.readings.iter().enumerate() {
                    if !self.held[index] {
                        renderer.set(index, pane.renderer().reading(index));
                        continue;
                    }
                    let value = self.controls[index].seen(spec);
                    renderer.set(index, value);
                    if value.state == State::Live {
                        renderer.hear(index, value.number, now);
                    }
                }
                renderer.draw(now);
                renderer
            }
        };
        self.send(&renderer);
        self.drawn = Some(renderer);
    }

    /// Brings the picture to the emulated panel, and keeps what that cost.
    fn send(&mut self, renderer: &Renderer) {
        let size = renderer.program().size;
        if self.panel.is_none() {
            // The checker allows no panel that this controller cannot drive.
            self.panel = driver(size);
            self.cost = Default::default();
        }
        let Some(panel) = &mut self.panel else { return };
        let first = panel.needs_initialising();
        if first && panel.initialise().is_err() {
            return;
        }
        match panel.show(renderer.frame()) {
            Ok(traffic) if first => self.cost = (traffic, traffic),
            Ok(traffic) if traffic.bytes > 0 => self.cost.0 = traffic,
            _ => {}
        }
    }

    /// When the picture changes by itself after the last [`update`](Self::update); `None` if it does not.
    pub fn next_change(&self) -> Option<Moment> {
        let (drawn_at, called) = self.drawn_at;
        let of_picture = self.drawn.as_ref().and_then(Renderer::next_change);
        let of_picture = of_picture.map(|moment| drawn_at + moment.since(called));
        of_picture.into_iter().chain(self.pane.as_ref().and_then(Pane::next_change)).min()
    }

    /// What each reading is, in the order of the layout.
    pub fn seen(&self, now: Moment) -> Vec<Seen> {
        let Some(good) = &self.good else { return Vec::new() };
        let each = good.program.readings.iter().enumerate().map(|(index, spec)| match &self.pane {
            Some(pane) if !self.held[index] => {
                let reading = pane.store().reading(index);
                Seen {
                    value: pane.renderer().reading(index),
                    age: reading.and_then(|reading| reading.age(now)),
                    held: false,
                    fault: reading.and_then(|reading| reading.fault()).map(ToString::to_string),
                }
            }
            _ => {
                let control = &self.controls[index];
                let value = control.seen(spec);
                let age = if value.is_known() { control.age() } else { None };
                Seen { value, age, held: true, fault: None }
            }
        });
        each.collect()
    }

    /// The filters to subscribe to.
    pub fn filters(&self) -> Vec<Filter> {
        self.pane.as_ref().map(|pane| pane.store().filters().into_iter().cloned().collect()).unwrap_or_default()
    }

    /// The layout as it was read last, good or broken.
    pub fn loaded(&self) -> &Loaded {
        &self.loaded
    }

    /// The layout that is shown.
    pub fn good(&self) -> Option<&Good> {
        self.good.as_ref()
    }

    /// Whether what is shown is what was read last.
    pub fn is_current(&self) -> bool {
        self.unread.is_none() && self.loaded.program.is_some()
    }

    /// Why the file cannot be read, while it cannot.
    pub fn unread(&self) -> Option<&str> {
        self.unread.as_deref()
    }

    /// Grows with each layout that is read.
    pub fn version(&self) -> u64 {
        self.version
    }

    /// The controls, in the order of the layout's readings.
    pub fn controls(&self) -> &[Control] {
        &self.controls
    }

    /// The chosen screen, if one is.
    pub fn screen(&self) -> Option<&str> {
        self.screen.as_deref()
    }

    /// The chosen time, if one is.
    pub fn time(&self) -> Option<DateTime> {
        self.time
    }

    /// What readings follow.
    pub fn source(&self) -> Source {
        self.source
    }

    /// Whether readings follow anything.
    pub fn is_fed(&self) -> bool {
        self.source != Source::Controls
    }

    /// The picture as of the last [`update`](Self::update).
    pub fn drawn(&self) -> Option<&Renderer> {
        self.drawn.as_ref()
    }

    /// What the last change of the picture cost on the bus, and what a whole picture costs.
    pub fn cost(&self) -> (Traffic, Traffic) {
        self.cost
    }

    /// Takes the situations of the contact sheet, so that they can be asked for; those of another program are not kept.
    pub fn lay_out(&mut self, program: &Arc<Program>, situations: Vec<Situation>) {
        if self.good.as_ref().is_some_and(|good| Arc::ptr_eq(&good.program, program)) {
            self.situations = situations;
        }
    }
}

/// What the controls make of the readings.
fn scene(controls: &[Control], program: &Program) -> Scene {
    let mut scene = Scene::waiting(program);
    for (index, (control, spec)) in controls.iter().zip(&program.readings).enumerate() {
        scene.readings[index] = control.seen(spec);
        scene.heard[index] = control.age();
        if program.is_looked_back_at(index) {
            scene.past[index] = control.before(spec);
        }
    }
    scene
}

fn place(program: &Program, name: &str) -> Option<usize> {
    program.readings.iter().position(|spec| spec.name == name)
}

fn driver(size: Size) -> Option<Driver<EmulatedPanel>> {
    let setup = Setup::new(Controller::Ssd1306, size);
    Driver::new(EmulatedPanel::new(setup.controller, size, ADDRESS, NOISE), ADDRESS, setup).ok()
}
