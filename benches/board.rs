//! What the program asks of a small board, as a table beside its bars: size and memory of the device build, the time from start to
//! first picture and from a message to the glass, and how often silence wakes it.
//!
//! The device build is measured where it lies, `target/device/release/sidelight` or what `SIDELIGHT_DEVICE_BUILD` says; without it its
//! rows are left out. It has no panel here, so that what it tries is a device file that is not there. The table takes two minutes.

use std::fs;
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use sidelight::demo::Broker as Embedded;
use sidelight::draw::Size;
use sidelight::panel::{Controller, Driver, EmulatedPanel, Setup};
use sidelight::readings::Moment;
use sidelight::service::{AtExit, Broker, Happening, Outlet, Refresh, Service, Show, Source, Trouble, Witness, Writer};

#[allow(dead_code)]
#[path = "../tests/run/kit.rs"]
mod kit;

use kit::{CLIMATE, Cellar, DOOR, Running, Sensor, until};

const MIB: u64 = 1 << 20;
/// Starts, and messages to a glass.
const STARTS: usize = 30;
const MESSAGES: usize = 2000;
/// For how long nothing is published.
const SILENCE: Duration = Duration::from_secs(90);

fn row(what: &str, measured: impl AsRef<str>, bar: &str) {
    println!("{what:58} {:>22}  {bar}", measured.as_ref());
}

/// The number below which so many of a hundred lie.
fn percentile(sorted: &[Duration], percent: usize) -> Duration {
    sorted[(sorted.len() * percent / 100).min(sorted.len() - 1)]
}

fn device_build(broker: &Embedded) {
    let given = std::env::var("SIDELIGHT_DEVICE_BUILD");
    let program = given.unwrap_or(concat!(env!("CARGO_MANIFEST_DIR"), "/target/device/release/sidelight").into());
    let Ok(about) = fs::metadata(&program) else {
        println!("left out: there is no device build at {program}; `.ci/run` makes one");
        return;
    };
    row("device build, stripped", format!("{} bytes", about.len()), &format!("at most {} (6 MiB)", 6 * MIB));
    let cellar = Cellar::new(DOOR);
    let url = format!("mqtt://{}", broker.v3());
    let line = [&program, "run", "door.layout", "--broker", &url, "--panel", "ssd1306:/nowhere/i2c-1:0x3c"];
    let firsts: Vec<Duration> =
        (0..STARTS).map(|_| Running::start(cellar.folder.path(), &line).says("cannot open /nowhere")).collect();
    row("its start to the first frame for a bus", median(firsts), "at most 50 ms");
    let run = Running::start(cellar.folder.path(), &line);
    run.says("subscribed to");
    let mut sensor = Sensor::connect(broker.v3());
    for number in 0..MESSAGES {
        sensor.publish(CLIMATE, payload(number));
        thread::sleep(Duration::from_millis(1));
    }
    let (resident, bar) = (run.resident() as f64 / 1024.0, "at most 8 MiB");
    row(&format!("its memory after {MESSAGES} messages"), format!("{resident:.2} MiB"), bar);
}

fn median(mut times: Vec<Duration>) -> String {
    times.sort();
    format!(
        "{:.1} ms, most {:.1}",
        1e3 * percentile(&times, 50).as_secs_f64(),
        1e3 * times[times.len() - 1].as_secs_f64()
    )
}

fn payload(number: usize) -> String {
    format!("{:.1},{}", 8.0 + (number % 80) as f64 / 10.0, 60 + number % 40)
}

fn starts(broker: &Embedded) {
    let first = |_| {
        let cellar = Cellar::new(DOOR);
        let begun = Instant::now();
        let _run = cellar.run(broker.v3(), &[]);
        until("the picture", || cellar.path("door.png").exists());
        begun.elapsed()
    };
    row("whole program, start to first picture in a file", median((0..STARTS).map(first).collect()), "at most 50 ms");
}

/// Nothing grows old in it, so that nothing changes.
fn silence(broker: &Embedded) {
    let cellar = Cellar::new(&DOOR.replace("stale: 45s", "stale: never"));
    let run: Running = cellar.run(broker.v3(), &[]);
    run.says("subscribed to");
    Sensor::connect(broker.v3()).publish(CLIMATE, payload(1));
    run.says("rh is live");
    thread::sleep(Duration::from_secs(2));
    let before = run.wake_ups();
    thread::sleep(SILENCE);
    let wakes = run.wake_ups() - before;
    row(&format!("wake-ups in {} s of silence", SILENCE.as_secs()), wakes.to_string(), "the MQTT keep-alive's");
}

/// An emulated panel that tells when the last byte of an update has come.
struct Glass(Sender<Instant>);

impl Outlet for Glass {
    type Bus = EmulatedPanel;

    fn open(&mut self, size: Size) -> Result<Driver<EmulatedPanel>, Trouble> {
        let panel = EmulatedPanel::new(Controller::Ssd1306, size, 0x3c, 1);
        Ok(Driver::new(panel, 0x3c, Setup::new(Controller::Ssd1306, size))?)
    }

    fn updated(&mut self, _bus: &EmulatedPanel) -> Result<(), Trouble> {
        let _ = self.0.send(Instant::now());
        Ok(())
    }
}

/// Tells when everything is subscribed.
struct Subscribed(Sender<()>);

impl Witness for Subscribed {
    fn see(&mut self, _now: Moment, happening: Happening<'_>) {
        if matches!(happening, Happening::Subscribed { .. }) {
            let _ = self.0.send(());
        }
    }
}

/// The service in a thread of its own, on an emulated bus; what comes are the moments at which it has written an update.
fn service(broker: &Embedded, layout: &Path) -> (Receiver<Instant>, Receiver<()>) {
    let (glass, updates) = channel();
    let (told, subscribed) = channel();
    let (url, source) = (format!("mqtt://{}", broker.v3()), Source::File(layout.into()));
    thread::spawn(move || {
        let loaded = source.load().expect("the layout is there");
        let program = loaded.program.clone().expect("the ready layouts are clean");
        let setup = Setup::new(Controller::Ssd1306, program.size);
        let writer = Writer::start("glass".into(), setup, Glass(glass), AtExit::Keep, Refresh::NEVER, None);
        let show = Show::new(source, &loaded, program, vec![writer.expect("a thread")]);
        let mut random = fastrand::Rng::with_seed(1);
        let settings = Broker::at(url.parse().expect("a good URL")).settings(&mut random).expect("no files");
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(async {
            let service = Service::new(settings, vec![show], random).expect("good settings");
            service.run(&mut Subscribed(told), std::future::pending()).await
        })
    });
    (updates, subscribed)
}

fn latency(broker: &Embedded) {
    let cellar = Cellar::new(DOOR);
    let (updates, subscribed) = service(broker, &cellar.path("door.layout"));
    subscribed.recv_timeout(Duration::from_secs(10)).expect("a subscription");
    thread::sleep(Duration::from_millis(100));
    updates.try_iter().for_each(drop);
    let mut sensor = Sensor::connect(broker.v3());
    let mut times: Vec<Duration> = (0..MESSAGES)
        .map(|number| {
            // Not in step with anything.
            thread::sleep(Duration::from_micros(2000 + 37 * (number as u64 % 50)));
            let begun = Instant::now();
            sensor.publish(CLIMATE, payload(number));
            updates.recv_timeout(Duration::from_secs(10)).expect("an update") - begun
        })
        .collect();
    times.sort();
    let shown = [50, 99].map(|percent| format!("{:.2} ms", 1e3 * percentile(&times, percent).as_secs_f64()));
    row("publish to the last byte on an emulated bus: 50 %, 99 %", shown.join(", "), "99 % under 5 ms");
}

fn main() {
    let broker = Embedded::start().expect("a broker on loopback");
    row("what", "measured", "bar");
    device_build(&broker);
    starts(&broker);
    latency(&broker);
    silence(&broker);
}
