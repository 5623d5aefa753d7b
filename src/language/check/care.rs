//! What a layout does for its glass: `dim to: 20% when: …`, and the `shift:` of `panel`.
//!
//! What enters are a statement's arguments; what leaves are parts of the model, or findings.

use crate::language::Finding;
use crate::language::model::Dim;
use crate::language::syntax::{ExpressionKind, Statement};
use crate::language::words::STATEMENTS;
use crate::units;

use super::Checker;
use super::arguments::{Arguments, expected, number_in};

/// The farthest that a picture is shifted to each side, in pixels.
const MOST_SHIFT: f64 = 4.0;
const EXAMPLE: &str = "dim to: 20% when: time_since(door == 1) > 10min";

impl Checker {
    /// A `dim` statement.
    pub(super) fn dim(&mut self, statement: &Statement) -> Option<Dim> {
        let arguments = Arguments::new(statement, &STATEMENTS, &mut self.findings);
        let when = self.condition(&arguments, "when");
        for name in ["to", "when"] {
            if arguments.named(name).is_none() && !arguments.is_damaged() {
                self.findings.push(
                    Finding::error("missing argument", statement.word.span, format!("`dim` needs `{name}:`"))
                        .help(format!("write, for example, `{EXAMPLE}`")),
                );
            }
        }
        let written = arguments.named("to")?;
        let share = number_in(written, units::lookup("%")?, "a share of the full brightness", &mut self.findings)?;
        if !(0.0..=100.0).contains(&share) {
            self.findings.push(
                Finding::error("out of range", written.span, "there is no such brightness").label("from 0% to 100%"),
            );
            return None;
        }
        Some(Dim { to: share.round() as u8, when: when? })
    }

    /// How far the picture is shifted to each side, in pixels.
    pub(super) fn shift(&mut self, arguments: &Arguments<'_>) -> u32 {
        let Some(written) = arguments.named("shift") else { return 0 };
        match written.kind {
            ExpressionKind::Number { value, unit: None } if value.fract() == 0.0 => {
                if (0.0..=MOST_SHIFT).contains(&value) {
                    return value as u32;
                }
                self.findings.push(
                    Finding::error("out of range", written.span, "a picture that is shifted so far has no room left")
                        .label(format!("from 0 to {MOST_SHIFT} pixels")),
                );
            }
            _ => expected("a whole number of pixels", "panel 128x64 shift: 1", written, &mut self.findings),
        }
        0
    }
}
