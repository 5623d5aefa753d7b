//! The past of readings outlives the program.

use std::fs;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, Running, Sensor};

const PAST: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40\n\
    screen s { text \"{highest(temp, 10min):.1}\" size: 24 }\n";

fn stop(mut run: Running) {
    run.signal("TERM");
    assert_eq!(run.wait().code(), Some(0));
}

/// Publishes a number, ends the program, and gives the picture that it leaves.
fn last_picture(cellar: &Cellar, run: Running, sensor: &mut Sensor, number: &str) -> Vec<u8> {
    run.says("subscribed to");
    sensor.publish(CLIMATE, number);
    run.says(&format!("temp is live: {number} °C"));
    stop(run);
    fs::read(cellar.path("door.png")).unwrap()
}

#[test]
fn what_was_highest_is_still_so_after_a_restart() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(PAST);
    let mut sensor = Sensor::connect(broker.v3());
    let keeping = ["--state", "past", "--at-exit", "keep"];

    let run = cellar.run(broker.v3(), &keeping);
    let highest = last_picture(&cellar, run, &mut sensor, "18");
    let kept = fs::read(cellar.path("past")).unwrap();
    assert!(kept.starts_with(b"sl-past\n"));

    let run = cellar.run(broker.v3(), &keeping);
    run.says("past: the past goes on (windows: 1)");
    assert_eq!(last_picture(&cellar, run, &mut sensor, "12"), highest);

    // Without it, with a damaged one, and in another layout nothing is left of the 18.
    let (last, before) = kept.split_last().unwrap();
    let damaged = [before, &[!last]].concat();
    let other = PAST.replace("10min", "11min");
    for (more, file, layout, words) in [
        (&["--at-exit", "keep"][..], &kept, PAST, "subscribed to"),
        (&keeping, &damaged, PAST, "past: it is damaged; the past begins anew"),
        (&keeping, &kept, &other, "past: the past goes on (windows: 0)"),
    ] {
        fs::write(cellar.path("past"), file).unwrap();
        fs::write(cellar.path("door.layout"), layout).unwrap();
        let run = cellar.run(broker.v3(), more);
        run.says(words);
        assert_ne!(last_picture(&cellar, run, &mut sensor, "12"), highest, "{words}");
    }
}

#[test]
fn a_file_that_is_no_past_is_left_as_it_is() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(PAST);
    let run = cellar.run(broker.v3(), &["--state", "door.layout"]);
    run.says("door.layout: this is not the past of readings; it is left as it is");
    run.says("subscribed to");
    Sensor::connect(broker.v3()).publish(CLIMATE, "18");
    run.says("temp is live: 18 °C");
    stop(run);
    assert_eq!(fs::read_to_string(cellar.path("door.layout")).unwrap(), PAST);
    let run = cellar.run(broker.v3(), &["--state", "nowhere/past"]);
    run.says("cannot keep the past in nowhere/past: ");
    run.says("subscribed to");
    stop(run);
}
