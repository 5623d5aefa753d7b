//! `sidelight format`: layout files in their one canonical form.

use std::io::{self, IsTerminal, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::language::format::{Refusal, canonical};
use crate::language::{self, report};
use crate::service::{Durability, read_start, replace};

use super::Failure;

/// Bring layout files into their one canonical form; comments stay
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A file that cannot be read as a layout is left as it is, and reported.

Exit codes: 0 done, 1 findings, or with --check a file that would change, 2 a file could not be read or written.

Examples:
  sidelight format door.layout
  sidelight format --check layouts/*.layout
  sidelight format - < door.layout")]
pub(super) struct Arguments {
    /// Layout files; `-` takes standard input and gives standard output
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Change nothing, but name the files that would change
    #[arg(long)]
    check: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut code = 0;
    for file in &arguments.files {
        let done = one(file, arguments.check).unwrap_or_else(|failure| {
            eprintln!("sidelight: {failure}");
            2
        });
        code = code.max(done);
    }
    Ok(ExitCode::from(code))
}

/// Formats one file; the result is its exit code.
fn one(file: &Path, check: bool) -> Result<u8, Failure> {
    let standard = file == Path::new("-");
    let most = language::MAX_BYTES + 1;
    let bytes = if standard {
        let mut bytes = Vec::new();
        let read = io::stdin().lock().take(most as u64).read_to_end(&mut bytes);
        read.map_err(|problem| Failure::Outside(format!("cannot read standard input: {problem}")))?;
        bytes
    } else {
        read_start(file, most)?
    };
    let name = if standard { "standard input".to_string() } else { file.display().to_string() };
    let lossy = String::from_utf8_lossy(&bytes);
    let formatted = language::decode(&bytes).map_err(|finding| Refusal::Damaged(vec![*finding])).and_then(canonical);
    let formatted = match formatted {
        Ok(formatted) => formatted,
        Err(Refusal::Damaged(findings)) => {
            eprint!("{}", report::to_text(&name, &lossy, &findings, io::stderr().is_terminal()));
            return Ok(1);
        }
        Err(refusal) => {
            eprintln!("sidelight: {name}: {refusal}");
            return Ok(1);
        }
    };
    let changes = formatted.as_bytes() != bytes;
    if check {
        if changes {
            // Whoever reads may have enough of it.
            let _ = writeln!(io::stdout(), "{name}");
        }
        return Ok(u8::from(changes));
    }
    if standard {
        let written = io::stdout().write_all(formatted.as_bytes());
        written.map_err(|problem| Failure::Outside(format!("cannot write standard output: {problem}")))?;
    } else if changes {
        replace(file, formatted.as_bytes(), 0o666, Durability::Synced)
            .map_err(|problem| Failure::Write { path: file.into(), problem })?;
    }
    Ok(0)
}
