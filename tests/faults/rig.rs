//! A panel on a bus with faults at given bytes, its upkeep, and virtual time for both.
//!
//! A byte takes 90 µs, as at 100 kHz with its acknowledge; a stuck bus takes the second that Linux waits (from memory).

use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use sidelight::draw::{Frame, Ink, Point, Rectangle, Size};
use sidelight::panel::{Controller, Driver, EmulatedPanel, Setup};
use sidelight::readings::Moment;
use sidelight::service::{Outlet, Refresh, Trouble, Upkeep};

const ADDRESS: u8 = 0x3c;
const BYTE: Duration = Duration::from_micros(90);
const STUCK: Duration = Duration::from_secs(1);
/// How long an unplugged panel is away: long enough for the longest wait, and no multiple of any.
const AWAY: Duration = Duration::from_millis(3_330);
/// The period of refreshing in these tests, as it is by default.
pub const PERIOD: Duration = Duration::from_secs(60);
/// Within this time what was noticed is healed.
pub const HEALED: Duration = Duration::from_secs(2);

/// What goes wrong at a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    NoAcknowledge,
    ArbitrationLost,
    /// A start or stop condition in the wrong place.
    Misplaced,
    /// A line is held low until the adapter gives up.
    Stuck,
    /// The panel loses its supply for a moment and acknowledges no more of this write.
    Reset,
    /// Nobody answers for a while, and then a panel that was just powered up.
    Unplugged,
    /// The byte is gone, and the write goes on.
    LostByte,
    /// The panel loses its supply for a moment; whatever comes is acknowledged, and the rest of this write is lost.
    SilentReset,
    /// The same, but afterwards registers hold anything.
    BrownOut,
}

impl Fault {
    pub const ALL: [Fault; 9] = [
        Fault::NoAcknowledge,
        Fault::ArbitrationLost,
        Fault::Misplaced,
        Fault::Stuck,
        Fault::Reset,
        Fault::Unplugged,
        Fault::LostByte,
        Fault::SilentReset,
        Fault::BrownOut,
    ];
}

/// The kinds of panels there are.
pub const PANELS: [(Controller, u32); 3] =
    [(Controller::Ssd1306, 32), (Controller::Ssd1306, 64), (Controller::Sh1106, 64)];

pub fn setup((controller, height): (Controller, u32)) -> Setup {
    Setup::new(controller, Size::new(128, height))
}

struct World {
    panel: EmulatedPanel,
    now: Duration,
    /// Bytes that the adapter began to send to somebody who could hear it, addresses counted.
    sent: u64,
    /// Faults to come with the bytes that they meet, in order.
    planned: Vec<(u64, Fault)>,
    back: Duration,
    opened: u32,
    /// When the last fault that can be noticed was over.
    over: Option<Duration>,
    /// When the last fault that cannot be noticed was.
    unseen: Option<Duration>,
}

/// A bus that the test and the upkeep share.
#[derive(Clone)]
struct Bus(Arc<Mutex<World>>);

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let mut world = self.0.lock().unwrap();
        for operation in operations {
            match operation {
                Operation::Write(bytes) => world.write(address, bytes)?,
                Operation::Read(_) => panic!("nothing is read from these panels"),
            }
        }
        Ok(())
    }
}

impl World {
    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        let unheard = NoAcknowledgeSource::Address;
        if self.now < self.back {
            self.now += BYTE;
            return Err(ErrorKind::NoAcknowledge(unheard));
        }
        let length = 1 + bytes.len() as u64;
        if self.planned.first().is_none_or(|(byte, _)| *byte >= self.sent + length) {
            self.sent += length;
            self.now += BYTE * length as u32;
            return self.panel.write(address, bytes);
        }
        // Byte 0 is the address; what the panel hears of the others comes to it at the end.
        let (mut heard, mut deaf) = (Vec::with_capacity(bytes.len()), false);
        let source = |place| if place == 0 { unheard } else { NoAcknowledgeSource::Data };
        for place in 0..=bytes.len() {
            self.now += BYTE;
            let fault = self.planned.first().filter(|(byte, _)| *byte == self.sent).map(|(_, fault)| *fault);
            self.sent += 1;
            let byte = place.checked_sub(1).map(|place| bytes[place]);
            let Some(fault) = fault else {
                heard.extend(byte.filter(|_| !deaf));
                continue;
            };
            self.planned.remove(0);
            let error = match fault {
                // Without its address the write reaches nobody.
                Fault::NoAcknowledge | Fault::Reset | Fault::Unplugged => ErrorKind::NoAcknowledge(source(place)),
                Fault::LostByte if place == 0 => ErrorKind::NoAcknowledge(unheard),
                Fault::ArbitrationLost => ErrorKind::ArbitrationLoss,
                Fault::Misplaced => ErrorKind::Bus,
                Fault::Stuck => ErrorKind::Other,
                Fault::LostByte => {
                    self.unseen = Some(self.now);
                    continue;
                }
                Fault::SilentReset | Fault::BrownOut => {
                    self.unseen = Some(self.now);
                    deaf = true;
                    if fault == Fault::BrownOut {
                        self.panel.brown_out()
                    } else {
                        self.panel.power_cycle()
                    }
                    continue;
                }
            };
            if place > 0 && !deaf {
                self.panel.write(address, &heard)?;
            }
            match fault {
                Fault::Stuck => self.now += STUCK,
                Fault::Reset => self.panel.power_cycle(),
                Fault::Unplugged => {
                    self.panel.power_cycle();
                    self.back = self.now + AWAY;
                }
                _ => {}
            }
            self.over = Some(self.now.max(self.back));
            return Err(error);
        }
        if deaf { Ok(()) } else { self.panel.write(address, &heard) }
    }
}

/// The way to the panel.
struct Way {
    bus: Bus,
    setup: Setup,
}

impl Outlet for Way {
    type Bus = Bus;

    fn open(&mut self, size: Size) -> Result<Driver<Bus>, Trouble> {
        self.bus.0.lock().unwrap().opened += 1;
        Ok(Driver::new(self.bus.clone(), ADDRESS, Setup { size, ..self.setup })?)
    }

    fn updated(&mut self, _bus: &Bus) -> Result<(), Trouble> {
        Ok(())
    }
}

/// A panel, its upkeep, and the time.
pub struct Rig {
    bus: Bus,
    upkeep: Upkeep<Way>,
    setup: Setup,
    refresh: Duration,
}

fn upkeep(bus: &Bus, setup: Setup, refresh: Duration) -> Upkeep<Way> {
    Upkeep::new("the panel".into(), Way { bus: bus.clone(), setup }, Refresh::every(refresh), Arc::default())
}

impl Rig {
    /// A panel just powered up, and faults at bytes counted from the very first.
    pub fn new(setup: Setup, faults: &[(u64, Fault)], seed: u64, refresh: Duration) -> Self {
        let world = World {
            panel: EmulatedPanel::new(setup.controller, setup.size, ADDRESS, seed),
            now: Duration::ZERO,
            sent: 0,
            planned: faults.to_vec(),
            back: Duration::ZERO,
            opened: 0,
            over: None,
            unseen: None,
        };
        let bus = Bus(Arc::new(Mutex::new(world)));
        let upkeep = upkeep(&bus, setup, refresh);
        Self { bus, upkeep, setup, refresh }
    }

    /// Another process with the same panel, which may have lost its supply meanwhile.
    pub fn start_over(&mut self, lost_supply: bool) {
        self.upkeep = upkeep(&self.bus, self.setup, self.refresh);
        if lost_supply {
            self.world().panel.power_cycle();
        }
    }

    /// Has a fault meet a byte to come, counted from now.
    pub fn meet(&mut self, bytes: u64, fault: Fault) {
        let mut world = self.world();
        let byte = world.sent + bytes;
        if world.planned.is_empty() {
            world.planned.push((byte, fault));
        }
    }

    /// When all faults so far must have been healed, if there were any.
    pub fn healed_at(&self, refresh: Duration) -> Option<Duration> {
        let world = self.world();
        world.over.map(|over| over + HEALED).max(world.unseen.map(|unseen| unseen + refresh + HEALED))
    }

    pub fn forget_faults(&mut self) {
        let mut world = self.world();
        (world.over, world.unseen) = (None, None);
    }

    pub fn shows(&self, frame: &Frame) -> bool {
        self.world().panel.glass() == *frame
    }

    fn world(&self) -> MutexGuard<'_, World> {
        self.bus.0.lock().unwrap()
    }

    pub fn now(&self) -> Duration {
        self.world().now
    }

    pub fn sent(&self) -> u64 {
        self.world().sent
    }

    pub fn show(&mut self, frame: &Frame) {
        self.upkeep.show(frame.clone());
    }

    /// Lets time go by up to `until`, and the upkeep do what is due.
    pub fn run(&mut self, until: Duration) {
        loop {
            let bus = &self.bus;
            self.upkeep.turn(|| Moment::at(bus.0.lock().unwrap().now));
            let due = self.upkeep.schedule().next_due().map(|due| due.since(Moment::default()));
            let mut world = self.world();
            let Some(due) = due.filter(|due| *due <= until) else {
                world.now = world.now.max(until);
                return;
            };
            world.now = world.now.max(due);
        }
    }

    /// Runs for a second, and until all faults so far must have been healed; says what is wrong then.
    pub fn settle(&mut self, frame: &Frame) -> Result<(), String> {
        self.run(self.now() + Duration::from_secs(1));
        while let Some(until) = self.healed_at(PERIOD) {
            self.forget_faults();
            self.run_up_to(until, frame)?;
        }
        let world = self.world();
        let attempts = 4 + (world.now.as_millis() / 750) as u32;
        if world.opened > attempts { Err(format!("{} attempts until {:?}", world.opened, world.now)) } else { Ok(()) }
    }

    /// Runs until `until`, when the glass must be right if no further fault came.
    fn run_up_to(&mut self, until: Duration, frame: &Frame) -> Result<(), String> {
        // So long before that a refresh under way does not matter.
        self.run(until.saturating_sub(Duration::from_millis(150)));
        let is_right = |world: &World| world.over.is_some() || world.unseen.is_some() || world.panel.glass() == *frame;
        if is_right(&self.world()) {
            return Ok(());
        }
        self.run(until);
        let world = self.world();
        if world.now <= until && is_right(&world) { Ok(()) } else { Err(format!("another picture at {until:?}")) }
    }
}

/// The session of which each byte meets its fault: a panel is set up, two pictures replace the first, and it is refreshed. Gives how many
/// bytes were sent.
pub fn session(setup: Setup, faults: &[(u64, Fault)], seed: u64) -> Result<u64, String> {
    let mut rig = Rig::new(setup, faults, seed, PERIOD);
    let told = |problem| format!("{setup:?}, {faults:?}, noise {seed}: {problem}");
    for number in 0..3 {
        let frame = picture(setup.size, number);
        rig.show(&frame);
        rig.settle(&frame).map_err(told)?;
    }
    if !faults.is_empty() && rig.world().planned.is_empty() {
        return Ok(rig.sent());
    }
    let last = picture(setup.size, 2);
    rig.run(rig.now() + PERIOD);
    rig.settle(&last).map_err(told)?;
    Ok(rig.sent())
}

/// Pictures that differ in places far apart, and in a few columns side by side.
pub fn picture(size: Size, number: u32) -> Frame {
    let mut frame = Frame::new(size);
    frame.fill(Rectangle::new(Point::new(2, 3), Size::new(40, 20)), Ink::Hatch);
    let place = number as i32 * 3;
    frame.fill(Rectangle::new(Point::new(60 + place, 4), Size::new(4, 18)), Ink::Full);
    frame.set_pixel(Point::new(120 - place, size.height as i32 - 1), true);
    frame
}
