//! Spans of time as people read them: `1 h 5 min`.
//!
//! What enters is a span; what leaves is text.

use std::time::Duration;

/// A span in words, its two largest parts.
pub fn in_words(span: Duration) -> String {
    let seconds = span.as_secs();
    let (days, hours, minutes) = (seconds / 86_400, seconds / 3600 % 24, seconds / 60 % 60);
    match (days, hours, minutes) {
        (0, 0, 0) if seconds == 0 && !span.is_zero() => format!("{} ms", span.as_millis()),
        (0, 0, 0) => format!("{seconds} s"),
        (0, 0, _) => parts(minutes, "min", seconds % 60, "s"),
        (0, ..) => parts(hours, "h", minutes, "min"),
        _ => parts(days, "d", hours, "h"),
    }
}

fn parts(large: u64, unit: &str, small: u64, smaller: &str) -> String {
    if small == 0 { format!("{large} {unit}") } else { format!("{large} {unit} {small} {smaller}") }
}
