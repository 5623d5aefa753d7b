//! Drawing: a full render, a redraw after one reading changed, and the way from payload to frame, beside the same picture through
//! embedded-graphics' own text and rectangles.

use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use embedded_graphics::mono_font::{MonoTextStyle, ascii::FONT_10X20};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::{PrimitiveStyle, Rectangle};
use embedded_graphics::text::Text;
use sidelight::draw::Frame;
use sidelight::formulas::Evaluated;
use sidelight::layout::{Program, Renderer};
use sidelight::readings::{Moment, State, Store};
use sidelight::service;

/// Two texts of 22 px and two outlined bars.
const LAYOUT: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -9..40\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100\n\
    screen door { columns gap: 10 {\n\
      stack { bar temp over: 8..16°C height: 9\n text \"{temp:.1}°\" size: 22 face: narrow }\n\
      stack { bar rh over: 60..100% height: 9\n text \"{rh:.0}%\" size: 22 face: narrow }\n\
    } }\n";

fn program(text: &str) -> Arc<Program> {
    let loaded = service::compile(text.as_bytes(), Path::new("bench.layout"));
    loaded.program.unwrap_or_else(|| panic!("{:?}", loaded.findings))
}

/// Numbers that differ from one picture to the next, so that each one has work to do.
fn temperature(step: u64) -> Evaluated {
    Evaluated::new(8.0 + (step % 80) as f64 / 10.0, State::Live)
}

fn humidity(step: u64) -> Evaluated {
    Evaluated::new(60.0 + (step % 40) as f64, State::Live)
}

fn drawing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("render");
    let mut renderer = Renderer::new(program(LAYOUT), Moment::default());
    let mut step = 0;
    group.bench_function("full", |bencher| {
        bencher.iter(|| {
            step += 1;
            renderer.set(0, temperature(step));
            renderer.set(1, humidity(step));
            renderer.draw_all(Moment::default());
            black_box(renderer.frame());
        });
    });
    group.bench_function("one reading changed", |bencher| {
        bencher.iter(|| {
            step += 1;
            renderer.set(1, humidity(step));
            black_box(renderer.draw(Moment::default()));
        });
    });
    group.bench_function("nothing changed", |bencher| bencher.iter(|| black_box(renderer.draw(Moment::default()))));
    group.bench_function("the same through embedded-graphics", |bencher| {
        let mut frame = Frame::new(Size::new(128, 32));
        let style = MonoTextStyle::new(&FONT_10X20, BinaryColor::On);
        let outline = PrimitiveStyle::with_stroke(BinaryColor::On, 1);
        let filling = PrimitiveStyle::with_fill(BinaryColor::On);
        bencher.iter(|| {
            step += 1;
            frame.clear(BinaryColor::Off).unwrap();
            for (x, text, share) in [
                (0, format!("{:.1}°", temperature(step).number), step % 80),
                (69, format!("{:.0}%", humidity(step).number), step % 40),
            ] {
                let bar = Rectangle::new(Point::new(x, 0), Size::new(59, 9));
                bar.into_styled(outline).draw(&mut frame).unwrap();
                let length = 55 * share as u32 / 80;
                Rectangle::new(Point::new(x + 2, 2), Size::new(length, 5))
                    .into_styled(filling)
                    .draw(&mut frame)
                    .unwrap();
                Text::new(&text, Point::new(x, 28), style).draw(&mut frame).unwrap();
            }
            black_box(&frame);
        });
    });
    group.finish();
}

/// The same two readings with ten values computed from them and three windows of a day.
const DERIVED: &str = "panel 128x64\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -9..40\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100\n\
    value dew = dew_point(temp, rh)\n\
    value frost = frost_point(temp, rh)\n\
    value water = absolute_humidity(temp, rh)\n\
    value vapour = vapour_pressure(temp, rh)\n\
    value deficit = vapour_pressure_deficit(temp, rh)\n\
    value wet = wet_bulb(temp, rh, 1013hPa)\n\
    value ratio = mixing_ratio(temp, rh, 1013hPa)\n\
    value felt = humidex(temp, rh)\n\
    value spread = temp - dew\n\
    value near = spread < 2\n\
    screen door {\n\
      text \"{dew:.0} {frost:.0} {water:.0} {vapour:.0} {deficit:.1}\" size: 9\n\
      text \"{wet:.0} {ratio:.0} {felt:.0} {if near then \"wet\" else \"dry\"}\" size: 9\n\
      text \"{lowest(temp, 24h):.1} {highest(temp, 24h):.1} {mean(rh, 24h):.0}\" size: 9\n\
    }\n";

fn payload_to_frame(criterion: &mut Criterion) {
    messages(criterion, "payload to changed frame", LAYOUT);
    messages(criterion, "payload to changed frame, ten derived values and three windows", DERIVED);
}

fn messages(criterion: &mut Criterion, name: &str, layout: &str) {
    let program = program(layout);
    let mut store = Store::new(program.readings.clone());
    let mut renderer = Renderer::new(program, Moment::default());
    let mut now = Moment::default();
    let mut outcomes = Vec::new();
    let payloads: Vec<String> =
        (0..1000).map(|step| format!("{:.1},{:.1}", temperature(step).number, humidity(step).number)).collect();
    let mut step = 0;
    criterion.bench_function(name, |bencher| {
        bencher.iter(|| {
            step = (step + 1) % payloads.len();
            // A message every four seconds, as is usual (common practice).
            now = now + Duration::from_secs(4);
            let payload = payloads[step].as_bytes();
            store.accept("cellar/ripening/climate", payload, false, now, &mut outcomes);
            for outcome in outcomes.iter().filter(|outcome| outcome.changed) {
                if let Some(reading) = store.reading(outcome.reading) {
                    let number = reading.value().unwrap_or_default();
                    renderer.set(outcome.reading, Evaluated::new(number, reading.state(now)));
                    renderer.hear(outcome.reading, number, now);
                }
            }
            black_box(renderer.draw(now));
        });
    });
}

criterion_group!(benches, drawing, payload_to_frame);
criterion_main!(benches);
