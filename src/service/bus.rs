//! An I2C bus of this machine whose errors speak: `linux-embedded-hal`, with the system's words and the right kind of error.
//!
//! What enters are a device file and transactions; what leaves are those on the bus, and the errors that programs and people can tell
//! apart. It retries nothing, and sends nothing of its own.

use std::fmt;
use std::io;
use std::path::Path;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use linux_embedded_hal::i2cdev::linux::LinuxI2CError;
use linux_embedded_hal::{I2CError, I2cdev};

/// An open device file of an I2C bus.
pub struct Bus(I2cdev);

/// Why a transaction failed, in the system's words.
pub struct BusError {
    kind: ErrorKind,
    problem: io::Error,
}

/// What adapters report for an address or a byte that nobody acknowledges, besides what the embedded traits know: `EREMOTEIO`, with
/// its words on Linux (the kernel's documentation, "I2C/SMBUS fault codes", names `ENXIO`; `EREMOTEIO` is common practice in drivers).
const REMOTE_IO: i32 = 121;
/// The adapter gave up on the bus (the same page).
const TIMED_OUT: i32 = 110;

impl Bus {
    /// Opens the device file; nothing is sent.
    ///
    /// # Errors
    /// The system's.
    pub fn open(device: &Path) -> io::Result<Self> {
        I2cdev::new(device).map(Self).map_err(io::Error::from)
    }
}

impl fmt::Debug for Bus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Bus")
    }
}

impl ErrorType for Bus {
    type Error = BusError;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        I2c::<embedded_hal::i2c::SevenBitAddress>::transaction(&mut self.0, address, operations).map_err(BusError::from)
    }
}

impl From<I2CError> for BusError {
    fn from(error: I2CError) -> Self {
        let kind = embedded_hal::i2c::Error::kind(&error);
        // The system's number, or words that the file gave.
        let problem = match error.inner() {
            LinuxI2CError::Errno(number) => io::Error::from_raw_os_error(*number),
            LinuxI2CError::Io(problem) => match problem.raw_os_error() {
                Some(number) => io::Error::from_raw_os_error(number),
                None => io::Error::new(problem.kind(), problem.to_string()),
            },
        };
        Self::new(kind, problem)
    }
}

impl BusError {
    fn new(kind: ErrorKind, problem: io::Error) -> Self {
        let kind = match problem.raw_os_error() {
            Some(REMOTE_IO) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            _ => kind,
        };
        Self { kind, problem }
    }
}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.kind
    }
}

impl fmt::Display for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.kind {
            ErrorKind::NoAcknowledge(_) => write!(f, "nobody acknowledges: {}", self.problem),
            _ if self.problem.raw_os_error() == Some(TIMED_OUT) => write!(f, "the bus is held: {}", self.problem),
            _ => self.problem.fmt(f),
        }
    }
}

impl fmt::Debug for BusError {
    /// For people too: this is all that generic code can print of a bus's error.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl std::error::Error for BusError {}

#[cfg(test)]
mod tests {
    use super::*;

    fn error(number: i32) -> BusError {
        BusError::from(I2CError::from(LinuxI2CError::Errno(number)))
    }

    /// The numbers are those of `errno(3)` on Linux.
    #[test]
    fn each_way_of_not_answering_is_told_as_such() {
        use embedded_hal::i2c::Error as _;
        for number in [6, 121] {
            assert!(matches!(error(number).kind(), ErrorKind::NoAcknowledge(_)), "{number}");
            assert!(error(number).to_string().starts_with("nobody acknowledges: "), "{}", error(number));
        }
        assert!(error(110).to_string().starts_with("the bus is held: "), "{}", error(110));
        assert_eq!(error(11).kind(), ErrorKind::ArbitrationLoss);
        assert_eq!(format!("{:?}", error(5)), io::Error::from_raw_os_error(5).to_string());
    }

    #[test]
    fn a_file_that_is_not_there_is_the_systems_error() {
        let problem = Bus::open(Path::new("/nowhere/i2c-1")).unwrap_err();
        assert_eq!(problem.kind(), io::ErrorKind::NotFound);
    }
}
