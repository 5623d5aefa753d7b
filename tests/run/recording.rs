//! What is published is seen, kept and played back: `listen`, `record`, `replay` and `check --against` with a real broker, real
//! kills and real files.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use jiff::Timestamp;
use jiff::tz::Offset;
use sidelight::demo::{Broker, Cellar};
use sidelight::draw::picture;
use sidelight::feed::{Delivery, Message};
use sidelight::recording::{Entry, Header, Heard, Reader, Stamp, Writer, open};

use super::kit::{CLIMATE, DOOR, SIDELIGHT, Sensor, until};

fn sidelight(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(SIDELIGHT).current_dir(folder).args(arguments).stdin(Stdio::null()).output().unwrap()
}

/// The program at work, with its output in files of the folder.
fn start(folder: &Path, arguments: &[&str]) -> Child {
    let file = |name: &str| File::create(folder.join(name)).unwrap();
    Command::new(SIDELIGHT)
        .current_dir(folder)
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(file("stdout"))
        .stderr(file("stderr"))
        .spawn()
        .unwrap()
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap()
}

fn listens(folder: &Path) {
    until("the subscription", || read(folder, "stderr").contains("listening to"));
}

fn interrupt(child: &mut Child) {
    assert!(Command::new("kill").args(["-s", "INT", &child.id().to_string()]).status().unwrap().success());
    assert!(child.wait().unwrap().success());
}

fn messages(file: &Path) -> (Vec<Message>, bool) {
    let mut reader = open(file).unwrap();
    let message = |entry: Entry| match entry.heard {
        Heard::Message(message) => Some(message),
        _ => None,
    };
    let messages = reader.by_ref().filter_map(|entry| message(entry.unwrap())).collect();
    (messages, reader.cut().is_some())
}

/// Three seconds of 10,000 messages each, a hundred topics.
fn flood(broker: &Broker) -> u64 {
    let mut sensor = Sensor::connect(broker.v3());
    let start = Instant::now();
    for hundredth in 0..300_u64 {
        for shelf in 0..100 {
            sensor.publish(&format!("cellar/shelf{shelf}/climate"), format!("{}.5,91", hundredth % 40));
        }
        let due = start + Duration::from_millis(10 * (hundredth + 1));
        thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    eprintln!("30,000 messages in {:?}", start.elapsed());
    30_000
}

#[test]
fn ten_thousand_messages_a_second_are_all_seen_and_kept() {
    let broker = Broker::start().unwrap();
    let url = format!("mqtt://{}", broker.v3());
    let (seen, kept) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut listen = start(seen.path(), &["listen", "cellar/#", "--broker", &url]);
    let mut record = start(kept.path(), &["record", "cellar/#", "--broker", &url, "--out", "all.jsonl.gz"]);
    listens(seen.path());
    listens(kept.path());
    let published = flood(&broker);
    // What is on its way.
    thread::sleep(Duration::from_secs(2));
    interrupt(&mut listen);
    interrupt(&mut record);
    let table = read(seen.path(), "stdout");
    assert!(table.contains(&format!("\n{published} messages in ")), "{}", table.lines().last().unwrap());
    let line = table.lines().find(|line| line.starts_with("cellar/shelf7/climate")).unwrap();
    assert_eq!(line.split_whitespace().nth(1), Some("300"), "{line}");
    assert!(table.contains("column(1)                 0.5 to 39.5"), "{table}");
    let (messages, cut) = messages(&kept.path().join("all.jsonl.gz"));
    assert_eq!((messages.len() as u64, cut), (published, false));
    assert!(read(kept.path(), "stderr").contains("all.jsonl.gz: 30000 messages in "));
}

#[test]
fn a_recorder_that_is_killed_at_any_time_leaves_a_file_that_can_be_read() {
    let broker = Broker::start().unwrap();
    let url = format!("mqtt://{}", broker.v3());
    for round in 0..6_u64 {
        let folder = tempfile::tempdir().unwrap();
        let name = if round % 2 == 0 { "all.jsonl.gz" } else { "all.jsonl" };
        let mut record = start(folder.path(), &["record", "cellar/#", "--broker", &url, "--out", name]);
        listens(folder.path());
        let mut sensor = Sensor::connect(broker.v3());
        let life = Duration::from_millis(100 + fastrand::u64(0..2500));
        let (start, mut published, mut sure) = (Instant::now(), 0, 0);
        while start.elapsed() < life {
            sensor.publish(CLIMATE, format!("{published}"));
            published += 1;
            if start.elapsed() + Duration::from_millis(1500) < life {
                sure = published;
            }
            thread::sleep(Duration::from_micros(400));
        }
        record.kill().unwrap();
        record.wait().unwrap();
        let (messages, cut) = messages(&folder.path().join(name));
        let numbers: Vec<u64> =
            messages.iter().map(|message| str::from_utf8(&message.payload).unwrap().parse().unwrap()).collect();
        eprintln!("{name} killed after {life:?}: {} of {published} messages, cut {cut}", numbers.len());
        assert_eq!(numbers, (0..numbers.len() as u64).collect::<Vec<_>>());
        assert!(numbers.len() as u64 >= sure, "{} of {sure} that were flushed", numbers.len());
        // And it can be played.
        fs::write(folder.path().join("door.layout"), DOOR).unwrap();
        let played = sidelight(folder.path(), &["replay", name, "door.layout"]);
        assert!(played.status.success(), "{played:?}");
        assert_eq!(String::from_utf8_lossy(&played.stdout).contains("cut off in line"), cut);
    }
}

#[test]
fn a_layout_from_three_unknown_sensors_checks_clean_and_shows_them() {
    let broker = Broker::start().unwrap();
    let url = format!("mqtt://{}", broker.v3());
    let folder = tempfile::tempdir().unwrap();
    let write = ["--write", "new.layout", "--panel", "128x32"];
    let mut listen = start(folder.path(), &[&["listen", "cellar/#", "--broker", &url][..], &write].concat());
    listens(folder.path());
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish_retained("cellar/ripening/door", "closed");
    for step in 0..5 {
        sensor.publish(CLIMATE, format!("12.{step},9{step}.0"));
        sensor.publish("cellar/brine/tank", format!("{{\"temperature\":11.{step},\"level\":64}}"));
        thread::sleep(Duration::from_millis(50));
    }
    thread::sleep(Duration::from_millis(300));
    interrupt(&mut listen);
    assert!(read(folder.path(), "stderr").contains("new.layout: 5 readings, and it checks clean"));
    let checked = sidelight(folder.path(), &["check", "new.layout"]);
    assert!(checked.status.success(), "{checked:?}");
    assert!(sidelight(folder.path(), &["format", "--check", "new.layout"]).status.success());
    let set = ["--set", "ripening_climate_1=12.4", "--set", "ripening_climate_2=91", "--screen", "page_2"];
    let drawn = sidelight(folder.path(), &[&["render", "new.layout", "--words"][..], &set].concat());
    let words = String::from_utf8(drawn.stdout).unwrap();
    assert!(
        words.contains("live 12.4\n") && words.contains("live 91\n"),
        "{words}\n{}",
        read(folder.path(), "new.layout")
    );
    // It is not overwritten unasked, and that is told before anything is heard.
    let again = sidelight(folder.path(), &[&["listen", "cellar/#", "--broker", &url][..], &write].concat());
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("new.layout is there already"));
}

/// A recording of so much time in the demo's cellar, which is invented.
fn cellar(file: &Path, time: Duration) {
    let stamp = |passed: Duration| Stamp {
        time: Timestamp::from_second(1_795_590_000).unwrap() + passed,
        offset: Offset::from_seconds(3600).unwrap(),
    };
    let header = Header { begun: stamp(Duration::ZERO), filters: vec!["cellar/#".into()] };
    let mut writer = Writer::create(file, false, &header).unwrap();
    let mut cellar = Cellar::new(1);
    loop {
        let now = cellar.next_due();
        if now > time {
            break;
        }
        for publication in cellar.step(now) {
            let message = Message {
                topic: publication.topic.into(),
                payload: publication.payload,
                retained: false,
                delivery: Delivery::AtMostOnce,
            };
            writer.write(&Entry { at: stamp(now), heard: Heard::Message(message) }).unwrap();
        }
    }
    writer.write(&Entry { at: stamp(time), heard: Heard::Ended }).unwrap();
    writer.finish().unwrap();
}

#[test]
fn a_recording_played_twice_gives_the_same_pictures_and_sums() {
    let folder = tempfile::tempdir().unwrap();
    cellar(&folder.path().join("hour.jsonl.gz"), Duration::from_secs(3600));
    fs::write(folder.path().join("door.layout"), DOOR).unwrap();
    let play = |to: &str| {
        let played = sidelight(folder.path(), &["replay", "hour.jsonl.gz", "door.layout", "--to", to, "--scale", "1"]);
        assert!(played.status.success(), "{played:?}");
        (fs::read(folder.path().join(to)).unwrap(), String::from_utf8(played.stdout).unwrap())
    };
    let (one, other) = (play("one.png"), play("two.png"));
    assert!(one.0 == other.0, "the same pictures");
    assert_eq!(one.1, other.1);
    let sums = &one.1;
    assert!(sums.starts_with("hour.jsonl.gz: "), "{sums}");
    // In the first hour the sensor fails, falls silent and comes back.
    let temp = sums.lines().find(|line| line.starts_with("reading temp")).unwrap();
    assert!(temp.contains("live 5") && temp.contains("faulty"), "{sums}");
    assert!(sums.contains(" bytes on the bus\n"), "{sums}");
    // The picture that other viewers show of it is the first.
    let first = picture::from_png(&one.0).unwrap();
    assert!(first.bytes().iter().any(|byte| *byte != 0));
    let short = sidelight(folder.path(), &["replay", "hour.jsonl.gz", "door.layout", "--until", "90s"]);
    assert!(String::from_utf8_lossy(&short.stdout).contains(" in 1 min 30 s\n"), "{short:?}");
}

#[test]
fn too_many_pictures_are_refused_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    cellar(&folder.path().join("hour.jsonl"), Duration::from_secs(20_000));
    fs::write(folder.path().join("door.layout"), DOOR).unwrap();
    let arguments = ["replay", "hour.jsonl", "door.layout", "--to", "a.png", "--every", "1s"];
    let refused = sidelight(folder.path(), &arguments);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("more than 3000 pictures"), "{refused:?}");
    assert!(!folder.path().join("a.png").exists());
}

#[test]
fn a_layout_is_compared_with_what_was_heard() {
    let folder = tempfile::tempdir().unwrap();
    cellar(&folder.path().join("hour.jsonl"), Duration::from_secs(3600));
    let layout = DOOR.replace("stale: 45s", "stale: 2s").replace("column(2)", "column(3)");
    fs::write(folder.path().join("door.layout"), layout).unwrap();
    let checked = sidelight(folder.path(), &["check", "door.layout", "--against", "hour.jsonl", "--json"]);
    assert_eq!(checked.status.code(), Some(1), "{checked:?}");
    let report: serde_json::Value = serde_json::from_slice(&checked.stdout).unwrap();
    let findings = report["findings"].as_array().unwrap();
    let told: Vec<(&str, u64)> =
        findings.iter().map(|finding| (finding["name"].as_str().unwrap(), finding["line"].as_u64().unwrap())).collect();
    for name in ["heard out of range", "heard undecodable", "stale too short"] {
        assert!(told.iter().any(|(told, _)| *told == name), "{name}: {told:?}");
    }
    let stale = findings.iter().find(|finding| finding["name"] == "stale too short").unwrap();
    assert!(stale["message"].as_str().unwrap().contains("the usual interval is 4 s"), "{stale}");
}

#[test]
fn a_full_disk_is_told_in_words() {
    let broker = Broker::start().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let url = format!("mqtt://{}", broker.v3());
    // A device on which nothing can be written (full(4)).
    let arguments = ["record", "cellar/#", "--broker", &url, "--out", "/dev/full", "--force"];
    let refused = sidelight(folder.path(), &arguments);
    assert_eq!(refused.status.code(), Some(2));
    let words = String::from_utf8(refused.stderr).unwrap();
    assert!(words.starts_with("sidelight: the disk is full after 0 messages: "), "{words}");
}

#[test]
fn a_file_that_is_no_recording_is_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("door.layout"), DOOR).unwrap();
    let refused = |bytes: &[u8]| {
        File::create(folder.path().join("a.jsonl")).unwrap().write_all(bytes).unwrap();
        let refused = sidelight(folder.path(), &["replay", "a.jsonl", "door.layout"]);
        assert_eq!(refused.status.code(), Some(2));
        String::from_utf8(refused.stderr).unwrap()
    };
    assert!(refused(b"12.4,91.0\n").contains("this is no recording"));
    assert!(refused(b"").contains("nothing is in it"));
    assert!(
        refused(b"{\"format\":\"sidelight recording\",\"version\":9,\"time\":\"2026-11-25T09:00:00Z\"}\n")
            .contains("version 9")
    );
    // A part of one is one.
    assert!(Reader::new(&b"{\"format\":\"sidelight rec"[..]).is_err());
}
