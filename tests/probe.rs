//! `sidelight probe`: its test picture to the bit on every glass, what a wrong setting makes of it, and what it says where there is no
//! panel. Its questions to a bus are tested beside their code, on the emulated panel and a folder in the place of `/sys`.
#![cfg(all(feature = "i2c", feature = "pictures"))]

use std::path::Path;
use std::process::{Command, Output};

use sidelight::draw::{Frame, Point, Size, picture, test_picture};
use sidelight::faces::Catalogue;
use sidelight::panel::{Controller, Driver, EmulatedPanel, Setup};

const SIZES: [Size; 2] = [Size::new(128, 32), Size::new(128, 64)];

fn probe(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sidelight")).arg("probe").args(arguments).output().unwrap()
}

fn drawn(size: Size) -> Frame {
    test_picture(size, "SSD1306 0x3c", &Catalogue::new()).unwrap()
}

/// What stands on a glass with this chip after the test picture was sent to what it was taken for.
fn on_glass(chip: Controller, glass: Size, taken_for: Setup) -> Frame {
    let mut driver = Driver::new(EmulatedPanel::new(chip, glass, 0x3c, 0x5eed), 0x3c, taken_for).unwrap();
    driver.initialise().unwrap();
    driver.show(&drawn(taken_for.size)).unwrap();
    driver.bus().glass()
}

/// References are renewed on purpose: look at the file that the test writes, then copy it.
#[test]
fn the_test_picture_is_the_reference() {
    for size in SIZES {
        let name = format!("test-picture-{}x{}.png", size.width, size.height);
        let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden").join(&name);
        let now = drawn(size);
        if std::fs::read(&kept).is_ok_and(|png| picture::from_png(&png).unwrap() == now) {
            continue;
        }
        let written = Path::new(env!("CARGO_MANIFEST_DIR")).join("target").join(&name);
        std::fs::write(&written, picture::png(&now, 1).unwrap()).unwrap();
        panic!("{} differs from what is drawn now, {}:\n{now:?}", kept.display(), written.display());
    }
}

#[test]
fn a_panel_that_is_what_it_is_taken_for_shows_it_and_rotated_shows_it_upside_down() {
    for (controller, size) in
        [(Controller::Ssd1306, SIZES[0]), (Controller::Ssd1306, SIZES[1]), (Controller::Sh1106, SIZES[1])]
    {
        let setup = Setup::new(controller, size);
        let upright = drawn(size);
        assert_eq!(on_glass(controller, size, setup), upright);
        let turned = on_glass(controller, size, Setup { rotated: true, ..setup });
        let last = Point::new(size.width as i32 - 1, size.height as i32 - 1);
        let points = || (0..=last.y).flat_map(|y| (0..=last.x).map(move |x| Point::new(x, y)));
        assert!(points().all(|at| turned.pixel(at) == upright.pixel(last - at)));
    }
}

/// How many pixels of the outermost rows and columns are lit; a whole frame has all of them.
fn edge(frame: &Frame, size: Size) -> u32 {
    let (right, bottom) = (size.width as i32 - 1, size.height as i32 - 1);
    let points = (0..=bottom).flat_map(|y| (0..=right).map(move |x| Point::new(x, y)));
    points.filter(|at| (at.x == 0 || at.x == right || at.y == 0 || at.y == bottom) && frame.pixel(*at)).count() as u32
}

#[test]
fn every_wrong_setting_leaves_no_whole_frame() {
    for (chip, glass) in
        [(Controller::Ssd1306, SIZES[0]), (Controller::Ssd1306, SIZES[1]), (Controller::Sh1106, SIZES[1])]
    {
        for controller in [Controller::Ssd1306, Controller::Sh1106] {
            for size in SIZES {
                let setup = Setup::new(controller, size);
                if setup.check().is_err() {
                    continue;
                }
                let whole = 2 * (glass.width + glass.height) - 4;
                let seen = on_glass(chip, glass, setup);
                let right = (controller, size) == (chip, glass);
                if (chip, controller) == (Controller::Ssd1306, Controller::Sh1106) {
                    assert_eq!(seen, Frame::new(glass), "the other controller's supply is switched on otherwise");
                }
                assert_eq!(edge(&seen, glass) == whole, right, "{setup:?} on {chip} {glass:?}:\n{seen:?}");
            }
        }
    }
}

#[test]
fn drawing_into_a_picture_needs_no_panel() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("test.png");
    let done = probe(&["--draw", &format!("picture:{}", file.display()), "--size", "128x64"]);
    assert!(done.status.success(), "{done:?}");
    let seen = picture::from_png(&std::fs::read(&file).unwrap()).unwrap();
    assert_eq!(seen, test_picture(SIZES[1], "picture", &Catalogue::new()).unwrap());
}

#[test]
fn what_cannot_be_done_is_told() {
    for (arguments, words) in [
        (&["/dev/i2c-4000000"][..], "/dev/i2c-4000000: there is no such bus"),
        (&["--draw", "ssd1306:/nowhere/i2c-1"], "cannot open /nowhere/i2c-1: "),
        (&["--draw", "sh1106:/dev/i2c-1"], "SH1106 panels of 128x32 are not supported; use 128x64"),
        (&["--draw", "ssd1306:/dev/i2c-1", "--size", "64x48"], "write 128x32 or 128x64"),
    ] {
        let done = probe(arguments);
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(words), "{arguments:?}: {said}");
    }
}
