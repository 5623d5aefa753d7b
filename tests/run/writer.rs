//! A panel's writer on a bus with trouble: the glass equals the newest frame once the trouble is over.

use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use embedded_hal::i2c::{ErrorType, I2c, Operation};
use sidelight::draw::{Frame, Ink, Point, Rectangle, Size};
use sidelight::layout::Brightness;
use sidelight::panel::wear::Wear;
use sidelight::panel::{Controller, Driver, EmulatedPanel, Failure, FaultyBus, Setup};
use sidelight::service::{AtExit, Emulated, Ledger, Outlet, Refresh, Trouble, Writer};

use super::kit::until;

const ADDRESS: u8 = 0x3c;
const SIZE: Size = Size::new(128, 32);

/// A bus that the test and the writer share.
#[derive(Clone)]
struct Bus(Arc<Mutex<FaultyBus<EmulatedPanel>>>);

impl ErrorType for Bus {
    type Error = <FaultyBus<EmulatedPanel> as ErrorType>::Error;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        self.0.lock().unwrap().transaction(address, operations)
    }
}

impl Bus {
    fn new() -> Self {
        Self(Arc::new(Mutex::new(FaultyBus::new(EmulatedPanel::new(Controller::Ssd1306, SIZE, ADDRESS, 5)))))
    }

    fn trouble<T>(&self, change: impl FnOnce(&mut FaultyBus<EmulatedPanel>) -> T) -> T {
        change(&mut self.0.lock().unwrap())
    }

    fn glass(&self) -> Frame {
        self.trouble(|bus| bus.bus().glass())
    }
}

impl Outlet for Bus {
    type Bus = Bus;

    fn open(&mut self, size: Size) -> Result<Driver<Bus>, Trouble> {
        Ok(Driver::new(self.clone(), ADDRESS, Setup::new(Controller::Ssd1306, size))?)
    }

    fn updated(&mut self, _bus: &Bus) -> Result<(), Trouble> {
        Ok(())
    }
}

fn writer(bus: &Bus, at_exit: AtExit) -> Writer {
    Writer::start("the panel".into(), Setup::new(Controller::Ssd1306, SIZE), bus.clone(), at_exit, Refresh::NEVER, None)
        .unwrap()
}

/// A picture that differs for each number.
fn picture(number: u32) -> Frame {
    let mut frame = Frame::new(SIZE);
    frame
        .fill(Rectangle::new(Point::new((number * 7 % 90) as i32, (number % 20) as i32), Size::new(30, 9)), Ink::Hatch);
    frame
}

#[test]
fn a_panel_that_is_plugged_in_late_shows_the_newest_frame() {
    let bus = Bus::new();
    bus.trouble(FaultyBus::unplug);
    let writer = writer(&bus, AtExit::Blank);
    for number in 0..50 {
        writer.show(&picture(number));
    }
    until("three attempts", || bus.trouble(|bus| bus.injected()) >= 3);
    bus.trouble(FaultyBus::clear);
    let took = until("the newest frame", || bus.glass() == picture(49));
    eprintln!("back after {took:?}");
}

#[test]
fn a_dimmed_panel_has_less_contrast_and_at_none_it_is_off() {
    let bus = Bus::new();
    let writer = writer(&bus, AtExit::Blank);
    let is = |lit, contrast| bus.trouble(|bus| (bus.bus().is_lit(), bus.bus().contrast()) == (lit, contrast));
    let full = Setup::new(Controller::Ssd1306, SIZE).contrast;
    writer.show(&picture(1));
    until("full brightness", || is(true, full));
    writer.dim(Brightness::percent(20));
    until("a fifth of it", || is(true, Brightness::percent(20).of(full)));
    // After trouble it comes back as it was to be, and a share is one of the full contrast.
    bus.trouble(|bus| bus.fail_after(0, Failure::ALL[0]));
    writer.show(&picture(2));
    until("the next picture", || bus.glass() == picture(2));
    assert!(is(true, Brightness::percent(20).of(full)));
    writer.dim(Brightness::OFF);
    until("off", || is(false, 0));
    writer.show(&picture(3));
    writer.dim(Brightness::FULL);
    until("on again, with the newest picture", || is(true, full) && bus.glass() == picture(3));
}

#[test]
fn on_an_inverted_panel_the_dark_pixels_of_the_picture_wear() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("door.wear");
    let setup = Setup { inverted: true, contrast: 255, ..Setup::new(Controller::Ssd1306, SIZE) };
    let (shown, glass) = std::sync::mpsc::channel();
    let outlet = Emulated::new(setup, move |frame: &Frame| {
        let _ = shown.send(frame.clone());
        Ok(())
    });
    let ledger = Some(Ledger::new(file.clone()));
    let writer = Writer::start("the panel".into(), setup, outlet, AtExit::Keep, Refresh::NEVER, ledger).unwrap();
    writer.show(&picture(1));
    let glass = glass.recv_timeout(Duration::from_secs(20)).unwrap();
    // Whole seconds at full contrast are kept.
    thread::sleep(Duration::from_millis(1500));
    writer.stop();
    assert!(writer.wait(Instant::now() + Duration::from_secs(20)));
    let wear = Wear::decode(&std::fs::read(file).unwrap()).unwrap();
    for at in (0..SIZE.height as i32).flat_map(|y| (0..SIZE.width as i32).map(move |x| Point::new(x, y))) {
        assert_eq!(!wear.lit(at).is_zero(), glass.pixel(at), "{at:?}");
    }
    assert!(glass.pixel(Point::zero()) && !picture(1).pixel(Point::zero()), "the glass is inverted");
}

#[test]
fn after_each_kind_of_fault_at_each_place_the_glass_is_right_again() {
    let bus = Bus::new();
    let writer = writer(&bus, AtExit::Blank);
    let mut number = 0;
    for failure in Failure::ALL.into_iter().filter(|failure| *failure != Failure::LostByte) {
        for bytes in [0, 1, 5, 30] {
            let before = bus.trouble(|bus| {
                bus.fail_after(bytes, failure);
                bus.injected()
            });
            number += 1;
            writer.show(&picture(number));
            until("the frame after a fault", || {
                bus.trouble(|bus| bus.injected()) > before && bus.glass() == picture(number)
            });
        }
    }
}

#[test]
fn bytes_that_are_lost_unseen_are_mended_when_the_panel_is_set_up_anew() {
    let bus = Bus::new();
    let writer = writer(&bus, AtExit::Blank);
    writer.show(&picture(0));
    until("the first frame", || bus.glass() == picture(0));
    bus.trouble(|bus| bus.fail_at_random(40, 7));
    for number in 1..200 {
        writer.show(&picture(number));
    }
    until("some faults", || bus.trouble(|bus| bus.injected()) > 0);
    bus.trouble(|bus| {
        bus.clear();
        bus.bus_mut().power_cycle();
    });
    writer.renew();
    until("the last frame", || bus.glass() == picture(199));
}

#[test]
fn the_end_leaves_a_dark_glass_or_the_last_picture_and_does_not_wait_for_a_dead_bus() {
    for at_exit in [AtExit::Blank, AtExit::Keep] {
        let bus = Bus::new();
        let writer = writer(&bus, at_exit);
        writer.show(&picture(3));
        writer.stop();
        assert!(writer.wait(Instant::now() + Duration::from_secs(10)));
        let left = if at_exit == AtExit::Keep { picture(3) } else { Frame::new(SIZE) };
        assert_eq!(bus.glass(), left);
        assert!(at_exit == AtExit::Keep || !bus.trouble(|bus| bus.bus().is_lit()));
    }
    let bus = Bus::new();
    bus.trouble(FaultyBus::unplug);
    let writer = writer(&bus, AtExit::Blank);
    writer.show(&picture(3));
    until("an attempt", || bus.trouble(|bus| bus.injected()) >= 1);
    writer.stop();
    assert!(writer.wait(Instant::now() + Duration::from_secs(10)));
    // One that hangs holds its own thread and nobody else.
    let bus = Bus::new();
    let held = bus.0.lock().unwrap();
    let stuck = Writer::start(
        "held".into(),
        Setup::new(Controller::Ssd1306, SIZE),
        bus.clone(),
        AtExit::Keep,
        Refresh::NEVER,
        None,
    )
    .unwrap();
    stuck.show(&picture(1));
    stuck.stop();
    assert!(!stuck.wait(Instant::now() + Duration::from_millis(50)));
    drop(held);
}
