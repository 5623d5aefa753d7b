//! `sidelight specimen`: what the built-in faces look like, as PNG.
//!
//! What enters are families of the catalogue; what leaves is one picture: every size with its digits, readings and letters, or every
//! icon with its name. It says nothing about a layout and reads no file.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use crate::draw::{Frame, Ink, Point, Size, advance, draw_text, picture};
use crate::faces::{Catalogue, FaceError, Strike, icons};

use super::Failure;

/// Draw the built-in faces, every size with digits, readings and letters
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  sidelight specimen --out faces.png
  sidelight specimen narrow --out narrow.png --scale 2")]
pub(super) struct Arguments {
    /// The family; all of them where none is given
    #[arg(value_name = "FAMILY")]
    family: Option<String>,
    /// Where the PNG goes
    #[arg(long, value_name = "PNG")]
    out: PathBuf,
    /// Pixels of the PNG for each pixel of a panel
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=16))]
    scale: u32,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let catalogue = Catalogue::new();
    let families: Vec<&str> = match &arguments.family {
        Some(family) => vec![family.as_str()],
        None => catalogue.families().collect(),
    };
    let sheet = Sheet::of(&catalogue, &families).map_err(|problem| Failure::Argument(problem.to_string()))?;
    let png = picture::png(&sheet.frame(), arguments.scale)
        .map_err(|problem| Failure::Outside(format!("cannot make a PNG: {problem}")))?;
    let path = &arguments.out;
    std::fs::write(path, png).map_err(|problem| Failure::Write { path: path.clone(), problem })?;
    Ok(ExitCode::SUCCESS)
}

/// What each strike shows: the digits, readings, and letters.
const LINES: [&str; 4] =
    ["0123456789", "12.4° −10.4° 91% 1013 hPa", "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "abcdefghijklmnopqrstuvwxyz"];
/// The face of captions, and its figure height.
const CAPTIONS: (&str, u32) = ("small", 7);
/// Dark pixels around the sheet and between its parts.
const GAP: i32 = 6;
/// How wide the place of one icon with its name is; the longest name needs 108 pixels.
const ICON_CELL: i32 = 150;
/// How many icons stand in a row.
const ICONS_A_ROW: usize = 5;

/// Texts with their places, and how large a frame holds them.
struct Sheet {
    texts: Vec<(Arc<Strike>, Point, String)>,
    captions: Arc<Strike>,
    right: i32,
    /// The first row that nothing stands on yet.
    bottom: i32,
}

impl Sheet {
    fn of(catalogue: &Catalogue, families: &[&str]) -> Result<Self, FaceError> {
        let captions = catalogue.strike(CAPTIONS.0, CAPTIONS.1)?;
        let mut sheet = Self { texts: Vec::new(), captions, right: 0, bottom: GAP };
        for family in families {
            for height in catalogue.sizes(family)? {
                let strike = catalogue.strike(family, *height)?;
                sheet.caption(strike.name());
                if *family == icons::FAMILY { sheet.icons(&strike) } else { sheet.lines(&strike) }
            }
        }
        Ok(sheet)
    }

    fn text(&mut self, strike: &Arc<Strike>, pen: Point, text: &str) {
        self.right = self.right.max(pen.x + advance(strike, text));
        self.texts.push((Arc::clone(strike), pen, text.to_owned()));
    }

    /// A line of the captions' face below everything else.
    fn caption(&mut self, text: &str) {
        let captions = Arc::clone(&self.captions);
        self.text(&captions, Point::new(GAP, self.bottom + captions.ascent() as i32), text);
        self.bottom += (captions.ascent() + captions.descent()) as i32;
    }

    fn lines(&mut self, strike: &Arc<Strike>) {
        for line in LINES {
            self.text(strike, Point::new(GAP, self.bottom + strike.ascent() as i32 + 1), line);
            self.bottom += (strike.ascent() + strike.descent()) as i32 + 1;
        }
        self.bottom += GAP;
    }

    fn icons(&mut self, strike: &Arc<Strike>) {
        let captions = Arc::clone(&self.captions);
        let row = strike.ascent().max(captions.ascent() + captions.descent()) as i32 + 4;
        for names in icons::NAMES.chunks(ICONS_A_ROW) {
            let mut pen = Point::new(GAP, self.bottom + strike.ascent() as i32 + 1);
            for name in names {
                let icon: String = icons::character(name).into_iter().collect();
                self.text(strike, pen, &icon);
                let beside = (strike.figure_height() as i32 - captions.figure_height() as i32) / 2;
                self.text(&captions, Point::new(pen.x + advance(strike, &icon) + 4, pen.y - beside), name);
                pen.x += ICON_CELL;
            }
            self.bottom += row;
        }
        self.bottom += GAP;
    }

    fn frame(&self) -> Frame {
        let size = Size::new((self.right + GAP).unsigned_abs(), self.bottom.unsigned_abs());
        let mut frame = Frame::new(size);
        for (strike, pen, text) in &self.texts {
            draw_text(&mut frame.whole(), strike, *pen, text, Ink::Full);
        }
        frame
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    /// The pictures of `fonts/` are what the command in `fonts/README.md` makes today.
    #[test]
    fn the_specimens_beside_the_faces_are_up_to_date() {
        let catalogue = Catalogue::new();
        for family in catalogue.families() {
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fonts/specimen-{family}.png"));
            let bytes = std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            let committed = picture::from_png(&bytes).unwrap();
            let drawn = Sheet::of(&catalogue, &[family]).unwrap().frame();
            assert!(committed == drawn, "make it again: sidelight specimen {family} --out fonts/specimen-{family}.png");
        }
    }

    #[test]
    fn everything_that_is_drawn_has_its_own_place() {
        let catalogue = Catalogue::new();
        let families: Vec<&str> = catalogue.families().collect();
        let sheet = Sheet::of(&catalogue, &families).unwrap();
        let lit = |frame: &Frame| frame.bytes().iter().map(|byte| byte.count_ones()).sum::<u32>();
        let single = |(strike, _, text): &(Arc<Strike>, Point, String)| -> u32 {
            let pixels = |character| {
                let bitmap = &strike.glyph_or_missing(character).bitmap;
                (0..bitmap.pages()).flat_map(|page| bitmap.page(page)).map(|byte| byte.count_ones()).sum::<u32>()
            };
            text.chars().map(pixels).sum()
        };
        assert_eq!(lit(&sheet.frame()), sheet.texts.iter().map(single).sum::<u32>());
    }

    #[test]
    fn an_unknown_family_is_an_error() {
        let problem = Sheet::of(&Catalogue::new(), &["large"]).err().map(|error| error.to_string());
        assert!(problem.is_some_and(|problem| problem.starts_with("no face is called `large`")));
    }
}
