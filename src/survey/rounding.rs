//! A range around what was seen, rounded outward to numbers that people write.
//!
//! The least and the greatest number enter; a range that holds both leaves, with its ends as they are written.

/// The finest step to which a range is rounded is a thousandth.
const MOST_DECIMALS: u32 = 3;

/// A range as a layout writes it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Round {
    pub low: f64,
    pub high: f64,
    /// `-5..25`.
    pub written: String,
}

/// A range with room on both sides: half of the spread, or a tenth of the number where it hardly moved. Numbers that were never
/// negative are taken to be so always, and the ends have no more decimals than what was seen.
pub(super) fn around(least: f64, greatest: f64, decimals: u32) -> Round {
    let size = least.abs().max(greatest.abs());
    let room = ((greatest - least) / 2.0).max(size / 10.0);
    let low = if least >= 0.0 { (least - room).max(0.0) } else { least - room };
    let high = if greatest <= 0.0 && least < 0.0 { (greatest + room).min(0.0) } else { greatest + room };
    let (digit, power) = step((high - low) / 8.0, -(decimals.min(MOST_DECIMALS) as i32));
    let decimals = usize::try_from(-power).unwrap_or(0);
    let unit = f64::from(digit) * libm::pow(10.0, f64::from(power));
    // Written and read again, so that what the layout says is what is compared.
    let multiple = |count: f64| {
        let text = format!("{:.decimals$}", count * unit);
        let text = if text.starts_with('-') && text.bytes().all(|byte| matches!(byte, b'-' | b'0' | b'.')) {
            text[1..].to_owned()
        } else {
            text
        };
        (text.parse::<f64>().unwrap_or(0.0), text)
    };
    let (mut below, mut above) = (libm::floor(low / unit), libm::ceil(high / unit));
    while multiple(below).0 > least {
        below -= 1.0;
    }
    while multiple(above).0 < greatest || multiple(above).0 <= multiple(below).0 {
        above += 1.0;
    }
    let ((low, from), (high, to)) = (multiple(below), multiple(above));
    Round { low, high, written: format!("{from}..{to}") }
}

/// The largest of 1, 2 and 5 times a power of ten, from the `finest` on, that is not above `wanted`.
fn step(wanted: f64, finest: i32) -> (u8, i32) {
    let mut power = finest;
    while power < 300 && libm::pow(10.0, f64::from(power + 1)) <= wanted {
        power += 1;
    }
    let digit = [5, 2].into_iter().find(|digit| f64::from(*digit) * libm::pow(10.0, f64::from(power)) <= wanted);
    (digit.unwrap_or(1), power)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn ranges_are_round_and_hold_what_was_seen() {
        for (least, greatest, decimals, expected) in [
            (11.9, 12.8, 1, "10.6..14.2"),
            (12.4, 12.4, 1, "11.0..13.8"),
            (0.0, 0.0, 0, "0..1"),
            (0.0, 1.0, 0, "0..2"),
            (0.0, 0.0, 9, "0.000..0.001"),
            (84.0, 660.0, 0, "0..1000"),
            (-3.0, 8.0, 0, "-10..14"),
            (-20.0, -5.0, 0, "-28..0"),
            (1_800_000.0, 1_806_000.0, 0, "1600000..2000000"),
        ] {
            assert_eq!(around(least, greatest, decimals).written, expected, "{least} {greatest}");
        }
    }

    proptest! {
        #[test]
        fn a_range_holds_what_was_seen_and_is_not_empty(
            one in prop_oneof![-1e9..1e9f64, -2.0..2.0f64, -1e-6..1e-6f64],
            other in prop_oneof![-1e9..1e9f64, -2.0..2.0f64],
            decimals in 0..20u32,
        ) {
            let (least, greatest) = (one.min(other), one.max(other));
            let Round { low, high, written } = around(least, greatest, decimals);
            prop_assert!(low <= least && greatest <= high && low < high, "{written}");
            prop_assert!(least < 0.0 || low >= 0.0, "{written}");
            let read: Vec<f64> = written.split("..").map(|end| end.parse().unwrap()).collect();
            prop_assert_eq!(read, [low, high]);
        }
    }
}
