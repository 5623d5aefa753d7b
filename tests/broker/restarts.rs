//! A broker that is killed and started again at any time: before it was found, while it answers, while it publishes. The program goes
//! on, and the picture is right again.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::Duration;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor, until};

/// How often a broker is killed, or `SIDELIGHT_RESTARTS`.
const RESTARTS: usize = 16;
/// How many of these one program lives through: with each the waits between its attempts double.
const A_LIFE: usize = 2;
const AT_A_TIME: usize = 4;

#[test]
fn a_broker_that_is_killed_again_and_again_is_found_again() {
    let restarts = std::env::var("SIDELIGHT_RESTARTS").map_or(RESTARTS, |text| text.parse().unwrap());
    let seed = std::env::var("SIDELIGHT_SEED").map_or_else(|_| fastrand::u64(..), |text| text.parse().unwrap());
    eprintln!("{restarts} restarts, seed {seed}");
    let wanted = {
        let cellar = Cellar::new(DOOR);
        ["12.4", "12.6"].map(|temp| cellar.rendered(&["--set", &format!("temp={temp}"), "--set", "rh=91"]))
    };
    let next = AtomicUsize::new(0);
    thread::scope(|scope| {
        for _ in 0..AT_A_TIME {
            scope.spawn(|| {
                loop {
                    let life = next.fetch_add(1, Ordering::Relaxed);
                    if life * A_LIFE >= restarts {
                        return;
                    }
                    lived_through(&mut fastrand::Rng::with_seed(seed.wrapping_add(life as u64)), &wanted);
                }
            });
        }
    });
}

fn lived_through(random: &mut fastrand::Rng, wanted: &[Vec<u8>; 2]) {
    let pause = |random: &mut fastrand::Rng, most| thread::sleep(Duration::from_millis(random.u64(0..most)));
    let mut broker = Broker::start().unwrap();
    let ports = broker.ports();
    let cellar = Cellar::new(DOOR);
    let mut run = cellar.run(broker.v3(), &[]);
    for turn in 0..A_LIFE {
        // Perhaps it publishes as well.
        if random.bool() {
            Sensor::connect(broker.v3()).publish(CLIMATE, "13.0,70.0");
        }
        pause(random, 400);
        drop(broker);
        pause(random, 120);
        broker = started_again(ports);
        if turn + 1 == A_LIFE || random.bool() {
            let payload = ["12.4,91.0", "12.6,91.0"][turn % 2];
            let mut sensor = Sensor::connect(broker.v3());
            // Until it has subscribed again nobody hears this.
            until("the picture", || {
                sensor.publish(CLIMATE, payload);
                thread::sleep(Duration::from_millis(20));
                std::fs::read(cellar.path("door.png")).is_ok_and(|png| png == wanted[turn % 2])
            });
        }
    }
    assert!(run.is_running(), "{}", run.log());
    assert!(!run.log().contains("panicked"), "{}", run.log());
}

/// Once the system lets go of the ports.
fn started_again(ports: [u16; 2]) -> Broker {
    let mut broker = None;
    until("the broker's start", || {
        broker = Broker::start_on(ports).ok();
        broker.is_some()
    });
    broker.unwrap()
}
