//! `sidelight sheet`: all looks of a layout on one sheet, as PNG, to be glued into a notebook.
//!
//! What enters is a layout file; what leaves is one picture with every screen in every situation that [`situations`] names, each
//! with its caption. The same file gives the same bytes on every machine and every day.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::tz::TimeZone;

use crate::draw::{Frame, Ink, Point, Rectangle, Size, advance, draw_text, picture};
use crate::faces::{Catalogue, Strike};
use crate::layout::{Program, situations};
use crate::scenes::civil_time;
use crate::service::load;
use embedded_graphics_core::geometry::OriginDimensions;

use super::{Failure, program_or_report};

/// Draw every screen of a layout in every state and at its extremes, all on one sheet
///
/// Each screen is shown at typical, least and greatest numbers, which are the middle and the ends of each reading's range, and stale,
/// waiting and faulty. A screen with a condition is shown as it takes over, and once more where its condition does not hold.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  sidelight sheet door.layout --out door.png
  sidelight sheet door.layout --out door.png --scale 6 --time 2026-12-24T18:00")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Where the PNG goes
    #[arg(long, value_name = "PNG")]
    out: PathBuf,
    /// Pixels of the PNG for each pixel of a panel
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=16))]
    scale: u32,
    /// The date and time that clocks show and conditions look at: in Greenwich, or of another time zone as 2026-11-25T14:05[Europe/Paris]
    #[arg(long, value_name = "DATE-TIME", default_value = "2026-11-25T14:05", value_parser = time_of)]
    time: ZonedDateTime,
}

/// The time of a sheet: in Greenwich, where it names no zone.
fn time_of(text: &str) -> Result<ZonedDateTime, String> {
    civil_time(text, &TimeZone::UTC).map_err(|finding| finding.help.unwrap_or(finding.message))
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let loaded = load(&arguments.file)?;
    let program = program_or_report(&loaded, &arguments.file)?;
    if program.screens.len() > MOST_SCREENS {
        let count = program.screens.len();
        return Err(Failure::Argument(format!(
            "a sheet holds up to {MOST_SCREENS} screens, and this layout has {count}"
        )));
    }
    let name = arguments.file.file_name().unwrap_or_default().to_string_lossy();
    let sheet = Sheet::of(&program, &name, &arguments.time)?;
    let png = picture::png(&sheet.frame(), arguments.scale)
        .map_err(|problem| Failure::Outside(format!("cannot make a PNG: {problem}")))?;
    let path = &arguments.out;
    std::fs::write(path, png).map_err(|problem| Failure::Write { path: path.clone(), problem })?;
    Ok(ExitCode::SUCCESS)
}

/// More screens would make a picture that nobody can glue anywhere.
const MOST_SCREENS: usize = 64;
/// The face of captions, and its figure height.
const CAPTIONS: (&str, u32) = ("small", 7);
/// The face of headings, and its figure height.
const HEADINGS: (&str, u32) = ("text", 11);
/// Pixels of paper around the sheet and between its parts.
const MARGIN: i32 = 8;
/// How many pictures stand side by side.
const A_ROW: usize = 3;
/// From a panel's edge to the outer edge of the frame around it: a dark rim, a line of paper, and a thin line of ink.
const FRAME: i32 = 3;
/// Pixels between pictures side by side.
const GUTTER: i32 = 12;
/// At most so many lines stand below a picture; numbers that need more are left out, since the picture shows them.
const CAPTION_LINES: usize = 4;

/// Texts and panels with their places, and how large a frame holds them.
struct Sheet {
    texts: Vec<(Arc<Strike>, Point, String)>,
    panels: Vec<(Point, Frame)>,
    rules: Vec<Rectangle>,
    width: i32,
    /// The first row that nothing stands on yet.
    bottom: i32,
}

impl Sheet {
    fn of(program: &Arc<Program>, name: &str, time: &ZonedDateTime) -> Result<Self, Failure> {
        let catalogue = Catalogue::new();
        let face = |(family, height)| {
            catalogue.strike(family, height).map_err(|problem| Failure::Outside(problem.to_string()))
        };
        let (captions, headings) = (face(CAPTIONS)?, face(HEADINGS)?);
        let cell = program.size.width as i32 + 2 * FRAME;
        let width = 2 * MARGIN + A_ROW as i32 * cell + (A_ROW as i32 - 1) * GUTTER;
        let mut sheet = Self { texts: Vec::new(), panels: Vec::new(), rules: Vec::new(), width, bottom: MARGIN };
        let Size { width: columns, height: rows } = program.size;
        sheet.heading(&headings, &captions, name, &format!("{columns}x{rows} pixels"));
        let situations = situations(program, time);
        for (index, screen) in program.screens.iter().enumerate() {
            sheet.heading(&headings, &captions, &format!("screen {}", screen.name), "");
            let mut row: Vec<(Frame, Vec<String>)> = Vec::new();
            for situation in situations.iter().filter(|situation| situation.screen == index) {
                let drawn = situation.draw(program, time);
                let instead = match drawn.screen_index() {
                    _ if situation.alone => String::new(),
                    Some(shown) if shown == index => String::new(),
                    Some(shown) => format!(": {} instead", program.screens[shown].name),
                    None => ": nothing is shown".to_string(),
                };
                let first = format!("{}: {}{instead}", screen.name, situation.words);
                let mut lines = wrapped(&captions, first.split(' '), cell);
                let detail = wrapped(&captions, situation.detail.split_inclusive(", "), cell);
                if lines.len() + detail.len() <= CAPTION_LINES {
                    lines.extend(detail);
                }
                shorten(&captions, &mut lines, cell);
                row.push((drawn.frame().clone(), lines));
                if row.len() == A_ROW {
                    sheet.row(&captions, std::mem::take(&mut row), cell);
                }
            }
            sheet.row(&captions, row, cell);
        }
        Ok(sheet)
    }

    /// A line of a larger face with words of the captions' face at its right end, and a thin line below.
    fn heading(&mut self, headings: &Arc<Strike>, captions: &Arc<Strike>, text: &str, right: &str) {
        let baseline = self.bottom + headings.ascent() as i32;
        self.texts.push((Arc::clone(headings), Point::new(MARGIN, baseline), text.to_owned()));
        let pen = Point::new(self.width - MARGIN - advance(captions, right), baseline);
        self.texts.push((Arc::clone(captions), pen, right.to_owned()));
        self.bottom += (headings.ascent() + headings.descent()) as i32 + 1;
        let line = Size::new((self.width - 2 * MARGIN).unsigned_abs(), 1);
        self.rules.push(Rectangle::new(Point::new(MARGIN, self.bottom), line));
        self.bottom += MARGIN;
    }

    fn row(&mut self, captions: &Arc<Strike>, row: Vec<(Frame, Vec<String>)>, cell: i32) {
        let line = (captions.ascent() + captions.descent()) as i32 + 1;
        let (mut tallest, mut left) = (0, MARGIN);
        for (panel, lines) in row {
            let below = self.bottom + panel.size().height as i32 + 2 * FRAME + 3;
            for (place, text) in lines.iter().enumerate() {
                let pen = Point::new(left, below + place as i32 * line + captions.ascent() as i32);
                self.texts.push((Arc::clone(captions), pen, text.clone()));
            }
            tallest = tallest.max(below + lines.len() as i32 * line - self.bottom);
            self.panels.push((Point::new(left + FRAME, self.bottom + FRAME), panel));
            left += cell + GUTTER;
        }
        if tallest > 0 {
            self.bottom += tallest + MARGIN;
        }
    }

    /// Ink on paper: everything is dark on lit ground, but the panels, which are as they are.
    fn frame(&self) -> Frame {
        let size = Size::new(self.width.unsigned_abs(), self.bottom.unsigned_abs());
        let everything = Rectangle::new(Point::zero(), size);
        let mut frame = Frame::new(size);
        for (strike, pen, text) in &self.texts {
            draw_text(&mut frame.whole(), strike, *pen, text, Ink::Full);
        }
        self.rules.iter().for_each(|rule| frame.fill(*rule, Ink::Full));
        for (corner, panel) in &self.panels {
            let grown = |by: i32| {
                let more = Size::new(2 * by.unsigned_abs(), 2 * by.unsigned_abs());
                Rectangle::new(*corner - Point::new(by, by), panel.size() + more)
            };
            frame.fill(grown(FRAME), Ink::Full);
            frame.fill(grown(FRAME - 1), Ink::Off);
            frame.fill(grown(FRAME - 2), Ink::Full);
        }
        frame.invert(everything);
        for (corner, panel) in &self.panels {
            let Size { width, height } = panel.size();
            for (x, y) in (0..height as i32).flat_map(|y| (0..width as i32).map(move |x| (x, y))) {
                frame.set_pixel(*corner + Point::new(x, y), panel.pixel(Point::new(x, y)));
            }
        }
        frame
    }
}

/// Pieces of a text in lines of at most `width` pixels; a piece that is longer than a line stays whole.
fn wrapped<'a>(strike: &Strike, pieces: impl Iterator<Item = &'a str>, width: i32) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for piece in pieces.map(str::trim).filter(|piece| !piece.is_empty()) {
        match lines.last_mut() {
            Some(line) if advance(strike, line) + advance(strike, " ") + advance(strike, piece) <= width => {
                line.push(' ');
                line.push_str(piece);
            }
            _ => lines.push(piece.to_string()),
        }
    }
    lines
}

/// Takes away what is too much below a picture: lines beyond the last, and characters beyond the width.
fn shorten(strike: &Strike, lines: &mut Vec<String>, width: i32) {
    let cut = lines.len() > CAPTION_LINES;
    lines.truncate(CAPTION_LINES);
    let last = lines.len().saturating_sub(1);
    for (place, line) in lines.iter_mut().enumerate() {
        let more = cut && place == last;
        if more || advance(strike, line) > width {
            while advance(strike, line) + advance(strike, "…") > width && line.pop().is_some() {}
            line.push('…');
        }
    }
}
