//! How far a reading's numbers are trusted: the arguments `scale:`, `offset:`, `jump:`, `smooth:` and `stale:`.
//!
//! What enters are a statement's arguments and the reading's unit; what leaves is a [`Trust`] and an age limit, with a finding for
//! each argument that makes no sense.

use std::time::Duration;

use crate::language::Finding;
use crate::language::syntax::{Expression, ExpressionKind};
use crate::language::words::STALE;
use crate::readings::{MOST_MEDIAN, Pick, Smooth, Trust};
use crate::units::{Unit, difference_of};

use super::Checker;
use super::arguments::{Arguments, check_names, duration, expected, number_in};

/// The arguments of numbers that are measured, which words have not.
const MEASURED: [&str; 4] = ["scale", "offset", "jump", "smooth"];
/// After which silence a reading is stale where the file does not say, and where the cadence is not known yet.
const USUAL_STALE: Duration = Duration::from_secs(5 * 60);
/// The longest time constant of an average; slower than that nothing on a panel can change.
const LONGEST_AVERAGE: Duration = Duration::from_secs(24 * 3600);

impl Checker {
    /// The age limit that `stale:` gives, and whether it follows the cadence.
    pub(super) fn stale(&mut self, arguments: &Arguments<'_>) -> (Option<Duration>, bool) {
        let usual = Some(USUAL_STALE);
        match arguments.named("stale") {
            None => (usual, false),
            Some(Expression { kind: ExpressionKind::Name(word), .. }) if word == STALE[0] => (None, false),
            Some(Expression { kind: ExpressionKind::Name(word), .. }) if word == STALE[1] => (usual, true),
            Some(time) => (duration(time, "45s", &mut self.findings).or(usual), false),
        }
    }

    /// How far the numbers of a reading in `unit` are trusted.
    pub(super) fn trust(&mut self, arguments: &Arguments<'_>, unit: Unit, pick: Option<&Pick>, cadence: bool) -> Trust {
        let mut trust = Trust { cadence, ..Trust::PLAIN };
        if pick.is_some_and(|pick| pick.known_words().is_some()) {
            for (name, argument) in MEASURED.iter().filter_map(|name| Some((name, arguments.named(name)?))) {
                self.findings.push(
                    Finding::error("unexpected argument", argument.span, format!("words have no `{name}:`"))
                        .label("only for numbers that are measured")
                        .help("give each word the number that it stands for, as in `words(low: 10, high: 90)`"),
                );
            }
            return trust;
        }
        let difference = difference_of(unit);
        if let Some(scale) = arguments.named("scale") {
            let factor = number_in(scale, Unit::BARE, "a factor", &mut self.findings).unwrap_or(1.0);
            trust.scale = self.positive(factor.abs(), scale, "a factor must not be zero").map_or(1.0, |_| factor);
        }
        if let Some(offset) = arguments.named("offset") {
            trust.offset = number_in(offset, difference, "what is added", &mut self.findings).unwrap_or(0.0);
        }
        if let Some(jump) = arguments.named("jump") {
            trust.jump = number_in(jump, difference, "a change in one minute", &mut self.findings)
                .and_then(|credible| self.positive(credible, jump, "a credible change must be greater than zero"));
        }
        if let Some(smooth) = arguments.named("smooth") {
            trust.smooth = self.smooth(smooth).unwrap_or_default();
        }
        trust
    }

    fn positive(&mut self, value: f64, written: &Expression, problem: &str) -> Option<f64> {
        if value > 0.0 && value.is_finite() {
            return Some(value);
        }
        self.findings.push(Finding::error("out of range", written.span, problem).label("leave it out instead"));
        None
    }

    fn smooth(&mut self, written: &Expression) -> Option<Smooth> {
        let (what, example) = ("how numbers are smoothed", "median(3)` or `average(30s)");
        let ExpressionKind::Call { name, plain, named } = &written.kind else {
            expected(what, example, written, &mut self.findings);
            return None;
        };
        check_names(&format!("`{}`", name.value), named, &[], &mut self.findings);
        match (name.value.as_str(), plain.as_slice()) {
            ("median", [count]) => {
                let count_written = number_in(count, Unit::BARE, "a number of messages", &mut self.findings)?;
                let odd = count_written.rem_euclid(2.0) == 1.0;
                if odd && (3.0..=MOST_MEDIAN as f64).contains(&count_written) {
                    return Some(Smooth::Median(count_written as usize));
                }
                self.findings.push(
                    Finding::error("out of range", count.span, "a median is taken of an odd number of messages")
                        .label(format!("3, 5, 7 and so on up to {MOST_MEDIAN}")),
                );
                None
            }
            ("average", [constant]) => {
                let span = duration(constant, "30s", &mut self.findings)?;
                if span <= LONGEST_AVERAGE {
                    return Some(Smooth::Average(span));
                }
                self.findings.push(
                    Finding::error("out of range", constant.span, "the time constant of an average is at most a day")
                        .label("too long"),
                );
                None
            }
            _ => {
                expected(what, example, written, &mut self.findings);
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::{check, parse};

    /// The trust and the age limit of a reading with these arguments, or the names of the findings.
    fn trust(arguments: &str) -> Result<(Trust, Option<Duration>), Vec<String>> {
        let text = format!(
            "panel 128x32\nreading temp from: \"cellar/ripening/climate\" {arguments}\nscreen s {{ text \"cellar\" }}\n"
        );
        let (layout, findings) = check(&parse(&text).0);
        let spec = layout.map(|layout| layout.readings[0].spec.clone());
        spec.map(|spec| (spec.trust, spec.stale)).ok_or_else(|| findings.into_iter().map(|it| it.message).collect())
    }

    #[test]
    fn arguments_in_the_readings_unit() {
        let usual = Some(USUAL_STALE);
        let given = "unit: °C scale: 0.5 offset: -9°F jump: 2K smooth: median(5) stale: auto";
        let wanted = Trust { scale: 0.5, offset: -5.0, jump: Some(2.0), smooth: Smooth::Median(5), cadence: true };
        assert_eq!(trust(given), Ok((wanted, usual)));
        let wanted = Trust { smooth: Smooth::Average(Duration::from_secs(30)), ..Trust::PLAIN };
        assert_eq!(trust("unit: °C smooth: average(30s) stale: never"), Ok((wanted, None)));
        assert_eq!(trust("unit: °C"), Ok((Trust::PLAIN, usual)));
        assert_eq!(trust("scale: -1"), Ok((Trust { scale: -1.0, ..Trust::PLAIN }, usual)));
    }

    #[test]
    fn arguments_without_sense() {
        for (arguments, problem) in [
            ("scale: 0", "a factor must not be zero"),
            ("unit: °C jump: 0", "a credible change must be greater than zero"),
            ("unit: °C jump: -2", "a credible change must be greater than zero"),
            ("unit: °C offset: 2%", "% cannot be given in °C"),
            ("smooth: median(4)", "a median is taken of an odd number of messages"),
            ("smooth: median(17)", "a median is taken of an odd number of messages"),
            ("smooth: median(2.5)", "a median is taken of an odd number of messages"),
            ("smooth: average(25h)", "the time constant of an average is at most a day"),
            ("smooth: average(3)", "expected a time with its unit, found a number"),
            ("smooth: mean(3)", "expected how numbers are smoothed, found `mean(…)`"),
            ("stale: soon", "expected a time with its unit, found the name `soon`"),
            ("pick: words(open: 1, closed: 0) smooth: median(3)", "words have no `smooth:`"),
        ] {
            assert_eq!(trust(arguments), Err(vec![problem.to_owned()]), "{arguments}");
        }
    }
}
