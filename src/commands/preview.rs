//! `sidelight preview`: a layout as a page in the browser, or in the terminal, with a control for each of its readings.
//!
//! What enters is a layout file, which may be edited meanwhile, and a broker's address if there is one; what leaves is a page on
//! loopback. The page is the preview's; here it is put together and opened.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::process::{Command, ExitCode, Stdio};

use tokio::signal::unix::{SignalKind, signal};

use crate::preview::{Live, Place, Replay, Source, serve, show};

use super::Failure;
use super::connection::Connection;

/// Design a layout on a laptop: its picture, and a control for each reading, live on save
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The page is served on 127.0.0.1 only, and to this machine's browser only. Saving the layout in any
editor changes it at once; while the layout has a mistake, the last good picture stays. With
--broker, each reading follows the broker until its control is moved. With --replay it follows a
recording: a slider goes through its time, forward and back, and the picture is the one that `run`
would have shown then; below it stand the states of each reading along that time, and how such days
would wear the panel out. --terminal shows picture, readings and findings in this terminal instead,
which wants to be 130 columns wide.

Examples:
  sidelight preview door.layout
  sidelight preview door.layout --broker mqtt://192.0.2.10:1883
  sidelight preview door.layout --replay cellar.jsonl.gz
  sidelight preview door.layout --no-open --port 8032
  sidelight preview door.layout --terminal")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The page's port; any free one if left out
    #[arg(long, value_name = "NUMBER", default_value_t = 0)]
    port: u16,
    /// Print the page's address and do not open it
    #[arg(long)]
    no_open: bool,
    /// Feed the readings from a broker: mqtt://host:port, or mqtts://host:port for TLS
    #[arg(long, value_name = "URL")]
    broker: Option<String>,
    /// Feed the readings from a recording, with a slider for its time
    #[arg(long, value_name = "RECORDING", conflicts_with = "broker")]
    replay: Option<PathBuf>,
    #[command(flatten)]
    connection: Connection,
    /// Show it in this terminal, without a page
    #[arg(long, conflicts_with_all = ["port", "no_open"])]
    terminal: bool,
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let settings = match &arguments.broker {
        Some(url) => Some(arguments.connection.broker(url)?.settings(&mut fastrand::Rng::new()).map_err(outside)?),
        None => None,
    };
    if arguments.terminal && arguments.replay.is_some() {
        return Err(Failure::Argument(
            "--replay needs the page; in a terminal, `sidelight replay RECORDING LAYOUT` plays a recording".into(),
        ));
    }
    if arguments.terminal && !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
        return Err(Failure::Argument(
            "--terminal wants a terminal; `sidelight render` draws into a pipe or a file".into(),
        ));
    }
    let replay = arguments.replay.as_deref().map(Replay::open).transpose().map_err(outside)?;
    let source = match (&settings, &replay) {
        (Some(_), _) => Source::Broker,
        (None, Some(_)) => Source::Recording,
        (None, None) => Source::Controls,
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
    let done = runtime.block_on(async {
        let mut live = Live::open(&arguments.file, source, &mut |words| eprintln!("sidelight: {words}"))?;
        if let Some(settings) = settings {
            live.feed(settings).map_err(outside)?;
        }
        if let Some(replay) = replay {
            live.replay(replay);
        }
        if arguments.terminal {
            return show(live).await.map_err(|problem| Failure::Outside(format!("the terminal fails: {problem}")));
        }
        page(arguments, live).await
    });
    // A contact sheet that is under way is not waited for.
    runtime.shutdown_background();
    done.map(|()| ExitCode::SUCCESS)
}

/// Serves the page until a signal comes.
async fn page(arguments: &Arguments, live: Live) -> Result<(), Failure> {
    let place = Place::take(arguments.port).await.map_err(|problem| {
        let port = arguments.port;
        Failure::Outside(format!("cannot listen on 127.0.0.1:{port}: {problem}; choose another --port, or none"))
    })?;
    let mut terminate = signal(SignalKind::terminate()).map_err(outside)?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(outside)?;
    let url = place.url();
    // Whoever reads may have enough of it.
    let _ = writeln!(std::io::stdout(), "{}: {url} (this machine only; Ctrl-C ends it)", arguments.file.display());
    if !arguments.no_open && !open(&url) {
        eprintln!("sidelight: no browser could be started; open {url} yourself");
    }
    tokio::select! {
        never = serve(place, live) => match never {},
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    Ok(())
}

/// Has the system open an address; whether that could be begun.
fn open(url: &str) -> bool {
    let opener = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
    let quiet =
        |command: &mut Command| command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
    match quiet(Command::new(opener).arg(url)) {
        // It ends by itself, and somebody has to see that.
        Ok(mut child) => {
            std::thread::spawn(move || child.wait());
            true
        }
        Err(_) => false,
    }
}
