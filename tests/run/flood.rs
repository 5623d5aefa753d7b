//! Whatever is published: the state is on the glass, the log stays short, the memory flat, and nothing wakes it without need.

use std::thread;
use std::time::Duration;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor};

#[test]
fn garbage_oversize_and_ten_thousand_topics_do_no_harm() {
    let broker = Broker::start().unwrap();
    let layout = DOOR.replace("\"cellar/ripening/climate\" pick: column(1)", "\"cellar/+/climate\" pick: column(1)");
    let cellar = Cellar::new(&layout);
    let mut run = cellar.run(broker.v3(), &[]);
    run.says("subscribed to cellar/+/climate, cellar/ripening/climate");
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    let before = run.resident();
    for payload in [&b""[..], b"nan,inf", b"\xff\xfe\0\0", b"1e999,-1e999", b"12.4", b"\x1b[2J,\r\n"] {
        sensor.publish(CLIMATE, payload);
    }
    cellar.shows(&["--state", "temp=faulty", "--state", "rh=faulty"]);
    sensor.publish(CLIMATE, "12.6,90.0");
    cellar.shows(&["--set", "temp=12.6", "--set", "rh=90"]);
    // More than is looked at, and still less than ends the connection.
    sensor.publish(CLIMATE, vec![b'7'; 900_000]);
    run.says("cellar/ripening/climate: a payload of 900000 bytes was dropped, more than the 65536 allowed");
    cellar.shows(&["--state", "temp=faulty", "--state", "rh=faulty"]);
    for shelf in 0..10_000 {
        let payload = if shelf % 2 == 0 { "13.7,80.0" } else { "open?" };
        sensor.publish(&format!("cellar/shelf{shelf}/climate"), payload);
        if shelf % 100 == 99 {
            // A broker drops what a client does not take in time; here every message shall arrive.
            thread::sleep(Duration::from_millis(2));
        }
    }
    sensor.publish(CLIMATE, "11.1,95.0");
    cellar.shows(&["--set", "temp=11.1", "--set", "rh=95"]);
    let grown = run.resident().saturating_sub(before);
    eprintln!("resident before {before} KiB, grown by {grown} KiB after 10,000 topics");
    assert!(grown < 4096, "grown by {grown} KiB");
    assert!(run.is_running());
    let log = run.log();
    assert!(log.lines().count() < 20, "{log}");
    assert!(!log.contains('\x1b'), "{log}");
}

#[test]
fn nothing_changes_and_nothing_wakes_it() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(broker.v3(), &[]);
    run.says("subscribed to");
    Sensor::connect(broker.v3()).publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    // The picture's file has to settle, whose folder is watched.
    thread::sleep(Duration::from_millis(300));
    let before = (run.wake_ups(), run.busy());
    // Beyond everything that is due once after a start.
    thread::sleep(Duration::from_secs(13));
    let (woken, busy) = (run.wake_ups() - before.0, run.busy() - before.1);
    eprintln!("woken {woken} times in 13 s, busy for {busy} ticks");
    assert_eq!(woken, 0);
    assert!(busy <= 1, "who never sleeps is never woken: {busy} ticks");
}
