//! `sidelight wear`: how worn a panel is, and what is to be expected of it.
//!
//! What enters is the ledger that `run` keeps, or a layout with a recording; what leaves are a forecast in words and a picture of the panel.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use super::{Failure, spans};
use crate::draw::picture;
use crate::panel::wear::{MOST_BYTES, USUAL_HALF_LIFE, Wear};
use crate::service::{Durability, read_start, replace};

/// Tell how worn a panel is, pixel by pixel, and how it goes on
#[derive(Debug, clap::Args)]
#[command(after_help = "\
`sidelight run --wear FILE` keeps for how long each pixel was lit; before there is a panel, a layout and
a recording tell the same. In the picture the most worn pixel is white and one that was never lit black.

Examples:
  sidelight wear door.wear --out wear.png
  sidelight wear door.layout --recording cellar.jsonl.gz --half-life 15000h")]
pub(super) struct Arguments {
    /// The file that `run` keeps, or a layout with --recording
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The recording that is played to the layout
    #[cfg(feature = "recording")]
    #[arg(long, value_name = "RECORDING")]
    recording: Option<PathBuf>,
    /// After this time of light half of the brightness is left, by the module's data sheet
    #[arg(long, value_name = "TIME", value_parser = spans::parse, default_value = "10000h")]
    half_life: Duration,
    /// Write a picture of the wear
    #[arg(long, value_name = "PNG")]
    out: Option<PathBuf>,
    /// Pixels of the picture for each pixel of the panel
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=16))]
    scale: u32,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let wear = worn(arguments)?;
    // Whoever reads may have enough of it.
    let _ = io::stdout().write_all(told(&arguments.file, &wear, arguments.half_life).as_bytes());
    if let Some(out) = &arguments.out {
        let outside = |problem: image::ImageError| Failure::Outside(problem.to_string());
        let png = picture::shades(wear.size(), arguments.scale, wear.shades());
        replace(out, &png.map_err(outside)?, 0o644, Durability::Cached)
            .map_err(|problem| Failure::Write { path: out.clone(), problem })?;
    }
    Ok(ExitCode::SUCCESS)
}

fn worn(arguments: &Arguments) -> Result<Wear, Failure> {
    #[cfg(feature = "recording")]
    if let Some(recording) = &arguments.recording {
        return of_recording(&arguments.file, recording);
    }
    let file = &arguments.file;
    let bytes = read_start(file, MOST_BYTES + 1)?;
    Wear::decode(&bytes).map_err(|problem| {
        Failure::Argument(format!(
            "{}: {problem}; give the file of `run --wear`, or a layout with --recording",
            file.display()
        ))
    })
}

#[cfg(feature = "recording")]
fn of_recording(layout: &Path, recording: &Path) -> Result<Wear, Failure> {
    use crate::panel::{Controller, Setup};
    use crate::recording::{Player, open, wear};

    let outside = |problem: &dyn std::fmt::Display| Failure::Outside(format!("{}: {problem}", recording.display()));
    let loaded = crate::service::load(layout)?;
    let program = super::program_or_report(&loaded, layout)?;
    let contrast = Setup::new(Controller::Ssd1306, program.size).contrast;
    let reader = open(recording).map_err(|problem| outside(&problem))?;
    let mut player = Player::new(std::sync::Arc::clone(&program), reader.header().begun, reader);
    wear(&mut player, contrast).map_err(|problem| outside(&problem))
}

/// The forecast in words.
fn told(file: &Path, wear: &Wear, half_life: Duration) -> String {
    let mut told = String::new();
    let (size, (most, at)) = (wear.size(), wear.most());
    let share = |part: Duration| 100.0 * part.as_secs_f64() / wear.shown().as_secs_f64().max(1.0);
    // Writing to a string cannot fail.
    let _ = writeln!(
        told,
        "{}: {}x{} pixels, kept account of for {}",
        file.display(),
        size.width,
        size.height,
        spans::words(Duration::from_secs(wear.shown().as_secs()))
    );
    if most.is_zero() {
        told += "no pixel was lit\n";
        return told;
    }
    let _ = writeln!(
        told,
        "most worn: the pixel at {},{}, lit for {} as if at full contrast, {:.0} % of the time\n",
        at.x,
        at.y,
        spans::words(Duration::from_secs(most.as_secs())),
        share(most)
    );
    let _ = writeln!(told, "brightness left    now   1 year  3 years  10 years");
    let forecast = wear.outlook(half_life);
    for (name, pick) in [("least worn pixel", 0), ("most worn pixel", 1)] {
        let left = forecast.map(|(least, most)| if pick == 0 { least } else { most });
        let [now, one, three, ten] = left.map(|left| 100.0 * left);
        let _ = writeln!(told, "{name:16} {now:3.0} %    {one:3.0} %    {three:3.0} %     {ten:3.0} %");
    }
    let _ = writeln!(told, "\n{}", wear.difference(half_life));
    let hours = half_life.as_secs() / 3600;
    let _ = writeln!(
        told,
        "by a stretched exponential with half of the brightness left after {hours} h of light{}",
        if half_life == USUAL_HALF_LIFE { ", as is usual; --half-life takes that of the data sheet" } else { "" }
    );
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::{Frame, Ink, Point, Rectangle, Size};

    #[test]
    fn a_forecast_in_words() {
        let size = Size::new(16, 8);
        let mut frame = Frame::new(size);
        frame.fill(Rectangle::new(Point::new(3, 2), Size::new(4, 1)), Ink::Full);
        let mut wear = Wear::new(size);
        assert!(told(Path::new("door.wear"), &wear, USUAL_HALF_LIFE).ends_with("no pixel was lit\n"));
        wear.add(&frame, Duration::from_secs(24 * 3600), 127);
        insta::assert_snapshot!(told(Path::new("door.wear"), &wear, USUAL_HALF_LIFE), @r"
        door.wear: 16x8 pixels, kept account of for 1 d
        most worn: the pixel at 3,2, lit for 11 h 57 min as if at full contrast, 50 % of the time

        brightness left    now   1 year  3 years  10 years
        least worn pixel 100 %    100 %    100 %     100 %
        most worn pixel   99 %     67 %     44 %      16 %

        the difference can be seen, at 5 %, after 15 d of the same use
        by a stretched exponential with half of the brightness left after 10000 h of light, as is usual; --half-life takes that of the data sheet
        ");
    }
}
