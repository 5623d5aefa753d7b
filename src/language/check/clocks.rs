//! Clocks in texts: `clock("%H:%M")`, `clock("%H:%M", "Asia/Tokyo")`.
//!
//! What enters are the call's arguments; what leaves is a clock of the model, or findings.

use jiff::tz::TimeZone;

use crate::language::clock::{Clock, ClockPattern, zone, zones};
use crate::language::syntax::Expression;
use crate::language::{Finding, nearest};

use super::Checker;
use super::arguments::expected;

/// How calls are written, without a zone and with one.
const EXAMPLES: [&str; 2] = ["clock(\"%H:%M\")", "clock(\"%H:%M\", \"Asia/Tokyo\")"];

impl Checker {
    /// A call of `clock`.
    pub(super) fn clock(&mut self, plain: &[Expression], call: &Expression) -> Option<Clock> {
        let (pattern, zone) = match plain {
            [pattern] => (pattern, None),
            [pattern, zone] => (pattern, Some(zone)),
            _ => {
                expected("the pattern of a time in quotes", EXAMPLES[0], call, &mut self.findings);
                return None;
            }
        };
        let Some(text) = pattern.literal() else {
            expected("the pattern of a time in quotes, without fields", EXAMPLES[0], pattern, &mut self.findings);
            return None;
        };
        let parsed =
            ClockPattern::parse(text).map_err(|why| Finding::error("bad clock", pattern.span, why.to_string()));
        let zone = match zone {
            Some(zone) => Some(self.zone(zone)?),
            None => None,
        };
        let pattern = parsed.map_err(|finding| self.findings.push(finding)).ok()?;
        Some(Clock { pattern, zone })
    }

    fn zone(&mut self, name: &Expression) -> Option<TimeZone> {
        let Some(text) = name.literal() else {
            expected("the name of a time zone in quotes", EXAMPLES[1], name, &mut self.findings);
            return None;
        };
        zone(text).or_else(|| {
            let names = zones();
            let help = match nearest(text, names.iter().map(String::as_str)) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("names are those of the IANA time zone database: `{}`", EXAMPLES[1]),
            };
            let finding = Finding::error("unknown time zone", name.span, format!("there is no time zone \"{text}\""));
            self.findings.push(finding.label("unknown").help(help));
            None
        })
    }
}
