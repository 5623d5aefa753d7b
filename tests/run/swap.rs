//! Save the layout, and the panel changes; save a broken one, and the last good screen stays.

use std::fs;
use std::time::{Duration, Instant};

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Running, Sensor};

const GOOD: [&str; 4] = ["--set", "temp=12.4", "--set", "rh=91"];

/// A cellar whose panel shows 12.4° and 91 %.
fn live(broker: &Broker, more: &[&str]) -> (Cellar, Running, Sensor) {
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(broker.v3(), more);
    run.says("subscribed to");
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&GOOD);
    (cellar, run, sensor)
}

#[test]
fn a_saved_layout_is_shown_at_once_and_readings_keep_their_values() {
    let broker = Broker::start().unwrap();
    let (cellar, run, _sensor) = live(&broker, &[]);
    let mut slowest = Duration::ZERO;
    for number in 0..6 {
        // The same readings under another picture, in place and by renaming in turn.
        let layout = DOOR.replace("gap: 10", &format!("gap: {}", 2 + number));
        let wanted = Cellar::new(&layout).rendered(&GOOD);
        let saved = Instant::now();
        if number % 2 == 0 {
            fs::write(cellar.path("door.layout"), &layout).unwrap();
        } else {
            fs::write(cellar.path("door.layout~"), &layout).unwrap();
            fs::rename(cellar.path("door.layout~"), cellar.path("door.layout")).unwrap();
        }
        cellar.shows_png(&wanted);
        slowest = slowest.max(saved.elapsed());
    }
    eprintln!("from saving to the picture file: at most {slowest:?} (to reach: 0.5 s)");
    assert_eq!(run.log().matches("changed, and shown from now on").count(), 6);
    assert_eq!(run.log().matches("subscribed to").count(), 1, "the same topics need no new subscription");
}

#[test]
fn a_broken_layout_changes_nothing_and_is_named_by_line_and_column() {
    let broker = Broker::start().unwrap();
    let (cellar, run, mut sensor) = live(&broker, &[]);
    let good = cellar.rendered(&GOOD);
    fs::write(cellar.path("door.layout"), DOOR.replace("temp over", "tmp over")).unwrap();
    run.says("door.layout:11:11: ");
    run.says("door.layout: cannot be shown as it is; the last good screen stays");
    assert_eq!(fs::read(cellar.path("door.png")).unwrap(), good);
    // It goes on with the last good layout.
    fs::remove_file(cellar.path("door.layout")).unwrap();
    run.says("cannot read door.layout: ");
    sensor.publish(CLIMATE, "13.0,90.0");
    fs::write(cellar.path("other.layout"), DOOR).unwrap();
    fs::rename(cellar.path("other.layout"), cellar.path("door.layout")).unwrap();
    cellar.shows(&["--set", "temp=13", "--set", "rh=90"]);
}

#[test]
fn other_topics_are_subscribed_and_other_sizes_are_drawn() {
    let broker = Broker::start().unwrap();
    let (cellar, run, mut sensor) = live(&broker, &[]);
    let larger = DOOR.replace("panel 128x32 diagonal: 0.91in", "panel 128x64 diagonal: 1.3in").replace("screen walls", "reading door from: \"cellar/ripening/door\" \
        pick: words(open: 1, closed: 0) range: 0..1\nscreen open when: door == 1 { text \"Open\" size: fit }\nscreen walls");
    fs::write(cellar.path("door.layout"), larger).unwrap();
    run.says("subscribed to cellar/ripening/climate, cellar/ripening/door");
    cellar.shows(&GOOD);
    sensor.publish("cellar/ripening/door", "open");
    cellar.shows(&["--set", "door=1"]);
}

#[test]
fn a_size_that_the_panel_has_not_is_refused() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(&DOOR.replace("panel 128x32 diagonal: 0.91in", "panel 128x64 diagonal: 1.3in"));
    let run = cellar.run(broker.v3(), &["--panel", "sh1106:/nowhere/i2c-1:0x3c"]);
    run.says("sh1106:/nowhere/i2c-1:0x3c: cannot open /nowhere/i2c-1: No such file or directory");
    fs::write(cellar.path("door.layout"), DOOR).unwrap();
    run.says("door.layout: not for sh1106:/nowhere/i2c-1:0x3c: SH1106 panels of 128x32 are not supported; use 128x64");
}

#[test]
fn a_hang_up_signal_has_layouts_read_again() {
    let broker = Broker::start().unwrap();
    let (cellar, run, _sensor) = live(&broker, &[]);
    run.signal("HUP");
    run.says("layouts are read again and panels set up anew");
    run.says("door.layout: changed, and shown from now on");
    cellar.shows(&GOOD);
}
