//! The cases: named sections of text files.
//!
//! A section begins with `--- name`; lines of settings follow (`set temp=12.4`, `past temp=12.0,12.2,,12.4`, `state rh=stale`, `screen walls`,
//! `time 2026-11-25T14:05`, `panel sh1106`, `rotated`, `file layouts/x.layout`), then a blank line and, unless a file was
//! named, the layout.

use std::collections::BTreeSet;
use std::path::Path;

use jiff::civil::DateTime;
use sidelight::draw::Size;
use sidelight::formulas::Evaluated;
use sidelight::layout::{Program, Scene};
use sidelight::panel::{Controller, Setup};
use sidelight::readings::State;

/// One picture to be drawn.
pub struct Case {
    pub name: String,
    /// The layout.
    pub text: String,
    /// The file that it was read from, if any.
    pub file: Option<String>,
    pub time: DateTime,
    pub rotated: bool,
    screen: Option<String>,
    controller: Controller,
    settings: Vec<(String, Setting)>,
    pasts: Vec<(String, Vec<Option<f64>>)>,
}

enum Setting {
    Number(f64),
    State(State),
}

/// All cases of a folder, in order; a name that stands twice is an error.
pub fn read(folder: &Path) -> Vec<Case> {
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "cases"));
    files.sort();
    let mut cases = Vec::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let (_, sections) = text.split_once("--- ").expect("a file of cases begins its first section with `--- `");
        cases.extend(sections.split("\n--- ").map(section));
    }
    let mut names = BTreeSet::new();
    for case in &cases {
        assert!(names.insert(&case.name), "two cases are called {}", case.name);
    }
    cases
}

fn section(section: &str) -> Case {
    let mut lines = section.lines();
    let mut case = Case {
        name: lines.next().unwrap_or_default().trim().to_string(),
        text: String::new(),
        file: None,
        time: DateTime::constant(2026, 11, 25, 14, 5, 0, 0),
        rotated: false,
        screen: None,
        controller: Controller::Ssd1306,
        settings: Vec::new(),
        pasts: Vec::new(),
    };
    for line in lines.by_ref().take_while(|line| !line.trim().is_empty()) {
        let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
        let pair = || {
            let (name, value) = rest.split_once('=').unwrap_or_else(|| panic!("{}: {line}", case.name));
            (name.to_string(), value)
        };
        match word {
            "set" => {
                let (name, number) = pair();
                case.settings.push((name, Setting::Number(number.parse().unwrap())));
            }
            "past" => {
                let (name, numbers) = pair();
                let number = |text: &str| (!text.is_empty()).then(|| text.parse().unwrap());
                case.pasts.push((name, numbers.split(',').map(number).collect()));
            }
            "state" => {
                let (name, state) = pair();
                let state = match state {
                    "live" => State::Live,
                    "stale" => State::Stale,
                    "waiting" => State::Waiting,
                    "faulty" => State::Faulty,
                    other => panic!("{}: no state {other}", case.name),
                };
                case.settings.push((name, Setting::State(state)));
            }
            "screen" => case.screen = Some(rest.to_string()),
            "time" => case.time = rest.parse().unwrap(),
            "rotated" => case.rotated = true,
            "panel" if rest == "sh1106" => case.controller = Controller::Sh1106,
            "file" => {
                case.text = std::fs::read_to_string(crate::root().join(rest)).unwrap();
                case.file = Some(rest.to_string());
            }
            _ => panic!("{}: `{line}` is no setting", case.name),
        }
    }
    if case.file.is_none() {
        case.text = lines.map(|line| format!("{line}\n")).collect();
    }
    case
}

impl Case {
    /// The program with only the screen that the case is about.
    pub fn prepared(&self, program: Program) -> Program {
        let Some(name) = &self.screen else { return program };
        let screen = program.screens.iter().position(|screen| screen.name == *name);
        program.alone(screen.unwrap_or_else(|| panic!("{}: no screen {name}", self.name)))
    }

    /// The readings and their pasts as the settings put them; what is not set is waiting.
    pub fn scene(&self, program: &Program) -> Scene {
        let place = |name: &str| {
            let place = program.readings.iter().position(|spec| spec.name == name);
            place.unwrap_or_else(|| panic!("{}: no reading {name}", self.name))
        };
        let mut scene = Scene::waiting(program);
        for (name, setting) in &self.settings {
            let reading = &mut scene.readings[place(name)];
            match setting {
                Setting::Number(number) => *reading = Evaluated::new(*number, State::Live),
                Setting::State(state) => reading.state = *state,
            }
        }
        for (name, numbers) in &self.pasts {
            scene.past[place(name)].clone_from(numbers);
        }
        scene
    }

    pub fn setup(&self, size: Size) -> Setup {
        Setup { rotated: self.rotated, ..Setup::new(self.controller, size) }
    }
}
