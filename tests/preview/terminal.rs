//! `--terminal` in a terminal of its own, which `script` of util-linux makes: keys in, half blocks out, and the terminal back as it was.

use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use sidelight::draw::picture;
use sidelight::readings::State::Live;

use super::kit::{DOOR, PATIENCE, drawn};

const LEAVE: &str = "\x1b[?1049l";

/// A shell in a terminal that runs the preview between two looks at the terminal's settings.
struct Shell {
    child: std::process::Child,
    keys: std::process::ChildStdin,
    shown: Arc<Mutex<String>>,
    folder: tempfile::TempDir,
}

impl Shell {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("door.layout"), DOOR).unwrap();
        let run = format!(
            "stty rows 50 cols 140; stty -g > before; {} preview door.layout --terminal & echo $! > pid; fg >/dev/null; echo $? > code; stty -g > after",
            env!("CARGO_BIN_EXE_sidelight")
        );
        let mut child = Command::new("script")
            .args(["-q", "-e", "-f", "-c", &format!("exec bash -mc '{run}'"), "/dev/null"])
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let shown = Arc::new(Mutex::new(String::new()));
        let (mut out, into) = (child.stdout.take().unwrap(), Arc::clone(&shown));
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            let mut kept = Vec::new();
            while let Ok(count @ 1..) = out.read(&mut bytes) {
                kept.extend(&bytes[..count]);
                *into.lock().unwrap() = String::from_utf8_lossy(&kept).into_owned();
            }
        });
        Self { keys: child.stdin.take().unwrap(), child, shown, folder }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    fn text(&self) -> String {
        self.shown.lock().unwrap().clone()
    }

    /// Waits until the newest page satisfies.
    fn until(&self, what: &str, satisfied: impl Fn(&str) -> bool) {
        let start = Instant::now();
        while !satisfied(self.text().rsplit("\x1b[H").next().unwrap_or_default()) {
            assert!(start.elapsed() < PATIENCE, "never came: {what}\n{}", self.text());
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    fn shows(&self, readings: [f64; 2]) {
        let frame = drawn(DOOR, &[("temp", readings[0], Live), ("rh", readings[1], Live)]);
        let rows: Vec<String> = picture::half_blocks(&frame).lines().map(|row| format!("│{row}│")).collect();
        self.until("the picture", |page| rows.iter().all(|row| page.contains(row.as_str())));
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.folder.path().join(name)).unwrap_or_default()
    }

    /// Waits for the end: the settings are as before, and the screen was given back.
    fn ends_with(&mut self, code: &str) {
        let start = Instant::now();
        while self.child.try_wait().unwrap().is_none() {
            assert!(start.elapsed() < PATIENCE, "it does not end:\n{}", self.text());
            std::thread::sleep(Duration::from_millis(10));
        }
        assert_eq!(self.read("code").trim(), code);
        assert!(!self.read("before").is_empty());
        assert_eq!(self.read("before"), self.read("after"), "the terminal's settings are others than before");
        assert!(self.text().contains(LEAVE), "the screen was not given back");
    }
}

impl Drop for Shell {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn keys_change_the_picture_and_q_ends_it() {
    let mut shell = Shell::start();
    shell.shows([15.0, 50.0]);
    shell.until("the readings", |page| page.contains("> temp") && page.contains("15 °C  live"));
    shell.press("\x1b[C");
    shell.shows([15.1, 50.0]);
    shell.press("\t\x1b[D");
    shell.shows([15.1, 49.0]);
    shell.press("s");
    shell.until("the state", |page| page.contains("49 %  stale, of unknown age"));
    std::fs::write(shell.folder.path().join("door.layout"), DOOR.replace("bar temp over", "bar tmp over")).unwrap();
    shell.until("the report", |page| page.contains("error[unknown name]") && page.contains("last good picture"));
    shell.press("q");
    shell.ends_with("0");
}

#[test]
fn a_signal_gives_the_terminal_back_too() {
    let mut shell = Shell::start();
    shell.shows([15.0, 50.0]);
    let pid = shell.read("pid");
    assert!(Command::new("kill").args(["-s", "TERM", pid.trim()]).status().unwrap().success());
    shell.ends_with("0");
}

#[test]
fn without_a_terminal_it_says_what_to_do() {
    let done = Command::new(env!("CARGO_BIN_EXE_sidelight"))
        .args(["preview", "layouts/ripening-door.layout", "--terminal"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&done.stderr).contains("wants a terminal"));
}
