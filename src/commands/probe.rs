//! `sidelight probe`: which I2C buses there are, who answers where a panel may be, and what is likely wrong where nobody does.
//!
//! What enters are the machine's own lists of buses; what leaves are words, and with `--draw` a test picture on one panel. Without
//! that nothing is written to a bus.

use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use crate::draw::{Frame, Size, test_picture};
use crate::faces::Catalogue;
use crate::panel::{Controller, Setup};
use crate::service::buses::{Roots, Survey};
use crate::service::{Bus, Device, Outlet, Place, Trouble};

use super::{Failure, size};

mod advice;

/// Find panels on this machine's I2C buses, and draw a test picture
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Each bus is asked at 0x3c and 0x3d, where panels of this kind are, by reading one byte: nothing is
written, and an address that a driver of the kernel has is left alone. An answer says that somebody
is there, but not what. Exit code 0: somebody answers; 1: nobody does.

Only --draw writes to a panel, and to nothing but the one named.

Panels of this kind run from 3.3 V logic; check the module before wiring, power off while wiring.
A readout is for information: it is no alarm and protects no one from gas, fire, heat or cold.

Examples:
  sidelight probe
  sidelight probe /dev/i2c-1
  sidelight probe --draw ssd1306:/dev/i2c-1:0x3c
  sidelight probe --draw sh1106:/dev/i2c-1:0x3c --size 128x64")]
pub(super) struct Arguments {
    /// Ask on these buses only
    #[arg(value_name = "BUS", conflicts_with = "draw")]
    buses: Vec<PathBuf>,
    /// Draw a test picture on this panel: ssd1306:/dev/i2c-1:0x3c, sh1106:… or picture:test.png
    #[arg(long, value_name = "PANEL")]
    draw: Option<Place>,
    /// Size of that panel
    #[arg(long, value_name = "SIZE", default_value = "128x32", value_parser = size::parse, requires = "draw")]
    size: Size,
    /// Turn the test picture by 180 degrees
    #[arg(long, requires = "draw")]
    rotated: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut out = io::stdout().lock();
    if let Some(place) = &arguments.draw {
        draw(place, arguments.size, arguments.rotated)?;
        let _ = out.write_all(advice::of_test_picture(place, arguments.size, arguments.rotated).as_bytes());
        return Ok(ExitCode::SUCCESS);
    }
    let roots = Roots::default();
    let mut buses = roots.buses();
    if !arguments.buses.is_empty() {
        for wanted in &arguments.buses {
            if !buses.iter().any(|bus| bus.device == *wanted) {
                let problem =
                    format!("{}: there is no such bus; `sidelight probe` lists those there are", wanted.display());
                return Err(Failure::Argument(problem));
            }
        }
        buses.retain(|bus| arguments.buses.contains(&bus.device));
    }
    let ask = |bus| roots.survey(bus, &Controller::ADDRESSES, Bus::open);
    let surveys: Vec<Survey> = buses.into_iter().map(ask).collect();
    let words = advice::table(&surveys) + &advice::next(&surveys, roots.offers_devices());
    let _ = out.write_all(words.as_bytes());
    Ok(if advice::panels(&surveys).next().is_some() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// Puts the test picture on a panel.
fn draw(place: &Place, size: Size, rotated: bool) -> Result<(), Failure> {
    let controller = match place {
        Place::Bus { controller, .. } => *controller,
        Place::Picture { .. } => Controller::Ssd1306,
    };
    let setup = Setup { rotated, ..Setup::new(controller, size) };
    let frame = picture_for(place, size)?;
    let shown = match place {
        Place::Bus { device, address, .. } => {
            show(Device { device: device.clone(), address: *address, setup }, &frame, size)
        }
        #[cfg(feature = "pictures")]
        Place::Picture { file } => {
            show(crate::service::Emulated::new(setup, crate::service::picture_file(file.clone())), &frame, size)
        }
        #[cfg(not(feature = "pictures"))]
        Place::Picture { .. } => {
            let problem = format!("{place}: this build has no picture files; build it with the feature `pictures`");
            return Err(Failure::Argument(problem));
        }
    };
    shown.map_err(|trouble| Failure::Outside(format!("{place}: {trouble}")))
}

/// The test picture that says what the panel is taken for.
fn picture_for(place: &Place, size: Size) -> Result<Frame, Failure> {
    let name = match place {
        Place::Bus { controller, address, .. } => format!("{controller} {address:#04x}"),
        Place::Picture { .. } => "picture".into(),
    };
    test_picture(size, &name, &Catalogue::new()).map_err(|problem| Failure::Outside(problem.to_string()))
}

fn show(mut outlet: impl Outlet, frame: &Frame, size: Size) -> Result<(), Trouble> {
    let mut driver = outlet.open(size)?;
    driver.initialise()?;
    driver.show(frame)?;
    outlet.updated(driver.bus())
}
