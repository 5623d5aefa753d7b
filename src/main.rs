//! The `sidelight` program: parses the command line and hands it over.

use std::process::ExitCode;

use clap::Parser;
use sidelight::commands::{self, CommandLine};

fn main() -> ExitCode {
    commands::run(CommandLine::parse())
}
