//! Icons by name: the glyphs of the family `icons`, which stand at private code points in one order at every size.
//!
//! What enters is a name in a layout; what leaves is a character of the family, or the name of one.

/// The family's name in the catalogue.
pub const FAMILY: &str = "icons";

/// The first icon's code point, the start of Unicode's private use area.
const FIRST: u32 = 0xe000;

/// Every icon, in the order of the code points.
pub const NAMES: [&str; 49] = [
    "door-open",
    "door-closed",
    "drop",
    "thermometer",
    "wind",
    "sun",
    "cloud",
    "rain",
    "snow",
    "frost",
    "fan",
    "flame",
    "lamp",
    "battery-0",
    "battery-25",
    "battery-50",
    "battery-75",
    "battery-100",
    "signal-0",
    "signal-1",
    "signal-2",
    "signal-3",
    "signal-4",
    "link-lost",
    "lock",
    "unlock",
    "bell",
    "arrow-north",
    "arrow-north-east",
    "arrow-east",
    "arrow-south-east",
    "arrow-south",
    "arrow-south-west",
    "arrow-west",
    "arrow-north-west",
    "trend-up",
    "trend-steady",
    "trend-down",
    "clock",
    "moon-new",
    "moon-waxing-crescent",
    "moon-first-quarter",
    "moon-waxing-gibbous",
    "moon-full",
    "moon-waning-gibbous",
    "moon-last-quarter",
    "moon-waning-crescent",
    "wheel",
    "tank",
];

/// The character that draws the icon of that name.
pub fn character(name: &str) -> Option<char> {
    let index = NAMES.iter().position(|known| *known == name)?;
    char::from_u32(FIRST + u32::try_from(index).ok()?)
}

/// The name of the icon that a character draws.
pub fn name(character: char) -> Option<&'static str> {
    let index = u32::from(character).checked_sub(FIRST)?;
    NAMES.get(usize::try_from(index).ok()?).copied()
}

/// `text` with the name of each icon in its place.
pub fn spelled(text: &str) -> String {
    let mut spelled = String::with_capacity(text.len());
    for character in text.chars() {
        match name(character) {
            Some(name) => spelled.push_str(name),
            None => spelled.push(character),
        }
    }
    spelled
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn every_size_has_every_icon_under_its_name() {
        let fonts = Path::new(env!("CARGO_MANIFEST_DIR")).join("fonts");
        for height in crate::faces::Catalogue::new().sizes(FAMILY).unwrap() {
            let text = std::fs::read_to_string(fonts.join(format!("{FAMILY}-{height}.bdf"))).unwrap();
            for icon in NAMES {
                let code = u32::from(character(icon).unwrap());
                assert!(
                    text.contains(&format!("STARTCHAR {icon}\nENCODING {code}\n")),
                    "{icon} is not at {code} in size {height}"
                );
                assert_eq!(name(character(icon).unwrap()), Some(icon));
            }
        }
    }
}
