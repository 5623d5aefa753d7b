//! Reading states all the way to the picture: what is old, missing or wrong never looks like a good number, a derived value is
//! as bad as its worst input, and screens follow conditions and turns.

use std::sync::Arc;
use std::time::Duration;

use jiff::civil::DateTime;
use sidelight::draw::{Frame, Point};
use sidelight::faces::Catalogue;
use sidelight::feed::{Delivery, Message};
use sidelight::formulas::Evaluated;
use sidelight::language::{self, clock};
use sidelight::layout::{self, Brightness, Program, Renderer};
use sidelight::readings::{Moment, State};
use sidelight::service::Pane;

fn program(text: &str) -> Arc<Program> {
    let (document, findings) = language::parse(text);
    assert!(findings.is_empty(), "{findings:?}");
    let (layout, findings) = language::check(&document);
    let layout = layout.unwrap_or_else(|| panic!("{findings:?}"));
    let (program, findings) = layout::compile(&layout, &Catalogue::new());
    Arc::new(program.unwrap_or_else(|| panic!("{findings:?}")))
}

fn at(seconds: u64) -> Moment {
    Moment::at(Duration::from_secs(seconds))
}

fn live(number: f64) -> Evaluated {
    Evaluated::new(number, State::Live)
}

fn stale(number: f64) -> Evaluated {
    Evaluated::new(number, State::Stale)
}

/// What is said, an element a line: `text live 12.4°`.
fn said(renderer: &Renderer) -> Vec<String> {
    let words = renderer.words();
    words.iter().map(|said| format!("{} {:?} {}", said.kind, said.state, said.content)).collect()
}

/// The picture of a layout for the given readings.
fn picture(program: &Arc<Program>, readings: &[Evaluated]) -> (Frame, Vec<String>) {
    let mut renderer = Renderer::new(Arc::clone(program), at(0));
    readings.iter().enumerate().for_each(|(index, value)| renderer.set(index, *value));
    renderer.draw(at(0));
    (renderer.frame().clone(), said(&renderer))
}

fn lit(frame: &Frame) -> Vec<Point> {
    let points = (0..64).flat_map(|y| (0..128).map(move |x| Point::new(x, y)));
    points.filter(|point| frame.pixel(*point)).collect()
}

const NUMBER: &str = "panel 128x32\n\
    reading temp from: \"cellar/brine/climate\" unit: °C\n\
    screen s { text \"{temp:.1}\" }\n";

#[test]
fn each_state_of_a_number_has_its_own_look() {
    let program = program(NUMBER);
    let (good, words) = picture(&program, &[live(12.4)]);
    assert_eq!(words, ["text Live 12.4"]);
    let (old, words) = picture(&program, &[stale(12.4)]);
    assert_eq!(words, ["text Stale 12.4"]);
    let (waiting, words) = picture(&program, &[Evaluated::WAITING]);
    assert_eq!(words, ["text Waiting ––.–"]);
    let (faulty, words) = picture(&program, &[Evaluated::FAULTY]);
    assert_eq!(words, ["text Faulty ––.–"]);
    let looks = [&good, &old, &waiting, &faulty];
    for (index, one) in looks.iter().enumerate() {
        assert!(looks[..index].iter().all(|other| other != one), "two states look alike:\n{one:?}");
    }
    // Half strength: a part of the good digits, and roughly half of them.
    let (all, half) = (lit(&good), lit(&old));
    assert!(half.iter().all(|point| all.contains(point)));
    let share = half.len() as f64 / all.len() as f64;
    assert!((0.4..0.6).contains(&share), "{share}");
}

#[test]
fn a_bad_number_shows_nothing_of_the_digits_that_it_had() {
    let program = program(NUMBER);
    let of = |number: f64, state| picture(&program, &[Evaluated { number, state }]).0;
    assert_eq!(of(12.4, State::Faulty), of(-31.7, State::Faulty));
    assert_eq!(of(12.4, State::Waiting), of(-31.7, State::Waiting));
}

#[test]
fn a_value_is_as_bad_as_its_worst_input() {
    let program = program(
        "panel 128x32\n\
         reading a from: \"cellar/a\" range: 0..10\n\
         reading b from: \"cellar/b\" range: 0..10\n\
         value sum = a + b\n\
         value twice = sum * 2\n\
         value either = if a > 5 then a else b\n\
         screen s {\n\
           text \"{twice:.0}\" size: 9\n\
           text \"{either:.0}\" size: 9\n\
         }\n",
    );
    let words = |a, b| picture(&program, &[a, b]).1;
    assert_eq!(words(live(1.0), live(2.0)), ["text Live 6", "text Live 2"]);
    assert_eq!(words(live(1.0), stale(2.0)), ["text Stale 6", "text Stale 2"]);
    // Of a conditional only the branch taken is an input.
    assert_eq!(words(live(6.0), Evaluated::FAULTY), ["text Faulty ––", "text Live 6"]);
    assert_eq!(words(Evaluated::WAITING, stale(2.0)), ["text Waiting ––", "text Waiting ––"]);
    assert_eq!(words(Evaluated::FAULTY, Evaluated::WAITING), ["text Faulty ––", "text Faulty ––"]);
}

#[test]
fn what_cannot_be_computed_is_faulty() {
    let program = program(
        "panel 128x32\n\
         reading a from: \"cellar/a\" range: 0..10\n\
         value share = 1 / a range: 0..10\n\
         value narrow = a * 2 range: 0..10\n\
         screen s { text \"{share:.1}\" size: 9\n text \"{narrow:.0}\" size: 9 }\n",
    );
    let words = |a| picture(&program, &[a]).1;
    assert_eq!(words(live(2.0)), ["text Live 0.5", "text Live 4"]);
    assert_eq!(words(live(0.0)), ["text Faulty ––.–", "text Live 0"]);
    assert_eq!(words(live(8.0)), ["text Live 0.1", "text Faulty ––"]);
}

#[test]
fn a_condition_over_stale_readings_governs_at_half_strength() {
    let program = program(
        "panel 128x32\n\
         reading door from: \"cellar/brine/door\" pick: words(open: 1, closed: 0)\n\
         screen s { overlay {\n\
           text \"open\" size: 9 when: door == 1\n\
           text \"shut\" size: 9 when: door == 0\n\
         } }\n",
    );
    let words = |door| picture(&program, &[door]).1;
    assert_eq!(words(live(1.0)), ["text Live open"]);
    assert_eq!(words(live(0.0)), ["text Live shut"]);
    assert_eq!(words(stale(1.0)), ["text Stale open"]);
    assert!(words(Evaluated::WAITING).is_empty());
    assert!(words(Evaluated::FAULTY).is_empty());
    let (full, _) = picture(&program, &[live(1.0)]);
    let (half, _) = picture(&program, &[stale(1.0)]);
    assert!(lit(&half).len() < lit(&full).len());
}

#[test]
fn a_screen_takes_over_while_its_condition_holds() {
    let program = program(
        "panel 128x32\n\
         reading a from: \"cellar/a\" range: 0..10\n\
         screen usual { text \"{a:.0}\" }\n\
         screen alert when: a > 8 { text \"high\" }\n",
    );
    let mut renderer = Renderer::new(program, at(0));
    renderer.draw(at(0));
    assert_eq!(renderer.screen(), Some("usual"));
    renderer.set(0, live(9.0));
    assert!(renderer.draw(at(1)));
    assert_eq!(renderer.screen(), Some("alert"));
    assert_eq!(said(&renderer), ["text Live high"]);
    renderer.set(0, Evaluated::FAULTY);
    renderer.draw(at(2));
    assert_eq!(renderer.screen(), Some("usual"));
    assert_eq!(renderer.next_change(), None, "one screen in turn needs no clock");
}

#[test]
fn screens_are_shown_in_turn() {
    let program = program(
        "panel 128x32\n\
         reading a from: \"cellar/a\" range: 0..10\n\
         screen one for: 5s { text \"one\" }\n\
         screen two for: 10s { text \"two\" }\n\
         screen alert when: a > 8 { text \"high\" }\n",
    );
    let mut renderer = Renderer::new(program, at(100));
    let mut shown_at = |seconds| {
        renderer.draw(at(seconds));
        (renderer.screen().map(str::to_string), renderer.next_change())
    };
    let is = |name: &str, until| (Some(name.to_string()), Some(at(until)));
    assert_eq!(shown_at(100), is("one", 105));
    assert_eq!(shown_at(104), is("one", 105));
    assert_eq!(shown_at(105), is("two", 115));
    assert_eq!(shown_at(115), is("one", 120));
    // Below a screen that took over there is nothing to wake up for.
    renderer.set(0, live(9.0));
    renderer.draw(at(119));
    assert_eq!((renderer.screen(), renderer.next_change()), (Some("alert"), None));
    renderer.set(0, live(1.0));
    let mut shown_at = |seconds| {
        renderer.draw(at(seconds));
        (renderer.screen().map(str::to_string), renderer.next_change())
    };
    assert_eq!(shown_at(119), is("one", 120));
    // After a year asleep the round goes on where it would be, at once.
    let year = 365 * 24 * 3600;
    assert_eq!(shown_at(115 + year), is("one", 120 + year));
}

#[test]
fn a_clock_moves_on_by_itself() {
    let program = program("panel 128x32\nscreen s { text \"{clock(\"%H:%M\")}\" }\n");
    let mut renderer = Renderer::new(program, at(0));
    renderer.set_time(at(10), clock::greenwich(DateTime::constant(2026, 11, 25, 14, 5, 48, 0)));
    renderer.draw(at(10));
    assert_eq!(said(&renderer), ["text Live 14:05"]);
    assert_eq!(renderer.next_change(), Some(at(22)));
    renderer.set_time(at(22), clock::greenwich(DateTime::constant(2026, 11, 25, 14, 6, 0, 0)));
    assert!(renderer.draw(at(22)));
    assert_eq!(said(&renderer), ["text Live 14:06"]);
}

#[test]
fn a_partial_redraw_gives_what_a_full_one_gives() {
    let text = "panel 128x64\n\
        reading a from: \"cellar/a\" range: -20..20\n\
        reading b from: \"cellar/b\" range: 0..100 unit: %\n\
        screen s {\n\
          columns {\n\
            frame { text \"{a:.1}\" invert: a < 0 }\n\
            stack { bar b over: 20..80% target: 40..60% height: 9\n text \"{b:.0}%\" }\n\
          }\n\
          overlay { bar a origin: 0 height: 12\n text \"{if b > 50 then \"moist\" else \"dry\"}\" size: 9 align: center when: b > 10 }\n\
        }\n";
    let program = program(text);
    let mut seed = fastrand::Rng::with_seed(7);
    let mut kept = Renderer::new(Arc::clone(&program), at(0));
    for step in 0..2000 {
        let index = seed.usize(..2);
        let number = if index == 0 { seed.f64() * 40.0 - 20.0 } else { seed.f64() * 100.0 };
        let state = [State::Live, State::Live, State::Stale, State::Waiting, State::Faulty][seed.usize(..5)];
        kept.set(index, Evaluated::new(number, state));
        kept.draw(at(step));
        let mut fresh = Renderer::new(Arc::clone(&program), at(step));
        (0..2).for_each(|reading| fresh.set(reading, kept.reading(reading)));
        fresh.draw(at(step));
        assert_eq!(kept.frame(), fresh.frame(), "step {step}");
    }
}

/// What a pane says after each of these messages: second, topic, payload.
fn heard(layout: &str, messages: &[(u64, &str, &str)]) -> Vec<String> {
    let noon = clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0));
    let mut pane = Pane::new(program(layout), at(0));
    let mut hear = |(second, topic, payload): &(u64, &str, &str)| {
        let message = Message {
            topic: (*topic).into(),
            payload: payload.as_bytes().into(),
            retained: false,
            delivery: Delivery::AtMostOnce,
        };
        pane.accept(&message, at(*second));
        pane.update(at(*second), &noon);
        let words = pane.words();
        words.iter().map(|said| format!("{:?} {}", said.state, said.content)).collect::<Vec<_>>().join(", ")
    };
    messages.iter().map(&mut hear).collect()
}

#[test]
fn a_spike_is_not_shown_and_a_confirmed_step_is() {
    let layout = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40 offset: -0.5 jump: 2 stale: 15s\n\
        screen s { text \"{temp:.1}\" }\n";
    let climate = "cellar/ripening/climate";
    let shown = heard(
        layout,
        &[
            (0, climate, "12.5"),
            (4, climate, "31"),
            (8, climate, "12.6"),
            (20, climate, "31"),
            (24, climate, "9"),
            (28, climate, "9.2"),
        ],
    );
    assert_eq!(shown, ["Live 12.0", "Live 12.0", "Live 12.1", "Live 12.1", "Stale 12.1", "Live 8.7"]);
}

#[test]
fn a_panel_is_dimmed_while_a_condition_holds_and_nobody_knows_of_none() {
    let layout = "panel 128x32\n\
        reading lux from: \"cellar/ripening/light\" unit: lx range: 0..1000 stale: 15s\n\
        dim to: 60% when: lux < 100\n\
        dim to: 0% when: lux < 5\n\
        screen s { text \"cellar\" }\n";
    let mut renderer = Renderer::new(program(layout), at(0));
    let mut brightness = |value| {
        renderer.set(0, value);
        renderer.draw(at(1));
        renderer.brightness()
    };
    assert_eq!(brightness(Evaluated::WAITING), Brightness::FULL);
    assert_eq!(brightness(Evaluated::new(300.0, State::Live)), Brightness::FULL);
    assert_eq!(brightness(Evaluated::new(99.0, State::Live)), Brightness::percent(60));
    assert_eq!(brightness(Evaluated::new(2.0, State::Live)), Brightness::OFF);
    assert_eq!(brightness(Evaluated::new(2.0, State::Stale)), Brightness::OFF);
    assert_eq!(brightness(Evaluated::FAULTY), Brightness::FULL);
}

#[test]
fn nothing_stands_in_the_margin_of_a_shifted_picture() {
    let layout = "panel 128x32 shift: 2\nscreen s { frame { space } }\n";
    let mut renderer = Renderer::new(program(layout), at(0));
    renderer.draw(at(1));
    let lit = |x, y| renderer.frame().pixel(Point::new(x, y));
    let columns = (0..128).filter(|x| (0..32).any(|y| lit(*x, y)));
    let rows = (0..32).filter(|y| (0..128).any(|x| lit(x, *y)));
    assert_eq!((columns.clone().min(), columns.max()), (Some(2), Some(125)));
    assert_eq!((rows.clone().min(), rows.max()), (Some(2), Some(29)));
}
