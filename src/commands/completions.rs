//! `sidelight completions`: a script that completes the command line in a shell.

use std::process::ExitCode;

use clap::CommandFactory;

use super::{CommandLine, Failure};

/// Print a script that completes the command line
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  sidelight completions bash > ~/.local/share/bash-completion/completions/sidelight")]
pub(super) struct Arguments {
    /// The shell that it is for
    shell: clap_complete::Shell,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    clap_complete::generate(arguments.shell, &mut CommandLine::command(), "sidelight", &mut std::io::stdout());
    Ok(ExitCode::SUCCESS)
}
