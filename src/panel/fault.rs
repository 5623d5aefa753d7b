//! A bus with trouble on it: wraps any bus and makes writes fail as real wires do.
//!
//! What enters are writes and the faults that were asked for; what leaves are the writes up to the fault. The same type
//! serves tests and simulation. It never makes up bytes: what it passes on was written, except for those it loses.

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use thiserror::Error;

/// What goes wrong at a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Nobody acknowledges the byte.
    NoAcknowledge,
    /// Another master, or noise, pulled the line.
    ArbitrationLost,
    /// A start or stop condition in the wrong place.
    Misplaced,
    /// The clock was held for too long.
    Timeout,
    /// The byte is gone and the write goes on as if nothing had happened.
    LostByte,
}

impl Failure {
    /// All kinds.
    pub const ALL: [Failure; 5] =
        [Failure::NoAcknowledge, Failure::ArbitrationLost, Failure::Misplaced, Failure::Timeout, Failure::LostByte];
}

/// Trouble that was asked for, or that the bus inside had by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum FaultyBusError<E> {
    /// The fault asked for.
    #[error("injected fault: {0}")]
    Injected(ErrorKind),
    /// The bus inside failed.
    #[error("{0:?}")]
    Bus(E),
}

impl<E: Error> Error for FaultyBusError<E> {
    fn kind(&self) -> ErrorKind {
        match self {
            FaultyBusError::Injected(kind) => *kind,
            FaultyBusError::Bus(error) => error.kind(),
        }
    }
}

#[derive(Clone, Debug)]
struct Chance {
    one_in: u32,
    random: fastrand::Rng,
}

/// A bus that fails on demand.
#[derive(Clone, Debug)]
pub struct FaultyBus<B> {
    bus: B,
    unplugged: bool,
    planned: Option<(u64, Failure)>,
    chance: Option<Chance>,
    injected: u64,
}

impl<B> FaultyBus<B> {
    /// A bus on which nothing goes wrong yet.
    pub fn new(bus: B) -> Self {
        Self { bus, unplugged: false, planned: None, chance: None, injected: 0 }
    }

    /// Fails once, after `bytes` more bytes have gone well, address bytes counted.
    pub fn fail_after(&mut self, bytes: u64, failure: Failure) {
        self.planned = Some((bytes, failure));
    }

    /// Fails at each byte with a chance of one in `one_in` (0 is never), in a way taken at random, from a seeded generator.
    pub fn fail_at_random(&mut self, one_in: u32, seed: u64) {
        self.chance = (one_in > 0).then(|| Chance { one_in, random: fastrand::Rng::with_seed(seed) });
    }

    /// Nobody answers until [`FaultyBus::clear`].
    pub fn unplug(&mut self) {
        self.unplugged = true;
    }

    /// Ends all trouble.
    pub fn clear(&mut self) {
        self.unplugged = false;
        self.planned = None;
        self.chance = None;
    }

    /// How many faults have happened.
    pub fn injected(&self) -> u64 {
        self.injected
    }

    /// The bus inside.
    pub fn bus(&self) -> &B {
        &self.bus
    }

    /// The bus inside.
    pub fn bus_mut(&mut self) -> &mut B {
        &mut self.bus
    }

    /// What goes wrong at the next byte.
    fn next(&mut self) -> Option<Failure> {
        let planned = match &mut self.planned {
            Some((0, failure)) => Some(*failure),
            Some((bytes, _)) => {
                *bytes -= 1;
                None
            }
            None => None,
        };
        if planned.is_some() {
            self.planned = None;
        }
        let failure = planned.or_else(|| {
            let Chance { one_in, random } = self.chance.as_mut()?;
            (random.u32(0..*one_in) == 0).then(|| Failure::ALL[random.usize(0..Failure::ALL.len())])
        });
        self.injected += u64::from(failure.is_some());
        failure
    }
}

impl<B: ErrorType> ErrorType for FaultyBus<B> {
    type Error = FaultyBusError<B::Error>;
}

/// The error a master reports for a failure at the address byte or at a later one; none for a byte that is lost unseen.
fn reported(failure: Failure, address: bool) -> Option<ErrorKind> {
    let source = if address { NoAcknowledgeSource::Address } else { NoAcknowledgeSource::Data };
    match failure {
        Failure::NoAcknowledge => Some(ErrorKind::NoAcknowledge(source)),
        Failure::ArbitrationLost => Some(ErrorKind::ArbitrationLoss),
        Failure::Misplaced => Some(ErrorKind::Bus),
        Failure::Timeout => Some(ErrorKind::Other),
        // Without its address the write reaches nobody, and nobody acknowledges.
        Failure::LostByte => address.then_some(ErrorKind::NoAcknowledge(source)),
    }
}

impl<B: I2c> I2c for FaultyBus<B> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        if self.unplugged {
            self.injected += 1;
            return Err(FaultyBusError::Injected(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)));
        }
        if let Some(kind) = self.next().and_then(|failure| reported(failure, true)) {
            return Err(FaultyBusError::Injected(kind));
        }
        let mut failed = None;
        let mut passed: Vec<Vec<u8>> = Vec::with_capacity(operations.len());
        for operation in operations.iter() {
            let mut bytes = Vec::new();
            if let Operation::Write(written) = operation {
                for &byte in *written {
                    match self.next() {
                        None => bytes.push(byte),
                        Some(failure) => {
                            failed = reported(failure, false);
                            if failed.is_some() {
                                break;
                            }
                        }
                    }
                }
            }
            passed.push(bytes);
            if failed.is_some() {
                break;
            }
        }
        let mut reduced: Vec<Operation<'_>> = operations
            .iter_mut()
            .zip(&passed)
            .map(|(operation, bytes)| match operation {
                Operation::Write(_) => Operation::Write(bytes),
                Operation::Read(read) => Operation::Read(read),
            })
            .collect();
        self.bus.transaction(address, &mut reduced).map_err(FaultyBusError::Bus)?;
        failed.map_or(Ok(()), |kind| Err(FaultyBusError::Injected(kind)))
    }
}
