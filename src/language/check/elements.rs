//! Elements: what is drawn and how it is arranged.
//!
//! What enters are the statements of a block; what leaves are elements of the model. A statement that is wrong is left out, and
//! a finding says why; the others are checked all the same.

use std::time::Duration;

use crate::draw::Point;
use crate::faces::icons;
use crate::formulas::Bounds;
use crate::language::clock;
use crate::language::model::{
    Align, Bar, Choice, Direction, Element, ElementKind, Face, Length, Place, Text, TextPart, TextSize, Trend,
};
use crate::language::syntax::{Block, Expression, ExpressionKind, Format, Piece, Spanned, Statement};
use crate::language::words::{self, ANYWHERE, DIRECTIONS, ELEMENTS, FIT, HORIZONTAL, STATEMENTS, VERTICAL};
use crate::language::{Finding, nearest};
use crate::readings::history::Span as Window;
use crate::units::{self, Unit};

use super::Checker;
use super::arguments::{Arguments, expected, number_in, one_of, pixels, range_in};
use super::expressions::Checked;
use super::windows::window_of;

/// More elements than anybody can tell apart on all screens of a panel; a bound on the work that a file can ask for.
const MOST_ELEMENTS: usize = 1000;
/// No length on a panel is greater.
const MOST_PIXELS: u32 = 128;
/// Dark pixels between columns where the file does not say.
const COLUMNS_GAP: u32 = 4;
/// Dark pixels between rows where the file does not say.
const STACK_GAP: u32 = 1;
/// More decimals than any sensor has.
const MOST_DECIMALS: u16 = 6;
/// How far back a trend reaches where the file does not say.
const USUAL_TREND: Window = Window::Last(Duration::from_secs(24 * 3600));
/// No field is wider on any panel.
const WIDEST_FIELD: u16 = 32;

impl Checker {
    /// The elements of a block, in order.
    pub(super) fn elements(&mut self, owner: &Statement) -> Vec<Element> {
        let Some(Block { statements, .. }) = &owner.block else {
            let word = &owner.word;
            self.findings.push(
                Finding::error("missing block", owner.span, format!("`{}` needs its elements in braces", word.value))
                    .help(format!("write, for example, `{} {{ text \"{{temp:.1}}°\" }}`", shown(owner))),
            );
            return Vec::new();
        };
        let mut elements = Vec::new();
        for statement in statements {
            self.elements += 1;
            if self.elements == MOST_ELEMENTS + 1 {
                self.findings.push(
                    Finding::error(
                        "too many elements",
                        statement.word.span,
                        format!("a layout holds at most {MOST_ELEMENTS} elements"),
                    )
                    .label("one more")
                    .help("take out what nobody can see"),
                );
            }
            if self.elements > MOST_ELEMENTS || self.gives_up() {
                break;
            }
            elements.extend(self.element(statement));
        }
        // An `each` that could not be understood leaves nothing behind, and was reported.
        let reported = |finding: &Finding| owner.span.range().contains(&(finding.span.start as usize));
        if statements.is_empty() && !self.findings.iter().any(reported) {
            self.findings.push(
                Finding::warning("nothing to show", owner.span, format!("this `{}` holds nothing", owner.word.value))
                    .help("put an element between the braces, or take the statement out"),
            );
        }
        elements
    }

    fn element(&mut self, statement: &Statement) -> Option<Element> {
        let id = self.elements;
        let Some(row) = words::find(&ELEMENTS, &statement.word.value) else {
            self.unknown_element(&statement.word);
            return None;
        };
        let arguments = Arguments::new(statement, &ELEMENTS, &mut self.findings);
        let kind = match statement.word.value.as_str() {
            "text" => self.text(&arguments),
            "icon" => self.icon(&arguments),
            "bar" => self.bar(&arguments),
            "trend" => self.trend(&arguments),
            "rule" => Some(ElementKind::Rule { thickness: self.pixels_or(&arguments, "thickness", 1, 16, 1) }),
            "frame" => {
                let thickness = self.pixels_or(&arguments, "thickness", 1, 8, 1);
                let padding = self.pixels_or(&arguments, "padding", 0, 32, 1);
                Some(ElementKind::Frame { thickness, padding, children: self.elements(statement) })
            }
            "space" => Some(ElementKind::Space(
                statement.plain.first().and_then(|length| pixels(length, 0, MOST_PIXELS, &mut self.findings)),
            )),
            "columns" => {
                let gap = self.pixels_or(&arguments, "gap", 0, MOST_PIXELS, COLUMNS_GAP);
                Some(ElementKind::Columns { gap, children: self.elements(statement) })
            }
            "stack" => {
                let gap = self.pixels_or(&arguments, "gap", 0, MOST_PIXELS, STACK_GAP);
                Some(ElementKind::Stack { gap, children: self.elements(statement) })
            }
            _ => Some(ElementKind::Overlay { children: self.elements(statement) }),
        };
        if let Some(block) = statement.block.as_ref().filter(|_| row.holds.is_none()) {
            self.findings.push(
                Finding::error("unexpected block", block.span, format!("`{}` holds no elements", statement.word.value))
                    .label("not expected")
                    .help("close the line before the brace; `columns`, `stack`, `overlay` and `frame` hold elements"),
            );
        }
        let place = self.place(&arguments);
        let when = self.condition(&arguments, "when");
        let invert = self.condition(&arguments, "invert");
        Some(Element { id, kind: kind?, place, when, invert, span: statement.span })
    }

    fn unknown_element(&mut self, word: &Spanned<String>) {
        let finding = Finding::error("unknown statement", word.span, format!("there is no element `{}`", word.value))
            .label("unknown");
        self.findings.push(if words::find(&STATEMENTS, &word.value).is_some() {
            finding.help(format!("`{}` stands at the top level of the file, outside of every screen", word.value))
        } else if let Some(near) = nearest(&word.value, words::names(&ELEMENTS).chain(words::names(&ANYWHERE))) {
            finding.help(format!("did you mean `{near}`?"))
        } else {
            let names: Vec<String> = words::names(&ELEMENTS).map(|name| format!("`{name}`")).collect();
            finding.help(format!("the elements are {}", names.join(", ")))
        });
    }

    fn place(&mut self, arguments: &Arguments<'_>) -> Place {
        let at = arguments.named("at").and_then(|at| {
            let ExpressionKind::Tuple(pair) = &at.kind else {
                expected("a place in pixels", "(71, 8)", at, &mut self.findings);
                return None;
            };
            let [x, y] = pair.as_slice() else {
                expected("two numbers", "(71, 8)", at, &mut self.findings);
                return None;
            };
            let x = pixels(x, 0, MOST_PIXELS - 1, &mut self.findings)?;
            let y = pixels(y, 0, MOST_PIXELS - 1, &mut self.findings)?;
            Some(Point::new(x as i32, y as i32))
        });
        let mut length = |name| arguments.named(name).and_then(|length| self.length(length));
        let (width, height) = (length("width"), length("height"));
        Place { at, width, height }
    }

    fn length(&mut self, length: &Expression) -> Option<Length> {
        if let ExpressionKind::Number { value, unit: Some(unit) } = &length.kind
            && unit.value == "%"
        {
            if !(0.0..=100.0).contains(value) || *value == 0.0 {
                self.findings.push(
                    Finding::error("out of range", length.span, "a share is more than 0% and at most 100%")
                        .label("a share of the surrounding box"),
                );
                return None;
            }
            return Some(Length::Share(value / 100.0));
        }
        pixels(length, 1, MOST_PIXELS, &mut self.findings).map(Length::Pixels)
    }

    fn pixels_or(&mut self, arguments: &Arguments<'_>, name: &str, least: u32, most: u32, usual: u32) -> u32 {
        let given = arguments.named(name).and_then(|length| pixels(length, least, most, &mut self.findings));
        given.unwrap_or(usual)
    }

    fn icon(&mut self, arguments: &Arguments<'_>) -> Option<ElementKind> {
        let (size, align, valign) = self.setting(arguments);
        let shown = arguments.plain(0, "the name of an icon in quotes", "icon \"door-open\"", &mut self.findings)?;
        let Some(Checked::Words(choice)) = self.expressions().check(shown) else {
            expected("the name of an icon in quotes", "icon \"door-open\"", shown, &mut self.findings);
            return None;
        };
        let choice = self.icons(choice, shown)?;
        let face = Some(Face::BuiltIn(Spanned::new(icons::FAMILY.into(), shown.span)));
        let parts = vec![TextPart::Words { choice, format: Format::default(), span: shown.span }];
        let span = shown.span;
        Some(ElementKind::Text(Text { parts, face, size, align, valign, span }))
    }

    /// The characters that draw the icons whose names a choice gives.
    fn icons(&mut self, choice: Choice, at: &Expression) -> Option<Choice> {
        match choice {
            Choice::Words(name) => {
                let character = icons::character(&name);
                if character.is_none() {
                    let finding = Finding::error("unknown icon", at.span, format!("there is no icon `{name}`"));
                    self.findings.push(match nearest(&name, icons::NAMES) {
                        Some(near) => finding.label("unknown").help(format!("did you mean `{near}`?")),
                        None => finding.label("unknown").help("layouts/README.md lists all icons"),
                    });
                }
                character.map(|character| Choice::Words(character.into()))
            }
            Choice::If(condition, then, otherwise) => {
                let (then, otherwise) = (self.icons(*then, at), self.icons(*otherwise, at));
                Some(Choice::If(condition, Box::new(then?), Box::new(otherwise?)))
            }
        }
    }

    /// Size and alignment of a text or an icon.
    fn setting(&mut self, arguments: &Arguments<'_>) -> (Option<TextSize>, Align, Align) {
        let size = match arguments.named("size") {
            None => None,
            Some(size) if size.kind == ExpressionKind::Name(FIT.into()) => Some(TextSize::Fit),
            Some(size) => match &size.kind {
                ExpressionKind::Number { unit: None, .. } => {
                    pixels(size, 4, 64, &mut self.findings).map(|pixels| TextSize::Pixels(pixels, size.span))
                }
                _ => {
                    expected("`fit` or the height of the digits in pixels", "22", size, &mut self.findings);
                    None
                }
            },
        };
        let align = arguments.named("align").and_then(|word| one_of(word, &HORIZONTAL, &mut self.findings));
        let valign = arguments.named("valign").and_then(|word| one_of(word, &VERTICAL, &mut self.findings));
        (size, align.unwrap_or(Align::Start), valign.unwrap_or(Align::Middle))
    }

    fn text(&mut self, arguments: &Arguments<'_>) -> Option<ElementKind> {
        let face = arguments.named("face").and_then(|face| match &face.kind {
            ExpressionKind::Name(name) => Some(Face::BuiltIn(Spanned::new(name.clone(), face.span))),
            ExpressionKind::Text(pieces) => match pieces.as_slice() {
                [Piece::Literal(path)] => Some(Face::Outline(Spanned::new(path.value.clone(), face.span))),
                _ => {
                    expected("the path of a font file", "\"fonts/Door.ttf\"", face, &mut self.findings);
                    None
                }
            },
            _ => {
                expected("the name of a face or the path of a font file", "narrow", face, &mut self.findings);
                None
            }
        });
        let (size, align, valign) = self.setting(arguments);
        let text = arguments.plain(0, "its text in quotes", "text \"{temp:.1}°\"", &mut self.findings)?;
        let ExpressionKind::Text(pieces) = &text.kind else {
            expected("a text in quotes", "\"{temp:.1}°\"", text, &mut self.findings);
            return None;
        };
        let parts = self.parts(pieces);
        Some(ElementKind::Text(Text { parts, face, size, align, valign, span: text.span }))
    }

    fn parts(&mut self, pieces: &[Piece]) -> Vec<TextPart> {
        let mut parts = Vec::with_capacity(pieces.len());
        // The unit of the number that stands directly before, which the next literal must not relabel.
        let mut before: Option<Unit> = None;
        for piece in pieces {
            match piece {
                Piece::Literal(text) => {
                    if let Some(unit) = before.take() {
                        self.check_label(unit, text);
                    }
                    parts.push(TextPart::Literal(text.value.clone()));
                }
                Piece::Field { value, format, span } => {
                    before = None;
                    if format.precision.is_some_and(|digits| digits > MOST_DECIMALS)
                        || format.width.is_some_and(|width| width > WIDEST_FIELD)
                    {
                        self.findings.push(
                            Finding::error("bad format", *span, "this field is wider than any panel")
                                .label(format!("at most {MOST_DECIMALS} decimals and a width of {WIDEST_FIELD}")),
                        );
                        continue;
                    }
                    if let ExpressionKind::Call { name, plain, .. } = &value.kind
                        && name.value == clock::NAME
                    {
                        parts.extend(self.clock(plain, value).map(TextPart::Clock));
                        continue;
                    }
                    match self.expressions().check(value) {
                        None => {}
                        Some(Checked::Words(choice)) => {
                            parts.push(TextPart::Words { choice, format: format.clone(), span: *span });
                        }
                        Some(Checked::Truth(_)) => self.findings.push(
                            Finding::error("wrong kind", value.span, "a condition has no text of its own")
                                .label("a condition")
                                .help("say what to show: `{if … then \"open\" else \"shut\"}`"),
                        ),
                        Some(number) => {
                            let Some((formula, unit)) = number.number(Unit::BARE) else { continue };
                            let style = self.expressions().style(&formula);
                            if let Some(style) = style.filter(|_| *format == Format::default()) {
                                parts.push(TextPart::Time(formula, style));
                                continue;
                            }
                            before = Some(unit);
                            let bounds = self.expressions().bounds(&formula);
                            parts.push(TextPart::Number { formula, format: format.clone(), bounds, span: *span });
                        }
                    }
                }
            }
        }
        parts
    }

    /// Reports a unit written behind a number that is in another unit of the same quantity: that would relabel it.
    fn check_label(&mut self, unit: Unit, literal: &Spanned<String>) {
        let word: &str = literal.value.split_whitespace().next().unwrap_or("");
        let Some(written) = units::lookup(word.trim_end_matches(['.', ',', ';', ':', ')'])) else { return };
        let meant = written.in_the_sense_of(unit);
        let same = units::convert(1.0, unit, meant).is_none_or(|one| one == 1.0)
            && units::convert(0.0, unit, meant).is_none_or(|zero| zero == 0.0);
        if !same {
            let (owner, help) = if unit.is_bare() {
                ("has no unit".to_string(), format!("give the reading its unit: `unit: {written}`"))
            } else {
                (format!("is in {unit}"), format!("convert it within the braces: `{{… as {written}}}`"))
            };
            let message = format!("this says {written}, but the number before it {owner}");
            self.findings.push(Finding::error("relabelled unit", literal.span, message).label(owner).help(help));
        }
    }

    fn bar(&mut self, arguments: &Arguments<'_>) -> Option<ElementKind> {
        let shown = arguments.plain(0, "what it shows", "bar temp over: 8..16°C", &mut self.findings)?;
        let number = self.expressions().number(shown);
        let direction = arguments.named("direction").and_then(|word| one_of(word, &DIRECTIONS, &mut self.findings));
        let segments = arguments.named("segments").and_then(|count| pixels(count, 2, 64, &mut self.findings));
        let (formula, unit) = number?;
        let bounds = self.expressions().bounds(&formula);
        let (scale, target) = self.scale(arguments, shown, bounds, unit)?;
        let origin = match arguments.named("origin") {
            Some(origin) => {
                let at = number_in(origin, unit, "a number", &mut self.findings)?;
                if !scale.contains(at) {
                    self.findings.push(
                        Finding::error("out of range", origin.span, "the origin lies outside of the bar's scale")
                            .label(format!("the scale is {}..{}{unit}", scale.low, scale.high)),
                    );
                    return None;
                }
                at
            }
            None => scale.low,
        };
        let direction = direction.unwrap_or(Direction::Right);
        Some(ElementKind::Bar(Bar { formula, scale, origin, target, direction, segments }))
    }

    /// The scale of a bar or a trend, and the band on it where the number ought to be.
    fn scale(
        &mut self,
        arguments: &Arguments<'_>,
        shown: &Expression,
        bounds: Bounds,
        unit: Unit,
    ) -> Option<(Bounds, Option<Bounds>)> {
        let scale = match arguments.named("over") {
            Some(over) => range_in(over, unit, &mut self.findings)?,
            None => {
                if !bounds.is_finite() {
                    self.findings.push(
                        Finding::error("no range", shown.span, "nothing says from where to where this reaches")
                            .label("has no range")
                            .help("give it a scale, for example `over: 0..100`"),
                    );
                    return None;
                }
                bounds
            }
        };
        let target = match arguments.named("target") {
            Some(target) => {
                let band = range_in(target, unit, &mut self.findings)?;
                if scale.low > band.low || scale.high < band.high {
                    self.findings.push(
                        Finding::error("out of range", target.span, "the target band reaches beyond the scale")
                            .label(format!("the scale is {}..{}{unit}", scale.low, scale.high)),
                    );
                    return None;
                }
                Some(band)
            }
            None => None,
        };
        Some((scale, target))
    }

    fn trend(&mut self, arguments: &Arguments<'_>) -> Option<ElementKind> {
        let shown = arguments.plain(0, "what it shows", "trend temp for: 24h", &mut self.findings)?;
        let (source, unit) = self.expressions().source(shown)?;
        let window = match arguments.named("for") {
            Some(window) => window_of(window, &mut self.findings)?,
            None => USUAL_TREND,
        };
        let Window::Last(_) = window else {
            let span = arguments.named("for").map_or(shown.span, |window| window.span);
            self.findings.push(
                Finding::error("wrong kind", span, "a trend has a fixed length").help("write, for example, `for: 24h`"),
            );
            return None;
        };
        let bounds = source.of(&self.expressions().limits());
        let (scale, target) = self.scale(arguments, shown, bounds, unit)?;
        let history = self.observations.history(source, window, shown.span, &mut self.findings)?;
        Some(ElementKind::Trend(Trend { source, history, scale, target }))
    }
}

/// A statement's word and first argument, as far as they help in a message.
fn shown(statement: &Statement) -> String {
    match statement.plain.first().map(|first| &first.kind) {
        Some(ExpressionKind::Name(name)) => format!("{} {name}", statement.word.value),
        _ => statement.word.value.clone(),
    }
}
