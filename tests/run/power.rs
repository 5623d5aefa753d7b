//! The supply goes at any time, disks fill up, folders cannot be written: files are whole or ignored, the log says it, and on it goes.
//!
//! `SIDELIGHT_KILLS=1000` kills a thousand times instead of a few, `SIDELIGHT_SEED` repeats the times by chance as far as machines do.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use sidelight::demo::Broker;
use sidelight::draw::picture;
use sidelight::readings::history::Stored;

use super::kit::{CLIMATE, Cellar, Sensor};

const PAST: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40\n\
    screen s { text \"{highest(temp, 24h):.1} {temp:.1}\" size: 12 }\n";

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok().map(|text| text.parse().unwrap_or_else(|_| panic!("{name} is a number")))
}

/// Names in a folder that begin with a dot: temporary files.
fn left_over(folder: &Path) -> usize {
    let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    names.filter(|name| name.as_encoded_bytes().starts_with(b".")).count()
}

#[test]
fn killed_at_any_time_it_leaves_whole_files() {
    let (kills, seed) = (number("SIDELIGHT_KILLS").unwrap_or(20), number("SIDELIGHT_SEED").unwrap_or(7));
    println!("SIDELIGHT_SEED={seed}");
    let mut random = fastrand::Rng::with_seed(seed);
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(PAST);
    let mut sensor = Sensor::connect(broker.v3());
    let (mut whole, mut none, mut unfinished) = (0, 0, 0);
    for kill in 0..kills {
        let run = cellar.run(broker.v3(), &["--state", "past", "--at-exit", "keep"]);
        if random.u32(..4) == 0 {
            // While it begins.
            sleep(Duration::from_micros(random.u64(..60_000)));
        } else {
            run.says("subscribed to");
            sensor.publish(CLIMATE, format!("{:.1}", 10.0 + (kill % 100) as f64 / 10.0));
            run.says("temp is live");
            // While it writes its last.
            run.signal("TERM");
            sleep(Duration::from_micros(random.u64(..6_000)));
        }
        run.signal_if_there("KILL");
        drop(run);
        match fs::read(cellar.path("past")) {
            Ok(bytes) => {
                Stored::decode(&bytes).unwrap_or_else(|problem| panic!("after kill {kill}: {problem}"));
                whole += 1;
            }
            Err(_) => none += 1,
        }
        if let Ok(png) = fs::read(cellar.path("door.png")) {
            picture::from_png(&png).unwrap_or_else(|problem| panic!("after kill {kill}: {problem}"));
        }
        let left = left_over(cellar.folder.path());
        unfinished += usize::from(left > 0);
        assert!(left <= 3, "{left} temporary files are left over after kill {kill}");
    }
    println!(
        "{kills} kills: the past was whole {whole} times and not there yet {none} times; unfinished beside it {unfinished} times"
    );
    let mut run = cellar.run(broker.v3(), &["--state", "past"]);
    run.says("subscribed to");
    assert_eq!(left_over(cellar.folder.path()), 0, "what was left is swept");
    run.signal("TERM");
    assert_eq!(run.wait().code(), Some(0));
}

/// A small disk of its own, for those who may mount one.
struct Disk(PathBuf);

impl Disk {
    fn mount(at: PathBuf) -> Option<Self> {
        fs::create_dir(&at).unwrap();
        let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", "size=16k", "none"]).arg(&at).output();
        mounted.is_ok_and(|ended| ended.status.success()).then_some(Self(at))
    }

    fn remount(&self, how: &str) {
        let ended = Command::new("mount").args(["-o", &format!("remount,{how}")]).arg(&self.0).status().unwrap();
        assert!(ended.success());
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_and_one_that_cannot_be_written_are_told_and_on_it_goes() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(PAST);
    let Some(disk) = Disk::mount(cellar.path("disk")) else {
        println!("left out: a full disk and a read-only one, since this user may mount none");
        return;
    };
    fs::write(cellar.path("disk/filler"), vec![1; 8 << 10]).unwrap();
    let _ = fs::write(cellar.path("disk/rest"), vec![1; 64 << 10]);
    let more = ["--panel", "picture:disk/door.png", "--panel", "ssd1306:disk:0x3c", "--state", "disk/past"];
    let mut run = cellar.run(broker.v3(), &more);
    run.says("cannot write disk/door.png: No space left on device");
    run.says("ssd1306:disk:0x3c: cannot open disk: Is a directory");
    run.says("subscribed to");
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish(CLIMATE, "12.0");
    run.says("temp is live: 12 °C");
    fs::remove_file(cellar.path("disk/rest")).unwrap();
    run.says("picture:disk/door.png: shows its picture again");
    disk.remount("ro");
    sensor.publish(CLIMATE, "13.0");
    run.says("cannot write disk/door.png: Read-only file system");
    run.signal("TERM");
    assert_eq!(run.wait().code(), Some(0));
    run.says("cannot keep the past in disk/past: ");
    // From the beginning on.
    let mut run = cellar.run(broker.v3(), &["--state", "disk/past"]);
    run.says("cannot keep the past in disk/past: Read-only file system");
    run.says("subscribed to");
    sensor.publish(CLIMATE, "14.0");
    run.says("temp is live: 14 °C");
    assert!(run.is_running());
}
