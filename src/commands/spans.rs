//! Spans of time as people write them, and back: `30s`, `24h`, `2min`; `1 h 5 min`.
//!
//! What enters is text or a span; what leaves is the other. The units are those of layouts.

use std::time::Duration;

use crate::units;
pub(super) use crate::units::span::in_words as words;

/// The longest span that can be asked for: a hundred years.
const LONGEST: f64 = 100.0 * 365.0 * 24.0 * 3600.0;

/// A span from what somebody wrote.
pub(super) fn parse(text: &str) -> Result<Duration, String> {
    let wrong = || format!("`{text}` is no span of time; write, for example, 30s, 5min, 24h or 7d");
    let text = text.trim();
    let end = text.find(|sign: char| !sign.is_ascii_digit() && sign != '.').unwrap_or(text.len());
    let (number, unit) = (text[..end].parse::<f64>().map_err(|_| wrong())?, text[end..].trim());
    let (unit, second) = (units::lookup(unit).ok_or_else(wrong)?, units::lookup("s").ok_or_else(wrong)?);
    let seconds = units::convert(number, unit, second).ok_or_else(wrong)?;
    if unit.is_bare() || !(seconds > 0.0 && seconds <= LONGEST) {
        return Err(wrong());
    }
    Duration::try_from_secs_f64(seconds).map_err(|_| wrong())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_as_people_write_them() {
        for (text, seconds) in [("30s", 30.0), ("24h", 86_400.0), ("1.5 min", 90.0), ("7d", 604_800.0), ("250ms", 0.25)]
        {
            assert_eq!(parse(text), Ok(Duration::from_secs_f64(seconds)), "{text}");
        }
        for text in ["", "30", "s", "-3s", "0s", "3°C", "1e3s", "inf", "99999999999h"] {
            assert!(parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn spans_in_words() {
        let told = [0, 45, 60, 61, 3600, 3661, 90_000, 172_800].map(|seconds| words(Duration::from_secs(seconds)));
        assert_eq!(told, ["0 s", "45 s", "1 min", "1 min 1 s", "1 h", "1 h 1 min", "1 d 1 h", "2 d"]);
        assert_eq!(words(Duration::from_millis(20)), "20 ms");
    }
}
