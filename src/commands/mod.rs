//! The command line: one file a verb, and what they share.
//!
//! What enters are arguments; what leaves is an exit code, output on standard output and reports on standard error. Exit codes
//! are 0 for success, 1 for findings, 2 for everything that could not be done.

mod check;
mod completions;
mod connection;
#[cfg(feature = "demo")]
mod demo;
mod explain;
mod failure;
mod format;
mod given;
#[cfg(feature = "recording")]
mod hearing;
mod install;
#[cfg(feature = "editor")]
mod language_server;
#[cfg(feature = "recording")]
mod listen;
mod log;
#[cfg(feature = "manual")]
mod manual;
#[cfg(feature = "preview")]
mod preview;
#[cfg(feature = "i2c")]
mod probe;
#[cfg(feature = "publish")]
mod publish;
#[cfg(feature = "recording")]
mod record;
mod render;
#[cfg(feature = "recording")]
mod replay;
mod run;
#[cfg(feature = "pictures")]
mod sheet;
#[cfg(any(feature = "i2c", feature = "recording"))]
mod size;
#[cfg(feature = "pictures")]
mod spans;
#[cfg(feature = "pictures")]
mod specimen;
#[cfg(feature = "pictures")]
mod verify;
#[cfg(feature = "pictures")]
mod wear;

use std::io::IsTerminal;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{Parser, Subcommand};

use crate::layout::Program;
use crate::service::Loaded;

pub use failure::Failure;

/// Turns a small layout file into the picture on a one-bit panel beside a door, fed by MQTT readings.
#[derive(Debug, Parser)]
#[command(
    name = "sidelight",
    version,
    max_term_width = 100,
    after_help = "\
Examples:
  sidelight check door.layout
  sidelight render door.layout --set temp=12.4 --set rh=91 --out door.png
  sidelight run door.layout --broker mqtt://127.0.0.1:1883 --panel ssd1306:/dev/i2c-1:0x3c"
)]
pub struct CommandLine {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    Check(check::Arguments),
    Format(format::Arguments),
    Render(render::Arguments),
    #[cfg(feature = "pictures")]
    Sheet(sheet::Arguments),
    #[cfg(feature = "pictures")]
    Verify(verify::Arguments),
    Explain(explain::Arguments),
    #[cfg(feature = "preview")]
    Preview(preview::Arguments),
    #[cfg(feature = "editor")]
    LanguageServer(language_server::Arguments),
    Run(Box<run::Arguments>),
    #[cfg(feature = "recording")]
    Listen(Box<listen::Arguments>),
    #[cfg(feature = "recording")]
    Record(Box<record::Arguments>),
    #[cfg(feature = "recording")]
    Replay(replay::Arguments),
    #[cfg(feature = "publish")]
    Publish(Box<publish::Arguments>),
    #[cfg(feature = "i2c")]
    Probe(probe::Arguments),
    #[cfg(feature = "pictures")]
    Wear(wear::Arguments),
    #[cfg(feature = "demo")]
    Demo(demo::Arguments),
    #[cfg(feature = "pictures")]
    Specimen(specimen::Arguments),
    Install(install::Arguments),
    #[cfg(feature = "manual")]
    Manual(manual::Arguments),
    Completions(completions::Arguments),
}

/// Does what the command line asks for, and reports a failure on standard error.
pub fn run(command_line: CommandLine) -> ExitCode {
    let done = match command_line.verb {
        Verb::Check(arguments) => check::run(&arguments),
        Verb::Format(arguments) => format::run(&arguments),
        Verb::Render(arguments) => render::run(&arguments),
        #[cfg(feature = "pictures")]
        Verb::Sheet(arguments) => sheet::run(&arguments),
        #[cfg(feature = "pictures")]
        Verb::Verify(arguments) => verify::run(&arguments),
        Verb::Explain(arguments) => explain::run(&arguments),
        #[cfg(feature = "preview")]
        Verb::Preview(arguments) => preview::run(&arguments),
        #[cfg(feature = "editor")]
        Verb::LanguageServer(arguments) => language_server::run(&arguments),
        Verb::Run(arguments) => run::run(&arguments),
        #[cfg(feature = "recording")]
        Verb::Listen(arguments) => listen::run(&arguments),
        #[cfg(feature = "recording")]
        Verb::Record(arguments) => record::run(&arguments),
        #[cfg(feature = "recording")]
        Verb::Replay(arguments) => replay::run(&arguments),
        #[cfg(feature = "publish")]
        Verb::Publish(arguments) => publish::run(&arguments),
        #[cfg(feature = "i2c")]
        Verb::Probe(arguments) => probe::run(&arguments),
        #[cfg(feature = "pictures")]
        Verb::Wear(arguments) => wear::run(&arguments),
        #[cfg(feature = "demo")]
        Verb::Demo(arguments) => demo::run(&arguments),
        #[cfg(feature = "pictures")]
        Verb::Specimen(arguments) => specimen::run(&arguments),
        Verb::Install(arguments) => install::run(&arguments),
        #[cfg(feature = "manual")]
        Verb::Manual(arguments) => manual::run(&arguments),
        Verb::Completions(arguments) => completions::run(&arguments),
    };
    done.unwrap_or_else(|failure| {
        eprintln!("sidelight: {failure}");
        ExitCode::from(2)
    })
}

/// The program of a layout; the report goes to standard error where there is none, and where there are warnings.
fn program_or_report(loaded: &Loaded, path: &Path) -> Result<Arc<Program>, Failure> {
    eprint!("{}", loaded.report(std::io::stderr().is_terminal()));
    loaded.program.clone().ok_or_else(|| Failure::Layout { path: path.into() })
}
