//! `sidelight record`: keeps what a broker publishes in a file.
//!
//! What enters are filters, a broker and a file's name; what leaves is a recording, and how it goes on standard error. The
//! times in it run on the monotonic clock from the civil time at the beginning, so that they never go back.

use std::io::{self, IsTerminal, Write};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use jiff::{SignedDuration, Timestamp, ZonedDateTime};

use super::hearing::{Hearing, Turn};
use super::{Failure, spans};
use crate::feed::Event;
use crate::recording::{Entry, Header, Heard, Stamp, Writer};

/// No more than this is lost by a kill.
const FLUSH: Duration = Duration::from_secs(1);

/// Names that end so promise a compression that is not here.
const OTHER_PACKERS: [&str; 5] = ["zst", "xz", "bz2", "zip", "lz4"];

/// Keep what a broker publishes in a file, to be played back later
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A recording has one JSON object a line, and is compressed where its name ends in .gz. Whatever ends
the recorder, a kill or a full disk, the file can be read up to its last second.

Examples:
  sidelight record 'cellar/#' --broker mqtt://127.0.0.1:1883 --for 24h --out cellar.jsonl.gz
  sidelight record cellar/brine/tank cellar/+/door --broker mqtt://127.0.0.1:1883 --out door.jsonl")]
pub(super) struct Arguments {
    #[command(flatten)]
    hearing: Hearing,
    /// The file, such as cellar.jsonl, or cellar.jsonl.gz
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Overwrite a file that is there
    #[arg(long)]
    force: bool,
    /// End when the file has so many MiB
    #[arg(long, value_name = "MIB", default_value_t = 1024, value_parser = clap::value_parser!(u64).range(1..=1 << 20))]
    most: u64,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let path = &arguments.out;
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    if OTHER_PACKERS.contains(&ending.as_str()) {
        return Err(Failure::Argument(format!(
            "--out {}: a recording is compressed with gzip only; end the name in .gz, or in .jsonl for none",
            path.display()
        )));
    }
    let clock = Clock::start();
    let filters = arguments.hearing.filters().iter().map(|filter| filter.as_str().to_owned()).collect();
    let header = Header { begun: clock.stamp(), filters };
    let writer = Writer::create(path, arguments.force, &header).map_err(|problem| refused(path, problem))?;
    let mut recorder =
        Recorder { clock, writer, progress: io::stderr().is_terminal(), doing: arguments.hearing.words() };
    let most = arguments.most << 20;
    let mut full = false;
    let heard = arguments.hearing.hear(FLUSH, &mut |turn| {
        recorder.take(turn).map_err(|problem| recorder.failed(path, problem))?;
        full = recorder.writer.bytes() >= most;
        if recorder.progress {
            recorder.tell(arguments.hearing.time());
        }
        Ok(if full { ControlFlow::Break(()) } else { ControlFlow::Continue(()) })
    });
    if recorder.progress {
        eprint!("\r\x1b[K");
    }
    heard?;
    let ended = Entry { at: recorder.clock.stamp(), heard: Heard::Ended };
    let messages = recorder.writer.messages();
    recorder.writer.write(&ended).map_err(|problem| recorder.failed(path, problem))?;
    let bytes = recorder.writer.finish().map_err(|problem| failed(path, messages, problem))?;
    let enough = if full { "; it has as many MiB as it may, and --most allows more" } else { "" };
    let time = spans::words(recorder.clock.start.elapsed());
    eprintln!("{}: {} in {time}, {bytes} bytes{enough}", path.display(), counted(messages));
    Ok(ExitCode::SUCCESS)
}

struct Recorder {
    clock: Clock,
    writer: Writer,
    progress: bool,
    doing: String,
}

impl Recorder {
    fn take(&mut self, turn: Turn) -> io::Result<()> {
        let heard = match turn {
            Turn::Tick => return self.writer.flush(),
            Turn::Event(Event::Message(message)) => Heard::Message(message),
            Turn::Event(Event::Oversized { topic, bytes }) => Heard::Oversized { topic, bytes },
            Turn::Event(Event::Subscribed) => {
                self.say(&self.doing);
                Heard::Subscribed
            }
            Turn::Event(Event::Lost { reason, retry_in }) => {
                self.say(&format!("{reason}; the next attempt is in {}", spans::words(retry_in)));
                Heard::Lost
            }
            Turn::Event(Event::FilterRefused { filter, why }) => {
                self.say(&format!("the broker refuses {filter}: {why}"));
                return Ok(());
            }
            Turn::Event(Event::Connected) => return Ok(()),
        };
        self.writer.write(&Entry { at: self.clock.stamp(), heard })
    }

    /// A line on standard error, above the progress.
    fn say(&self, words: &str) {
        let clear = if self.progress { "\r\x1b[K" } else { "" };
        eprintln!("{clear}sidelight: {words}");
    }

    /// How far it has got, in place.
    fn tell(&self, time: Option<Duration>) {
        let (passed, messages) = (self.clock.start.elapsed(), self.writer.messages());
        let of = time.map_or(String::new(), |time| format!(" of {}", spans::words(time)));
        let kilobytes = self.writer.bytes() >> 10;
        eprint!("\r\x1b[K{}{of}: {}, {kilobytes} KiB", spans::words(passed), counted(messages));
        // Standard error may be gone; the recording goes on.
        let _ = io::stderr().flush();
    }

    fn failed(&self, path: &Path, problem: io::Error) -> Failure {
        failed(path, self.writer.messages(), problem)
    }
}

/// The times of a recording.
struct Clock {
    start: Instant,
    civil: Timestamp,
}

impl Clock {
    fn start() -> Self {
        Self { start: Instant::now(), civil: Timestamp::now() }
    }

    fn stamp(&self) -> Stamp {
        let passed = SignedDuration::try_from(self.start.elapsed()).unwrap_or(SignedDuration::MAX);
        let time = self.civil.checked_add(passed).unwrap_or(Timestamp::MAX);
        Stamp { time, offset: ZonedDateTime::now().offset() }
    }
}

fn counted(messages: u64) -> String {
    format!("{messages} message{}", if messages == 1 { "" } else { "s" })
}

/// Why a recording cannot begin.
fn refused(path: &Path, problem: io::Error) -> Failure {
    if problem.kind() == io::ErrorKind::AlreadyExists {
        let there = format!("{} is there already; give another name, or --force to overwrite it", path.display());
        return Failure::Argument(there);
    }
    failed(path, 0, problem)
}

/// Why a recording cannot go on.
fn failed(path: &Path, messages: u64, problem: io::Error) -> Failure {
    if problem.kind() == io::ErrorKind::StorageFull {
        return Failure::Outside(format!(
            "the disk is full after {}: {} can be read up to its last second; free some room, or record to another disk",
            counted(messages),
            path.display()
        ));
    }
    Failure::Write { path: path.into(), problem }
}
