//! `sidelight publish`: a layout to many doors at once.
//!
//! What enters are a layout file, filters of doors and a broker; what leaves is the layout, retained, for each door, and a table of what
//! they answered. Nothing is published that `check` finds an error in, nor where no door is known.

mod roll;

use std::io::{self, IsTerminal, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use tokio::time::sleep_until;

use super::connection::Connection;
use super::{Failure, spans};
use crate::feed::{Event, Filter, LARGEST_PAYLOAD, Session};
use crate::language::has_errors;
use crate::service::{DoorTopics, PrivateKey, compile, read_start};
use roll::Roll;

/// Doors that the broker knows of come at once, one after the other; after such a silence no more are expected.
const SILENCE: Duration = Duration::from_secs(1);
/// How long the broker may take to let the program go.
const LEAVING: Duration = Duration::from_secs(2);
/// Between two looks at what there is no room for now, and at the terminal.
const APART: Duration = Duration::from_millis(20);
/// No key file has more.
const MOST_KEY_BYTES: usize = 64 * 1024;

/// Send a layout to doors, and wait until they show it
///
/// A door is a `sidelight run` with `--door TOPIC`. The layout is checked, published retained under TOPIC/layout, checked again by each
/// door, shown by it and kept. A door that is away takes it when it comes back. To go back, publish the old file.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Exit codes: 0 every door shows it, 1 the layout has errors, or a door does not show it, 2 nothing
could be published.

Examples:
  sidelight publish door.layout --doors 'cellar/doors/+' --broker mqtt://127.0.0.1:1883
  sidelight publish door.layout --doors cellar/doors/brine --broker mqtt://127.0.0.1:1883 --within 5min
  sidelight publish door.layout --doors 'cellar/doors/+' --broker mqtt://127.0.0.1:1883 --key cellar.key")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Topics of doors, with `+` for one level: those that answered before; a topic without `+` is a door in any case
    #[arg(long, value_name = "FILTER", required = true, num_args = 1..)]
    doors: Vec<Filter>,
    /// Where the broker is: mqtt://host:port, or mqtts://host:port for TLS
    #[arg(long, value_name = "URL")]
    broker: String,
    /// How long to wait for the doors, such as 30s or 5min
    #[arg(long, value_name = "TIME", default_value = "30s", value_parser = spans::parse)]
    within: Duration,
    /// Sign it with this private Ed25519 key in PEM
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
    #[command(flatten)]
    connection: Connection,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let path = &arguments.file;
    let bytes = read_start(path, LARGEST_PAYLOAD + 1)?;
    let loaded = compile(&bytes, path);
    eprint!("{}", loaded.report(io::stderr().is_terminal()));
    if has_errors(&loaded.findings) {
        return Ok(ExitCode::from(1));
    }
    let payload = match &arguments.key {
        Some(file) => key(file)?.sign(&bytes),
        None => bytes,
    };
    if payload.len() > LARGEST_PAYLOAD {
        let most = format!("{} is too large for a message: doors take at most {LARGEST_PAYLOAD} bytes", path.display());
        return Err(Failure::Argument(most));
    }
    let answers = |door: &Filter| {
        let filter = Filter::new(&format!("{door}{}", DoorTopics::ANSWER));
        filter.map_err(|_| {
            Failure::Argument(format!("--doors {door}: `#` cannot stand for doors; write `+` for each level"))
        })
    };
    let filters = arguments.doors.iter().map(answers).collect::<Result<Vec<_>, _>>()?;
    let mut random = fastrand::Rng::new();
    let settings = arguments.connection.broker(&arguments.broker)?.settings(&mut random).map_err(outside)?;
    let session = Session::new(&settings, filters, random).map_err(outside)?;
    let mut roll = Roll::new(payload);
    for door in arguments.doors.iter().filter(|door| !door.has_wildcards()) {
        roll.call(door.as_str());
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
    runtime.block_on(deliver(session, &mut roll, arguments))?;
    // Whoever reads may have enough of it.
    let _ = io::stdout().write_all(roll.table().as_bytes());
    Ok(if roll.is_done() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

/// A key that nobody else can read.
fn key(file: &Path) -> Result<PrivateKey, Failure> {
    let refused = |why: String| Failure::Argument(format!("the key file {}: {why}", file.display()));
    let pem = read_start(file, MOST_KEY_BYTES)?;
    if std::fs::metadata(file).is_ok_and(|about| about.permissions().mode() & 0o004 != 0) {
        let end = format!("everybody on this machine can read it; `chmod o-rwx {}` ends that", file.display());
        return Err(refused(end));
    }
    PrivateKey::from_pem(&pem).map_err(|problem| refused(problem.to_string()))
}

/// Publishes to all doors that are known, or get known, and waits for their answers.
async fn deliver(mut session: Session, roll: &mut Roll, arguments: &Arguments) -> Result<(), Failure> {
    // When no more doors are expected; then when no more answers are.
    let (mut listening, mut end) = (None, Instant::now() + arguments.within);
    let (mut connected, mut was_connected, mut publishing) = (false, false, false);
    let mut progress = Progress { told: String::new() };
    let all_are_known = !arguments.doors.iter().any(Filter::has_wildcards);
    loop {
        let now = Instant::now();
        if !publishing && listening.is_some_and(|until| now >= until || all_are_known) {
            if roll.is_empty() {
                let doors: Vec<String> = arguments.doors.iter().map(|door| format!("{door}")).collect();
                let nobody = format!(
                    "the broker knows of no door under {}: a door tells of itself once it runs with `--door`; name one in full to publish for it all the same",
                    doors.join(", ")
                );
                return Err(Failure::Outside(nobody));
            }
            (publishing, end) = (true, now + arguments.within);
        }
        if publishing && connected {
            roll.publish(now, &mut |topic, layout| session.publish(topic, layout.to_vec(), true).is_ok());
            progress.tell(roll);
        }
        if publishing && roll.is_answered() || now >= end {
            break;
        }
        let wake = if publishing && !roll.is_published() {
            now + APART
        } else {
            listening.filter(|_| !publishing).unwrap_or(end)
        };
        let event = tokio::select! {
            event = session.next() => event,
            () = sleep_until(wake.min(end).into()) => continue,
        };
        let now = Instant::now();
        match event {
            Event::Connected => (connected, was_connected) = (true, true),
            Event::Subscribed => listening = Some(now + SILENCE),
            Event::Message(message) => {
                roll.hear(&message, now);
                listening = listening.map(|_| now + SILENCE);
            }
            Event::FilterRefused { filter, why } => return Err(outside(format!("the broker refuses {filter}: {why}"))),
            Event::Lost { reason, .. } if was_connected => {
                eprintln!("sidelight: {reason}");
                connected = false;
                roll.start_over();
            }
            Event::Lost { reason, .. } => return Err(outside(reason)),
            Event::Oversized { .. } => {}
        }
    }
    progress.end();
    if !publishing {
        return Err(outside(format!("the broker did not answer within {}", spans::words(arguments.within))));
    }
    session.leave(LEAVING).await;
    Ok(())
}

/// How many doors show it, in one line of a terminal.
struct Progress {
    told: String,
}

impl Progress {
    fn tell(&mut self, roll: &Roll) {
        let words = roll.progress();
        if io::stderr().is_terminal() && words != self.told {
            eprint!("\r{words}");
            self.told = words;
        }
    }

    fn end(&self) {
        if !self.told.is_empty() {
            eprintln!();
        }
    }
}
