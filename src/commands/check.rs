//! `sidelight check`: everything that is wrong or doubtful in layout files.

use std::io::{self, IsTerminal, Write};
#[cfg(feature = "recording")]
use std::path::Path;
use std::path::PathBuf;
use std::process::ExitCode;

use crate::language::{Severity, report, sarif};
use crate::layout::readable;
use crate::panel::{LEAST_ANGLE, PREFERRED_ANGLE};
use crate::service::{Loaded, load};

use super::Failure;

/// Find what is wrong or doubtful in layout files, by line and column
///
/// Where a layout says how large its panel is, such as `panel 128x32 diagonal: 0.91in`, the check of a single file also tells how tall the digits of each
/// text are and from how far they can be read.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Exit codes: 0 clean, 1 findings, 2 a file could not be read.

Examples:
  sidelight check door.layout
  sidelight check --json layouts/*.layout
  sidelight check --sarif layouts/*.layout > findings.sarif")]
pub(super) struct Arguments {
    /// Layout files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Compare ranges, age limits and words with what was heard in a recording, such as cellar.jsonl.gz
    #[cfg(feature = "recording")]
    #[arg(long, value_name = "RECORDING")]
    against: Option<PathBuf>,
    /// Print the findings as JSON, one document for all files
    #[arg(long)]
    json: bool,
    /// Print the findings as SARIF 2.1.0, which code hosts show beside the lines
    #[arg(long, conflicts_with = "json")]
    sarif: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let (mut files, mut unread) = (Vec::new(), false);
    for file in &arguments.files {
        match load(file) {
            #[cfg(feature = "recording")]
            Ok(mut loaded) => {
                if let Some(recording) = &arguments.against {
                    compare(&mut loaded, recording)?;
                }
                files.push(loaded);
            }
            #[cfg(not(feature = "recording"))]
            Ok(loaded) => files.push(loaded),
            Err(failure) => {
                eprintln!("sidelight: {failure}");
                unread = true;
            }
        }
    }
    let of = |severity| files.iter().flat_map(|file| &file.findings).filter(|found| found.severity == severity).count();
    let (errors, warnings) = (of(Severity::Error), of(Severity::Warning));
    if arguments.json {
        print(&format!("{:#}\n", as_json(&files)));
    } else if arguments.sarif {
        print(&format!("{:#}\n", as_sarif(&files)));
    } else {
        for file in &files {
            eprint!("{}", file.report(io::stderr().is_terminal()));
        }
        if errors + warnings > 0 {
            eprintln!("{} and {}", counted(errors, "error"), counted(warnings, "warning"));
        } else if !unread {
            print(&format!("{} clean\n", counted(files.len(), "file")));
        }
        if let [single] = files.as_slice() {
            print(&distances(single));
        }
    }
    Ok(match (unread, errors + warnings) {
        (true, _) => ExitCode::from(2),
        (false, 0) => ExitCode::SUCCESS,
        (false, _) => ExitCode::from(1),
    })
}

/// Adds what a recording says about a layout that has no errors of its own.
#[cfg(feature = "recording")]
fn compare(loaded: &mut Loaded, recording: &Path) -> Result<(), Failure> {
    let outside = |problem: &dyn std::fmt::Display| Failure::Outside(problem.to_string());
    let mut reader = crate::recording::open(recording).map_err(|problem| outside(&problem))?;
    let header = reader.header().clone();
    let found = crate::recording::against::findings(&loaded.text, &header, &mut reader);
    loaded.findings.extend(found.map_err(|problem| outside(&format!("{}, {problem}", recording.display())))?);
    loaded.findings.sort_by_key(|finding| finding.span);
    if let Some(cut) = reader.cut() {
        eprintln!("sidelight: {} was cut off in line {}; what came before counts", recording.display(), cut.line);
    }
    Ok(())
}

fn print(text: &str) {
    // Whoever reads may have enough of it.
    let _ = io::stdout().write_all(text.as_bytes());
}

fn as_json(files: &[Loaded]) -> serde_json::Value {
    let report = |file: &Loaded| {
        let mut report = report::to_json(&file.name, &file.text, &file.findings);
        let texts = file.program.iter().flat_map(|program| readable(program)).map(|text| {
            let place = report::line_and_column(&file.text, text.span.start as usize);
            serde_json::json!({
                "line": place.line, "column": place.column, "rows": text.rows, "height_mm": text.height,
                "with_ease_m": text.with_ease, "at_most_m": text.at_most,
            })
        });
        report["texts"] = texts.collect();
        report
    };
    match files {
        [single] => report(single),
        several => several.iter().map(report).collect(),
    }
}

fn as_sarif(files: &[Loaded]) -> serde_json::Value {
    let files: Vec<sarif::File<'_>> =
        files.iter().map(|file| sarif::File { name: &file.name, text: &file.text, findings: &file.findings }).collect();
    sarif::to_sarif(&files)
}

/// A line for each text: how tall its digits are, and from how far they can be read. Nothing where the panel's size is not known.
fn distances(file: &Loaded) -> String {
    let texts = file.program.iter().flat_map(|program| readable(program));
    let lines = texts.map(|text| {
        let place = report::line_and_column(&file.text, text.span.start as usize);
        format!(
            "{}:{}:{}: digits {} px, {:.1} mm: read with ease up to {:.2} m, at most {:.2} m\n",
            file.name, place.line, place.column, text.rows, text.height, text.with_ease, text.at_most
        )
    });
    let lines: String = lines.collect();
    if lines.is_empty() {
        return lines;
    }
    format!("{lines}(with ease: {PREFERRED_ANGLE} minutes of arc; at most: {LEAST_ANGLE}; ISO 9241-303)\n")
}

fn counted(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}
