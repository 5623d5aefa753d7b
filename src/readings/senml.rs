//! One number out of a SenML pack (RFC 8428), in JSON or CBOR.
//!
//! Payload bytes enter; a number in the reading's unit and its age leave, resolved from base and record fields as in section 4.6.
//! Units are converted, never assumed to be the reading's where the record names another. A pack may have at most 1000 records.

use std::fmt;
use std::time::Duration;

use super::decode_error::{DecodeError, Excerpt, Spot};
use super::pack::{Measured, Record, records};
use crate::units::{self, Unit};

/// Times below are relative to now, in seconds (section 4.5.3).
const ABSOLUTE: f64 = (1_u64 << 28) as f64;
/// The version of SenML that is understood (section 4.4).
const VERSION: f64 = 10.0;

/// Which number of which records is wanted, and in which unit.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Senml {
    name: Box<str>,
    unit: Unit,
    /// Whether the sum is wanted and not the value.
    sum: bool,
}

/// A number, and how long ago it was measured when it arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// The number, always finite.
    pub value: f64,
    /// Its age; zero where the payload does not tell.
    pub age: Duration,
}

impl From<f64> for Sample {
    fn from(value: f64) -> Self {
        Self { value, age: Duration::ZERO }
    }
}

/// A record of a pack by its resolved name, as far as it has a value that a reading could be.
#[cfg(feature = "recording")]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// The name, base name and name together.
    pub name: String,
    /// The unit that the record or its base names.
    pub unit: Option<String>,
}

/// The records with a number that a pack in JSON or CBOR holds, in its order.
///
/// # Errors
/// [`DecodeError::NotSenml`] if it is no pack.
#[cfg(feature = "recording")]
pub fn list(payload: &[u8]) -> Result<Vec<Listed>, DecodeError> {
    let records = records(payload).map_err(|reason| DecodeError::NotSenml { reason: reason.into() })?;
    let mut base = Base::default();
    let mut listed = Vec::new();
    for record in records {
        base.take(&record)?;
        if matches!(record.value, Some(Measured::Number(_))) {
            let name = format!("{}{}", base.name, record.name.as_deref().unwrap_or(""));
            listed.push(Listed { name, unit: record.unit.or_else(|| base.unit.clone()) });
        }
    }
    Ok(listed)
}

/// What later records take over from earlier ones (section 4.1).
#[derive(Default)]
struct Base {
    name: String,
    unit: Option<String>,
    time: f64,
    value: f64,
    sum: Option<f64>,
}

/// As a layout writes it, with the unit, which decides what is taken.
impl fmt::Display for Senml {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { name, unit, sum } = self;
        write!(f, "senml({name:?}{}) in {unit}", if *sum { ", field: sum" } else { "" })
    }
}

impl Senml {
    /// The number in the records called `name`; `None` if there can be none of that name (section 4.5.1).
    pub fn new(name: &str, unit: Unit, sum: bool) -> Option<Self> {
        let sign = |sign: char| sign.is_ascii_alphanumeric() || matches!(sign, '-' | ':' | '.' | '/' | '_');
        let valid = name.chars().all(sign) && name.starts_with(|first: char| first.is_ascii_alphanumeric());
        valid.then(|| Self { name: name.into(), unit, sum })
    }

    /// The newest number of that name in the pack. Of records with the same name, as of a place and a humidity, those count whose
    /// unit can be given in the reading's; of records with the same time the last one. Times to come are not looked at.
    pub fn read(&self, payload: &[u8]) -> Result<Sample, DecodeError> {
        let records = records(payload).map_err(|reason| DecodeError::NotSenml { reason: reason.into() })?;
        let mut base = Base::default();
        let mut newest: Option<(f64, Record)> = None;
        let mut unlike = None;
        for record in records {
            base.take(&record)?;
            let time = base.time + record.time.unwrap_or(0.0);
            let to_come = time < ABSOLUTE && time > 0.0;
            if to_come || !self.is_of(&base, &record) || !self.has_number(&base, &record) {
                continue;
            }
            if let Err(error) = self.unit_of(&base, &record) {
                unlike = Some(error);
                continue;
            }
            let older =
                newest.as_ref().is_some_and(|(best, _)| (*best < ABSOLUTE) == (time < ABSOLUTE) && time < *best);
            if !older {
                newest = Some((time, base.resolved(record)));
            }
        }
        let Some((time, record)) = newest else {
            return Err(unlike.unwrap_or(DecodeError::NoRecord { name: self.shown() }));
        };
        let value = self.number(&record)?;
        let age = if time < ABSOLUTE {
            // What is older than a span can be is too old in any case.
            Duration::try_from_secs_f64(-time).unwrap_or(if time < 0.0 { Duration::MAX } else { Duration::ZERO })
        } else {
            Duration::ZERO
        };
        Ok(Sample { value, age })
    }

    fn is_of(&self, base: &Base, record: &Record) -> bool {
        self.name.strip_prefix(&*base.name) == Some(record.name.as_deref().unwrap_or(""))
    }

    fn has_number(&self, base: &Base, record: &Record) -> bool {
        if self.sum { record.sum.or(base.sum).is_some() } else { record.value.is_some() }
    }

    /// The unit that the record's number is in. A record without a unit is in the reading's, as any other payload is.
    fn unit_of(&self, base: &Base, record: &Record) -> Result<Unit, DecodeError> {
        let Some(name) = record.unit.as_ref().or(base.unit.as_ref()) else { return Ok(self.unit) };
        let unit = units::lookup_senml(name).and_then(|unit| {
            // A sum is the unit times a second (section 4.3).
            if self.sum {
                units::multiply(unit, units::lookup("s")?).ok().map(|product| product.unit)
            } else {
                Some(unit)
            }
        });
        unit.filter(|unit| unit.converts_to(self.unit)).ok_or_else(|| DecodeError::UnlikeUnit {
            name: self.shown(),
            found: Excerpt::of(name.as_bytes()),
            sum: self.sum,
            wanted: if self.unit.is_bare() { "a bare number".into() } else { self.unit.to_string().into() },
        })
    }

    /// The number of a resolved record.
    fn number(&self, record: &Record) -> Result<f64, DecodeError> {
        let spot = || Spot::Record(self.shown());
        let wrong = |found| DecodeError::WrongKind { spot: spot(), found };
        let number = match (self.sum, &record.value) {
            (true, _) => record.sum.unwrap_or(0.0),
            (false, Some(Measured::Number(value))) => *value,
            (false, Some(Measured::Bool(value))) if self.unit.is_bare() => f64::from(u8::from(*value)),
            (false, Some(Measured::Bool(_))) => return Err(wrong("true or false, which have no unit")),
            (false, Some(Measured::Text)) => return Err(wrong("a text")),
            (false, Some(Measured::Data)) => return Err(wrong("data")),
            (false, None) => return Err(DecodeError::NoRecord { name: self.shown() }),
        };
        let unit = self.unit_of(&Base::default(), record)?;
        let scale = match (self.sum, record.unit.as_deref().and_then(units::lookup_senml), units::lookup("s")) {
            (true, Some(unit), Some(second)) => units::multiply(unit, second).ok().map(|product| product.scale),
            _ => None,
        };
        let number = scale.map_or(number, |scale| scale.apply(number));
        let converted = units::convert(number, unit, self.unit).map(|value| value + 0.0);
        converted.ok_or_else(|| DecodeError::NotFinite {
            spot: spot(),
            found: Excerpt::of(format!("{number:?}").as_bytes()),
        })
    }

    fn shown(&self) -> Excerpt {
        Excerpt::of(self.name.as_bytes())
    }
}

impl Base {
    /// Takes over what `record` says for itself and those after it.
    fn take(&mut self, record: &Record) -> Result<(), DecodeError> {
        if let Some(version) = record.version
            && !((1.0..=VERSION).contains(&version) && version.fract() == 0.0)
        {
            let reason = format!("version {version:?}, and {VERSION} is the latest known");
            return Err(DecodeError::NotSenml { reason: reason.into() });
        }
        if let Some(name) = &record.base_name {
            self.name.clone_from(name);
        }
        if let Some(unit) = &record.base_unit {
            self.unit = Some(unit.clone());
        }
        self.time = record.base_time.unwrap_or(self.time);
        self.value = record.base_value.unwrap_or(self.value);
        self.sum = record.base_sum.or(self.sum);
        Ok(())
    }

    /// The record with unit, value and sum in full: what is missing of a sum counts as zero.
    fn resolved(&self, mut record: Record) -> Record {
        if let Some(Measured::Number(value)) = &mut record.value {
            *value += self.value;
        }
        if record.sum.is_some() || self.sum.is_some() {
            record.sum = Some(record.sum.unwrap_or(0.0) + self.sum.unwrap_or(0.0));
        }
        record.unit = record.unit.or_else(|| self.unit.clone());
        record
    }
}

#[cfg(test)]
mod tests;
