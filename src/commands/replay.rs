//! `sidelight replay`: what a layout would have shown during a recording.
//!
//! What enters are a recording and a layout; what leaves are pictures in the terminal or in a file, and sums at the end. The
//! pictures depend on the two files alone. Time is passed in the terminal only.

use std::fmt::Write as _;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::{Failure, program_or_report, spans};
use crate::draw::Frame;
use crate::layout::Program;
use crate::readings::Moment;
use crate::recording::animation::Animation;
use crate::recording::{Cut, Player, ReadError, Reader, Standing, Tally, open};
use crate::service::{Durability, Terminal, load, replace};

/// Between two pictures of a file, and in the terminal.
const APART: Duration = Duration::from_millis(100);
/// No picture of a file is shown for a shorter time: viewers do not follow.
const SHORTEST: Duration = Duration::from_millis(20);
/// Between two looks at the progress, counted in events.
const LOOK: u64 = 1024;

/// Show what a layout would have shown during a recording
#[derive(Debug, clap::Args)]
#[command(after_help = "\
In a terminal the recording is played at the given speed; with --to it becomes an animated PNG,
which browsers and most viewers play, and otherwise only the sums at the end are printed. The same
recording and layout give the same pictures everywhere. Clocks show the recording's time.

Examples:
  sidelight replay cellar.jsonl.gz door.layout
  sidelight replay cellar.jsonl.gz door.layout --speed 3600 --to door.png --scale 3
  sidelight replay cellar.jsonl.gz door.layout --from 6h --until 8h --every 1min --to morning.png")]
pub(super) struct Arguments {
    /// The recording
    #[arg(value_name = "RECORDING")]
    recording: PathBuf,
    /// The layout file
    #[arg(value_name = "LAYOUT")]
    layout: PathBuf,
    /// How many times faster than the recording was
    #[arg(long, value_name = "NUMBER", default_value_t = 600.0)]
    speed: f64,
    /// Write an animated PNG instead of playing in the terminal
    #[arg(long, value_name = "PNG")]
    to: Option<PathBuf>,
    /// Take a picture in each of these spans of the recording's time; a tenth of a second of the picture's if left out
    #[arg(long, value_name = "TIME", value_parser = spans::parse, requires = "to")]
    every: Option<Duration>,
    /// Show nothing before this time from the beginning of the recording; the sums still count it
    #[arg(long, value_name = "TIME", value_parser = spans::parse)]
    from: Option<Duration>,
    /// End at this time from the beginning of the recording
    #[arg(long, value_name = "TIME", value_parser = spans::parse)]
    until: Option<Duration>,
    /// Pixels of the picture for each pixel of the panel
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=16), requires = "to")]
    scale: u32,
}

type Recording = Reader<Box<dyn BufRead>>;

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    if !(arguments.speed.is_finite() && arguments.speed >= 0.001) {
        return Err(Failure::Argument("--speed: write a number from 0.001 on, such as 600".into()));
    }
    if let Some(to) = &arguments.to {
        let png = to
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("png") || ending.eq_ignore_ascii_case("apng"));
        if !png {
            return Err(Failure::Argument(format!(
                "--to {}: only animated PNG can be written; end the name in .png",
                to.display()
            )));
        }
    }
    let loaded = load(&arguments.layout)?;
    let program = program_or_report(&loaded, &arguments.layout)?;
    let reader = open(&arguments.recording).map_err(outside)?;
    let begun = reader.header().begun;
    let player = Player::new(Arc::clone(&program), begun, reader);
    let mut replay = Replay::new(arguments, &program, player)?;
    match &arguments.to {
        Some(to) => replay.draw(to, arguments)?,
        None if is_terminal() => replay.play(arguments)?,
        None => replay.through()?,
    }
    let summary = replay.summary(&program, replay.player.entries().cut());
    // Whoever reads may have enough of it.
    let _ = io::stdout().write_all(summary.as_bytes());
    Ok(ExitCode::SUCCESS)
}

fn is_terminal() -> bool {
    io::stdout().is_terminal() && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

/// A player with its sums, up to the end that was asked for.
struct Replay<'a> {
    recording: &'a Path,
    player: Player<Recording, ReadError>,
    tally: Tally,
    until: Option<Moment>,
    from: Moment,
    progress: Progress,
}

impl<'a> Replay<'a> {
    fn new(arguments: &'a Arguments, program: &Program, player: Player<Recording, ReadError>) -> Result<Self, Failure> {
        let mut tally = Tally::new(program).map_err(outside)?;
        tally.see(player.now(), player.pane(), player.drawn()).map_err(outside)?;
        let until = arguments.until.map(Moment::at);
        let from = Moment::at(arguments.from.unwrap_or_default());
        if until.is_some_and(|until| until <= from) {
            return Err(Failure::Argument("--until lies before --from: nothing would be shown".into()));
        }
        let progress = Progress { shown: io::stderr().is_terminal(), events: 0 };
        Ok(Self { recording: &arguments.recording, player, tally, until, from, progress })
    }

    /// The next event, unless it is behind the end.
    fn next_event(&self) -> Option<Moment> {
        self.player.next_event().filter(|due| self.until.is_none_or(|until| *due <= until))
    }

    /// Takes the next event; false at the end, where the time is that of the end.
    fn step(&mut self) -> Result<bool, Failure> {
        let behind = self.player.next_event().is_some() && self.next_event().is_none();
        let stepped = match self.until.filter(|_| behind) {
            Some(until) => self.player.go_to(until).map(|_| None),
            None => self.player.step(),
        };
        let more = stepped.map_err(|problem| self.unreadable(&problem))?.is_some();
        let now = self.player.now();
        self.tally.see(now, self.player.pane(), self.player.drawn()).map_err(outside)?;
        if more {
            self.progress.tell(now, self.player.entries().progress());
        } else {
            self.progress.over();
        }
        Ok(more)
    }

    fn unreadable(&self, problem: &ReadError) -> Failure {
        Failure::Outside(format!("{}, {problem}", self.recording.display()))
    }

    fn through(&mut self) -> Result<(), Failure> {
        while self.step()? {}
        Ok(())
    }

    /// Takes a picture at each multiple of a span, and writes them all into one file.
    fn draw(&mut self, to: &Path, arguments: &Arguments) -> Result<(), Failure> {
        let every = arguments.every.unwrap_or_else(|| APART.mul_f64(arguments.speed)).max(Duration::from_millis(1));
        let shown = every.div_f64(arguments.speed).max(SHORTEST);
        let mut animation = Animation::default();
        let mut due = self.from;
        loop {
            // Equal pictures in between are one picture, shown longer.
            match self.next_event() {
                Some(event) if event <= due => {
                    self.step()?;
                }
                next => {
                    let frame: &Frame = self.player.frame();
                    let end = next.is_none();
                    animation.push(frame, shown).map_err(outside)?;
                    if end {
                        break;
                    }
                    due = due + every;
                }
            }
        }
        self.through()?;
        let png = animation.encode(arguments.scale).map_err(outside)?;
        replace(to, &png, 0o666, Durability::Cached).map_err(|problem| Failure::Write { path: to.into(), problem })?;
        let count = animation.len();
        eprintln!("{}: {count} picture{}, {} bytes", to.display(), if count == 1 { "" } else { "s" }, png.len());
        Ok(())
    }

    /// Plays it in the terminal.
    fn play(&mut self, arguments: &Arguments) -> Result<(), Failure> {
        self.progress.shown = false;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
        runtime.block_on(async {
            let mut terminal = Terminal::enter(io::stdout()).map_err(outside)?;
            let start = Instant::now();
            let mut interrupted = std::pin::pin!(tokio::signal::ctrl_c());
            loop {
                let played = self.from + start.elapsed().mul_f64(arguments.speed);
                let mut going = true;
                while going && self.player.next_event().is_none_or(|due| due <= played) {
                    going = self.step()?;
                }
                let place = format!(
                    "{}   {}x   Ctrl-C ends it",
                    self.player.civil().strftime("%Y-%m-%d %H:%M:%S"),
                    arguments.speed
                );
                let screen = self.player.pane().screen().unwrap_or("nothing");
                terminal.tell(vec![place, format!("screen: {screen}")]).map_err(outside)?;
                terminal.show(self.player.frame()).map_err(outside)?;
                if !going {
                    break;
                }
                let wait = tokio::time::sleep(APART);
                tokio::select! {
                    () = wait => {}
                    _ = &mut interrupted => {
                        self.tally.pass(self.player.now());
                        break;
                    }
                }
            }
            Ok(())
        })
    }

    /// The sums in words.
    fn summary(&self, program: &Program, cut: Option<Cut>) -> String {
        let (time, messages) = (self.player.now().since(Moment::default()), self.player.messages());
        let mut text = format!("{}: {messages} messages in {}\n", self.recording.display(), spans::words(time));
        if let Some(Cut { line }) = cut {
            let _ = writeln!(text, "the recording was cut off in line {line}; what came before was played");
        }
        let width = program.readings.iter().map(|spec| spec.name.chars().count()).max().unwrap_or(0);
        for (spec, standing) in program.readings.iter().zip(self.tally.readings()) {
            let spent = Standing::STATES.iter().filter(|state| !standing.spent(**state).is_zero());
            let spent: Vec<String> =
                spent.map(|state| format!("{} {}", state.word(), spans::words(standing.spent(*state)))).collect();
            let _ = writeln!(text, "reading {:width$}  {}", spec.name, spent.join(", "));
        }
        for (name, shown) in self.tally.screens() {
            let _ = writeln!(text, "screen {name}: {}", spans::words(shown));
        }
        let traffic = self.tally.traffic();
        let _ = writeln!(text, "{} pictures, {} bytes on the bus", self.tally.pictures(), traffic.bytes);
        text
    }
}

/// How far it has got, in place on standard error.
struct Progress {
    shown: bool,
    events: u64,
}

impl Progress {
    fn tell(&mut self, now: Moment, share: Option<f64>) {
        self.events += 1;
        if self.shown && self.events.is_multiple_of(LOOK) {
            eprint!(
                "\r\x1b[K{}{} played",
                share.map_or(String::new(), bar),
                spans::words(now.since(Moment::default()))
            );
            // Standard error may be gone; the work goes on.
            let _ = io::stderr().flush();
        }
    }

    fn over(&self) {
        if self.shown && self.events >= LOOK {
            eprint!("\r\x1b[K");
        }
    }
}

/// Twenty places, as many of them filled as is done.
fn bar(share: f64) -> String {
    let done = (20.0 * share) as usize;
    format!("[{}{}] ", "#".repeat(done), ".".repeat(20_usize.saturating_sub(done)))
}
