//! Where a panel is: on a bus, or in a picture file.
//!
//! What enters is text as people write it, `ssd1306:/dev/i2c-1:0x3c` or `picture:door.png`; what leaves is a checked
//! [`Place`]. Nothing is opened here.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use crate::panel::Controller;

/// The address that nearly all panels of this kind have (common practice).
const USUAL_ADDRESS: u8 = 0x3c;

/// Where frames go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A panel on an I2C bus.
    Bus {
        /// The chip on the panel.
        controller: Controller,
        /// The bus's device file.
        device: PathBuf,
        /// The panel's 7-bit address.
        address: u8,
    },
    /// An emulated panel that keeps its picture in a PNG file.
    Picture {
        /// The file.
        file: PathBuf,
    },
}

/// Why a text names no place for a panel.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Something else before the first colon.
    #[error("`{text}` names no panel: write ssd1306:/dev/i2c-1:0x3c, sh1106:/dev/i2c-1:0x3c or picture:door.png")]
    Kind {
        /// The whole text.
        text: String,
    },
    /// Nothing after it.
    #[error("`{text}` names no {what}: write, for example, {example}")]
    Incomplete {
        /// The whole text.
        text: String,
        /// What is missing.
        what: &'static str,
        /// How it could be written.
        example: &'static str,
    },
    /// Not an address of I2C.
    #[error("`{address}` is no I2C address: write 0x08 to 0x77, usually 0x3c or 0x3d")]
    Address {
        /// What stands in its place.
        address: String,
    },
}

impl FromStr for Place {
    type Err = PlaceError;

    fn from_str(text: &str) -> Result<Self, PlaceError> {
        let kind = || PlaceError::Kind { text: text.into() };
        let (name, rest) = text.split_once(':').ok_or_else(kind)?;
        let controller = match name.to_ascii_lowercase().as_str() {
            "ssd1306" => Controller::Ssd1306,
            "sh1106" => Controller::Sh1106,
            "picture" if rest.is_empty() => {
                return Err(PlaceError::Incomplete { text: text.into(), what: "file", example: "picture:door.png" });
            }
            "picture" => return Ok(Self::Picture { file: rest.into() }),
            _ => return Err(kind()),
        };
        let (device, address) = match rest.rsplit_once(':') {
            Some((device, address)) => (device, parse_address(address)?),
            None => (rest, USUAL_ADDRESS),
        };
        if device.is_empty() {
            let example = "ssd1306:/dev/i2c-1:0x3c";
            return Err(PlaceError::Incomplete { text: text.into(), what: "bus", example });
        }
        Ok(Self::Bus { controller, device: device.into(), address })
    }
}

/// A 7-bit address, hexadecimal after `0x` and decimal otherwise. 0x00 to 0x07 and 0x78 to 0x7f are reserved (I2C-bus
/// specification UM10204, section 3.1.12, from memory).
fn parse_address(text: &str) -> Result<u8, PlaceError> {
    let digits = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    let number = match digits {
        Some(digits) if digits.bytes().all(|byte| byte.is_ascii_hexdigit()) => u8::from_str_radix(digits, 16).ok(),
        None if text.bytes().all(|byte| byte.is_ascii_digit()) => text.parse().ok(),
        _ => None,
    };
    number.filter(|address| (0x08..=0x77).contains(address)).ok_or_else(|| PlaceError::Address { address: text.into() })
}

impl Place {
    /// Whether both are the same panel, whatever controller it is said to have.
    pub fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Bus { device, address, .. }, Self::Bus { device: theirs, address: their_address, .. }) => {
                device == theirs && address == their_address
            }
            _ => self == other,
        }
    }

    /// The same place with a relative path taken from `base`.
    pub fn relative_to(self, base: &Path) -> Self {
        match self {
            Self::Bus { controller, device, address } => Self::Bus { controller, device: base.join(device), address },
            Self::Picture { file } => Self::Picture { file: base.join(file) },
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus { controller, device, address } => {
                let name = match controller {
                    Controller::Ssd1306 => "ssd1306",
                    Controller::Sh1106 => "sh1106",
                };
                write!(f, "{name}:{}:{address:#04x}", device.display())
            }
            Self::Picture { file } => write!(f, "picture:{}", file.display()),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn parse(text: &str) -> Result<Place, PlaceError> {
        text.parse()
    }

    #[test]
    fn places_read_and_print() {
        for (text, printed) in [
            ("ssd1306:/dev/i2c-1:0x3c", "ssd1306:/dev/i2c-1:0x3c"),
            ("SH1106:/dev/i2c-20:61", "sh1106:/dev/i2c-20:0x3d"),
            ("ssd1306:/dev/i2c-1", "ssd1306:/dev/i2c-1:0x3c"),
            ("picture:a:b.png", "picture:a:b.png"),
        ] {
            let place = parse(text).unwrap();
            assert_eq!(place.to_string(), printed);
            assert_eq!(parse(printed), Ok(place));
        }
        let moved = parse("picture:door.png").unwrap().relative_to(Path::new("/etc/cellar"));
        assert_eq!(moved.to_string(), "picture:/etc/cellar/door.png");
    }

    #[test]
    fn wrong_places_are_told_apart() {
        for text in ["", "door.png", "ssd1327:/dev/i2c-1", "/dev/i2c-1:0x3c"] {
            assert_eq!(parse(text), Err(PlaceError::Kind { text: text.into() }), "{text}");
        }
        for text in ["ssd1306:", "ssd1306::0x3c", "picture:"] {
            assert!(matches!(parse(text), Err(PlaceError::Incomplete { .. })), "{text}");
        }
        for address in ["0x07", "0x78", "256", "0x", "", "0x+3", "3c"] {
            let expected = PlaceError::Address { address: address.into() };
            assert_eq!(parse(&format!("ssd1306:/dev/i2c-1:{address}")), Err(expected));
        }
    }

    proptest! {
        #[test]
        fn no_text_panics_and_what_parses_prints_and_parses_again(
            text in prop_oneof![any::<String>(), "(ssd1306|sh1106|picture):[a-z/:0-9x]{0,12}"],
        ) {
            if let Ok(place) = parse(&text) {
                prop_assert_eq!(parse(&place.to_string()), Ok(place));
            }
        }
    }
}
