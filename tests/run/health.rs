//! What other programs are told about an installation: retained messages with a last will, and the page on loopback.

use std::cell::Cell;
use std::fs;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use sidelight::demo::Broker;
use sidelight::feed::{Event, Filter, Message, Session, Settings};

use super::kit::{CLIMATE, Cellar, DOOR, Running, SIDELIGHT, Sensor, until};

const ONLINE: &str = "cellar/doors/ripening/online";
const HEALTH: &str = "cellar/doors/ripening/health";
const PATIENCE: Duration = Duration::from_secs(20);

/// Somebody who listens to a topic, beginning with what the broker kept.
pub struct Ear(pub Receiver<Message>);

impl Ear {
    pub fn on(broker: SocketAddr, topic: &str) -> Self {
        let (mut random, filters) = (fastrand::Rng::new(), vec![Filter::new(topic).unwrap()]);
        let settings = Settings::new(format!("mqtt://{broker}").parse().unwrap(), &mut random);
        let (heard, messages) = channel();
        let (ready, subscribed) = channel();
        thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let mut session = Session::new(&settings, filters, random).unwrap();
                loop {
                    let event = session.next().await;
                    if let Event::Subscribed = event {
                        ready.send(()).unwrap();
                    }
                    let Event::Message(message) = event else { continue };
                    if heard.send(message).is_err() {
                        return;
                    }
                }
            });
        });
        subscribed.recv_timeout(PATIENCE).unwrap();
        Self(messages)
    }

    /// Waits for a message of which this is true.
    pub fn hears(&self, what: &str, wanted: impl Fn(&Message) -> bool) -> Message {
        let end = Instant::now() + PATIENCE;
        loop {
            match self.0.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(message) if wanted(&message) => return message,
                Ok(_) => {}
                Err(_) => panic!("{what}: was not published"),
            }
        }
    }

    /// Waits for a document of which this is true.
    pub fn reads(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let document = |message: &Message| serde_json::from_slice::<Value>(&message.payload).unwrap();
        document(&self.hears(what, |message| wanted(&document(message))))
    }
}

/// `run` by a configuration with documents a second apart.
fn run(cellar: &Cellar, broker: SocketAddr, protocol: &str) -> Running {
    let toml = format!(
        "[broker]\nurl = \"mqtt://{broker}\"\nprotocol = \"{protocol}\"\n\
         [health]\ntopic = \"cellar/doors/ripening\"\napart = 1\n\
         [[panel]]\nplace = \"picture:door.png\"\nlayout = \"door.layout\"\n"
    );
    fs::write(cellar.path("sidelight.toml"), toml).unwrap();
    cellar.start(&["run", "--config", "sidelight.toml"])
}

#[test]
fn who_comes_later_hears_that_it_is_there_and_who_listens_that_it_was_killed() {
    let broker = Broker::start().unwrap();
    for (protocol, address) in [("3.1.1", broker.v3()), ("5", broker.v5())] {
        let cellar = Cellar::new(DOOR);
        let mut running = run(&cellar, address, protocol);
        running.says("subscribed to");
        until("the retained message", || {
            let ear = Ear::on(broker.v3(), ONLINE);
            ear.0
                .recv_timeout(Duration::from_secs(1))
                .is_ok_and(|message| message.retained && message.payload == b"online")
        });
        let ear = Ear::on(broker.v3(), ONLINE);
        running.signal("KILL");
        running.wait();
        ear.hears("the last will", |message| message.payload == b"offline" && !message.retained);
        let kept = Ear::on(broker.v3(), ONLINE).hears("the last will, kept", |_| true);
        assert_eq!((kept.payload.as_slice(), kept.retained), (&b"offline"[..], true));
    }
}

#[test]
fn a_clean_end_is_told_too() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let mut running = run(&cellar, broker.v3(), "3.1.1");
    running.says("subscribed to");
    let ear = Ear::on(broker.v3(), ONLINE);
    running.signal("TERM");
    assert_eq!(running.wait().code(), Some(0));
    ear.hears("the end", |message| message.payload == b"offline");
}

#[test]
fn the_document_follows_what_happens() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let _running = run(&cellar, broker.v3(), "3.1.1");
    let ear = Ear::on(broker.v3(), HEALTH);
    let mut sensor = Sensor::connect(broker.v3());
    let reading = |document: &Value, number: usize| document["layouts"][0]["readings"][number].clone();
    let waiting = ear.reads("the first document", |document| document["panels"][0]["state"] == "shows");
    assert_eq!(reading(&waiting, 0)["state"], "waiting");
    sensor.publish(CLIMATE, "12.4,err");
    let mixed = ear.reads("the readings", |document| reading(document, 1)["state"] == "faulty");
    let none = json!({"undecodable": 0, "too_long": 0, "not_finite": 0, "out_of_range": 0, "jumps": 0});
    assert_eq!(reading(&mixed, 0), json!({"name": "temp", "state": "live", "accepted": 1, "rejected": none}));
    assert_eq!(reading(&mixed, 1)["rejected"]["undecodable"], 1);
    let sum = std::process::Command::new("sha256sum").arg(cellar.path("door.layout")).output().unwrap();
    let sum = String::from_utf8(sum.stdout).unwrap();
    let layout = &mixed["layouts"][0];
    assert_eq!(layout["sha256"].as_str(), sum.split(' ').next());
    assert!(layout["name"].as_str().unwrap().ends_with("door.layout") && layout["broken"] == false, "{layout}");
    assert_eq!((&mixed["version"], &mixed["left_out"]), (&json!(env!("CARGO_PKG_VERSION")), &json!(0)));
    assert_eq!(mixed["link"], json!({"connected": true, "losses": 0, "oversized": 0}));
    let panel = &mixed["panels"][0];
    assert!(
        panel["place"].as_str().unwrap().starts_with("picture:") && panel["bus_bytes"].as_u64() > Some(512),
        "{panel}"
    );
    fs::write(cellar.path("door.layout"), "panel").unwrap();
    let broken = ear.reads("the broken layout", |document| document["layouts"][0]["broken"] == true);
    assert_eq!(broken["layouts"][0]["sha256"], layout["sha256"], "the last good one goes on");
}

#[test]
fn a_flood_of_changes_is_no_flood_of_documents() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let running = run(&cellar, broker.v3(), "3.1.1");
    running.says("subscribed to");
    let ear = Ear::on(broker.v3(), HEALTH);
    let mut sensor = Sensor::connect(broker.v3());
    let begun = Instant::now();
    for number in 0..600 {
        sensor.publish(CLIMATE, if number % 2 == 0 { "err,err" } else { "12.4,91" });
        thread::sleep(Duration::from_millis(5));
    }
    let documents = Cell::new(0);
    ear.reads("the last refusal", |document| {
        documents.set(documents.get() + 1);
        document["layouts"][0]["readings"][0]["rejected"]["undecodable"] == 300
    });
    // One a second, two in advance, and the one that the broker had kept.
    let most = begun.elapsed().as_secs() + 4;
    assert!((3..=most).contains(&documents.get()), "{documents:?} documents, at most {most}");
}

#[test]
fn other_topics_do_not_make_it_look_gone() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let running = run(&cellar, broker.v3(), "3.1.1");
    running.says("subscribed to cellar/ripening/climate");
    let ear = Ear::on(broker.v3(), ONLINE);
    ear.hears("being there", |message| message.payload == b"online");
    fs::write(cellar.path("door.layout"), DOOR.replace(CLIMATE, "cellar/brine/climate")).unwrap();
    running.says("subscribed to cellar/brine/climate");
    // Whether the broker published the last will in between, is up to it.
    let (mut last, mut count) = (b"".to_vec(), 0);
    while let Ok(message) = ear.0.recv_timeout(Duration::from_millis(500)) {
        (last, count) = (message.payload, count + 1);
    }
    assert!(count > 0 && last == b"online", "{count} messages, the last one {last:?}");
}

/// The will of a connection that a power cut ended is published when the broker notices, long after the next start.
#[test]
fn a_late_last_will_is_contradicted() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let running = run(&cellar, broker.v3(), "3.1.1");
    running.says("subscribed to");
    let ear = Ear::on(broker.v3(), ONLINE);
    Sensor::connect(broker.v3()).publish_retained(ONLINE, "offline");
    ear.hears("the late will", |message| message.payload == b"offline");
    ear.hears("the contradiction", |message| message.payload == b"online");
}

fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

fn get(address: SocketAddr, path: &str) -> (String, String) {
    let mut stream = TcpStream::connect(address).unwrap();
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {address}\r\n\r\n").unwrap();
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap();
    (head.to_string(), body.to_string())
}

#[test]
fn the_page_answers_on_loopback_while_others_hold_it_up() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let address = SocketAddr::from(([127, 0, 0, 1], free_port()));
    let running = cellar.run(broker.v3(), &["--health-listen", &address.to_string()]);
    running.says("subscribed to");
    Sensor::connect(broker.v3()).publish(CLIMATE, "12.4,91");
    running.says("rh is live");
    // Some say nothing, some say what is no request; there is a place left.
    let _silent: Vec<TcpStream> = (0..3).map(|_| TcpStream::connect(address).unwrap()).collect();
    let (head, _) = get(address, "/health HTTP/9\r\n");
    assert!(head.starts_with("HTTP/1.1 505 "), "{head}");
    let (head, body) = get(address, "/health");
    assert!(head.starts_with("HTTP/1.1 200 OK\r\n") && head.contains("Content-Type: application/json"), "{head}");
    let document: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(document["layouts"][0]["readings"][1]["state"], "live");
    let (head, body) = get(address, "/metrics");
    assert!(head.contains("application/openmetrics-text; version=1.0.0"), "{head}");
    let sample = |name: &str| body.lines().find_map(|line| line.strip_prefix(name)?.trim().parse::<u64>().ok());
    assert_eq!(sample("sidelight_link_up"), Some(1));
    assert_eq!(sample("sidelight_panel_up{panel=\"picture:door.png\"}"), Some(1));
    assert!(sample("sidelight_panel_bus_bytes_total{panel=\"picture:door.png\"}") > Some(512), "{body}");
    assert_eq!(sample("sidelight_reading_accepted_total{layout=\"door.layout\",reading=\"rh\"}"), Some(1));
    assert!(body.ends_with("# EOF\n"));
    drop(broker);
    running.says("next attempt in");
    let (head, _) = get(address, "/health");
    assert!(head.starts_with("HTTP/1.1 503 "), "{head}");
}

#[test]
fn a_port_that_is_taken_is_told_before_anything_is_shown() {
    let cellar = Cellar::new(DOOR);
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    for (listen, words) in [
        (address.as_str(), "stop what holds the port, or choose another"),
        ("0.0.0.0:9464", "0.0.0.0:9464 can be reached from other machines"),
    ] {
        let ended = std::process::Command::new(SIDELIGHT)
            .current_dir(cellar.folder.path())
            .args(["run", "door.layout", "--broker", "mqtt://127.0.0.1:1", "--panel", "picture:door.png"])
            .args(["--health-listen", listen])
            .output()
            .unwrap();
        let told = String::from_utf8(ended.stderr).unwrap();
        assert!(ended.status.code() == Some(2) && told.contains(words), "{told}");
    }
}
