//! Many doors at one broker: as many real programs as `SIDELIGHT_DOORS` says, to which `publish` sends a layout, and back the old one.
//! Prints how long it took until all showed it, and the memory of a door. (Promise: the file is the screen.)
//!
//! The test has every door's process, a connection for each in the broker of its own process, and an open file or two: `ulimit -n`
//! must allow for them.
#![cfg(all(feature = "demo", feature = "publish"))]

use std::fs::{self, File};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use sidelight::demo::Broker;
use sidelight::feed::{Event, Filter, Session, Settings};
use tempfile::TempDir;

const SIDELIGHT: &str = env!("CARGO_BIN_EXE_sidelight");
const DOOR: &str = include_str!("../../layouts/ripening-door.layout");
const DOORS: usize = 20;
/// For everything that all doors do together.
const PATIENCE: Duration = Duration::from_secs(300);
/// Doors that begin at a time, so that no start takes so long that the broker gives it up.
const AT_A_TIME: usize = 50;

/// A door with a folder of its own; killed at the latest when the test ends.
struct Door {
    folder: PathBuf,
    child: Child,
}

impl Door {
    fn start(all: &TempDir, number: usize, broker: SocketAddr) -> Self {
        let folder = all.path().join(number.to_string());
        fs::create_dir(&folder).unwrap();
        fs::write(folder.join("door.layout"), DOOR).unwrap();
        let child = Command::new(SIDELIGHT)
            .current_dir(&folder)
            .args(["run", "door.layout", "--panel", "picture:door.png", "--broker", &format!("mqtt://{broker}")])
            .args(["--door", &format!("cellar/doors/{number}")])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(File::create(folder.join("log")).unwrap())
            .spawn()
            .unwrap();
        Self { folder, child }
    }

    fn log(&self) -> String {
        fs::read_to_string(self.folder.join("log")).unwrap_or_default()
    }

    fn shows(&self, picture: &[u8]) -> bool {
        fs::read(self.folder.join("door.png")).is_ok_and(|png| png == picture)
    }

    /// Memory of the process in KiB, of shared pages a share (proc(5), `smaps_rollup`): in all, and what it shares with nobody.
    fn memory(&self) -> (u64, u64) {
        let rollup = fs::read_to_string(format!("/proc/{}/smaps_rollup", self.child.id())).unwrap();
        let sum = |names: &[&str]| {
            let lines = rollup.lines().filter_map(|line| line.split_once(':'));
            let wanted = lines.filter(|(name, _)| names.contains(name));
            wanted.map(|(_, rest)| rest.trim().trim_end_matches(" kB").parse::<u64>().unwrap()).sum()
        };
        (sum(&["Pss"]), sum(&["Private_Clean", "Private_Dirty"]))
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn until(what: &str, mut done: impl FnMut() -> bool) -> Duration {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < PATIENCE, "{what}: did not happen");
        thread::sleep(Duration::from_millis(20));
    }
    start.elapsed()
}

/// What `render` makes of a layout to which nothing was sent yet.
fn picture(layout: &str) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("door.layout"), layout).unwrap();
    let done = Command::new(SIDELIGHT)
        .current_dir(folder.path())
        .args(["render", "door.layout", "--out", "door.png"])
        .output()
        .unwrap();
    assert!(done.status.success(), "{done:?}");
    fs::read(folder.path().join("door.png")).unwrap()
}

/// Counts the doors that answer, from before the first one is there.
fn count_answers(broker: SocketAddr) -> std::sync::Arc<std::sync::atomic::AtomicUsize> {
    let mut random = fastrand::Rng::new();
    let settings = Settings::new(format!("mqtt://{broker}").parse().unwrap(), &mut random);
    let filters = vec![Filter::new("cellar/doors/+/layout/answer").unwrap()];
    let count = std::sync::Arc::<std::sync::atomic::AtomicUsize>::default();
    let counted = std::sync::Arc::clone(&count);
    let (ready, subscribed) = std::sync::mpsc::channel();
    thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let mut session = Session::new(&settings, filters, random).unwrap();
            let mut doors = std::collections::BTreeSet::new();
            loop {
                match session.next().await {
                    Event::Subscribed => ready.send(()).unwrap(),
                    Event::Message(message) => {
                        doors.insert(message.topic);
                        counted.store(doors.len(), std::sync::atomic::Ordering::Relaxed);
                    }
                    _ => {}
                }
            }
        });
    });
    subscribed.recv_timeout(Duration::from_secs(20)).unwrap();
    count
}

#[test]
fn all_doors_show_what_is_published_and_go_back() {
    let number = std::env::var("SIDELIGHT_DOORS").map_or(DOORS, |text| text.parse().unwrap());
    let broker = Broker::start_for(number + 16).unwrap();
    let answered = count_answers(broker.v3());
    let count = || answered.load(std::sync::atomic::Ordering::Relaxed);
    let all = tempfile::tempdir().unwrap();
    let (start, mut doors) = (Instant::now(), Vec::new());
    while doors.len() < number {
        let next = AT_A_TIME.min(number - doors.len());
        let first = doors.len();
        doors.extend((first..first + next).map(|number| Door::start(&all, number, broker.v3())));
        until("the doors' first answers", || {
            let gone = doors.iter_mut().find_map(|door| door.child.try_wait().unwrap().map(|_| door.log()));
            assert_eq!(gone, None, "a door ended");
            count() >= doors.len()
        });
    }
    eprintln!("{number} doors at one broker, all there after {:.1?}", start.elapsed());
    let other = DOOR.replace("gap: 10", "gap: 4");
    for (name, layout) in [("a new layout", &other), ("back to the old one", &DOOR.to_string())] {
        fs::write(all.path().join("new.layout"), layout).unwrap();
        let wanted = picture(layout);
        let start = Instant::now();
        let done = Command::new(SIDELIGHT)
            .current_dir(all.path())
            .args(["publish", "new.layout", "--doors", "cellar/doors/+", "--within", "10min"])
            .args(["--broker", &format!("mqtt://{}", broker.v3())])
            .output()
            .unwrap();
        let table = String::from_utf8(done.stdout).unwrap();
        let end = start.elapsed();
        until("the pictures", || doors.iter().all(|door| door.shows(&wanted)));
        assert_eq!(done.status.code(), Some(0), "{table}{}", String::from_utf8_lossy(&done.stderr));
        let mut times: Vec<u64> = table
            .lines()
            .skip(1)
            .take(number)
            .map(|line| line.split_whitespace().nth(1).unwrap().parse().unwrap())
            .collect();
        times.sort_unstable();
        assert_eq!(times.len(), number);
        eprintln!(
            "{name}: answered after {} ms (half), {} ms (all); `publish` took {end:.1?}, of which it listened for doors for 1 s",
            times[number / 2],
            times[number - 1]
        );
        for door in &doors {
            assert_eq!(&fs::read_to_string(door.folder.join("door.layout")).unwrap(), layout, "{}", door.log());
        }
    }
    let memory: Vec<(u64, u64)> = doors.iter().map(Door::memory).collect();
    let (pss, private) = memory.iter().fold((0, 0), |sum, of| (sum.0 + of.0, sum.1 + of.1));
    eprintln!(
        "memory a door: {} KiB with its share of what all use, {} KiB of its own",
        pss / number as u64,
        private / number as u64
    );
    let unwatched = doors.iter().filter(|door| door.log().contains("changed layouts will not be seen")).count();
    eprintln!("doors that the system gave no watch of their layout file: {unwatched}");
}
