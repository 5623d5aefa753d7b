//! Started by a supervisor, the program says when it is ready, how it is, and that it is alive (sd_notify(3), from memory).

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::time::{Duration, Instant};

use sidelight::demo::Broker;

use super::kit::{Cellar, DOOR, Running};

const PATIENCE: Duration = Duration::from_secs(20);

struct Supervisor(UnixDatagram);

impl Supervisor {
    /// Starts `run` with a panel here and these variables.
    fn start(cellar: &Cellar, broker: &str, panel: &str, variables: &[(&str, &str)]) -> (Self, Running) {
        let path = cellar.path("notify");
        let socket = UnixDatagram::bind(&path).unwrap();
        let address = ("NOTIFY_SOCKET", path.to_str().unwrap());
        let arguments = ["run", "door.layout", "--broker", broker, "--panel", panel];
        let running = cellar.start_with(&[&[address], variables].concat(), &arguments);
        (Self(socket), running)
    }

    /// The next word within some time.
    fn word(&self, within: Duration) -> Option<String> {
        self.0.set_read_timeout(Some(within.max(Duration::from_millis(1)))).unwrap();
        let mut bytes = [0; 4096];
        let length = self.0.recv(&mut bytes).ok()?;
        Some(String::from_utf8(bytes[..length].to_vec()).unwrap())
    }

    /// Waits for a word that begins so, and tells the words before it as well.
    fn hears(&self, wanted: &str) -> Vec<String> {
        let (mut words, end) = (Vec::new(), Instant::now() + PATIENCE);
        loop {
            let Some(word) = self.word(end.saturating_duration_since(Instant::now())) else {
                panic!("{wanted} did not come after {words:?}")
            };
            let found = word.starts_with(wanted);
            words.push(word);
            if found {
                return words;
            }
        }
    }
}

#[test]
fn it_is_ready_with_its_first_picture_and_says_when_it_reloads_and_ends() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let url = format!("mqtt://{}", broker.v3());
    let (supervisor, mut running) = Supervisor::start(&cellar, &url, "picture:door.png", &[]);
    let words = supervisor.hears("READY=1");
    assert!(cellar.path("door.png").exists(), "the picture comes first");
    assert!(words.iter().all(|word| word == "READY=1" || word.starts_with("STATUS=")), "{words:?}");
    running.says("subscribed to");
    // A broker that answers fast may have done so before the picture was written.
    let connected = "STATUS=connected; readings: 2 waiting; panels: 1 shows";
    if !words.iter().any(|word| word.starts_with(connected)) {
        let told = supervisor.hears(connected);
        assert!(!told.iter().any(|word| word == "WATCHDOG=1"), "nobody asked for signs of life");
    }
    running.signal("HUP");
    let words = supervisor.hears("RELOADING=1");
    assert!(!words.iter().any(|word| word == "READY=1"), "{words:?}");
    supervisor.hears("READY=1");
    running.signal("TERM");
    supervisor.hears("STOPPING=1");
    assert_eq!(running.wait().code(), Some(0));
}

#[test]
fn a_panel_that_does_not_answer_keeps_nothing_from_starting() {
    let cellar = Cellar::new(DOOR);
    let (supervisor, running) = Supervisor::start(&cellar, "mqtt://127.0.0.1:1", "ssd1306:/nowhere/i2c-1:0x3c", &[]);
    supervisor.hears("READY=1");
    running.says("cannot open /nowhere/i2c-1");
    supervisor.hears("STATUS=no connection to the broker; readings: 2 waiting; panels: 1 trouble");
}

#[test]
fn signs_of_life_come_in_half_the_time_and_wake_nothing_more() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let url = format!("mqtt://{}", broker.v3());
    let (supervisor, running) = Supervisor::start(&cellar, &url, "picture:door.png", &[("WATCHDOG_USEC", "1000000")]);
    supervisor.hears("STATUS=connected; readings: 2 waiting; panels: 1 shows");
    supervisor.hears("WATCHDOG=1");
    let (begun, before) = (Instant::now(), running.wake_ups());
    let mut last = begun;
    let mut signs = 0;
    while signs < 6 {
        supervisor.hears("WATCHDOG=1");
        assert!(last.elapsed() < Duration::from_secs(1), "the supervisor would have killed it");
        last = Instant::now();
        signs += 1;
    }
    let (took, woken) = (begun.elapsed(), running.wake_ups() - before);
    assert!(took > Duration::from_millis(2500), "six signs in {took:?}");
    // The runtime's timer looks once in between while it waits long.
    assert!(woken <= 2 * signs + 3, "{woken} wake-ups for {signs} signs of life");
}

#[test]
fn signs_of_life_that_another_process_owes_are_not_given() {
    let cellar = Cellar::new(DOOR);
    let variables = [("WATCHDOG_USEC", "200000"), ("WATCHDOG_PID", "1")];
    let (supervisor, _running) = Supervisor::start(&cellar, "mqtt://127.0.0.1:1", "picture:door.png", &variables);
    supervisor.hears("READY=1");
    let end = Instant::now() + Duration::from_millis(600);
    while let Some(word) = supervisor.word(end.saturating_duration_since(Instant::now())) {
        assert_ne!(word, "WATCHDOG=1");
    }
}

#[test]
fn a_socket_that_is_none_is_refused() {
    let cellar = Cellar::new(DOOR);
    let long = "x".repeat(200);
    let arguments = ["run", "door.layout", "--broker", "mqtt://127.0.0.1:1", "--panel", "picture:door.png"];
    let mut running = cellar.start_with(&[("NOTIFY_SOCKET", &long)], &arguments);
    assert_eq!(running.wait().code(), Some(2));
    running.says("cannot speak with the supervisor in NOTIFY_SOCKET: ");
    assert!(fs::metadata(cellar.path("door.png")).is_err());
}
