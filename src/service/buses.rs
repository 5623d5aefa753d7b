//! The I2C buses of this machine, and who answers on them.
//!
//! What enters are the roots of `/sys` and `/dev` and a way to open a bus; what leaves are the buses with their names and clocks, and
//! for each address asked whether somebody is there. Nothing is written, neither to files nor to a bus.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use embedded_hal::i2c::{Error as _, ErrorKind, I2c};

/// Where the system says what there is; other folders in tests.
#[derive(Clone, Debug)]
pub struct Roots {
    /// `/sys`.
    pub sys: PathBuf,
    /// `/dev`.
    pub dev: PathBuf,
}

/// Longer names and links than this are not read.
const MOST_NAME: usize = 4096;

impl Default for Roots {
    fn default() -> Self {
        Self { sys: "/sys".into(), dev: "/dev".into() }
    }
}

/// One bus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BusThere {
    /// The kernel's number for it.
    pub number: u32,
    /// What its adapter is called.
    pub name: Option<String>,
    /// Its clock in hertz, where the device tree says so.
    pub clock: Option<u32>,
    /// Its device file, which may be missing.
    pub device: PathBuf,
    /// Whether the device file is there.
    pub has_device: bool,
}

/// What came of asking one address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Somebody acknowledged the address.
    Yes,
    /// Nobody did.
    Nobody,
    /// A driver of the kernel has the address, so that it was not asked.
    Held(String),
    /// The bus failed otherwise, in its own words.
    Trouble(String),
}

/// A bus and what came of asking on it.
#[derive(Debug)]
pub struct Survey {
    /// The bus.
    pub bus: BusThere,
    /// Each address with its answer, or why the bus cannot be used.
    pub answers: io::Result<Vec<(u8, Answer)>>,
}

impl Roots {
    /// All buses by number: those that the kernel knows, and those that have a device file.
    pub fn buses(&self) -> Vec<BusThere> {
        let known = numbers(&self.sys.join("bus/i2c/devices"));
        let mut numbers: Vec<u32> = known.into_iter().chain(numbers(&self.dev)).collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers.into_iter().map(|number| self.bus(number)).collect()
    }

    /// Whether the kernel offers device files for buses at all: the module `i2c-dev`.
    pub fn offers_devices(&self) -> bool {
        self.sys.join("class/i2c-dev").is_dir()
    }

    fn bus(&self, number: u32) -> BusThere {
        let about = self.sys.join(format!("bus/i2c/devices/i2c-{number}"));
        let name = read(&about.join("name")).map(|name| String::from_utf8_lossy(&name).trim().to_owned());
        // Four bytes, the most significant first, as all numbers of a device tree (Devicetree Specification 0.4, section 2.2.4).
        let clock = read(&about.join("of_node/clock-frequency"))
            .and_then(|bytes| <[u8; 4]>::try_from(bytes.as_slice()).ok())
            .map(u32::from_be_bytes);
        let device = self.dev.join(format!("i2c-{number}"));
        let has_device = device.exists();
        BusThere { number, name: name.filter(|name| !name.is_empty()), clock, device, has_device }
    }

    /// The driver of the kernel that has an address of a bus.
    fn holder(&self, number: u32, address: u8) -> Option<String> {
        let link = self.sys.join(format!("bus/i2c/devices/{number}-{address:04x}/driver"));
        let driver = fs::read_link(link).ok()?;
        Some(driver.file_name()?.to_string_lossy().into_owned())
    }

    /// Asks each of `addresses` on a bus, which `open` opens.
    pub fn survey<B: I2c>(&self, bus: BusThere, addresses: &[u8], open: impl FnOnce(&Path) -> io::Result<B>) -> Survey {
        let answers = open(&bus.device).map(|mut opened| {
            let ask = |address: &u8| match self.holder(bus.number, *address) {
                Some(driver) => (*address, Answer::Held(driver)),
                None => (*address, ask(&mut opened, *address)),
            };
            addresses.iter().map(ask).collect()
        });
        Survey { bus, answers }
    }
}

/// Reads one byte from an address, as SMBus's "receive byte" does: a panel answers with its status, which changes nothing in it.
/// The other way to ask, an empty write ("quick command"), is a write for some chips.
fn ask(bus: &mut impl I2c, address: u8) -> Answer {
    match bus.read(address, &mut [0]) {
        Ok(()) => Answer::Yes,
        Err(error) if matches!(error.kind(), ErrorKind::NoAcknowledge(_)) => Answer::Nobody,
        Err(error) => Answer::Trouble(format!("{error:?}")),
    }
}

/// The numbers N of what is called `i2c-N` in a folder; none where it cannot be read.
fn numbers(folder: &Path) -> Vec<u32> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let number = |entry: io::Result<fs::DirEntry>| entry.ok()?.file_name().to_str()?.strip_prefix("i2c-")?.parse().ok();
    entries.filter_map(number).collect()
}

fn read(path: &Path) -> Option<Vec<u8>> {
    super::read_start(path, MOST_NAME).ok()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use embedded_hal::i2c::{ErrorType, NoAcknowledgeSource, Operation};

    use super::*;
    use crate::draw::Size;
    use crate::panel::{Controller, EmulatedPanel};

    fn tree() -> (tempfile::TempDir, Roots) {
        let folder = tempfile::tempdir().unwrap();
        let roots = Roots { sys: folder.path().join("sys"), dev: folder.path().join("dev") };
        fs::create_dir_all(roots.sys.join("bus/i2c/devices")).unwrap();
        fs::create_dir_all(&roots.dev).unwrap();
        (folder, roots)
    }

    fn add(roots: &Roots, number: u32, name: &str, clock: Option<&[u8]>) {
        let about = roots.sys.join(format!("bus/i2c/devices/i2c-{number}"));
        fs::create_dir_all(about.join("of_node")).unwrap();
        fs::write(about.join("name"), name).unwrap();
        if let Some(clock) = clock {
            fs::write(about.join("of_node/clock-frequency"), clock).unwrap();
        }
    }

    #[test]
    fn buses_are_listed_by_number_with_name_and_clock() {
        let (_folder, roots) = tree();
        add(&roots, 10, "second\n", None);
        add(&roots, 1, "bus of the door\n", Some(&400_000_u32.to_be_bytes()));
        add(&roots, 2, "\n", Some(b"no"));
        fs::write(roots.dev.join("i2c-1"), "").unwrap();
        fs::write(roots.dev.join("i2c-30"), "").unwrap();
        fs::write(roots.dev.join("i2c-x"), "").unwrap();
        fs::create_dir(roots.sys.join("bus/i2c/devices/1-003c")).unwrap();
        let buses = roots.buses();
        let told: Vec<_> =
            buses.iter().map(|bus| (bus.number, bus.name.as_deref(), bus.clock, bus.has_device)).collect();
        assert_eq!(
            told,
            [
                (1, Some("bus of the door"), Some(400_000), true),
                (2, None, None, false),
                (10, Some("second"), None, false),
                (30, None, None, true),
            ]
        );
        assert_eq!(buses[0].device, roots.dev.join("i2c-1"));
        assert!(!roots.offers_devices());
        fs::create_dir_all(roots.sys.join("class/i2c-dev")).unwrap();
        assert!(roots.offers_devices());
    }

    #[test]
    fn a_machine_without_buses_has_none() {
        let (folder, _) = tree();
        let roots = Roots { sys: folder.path().join("none"), dev: folder.path().join("none") };
        assert_eq!(roots.buses(), []);
    }

    /// The emulated panel complains about everything that a real one would not take; asking changes nothing on it.
    #[test]
    fn a_panel_answers_and_asking_changes_nothing() {
        let (_folder, roots) = tree();
        add(&roots, 1, "bus", None);
        let bus = roots.buses().remove(0);
        let mut panel = EmulatedPanel::new(Controller::Ssd1306, Size::new(128, 32), 0x3d, 1);
        let before = panel.glass();
        let survey = roots.survey(bus, &[0x3c, 0x3d], |_| Ok(&mut panel));
        assert_eq!(survey.answers.unwrap(), [(0x3c, Answer::Nobody), (0x3d, Answer::Yes)]);
        assert_eq!(panel.glass(), before);
        assert_eq!(panel.complaints(), [crate::panel::Complaint::Address(0x3c)]);
        assert_eq!((panel.traffic().transactions, panel.traffic().bytes), (1, 2));
    }

    /// Any bus that cannot be asked without harm: fails the test when it is.
    struct Untouchable;

    impl ErrorType for Untouchable {
        type Error = ErrorKind;
    }

    impl I2c for Untouchable {
        fn transaction(&mut self, address: u8, _: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            panic!("{address:#04x} was asked, which a driver of the kernel has");
        }
    }

    #[test]
    fn an_address_that_a_driver_has_is_left_alone() {
        let (_folder, roots) = tree();
        add(&roots, 1, "bus", None);
        let device = roots.sys.join("bus/i2c/devices/1-003c");
        fs::create_dir(&device).unwrap();
        symlink("../../drivers/ssd1307fb", device.join("driver")).unwrap();
        let survey = roots.survey(roots.buses().remove(0), &[0x3c], |_| Ok(Untouchable));
        assert_eq!(survey.answers.unwrap(), [(0x3c, Answer::Held("ssd1307fb".into()))]);
    }

    struct Failing(ErrorKind);

    impl ErrorType for Failing {
        type Error = ErrorKind;
    }

    impl I2c for Failing {
        fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
            assert!(
                matches!(operations, [Operation::Read(bytes)] if bytes.len() == 1),
                "something else than one byte read"
            );
            Err(self.0)
        }
    }

    #[test]
    fn silence_and_trouble_are_told_apart() {
        let silence = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown);
        assert_eq!(ask(&mut Failing(silence), 0x3c), Answer::Nobody);
        assert_eq!(ask(&mut Failing(ErrorKind::Bus), 0x3c), Answer::Trouble("Bus".into()));
    }

    #[test]
    fn a_bus_that_does_not_open_says_why() {
        let (_folder, roots) = tree();
        add(&roots, 1, "bus", None);
        let refused = |_: &Path| Err::<Untouchable, _>(io::Error::from(io::ErrorKind::PermissionDenied));
        let survey = roots.survey(roots.buses().remove(0), &[0x3c], refused);
        assert_eq!(survey.answers.unwrap_err().kind(), io::ErrorKind::PermissionDenied);
    }
}
