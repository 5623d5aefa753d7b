//! The beginning and the end: what is refused before anything is shown, and what a panel is left with.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::process::{Command, Output};

use sidelight::demo::Broker;
use sidelight::draw::picture;

use super::kit::{CLIMATE, Cellar, DOOR, SIDELIGHT, Sensor, until};

const GOOD: [&str; 4] = ["--set", "temp=12.4", "--set", "rh=91"];

#[test]
fn signals_end_it_cleanly_with_a_blank_panel_or_its_last_picture() {
    let broker = Broker::start().unwrap();
    for (signal, at_exit) in [("TERM", None), ("INT", Some("blank")), ("TERM", Some("keep"))] {
        let cellar = Cellar::new(DOOR);
        let more: Vec<&str> = at_exit.iter().flat_map(|what| ["--at-exit", what]).collect();
        // Blank means dark, also where dark pixels are the lit ones.
        let inverted = if at_exit == Some("blank") { &["--inverted"][..] } else { &[] };
        let mut run = cellar.run(broker.v3(), &[&more, inverted].concat());
        run.says("subscribed to");
        Sensor::connect(broker.v3()).publish(CLIMATE, "12.4,91.0");
        if inverted.is_empty() {
            cellar.shows(&GOOD);
        } else {
            run.says("rh is live: 91 %");
        }
        run.signal(signal);
        assert_eq!(run.wait().code(), Some(0));
        let left = fs::read(cellar.path("door.png")).unwrap();
        if at_exit == Some("keep") {
            assert_eq!(left, cellar.rendered(&GOOD));
        } else {
            let glass = picture::from_png(&left).unwrap();
            assert!(glass.bytes().iter().all(|byte| *byte == 0), "{glass:?}");
        }
    }
}

#[test]
fn it_ends_while_a_panel_does_not_answer_and_no_broker_is_there() {
    let cellar = Cellar::new(DOOR);
    let arguments = ["run", "door.layout", "--broker", "mqtt://127.0.0.1:1", "--panel", "ssd1306:/nowhere/i2c-1:0x3c"];
    let mut run = cellar.start(&arguments);
    run.says("nothing listens at mqtt://127.0.0.1:1");
    run.says("cannot open /nowhere/i2c-1");
    run.signal("TERM");
    assert_eq!(run.wait().code(), Some(0));
}

fn refused(cellar: &Cellar, arguments: &[&str]) -> String {
    let Output { status, stderr, .. } =
        Command::new(SIDELIGHT).current_dir(cellar.folder.path()).arg("run").args(arguments).output().unwrap();
    assert_eq!(status.code(), Some(2));
    String::from_utf8(stderr).unwrap()
}

#[test]
fn what_cannot_work_is_refused_before_anything_is_shown() {
    let cellar = Cellar::new(&DOOR.replace("temp over", "tmp over"));
    let with = |more: &[&'static str]| {
        [&["door.layout", "--broker", "mqtt://b", "--panel", "picture:door.png"], more].concat()
    };
    let report = refused(&cellar, &with(&[]));
    assert!(report.contains("door.layout:11:11") && report.contains("cannot be shown as it is"), "{report}");
    assert!(!cellar.path("door.png").exists());
    fs::write(cellar.path("door.layout"), DOOR).unwrap();
    fs::write(cellar.path("secret"), "geheim").unwrap();
    for (arguments, words) in [
        (
            with(&["--panel", "picture:door.png"]),
            "picture:door.png is given twice; each panel needs a place of its own",
        ),
        (with(&["--panel", "sh1106:/dev/i2c-1"]), "SH1106 panels of 128x32 are not supported; use 128x64"),
        (with(&["--panel", "door.png"]), "`door.png` names no panel: write ssd1306:/dev/i2c-1:0x3c"),
        (with(&["--password-file", "secret"]), "--user <NAME>"),
        (with(&["--user", "door", "--password-file", "none"]), "cannot read the password file none: "),
        (with(&["--ca-file", "none"]), "cannot read the certificate file none: "),
        (with(&["--client-id", ""]), "the client id has 0 bytes"),
        (with(&["--keep-alive", "4"]), "--keep-alive <SECONDS>"),
        (with(&["--qos", "2"]), "--qos <LEVEL>"),
        (with(&["--protocol", "4"]), "[possible values: 3.1.1, 5]"),
        (with(&["--config", "sidelight.toml"]), "cannot be used with"),
        (vec!["--config", "sidelight.toml"], "cannot read sidelight.toml: "),
        (vec!["none.layout", "--broker", "mqtt://b", "--panel", "picture:door.png"], "cannot read none.layout: "),
        (vec![], "--broker <URL>"),
    ] {
        let told = refused(&cellar, &arguments);
        assert!(told.contains(words), "{arguments:?}: {told}");
    }
    let told = refused(&cellar, &["door.layout", "--broker", "mqtt://door:geheim@b", "--panel", "picture:door.png"]);
    assert!(told.contains("put the password in a password file") && !told.contains("geheim"), "{told}");
    fs::write(cellar.path("sidelight.toml"), "[broker]\nurl = \"mqtt://b\"\npasword = \"geheim\"\n").unwrap();
    let told = refused(&cellar, &["--config", "sidelight.toml"]);
    assert!(told.contains("sidelight.toml:3:1: unknown field `pasword`") && !told.contains("geheim"), "{told}");
}

/// Device and inode of standard error are in `JOURNAL_STREAM`, and each line begins with its priority (systemd.exec(5) and
/// sd-daemon(3), from memory).
#[test]
fn in_the_journal_lines_have_a_priority_and_no_time() {
    let cellar = Cellar::new(DOOR);
    let log = fs::File::create(cellar.path("journal")).unwrap();
    let about = log.metadata().unwrap();
    for (inode, journal) in [(about.ino(), true), (about.ino() + 1, false)] {
        log.set_len(0).unwrap();
        let ended = Command::new(SIDELIGHT)
            .current_dir(cellar.folder.path())
            .args(["run", "door.layout", "--broker", "mqtt://127.0.0.1:1", "--panel", "picture:attic/door.png"])
            .env("JOURNAL_STREAM", format!("{}:{inode}", about.dev()))
            .stderr(log.try_clone().unwrap())
            .spawn();
        let mut child = ended.unwrap();
        let text = || fs::read_to_string(cellar.path("journal")).unwrap();
        until("the line", || text().contains("nothing listens at mqtt://127.0.0.1:1"));
        child.kill().unwrap();
        child.wait().unwrap();
        let text = text();
        assert_eq!(text.trim_start_matches('\0').lines().all(|line| line.starts_with("<4>")), journal, "{text}");
    }
}
