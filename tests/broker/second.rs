//! Against a broker of another make, which npm installs for the tests alone: what is promised does not hang on the demo's broker. And
//! two hosts with a cable between them, which is cut.

use std::io::{BufRead, BufReader, Write};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor, until};

/// The broker of `second.mjs`; killed when it is dropped.
pub struct Second {
    child: Child,
    input: ChildStdin,
    told: Arc<Mutex<Vec<String>>>,
    pub address: SocketAddr,
}

impl Second {
    /// Starts it, itself started by `starter`; none where it is not installed, which is said in words.
    pub fn start(starter: &[&str], address: SocketAddr) -> Option<Self> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let folder = root.join("target/aedes");
        if !folder.join("node_modules/aedes").is_dir() {
            eprintln!("left out: `npm install --prefix target/aedes aedes` was not run, or there is no Node.js");
            return None;
        }
        let script = root.join("tests/broker/second.mjs");
        let (host, port) = (address.ip().to_string(), address.port().to_string());
        let command = [starter, &["node", script.to_str()?, folder.to_str()?, &host, &port]].concat();
        let mut child =
            Command::new(command[0]).args(&command[1..]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.next().expect("the port").unwrap().parse().unwrap();
        let told = Arc::new(Mutex::new(Vec::new()));
        let into = Arc::clone(&told);
        thread::spawn(move || lines.map_while(Result::ok).for_each(|line| into.lock().unwrap().push(line)));
        let input = child.stdin.take().unwrap();
        Some(Self { child, input, told, address: SocketAddr::new(address.ip(), port) })
    }

    /// Publishes a message itself.
    pub fn publish(&mut self, topic: &str, payload: &str) {
        writeln!(self.input, "{topic} {payload}").unwrap();
    }

    /// Waits until somebody has subscribed.
    pub fn has_subscriber(&self) {
        self.tells("subscribed ");
    }

    fn tells(&self, beginning: &str) {
        until(beginning, || self.told.lock().unwrap().iter().any(|line| line.starts_with(beginning)));
    }
}

impl Drop for Second {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn another_broker_keeps_tells_who_is_gone_and_comes_back() {
    let Some(broker) = Second::start(&[], "127.0.0.1:0".parse().unwrap()) else { return };
    let address = broker.address;
    let layout = DOOR.replace("unit: °C", "unit: °C presence: \"cellar/ripening/status\"");
    let cellar = Cellar::new(&layout);
    let mut sensor = Sensor::connect_with_will(address, Some(("cellar/ripening/status", "offline")));
    sensor.publish_retained("cellar/ripening/status", "online");
    sensor.publish_retained(CLIMATE, "12.0,90.0");
    sensor.publish("cellar/done", "");
    broker.tells("published cellar/done");
    // It does not speak the other version.
    cellar.run(address, &["--protocol", "5"]).says("whether it speaks the chosen version of MQTT");
    let run = cellar.run(address, &["--qos", "1"]);
    run.says("subscribed to");
    // Of unknown age.
    cellar.shows(&["--set", "temp=12", "--state", "temp=stale", "--set", "rh=90", "--state", "rh=stale"]);
    sensor.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    // Gone without a word.
    drop(sensor);
    cellar.shows(&["--set", "temp=12.4", "--state", "temp=stale", "--set", "rh=91"]);
    drop(broker);
    run.says("next attempt in");
    let mut broker = Second::start(&[], address).expect("it was there before");
    broker.has_subscriber();
    broker.publish("cellar/ripening/status", "online");
    broker.publish(CLIMATE, "12.6,90.0");
    cellar.shows(&["--set", "temp=12.6", "--set", "rh=90"]);
}

#[test]
fn ten_thousand_topics_that_another_broker_kept_do_no_harm() {
    let Some(mut broker) = Second::start(&[], "127.0.0.1:0".parse().unwrap()) else { return };
    let mut sensor = Sensor::connect(broker.address);
    for shelf in 0..10_000 {
        sensor.publish_retained(&format!("cellar/shelf{shelf}/climate"), "13.7,80.0");
    }
    sensor.publish("cellar/done", "");
    broker.tells("published cellar/done");
    let layout = DOOR.replace("\"cellar/ripening/climate\" pick: column(1)", "\"cellar/+/climate\" pick: column(1)");
    let cellar = Cellar::new(&layout);
    let run = cellar.run(broker.address, &["-v"]);
    // The last one that was kept, so that nothing kept comes after what is live.
    run.says("cellar/shelf9999/climate: \"13.7,80.0\", retained");
    cellar.shows(&["--set", "temp=13.7", "--state", "temp=stale"]);
    let before = run.resident();
    broker.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    assert_eq!(run.log().matches(", retained").count(), 10_000);
    eprintln!("resident {before} KiB after 10,000 retained topics");
    assert!(before < 32 << 10, "{before} KiB");
}
