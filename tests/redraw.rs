//! What is drawn again where it changed is, to the bit, the picture that is drawn at once.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use proptest::prelude::*;
use sidelight::draw::Frame;
use sidelight::formulas::Evaluated;
use sidelight::layout::{Program, Renderer};
use sidelight::readings::{Moment, State};
use sidelight::service::{self, Loaded};

/// Every alignment, direction and shape of a bar, and elements on top of one another.
const SHAPES: &str = "panel 128x64\n\
    reading temp from: \"cellar/brine/climate\" unit: °C range: -20..40\n\
    reading rh from: \"cellar/brine/air\" unit: % range: 0..100\n\
    reading gate from: \"cellar/brine/door\" pick: words(closed: 0, open: 1)\n\
    screen shapes { columns gap: 4 {\n\
      stack gap: 2 {\n\
        text \"{temp:.1}\" face: small align: left\n\
        text \"{temp:.0} {rh:.0}\" face: text align: center\n\
        text \"{rh:.0}%\" face: small align: right\n\
        bar temp over: -10..20°C origin: 0°C height: 7 target: 4..8°C\n\
        bar temp over: -20..40°C origin: 0°C height: 5 segments: 6 direction: left\n\
        bar rh over: 20..80% height: 3\n\
      }\n\
      stack gap: 2 {\n\
        overlay { bar rh over: 0..100% height: 11\n text \"{rh:.0}\" face: small align: center }\n\
        text \"{if gate == 1 then \"open\" else \"shut\"}\" face: small invert: rh > 50\n\
        text \"warm\" face: small when: temp > 10\n\
        columns gap: 4 {\n\
          bar temp over: 0..30°C width: 8 height: 20 direction: up\n\
          bar rh over: 0..100% origin: 50% width: 5 height: 20 direction: down\n\
        }\n\
      }\n\
    } }\n";

fn program(loaded: Loaded) -> Arc<Program> {
    loaded.program.unwrap_or_else(|| panic!("{:?}", loaded.findings))
}

fn ready(name: &str) -> Arc<Program> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts");
    program(service::load(&folder.join(name).with_extension("layout")).unwrap())
}

/// The readings' pictures one after the other, each the way a renderer comes to it, and drawn at once.
fn drawn_both_ways(program: &Arc<Program>, steps: &[(usize, f64, State)]) -> Result<(), TestCaseError> {
    let mut renderer = Renderer::new(Arc::clone(program), Moment::default());
    for (step, (reading, share, state)) in steps.iter().enumerate() {
        let now = Moment::at(Duration::from_secs(step as u64));
        let reading = reading % program.readings.len();
        let (low, high) = program.readings[reading].range.unwrap_or((-50.0, 150.0));
        let number = (low + share * (high - low)).round();
        let value = match state {
            State::Waiting => Evaluated::WAITING,
            State::Faulty => Evaluated::FAULTY,
            state => Evaluated::new(number, *state),
        };
        renderer.set(reading, value);
        if value.is_known() {
            renderer.hear(reading, number, now);
        }
        let before: Frame = renderer.frame().clone();
        let changed = renderer.draw(now);
        let part_by_part = renderer.frame().clone();
        prop_assert!(changed || before == part_by_part, "it changed and does not say so");
        let mut at_once = renderer.clone();
        at_once.draw_all(now);
        prop_assert_eq!(&part_by_part, at_once.frame(), "after step {}", step);
    }
    Ok(())
}

fn steps() -> impl Strategy<Value = Vec<(usize, f64, State)>> {
    let state = prop_oneof![6 => Just(State::Live), 2 => Just(State::Stale), 1 => Just(State::Waiting), 1 => Just(State::Faulty)];
    // Small steps more often than large ones: then most of an element stays as it was.
    let share = prop_oneof![3 => 0.4..0.5f64, 1 => 0.0..1.0f64];
    prop::collection::vec((0usize..8, share, state), 1..40)
}

proptest! {
    #[test]
    fn shapes(steps in steps()) {
        let shapes = program(service::compile(SHAPES.as_bytes(), Path::new("shapes.layout")));
        drawn_both_ways(&shapes, &steps)?;
    }

    #[test]
    fn ready_layouts(layout in prop::sample::select(&[
        "demo", "three-doors", "ripening-door", "ripening-door-64", "brine-tank", "sweating-walls", "plant-energy", "packing-weather",
        "all-rooms", "two-rooms",
    ][..]), steps in steps()) {
        drawn_both_ways(&ready(layout), &steps)?;
    }
}
