//! `sidelight listen`: what a broker publishes, and a first layout for it.
//!
//! What enters are filters and a broker; what leaves is a table, redrawn in place in a terminal and printed once at the end
//! elsewhere, and a layout file if one is asked for. Nothing is written before the checker has found it clean.

use std::io::{self, IsTerminal, Stdout, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::hearing::{Hearing, Turn};
use super::{Failure, size, spans};
use crate::draw::Size;
use crate::feed::Event;
use crate::readings::Moment;
use crate::service::{Durability, Terminal, replace};
use crate::survey::{Survey, draft, table};

/// Between two looks at the terminal.
const APART: Duration = Duration::from_millis(250);

/// See what a broker publishes, and write a first layout for it
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Each topic has below it how a layout could pick it: a number, columns, JSON pointers, SenML records
or words. The layout that is written checks clean; its ranges lie around what was heard, and units
stand only where the publisher says them. Listen for some minutes before one is written.

Examples:
  sidelight listen 'cellar/#' --broker mqtt://127.0.0.1:1883 --for 30s
  sidelight listen 'cellar/ripening/#' --broker mqtt://127.0.0.1:1883 --for 5min --write new.layout
  sidelight listen 'cellar/+/door' --broker mqtt://127.0.0.1:1883 --write doors.layout --panel 128x32")]
pub(super) struct Arguments {
    #[command(flatten)]
    hearing: Hearing,
    /// Write a first layout into this file at the end
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// The panel that it is made for
    #[arg(long, value_name = "SIZE", default_value = "128x64", value_parser = size::parse, requires = "write")]
    panel: Size,
    /// Overwrite a layout that is there
    #[arg(long, requires = "write")]
    force: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    if let Some(file) = arguments.write.as_deref().filter(|file| file.exists() && !arguments.force) {
        let there = format!("{} is there already; give another name, or --force to overwrite it", file.display());
        return Err(Failure::Argument(there));
    }
    let in_place = io::stdout().is_terminal() && std::env::var_os("TERM").is_none_or(|term| term != "dumb");
    let terminal = if in_place { Some(Terminal::enter(io::stdout()).map_err(outside)?) } else { None };
    let mut listener = Listener {
        survey: Survey::default(),
        start: Instant::now(),
        terminal,
        news: String::new(),
        time: arguments.hearing.time(),
        doing: arguments.hearing.words(),
    };
    let heard = arguments.hearing.hear(APART, &mut |turn| listener.take(turn));
    // The terminal is given back before anything else is printed.
    listener.terminal = None;
    heard?;
    let mut lines = table(&listener.survey);
    let passed = spans::words(listener.start.elapsed());
    lines.push(format!("{} messages in {passed}", listener.survey.messages()));
    // Whoever reads may have enough of it.
    let _ = io::stdout().write_all((lines.join("\n") + "\n").as_bytes());
    if let Some(file) = &arguments.write {
        write(&listener.survey, file, arguments.panel)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

/// Writes a first layout, which the checker found clean.
fn write(survey: &Survey, file: &Path, panel: Size) -> Result<(), Failure> {
    let draft = draft(survey, panel).map_err(outside)?;
    replace(file, draft.text.as_bytes(), 0o666, Durability::Synced)
        .map_err(|problem| Failure::Write { path: file.into(), problem })?;
    let (readings, file) = (draft.readings, file.display());
    eprintln!("{file}: {readings} reading{}, and it checks clean", if readings == 1 { "" } else { "s" });
    for line in &draft.left_out {
        eprintln!("left out: {line}");
    }
    Ok(())
}

struct Listener {
    survey: Survey,
    start: Instant,
    terminal: Option<Terminal<Stdout>>,
    /// The last thing that the session said.
    news: String,
    doing: String,
    time: Option<Duration>,
}

impl Listener {
    fn take(&mut self, turn: Turn) -> Result<ControlFlow<()>, Failure> {
        let now = Moment::at(self.start.elapsed());
        match turn {
            Turn::Event(Event::Message(message)) => {
                self.survey.hear(&message.topic, &message.payload, message.retained, now);
            }
            Turn::Event(Event::Oversized { topic, .. }) => self.survey.hear_oversized(&topic, now),
            Turn::Event(Event::Lost { reason, retry_in }) => {
                self.survey.interrupt();
                self.say(format!("{reason}; the next attempt is in {}", spans::words(retry_in)));
            }
            Turn::Event(Event::FilterRefused { filter, why }) => {
                self.say(format!("the broker refuses {filter}: {why}"))
            }
            Turn::Event(Event::Connected) => {}
            Turn::Event(Event::Subscribed) => self.say(self.doing.clone()),
            Turn::Tick => return Ok(self.redraw()),
        }
        Ok(ControlFlow::Continue(()))
    }

    fn say(&mut self, words: String) {
        if self.terminal.is_none() {
            eprintln!("sidelight: {words}");
        }
        self.news = words;
    }

    /// Shows the table as it is now; a terminal that is gone ends it.
    fn redraw(&mut self) -> ControlFlow<()> {
        let Some(terminal) = &mut self.terminal else { return ControlFlow::Continue(()) };
        let rows = terminal_size::terminal_size().map_or(24, |(_, height)| usize::from(height.0)).max(6);
        let mut lines = table(&self.survey);
        let room = rows - 3;
        if lines.len() > room {
            let hidden = lines.len() - (room - 1);
            lines.truncate(room - 1);
            lines.push(format!("… {hidden} more lines, all of which are printed at the end"));
        }
        let of = self.time.map_or(String::new(), |time| format!(" of {}", spans::words(time)));
        let passed = spans::words(self.start.elapsed());
        lines.push(format!("{} messages in {passed}{of}   Ctrl-C ends it", self.survey.messages()));
        lines.push(self.news.clone());
        if terminal.tell(lines).is_err() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}
