//! Two hosts and a cable: the panel's host in one network namespace, the broker's in another. The cable is cut and mended.

use std::process::Command;
use std::thread;
use std::time::Duration;

use super::kit::{CLIMATE, Cellar, DOOR};
use super::second::Second;

/// Addresses for documentation (RFC 5737), which lead nowhere else.
const DOOR_HOST: &str = "192.0.2.2/30";
const BROKER_HOST: &str = "192.0.2.1/30";

/// Both namespaces; gone when this is dropped.
struct Hosts {
    door: String,
    broker: String,
}

impl Hosts {
    /// None where this user may not make any.
    fn new() -> Option<Self> {
        let name = |host: &str| format!("{host}-{}", std::process::id());
        let hosts = Self { door: name("door"), broker: name("broker") };
        let made = ip(&["netns", "add", &hosts.door])
            && ip(&["netns", "add", &hosts.broker])
            && ip(&[
                "link",
                "add",
                "cable",
                "netns",
                &hosts.door,
                "type",
                "veth",
                "peer",
                "name",
                "cable",
                "netns",
                &hosts.broker,
            ])
            && ip(&["-n", &hosts.door, "address", "add", DOOR_HOST, "dev", "cable"])
            && ip(&["-n", &hosts.broker, "address", "add", BROKER_HOST, "dev", "cable"])
            && ip(&["-n", &hosts.door, "link", "set", "cable", "up"]);
        (made && hosts.cable("up")).then_some(hosts)
    }

    /// Plugs the cable in at the broker's end, or out.
    fn cable(&self, state: &str) -> bool {
        ip(&["-n", &self.broker, "link", "set", "cable", state])
    }
}

impl Drop for Hosts {
    fn drop(&mut self) {
        ip(&["netns", "del", &self.door]);
        ip(&["netns", "del", &self.broker]);
    }
}

fn ip(arguments: &[&str]) -> bool {
    Command::new("ip").args(arguments).output().is_ok_and(|ended| ended.status.success())
}

#[test]
fn a_cable_that_is_cut_and_mended_leaves_the_picture_right() {
    let Some(hosts) = Hosts::new() else {
        eprintln!("left out: this user may not make network namespaces");
        return;
    };
    let starter = ["ip", "netns", "exec", &hosts.broker];
    let Some(mut broker) = Second::start(&starter, "192.0.2.1:1883".parse().unwrap()) else { return };
    let cellar = Cellar::new(DOOR);
    let run = cellar.start_in(
        &["ip", "netns", "exec", &hosts.door],
        &["run", "door.layout", "--broker", "mqtt://192.0.2.1", "--panel", "picture:door.png", "--keep-alive", "5"],
    );
    broker.has_subscriber();
    broker.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    assert!(hosts.cable("down"));
    broker.publish(CLIMATE, "13.0,70.0");
    let noticed = run.says("next attempt in");
    eprintln!("noticed after {noticed:?}");
    thread::sleep(Duration::from_secs(2));
    assert!(hosts.cable("up"));
    run.says_times("subscribed to", 2);
    broker.publish(CLIMATE, "12.6,90.0");
    cellar.shows(&["--set", "temp=12.6", "--set", "rh=90"]);
}
