//! The records of a SenML pack as they are written (RFC 8428, sections 5 and 6), not resolved yet.
//!
//! Payload bytes enter, JSON or CBOR, told apart by the first byte; records leave, or in words why there are none. At most 1000
//! records are kept and 32 levels of CBOR entered; what a length claims is never believed before the bytes are there.

use std::fmt;

use serde::de::{Deserialize, Deserializer, EnumAccess, Error, MapAccess, SeqAccess, VariantAccess, Visitor};

/// The most records of a pack.
const MOST_RECORDS: usize = 1000;
/// The deepest nesting in CBOR; the JSON parser has its own limit.
const MOST_DEPTH: usize = 32;
/// The longest reason that is given.
const MOST_REASON: usize = 100;
/// The CBOR tag of a decimal fraction (RFC 8949, section 3.4.4).
const DECIMAL_FRACTION: u64 = 4;
/// Exponents beyond this make no number of what a fraction can hold.
const MOST_EXPONENT: f64 = 400.0;

/// A record as it is written.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Record {
    pub version: Option<f64>,
    pub base_name: Option<String>,
    pub base_time: Option<f64>,
    pub base_unit: Option<String>,
    pub base_value: Option<f64>,
    pub base_sum: Option<f64>,
    pub name: Option<String>,
    pub unit: Option<String>,
    pub value: Option<Measured>,
    pub sum: Option<f64>,
    pub time: Option<f64>,
}

/// What a record measured.
#[derive(Debug, PartialEq)]
pub(super) enum Measured {
    Number(f64),
    Bool(bool),
    Text,
    Data,
}

/// The records of the pack in `payload`, or why it is none.
pub(super) fn records(payload: &[u8]) -> Result<Vec<Record>, String> {
    let shortened = |reason: String| reason.chars().take(MOST_REASON).collect::<String>();
    // A CBOR array begins with one of these; JSON with a bracket or white space, which are lower.
    if payload.first().is_some_and(|first| (0x80..=0x9f).contains(first)) {
        let mut rest = payload;
        let pack: Pack = ciborium::de::from_reader_with_recursion_limit(&mut rest, MOST_DEPTH)
            .map_err(|error| shortened(cbor_reason(error)))?;
        return if rest.is_empty() { Ok(pack.0) } else { Err("more bytes after the pack".into()) };
    }
    let end = payload.iter().rposition(|byte| *byte != 0).map_or(0, |last| last + 1);
    let pack: Pack = serde_json::from_slice(&payload[..end]).map_err(|error| shortened(error.to_string()))?;
    Ok(pack.0)
}

fn cbor_reason(error: ciborium::de::Error<std::io::Error>) -> String {
    use ciborium::de::Error;
    match error {
        Error::Io(_) => "CBOR that ends too early".into(),
        Error::Syntax(place) => format!("no CBOR from byte {place} on"),
        Error::Semantic(_, reason) => reason,
        Error::RecursionLimitExceeded => format!("CBOR of more than {MOST_DEPTH} levels"),
    }
}

struct Pack(Vec<Record>);

impl<'de> Deserialize<'de> for Pack {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Records;
        impl<'de> Visitor<'de> for Records {
            type Value = Pack;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an array of records")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Pack, A::Error> {
                let mut records = Vec::new();
                while let Some(record) = elements.next_element()? {
                    if records.len() == MOST_RECORDS {
                        return Err(A::Error::custom(format_args!("more than {MOST_RECORDS} records")));
                    }
                    records.push(record);
                }
                Ok(Pack(records))
            }
        }
        deserializer.deserialize_seq(Records)
    }
}

impl<'de> Deserialize<'de> for Record {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Fields;
        impl<'de> Visitor<'de> for Fields {
            type Value = Record;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a record")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Record, A::Error> {
                let mut record = Record::default();
                while let Some((label, item)) = members.next_entry()? {
                    record.take(label, item).map_err(A::Error::custom)?;
                }
                Ok(record)
            }
        }
        deserializer.deserialize_map(Fields)
    }
}

impl Record {
    fn take(&mut self, label: Label, item: Item) -> Result<(), &'static str> {
        match label {
            Label::Version => self.version = Some(item.number()?),
            Label::BaseName => self.base_name = Some(item.text()?),
            Label::BaseTime => self.base_time = Some(item.number()?),
            Label::BaseUnit => self.base_unit = Some(item.text()?),
            Label::BaseValue => self.base_value = Some(item.number()?),
            Label::BaseSum => self.base_sum = Some(item.number()?),
            Label::Name => self.name = Some(item.text()?),
            Label::Unit => self.unit = Some(item.text()?),
            Label::Value => self.value = Some(Measured::Number(item.number()?)),
            Label::BoolValue => match item {
                Item::Bool(value) => self.value = Some(Measured::Bool(value)),
                _ => return Err("expected true or false as a boolean value"),
            },
            Label::TextValue => self.value = Some(Measured::Text),
            Label::DataValue => self.value = Some(Measured::Data),
            Label::Sum => self.sum = Some(item.number()?),
            Label::Time => self.time = Some(item.number()?),
            Label::Other => {}
            Label::MustKnow => return Err("a label that ends in _ and is not known here"),
        }
        Ok(())
    }
}

/// A label (section 4, and table 4 for CBOR).
enum Label {
    Version,
    BaseName,
    BaseTime,
    BaseUnit,
    BaseValue,
    BaseSum,
    Name,
    Unit,
    Value,
    TextValue,
    BoolValue,
    DataValue,
    Sum,
    Time,
    /// Known to nobody or of no use here, as the update time is.
    Other,
    /// Not to be ignored where it is not known (section 4.4).
    MustKnow,
}

impl Label {
    fn of_text(label: &str) -> Self {
        match label {
            "bver" => Self::Version,
            "bn" => Self::BaseName,
            "bt" => Self::BaseTime,
            "bu" => Self::BaseUnit,
            "bv" => Self::BaseValue,
            "bs" => Self::BaseSum,
            "n" => Self::Name,
            "u" => Self::Unit,
            "v" => Self::Value,
            "vs" => Self::TextValue,
            "vb" => Self::BoolValue,
            "vd" => Self::DataValue,
            "s" => Self::Sum,
            "t" => Self::Time,
            label if label.ends_with('_') => Self::MustKnow,
            _ => Self::Other,
        }
    }

    fn of_number(label: i64) -> Self {
        match label {
            -1 => Self::Version,
            -2 => Self::BaseName,
            -3 => Self::BaseTime,
            -4 => Self::BaseUnit,
            -5 => Self::BaseValue,
            -6 => Self::BaseSum,
            0 => Self::Name,
            1 => Self::Unit,
            2 => Self::Value,
            3 => Self::TextValue,
            4 => Self::BoolValue,
            5 => Self::Sum,
            6 => Self::Time,
            8 => Self::DataValue,
            _ => Self::Other,
        }
    }
}

impl<'de> Deserialize<'de> for Label {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Labels;
        impl Visitor<'_> for Labels {
            type Value = Label;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a label")
            }

            fn visit_str<E: Error>(self, label: &str) -> Result<Label, E> {
                Ok(Label::of_text(label))
            }

            fn visit_i64<E: Error>(self, label: i64) -> Result<Label, E> {
                Ok(Label::of_number(label))
            }

            fn visit_u64<E: Error>(self, label: u64) -> Result<Label, E> {
                Ok(i64::try_from(label).map_or(Label::Other, Label::of_number))
            }
        }
        deserializer.deserialize_any(Labels)
    }
}

/// Anything that stands behind a label.
enum Item {
    Number(f64),
    Bool(bool),
    Text(String),
    /// An array of two numbers, which a decimal fraction is made of.
    Pair(f64, f64),
    Other,
}

impl Item {
    fn number(self) -> Result<f64, &'static str> {
        match self {
            Self::Number(number) if number.is_finite() => Ok(number),
            Self::Number(_) => Err("expected a finite number"),
            _ => Err("expected a number where SenML has one"),
        }
    }

    fn text(self) -> Result<String, &'static str> {
        match self {
            Self::Text(text) => Ok(text),
            _ => Err("expected a text where SenML has one"),
        }
    }

    /// `mantissa` times ten to the power of `exponent`, rounded once.
    fn fraction(exponent: f64, mantissa: f64) -> Self {
        let whole = exponent.fract() == 0.0 && mantissa.fract() == 0.0 && exponent.abs() <= MOST_EXPONENT;
        let number = whole.then(|| format!("{mantissa:e}")).and_then(|written| {
            let (digits, power) = written.split_once('e')?;
            let power = power.parse::<i32>().ok()? + exponent as i32;
            format!("{digits}e{power}").parse().ok()
        });
        number.map_or(Self::Other, Self::Number)
    }
}

impl<'de> Deserialize<'de> for Item {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Items)
    }
}

struct Items;

impl<'de> Visitor<'de> for Items {
    type Value = Item;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<Item, E> {
        Ok(Item::Bool(value))
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<Item, E> {
        Ok(Item::Number(value as f64))
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<Item, E> {
        Ok(Item::Number(value as f64))
    }

    fn visit_i128<E: Error>(self, value: i128) -> Result<Item, E> {
        Ok(Item::Number(value as f64))
    }

    fn visit_u128<E: Error>(self, value: u128) -> Result<Item, E> {
        Ok(Item::Number(value as f64))
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Item, E> {
        Ok(Item::Number(value))
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<Item, E> {
        Ok(Item::Text(value.into()))
    }

    fn visit_bytes<E: Error>(self, _: &[u8]) -> Result<Item, E> {
        Ok(Item::Other)
    }

    fn visit_unit<E: Error>(self) -> Result<Item, E> {
        Ok(Item::Other)
    }

    fn visit_none<E: Error>(self) -> Result<Item, E> {
        Ok(Item::Other)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Item, A::Error> {
        let mut numbers = (0, [0.0; 2]);
        while let Some(element) = elements.next_element()? {
            match element {
                Item::Number(number) if numbers.0 < 2 => numbers.1[numbers.0] = number,
                _ => numbers.0 = 2,
            }
            numbers.0 += 1;
        }
        Ok(if numbers.0 == 2 { Item::Pair(numbers.1[0], numbers.1[1]) } else { Item::Other })
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Item, A::Error> {
        while members.next_entry::<Item, Item>()?.is_some() {}
        Ok(Item::Other)
    }

    /// A tagged item.
    fn visit_enum<A: EnumAccess<'de>>(self, access: A) -> Result<Item, A::Error> {
        struct Tagged;
        impl<'de> Visitor<'de> for Tagged {
            type Value = Item;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a tagged value")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut parts: A) -> Result<Item, A::Error> {
                let tag: Option<u64> = parts.next_element()?;
                Ok(match (tag, parts.next_element()?) {
                    (Some(DECIMAL_FRACTION), Some(Item::Pair(exponent, mantissa))) => {
                        Item::fraction(exponent, mantissa)
                    }
                    _ => Item::Other,
                })
            }
        }
        let (_, variant) = access.variant::<serde::de::IgnoredAny>()?;
        variant.tuple_variant(2, Tagged)
    }
}
