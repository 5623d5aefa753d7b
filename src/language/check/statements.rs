//! The statements at the top level: the panel, what is heard, what is computed, and the screens.
//!
//! What enters is a syntax tree; what leaves is the model. Names count from where they are declared, so that a value can look
//! only at what stands before it, and no value can look at itself.

use std::cell::RefCell;
use std::time::Duration;

use crate::draw::Size;
use crate::formulas::{Bounds, Compiled};
use crate::language::model::{Layout, Reading, Screen, Value};
use crate::language::syntax::{Document, Expression, ExpressionKind, Span, Statement};
use crate::language::words::{self, ANYWHERE, ELEMENTS, PANELS, STATEMENTS};
use crate::language::{Allowances, Finding, has_errors, nearest};
use crate::panel::Glass;
use crate::readings::{Pick, ReadingSpec};
use crate::units::{self, Unit};

use super::arguments::{Arguments, duration, expected, number_in, range_in, unit_named};
use super::expressions::{Checked, Name, NameKind};
use super::{Checker, sense, windows};

/// The diagonals that panels of these pixels have, in inches, with room on both sides.
const DIAGONALS: (f64, f64) = (0.3, 10.0);
/// From how far a panel may be read, in metres.
const DISTANCES: (f64, f64) = (0.1, 20.0);
/// How long a screen is shown in turn where the file does not say.
const USUAL_TURN: Duration = Duration::from_secs(10);

/// The range that a unit implies where the file does not say: what common sensors can give (common practice).
fn usual_range(unit: Unit) -> Option<Bounds> {
    let (low, high) = match unit.symbol() {
        "°C" => (-40.0, 85.0),
        "°F" => (-40.0, 185.0),
        "%" => (0.0, 100.0),
        "hPa" | "mbar" => (300.0, 1100.0),
        _ => return None,
    };
    Some(Bounds { low, high })
}

/// What a `panel` statement says.
struct Panel {
    size: Size,
    glass: Option<Glass>,
    shift: u32,
}

impl Checker {
    pub(super) fn document(&mut self, document: &Document) -> Option<Layout> {
        let mut panel: Option<(Panel, Span)> = None;
        let (mut readings, mut values, mut screens) = (Vec::new(), Vec::new(), Vec::<Screen>::new());
        let mut dims = Vec::new();
        for statement in &document.statements {
            if self.gives_up() {
                break;
            }
            match statement.word.value.as_str() {
                "panel" => {
                    let found = self.panel(statement);
                    if let Some((_, first)) = panel {
                        self.findings.push(
                            Finding::error("statement given twice", statement.span, "a layout is made for one panel")
                                .label("again here")
                                .related(first, "first here"),
                        );
                    } else {
                        // A wrong size is no reason to complain about a missing one.
                        panel = Some((
                            found.unwrap_or(Panel { size: Size::new(128, 32), glass: None, shift: 0 }),
                            statement.span,
                        ));
                    }
                }
                "reading" => readings.extend(self.reading(statement)),
                "dim" => dims.extend(self.dim(statement)),
                "value" => values.extend(self.value(statement)),
                "screen" => {
                    if let Some(screen) = self.screen(statement) {
                        if let Some(first) = screens.iter().find(|earlier| earlier.name == screen.name) {
                            self.findings.push(
                                Finding::error(
                                    "name given twice",
                                    screen.span,
                                    format!("two screens are called `{}`", screen.name),
                                )
                                .related(first.span, "first here"),
                            );
                        }
                        screens.push(screen);
                    }
                }
                _ => self.unknown_statement(statement),
            }
        }
        let whole = document.statements.first().map_or(Span::default(), |first| first.word.span);
        if panel.is_none() {
            self.findings.push(
                Finding::error("no panel", whole, "the layout does not say which panel it is made for")
                    .help("begin the file with `panel 128x32` or `panel 128x64`"),
            );
        }
        if !document.statements.iter().any(|statement| statement.word.value == "screen") {
            self.findings.push(
                Finding::error("no screen", whole, "the layout has no screen, so there is nothing to show")
                    .help("add, for example, `screen door { text \"{temp:.1}°\" }`"),
            );
        } else if !screens.is_empty() && screens.iter().all(|screen| screen.when.is_some()) {
            self.findings.push(
                Finding::warning(
                    "dark panel",
                    screens[0].span,
                    "every screen has a condition: while none holds, the panel is dark",
                )
                .help("add a screen without `when:`"),
            );
        }
        sense::screens(&screens, &mut self.findings);
        // Where something is wrong, what it would have used cannot be told.
        if !has_errors(&self.findings) {
            self.scope.report_unused(&mut self.findings);
        }
        let Panel { size: panel, glass, shift } = panel?.0;
        let windows::Observations { list: observed, histories, .. } = std::mem::take(&mut self.observations);
        Some(Layout {
            panel,
            glass,
            shift,
            readings,
            histories,
            observed,
            values,
            dims,
            screens,
            allowances: Allowances::default(),
        })
    }

    fn unknown_statement(&mut self, statement: &Statement) {
        let word = &statement.word;
        let finding = Finding::error("unknown statement", word.span, format!("there is no statement `{}`", word.value))
            .label("unknown");
        self.findings.push(if words::find(&ELEMENTS, &word.value).is_some() {
            finding.help(format!("`{0}` is an element: put it into a screen, `screen door {{ {0} … }}`", word.value))
        } else if let Some(near) = nearest(&word.value, words::names(&STATEMENTS).chain(words::names(&ANYWHERE))) {
            finding.help(format!("did you mean `{near}`?"))
        } else {
            finding.help("a file is made of `panel`, `reading`, `value`, `dim` and `screen` statements")
        });
    }

    fn panel(&mut self, statement: &Statement) -> Option<Panel> {
        let arguments = Arguments::new(statement, &STATEMENTS, &mut self.findings);
        let size = arguments.plain(0, "its size in pixels", "panel 128x32", &mut self.findings)?;
        let ExpressionKind::Dimensions { width, height } = size.kind else {
            expected("a width and height in pixels", "panel 128x32", size, &mut self.findings);
            return None;
        };
        if !PANELS.contains(&(width, height)) {
            self.findings.push(
                Finding::error("unknown panel", size.span, format!("there is no panel of {width}x{height} pixels"))
                    .label("not a known size")
                    .help("write `128x32` or `128x64`"),
            );
            return None;
        }
        let mut length = |name: &str, unit: &str, (least, most): (f64, f64)| {
            let written = arguments.named(name)?;
            let length = number_in(written, units::lookup(unit)?, "a length", &mut self.findings)?;
            let possible = (least..=most).contains(&length);
            if !possible {
                self.findings.push(
                    Finding::error(
                        "out of range",
                        written.span,
                        format!("{length} {unit} is no {name} of such a panel"),
                    )
                    .label(format!("from {least} to {most} {unit}")),
                );
            }
            possible.then_some(length)
        };
        let diagonal = length("diagonal", "in", DIAGONALS);
        let distance = length("distance", "m", DISTANCES);
        if let (Some(distance), None) = (arguments.named("distance"), arguments.named("diagonal")) {
            self.findings.push(
                Finding::error(
                    "missing argument",
                    distance.span,
                    "how large the digits are depends on the panel's size",
                )
                .label("needs `diagonal:` beside it")
                .help(format!("write, for example, `panel {width}x{height} diagonal: 0.96in distance: 0.5m`")),
            );
        }
        let glass = diagonal.map(|diagonal| Glass::new((width, height), diagonal, distance));
        let shift = self.shift(&arguments);
        Some(Panel { size: Size::new(width, height), glass, shift })
    }

    /// The name that a statement gives, which must be a plain word.
    fn name(&mut self, arguments: &Arguments<'_>, example: &str) -> Option<(String, Span)> {
        let name = arguments.plain(0, "a name", example, &mut self.findings)?;
        match &name.kind {
            ExpressionKind::Name(text) => Some((text.clone(), name.span)),
            _ => {
                expected("a name", example, name, &mut self.findings);
                None
            }
        }
    }

    fn reading(&mut self, statement: &Statement) -> Option<Reading> {
        let arguments = Arguments::new(statement, &STATEMENTS, &mut self.findings);
        let example = "reading temp from: \"cellar/brine/climate\" pick: column(1) unit: °C";
        let name = self.name(&arguments, example);
        let errors = self.findings.len();
        let filter = self.filter(&arguments, statement);
        let presence = self.presence(&arguments);
        let unit = match arguments.named("unit") {
            Some(Expression { kind: ExpressionKind::Unit(text), span }) => unit_named(text, *span, &mut self.findings),
            Some(other) => {
                expected("a unit", "unit: °C", other, &mut self.findings);
                None
            }
            None => Some(Unit::BARE),
        };
        let pick = match arguments.named("pick") {
            Some(pick) => self.pick(pick, unit.unwrap_or(Unit::BARE)),
            None => Some(Pick::number()),
        };
        let range = match (arguments.named("range"), unit) {
            (Some(range), Some(unit)) => range_in(range, unit, &mut self.findings),
            _ => None,
        };
        let (stale, cadence) = self.stale(&arguments);
        let trust = self.trust(&arguments, unit.unwrap_or(Unit::BARE), pick.as_ref(), cadence);
        let (name, span) = name?;
        let implied = || match pick.as_ref().and_then(Pick::known_words) {
            Some(words) => {
                let numbers = words.pairs().map(|(_, number)| Bounds::exactly(number));
                numbers.reduce(Bounds::hull)
            }
            None => unit.and_then(usual_range),
        };
        let range = range.or_else(implied);
        let complete = filter.is_some() && pick.is_some() && self.findings.len() == errors;
        let kind = match unit {
            Some(unit) if complete => NameKind::Number(unit),
            _ => NameKind::Unknown,
        };
        let source = Compiled::Reading(self.reading_bounds.len());
        self.scope
            .declare(Name { name: name.clone(), span, source, kind, uses: RefCell::default() }, &mut self.findings);
        let (Some(filter), Some(pick), Some(unit)) = (filter, pick, unit) else { return None };
        let bounds = range.unwrap_or(Bounds::ANY);
        self.reading_bounds.push(bounds);
        let range = range.map(|range| (range.low, range.high));
        let spec = ReadingSpec { name, filter, presence, pick, unit, range, stale, trust };
        Some(Reading { spec, bounds, span })
    }

    fn value(&mut self, statement: &Statement) -> Option<Value> {
        let arguments = Arguments::new(statement, &STATEMENTS, &mut self.findings);
        let name = self.name(&arguments, "value dew = dew_point(temp, rh)");
        let errors = self.findings.len();
        let checked = match &statement.definition {
            Some(definition) => self.expressions().check(definition),
            None => {
                self.findings.push(
                    Finding::error("missing definition", statement.span, "a `value` needs what it is computed from")
                        .help("write, for example, `value dew = dew_point(temp, rh)`"),
                );
                None
            }
        };
        let (name, span) = name?;
        let (formula, kind) = match checked {
            None => (None, NameKind::Unknown),
            Some(Checked::Words(_)) => {
                self.findings.push(
                    Finding::error("wrong kind", statement.span, "a `value` is a number or a condition, not a text")
                        .help("write the choice of texts into the braces of a `text`"),
                );
                (None, NameKind::Unknown)
            }
            Some(Checked::Truth(formula)) => (Some(formula), NameKind::Truth),
            Some(number) => match number.number(Unit::BARE) {
                Some((formula, unit)) => (Some(formula), NameKind::Number(unit)),
                None => (None, NameKind::Unknown),
            },
        };
        let unit = if let NameKind::Number(unit) = kind { Some(unit) } else { None };
        let range =
            arguments.named("range").and_then(|range| range_in(range, unit.unwrap_or(Unit::BARE), &mut self.findings));
        let failed = self.findings.len() > errors;
        let source = Compiled::Value(self.value_bounds.len());
        let kind = if failed { NameKind::Unknown } else { kind };
        self.scope
            .declare(Name { name: name.clone(), span, source, kind, uses: RefCell::default() }, &mut self.findings);
        let formula = formula?;
        let computed = self.expressions().bounds(&formula);
        let bounds = match range {
            Some(range) => match computed.overlap(range) {
                Some(bounds) => bounds,
                None => {
                    self.findings.push(
                        Finding::error("out of range", span, format!("`{name}` can never lie in this range"))
                            .label(format!("from {} to {}", computed.low, computed.high)),
                    );
                    range
                }
            },
            None => computed,
        };
        self.value_bounds.push(bounds);
        Some(Value { name, formula, unit, bounds, range, span })
    }

    fn screen(&mut self, statement: &Statement) -> Option<Screen> {
        let arguments = Arguments::new(statement, &STATEMENTS, &mut self.findings);
        let name = self.name(&arguments, "screen door { … }");
        let when = self.condition(&arguments, "when");
        let turn = arguments.named("for").and_then(|time| duration(time, "10s", &mut self.findings));
        let children = self.elements(statement);
        let (name, span) = name?;
        Some(Screen { name, when, turn: turn.unwrap_or(USUAL_TURN), children, span })
    }

    /// The condition that an argument gives, if it is there.
    pub(super) fn condition(&mut self, arguments: &Arguments<'_>, name: &str) -> Option<Compiled> {
        arguments.named(name).and_then(|condition| self.expressions().condition(condition))
    }
}
