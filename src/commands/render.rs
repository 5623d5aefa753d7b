//! `sidelight render`: the picture of a layout for given readings, as PNG, in the terminal or in words.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use jiff::civil::DateTime;

use crate::draw::picture;
use crate::formulas::Evaluated;
use crate::language::{nearest, report};
use crate::layout::{Program, Renderer};
use crate::readings::{Moment, State};
use crate::service::load;

use super::{Failure, program_or_report};

/// Draw a layout with given readings
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A reading that is not set is waiting. Numbers are in the reading's own unit. A number outside of the reading's range makes it
faulty, as it would from the broker.

Examples:
  sidelight render door.layout --set temp=12.4 --set rh=91
  sidelight render door.layout --set temp=12.4 --state temp=stale --out door.png --scale 4
  sidelight render door.layout --set temp=12.4 --set rh=91 --words")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE")]
    file: PathBuf,
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
    /// Write a PNG instead of drawing in the terminal
    #[cfg(feature = "pictures")]
    #[arg(long, value_name = "PNG")]
    out: Option<PathBuf>,
    /// Pixels of the PNG for each pixel of the panel
    #[cfg(feature = "pictures")]
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=64))]
    scale: u32,
    /// Print what the picture says, a line an element: kind, place in the file, state, text or value
    #[arg(long)]
    words: bool,
}

/// When the picture is taken: late enough for every window to lie before it.
const NOW: Moment = Moment::at(Duration::from_secs(40 * 24 * 3600));

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let loaded = load(&arguments.file)?;
    let mut program = program_or_report(&loaded, &arguments.file)?;
    if let Some(name) = &arguments.screen {
        program = only_screen(&program, name)?;
    }
    let mut renderer = Renderer::new(Arc::clone(&program), NOW);
    let here = jiff::ZonedDateTime::now();
    renderer.set_time(NOW, arguments.time.unwrap_or_else(|| here.datetime()));
    renderer.set_offset(here.offset().seconds());
    for past in &arguments.past {
        let (index, numbers) = past_of(&program, past)?;
        renderer.remember(index, &numbers, NOW);
    }
    for (index, value) in readings(&program, arguments)?.into_iter().enumerate() {
        renderer.set(index, value);
        if value.state == State::Live {
            renderer.hear(index, value.number, NOW);
        }
    }
    renderer.draw(NOW);
    #[cfg(feature = "pictures")]
    if let Some(path) = &arguments.out {
        let png = picture::png(renderer.frame(), arguments.scale)
            .map_err(|problem| Failure::Outside(format!("cannot make a PNG: {problem}")))?;
        std::fs::write(path, png).map_err(|problem| Failure::Write { path: path.clone(), problem })?;
    }
    #[cfg(feature = "pictures")]
    let elsewhere = arguments.out.is_some();
    #[cfg(not(feature = "pictures"))]
    let elsewhere = false;
    let mut out = std::io::stdout().lock();
    // Whoever reads may have enough of it.
    let _ = if arguments.words {
        out.write_all(words(&renderer, &loaded.text).as_bytes())
    } else if elsewhere {
        Ok(())
    } else {
        out.write_all(picture::half_blocks(renderer.frame()).as_bytes())
    };
    Ok(ExitCode::SUCCESS)
}

/// A program that shows one of the screens and nothing else.
fn only_screen(program: &Program, name: &str) -> Result<Arc<Program>, Failure> {
    let known = program.screens.iter().map(|screen| screen.name.as_str());
    let Some(screen) = program.screens.iter().find(|screen| screen.name == name) else {
        return Err(unknown("--screen", "screen", name, known));
    };
    let mut screen = screen.clone();
    screen.when = None;
    Ok(Arc::new(Program { screens: vec![screen], ..program.clone() }))
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
    let number = |text: &str| match text.trim() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| Failure::Argument(format!("--past {past}: `{text}` is no number"))),
    };
    Ok((index, numbers.split(',').map(number).collect::<Result<_, _>>()?))
}

/// Each reading as the arguments put it.
fn readings(program: &Program, arguments: &Arguments) -> Result<Vec<Evaluated>, Failure> {
    let find = |option: &str, name: &str| find(program, option, name);
    let mut readings = vec![Evaluated::WAITING; program.readings.len()];
    for set in &arguments.set {
        let (name, number) = pair("--set", set, "temp=12.4")?;
        let index = find("--set", name)?;
        let number: f64 = number.trim().parse().map_err(|_| {
            Failure::Argument(format!("--set {set}: `{number}` is no number; write, for example, `--set {name}=12.4`"))
        })?;
        let in_range = program.readings[index].range.is_none_or(|(low, high)| low <= number && number <= high);
        readings[index] = if in_range { Evaluated::new(number, State::Live) } else { Evaluated::FAULTY };
    }
    for state in &arguments.state {
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

/// What the picture says, a line an element.
fn words(renderer: &Renderer, text: &str) -> String {
    let mut lines = String::new();
    for said in renderer.words() {
        let place = report::line_and_column(text, said.span.start as usize);
        let state = match said.state {
            State::Live => "live",
            State::Stale => "stale",
            State::Waiting => "waiting",
            State::Faulty => "faulty",
        };
        let line = format!("{} {}:{} {state} {}", said.kind, place.line, place.column, said.content);
        lines.push_str(line.trim_end());
        lines.push('\n');
    }
    lines
}
