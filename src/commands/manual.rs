//! `sidelight manual`: the manual pages, made from the command line's own help.
//!
//! What enters is a folder or nothing; what leaves are pages in roff, one a verb, or the first of them on standard output.

use std::fs;
use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::CommandFactory;
use clap_mangen::Man;

use super::{CommandLine, Failure};

/// Print the manual page, or write those of all verbs
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  sidelight manual | man -l -
  sidelight manual --out /usr/local/share/man/man1")]
pub(super) struct Arguments {
    /// The folder for the pages of all verbs
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut program = CommandLine::command();
    program.build();
    let Some(folder) = &arguments.out else {
        // Whoever reads may have enough of it.
        let _ = io::stdout().write_all(&page(&program)?);
        return Ok(ExitCode::SUCCESS);
    };
    fs::create_dir_all(folder).map_err(|problem| Failure::Write { path: folder.clone(), problem })?;
    let verbs = program.get_subcommands().filter(|verb| verb.get_name() != "help");
    for command in std::iter::once(&program).chain(verbs) {
        let name = command.get_display_name().unwrap_or(command.get_name());
        let path = folder.join(format!("{name}.1"));
        fs::write(&path, page(command)?).map_err(|problem| Failure::Write { path, problem })?;
    }
    Ok(ExitCode::SUCCESS)
}

fn page(command: &clap::Command) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let man = Man::new(command.clone()).manual("sidelight").section("1");
    man.render(&mut bytes).map_err(|problem| Failure::Outside(format!("no manual page: {problem}")))?;
    Ok(bytes)
}
