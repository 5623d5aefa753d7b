//! `sidelight explain`: whose pixel this is, or what a finding means.
//!
//! What enters is a layout file with a pixel and readings, or the name of a finding; what leaves are words. It draws nothing.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::ExitCode;
use std::str::FromStr;

use crate::draw::Point;
use crate::language::{nearest, pages, report};
use crate::layout::{Item, Renderer, value_in_words};
use crate::service::{Loaded, load};

use super::given::Given;
use super::{Failure, program_or_report};

/// Tell which element a pixel belongs to, or what a finding of `check` means
#[derive(Debug, clap::Args)]
#[command(after_help = "\
With --at, it names the topmost element whose place holds the pixel, with its line in the file and the readings behind it. Pixels
count from 0 at the top left. A reading that is not set is waiting.

Without --at, it explains a finding by its name, which stands in brackets in a report; without a name, it lists all of them.

Examples:
  sidelight explain door.layout --at 71,8 --set temp=12.4 --set rh=91
  sidelight explain does not fit
  sidelight explain")]
pub(super) struct Arguments {
    /// The layout file, or the name of a finding, with or without quotes
    #[arg(value_name = "FILE or NAME")]
    subject: Vec<String>,
    /// The pixel, as column and row
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true)]
    at: Option<Pixel>,
    #[command(flatten)]
    given: Given,
}

/// A pixel as somebody types it: `71,8`.
#[derive(Clone, Copy, Debug)]
struct Pixel(Point);

impl FromStr for Pixel {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let number = |text: &str| text.trim().parse::<u16>().ok().map(i32::from);
        let pixel = text.split_once(',').and_then(|(x, y)| Some(Point::new(number(x)?, number(y)?)));
        pixel.map(Self).ok_or("write a column and a row, counted from 0, for example `71,8`")
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let said = match (arguments.subject.as_slice(), arguments.at) {
        ([file], Some(Pixel(at))) => pixel(Path::new(file), at, &arguments.given)?,
        (_, Some(_)) => return Err(Failure::Argument("--at wants one layout file beside it".to_string())),
        ([], None) => list(),
        (words, None) => page(&words.join(" "))?,
    };
    // Whoever reads may have enough of it.
    let _ = std::io::stdout().write_all(said.as_bytes());
    Ok(ExitCode::SUCCESS)
}

/// All names of findings, a line each.
fn list() -> String {
    pages::PAGES.iter().fold(String::new(), |list, page| list + page.name + "\n")
}

fn page(name: &str) -> Result<String, Failure> {
    if let Some(page) = pages::find(name) {
        return Ok(format!("{}\n\n{}\n", page.name, page.body));
    }
    if Path::new(name).is_file() {
        return Err(Failure::Argument(format!("say which pixel of {name}, for example `--at 71,8`")));
    }
    let help = match nearest(name, pages::PAGES.iter().map(|page| page.name)) {
        Some(near) => format!("did you mean `{near}`?"),
        None => "`sidelight explain` lists all names".to_string(),
    };
    Err(Failure::Argument(format!("no finding is called `{name}`; {help}")))
}

/// Whose pixel it is.
fn pixel(file: &Path, at: Point, given: &Given) -> Result<String, Failure> {
    let loaded = load(file)?;
    let program = program_or_report(&loaded, file)?;
    let (width, height) = (program.size.width as i32, program.size.height as i32);
    if at.x >= width || at.y >= height {
        return Err(Failure::Argument(format!(
            "--at {},{}: the panel has {width}x{height} pixels; the last one is {},{}",
            at.x,
            at.y,
            width - 1,
            height - 1
        )));
    }
    Ok(explained(&loaded, &given.draw(&program)?, at))
}

fn explained(loaded: &Loaded, drawn: &Renderer, at: Point) -> String {
    let light = if drawn.frame().pixel(at) { "lit" } else { "dark" };
    let Some(screen) = drawn.screen_index().map(|index| &drawn.program().screens[index]) else {
        return format!("{},{} is {light}: no screen is shown, since no condition holds\n", at.x, at.y);
    };
    let owners: Vec<usize> =
        (0..screen.items.len()).rev().filter(|index| screen.items[*index].ink.contains(at)).collect();
    let mut lines = format!("{},{} on screen `{}` is {light}", at.x, at.y, screen.name);
    let (drawn_ones, hidden): (Vec<usize>, Vec<usize>) = owners.iter().partition(|index| drawn.is_drawn(**index));
    let mut others = drawn_ones.iter().chain(&hidden);
    match others.next() {
        None => lines.push_str(": no element ever paints here\n"),
        Some(owner) => {
            let item = &screen.items[*owner];
            let _ = writeln!(lines, ": {}", look(drawn, *owner, item));
            lines.push_str(&source_line(loaded, item));
            lines.push_str(&readings(drawn, item));
        }
    }
    for other in others {
        let item = &screen.items[*other];
        let place = report::line_and_column(&loaded.text, item.span.start as usize);
        let look = look(drawn, *other, item);
        let _ = writeln!(lines, "also here: {look}, line {}, column {}", place.line, place.column);
    }
    lines
}

/// What an item is and what it shows.
fn look(drawn: &Renderer, index: usize, item: &Item) -> String {
    let what = item.drawing.words();
    match drawn.said(index) {
        Some(said) if said.content.is_empty() => format!("{what}, {}", said.state.word()),
        Some(said) => format!("{what}, {}, that shows {}", said.state.word(), said.content),
        None if drawn.is_drawn(index) => what.to_string(),
        None => format!("{what}, hidden since its `when:` does not hold"),
    }
}

/// Where an item stands in the file, with its line.
fn source_line(loaded: &Loaded, item: &Item) -> String {
    let place = report::line_and_column(&loaded.text, item.span.start as usize);
    // A terminal must not obey what stands in the file.
    let line: String =
        loaded.text.lines().nth(place.line - 1).unwrap_or_default().trim().replace(|c: char| c.is_control(), " ");
    format!("  {}:{}:{}: {line}\n", loaded.name, place.line, place.column)
}

/// The readings behind an item, a line each: name, topic, value and state.
fn readings(drawn: &Renderer, item: &Item) -> String {
    let program = drawn.program();
    let behind = program.readings_behind(&item.inputs);
    if behind.is_empty() {
        return "  it depends on no reading\n".to_string();
    }
    let mut lines = String::new();
    for index in behind {
        let (spec, value) = (&program.readings[index], drawn.reading(index));
        let number = if value.is_known() { value_in_words(spec, value.number) } else { "no number".to_string() };
        let state = value.state.word();
        let _ = writeln!(lines, "  {}: {number}, {state}, from {}", spec.name, spec.filter);
    }
    lines
}
