//! The bus: bytes that typical updates cost, beside a flush of the box that changed and beside what the crate `ssd1306` sends in
//! its buffered mode, printed as a table; and the time that planning takes.

use std::cell::RefCell;
use std::hint::black_box;
use std::rc::Rc;

use criterion::{Criterion, criterion_group, criterion_main};
use embedded_graphics_core::Pixel;
use embedded_graphics_core::draw_target::DrawTarget;
use embedded_graphics_core::geometry::OriginDimensions;
use embedded_graphics_core::pixelcolor::BinaryColor;
use embedded_hal::i2c::{ErrorType, I2c, Operation};
use sidelight::draw::{Frame, Point, Size};
use sidelight::faces::Catalogue;
use sidelight::formulas::Evaluated;
use sidelight::layout::Renderer;
use sidelight::panel::{Controller, Driver, EmulatedPanel, Planner, Script, Setup};
use sidelight::readings::{Moment, State};
use sidelight::{language, layout};
use ssd1306::mode::DisplayConfig;
use ssd1306::prelude::{DisplayRotation, DisplaySize128x32, I2CInterface};

const LAYOUT: &str = include_str!("../layouts/ripening-door.layout");

/// The picture of the layout for a temperature and a humidity.
fn picture(temperature: f64, humidity: f64) -> Frame {
    let (document, _) = language::parse(LAYOUT);
    let checked = language::check(&document).0.expect("the ready layouts are clean");
    let program = layout::compile(&checked, &Catalogue::new()).0.expect("the ready layouts are clean");
    let mut renderer = Renderer::new(program.into(), Moment::default());
    renderer.set(0, Evaluated::new(temperature, State::Live));
    renderer.set(1, Evaluated::new(humidity, State::Live));
    renderer.draw(Moment::default());
    renderer.frame().clone()
}

/// Updates that a panel sees: what stood on it, and what comes.
fn updates() -> Vec<(&'static str, Frame, Frame)> {
    vec![
        ("last digit of one number", picture(12.4, 81.0), picture(12.5, 81.0)),
        ("all digits of one number", picture(9.8, 81.0), picture(14.2, 81.0)),
        ("both numbers", picture(12.4, 81.0), picture(12.5, 82.0)),
        ("everything appears", Frame::new(Size::new(128, 32)), picture(12.4, 81.0)),
    ]
}

fn ours(before: &Frame, after: &Frame) -> u64 {
    let glass = EmulatedPanel::new(Controller::Ssd1306, before.size(), 0x3c, 1);
    let mut driver = Driver::new(glass, 0x3c, Setup::new(Controller::Ssd1306, before.size())).unwrap();
    driver.initialise().unwrap();
    driver.show(before).unwrap();
    driver.show(after).unwrap().bytes
}

/// One window around everything that changed: address byte, the two window commands with their control byte, and the data.
fn one_window(before: &Frame, after: &Frame) -> u64 {
    let changed = |page: u32, x: usize| before.page(page)[x] != after.page(page)[x];
    let width = before.size().width as usize;
    let pages: Vec<u32> = (0..before.pages()).filter(|page| (0..width).any(|x| changed(*page, x))).collect();
    let columns: Vec<usize> = (0..width).filter(|x| (0..before.pages()).any(|page| changed(page, *x))).collect();
    let span = |first: usize, last: usize| (last - first + 1) as u64;
    match (pages.first().zip(pages.last()), columns.first().zip(columns.last())) {
        (Some((top, bottom)), Some((left, right))) => {
            (2 + 6) + 2 + span(*top as usize, *bottom as usize) * span(*left, *right)
        }
        _ => 0,
    }
}

fn other_crate(before: &Frame, after: &Frame) -> u64 {
    let glass = EmulatedPanel::new(Controller::Ssd1306, before.size(), 0x3c, 1);
    let bus = SharedBus(Rc::new(RefCell::new(glass)));
    let counter = bus.clone();
    let interface = I2CInterface::new(bus, 0x3c, 0x40);
    let mut display =
        ssd1306::Ssd1306::new(interface, DisplaySize128x32, DisplayRotation::Rotate0).into_buffered_graphics_mode();
    display.init().unwrap();
    let mut show = |frame: &Frame| {
        let size = frame.size();
        let points = (0..size.height as i32).flat_map(|y| (0..size.width as i32).map(move |x| Point::new(x, y)));
        display.draw_iter(points.map(|at| Pixel(at, BinaryColor::from(frame.pixel(at))))).unwrap();
        display.flush().unwrap();
    };
    show(before);
    let start = counter.0.borrow().traffic().bytes;
    show(after);
    counter.0.borrow().traffic().bytes - start
}

/// A bus that can still be asked after a driver took it.
#[derive(Clone)]
struct SharedBus(Rc<RefCell<EmulatedPanel>>);

impl ErrorType for SharedBus {
    type Error = <EmulatedPanel as ErrorType>::Error;
}

impl I2c for SharedBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        self.0.borrow_mut().transaction(address, operations)
    }
}

fn planning(criterion: &mut Criterion) {
    println!("{:<28}{:>6}{:>12}{:>16}", "bytes on the bus", "ours", "one window", "crate ssd1306");
    for (name, before, after) in updates() {
        let (ours, window, other) = (ours(&before, &after), one_window(&before, &after), other_crate(&before, &after));
        println!("{name:<28}{ours:>6}{window:>12}{other:>16}");
    }
    let mut group = criterion.benchmark_group("plan");
    for (name, before, after) in updates() {
        let mut planner = Planner::new(Controller::Ssd1306, before.size().width, before.pages());
        let mut script = Script::default();
        group.bench_function(name, |bencher| {
            bencher.iter(|| {
                script.clear();
                planner.plan(Some(before.bytes()), after.bytes(), &mut script);
                black_box(script.len())
            });
        });
    }
    group.finish();
}

criterion_group!(benches, planning);
criterion_main!(benches);
