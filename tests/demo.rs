//! The demo with the real program: it shows something by itself, in words where there is no terminal, and leaves nothing behind.
#![cfg(feature = "demo")]

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use sidelight::draw::picture;

fn demo(folder: &std::path::Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sidelight"));
    command.current_dir(folder).arg("demo").stdin(Stdio::null());
    command
}

#[test]
fn it_ends_by_itself_prints_words_and_leaves_a_picture() {
    let folder = tempfile::tempdir().unwrap();
    let start = Instant::now();
    let ended = demo(folder.path()).args(["--seconds", "3", "--picture", "door.png"]).output().unwrap();
    let took = start.elapsed();
    let Output { status, stdout, stderr } = ended;
    assert!(status.success() && took >= Duration::from_secs(3) && took < Duration::from_secs(10), "{took:?}");
    let words = String::from_utf8(stdout).unwrap();
    assert!(words.starts_with("The broker listens at mqtt://127.0.0.1:"), "{words}");
    assert!(words.contains("connected to the broker\n"), "{words}");
    // The first reading after the supply comes on fails.
    let first = "cellar/ripening/climate \"nan,nan\" -> ripening: ––.–° (faulty), ––% (faulty)\n";
    assert!(words.contains(first), "{words}");
    assert!(!words.contains('\x1b'), "no escape sequences where there is no terminal");
    assert_eq!(String::from_utf8(stderr).unwrap(), "");
    let glass = picture::from_png(&fs::read(folder.path().join("door.png")).unwrap()).unwrap();
    assert!(glass.bytes().iter().any(|byte| *byte != 0), "{glass:?}");
}

#[test]
fn a_layout_of_ones_own_may_be_edited_while_it_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("tank.layout");
    let layout = "panel 128x32\nreading t from: \"cellar/brine/tank\" pick: pointer(\"/temperature\") unit: °C range: -5..30\n\
                  screen s { text \"{t:.1}°C\" size: fit }\n";
    fs::write(&file, layout).unwrap();
    let mut child =
        demo(folder.path()).args(["tank.layout", "--seconds", "15"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let mut next =
        |words: &str| lines.find(|line| line.contains(words)).unwrap_or_else(|| panic!("no line says {words}"));
    next("Edit tank.layout to change the screen.");
    assert!(next("s: 11.").contains("cellar/brine/tank"));
    fs::write(&file, layout.replace("{t:.1}°C", "{t:.0} Celsius")).unwrap();
    next("tank.layout changed");
    fs::write(&file, layout.replace("size: fit", "siz: fit")).unwrap();
    next("tank.layout:3:28: ");
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
fn whoever_has_read_enough_ends_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = demo(folder.path()).args(["--seconds", "60"]).stdout(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let start = Instant::now();
    assert!(child.wait().unwrap().success());
    assert!(start.elapsed() < Duration::from_secs(30));
}

#[test]
fn a_layout_with_a_mistake_is_reported_before_anything_starts() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("door.layout"), "panel 128x32\nscreen s { text }\n").unwrap();
    let Output { status, stdout, stderr } = demo(folder.path()).arg("door.layout").output().unwrap();
    assert_eq!((status.code(), stdout.len()), (Some(2), 0));
    assert!(String::from_utf8(stderr).unwrap().contains("door.layout:2:"));
}
