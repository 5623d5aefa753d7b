//! `sidelight check`: everything that is wrong or doubtful in layout files.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use crate::language::{Severity, report};
use crate::service::load;

use super::Failure;

/// Find what is wrong or doubtful in layout files, by line and column
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Exit codes: 0 clean, 1 findings, 2 a file could not be read.

Examples:
  sidelight check door.layout
  sidelight check --json layouts/*.layout")]
pub(super) struct Arguments {
    /// Layout files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print the findings as JSON, one document for all files
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut reports = Vec::new();
    let (mut errors, mut warnings, mut unread) = (0, 0, false);
    for file in &arguments.files {
        let loaded = match load(file) {
            Ok(loaded) => loaded,
            Err(failure) => {
                eprintln!("sidelight: {failure}");
                unread = true;
                continue;
            }
        };
        let of = |severity| loaded.findings.iter().filter(|finding| finding.severity == severity).count();
        errors += of(Severity::Error);
        warnings += of(Severity::Warning);
        if arguments.json {
            reports.push(report::to_json(&loaded.name, &loaded.text, &loaded.findings));
        } else {
            eprint!("{}", loaded.report(io::stderr().is_terminal()));
        }
    }
    if arguments.json {
        let document = match <[_; 1]>::try_from(reports) {
            Ok([single]) => single,
            Err(several) => serde_json::Value::Array(several),
        };
        let mut out = io::stdout();
        // Whoever reads may have enough of it.
        let _ = writeln!(out, "{document:#}");
    } else if errors + warnings > 0 {
        eprintln!("{} and {}", counted(errors, "error"), counted(warnings, "warning"));
    } else if !unread {
        println!("{} clean", counted(arguments.files.len(), "file"));
    }
    Ok(match (unread, errors + warnings) {
        (true, _) => ExitCode::from(2),
        (false, 0) => ExitCode::SUCCESS,
        (false, _) => ExitCode::from(1),
    })
}

fn counted(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}
