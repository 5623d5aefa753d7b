//! More messages than anybody can read: the newest number is shown, and memory stays flat.

use std::thread;
use std::time::{Duration, Instant};

use super::kit::{CLIMATE, Cellar, DOOR, until};
use super::scripted::{Scripted, publication};

/// Seconds of the flood, or `SIDELIGHT_FLOOD_SECONDS`.
const SECONDS: u64 = 3;
const A_SECOND: usize = 50_000;

#[test]
fn of_fifty_thousand_messages_a_second_the_newest_is_shown() {
    let seconds = std::env::var("SIDELIGHT_FLOOD_SECONDS").map_or(SECONDS, |text| text.parse().unwrap());
    let broker = Scripted::start(|_| 0);
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(broker.address, &[]);
    until("the subscription", || broker.has_subscriber());
    broker.send(&publication(CLIMATE, "12.0,90.0", false));
    cellar.shows(&["--set", "temp=12", "--set", "rh=90"]);
    let before = run.resident();
    // A hundredth of a second of messages, each with another number.
    let batch: Vec<u8> = (0..A_SECOND / 100)
        .flat_map(|step| publication(CLIMATE, &format!("{}.{},9{}.0", 10 + step % 5, step % 10, step % 9), false))
        .collect();
    let (start, mut most) = (Instant::now(), before);
    for turn in 0..100 * seconds {
        broker.send(&batch);
        if turn % 25 == 0 {
            most = most.max(run.resident());
        }
        // What the network takes more slowly is sent more slowly; nothing is left out.
        let due = start + Duration::from_millis(10) * (turn as u32 + 1);
        thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    let took = start.elapsed();
    broker.send(&publication(CLIMATE, "12.4,91.0", false));
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    let sent = A_SECOND as u64 * seconds;
    let grown = most.saturating_sub(before);
    eprintln!("{sent} messages in {took:?}; resident before {before} KiB, grown by at most {grown} KiB");
    assert!(grown < 4096, "grown by {grown} KiB");
    assert!(run.log().lines().count() < 20, "{}", run.log());
}

#[test]
fn ten_thousand_retained_topics_under_a_wildcard_do_no_harm() {
    let broker = Scripted::start(|_| 0);
    let layout = DOOR.replace("\"cellar/ripening/climate\" pick: column(1)", "\"cellar/+/climate\" pick: column(1)");
    let cellar = Cellar::new(&layout);
    let run = cellar.run(broker.address, &[]);
    until("the subscription", || broker.has_subscriber());
    let kept = |number: usize| publication(&format!("cellar/shelf{number}/climate"), "13.7,80.0", true);
    broker.send(&kept(0));
    cellar.shows(&["--set", "temp=13.7", "--state", "temp=stale"]);
    let before = run.resident();
    for turn in 0..100 {
        broker.send(&(0..100).flat_map(|topic| kept(100 * turn + topic)).collect::<Vec<u8>>());
    }
    // Of unknown age, however many there are.
    cellar.shows(&["--set", "temp=13.7", "--state", "temp=stale"]);
    broker.send(&publication(CLIMATE, "12.4,91.0", false));
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    let grown = run.resident().saturating_sub(before);
    eprintln!("resident before {before} KiB, grown by {grown} KiB after 10,000 retained topics");
    assert!(grown < 4096, "grown by {grown} KiB");
    assert!(run.log().lines().count() < 20, "{}", run.log());
}
