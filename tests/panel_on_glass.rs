//! The driver, through the bus, to the emulated glass: what was asked for is what is seen, at little cost and after any trouble.

use embedded_graphics::geometry::OriginDimensions;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use proptest::prelude::*;
use sidelight::draw::{Frame, Ink, Point, Rectangle, Size};
use sidelight::panel::{Controller, Driver, EmulatedPanel, Error, Failure, FaultyBus, Setup, Traffic};

const ADDRESS: u8 = 0x3c;

fn setup(kind: usize) -> Setup {
    let (controller, height) =
        [(Controller::Ssd1306, 32), (Controller::Ssd1306, 64), (Controller::Sh1106, 64)][kind % 3];
    Setup::new(controller, Size::new(128, height))
}

fn driver(setup: Setup, seed: u64) -> Driver<FaultyBus<EmulatedPanel>> {
    let panel = EmulatedPanel::new(setup.controller, setup.size, ADDRESS, seed);
    Driver::new(FaultyBus::new(panel), ADDRESS, setup).expect("a supported panel")
}

fn ready(setup: Setup, seed: u64) -> Driver<FaultyBus<EmulatedPanel>> {
    let mut driver = driver(setup, seed);
    driver.initialise().expect("a sound bus");
    driver
}

fn panel(driver: &Driver<FaultyBus<EmulatedPanel>>) -> &EmulatedPanel {
    driver.bus().bus()
}

/// One change of a picture.
#[derive(Clone, Debug)]
enum Change {
    Box(i32, i32, u32, u32, bool),
    Pixel(i32, i32),
    Inverse(i32, i32, u32, u32),
    Nothing,
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        4 => (0..128, 0..64, 1..60u32, 1..40u32, any::<bool>()).prop_map(|(x, y, w, h, lit)| Change::Box(x, y, w, h, lit)),
        3 => (0..128, 0..64).prop_map(|(x, y)| Change::Pixel(x, y)),
        2 => (0..128, 0..64, 1..30u32, 1..24u32).prop_map(|(x, y, w, h)| Change::Inverse(x, y, w, h)),
        1 => Just(Change::Nothing),
    ]
}

fn apply(frame: &mut Frame, change: &Change) {
    match *change {
        Change::Box(x, y, w, h, lit) => {
            let ink = if lit { Ink::Half } else { Ink::Off };
            frame.fill(Rectangle::new(Point::new(x, y), Size::new(w, h)), ink);
        }
        Change::Pixel(x, y) => {
            let at = Point::new(x, y);
            frame.set_pixel(at, !frame.pixel(at));
        }
        Change::Inverse(x, y, w, h) => frame.invert(Rectangle::new(Point::new(x, y), Size::new(w, h))),
        Change::Nothing => {}
    }
}

/// What sending the box around all changes costs: with windows its commands and its bytes in two writes, with page addressing
/// the same for each page.
fn box_cost(controller: Controller, old: &Frame, new: &Frame) -> u64 {
    let size = new.size();
    let (mut columns, mut pages) = (Vec::new(), Vec::new());
    for page in 0..new.pages() {
        for column in 0..size.width {
            if old.page(page)[column as usize] != new.page(page)[column as usize] {
                columns.push(column);
                pages.push(page);
            }
        }
    }
    let (Some(left), Some(right)) = (columns.iter().min(), columns.iter().max()) else { return 0 };
    let (top, bottom) = (pages[0], pages[pages.len() - 1]);
    let (width, height) = (u64::from(right - left + 1), u64::from(bottom - top + 1));
    match controller {
        Controller::Ssd1306 => 2 + 6 + 2 + width * height,
        Controller::Sh1106 => (2 + 3 + 2 + width) * height,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn the_glass_follows_the_frame_and_no_update_is_dearer_than_its_box(
        kind in 0..3usize,
        rotated in any::<bool>(),
        seed in any::<u64>(),
        updates in prop::collection::vec(prop::collection::vec(change(), 1..5), 1..12),
        longest in prop_oneof![Just(8192usize), Just(32), Just(0)],
    ) {
        let setup = Setup { rotated, longest_write: longest, ..setup(kind) };
        let mut driver = driver(setup, seed);
        let mut sent = driver.initialise().unwrap();
        let mut frame = Frame::new(setup.size);
        let mut first = true;
        for update in &updates {
            let before = frame.clone();
            update.iter().for_each(|change| apply(&mut frame, change));
            let traffic = driver.show(&frame).unwrap();
            sent.add(traffic);
            if !first && longest == 8192 {
                prop_assert!(traffic.bytes <= box_cost(setup.controller, &before, &frame));
            }
            first = false;
            prop_assert_eq!(seen(&driver, &setup), frame.clone());
            prop_assert_eq!(panel(&driver).traffic(), sent);
        }
        prop_assert_eq!(panel(&driver).complaints(), []);
    }

    #[test]
    fn after_any_trouble_the_glass_is_right_again(
        kind in 0..3usize,
        seed in any::<u64>(),
        one_in in 1..200u32,
        updates in prop::collection::vec(change(), 1..20),
        cut in prop::option::of(0..6usize),
    ) {
        let setup = setup(kind);
        let mut driver = ready(setup, seed);
        let mut frame = Frame::new(setup.size);
        driver.show(&frame).unwrap();
        driver.bus_mut().fail_at_random(one_in, seed);
        for (index, change) in updates.iter().enumerate() {
            apply(&mut frame, change);
            if cut == Some(index) {
                driver.bus_mut().bus_mut().power_cycle();
            }
            if driver.needs_initialising() && driver.initialise().is_err() {
                continue;
            }
            let shown = driver.show(&frame);
            prop_assert_eq!(shown.is_err(), driver.needs_initialising());
        }
        driver.bus_mut().clear();
        driver.initialise().unwrap();
        driver.show(&frame).unwrap();
        prop_assert_eq!(seen(&driver, &setup), frame);
    }
}

/// The glass as a reader sees it who turned the panel as it is set up.
fn seen(driver: &Driver<FaultyBus<EmulatedPanel>>, setup: &Setup) -> Frame {
    let glass = panel(driver).glass();
    if !setup.rotated {
        return glass;
    }
    let mut turned = Frame::new(setup.size);
    let (right, bottom) = (setup.size.width as i32 - 1, setup.size.height as i32 - 1);
    for y in 0..=bottom {
        for x in 0..=right {
            turned.set_pixel(Point::new(x, y), glass.pixel(Point::new(right - x, bottom - y)));
        }
    }
    turned
}

#[test]
fn the_noise_of_power_up_is_never_seen() {
    for kind in 0..3 {
        let setup = setup(kind);
        let mut driver = ready(setup, 5);
        assert!(!panel(&driver).is_lit());
        let mut frame = Frame::new(setup.size);
        frame.set_pixel(Point::new(3, 3), true);
        driver.show(&frame).unwrap();
        assert_eq!(panel(&driver).glass(), frame);
        // The whole RAM behind the glass: even a picture that equals a dark one is sent in full.
        driver.initialise().unwrap();
        assert!(!panel(&driver).is_lit());
        let traffic = driver.blank().unwrap();
        assert!(traffic.bytes > u64::from(setup.size.width * setup.size.height / 8));
        assert_eq!(panel(&driver).glass(), Frame::new(setup.size));
        assert!(panel(&driver).is_lit());
    }
}

#[test]
fn nothing_changed_sends_nothing() {
    for kind in 0..3 {
        let mut driver = ready(setup(kind), 1);
        driver.blank().unwrap();
        assert_eq!(driver.blank().unwrap(), Traffic::default());
        assert_eq!(driver.set_contrast(0x7f).unwrap(), Traffic::default());
        assert_eq!(driver.set_inverted(false).unwrap(), Traffic::default());
        assert_eq!(driver.set_on(true).unwrap(), Traffic::default());
    }
}

#[test]
fn the_same_bytes_again_need_no_command() {
    let mut driver = ready(setup(0), 1);
    driver.blank().unwrap();
    let area = Rectangle::new(Point::new(40, 8), Size::new(10, 16));
    let mut frame = Frame::new(Size::new(128, 32));
    frame.invert(area);
    assert_eq!(driver.show(&frame).unwrap().bytes, 2 + 6 + 2 + 20);
    frame.invert(area);
    assert_eq!(driver.show(&frame).unwrap(), Traffic { transactions: 1, bytes: 2 + 20 });
}

#[test]
fn settings_take_effect_and_outlive_a_power_cut() {
    for kind in 0..3 {
        let setup = setup(kind);
        let mut driver = ready(setup, 9);
        let frame = Frame::new(setup.size);
        driver.show(&frame).unwrap();
        driver.set_contrast(0x10).unwrap();
        driver.set_inverted(true).unwrap();
        let mut light = Frame::new(setup.size);
        light.invert(Rectangle::new(Point::zero(), setup.size));
        assert_eq!((panel(&driver).glass(), panel(&driver).contrast()), (light.clone(), 0x10));
        driver.bus_mut().bus_mut().power_cycle();
        driver.forget();
        driver.initialise().unwrap();
        driver.show(&frame).unwrap();
        assert_eq!((panel(&driver).glass(), panel(&driver).contrast()), (light, 0x10));
        driver.set_on(false).unwrap();
        assert!(!panel(&driver).is_lit());
        driver.initialise().unwrap();
        driver.show(&frame).unwrap();
        assert!(!panel(&driver).is_lit(), "off stays off");
        driver.set_on(true).unwrap();
        assert!(panel(&driver).is_lit());
        assert_eq!(panel(&driver).complaints(), []);
    }
}

#[test]
fn each_failure_is_reported_and_ends_all_trust() {
    for failure in [Failure::NoAcknowledge, Failure::ArbitrationLost, Failure::Misplaced, Failure::Timeout] {
        // Here the update is a write of five bytes, the address first, and one with the data.
        for position in [0, 1, 5, 9, 20] {
            let mut driver = ready(setup(0), 2);
            driver.blank().unwrap();
            driver.bus_mut().fail_after(position, failure);
            let mut frame = Frame::new(Size::new(128, 32));
            frame.invert(Rectangle::new(Point::new(20, 0), Size::new(20, 32)));
            let error = driver.show(&frame).expect_err("the bus failed");
            let Error::Bus { address: ADDRESS, kind, .. } = error else { panic!("{error}") };
            let source =
                if position == 0 || position == 5 { NoAcknowledgeSource::Address } else { NoAcknowledgeSource::Data };
            let wanted = match failure {
                Failure::NoAcknowledge => ErrorKind::NoAcknowledge(source),
                Failure::ArbitrationLost => ErrorKind::ArbitrationLoss,
                Failure::Misplaced => ErrorKind::Bus,
                _ => ErrorKind::Other,
            };
            assert_eq!(kind, wanted, "{failure:?} at byte {position}");
            assert!(driver.needs_initialising());
            assert!(matches!(driver.show(&frame), Err(Error::NotInitialised { .. })));
            driver.initialise().unwrap();
            driver.show(&frame).unwrap();
            assert_eq!(panel(&driver).glass(), frame);
        }
    }
}

/// A byte lost in the middle of a command makes the controller wait for an argument that comes as the next command.
#[test]
fn initialising_ends_a_command_that_lost_its_end() {
    for position in (1..5).chain(6..12) {
        let mut driver = ready(setup(0), 2);
        driver.blank().unwrap();
        driver.bus_mut().fail_after(position, Failure::LostByte);
        let mut frame = Frame::new(Size::new(128, 32));
        frame.invert(Rectangle::new(Point::new(20, 0), Size::new(20, 32)));
        driver.show(&frame).expect("nobody noticed");
        assert_eq!(driver.bus().injected(), 1);
        driver.initialise().unwrap();
        driver.show(&frame).unwrap();
        assert_eq!(panel(&driver).glass(), frame, "byte {position} lost");
    }
}

#[test]
fn an_unplugged_panel_is_named_with_its_address() {
    let mut driver = ready(setup(0), 2);
    driver.bus_mut().unplug();
    let error = driver.blank().expect_err("nobody answers");
    assert_eq!(
        error.to_string(),
        "panel at address 0x3c cannot be reached (Injected(NoAcknowledge(Address))); check its wiring, its supply and the address"
    );
    driver.bus_mut().bus_mut().power_cycle();
    driver.bus_mut().clear();
    driver.initialise().unwrap();
    driver.blank().unwrap();
    assert!(panel(&driver).is_lit());
}

/// The bytes that README and DEVELOPERS.md name.
#[test]
fn a_refresh_costs_what_is_said_and_changes_nothing_that_can_be_seen() {
    for (kind, bytes) in [557, 1069, 1113].into_iter().enumerate() {
        let mut driver = ready(setup(kind), 3);
        let mut frame = Frame::new(setup(kind).size);
        frame.fill(Rectangle::new(Point::new(5, 5), Size::new(50, 20)), Ink::Half);
        driver.show(&frame).unwrap();
        let traffic = driver.refresh(&frame).unwrap();
        assert_eq!(traffic.bytes, bytes);
        // Cut off after any byte, it leaves what could be seen before.
        for byte in 0..bytes {
            driver.bus_mut().fail_after(byte, Failure::NoAcknowledge);
            driver.refresh(&frame).expect_err("the bus failed");
            assert_eq!(panel(&driver).glass(), frame, "after byte {byte}");
            driver.initialise().unwrap();
            driver.show(&frame).unwrap();
        }
        // A panel that is off stays so, and one that was reset shows no noise before all is in.
        driver.bus_mut().bus_mut().power_cycle();
        driver.bus_mut().fail_after(bytes - 4, Failure::NoAcknowledge);
        driver.refresh(&frame).expect_err("the bus failed");
        assert!(!panel(&driver).is_lit());
        driver.initialise().unwrap();
        driver.show(&frame).unwrap();
        driver.set_on(false).unwrap();
        driver.bus_mut().bus_mut().brown_out();
        driver.refresh(&frame).unwrap();
        assert!(!panel(&driver).is_lit());
        driver.set_on(true).unwrap();
        assert_eq!(panel(&driver).glass(), frame);
    }
}

#[test]
fn what_does_not_fit_is_refused() {
    let mut driver = ready(setup(0), 2);
    let error = driver.show(&Frame::new(Size::new(128, 64))).expect_err("too high");
    assert_eq!(
        error.to_string(),
        "frame of 128x64 pixels does not fit the panel of 128x32; draw it in the size of the panel"
    );
    let setup = Setup::new(Controller::Sh1106, Size::new(128, 32));
    assert_eq!(
        setup.check().expect_err("no such panel").to_string(),
        "SH1106 panels of 128x32 are not supported; use 128x64"
    );
}

/// The SH1106 knows page addressing only; the emulated one complains about anything else.
#[test]
fn an_sh1106_gets_page_addressing_only() {
    let setup = setup(2);
    let mut driver = ready(setup, 4);
    let mut frame = Frame::new(setup.size);
    frame.fill(Rectangle::new(Point::new(0, 0), Size::new(128, 64)), Ink::Half);
    driver.show(&frame).unwrap();
    // The last column of a page, then bytes on others.
    for at in [Point::new(127, 10), Point::new(0, 60), Point::new(127, 63), Point::new(64, 0)] {
        frame.set_pixel(at, !frame.pixel(at));
    }
    driver.show(&frame).unwrap();
    assert_eq!(panel(&driver).glass(), frame);
    assert_eq!(panel(&driver).complaints(), []);
}
