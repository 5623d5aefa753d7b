//! Calls that look back or at the clock: figures of a window such as `highest(temp, 24h)`, `age(temp)`, `until("17:30")`, `sun_rise(52, 5)`.
//!
//! What enters are the call's arguments; what leaves is a place among what is observed, with its unit and bounds.

use std::time::Duration;

use jiff::civil::{Date, DateTime, Time};

use crate::formulas::{
    Bounds, Compiled, Deadline, LONGEST, Limits, MOST_REJECTS, MOST_UNTIL, Observed, Source, SunEvent, TimeStyle,
};
use crate::language::Finding;
use crate::language::syntax::{Expression, ExpressionKind, Span};
use crate::language::words::TODAY;
use crate::readings::history::{Figure, History, MOST, Span as Window};
use crate::units::{self, Unit, difference_of};

use super::arguments::{duration, expected, number_in};
use super::expressions::{Checked, Expressions, unlike};

/// Figures of a window by their names in a layout file.
const FIGURES: [(&str, Figure); 7] = [
    ("lowest", Figure::Lowest),
    ("highest", Figure::Highest),
    ("mean", Figure::Mean),
    ("change", Figure::Change),
    ("slope", Figure::Slope),
    ("integral", Figure::Integral),
    ("count", Figure::Count),
];
/// The characteristic of pressure tendency, by its name, and the three hours that it is of.
const CHARACTERISTIC: &str = "pressure_characteristic";
const TENDENCY: Window = Window::Last(Duration::from_secs(3 * 3600));
/// Spans of time by their names.
const TIMES: [&str; 5] = ["age", "time_since", "until", "time_of_day", "moon_phase"];
/// What is known of how a reading, and everything, is heard.
const HEARD: [&str; 2] = ["rejects", "link"];
/// What the sun does, by its names.
const SUN: [(&str, SunEvent); 4] = [
    ("sun_rise", SunEvent::Rise),
    ("sun_set", SunEvent::Set),
    ("sun_noon", SunEvent::Noon),
    ("day_length", SunEvent::Length),
];
/// More histories than any layout shows; a bound on the memory that a file can ask for.
const MOST_HISTORIES: usize = 64;
/// The longest window, and the shortest whose parts are not much shorter than anything is published.
const WINDOWS: (Duration, Duration) = (Duration::from_secs(60), Duration::from_secs(31 * 24 * 3600));
/// A day in seconds.
const DAY: f64 = 86400.0;

/// What a layout observes, as far as it was read.
#[derive(Default)]
pub(super) struct Observations {
    /// In the order in which expressions count them.
    pub(super) list: Vec<Observed>,
    /// Bounds of each.
    pub(super) bounds: Vec<Bounds>,
    /// The histories that they need: whose numbers, and how far back.
    pub(super) histories: Vec<(Source, Window)>,
}

impl Observations {
    fn place(&mut self, observed: Observed, bounds: Bounds) -> usize {
        self.list.iter().position(|known| *known == observed).unwrap_or_else(|| {
            self.list.push(observed);
            self.bounds.push(bounds);
            self.list.len() - 1
        })
    }

    /// The history of numbers over a window, one for all who ask for the same.
    pub(super) fn history(
        &mut self,
        source: Source,
        window: Window,
        span: Span,
        findings: &mut Vec<Finding>,
    ) -> Option<usize> {
        if let Some(found) = self.histories.iter().position(|known| *known == (source, window)) {
            return Some(found);
        }
        if self.histories.len() == MOST_HISTORIES {
            findings.push(
                Finding::error(
                    "too many windows",
                    span,
                    format!("a layout looks back over at most {MOST_HISTORIES} windows"),
                )
                .help("use the same length of time in several places"),
            );
            return None;
        }
        self.histories.push((source, window));
        Some(self.histories.len() - 1)
    }
}

/// The names of all these functions.
pub(super) fn names() -> impl Iterator<Item = &'static str> + Clone {
    FIGURES
        .iter()
        .map(|(name, _)| *name)
        .chain([CHARACTERISTIC])
        .chain(TIMES)
        .chain(HEARD)
        .chain(SUN.iter().map(|(name, _)| *name))
}

impl Expressions<'_> {
    /// The call of one of these functions; `None` where the name is none of them.
    pub(super) fn observe(&mut self, name: &str, plain: &[Expression], span: Span) -> Option<Option<Checked>> {
        if let Some((_, figure)) = FIGURES.iter().find(|(known, _)| *known == name) {
            return Some(self.figure(name, *figure, plain, span));
        }
        if let Some((_, event)) = SUN.iter().find(|(known, _)| *known == name) {
            return Some(self.sun(name, *event, plain, span));
        }
        match name {
            "time_of_day" | "moon_phase" | "link" if !plain.is_empty() => {
                self.wrong_count(span, format!("`{name}` takes nothing: `{name}()`"), plain.len());
                Some(None)
            }
            "time_of_day" => Some(self.time(Observed::TimeOfDay, DAY)),
            "moon_phase" => {
                let place = self.observations.place(Observed::MoonPhase, Bounds { low: 0.0, high: 100.0 });
                Some(units::lookup("%").map(|unit| Checked::Number(Compiled::Observed(place), unit)))
            }
            "link" => {
                let place = self.observations.place(Observed::Link, Bounds { low: 0.0, high: 1.0 });
                Some(Some(Checked::Truth(Compiled::Observed(place))))
            }
            "rejects" => Some(self.rejects(plain, span)),
            CHARACTERISTIC => Some(self.characteristic(plain, span)),
            "age" => Some(self.age(plain, span)),
            "time_since" => Some(self.time_since(plain, span)),
            "until" => Some(self.until(plain, span)),
            _ => None,
        }
    }

    fn figure(&mut self, name: &str, figure: Figure, plain: &[Expression], span: Span) -> Option<Checked> {
        let [source, window] = plain else {
            self.wrong_count(
                span,
                format!("`{name}` takes a reading or a value and how far back: `{name}(temp, 24h)`"),
                plain.len(),
            );
            return None;
        };
        let source = self.source(source);
        let window_span = window.span;
        let window = window_of(window, self.findings);
        let ((source, unit), window) = (source?, window?);
        let hours = match window {
            Window::Last(length) => length.as_secs_f64() / 3600.0 * 1.01,
            Window::Today => 25.0,
        };
        let bounds = source.of(&self.limits());
        let change = bounds.minus(bounds);
        let hour = units::lookup("h")?;
        let (unit, bounds, scale) = match figure {
            Figure::Lowest | Figure::Highest | Figure::Mean => (unit, bounds, None),
            Figure::Change => (difference_of(unit), change, None),
            Figure::Count => (Unit::BARE, Bounds { low: 0.0, high: f64::from(MOST) }, None),
            Figure::Slope => {
                let Window::Last(length) = window else {
                    self.findings.push(
                        Finding::error(
                            "wrong kind",
                            window_span,
                            "a slope needs a length of time, because today begins with none",
                        )
                        .help("write, for example, `slope(temp, 3h)`"),
                    );
                    return None;
                };
                let steepest = change.over(Bounds::exactly(History::least_hours(length)));
                (difference_of(unit), steepest, None)
            }
            Figure::Integral => {
                let Ok(product) = units::multiply(unit, hour) else {
                    self.findings.push(
                        Finding::error("unlike units", span, format!("{unit} times hours is nothing that has a unit"))
                            .help("an integral makes sense of a power, a flow or a rate"),
                    );
                    return None;
                };
                let sum = bounds.times(Bounds { low: 0.0, high: hours });
                (product.unit, sum, Some(product.scale))
            }
        };
        let history = self.observations.history(source, window, span, self.findings)?;
        let place = self.observations.place(Observed::Window { history, source, figure }, bounds);
        let observed = Compiled::Observed(place);
        Some(Checked::Number(
            match scale {
                Some(scale) if !scale.is_identity() => Compiled::Convert(Box::new(observed), scale),
                _ => observed,
            },
            unit,
        ))
    }

    fn characteristic(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let [pressure] = plain else {
            let example = format!("`{CHARACTERISTIC}` takes a reading or a value: `{CHARACTERISTIC}(pressure)`");
            self.wrong_count(span, example, plain.len());
            return None;
        };
        let at = pressure.span;
        let (source, unit) = self.source(pressure)?;
        let hectopascal = units::lookup("hPa")?;
        let Some(conversion) = units::conversion(unit, hectopascal) else {
            self.findings.push(unlike(at, unit, hectopascal));
            return None;
        };
        let history = self.observations.history(source, TENDENCY, span, self.findings)?;
        let observed = Observed::Characteristic { history, source, conversion };
        let place = self.observations.place(observed, Bounds { low: 0.0, high: 8.0 });
        Some(Checked::Number(Compiled::Observed(place), Unit::BARE))
    }

    fn age(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let [reading] = plain else {
            self.wrong_count(span, "`age` takes a reading: `age(temp)`".to_string(), plain.len());
            return None;
        };
        let reading = self.reading(reading)?;
        self.time(Observed::Age(reading), LONGEST)
    }

    fn rejects(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let [reading] = plain else {
            self.wrong_count(span, "`rejects` takes a reading: `rejects(temp)`".to_string(), plain.len());
            return None;
        };
        let reading = self.reading(reading)?;
        let bounds = Bounds { low: 0.0, high: f64::from(MOST_REJECTS) };
        let place = self.observations.place(Observed::Rejects(reading), bounds);
        Some(Checked::Number(Compiled::Observed(place), Unit::BARE))
    }

    fn time_since(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let [condition] = plain else {
            self.wrong_count(span, "`time_since` takes a condition: `time_since(door == 1)`".to_string(), plain.len());
            return None;
        };
        let condition = self.condition(condition)?;
        self.time(Observed::Since(condition), LONGEST)
    }

    fn until(&mut self, plain: &[Expression], span: Span) -> Option<Checked> {
        let example = "until(\"17:30\")";
        let [argument] = plain else {
            self.wrong_count(span, format!("`until` takes a time of day or a date: `{example}`"), plain.len());
            return None;
        };
        let Some(text) = argument.literal() else {
            expected("a time of day or a date in quotes", example, argument, self.findings);
            return None;
        };
        let Some(deadline) = deadline(text) else {
            self.findings.push(Finding::error("wrong kind", argument.span, "this is no time of day and no date").help(
                format!("write, for example, `{example}`, `until(\"2026-12-24\")` or `until(\"2026-12-24 18:00\")`"),
            ));
            return None;
        };
        let most = match deadline {
            Deadline::Daily(_) => MOST_UNTIL,
            Deadline::Once(_) => LONGEST,
        };
        self.time(Observed::Until(deadline), most)
    }

    fn sun(&mut self, name: &str, event: SunEvent, plain: &[Expression], span: Span) -> Option<Checked> {
        let [latitude, longitude] = plain else {
            let example = format!("`{name}` takes a latitude and a longitude: `{name}(52.0, 5.0)`");
            self.wrong_count(span, example, plain.len());
            return None;
        };
        let mut degrees = |expression: &Expression, most: f64| {
            let degrees =
                number_in(expression, units::lookup("°")?, "degrees, north and east being positive", self.findings)?;
            if degrees.abs() > most {
                self.findings.push(
                    Finding::error("out of range", expression.span, "there is no such place")
                        .label(format!("from -{most} to {most}")),
                );
                return None;
            }
            Some(degrees)
        };
        let (latitude, longitude) = (degrees(latitude, 90.0), degrees(longitude, 180.0));
        self.time(Observed::Sun { event, latitude: latitude?, longitude: longitude? }, DAY)
    }

    fn time(&mut self, observed: Observed, most: f64) -> Option<Checked> {
        let place = self.observations.place(observed, Bounds { low: 0.0, high: most });
        Some(Checked::Number(Compiled::Observed(place), units::lookup("s")?))
    }

    /// A reading by its name.
    fn reading(&mut self, expression: &Expression) -> Option<usize> {
        match self.check(expression)? {
            Checked::Number(Compiled::Reading(reading), _) => Some(reading),
            _ => {
                self.findings.push(
                    Finding::error("wrong kind", expression.span, "only a reading is heard")
                        .label("not a reading")
                        .help("name a reading; of a `value`, name what it is computed from"),
                );
                None
            }
        }
    }

    /// What has a past, by its name, with its unit: a reading, or a value that is a number.
    pub(super) fn source(&mut self, expression: &Expression) -> Option<(Source, Unit)> {
        match self.check(expression)? {
            Checked::Number(Compiled::Reading(reading), unit) => Some((Source::Reading(reading), unit)),
            Checked::Number(Compiled::Value(value), unit) => Some((Source::Value(value), unit)),
            Checked::Number(..) => {
                self.findings.push(
                    Finding::error("wrong kind", expression.span, "only what has a name has a past")
                        .label("has no name")
                        .help("give it one, as in `value spread = temp - dew`, and name that here"),
                );
                None
            }
            _ => {
                self.findings.push(
                    Finding::error("wrong kind", expression.span, "only a number has a past")
                        .label("neither a reading nor a number that a `value` computes")
                        .help("name one of these; how long ago a condition held is its `time_since`"),
                );
                None
            }
        }
    }

    fn wrong_count(&mut self, span: Span, wanted: String, given: usize) {
        self.findings.push(Finding::error("wrong number of arguments", span, wanted).label(format!("{given} given")));
    }

    /// How an expression is written that is nothing but an observed time.
    pub(super) fn style(&self, formula: &Compiled) -> Option<TimeStyle> {
        let Compiled::Observed(place) = formula else { return None };
        self.observations.list[*place].style()
    }

    /// Bounds of what an expression can give.
    pub(super) fn bounds(&self, formula: &Compiled) -> Bounds {
        formula.bounds(&self.limits())
    }

    /// Bounds of what an expression may look at.
    pub(super) fn limits(&self) -> Limits<'_> {
        Limits { readings: self.reading_bounds, observed: &self.observations.bounds, values: self.value_bounds }
    }
}

/// A time of day, a date, or a date with a time of day, as in ISO 8601.
fn deadline(text: &str) -> Option<Deadline> {
    if let Ok(time) = Time::strptime("%H:%M", text) {
        return Some(Deadline::Daily(time));
    }
    if let Ok(date) = Date::strptime("%Y-%m-%d", text) {
        return Some(Deadline::Once(date.to_datetime(Time::midnight())));
    }
    let time = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"].iter().find_map(|form| DateTime::strptime(form, text).ok());
    time.map(Deadline::Once)
}

/// How far back: a length of time, or `today`.
pub(super) fn window_of(expression: &Expression, findings: &mut Vec<Finding>) -> Option<Window> {
    if expression.kind == ExpressionKind::Name(TODAY.into()) {
        return Some(Window::Today);
    }
    let length = duration(expression, "24h", findings)?;
    if length < WINDOWS.0 || length > WINDOWS.1 {
        findings.push(
            Finding::error("out of range", expression.span, "a window is from a minute to 31 days long")
                .help("write, for example, `30min`, `24h`, `7d` or `today`"),
        );
        return None;
    }
    Some(Window::Last(length))
}
