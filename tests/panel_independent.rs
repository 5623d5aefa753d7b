//! The emulated panel and the driver against a driver written by others: the crate `ssd1306`, version 0.10.
//!
//! Both send to the same emulated controller. The crate turns the picture for its rotations, so each has its own mapping.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_graphics::mono_font::MonoTextStyle;
use embedded_graphics::mono_font::ascii::FONT_10X20;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::{Circle, Line, PrimitiveStyle, Rectangle};
use embedded_graphics::text::{Baseline, Text};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};
use sidelight::draw::Frame;
use sidelight::panel::{Controller, Driver, EmulatedPanel, Setup};
use ssd1306::mode::BufferedGraphicsMode;
use ssd1306::prelude::*;
use ssd1306::{I2CDisplayInterface, Ssd1306};

const ADDRESS: u8 = 0x3c;
const WHITE: PrimitiveStyle<BinaryColor> = PrimitiveStyle::with_stroke(BinaryColor::On, 1);

/// A picture without symmetry.
fn picture<D: DrawTarget<Color = BinaryColor>>(target: &mut D) -> Result<(), D::Error> {
    let Size { width, height } = target.bounding_box().size;
    Line::new(Point::zero(), Point::new(width as i32 - 1, height as i32 / 2)).into_styled(WHITE).draw(target)?;
    Circle::new(Point::new(2, 9), 17).into_styled(WHITE).draw(target)?;
    Rectangle::new(Point::new(width as i32 - 9, 1), Size::new(7, 3)).into_styled(WHITE).draw(target)?;
    let style = MonoTextStyle::new(&FONT_10X20, BinaryColor::On);
    Text::with_baseline("7.4", Point::new(1, 5), style, Baseline::Top).draw(target)?;
    Ok(())
}

fn emulated(height: u32) -> EmulatedPanel {
    EmulatedPanel::new(Controller::Ssd1306, Size::new(128, height), ADDRESS, 11)
}

/// What the crate makes of the picture on our glass.
fn through_the_crate<S: DisplaySize>(size: S, rotation: DisplayRotation) -> EmulatedPanel {
    let mut panel = emulated(S::HEIGHT.into());
    let interface = I2CDisplayInterface::new(&mut panel);
    let mut display: Ssd1306<_, _, BufferedGraphicsMode<S>> =
        Ssd1306::new(interface, size, rotation).into_buffered_graphics_mode();
    display.init().unwrap();
    display.clear(BinaryColor::Off).unwrap();
    picture(&mut display).unwrap();
    display.flush().unwrap();
    panel
}

/// The picture drawn upright and turned clockwise by quarter turns.
fn turned(height: u32, quarters: u32) -> Frame {
    let glass = Size::new(128, height);
    let drawn = if quarters.is_multiple_of(2) { glass } else { Size::new(height, 128) };
    let mut upright = Frame::new(drawn);
    picture(&mut upright).unwrap();
    let mut turned = Frame::new(glass);
    let (right, bottom) = (127, height as i32 - 1);
    for at in Rectangle::new(Point::zero(), drawn).points() {
        let to = match quarters {
            0 => at,
            1 => Point::new(right - at.y, at.x),
            2 => Point::new(right - at.x, bottom - at.y),
            _ => Point::new(at.y, bottom - at.x),
        };
        turned.set_pixel(to, upright.pixel(at));
    }
    turned
}

const ROTATIONS: [DisplayRotation; 4] =
    [DisplayRotation::Rotate0, DisplayRotation::Rotate90, DisplayRotation::Rotate180, DisplayRotation::Rotate270];

#[test]
fn the_emulated_panel_shows_what_another_driver_draws() {
    for (quarters, rotation) in ROTATIONS.into_iter().enumerate() {
        for (height, panel) in
            [(64, through_the_crate(DisplaySize128x64, rotation)), (32, through_the_crate(DisplaySize128x32, rotation))]
        {
            assert_eq!(panel.complaints(), [], "128x{height}, {quarters} quarters");
            assert_eq!(panel.glass(), turned(height, quarters as u32), "128x{height}, {quarters} quarters");
        }
    }
}

#[test]
fn both_drivers_make_the_same_glass() {
    for (rotated, rotation) in [(false, DisplayRotation::Rotate0), (true, DisplayRotation::Rotate180)] {
        for (height, other) in
            [(64, through_the_crate(DisplaySize128x64, rotation)), (32, through_the_crate(DisplaySize128x32, rotation))]
        {
            let setup = Setup { rotated, ..Setup::new(Controller::Ssd1306, Size::new(128, height)) };
            let mut driver = Driver::new(emulated(height), ADDRESS, setup).unwrap();
            driver.initialise().unwrap();
            let mut frame = Frame::new(setup.size);
            picture(&mut frame).unwrap();
            driver.show(&frame).unwrap();
            assert_eq!(driver.bus().complaints(), []);
            assert_eq!(driver.bus().glass(), other.glass(), "128x{height}, rotated {rotated}");
        }
    }
}

fn number<D: DrawTarget<Color = BinaryColor>>(target: &mut D, at: Point, text: &str) -> Result<(), D::Error> {
    target.fill_solid(&Rectangle::new(at, Size::new(10 * text.len() as u32, 20)), BinaryColor::Off)?;
    let style = MonoTextStyle::new(&FONT_10X20, BinaryColor::On);
    Text::with_baseline(text, at, style, Baseline::Top).draw(target)?;
    Ok(())
}

/// An emulated panel that can be looked at while a driver holds it.
#[derive(Clone)]
struct Shared(Rc<RefCell<EmulatedPanel>>);

impl ErrorType for Shared {
    type Error = ErrorKind;
}

impl I2c for Shared {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        self.0.borrow_mut().transaction(address, operations)
    }
}

/// What one window around all changes costs, with its commands in one write and its bytes in another.
fn window_cost(old: &Frame, new: &Frame) -> u64 {
    let changed = |page: u32, column: usize| old.page(page)[column] != new.page(page)[column];
    let columns = (0..128).filter(|column| (0..new.pages()).any(|page| changed(page, *column)));
    let pages = (0..new.pages()).filter(|page| (0..128).any(|column| changed(*page, column)));
    let (columns, pages): (Vec<_>, Vec<_>) = (columns.collect(), pages.collect());
    let span = |first: u64, last: u64| last - first + 1;
    let width = span(columns[0] as u64, columns[columns.len() - 1] as u64);
    let height = span(pages[0].into(), pages[pages.len() - 1].into());
    2 + 6 + 2 + width * height
}

/// Bytes for usual updates, numbers 20 pixels high on 128x32: ours, one window around all that changed, and the crate, which
/// sends the box around all that was drawn, 16 data bytes a write. Address and control bytes are counted.
#[test]
fn bytes_of_usual_updates() {
    let (left, right) = (Point::new(4, 6), Point::new(74, 6));
    let shared = Shared(Rc::new(RefCell::new(emulated(32))));
    let mut display =
        Ssd1306::new(I2CDisplayInterface::new(shared.clone()), DisplaySize128x32, DisplayRotation::Rotate0)
            .into_buffered_graphics_mode();
    display.init().unwrap();
    display.flush().unwrap();
    let mut ours = Driver::new(emulated(32), ADDRESS, Setup::default()).unwrap();
    ours.initialise().unwrap();
    let mut frame = Frame::new(Size::new(128, 32));
    ours.show(&frame).unwrap();
    for (case, texts) in [
        ("two numbers appear", vec![(left, "12.4"), (right, "91.0")]),
        ("last digit of one", vec![(left, "12.5")]),
        ("last digit again", vec![(left, "12.6")]),
        ("four digits of one", vec![(left, "08.9")]),
        ("last digit of both", vec![(left, "08.8"), (right, "91.3")]),
        ("last digit of both again", vec![(left, "08.7"), (right, "91.4")]),
        ("all digits of both", vec![(left, "21.9"), (right, "78.2")]),
    ] {
        let before = frame.clone();
        let sent_before = shared.0.borrow().traffic().bytes;
        for (at, text) in texts {
            number(&mut frame, at, text).unwrap();
            number(&mut display, at, text).unwrap();
        }
        let sent = ours.show(&frame).unwrap().bytes;
        display.flush().unwrap();
        let theirs = shared.0.borrow().traffic().bytes - sent_before;
        let window = window_cost(&before, &frame);
        println!("{case:<25} ours {sent:>4}   one window {window:>4}   crate {theirs:>4}");
        assert_eq!(shared.0.borrow().glass(), frame, "{case}");
        assert_eq!(ours.bus().glass(), frame, "{case}");
        assert!(sent <= window && window < theirs, "{case}");
    }
}
