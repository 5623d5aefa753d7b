//! Ten years beside a door, in virtual time: pane, past, upkeep and driver as they are, with sensors that fall silent or say nonsense,
//! brokers that go, faults on the bus, restarts with the past kept, damaged or lost, and a civil clock that jumps by years.
//! (Promises: no wrong number; it stays up; small.)
//!
//! After each step: no number is shown as good that is old, missing or wrong, and none as bad that is good; once the time for healing
//! is over the glass equals the frame; nothing wakes up more often than was said; what is kept does not grow.
//!
//! `SIDELIGHT_YEARS=10` has ten years go by instead of some months, `SIDELIGHT_SEED` repeats a run.

mod door;
#[path = "../faults/rig.rs"]
#[allow(dead_code, reason = "half of the rig is for sessions")]
mod rig;

use std::time::{Duration, Instant};

use door::{DAY, Door};

const TEXTS: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 20min\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100 stale: 20min\n\
    value dew = dew_point(temp, rh)\n\
    screen door { columns gap: 4 { text \"{temp:.1}\" size: 16 face: narrow\n text \"{rh:.0}\" size: 16 face: narrow\n bar rh over: 60..100% } }\n\
    screen walls when: temp - dew < 1 { text \"{temp:.1}\" size: 9\n text \"dew {dew:.1}\" size: 9 }\n";
const PAST: &str = "panel 128x64\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 20min\n\
    value same = temp\n\
    screen day { text \"{temp:.1}\" size: 16 face: narrow\n \
    columns { text \"{highest(temp, 24h):.1}\" size: 9\n text \"{highest(same, 24h):.1}\" size: 9 }\n \
    text \"{lowest(temp, today):.1}\" size: 9\n trend same for: 24h over: 0..20°C }\n";
const CLOCK: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 20min\n\
    screen clock { columns gap: 4 { text \"{clock(\"%H:%M\")}\" size: 16 face: narrow\n text \"{temp:.1}\" size: 16 face: narrow } }\n";

fn number<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok().map(|text| text.parse().unwrap_or_else(|_| panic!("{name} is a number")))
}

/// Lets years go by for a layout; by itself it may wake so many times a day beside once for each reading after each message.
fn years_go_by(name: &str, layout: &str, usual: f64, wakes_a_day: u32) {
    let years = number("SIDELIGHT_YEARS").unwrap_or(usual);
    let seed: u64 = number("SIDELIGHT_SEED").unwrap_or_else(|| fastrand::u64(..));
    println!("{name}: SIDELIGHT_SEED={seed}");
    let begun = Instant::now();
    let mut door = Door::new(layout, seed, wakes_a_day);
    let end = Duration::from_secs_f64(years * 365.25 * 24.0 * 3600.0).max(DAY);
    let mut after_a_tenth = None;
    while door.now() < end {
        door.step();
        if after_a_tenth.is_none() && door.now() > end / 10 {
            after_a_tenth = Some(resident());
        }
    }
    println!("{name}: {years} years in {:?}: {:?}", begun.elapsed(), door.tally);
    let growth = resident().saturating_sub(after_a_tenth.unwrap_or_default());
    assert!(growth < 8 << 10, "memory grew by {growth} KiB");
}

/// Resident memory in KiB (proc(5), `VmRSS`).
fn resident() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn texts_and_a_screen_that_takes_over() {
    years_go_by("texts", TEXTS, 0.1, 0);
}

#[test]
fn a_day_that_outlives_restarts() {
    // The parts of a day, of ten minutes, and midnight.
    years_go_by("past", PAST, 0.1, 144 + 2);
}

#[test]
fn a_clock_with_daylight_saving() {
    years_go_by("clock", CLOCK, 0.03, 24 * 60 + 1);
}
