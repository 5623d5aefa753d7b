//! Screens that nobody would get to see: hidden behind another one, or shown for too small a share of the time.
//!
//! What enters are the screens of a layout; what leaves are warnings. A condition that implies another is told by its form: what is
//! found is certain, and not everything is found.

use std::time::Duration;

use crate::formulas::{Compiled, Operator};
use crate::language::Finding;
use crate::language::model::Screen;

/// A screen that is shown for less than one part in so many of the time is met by nobody who passes (our own choice).
const RAREST: u32 = 20;
/// So many parts of conditions are compared; what would take longer is not told.
const MOST_STEPS: u32 = 10_000;

/// The warnings about `screens`.
pub(super) fn screens(screens: &[Screen], findings: &mut Vec<Finding>) {
    let mut steps = MOST_STEPS;
    for (place, screen) in screens.iter().enumerate() {
        findings.extend(hidden(screen, &screens[..place], &mut steps));
    }
    let turns = || screens.iter().filter(|screen| screen.when.is_none());
    let round: Duration = turns().map(|screen| screen.turn).sum();
    findings.extend(turns().filter(|screen| screen.turn * RAREST < round).map(|screen| rare(screen, round)));
}

/// The warning about a screen whose condition never holds but while that of an earlier one does, which wins.
fn hidden(screen: &Screen, earlier: &[Screen], steps: &mut u32) -> Option<Finding> {
    let when = screen.when.as_ref()?;
    let mut wins = |earlier: &Screen| earlier.when.as_ref().is_some_and(|first| implies(when, first, steps));
    let winner = earlier.iter().find(|earlier| wins(earlier))?;
    let message = format!("`{}` is never shown: whenever it could be, `{}` is", screen.name, winner.name);
    Some(
        Finding::warning("never shown", screen.span, message)
            .label("its condition implies that of the other one")
            .related(winner.span, "this one comes first")
            .help(format!("put `{}` before `{}`, or change one of the conditions", screen.name, winner.name)),
    )
}

fn rare(screen: &Screen, round: Duration) -> Finding {
    let (turn, round) = (screen.turn.as_secs_f64(), round.as_secs_f64());
    let message = format!("`{}` is shown for {turn} s in {round} s: who passes hardly ever meets it", screen.name);
    Finding::warning("rarely shown", screen.span, message).help("lengthen its `for:`, or shorten that of the others")
}

/// Whether `other` surely holds whenever `condition` does, as far as so many `steps` tell.
fn implies(condition: &Compiled, other: &Compiled, steps: &mut u32) -> bool {
    use Compiled::Binary;
    if *steps == 0 || condition == other {
        return *steps > 0;
    }
    *steps -= 1;
    match (condition, other) {
        (Binary(Operator::Or, a, b), _) => implies(a, other, steps) && implies(b, other, steps),
        (_, Binary(Operator::And, a, b)) => implies(condition, a, steps) && implies(condition, b, steps),
        (Binary(Operator::And, a, b), _) if implies(a, other, steps) || implies(b, other, steps) => true,
        (_, Binary(Operator::Or, a, b)) if implies(condition, a, steps) || implies(condition, b, steps) => true,
        _ => match (Side::of(condition), Side::of(other)) {
            (Some(condition), Some(other)) => condition.within(&other),
            _ => false,
        },
    }
}

/// A comparison of something with a number: it lies on one side of it.
struct Side<'a> {
    of: &'a Compiled,
    is_below: bool,
    bound: f64,
    with_bound: bool,
}

impl<'a> Side<'a> {
    fn of(condition: &'a Compiled) -> Option<Self> {
        let Compiled::Binary(operator @ (Operator::Less | Operator::LessOrEqual), left, right) = condition else {
            return None;
        };
        let with_bound = *operator == Operator::LessOrEqual;
        match (&**left, &**right) {
            (of, Compiled::Constant(bound)) => Some(Self { of, is_below: true, bound: *bound, with_bound }),
            (Compiled::Constant(bound), of) => Some(Self { of, is_below: false, bound: *bound, with_bound }),
            _ => None,
        }
    }

    fn within(&self, other: &Self) -> bool {
        let inner = if self.is_below { self.bound < other.bound } else { self.bound > other.bound };
        let same = self.bound == other.bound && (other.with_bound || !self.with_bound);
        self.of == other.of && self.is_below == other.is_below && (inner || same)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::formulas::{Evaluated, Given};
    use crate::language;
    use crate::readings::State;

    fn names(screens: &str) -> Vec<&'static str> {
        let text = format!(
            "panel 128x32\nreading temp from: \"cellar/ripening/climate\" range: -10..40\n\
             reading rh from: \"cellar/brine/climate\" range: 0..100\nscreen s {{ text \"{{temp:.1}} {{rh:.0}}\" }}\n{screens}"
        );
        language::check(&language::parse(&text).0).1.into_iter().map(|finding| finding.name).collect()
    }

    #[test]
    fn a_screen_behind_one_that_always_wins_is_never_shown() {
        let pair = |first: &str, second: &str| {
            names(&format!("screen a when: {first} {{ text \"a\" }}\nscreen b when: {second} {{ text \"b\" }}\n"))
        };
        for (first, second) in [
            ("temp < 10", "temp < 5"),
            ("temp < 10", "temp < 10"),
            ("temp <= 10", "temp < 10"),
            ("temp > 10", "temp >= 12"),
            ("temp > 10 or rh > 90", "rh > 95"),
            ("temp > 10", "temp > 12 and rh > 90"),
            ("temp > 10 and rh > 90", "rh > 95 and temp > 12"),
            ("temp > 10 or rh > 90", "rh > 95 or temp > 12"),
        ] {
            assert_eq!(pair(first, second), ["never shown"], "{first}; {second}");
        }
        for (first, second) in [
            ("temp < 5", "temp < 10"),
            ("temp < 10", "temp <= 10"),
            ("temp < 10", "temp > 5"),
            ("temp < 10", "rh < 5"),
            ("temp > 10 and rh > 90", "temp > 12"),
            ("temp > 10", "temp > 12 or rh > 90"),
        ] {
            assert_eq!(pair(first, second), [""; 0], "{first}; {second}");
        }
    }

    #[test]
    fn a_screen_that_is_hardly_ever_met_is_told() {
        let beside = |turn: &str| names(&format!("screen a for: {turn} {{ text \"a\" }}\n"));
        assert_eq!(beside("200s"), ["rarely shown"]);
        assert_eq!(beside("100s"), [""; 0]);
    }

    /// Without an end to the steps there would be as many as ways through two long chains.
    #[test]
    fn long_conditions_are_given_up() {
        let chain = |word: &str, from: u32| {
            (from..from + 30).map(|rh| format!("rh > {rh}")).collect::<Vec<_>>().join(&format!(" {word} "))
        };
        let (first, second) = (chain("or", 40), chain("and", 5));
        let screens = format!("screen a when: {first} {{ text \"a\" }}\nscreen b when: {second} {{ text \"b\" }}\n");
        assert_eq!(names(&screens), [""; 0]);
    }

    fn condition() -> impl Strategy<Value = Compiled> {
        let binary = |operator, a, b| Compiled::Binary(operator, Box::new(a), Box::new(b));
        let operator = prop_oneof![Just(Operator::Less), Just(Operator::LessOrEqual)];
        let leaf = (operator, 0..2usize, 0..4u8, any::<bool>()).prop_map(move |(operator, reading, bound, swap)| {
            let (reading, bound) = (Compiled::Reading(reading), Compiled::Constant(f64::from(bound)));
            if swap { binary(operator, bound, reading) } else { binary(operator, reading, bound) }
        });
        leaf.prop_recursive(2, 6, 2, move |inner| {
            let operator = prop_oneof![Just(Operator::And), Just(Operator::Or)];
            (operator, inner.clone(), inner).prop_map(move |(operator, a, b)| binary(operator, a, b))
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]
        #[test]
        fn what_is_implied_holds(condition in condition(), other in condition()) {
            if implies(&condition, &other, &mut MOST_STEPS.clone()) {
                for (a, b) in (-1..5).flat_map(|a| (-1..5).map(move |b| (a, b))) {
                    let readings = [a, b].map(|value| Evaluated::new(f64::from(value), State::Live));
                    let given = Given { readings: &readings, observed: &[], values: &[] };
                    prop_assert!(!condition.evaluate(&given).holds() || other.evaluate(&given).holds());
                }
            }
        }
    }
}
