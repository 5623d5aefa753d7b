//! One payload: what numbers or words are in it, and how a layout would pick them.
//!
//! Payload bytes enter; places with what stands there leave. A number counts only where the pick that a layout would name
//! decodes it, so that nothing is promised that would not work. Work and memory are bounded by the payload's length and a fixed
//! number of fields.

use serde_json::Value;

use super::MOST_FIELDS;
use crate::readings::{self, MOST_BYTES, Pick};
use crate::units::{self, Unit};

/// Columns of a line that are looked at.
const MOST_COLUMNS: u16 = 16;
/// Steps of a pointer that are looked at.
const MOST_DEPTH: usize = 8;
/// No longer text is taken for a word.
const LONGEST_WORD: usize = 24;
/// What may separate columns, the least likely part of a number first.
const SEPARATORS: [char; 5] = [';', '\t', '|', ',', ' '];

/// Where in a payload something stands.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spot {
    /// The whole payload.
    Whole,
    /// A column, counted from 1.
    Column {
        /// Which one.
        number: u16,
        /// What separates it.
        separator: char,
        /// Whether it has a decimal comma.
        comma: bool,
    },
    /// A place in a JSON document, as an RFC 6901 pointer.
    Pointer(String),
    /// A SenML record, by its name.
    Senml(String),
}

/// What stands there.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// A number.
    Number {
        /// The number.
        value: f64,
        /// The unit that the payload names.
        unit: Option<String>,
    },
    /// A word.
    Word(String),
}

impl Spot {
    /// A column.
    pub fn column(number: u16, separator: char, comma: bool) -> Self {
        Self::Column { number, separator, comma }
    }

    /// The pick of a layout; `None` if there can be none.
    pub fn pick(&self, unit: Unit) -> Option<Pick> {
        match self {
            Self::Whole => Some(Pick::number()),
            Self::Column { number, separator, comma } => {
                let pick = Pick::column((*number).into(), *separator).ok()?;
                if *comma { pick.with_decimal_comma().ok() } else { Some(pick) }
            }
            Self::Pointer(pointer) => Pick::pointer(pointer).ok(),
            Self::Senml(name) => Pick::senml(name, unit, false).ok(),
        }
    }
}

/// What is in a payload; nothing where it holds neither numbers nor a word.
pub(super) fn look(payload: &[u8]) -> Vec<(Spot, Found)> {
    if payload.len() > MOST_BYTES {
        return Vec::new();
    }
    if let Ok(value) = Pick::number().decode(payload) {
        return vec![(Spot::Whole, number(value))];
    }
    let is_cbor = payload.first().is_some_and(|first| (0x80..=0x9f).contains(first));
    let Ok(text) = str::from_utf8(payload) else {
        return if is_cbor { senml(payload) } else { Vec::new() };
    };
    let text = text.trim_matches(|sign: char| sign.is_ascii_whitespace() || sign == '\0');
    if text.starts_with('[') {
        let records = senml(payload);
        if !records.is_empty() {
            return records;
        }
    }
    if text.starts_with(['[', '{'])
        && let Ok(document) = serde_json::from_str::<Value>(text)
    {
        let mut found = Vec::new();
        walk(&document, &mut String::new(), 0, None, &mut found);
        return found;
    }
    let columns = SEPARATORS.iter().map(|separator| columns(payload, text, *separator));
    if let Some(columns) = columns.into_iter().find(|columns| !columns.is_empty()) {
        return columns;
    }
    let is_word = !text.is_empty() && text.len() <= LONGEST_WORD && !text.contains(char::is_control);
    if is_word { vec![(Spot::Whole, Found::Word(text.into()))] } else { Vec::new() }
}

fn number(value: f64) -> Found {
    Found::Number { value, unit: None }
}

/// The columns with numbers; nothing unless there are two columns.
fn columns(payload: &[u8], text: &str, separator: char) -> Vec<(Spot, Found)> {
    if !text.contains(separator) {
        return Vec::new();
    }
    let mut found = Vec::new();
    for column in 1..=MOST_COLUMNS {
        let spots = [false, true].map(|comma| Spot::column(column, separator, comma));
        // A number without a decimal sign reads alike either way, and a point decides.
        let decoded = spots.into_iter().find_map(|spot| {
            let value = spot.pick(Unit::BARE)?.decode(payload).ok()?;
            Some((spot, number(value)))
        });
        found.extend(decoded);
    }
    found
}

/// The records of a SenML pack with numbers in units that are known.
fn senml(payload: &[u8]) -> Vec<(Spot, Found)> {
    let mut found: Vec<(Spot, Found)> = Vec::new();
    for record in readings::list_senml(payload).unwrap_or_default() {
        let unit = match &record.unit {
            Some(name) => match units::lookup_senml(name) {
                Some(unit) => unit,
                None => continue,
            },
            None => Unit::BARE,
        };
        let spot = Spot::Senml(record.name);
        if found.len() >= MOST_FIELDS || found.iter().any(|(known, _)| *known == spot) {
            continue;
        }
        if let Some(value) = spot.pick(unit).and_then(|pick| pick.decode(payload).ok()) {
            found.push((spot, Found::Number { value, unit: record.unit }));
        }
    }
    found
}

/// The numbers of a JSON document. `unit` is what the member beside them says it is.
fn walk(value: &Value, pointer: &mut String, depth: usize, unit: Option<&str>, found: &mut Vec<(Spot, Found)>) {
    if found.len() >= MOST_FIELDS || depth > MOST_DEPTH {
        return;
    }
    let mut push = |value: f64, pointer: &str| {
        if value.is_finite() {
            found.push((Spot::Pointer(pointer.into()), Found::Number { value, unit: unit.map(str::to_owned) }));
        }
    };
    match value {
        Value::Number(number) => push(number.as_f64().unwrap_or(f64::NAN), pointer),
        // Many devices write their numbers as texts.
        Value::String(text) => push(text.trim().parse().unwrap_or(f64::NAN), pointer),
        Value::Array(elements) => {
            for (place, element) in elements.iter().enumerate() {
                step(&place.to_string(), element, pointer, depth, None, found);
            }
        }
        Value::Object(members) => {
            let named = |name: &str| members.get(name).and_then(Value::as_str);
            let numbers = members.values().filter(|member| member.is_number()).count();
            for (name, member) in members {
                let own = ["_unit", "Unit", "unit"].iter().find_map(|ending| named(&format!("{name}{ending}")));
                // A unit beside several numbers is that of none in particular.
                let unit = own.or_else(|| named("unit").filter(|_| numbers == 1));
                step(&name.replace('~', "~0").replace('/', "~1"), member, pointer, depth, unit, found);
            }
        }
        Value::Null | Value::Bool(_) => {}
    }
}

fn step(
    name: &str,
    value: &Value,
    pointer: &mut String,
    depth: usize,
    unit: Option<&str>,
    found: &mut Vec<(Spot, Found)>,
) {
    let length = pointer.len();
    pointer.push('/');
    pointer.push_str(name);
    walk(value, pointer, depth + 1, unit, found);
    pointer.truncate(length);
}

/// How many decimals a number has when it is written as short as it can be.
pub(super) fn decimals(value: f64) -> u32 {
    format!("{value}").split_once('.').map_or(0, |(_, fraction)| fraction.len() as u32)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn told(payload: &[u8]) -> Vec<String> {
        let tell = |(spot, found): (Spot, Found)| match found {
            Found::Number { value, unit } => format!("{spot:?} {value} {}", unit.unwrap_or_default()).trim().to_owned(),
            Found::Word(word) => format!("{spot:?} {word}"),
        };
        look(payload).into_iter().map(tell).collect()
    }

    #[test]
    fn payloads_and_how_they_can_be_picked() {
        for (payload, expected) in [
            (&b"12.4"[..], &["Whole 12.4"][..]),
            (b" -3\n", &["Whole -3"]),
            (b"open", &["Whole open"]),
            (b"in use", &["Whole in use"]),
            (
                b"12.4,91.0",
                &[
                    "Column { number: 1, separator: ',', comma: false } 12.4",
                    "Column { number: 2, separator: ',', comma: false } 91",
                ],
            ),
            (
                b"12,4;ok;7",
                &[
                    "Column { number: 1, separator: ';', comma: true } 12.4",
                    "Column { number: 3, separator: ';', comma: false } 7",
                ],
            ),
            (b"12.4 C", &["Column { number: 1, separator: ' ', comma: false } 12.4"]),
            (
                br#"{"level":64.2,"a/b":{"t":"12.4"},"on":true}"#,
                &["Pointer(\"/a~1b/t\") 12.4", "Pointer(\"/level\") 64.2"],
            ),
            (br#"{"unit":"hPa","value":1013}"#, &["Pointer(\"/value\") 1013 hPa"]),
            (br#"{"p":1013,"p_unit":"hPa","t":9}"#, &["Pointer(\"/p\") 1013 hPa", "Pointer(\"/t\") 9"]),
            (
                br#"[{"bn":"meter/","n":"power","u":"W","v":412},{"n":"odd","u":"nosuch","v":1}]"#,
                &["Senml(\"meter/power\") 412 W"],
            ),
            (b"[3,4]", &["Pointer(\"/0\") 3", "Pointer(\"/1\") 4"]),
            (b"", &[]),
            (b"\xff\xfe", &[]),
            (b"a sentence that goes on for much too long", &[]),
        ] {
            assert_eq!(told(payload), expected, "{}", String::from_utf8_lossy(payload));
        }
    }

    #[test]
    fn decimals_are_those_of_the_shortest_form() {
        let all = [12.0, 12.4, 0.05, -3.125, 1e15].map(decimals);
        assert_eq!(all, [0, 1, 2, 3, 0]);
    }

    proptest! {
        #[test]
        fn what_is_found_can_be_picked(payload in prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..60),
            "[0-9.,; +-]{0,20}".prop_map(String::into_bytes),
            r#"[\[\]{}":,a-z0-9.~/]{0,40}"#.prop_map(String::into_bytes),
        ]) {
            let found = look(&payload);
            prop_assert!(found.len() <= MOST_FIELDS);
            for (spot, found) in found {
                let Found::Number { value, unit } = found else { continue };
                let known = match (&spot, unit) {
                    (Spot::Senml(_), Some(unit)) => units::lookup_senml(&unit).unwrap(),
                    _ => Unit::BARE,
                };
                prop_assert_eq!(spot.pick(known).unwrap().decode(&payload), Ok(value + 0.0));
            }
        }
    }
}
