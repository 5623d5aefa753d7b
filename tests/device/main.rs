//! The real device path: the program writes to a true `/dev/i2c-N` of a Linux kernel in a virtual machine. The kernel's own drivers for a
//! USB I2C adapter carry that to the tests' adapter, and what stands on the emulated panel behind it is compared to the bit.
//!
//! Left out, in words, where there is no emulator or no kernel for the guest (`tests/device/guest fetch` gets one);
//! `SIDELIGHT_DEVICE=required` makes that a failure.
#![cfg(all(feature = "i2c", feature = "demo"))]

mod adapter;
mod guest;

use std::path::Path;
use std::thread;

use rumqttc::{Client, MqttOptions, QoS};
use sidelight::demo::Broker;
use sidelight::draw::{Frame, Size, picture};
use sidelight::panel::{Complaint, Controller, Failure};
use sidelight::scenes;

use adapter::{ADDRESS, Adapter};
use guest::{Guest, HOST, until};

const PANEL: Size = Size::new(128, 32);
const BUS: &str = "/dev/i2c-0";
const LAYOUT: &str = include_str!("../../layouts/ripening-door.layout");
const LOG: &str = "/log";

fn golden(name: &str) -> Frame {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden").join(name);
    picture::from_png(&std::fs::read(path).unwrap()).unwrap()
}

/// What the layout looks like with these readings.
fn rendered(temp: &str, rh: &str) -> Frame {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts/ripening-door.scenes");
    let scene = format!("--- now\nset temp={temp}\nset rh={rh}\n");
    scenes::understand(scene.as_bytes(), &beside).scenes[0].draw().frame().clone()
}

/// Plugs the adapter into one of the guest's USB ports.
fn plug(guest: &mut Guest, adapter: &Adapter, port: u32) {
    guest.must(&format!("PORT={port} nc {HOST} {} -e /attach", adapter.port()));
}

/// Waits until the bus is there, or gone.
fn bus_is(guest: &mut Guest, there: bool) {
    guest.comes(&format!("test -c {BUS}"), there);
}

#[test]
fn probe_finds_the_panel_says_what_is_wrong_and_draws_the_test_picture() {
    let Some(mut guest) = Guest::boot("probe") else { return };
    let adapter = Adapter::new(Controller::Ssd1306, PANEL);

    let (code, said) = guest.run("sidelight probe");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("shows no I2C bus") && said.contains("no alarm"), "{said}");

    plug(&mut guest, &adapter, 0);
    bus_is(&mut guest, true);
    let dark = adapter.glass();
    let said = guest.must("sidelight probe");
    assert!(said.starts_with(&format!("{BUS}  i2c-tiny-usb ")), "{said}");
    assert!(said.contains("  0x3c  answers\n  0x3d  nobody\n"), "{said}");
    assert!(said.contains(&format!("sidelight probe --draw ssd1306:{BUS}:0x3c")), "{said}");
    assert_eq!(adapter.glass(), dark, "asking changed the glass");
    assert_eq!(adapter.complaints(), [Complaint::Address(0x3d)]);
    adapter.wires().bus_mut().clear_complaints();

    guest.must(&format!("sidelight probe --draw ssd1306:{BUS}:{ADDRESS:#04x}"));
    assert_eq!(adapter.glass(), golden("test-picture-128x32.png"));
    assert_eq!(adapter.complaints(), []);

    let (code, said) = guest.run("su nobody -c 'sidelight probe'");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("usermod -aG i2c"), "{said}");

    adapter.wires().unplug();
    let (code, said) = guest.run("sidelight probe");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("  0x3c  nobody\n  0x3d  nobody\n") && said.contains("- wiring"), "{said}");
    let (code, said) = guest.run(&format!("sidelight probe --draw ssd1306:{BUS}:0x3c"));
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("nobody acknowledges"), "{said}");

    guest.must("rmmod i2c-dev");
    let (code, said) = guest.run("sidelight probe");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("has no device file") && said.contains("modprobe i2c-dev"), "{said}");
}

/// A guest that runs the service, and what it is fed by.
struct Door {
    guest: Guest,
    adapter: Adapter,
    sensor: Client,
    /// Ends with this.
    _broker: Broker,
}

impl Door {
    fn open(name: &str) -> Option<Self> {
        let mut guest = Guest::boot(name)?;
        let adapter = Adapter::new(Controller::Ssd1306, PANEL);
        let broker = Broker::start().unwrap();
        let options = MqttOptions::new("sensor", "127.0.0.1", broker.v3().port());
        let (sensor, mut connection) = Client::new(options, 16);
        thread::spawn(move || connection.iter().take_while(Result::is_ok).count());
        plug(&mut guest, &adapter, 0);
        bus_is(&mut guest, true);
        guest.write("/door.layout", LAYOUT);
        guest.must(&format!(
            "sidelight run /door.layout --broker mqtt://{HOST}:{} --panel ssd1306:{BUS}:0x3c </dev/null >{LOG} 2>&1 & echo $! >/pid",
            broker.v3().port()
        ));
        guest.says(LOG, 0, "connected");
        Some(Self { guest, adapter, sensor, _broker: broker })
    }

    fn publish(&self, temp: &str, rh: &str) {
        self.sensor.publish("cellar/ripening/climate", QoS::AtLeastOnce, true, format!("{temp},{rh}")).unwrap();
    }

    /// Waits until the glass is what the layout looks like with these readings.
    fn shows(&mut self, temp: &str, rh: &str) {
        let (wanted, adapter) = (rendered(temp, rh), &self.adapter);
        until(
            || format!("{temp}, {rh} on the glass, which shows\n{:?}", adapter.glass()),
            || adapter.glass() == wanted,
        );
    }

    fn log(&mut self) -> String {
        self.guest.must(&format!("cat {LOG}"))
    }
}

#[test]
fn what_is_published_stands_on_the_glass_to_the_bit_until_the_end() {
    let Some(mut door) = Door::open("run") else { return };
    for (temp, rh) in [("12.4", "91"), ("12.5", "91"), ("-10", "0"), ("40", "100")] {
        door.publish(temp, rh);
        if temp == "40" {
            // The dew point is near: another screen, so that nearly every byte changes.
            assert_ne!(rendered(temp, rh), rendered("12.4", "91"));
        }
        door.shows(temp, rh);
    }
    assert_eq!(door.adapter.complaints(), []);
    let code = door.guest.must("kill -s TERM $(cat /pid); wait $(cat /pid); echo $?");
    assert_eq!(code.trim(), "0", "{}", door.log());
    assert_eq!(door.adapter.glass(), Frame::new(PANEL));
    assert!(!door.adapter.wires().bus().is_lit());
    assert_eq!(door.adapter.complaints(), []);
}

#[test]
fn a_silent_panel_and_an_adapter_pulled_out_are_told_and_got_over() {
    let Some(mut door) = Door::open("faults") else { return };
    door.publish("12.4", "91");
    door.shows("12.4", "91");

    // The panel's supply is gone, and comes back: its RAM holds noise then.
    door.adapter.wires().unplug();
    let before = door.log().len();
    door.publish("12.9", "88");
    door.guest.says(LOG, before, "panel at address 0x3c cannot be reached (nobody acknowledges: ");
    door.adapter.wires().bus_mut().power_cycle();
    door.adapter.wires().clear();
    door.shows("12.9", "88");
    door.guest.says(LOG, before, "shows its picture again");

    // A byte in the middle of an update is not acknowledged. Nothing is told of it: trouble was told a moment ago.
    let injected = door.adapter.wires().injected();
    door.adapter.wires().fail_after(9, Failure::NoAcknowledge);
    door.publish("-3.5", "40");
    door.shows("-3.5", "40");
    assert_eq!(door.adapter.wires().injected(), injected + 1);

    // The adapter is pulled out of its socket, and put into another one after a while.
    let before = door.log().len();
    door.adapter.pull();
    door.publish("13.1", "86");
    bus_is(&mut door.guest, false);
    door.guest.says(LOG, before, "cannot open /dev/i2c-0: No such file or directory");
    door.adapter.wires().bus_mut().power_cycle();
    plug(&mut door.guest, &door.adapter, 1);
    door.shows("13.1", "86");
    door.guest.says(LOG, before, "shows its picture again");

    // The same at once, and before anything changes. The kernel keeps the old bus while the program has it open, so that only the next
    // change brings the new one.
    door.adapter.pull();
    door.adapter.wires().bus_mut().power_cycle();
    plug(&mut door.guest, &door.adapter, 2);
    door.publish("13.2", "86");
    door.shows("13.2", "86");
    assert!(door.guest.run("kill -s 0 $(cat /pid)").0 == 0, "the program ended:\n{}", door.log());
}
