//! `interpolate(x, (x1, y1), (x2, y2), …)`: a curve through points that stand in the file.
//!
//! What enters are the call's arguments; what leaves is a compiled expression in the unit of the points' second numbers, or findings.

use crate::formulas::{Compiled, Curve};
use crate::language::Finding;
use crate::language::syntax::{Expression, ExpressionKind, Span};
use crate::units::Unit;

use super::arguments::expected;
use super::expressions::{Checked, Expressions};

/// The name in a layout file.
pub const NAME: &str = "interpolate";
const EXAMPLE: &str = "interpolate(volts, (3.3V, 0%), (3.7V, 50%), (4.2V, 100%))";

impl Expressions<'_> {
    pub(super) fn interpolate(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let [input, points @ ..] = plain else {
            self.findings.push(
                Finding::error(
                    "wrong number of arguments",
                    span,
                    format!("`{NAME}` takes a number and at least two points"),
                )
                .help(format!("write, for example, `{EXAMPLE}`")),
            );
            return None;
        };
        let (input, unit) = self.number(input)?;
        let mut heights: Option<Unit> = None;
        let mut curve = Vec::with_capacity(points.len());
        for point in points {
            let ExpressionKind::Tuple(pair) = &point.kind else {
                expected("a point", "(3.3V, 0%)", point, self.findings);
                return None;
            };
            let [x, y] = pair.as_slice() else {
                expected("a point of two numbers", "(3.3V, 0%)", point, self.findings);
                return None;
            };
            let x = self.constant_in(x, unit)?;
            let y = match heights {
                Some(unit) => self.constant_in(y, unit)?,
                None => {
                    let (compiled, unit) = self.number(y)?;
                    heights = Some(unit);
                    self.constant(compiled, y.span)?
                }
            };
            if curve.last().is_some_and(|(before, _)| *before >= x) {
                self.findings.push(
                    Finding::error("points do not rise", point.span, "the first numbers of the points must rise")
                        .label("not above the one before it"),
                );
                return None;
            }
            curve.push((x, y));
        }
        let Some(curve) = Curve::new(curve) else {
            let message = format!("a curve has 2 to {} points, found {}", Curve::MOST_POINTS, points.len());
            self.findings.push(
                Finding::error("wrong number of arguments", span, message)
                    .help(format!("write, for example, `{EXAMPLE}`")),
            );
            return None;
        };
        Some(Checked::Number(Compiled::Interpolate(Box::new(input), curve), heights?))
    }

    fn constant_in(&mut self, expression: &Expression, unit: Unit) -> Option<f64> {
        let compiled = self.number_in(expression, unit)?;
        self.constant(compiled, expression.span)
    }

    fn constant(&mut self, compiled: Compiled, span: Span) -> Option<f64> {
        if let Compiled::Constant(number) = compiled {
            return Some(number);
        }
        self.findings.push(
            Finding::error("wrong kind", span, "a point is made of numbers that stand in the file")
                .label("changes with readings"),
        );
        None
    }
}
