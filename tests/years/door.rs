//! One door: what happens to it in years, and what must hold after each step.
//!
//! The rig's clock is the true time. A process's own clock begins at zero with it, and the civil clock is the true one plus an error
//! that a board without a clock of its own has from its start until the network tells the time.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};
use sidelight::feed::{Delivery, Message};
use sidelight::layout::Program;
use sidelight::readings::history::{Stored, encode};
use sidelight::readings::{Moment, State};
use sidelight::service::{Pane, compile};

use super::rig::{Fault, Rig};

pub const DAY: Duration = Duration::from_secs(24 * 3600);
const MINUTE: Duration = Duration::from_secs(60);
/// As both layouts' readings have it.
const STALE: Duration = Duration::from_secs(20 * 60);
/// Once an hour instead of once a minute, which `tests/faults` takes: ten years of minutes are five million whole pictures.
const REFRESH: Duration = Duration::from_secs(3600);
/// The true civil time at the beginning.
const BEGIN: i64 = 1_790_000_000;
const TOPIC: &str = "cellar/ripening/climate";

/// How many times what happened.
#[derive(Debug, Default)]
pub struct Tally {
    steps: u64,
    messages: u64,
    nonsense: u64,
    silences: u64,
    broker_gone: u64,
    faults: u64,
    restarts: u64,
    past_kept: u64,
    past_damaged: u64,
    clock_wrong: u64,
    wakes: u64,
    most_wakes_in_a_day: u32,
    glass_compared: u64,
}

/// What must be thought of a reading.
#[derive(Clone, Copy, PartialEq)]
enum Thought {
    Waiting,
    /// Kept by the broker.
    Unknown,
    Heard {
        at: Duration,
        is_good: bool,
    },
}

pub struct Door {
    random: fastrand::Rng,
    zone: TimeZone,
    program: Arc<Program>,
    source: String,
    rig: Rig,
    pane: Pane,
    begun: Duration,
    /// Seconds by which the civil clock is wrong, and until when.
    error: i64,
    sync: Option<Duration>,
    /// The past as it was written last, and when it is next.
    file: Option<Vec<u8>>,
    write: Duration,
    publish: Duration,
    broker_back: Duration,
    trouble: Duration,
    restart: Duration,
    temp: Thought,
    rh: Thought,
    /// Good temperatures heard in the last days.
    heard: VecDeque<(Duration, f64)>,
    /// Since when the civil clock has been right at every start.
    honest_since: Duration,
    kept: Option<String>,
    /// The civil time of the last update.
    drawn: ZonedDateTime,
    updated: Moment,
    look: Option<Duration>,
    wakes_a_day: u32,
    day: (u64, u32, u32),
    pub tally: Tally,
}

impl Door {
    pub fn new(layout: &str, seed: u64, wakes_a_day: u32) -> Self {
        let loaded = compile(layout.as_bytes(), Path::new("door.layout"));
        let program = loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)));
        let setup = sidelight::panel::Setup::new(sidelight::panel::Controller::Ssd1306, program.size);
        let mut random = fastrand::Rng::with_seed(seed);
        let rig = Rig::new(setup, &[], random.u64(..), REFRESH);
        let pane = Pane::new(Arc::clone(&program), Moment::default());
        let mut door = Self {
            random,
            // Central Europe's rule in POSIX words: no data base of zones is needed.
            zone: TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap(),
            program,
            source: layout.into(),
            rig,
            pane,
            begun: Duration::ZERO,
            error: 0,
            sync: None,
            file: None,
            write: Duration::ZERO,
            publish: MINUTE,
            broker_back: Duration::ZERO,
            trouble: DAY,
            restart: 3 * DAY,
            temp: Thought::Waiting,
            rh: Thought::Waiting,
            heard: VecDeque::new(),
            honest_since: Duration::ZERO,
            kept: None,
            drawn: ZonedDateTime::default(),
            updated: Moment::default(),
            look: None,
            wakes_a_day,
            day: (0, 0, 0),
            tally: Tally::default(),
        };
        door.update();
        door
    }

    pub fn now(&self) -> Duration {
        self.rig.now()
    }

    fn moment(&self) -> Moment {
        Moment::at(self.now() - self.begun)
    }

    fn civil_second(&self) -> i64 {
        BEGIN + self.now().as_secs() as i64 + self.error
    }

    fn civil(&self) -> ZonedDateTime {
        let time = Timestamp::new(self.civil_second(), self.now().subsec_nanos() as i32).unwrap();
        time.to_zoned_datetime(self.zone.clone())
    }

    fn since_1970(&self) -> Duration {
        Duration::from_secs(self.civil_second() as u64)
    }

    /// About every so often.
    fn about(&mut self, span: Duration) -> Duration {
        self.now() + span.mul_f64(0.5 + self.random.f64())
    }

    /// Goes on to whatever comes next.
    pub fn step(&mut self) {
        self.tally.steps += 1;
        let wake = self.pane.next_change().map(|change| self.begun + change.since(Moment::default()));
        let world = [self.publish, self.trouble, self.restart, self.write].into_iter().min().unwrap();
        let next = [wake, self.sync, self.look].into_iter().flatten().fold(world, Duration::min);
        self.rig.run(next);
        let now = self.now();
        if self.sync.is_some_and(|sync| sync <= now) {
            (self.sync, self.error) = (None, 0);
        }
        if self.publish <= now {
            self.publish();
        }
        if self.trouble <= now {
            self.trouble = self.about(DAY / 2);
            self.tally.faults += 1;
            let fault = Fault::ALL[self.random.usize(..Fault::ALL.len())];
            let bytes = self.random.u64(..40);
            self.rig.meet(bytes, fault);
        }
        if self.write <= now {
            self.write = now + 15 * MINUTE;
            self.file = Some(encode(self.pane.windows(), self.moment(), self.since_1970()).0);
        }
        if self.restart <= now {
            self.restart();
        }
        if wake.is_some_and(|wake| wake <= now) {
            self.wake(now);
        }
        self.update();
        let change = self.pane.next_change();
        assert!(change.is_none_or(|change| change > self.updated), "a wake-up for nothing at {now:?}");
        self.judge();
    }

    fn wake(&mut self, now: Duration) {
        self.tally.wakes += 1;
        let (day, wakes, messages) = &mut self.day;
        let today = now.as_secs() / DAY.as_secs();
        if *day != today {
            // Each message may be followed by one wake-up for each reading that grows old.
            let most = self.wakes_a_day + 2 * *messages + 2;
            assert!(*wakes <= most, "{wakes} wake-ups on day {day} with {messages} messages");
            self.tally.most_wakes_in_a_day = self.tally.most_wakes_in_a_day.max(*wakes);
            (*day, *wakes, *messages) = (today, 0, 0);
        }
        *wakes += 1;
    }

    fn publish(&mut self) {
        let chance = self.random.u32(..2000);
        self.publish = match chance {
            0 => self.about(DAY),
            1..10 => self.about(2 * STALE),
            _ => self.about(Duration::from_secs(300)),
        };
        self.tally.silences += u64::from(chance < 10);
        if self.random.u32(..5000) == 0 {
            self.broker_back = self.about(DAY / 4);
            self.tally.broker_gone += 1;
        }
        let temp = 12.0 + 4.0 * self.random.f64();
        let rh = 60.0 + 40.0 * self.random.f64();
        let (payload, good) = match self.random.u32(..100) {
            0 => (String::from("err,err"), [false; 2]),
            1 => (format!("{temp:.2},NaN"), [true, false]),
            2 => (format!("99.9,{rh:.2}"), [false, true]),
            3 => (String::from_utf8_lossy(&[0xff, self.random.u8(..), 0]).into_owned(), [false; 2]),
            _ => (format!("{temp:.2},{rh:.2}"), [true; 2]),
        };
        self.tally.nonsense += u64::from(good != [true; 2]);
        let now = self.now();
        if now < self.broker_back {
            self.kept = Some(payload);
            return;
        }
        if let Some(kept) = self.kept.take() {
            // The broker is back, and says first what it had kept.
            self.hear(kept, true);
            for thought in [&mut self.temp, &mut self.rh] {
                *thought =
                    if matches!(thought, Thought::Waiting | Thought::Unknown) { Thought::Unknown } else { *thought };
            }
        }
        self.hear(payload, false);
        let [temp_good, rh_good] = good;
        self.temp = Thought::Heard { at: now, is_good: temp_good };
        self.rh = Thought::Heard { at: now, is_good: rh_good };
        if temp_good {
            self.heard.push_back((now, temp));
        }
        while self.heard.front().is_some_and(|(at, _)| *at + 2 * DAY < now) {
            self.heard.pop_front();
        }
    }

    fn hear(&mut self, payload: String, retained: bool) {
        self.tally.messages += 1;
        self.day.2 += 1;
        let message =
            Message { topic: TOPIC.into(), payload: payload.into_bytes(), retained, delivery: Delivery::AtMostOnce };
        let now = self.moment();
        self.pane.accept(&message, now);
    }

    /// The process ends, cleanly or not, and some time later another begins.
    fn restart(&mut self) {
        self.tally.restarts += 1;
        if self.random.bool() {
            self.file = Some(encode(self.pane.windows(), self.moment(), self.since_1970()).0);
        }
        let away = if self.random.bool() { MINUTE } else { DAY / 2 };
        let away = self.about(away);
        let lost_supply = self.random.bool();
        self.rig.start_over(lost_supply);
        self.rig.run(away);
        let now = self.now();
        self.begun = now;
        self.restart = self.about(6 * DAY);
        self.write = now + 15 * MINUTE;
        self.publish = self.publish.max(now);
        // 1970, some years back or ahead, or right.
        self.error = match self.random.u32(..6) {
            0 => -(BEGIN + now.as_secs() as i64),
            1 => self.random.i64(-20..40) * 365 * 86_400,
            _ => 0,
        };
        if self.error != 0 {
            self.tally.clock_wrong += 1;
            self.sync = Some(self.about(MINUTE));
            self.honest_since = now + DAY;
        }
        let file = match (self.random.u32(..4), self.file.clone()) {
            (0, _) => None,
            (1, Some(mut file)) => {
                let place = self.random.usize(..file.len());
                if self.random.bool() {
                    file.truncate(place)
                } else {
                    file[place] ^= 1 << self.random.u32(..8)
                }
                assert!(Stored::decode(&file).is_err(), "damage at byte {place} is not seen");
                self.tally.past_damaged += 1;
                None
            }
            (_, file) => file,
        };
        self.pane = Pane::new(Arc::clone(&self.program), self.moment());
        (self.temp, self.rh) = (Thought::Waiting, Thought::Waiting);
        if let Some(stored) = file.map(|file| Stored::decode(&file).expect("what was written whole is read")) {
            self.tally.past_kept += self.pane.recall(&stored, self.moment(), &self.civil()) as u64;
        }
        self.pane.update(self.moment(), &self.civil());
        self.rig.show(self.pane.frame());
    }

    /// As the service does after everything that happens.
    fn update(&mut self) {
        (self.drawn, self.updated) = (self.civil(), self.moment());
        if self.pane.update(self.updated, &self.drawn) {
            self.rig.show(self.pane.frame());
        }
        self.rig.run(self.now());
    }

    fn state(&self, thought: Thought) -> State {
        match thought {
            Thought::Waiting => State::Waiting,
            Thought::Unknown => State::Stale,
            Thought::Heard { is_good: false, .. } => State::Faulty,
            Thought::Heard { at, .. } if self.now() - at > STALE => State::Stale,
            Thought::Heard { .. } => State::Live,
        }
    }

    fn judge(&mut self) {
        let (temp, rh) = (self.state(self.temp), self.state(self.rh));
        for said in self.pane.words().into_iter().filter(|said| said.kind == "text") {
            let written = &self.source[said.span.start as usize..said.span.end as usize];
            let worst = match written {
                _ if written.contains("clock") => {
                    let shown = self.drawn.strftime("%H:%M").to_string();
                    assert_eq!(said.content, shown, "the clock");
                    State::Live
                }
                _ if written.contains("dew") => temp.max(rh),
                _ if written.contains("rh") => rh,
                // What was highest is so whatever was said since; it is only not known to be all.
                _ if written.contains('(') => temp.min(State::Stale),
                _ => temp,
            };
            let direct = !written.contains("dew") && !written.contains('(');
            let fits = said.state >= worst && (!direct || said.state == worst || worst == State::Stale);
            assert!(
                fits,
                "{written} is {:?} and should be {worst:?} at {:?}: {}",
                said.state,
                self.now(),
                said.content
            );
            if self.tally.steps.is_multiple_of(16)
                && written.contains("highest")
                && said.state == State::Live
                && self.now() > self.honest_since + 2 * DAY
            {
                let since = self.now().saturating_sub(DAY + 11 * MINUTE);
                let most =
                    self.heard.iter().filter(|(at, _)| *at >= since).map(|(_, temp)| *temp).fold(-99.0, f64::max);
                let shown: f64 = said.content.parse().unwrap();
                assert!(shown <= most + 0.06, "{shown} is older than a day; the highest is {most} at {:?}", self.now());
            }
        }
        let healed = self.rig.healed_at(REFRESH);
        self.look = healed.filter(|healed| *healed > self.now());
        let is_healed = healed.is_some_and(|healed| healed <= self.now());
        if is_healed || (healed.is_none() && self.tally.steps.is_multiple_of(50)) {
            self.tally.glass_compared += 1;
            assert!(self.rig.shows(self.pane.frame()), "another picture at {:?}", self.now());
            self.rig.forget_faults();
        }
        if self.tally.steps.is_multiple_of(1000) {
            let kept = encode(self.pane.windows(), self.moment(), self.since_1970()).0.len();
            assert!(kept < 64 << 10, "the past takes {kept} bytes");
            // Drawn bit by bit or at once, it is one picture.
            let mut afresh = self.pane.clone();
            afresh.swap(Arc::clone(&self.program), self.moment());
            afresh.update(self.moment(), &self.drawn);
            assert_eq!(afresh.frame(), self.pane.frame());
        }
    }
}
