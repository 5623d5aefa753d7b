//! `sidelight render`: the picture of a layout for given readings, as PNG, in the terminal or in words.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use crate::draw::picture;
use crate::language::report;
use crate::layout::Renderer;
use crate::service::load;

use super::given::Given;
use super::{Failure, program_or_report};

/// Draw a layout with given readings
#[derive(Debug, clap::Args)]
#[command(after_help = "\
A reading that is not set is waiting. Numbers are in the reading's own unit. A number outside of the reading's range makes it
faulty, as it would from the broker.

Examples:
  sidelight render door.layout --set temp=12.4 --set rh=91
  sidelight render door.layout --set temp=12.4 --state temp=stale --out door.png --scale 4
  sidelight render door.layout --set temp=12.4 --set rh=91 --words")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    given: Given,
    /// Write a PNG instead of drawing in the terminal
    #[cfg(feature = "pictures")]
    #[arg(long, value_name = "PNG")]
    out: Option<PathBuf>,
    /// Pixels of the PNG for each pixel of the panel
    #[cfg(feature = "pictures")]
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=64))]
    scale: u32,
    /// Print what the picture says, a line an element: kind, place in the file, state, text or value
    #[arg(long)]
    words: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let loaded = load(&arguments.file)?;
    let program = program_or_report(&loaded, &arguments.file)?;
    let renderer = arguments.given.draw(&program)?;
    #[cfg(feature = "pictures")]
    if let Some(path) = &arguments.out {
        let png = picture::png(renderer.frame(), arguments.scale)
            .map_err(|problem| Failure::Outside(format!("cannot make a PNG: {problem}")))?;
        std::fs::write(path, png).map_err(|problem| Failure::Write { path: path.clone(), problem })?;
    }
    #[cfg(feature = "pictures")]
    let elsewhere = arguments.out.is_some();
    #[cfg(not(feature = "pictures"))]
    let elsewhere = false;
    let mut out = std::io::stdout().lock();
    // Whoever reads may have enough of it.
    let _ = if arguments.words {
        out.write_all(words(&renderer, &loaded.text).as_bytes())
    } else if elsewhere {
        Ok(())
    } else {
        out.write_all(picture::half_blocks(renderer.frame()).as_bytes())
    };
    Ok(ExitCode::SUCCESS)
}

/// What the picture says, a line an element.
fn words(renderer: &Renderer, text: &str) -> String {
    let mut lines = String::new();
    for said in renderer.words() {
        let place = report::line_and_column(text, said.span.start as usize);
        let state = said.state.word();
        let line = format!("{} {}:{} {state} {}", said.kind, place.line, place.column, said.content);
        lines.push_str(line.trim_end());
        lines.push('\n');
    }
    lines
}
