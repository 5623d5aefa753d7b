//! What the verbs that draw a layout are given: numbers, states, a past, a time and a screen.
//!
//! What enters are arguments; what leaves is the picture that they ask for.

use std::sync::Arc;

use jiff::civil::DateTime;

use crate::formulas::Evaluated;
use crate::language::nearest;
use crate::layout::{Program, Renderer, Scene};
use crate::readings::State;

use super::Failure;

/// What the readings, the clock and the choice of screens are taken to be.
#[derive(Debug, clap::Args)]
pub(super) struct Given {
    /// Give a reading a number
    #[arg(long, value_name = "NAME=NUMBER")]
    set: Vec<String>,
    /// Put a reading into a state: live, stale, waiting or faulty
    #[arg(long, value_name = "NAME=STATE")]
    state: Vec<String>,
    /// Give a reading a past: numbers evenly spread over its longest window, oldest first; an empty one is a silence
    #[arg(long, value_name = "NAME=NUMBER,NUMBER,…")]
    past: Vec<String>,
    /// The date and time that clocks show, as 2026-11-25T14:05; now where it is not given
    #[arg(long, value_name = "DATE-TIME")]
    time: Option<DateTime>,
    /// Show this screen, whatever the conditions say
    #[arg(long, value_name = "NAME")]
    screen: Option<String>,
}

impl Given {
    /// The picture of a program with all that is given.
    pub(super) fn draw(&self, program: &Arc<Program>) -> Result<Renderer, Failure> {
        let program = match &self.screen {
            Some(name) => Arc::new(only_screen(program, name)?),
            None => Arc::clone(program),
        };
        let mut scene = Scene::waiting(&program);
        for past in &self.past {
            let (index, numbers) = past_of(&program, past)?;
            scene.past[index] = numbers;
        }
        scene.readings = self.readings(&program)?;
        let here = jiff::ZonedDateTime::now();
        Ok(scene.draw(&program, self.time.unwrap_or_else(|| here.datetime()), here.offset().seconds()))
    }

    /// Each reading as the arguments put it.
    fn readings(&self, program: &Program) -> Result<Vec<Evaluated>, Failure> {
        let find = |option: &str, name: &str| find(program, option, name);
        let mut readings = vec![Evaluated::WAITING; program.readings.len()];
        for set in &self.set {
            let (name, number) = pair("--set", set, "temp=12.4")?;
            let index = find("--set", name)?;
            let number: f64 = number.trim().parse().map_err(|_| {
                Failure::Argument(format!(
                    "--set {set}: `{number}` is no number; write, for example, `--set {name}=12.4`"
                ))
            })?;
            let in_range = program.readings[index].range.is_none_or(|(low, high)| low <= number && number <= high);
            readings[index] = if in_range { Evaluated::new(number, State::Live) } else { Evaluated::FAULTY };
        }
        for state in &self.state {
            let (name, state_name) = pair("--state", state, "temp=stale")?;
            let index = find("--state", name)?;
            readings[index].state = match state_name {
                // There is nothing to believe in a number that was never given.
                "live" | "stale" if !readings[index].is_known() => {
                    return Err(Failure::Argument(format!(
                        "--state {state}: give it a number within its range as well, for example `--set {name}=12.4`"
                    )));
                }
                "live" => State::Live,
                "stale" => State::Stale,
                "waiting" => State::Waiting,
                "faulty" => State::Faulty,
                _ => {
                    return Err(Failure::Argument(format!(
                        "--state {state}: `{state_name}` is no state; write live, stale, waiting or faulty"
                    )));
                }
            };
        }
        Ok(readings)
    }
}

/// A program that shows one of the screens and nothing else.
fn only_screen(program: &Program, name: &str) -> Result<Program, Failure> {
    let known = program.screens.iter().map(|screen| screen.name.as_str());
    match known.clone().position(|known| known == name) {
        Some(screen) => Ok(program.alone(screen)),
        None => Err(unknown("--screen", "screen", name, known)),
    }
}

/// The place of a reading.
fn find(program: &Program, option: &str, name: &str) -> Result<usize, Failure> {
    let known = program.readings.iter().map(|spec| spec.name.as_str());
    known.clone().position(|known| known == name).ok_or_else(|| unknown(option, "reading", name, known))
}

/// A reading with the numbers of its past.
fn past_of(program: &Program, past: &str) -> Result<(usize, Vec<Option<f64>>), Failure> {
    let (name, numbers) = pair("--past", past, "temp=12.0,12.2,,12.4")?;
    let index = find(program, "--past", name)?;
    let (low, high) = program.readings[index].range.unwrap_or((f64::MIN, f64::MAX));
    let number = |text: &str| match (text.trim(), text.trim().parse()) {
        ("", _) => Ok(None),
        (_, Ok(number)) if low <= number && number <= high => Ok(Some(number)),
        (text, Ok(_)) => Err(Failure::Argument(format!("--past {past}: {text} is outside of the reading's range"))),
        (text, Err(_)) => Err(Failure::Argument(format!("--past {past}: `{text}` is no number"))),
    };
    Ok((index, numbers.split(',').map(number).collect::<Result<_, _>>()?))
}

fn pair<'a>(option: &str, text: &'a str, example: &str) -> Result<(&'a str, &'a str), Failure> {
    text.split_once('=')
        .map(|(name, value)| (name.trim(), value.trim()))
        .ok_or_else(|| Failure::Argument(format!("{option} {text}: write, for example, `{option} {example}`")))
}

fn unknown<'a>(option: &str, what: &str, name: &str, known: impl Iterator<Item = &'a str> + Clone) -> Failure {
    let help = match nearest(name, known.clone()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("it has {}", known.map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")),
    };
    Failure::Argument(format!("{option}: the layout has no {what} called `{name}`; {help}"))
}
