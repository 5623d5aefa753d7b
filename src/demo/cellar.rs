//! The invented sensors of a small cheese cellar: three rooms, a brine tank and a power meter.
//!
//! What enters is a seed and the time since the start; what leaves are the messages that are due. A day passes in two
//! minutes, so that a minute shows something, and within the first ninety seconds every misbehaviour that sensors are known
//! for (common practice) has occurred: a first reading that fails, payloads that are no number, a silent minute, a value out
//! of range. The same seed and times give the same messages; nothing here sleeps or sends.

use std::f64::consts::TAU;
use std::time::Duration;

/// How long a day lasts in the demo.
const DAY: Duration = Duration::from_secs(120);
/// How often each climate sensor publishes.
const CLIMATE_PERIOD: Duration = Duration::from_secs(4);
/// After how many climate readings its misbehaviour repeats: three minutes.
const CLIMATE_CYCLE: u64 = 45;
/// After how long each door's openings repeat.
const DOOR_CYCLE: Duration = Duration::from_secs(90);

/// When the last messages come due: after 136 years, so that no product of times leaves 64 bits.
const END: Duration = Duration::from_secs(u32::MAX as u64);

/// A message to publish.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Publication {
    /// The topic.
    pub topic: &'static str,
    /// The payload.
    pub payload: Vec<u8>,
    /// Whether the broker is to keep it for clients that come later.
    pub retain: bool,
}

/// All sensors, and how far they have come.
#[derive(Clone, Debug)]
pub struct Cellar {
    seed: u64,
    sensors: Vec<Sensor>,
}

#[derive(Clone, Debug)]
struct Sensor {
    kind: Kind,
    topic: &'static str,
    /// When it publishes for the first time.
    offset: Duration,
    period: Duration,
    /// How many times it has been due.
    count: u64,
}

#[derive(Clone, Copy, Debug)]
enum Kind {
    Climate(Room),
    /// Opens at the given time of its cycle, for the given time.
    Door {
        opens: Duration,
        stays: Duration,
    },
    Tank,
    Power,
}

/// A room's climate: the middle of the day and how far it swings.
#[derive(Clone, Copy, Debug)]
struct Room {
    temperature: (f64, f64),
    humidity: (f64, f64),
    fault: Fault,
}

/// How a climate sensor misbehaves once in its cycle.
#[derive(Clone, Copy, Debug)]
enum Fault {
    /// The value that a digital thermometer shows before its first conversion: far out of range here.
    OutOfRange,
    /// Payloads that are no numbers.
    Undecodable,
    /// Nothing for a minute.
    Silent,
}

impl Cellar {
    /// The cellar at its start.
    pub fn new(seed: u64) -> Self {
        let seconds = Duration::from_secs;
        let climate = |topic, offset, temperature, humidity, fault| Sensor {
            kind: Kind::Climate(Room { temperature, humidity, fault }),
            topic,
            offset: Duration::from_millis(offset),
            period: CLIMATE_PERIOD,
            count: 0,
        };
        let door = |topic, opens, stays| Sensor {
            kind: Kind::Door { opens: seconds(opens), stays: seconds(stays) },
            topic,
            offset: Duration::ZERO,
            period: seconds(1),
            count: 0,
        };
        let sensors = vec![
            door("cellar/ripening/door", 35, 9),
            door("cellar/brine/door", 58, 6),
            door("cellar/packing/door", 12, 25),
            climate("cellar/ripening/climate", 400, (12.4, 1.6), (91.0, 4.0), Fault::OutOfRange),
            climate("cellar/brine/climate", 1700, (11.2, 0.8), (82.0, 5.0), Fault::Undecodable),
            climate("cellar/packing/climate", 3000, (14.5, 2.5), (66.0, 8.0), Fault::Silent),
            Sensor {
                kind: Kind::Tank,
                topic: "cellar/brine/tank",
                offset: Duration::from_millis(900),
                period: seconds(10),
                count: 0,
            },
            Sensor {
                kind: Kind::Power,
                topic: "cellar/plant/power",
                offset: Duration::from_millis(2300),
                period: seconds(5),
                count: 0,
            },
        ];
        Self { seed, sensors }
    }

    /// When the next message may be due, as time since the start.
    pub fn next_due(&self) -> Duration {
        self.sensors.iter().map(Sensor::due).min().unwrap_or(Duration::MAX)
    }

    /// The messages that have come due up to `now`, in the order of their times. A sensor that was not asked for long gives
    /// its last message only: after a pause nobody wants the old ones.
    pub fn step(&mut self, now: Duration) -> Vec<Publication> {
        let now = now.min(END);
        let mut due = Vec::new();
        for (number, sensor) in self.sensors.iter_mut().enumerate() {
            if sensor.due() > now {
                continue;
            }
            let first = sensor.count;
            let last = ((now - sensor.offset).as_nanos() / sensor.period.as_nanos()) as u64;
            sensor.count = last + 1;
            let random = |salt: u64| {
                let mix = self.seed ^ (number as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ last.rotate_left(32);
                fastrand::Rng::with_seed(mix ^ salt.rotate_left(56)).f64() * 2.0 - 1.0
            };
            if let Some(publication) = sensor.publication(first, last, random) {
                due.push((sensor.time(last), publication));
            }
        }
        due.sort_by_key(|(time, _)| *time);
        due.into_iter().map(|(_, publication)| publication).collect()
    }
}

impl Sensor {
    /// When it comes due for the time after `count` others.
    fn time(&self, count: u64) -> Duration {
        self.offset + Duration::from_nanos(self.period.as_nanos() as u64 * count)
    }

    /// When it comes due next.
    fn due(&self) -> Duration {
        self.time(self.count)
    }

    /// The message at its time number `last`, after `first` was the next one due. `random` gives a number from -1 to 1 for
    /// each salt.
    fn publication(&self, first: u64, last: u64, random: impl Fn(u64) -> f64) -> Option<Publication> {
        let time = self.time(last);
        let (payload, retain) = match self.kind {
            Kind::Climate(room) => (room.payload(last, time, random)?, false),
            Kind::Door { opens, stays } => {
                let open = |count: u64| {
                    let into = Duration::from_secs(self.time(count).as_secs() % DOOR_CYCLE.as_secs());
                    into >= opens && into < opens + stays
                };
                if first > 0 && open(last) == open(first - 1) {
                    return None;
                }
                ((if open(last) { "open" } else { "closed" }).into(), true)
            }
            Kind::Tank => (tank(time, random), false),
            Kind::Power => (power(time, last, random), false),
        };
        Some(Publication { topic: self.topic, payload: payload.into_bytes(), retain })
    }
}

impl Room {
    /// What the climate sensor publishes, if anything: temperature in °C, relative humidity in %.
    fn payload(self, count: u64, time: Duration, random: impl Fn(u64) -> f64) -> Option<String> {
        let mut temperature = self.temperature.0 + self.temperature.1 * day(time) + 0.1 * random(1);
        let humidity = self.humidity.0 - self.humidity.1 * day(time) + 0.4 * random(2);
        if count == 0 {
            // The first reading after the supply comes on often fails.
            return Some("nan,nan".into());
        }
        match (self.fault, count % CLIMATE_CYCLE) {
            (Fault::OutOfRange, 10..=11) => temperature = 85.0,
            (Fault::Undecodable, 5..=6) => return Some("err".into()),
            (Fault::Undecodable, 7) => return Some(String::new()),
            (Fault::Undecodable, 15..=16) => return Some("nan,nan".into()),
            (Fault::Silent, 5..=19) => return None,
            _ => {}
        }
        Some(format!("{temperature:.1},{:.1}", humidity.clamp(0.0, 100.0)))
    }
}

/// Where the day stands, from -1 at its coldest to 1 at its warmest.
fn day(time: Duration) -> f64 {
    libm::sin(TAU * (time.as_secs_f64() / DAY.as_secs_f64() - 0.1))
}

/// The brine tank: temperature in °C, salinity and level in per cent.
fn tank(time: Duration, random: impl Fn(u64) -> f64) -> String {
    let temperature = 11.8 + 0.5 * day(time) + 0.05 * random(1);
    let salinity = 20.9 + 0.3 * libm::sin(TAU * time.as_secs_f64() / 300.0) + 0.05 * random(2);
    let level = 64.0 + 8.0 * libm::sin(TAU * time.as_secs_f64() / 200.0);
    format!("{{\"temperature\":{temperature:.1},\"salinity\":{salinity:.1},\"level\":{level:.1}}}")
}

/// The power meter as SenML (RFC 8428) under a device name after RFC 9039, in the range of locally administered addresses.
fn power(time: Duration, count: u64, random: impl Fn(u64) -> f64) -> String {
    // The compressor runs for twelve seconds of every thirty.
    let running = time.as_secs() % 30 < 12;
    let watts = if running { 640.0 + 25.0 * random(1) } else { 85.0 + 6.0 * random(1) };
    let volts = 230.5 + 1.5 * random(2);
    // The mean of both states, so that the meter never runs backwards.
    let joules = 1_800_000.0 + count as f64 * 5.0 * 307.0;
    format!(
        "[{{\"bn\":\"urn:dev:mac:02005efffe100001_\",\"n\":\"power\",\"u\":\"W\",\"v\":{watts:.1}}},\
         {{\"n\":\"energy\",\"u\":\"J\",\"v\":{joules:.0}}},{{\"n\":\"voltage\",\"u\":\"V\",\"v\":{volts:.1}}}]"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything in the first `seconds`, with its time, asked for as the publisher does.
    fn first(seed: u64, seconds: u64) -> Vec<(Duration, Publication)> {
        let mut cellar = Cellar::new(seed);
        let mut all = Vec::new();
        loop {
            let now = cellar.next_due();
            if now > Duration::from_secs(seconds) {
                return all;
            }
            all.extend(cellar.step(now).into_iter().map(|publication| (now, publication)));
        }
    }

    fn texts(all: &[(Duration, Publication)], topic: &str) -> Vec<(f64, String)> {
        let of_topic = all.iter().filter(|(_, publication)| publication.topic == topic);
        of_topic.map(|(time, p)| (time.as_secs_f64(), String::from_utf8(p.payload.clone()).unwrap())).collect()
    }

    #[test]
    fn the_same_seed_gives_the_same_messages_and_another_does_not() {
        assert_eq!(first(7, 100), first(7, 100));
        assert_ne!(first(7, 100), first(8, 100));
    }

    #[test]
    fn every_misbehaviour_occurs_within_ninety_seconds_and_good_readings_in_between() {
        for seed in 0..20 {
            let all = first(seed, 90);
            let brine = texts(&all, "cellar/brine/climate");
            for payload in ["err", "", "nan,nan"] {
                assert!(brine.iter().any(|(time, text)| text == payload && *time > 10.0), "{payload:?}");
            }
            let ripening = texts(&all, "cellar/ripening/climate");
            assert!(ripening.iter().any(|(_, text)| text.starts_with("85.0,")));
            let packing = texts(&all, "cellar/packing/climate");
            assert!(packing.windows(2).any(|two| two[1].0 - two[0].0 >= 60.0));
            for (topic, text) in [&brine, &ripening, &packing].map(|of| &of[1].1).into_iter().enumerate() {
                let numbers: Vec<f64> = text.split(',').map(|number| number.parse().unwrap()).collect();
                assert!(numbers.len() == 2 && (8.0..18.0).contains(&numbers[0]), "{topic}: {text}");
            }
        }
    }

    #[test]
    fn a_minute_shows_a_change() {
        let readings = texts(&first(3, 60), "cellar/ripening/climate");
        let values = readings.iter().filter_map(|(_, text)| text.split(',').next()?.parse::<f64>().ok());
        let good: Vec<f64> = values.filter(|value| *value < 50.0).collect();
        let spread = good.iter().copied().fold(f64::MIN, f64::max) - good.iter().copied().fold(f64::MAX, f64::min);
        assert!(spread > 1.5, "{good:?}");
    }

    #[test]
    fn doors_are_retained_and_published_on_change_only() {
        let all = first(1, 180);
        for room in ["ripening", "brine", "packing"] {
            let topic = format!("cellar/{room}/door");
            let door = texts(&all, &topic);
            let states: Vec<&str> = door.iter().map(|(_, text)| text.as_str()).collect();
            assert_eq!(states, ["closed", "open", "closed", "open", "closed"], "{room}");
        }
        assert!(all.iter().all(|(_, p)| p.retain == p.topic.ends_with("door")));
    }

    #[test]
    fn tank_and_power_are_json() {
        let all = first(5, 60);
        for (_, text) in texts(&all, "cellar/brine/tank") {
            let tank: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert!((10.0..14.0).contains(&tank["temperature"].as_f64().unwrap()));
            assert!((50.0..80.0).contains(&tank["level"].as_f64().unwrap()));
            assert!((20.0..22.0).contains(&tank["salinity"].as_f64().unwrap()));
        }
        let mut energy = 0.0;
        for (_, text) in texts(&all, "cellar/plant/power") {
            let pack: serde_json::Value = serde_json::from_str(&text).unwrap();
            let names = pack.as_array().unwrap().iter().map(|record| record["n"].as_str().unwrap());
            assert_eq!(names.collect::<Vec<_>>(), ["power", "energy", "voltage"]);
            assert!(pack[1]["v"].as_f64().unwrap() > energy);
            energy = pack[1]["v"].as_f64().unwrap();
        }
    }

    #[test]
    fn after_a_pause_each_sensor_gives_one_message_at_most() {
        let mut cellar = Cellar::new(1);
        cellar.step(Duration::from_secs(1));
        let late = cellar.step(Duration::from_secs(100_000));
        let mut topics: Vec<&str> = late.iter().map(|publication| publication.topic).collect();
        topics.sort_unstable();
        topics.dedup();
        assert_eq!(topics.len(), late.len());
        assert!(topics.len() >= 4 && cellar.next_due() > Duration::from_secs(100_000));
    }

    #[test]
    fn time_far_ahead_does_not_panic() {
        let mut cellar = Cellar::new(1);
        cellar.step(Duration::MAX);
        cellar.step(Duration::MAX);
        cellar.next_due();
    }
}
