//! From a checked layout to a program: boxes, strikes, worst cases, and what depends on what.
//!
//! What enters are the model and the faces; what leaves is a [`Program`], or findings that name what does not fit. A program
//! never clips or overlaps a character, whatever its readings give: that is proved here, for every state.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::draw::{BarShape, Point, Rectangle, Size, TrendShape};
use crate::faces::{Catalogue, Strike, icons};
use crate::formulas::Compiled;
use crate::language::model::{self, Align, Element, ElementKind, Face, Layout, TextPart, TextSize};
use crate::language::{self, Finding};
use crate::panel::Glass;

use super::boxes::{Natural, Placed, boxes};
use super::brightness::{Brightness, Dim};
use super::distance;
use super::fit::{Extremes, compiled_parts};
use super::legibility;
use super::overlap::{Drawn, overlaps};
use super::past::pasts;
use super::program::{DerivedValue, Drawing, Inputs, Item, Program, Screen, TextRun};

/// The families that are tried for a text of a given size whose face the file leaves open.
const FOR_A_SIZE: [&str; 4] = ["text", "small", "wide", "narrow"];
/// The families that are tried for a text that fits its box; the first wins at equal height.
const FOR_A_BOX: [&str; 4] = ["wide", "narrow", "text", "small"];

/// In fewer pixels no trend can be seen.
const LEAST_TREND: Size = Size::new(12, 6);

/// Compiles a layout. There is a program if and only if no finding is an error.
///
/// Outline faces must be in the catalogue already, under their paths as written.
pub fn compile(layout: &Layout, catalogue: &Catalogue) -> (Option<Program>, Vec<Finding>) {
    let mut compiler = Compiler {
        catalogue,
        glass: layout.glass,
        readings: layout.readings.len(),
        observed: layout.observed.len(),
        findings: Vec::new(),
        value_inputs: Vec::new(),
    };
    let values = compiler.values(layout);
    let screens = layout.screens.iter().map(|screen| compiler.screen(layout, screen)).collect();
    let readings = layout.readings.iter().map(|reading| reading.spec.clone()).collect();
    language::say_once(&mut compiler.findings);
    let failed = language::has_errors(&compiler.findings);
    let mut program = Program {
        size: layout.panel,
        glass: layout.glass,
        shift: layout.shift,
        readings,
        histories: Vec::new(),
        observed: layout.observed.clone(),
        looked_at_closely: Inputs::default(),
        values,
        dims: layout.dims.iter().map(dim).collect(),
        screens,
    };
    program.looked_at_closely = program.find_looked_at_closely();
    program.histories = pasts(&program, layout);
    ((!failed).then_some(program), compiler.findings)
}

fn dim(dim: &model::Dim) -> Dim {
    Dim { to: Brightness::percent(dim.to), when: dim.when.clone() }
}

struct Compiler<'a> {
    catalogue: &'a Catalogue,
    glass: Option<Glass>,
    /// How many readings there are: what is observed of them is counted behind them.
    readings: usize,
    /// How many observations there are: the histories are counted behind them.
    observed: usize,
    findings: Vec<Finding>,
    value_inputs: Vec<Inputs>,
}

/// A text with what is known before its box is.
struct Prepared {
    extremes: Extremes,
    /// The strike, where the file fixes the size.
    fixed: Option<Arc<Strike>>,
    /// The families that may be tried where it does not.
    families: Vec<String>,
}

/// What an element inherits from those around it.
#[derive(Clone, Default)]
struct Around {
    /// The conditions of all of them.
    when: Vec<Compiled>,
    /// The overlays that hold it.
    overlays: Vec<usize>,
}

impl Compiler<'_> {
    fn values(&mut self, layout: &Layout) -> Vec<DerivedValue> {
        let mut values = Vec::with_capacity(layout.values.len());
        for value in &layout.values {
            let mut inputs = Inputs::default();
            self.add_inputs(&mut inputs, &value.formula);
            self.value_inputs.push(inputs.clone());
            values.push(DerivedValue {
                name: value.name.clone(),
                formula: value.formula.clone(),
                range: value.range,
                inputs,
            });
        }
        values
    }

    fn add_inputs(&self, inputs: &mut Inputs, formula: &Compiled) {
        inputs.add(formula, self.readings, |value| &self.value_inputs[value]);
    }

    fn screen(&mut self, layout: &Layout, screen: &model::Screen) -> Screen {
        let mut prepared = BTreeMap::new();
        self.prepare(&screen.children, &mut prepared);
        let natural = |element: &Element| match prepared.get(&element.id) {
            Some(Prepared { extremes, fixed: Some(strike), .. }) => {
                let extent = extremes.extent(strike);
                Natural { width: Some(extent.width), height: Some(extent.height()) }
            }
            _ => Natural::default(),
        };
        let mut drawn = Vec::new();
        let margin = Size::new_equal(2 * layout.shift);
        let panel = Rectangle::new(Point::new_equal(layout.shift as i32), layout.panel - margin);
        match boxes(panel, &screen.children, &natural) {
            Ok(placed) => {
                self.place_all(&screen.children, &placed, panel, &prepared, &Around::default(), &mut drawn);
            }
            Err(problem) => self.findings.push(Finding::error(
                "cannot be arranged",
                screen.span,
                format!("the elements of this screen cannot be arranged: {problem}"),
            )),
        }
        overlaps(&drawn, &mut self.findings);
        let groups = groups(&drawn);
        Screen {
            name: screen.name.clone(),
            when: screen.when.clone(),
            turn: screen.turn,
            items: drawn.into_iter().map(|drawn| drawn.item).collect(),
            groups,
        }
    }

    /// Works out the extremes of each text, and its strike where that does not depend on its box.
    fn prepare(&mut self, elements: &[Element], prepared: &mut BTreeMap<usize, Prepared>) {
        for element in elements {
            match &element.kind {
                ElementKind::Text(text) => match Extremes::of(&text.parts) {
                    Ok(extremes) => {
                        if let Some(text) = self.prepare_text(text, extremes) {
                            prepared.insert(element.id, text);
                        }
                    }
                    Err(findings) => self.findings.extend(findings),
                },
                kind => self.prepare(kind.children(), prepared),
            }
        }
    }

    fn prepare_text(&mut self, text: &model::Text, extremes: Extremes) -> Option<Prepared> {
        let names = |families: &[&str]| families.iter().map(|family| (*family).to_string()).collect::<Vec<_>>();
        let (families, named) = match &text.face {
            Some(Face::BuiltIn(name) | Face::Outline(name)) => match self.catalogue.sizes(&name.value) {
                Ok(_) => (vec![name.value.clone()], Some(name.span)),
                Err(problem) => {
                    self.findings.push(Finding::error("unknown face", name.span, problem.to_string()).label("unknown"));
                    return None;
                }
            },
            None => (names(&FOR_A_BOX), None),
        };
        let only_size = match families.as_slice() {
            [family] => self.catalogue.sizes(family).ok().filter(|sizes| sizes.len() == 1).map(|sizes| sizes[0]),
            _ => None,
        };
        let (wanted, span) = match (text.size, only_size) {
            (Some(TextSize::Pixels(pixels, span)), _) => (pixels, span),
            (None, Some(only)) => (only, text.span),
            (Some(TextSize::Fit) | None, _) => return Some(Prepared { extremes, fixed: None, families }),
        };
        let families = if named.is_some() { families } else { names(&FOR_A_SIZE) };
        let strikes = || families.iter().filter_map(|family| self.catalogue.strike(family, wanted).ok());
        let found = strikes().find(|strike| extremes.missing(strike).is_none()).or_else(|| strikes().next());
        let Some(strike) = found else {
            let finding = Finding::error("unknown size", span, format!("no face has digits {wanted} pixels tall"));
            self.findings.push(finding.label("not available").help(self.sizes_help(&families)));
            return None;
        };
        self.report_missing(text, &extremes, &strike);
        Some(Prepared { extremes, fixed: Some(strike), families })
    }

    fn sizes_help(&self, families: &[String]) -> String {
        let lists = families.iter().map(|family| {
            let sizes = self.catalogue.sizes(family).unwrap_or_default();
            match sizes {
                [first, .., last] if sizes.len() > 16 => format!("`{family}` has {first} to {last}"),
                _ => format!("`{family}` has {}", sizes.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")),
            }
        });
        format!("{}; `size: fit` takes the largest that fits", lists.collect::<Vec<_>>().join("; "))
    }

    fn report_missing(&mut self, text: &model::Text, extremes: &Extremes, strike: &Strike) {
        if let Some(character) = extremes.missing(strike) {
            let finding = Finding::error(
                "missing character",
                text.span,
                format!("the face {} has no `{}`", strike.name(), character.escape_debug()),
            );
            let others = self.catalogue.families_with(character);
            self.findings.push(if others.is_empty() {
                finding.help("no built-in face has it; choose another character, or an outline face by its path")
            } else {
                finding.help(format!("it is in {}", others.join(", ")))
            });
        }
    }

    fn place_all(
        &mut self,
        elements: &[Element],
        placed: &[Placed],
        parent: Rectangle,
        prepared: &BTreeMap<usize, Prepared>,
        around: &Around,
        drawn: &mut Vec<Drawn>,
    ) {
        for (element, placed) in elements.iter().zip(placed) {
            self.place(element, placed, parent, prepared, around, drawn);
        }
    }

    fn place(
        &mut self,
        element: &Element,
        placed: &Placed,
        parent: Rectangle,
        prepared: &BTreeMap<usize, Prepared>,
        around: &Around,
        drawn: &mut Vec<Drawn>,
    ) {
        let area = placed.area;
        // A box may reach beyond the one around it, but nothing is drawn there.
        let visible = area.intersection(&parent);
        let mut around = around.clone();
        around.when.extend(element.when.clone());
        match &element.kind {
            ElementKind::Text(text) => {
                if let Some(prepared) = prepared.get(&element.id)
                    && let Some((run, ink)) = self.text(text, prepared, visible)
                {
                    let mut item = self.item(Drawing::Text(run), ink, element, &around);
                    for part in &text.parts {
                        match part {
                            TextPart::Literal(_) | TextPart::Clock(_) => {}
                            TextPart::Number { formula, .. } | TextPart::Time(formula, _) => {
                                self.add_inputs(&mut item.inputs, formula)
                            }
                            TextPart::Words { choice, .. } => {
                                choice.conditions(&mut |condition| self.add_inputs(&mut item.inputs, condition));
                            }
                        }
                    }
                    drawn.push(Drawn { item, overlays: around.overlays.clone() });
                }
            }
            ElementKind::Bar(bar) => {
                if self.check_within(element, area, parent) && self.check_bar(element, bar, area) {
                    let shape = BarShape::new(area, bar.direction, bar.scale, bar.origin, bar.target, bar.segments);
                    let drawing = Drawing::Bar { formula: bar.formula.clone(), shape };
                    let mut item = self.item(drawing, area, element, &around);
                    self.add_inputs(&mut item.inputs, &bar.formula);
                    drawn.push(Drawn { item, overlays: around.overlays.clone() });
                }
            }
            ElementKind::Trend(trend) => {
                if self.check_within(element, area, parent) && self.check_trend(element, area) {
                    let shape = TrendShape::new(area, trend.scale, trend.target);
                    let drawing = Drawing::Trend { source: trend.source, history: trend.history, shape };
                    let mut item = self.item(drawing, area, element, &around);
                    item.inputs.add_input(trend.source.into(), self.readings, |value| &self.value_inputs[value]);
                    item.inputs.insert(self.readings + self.observed + trend.history);
                    drawn.push(Drawn { item, overlays: around.overlays.clone() });
                }
            }
            ElementKind::Rule { .. } => {
                if self.check_within(element, area, parent) {
                    let item = self.item(Drawing::Line, area, element, &around);
                    drawn.push(Drawn { item, overlays: around.overlays.clone() });
                }
            }
            ElementKind::Space(_) => {}
            ElementKind::Frame { thickness, children, .. } => {
                if self.check_within(element, area, parent) {
                    for side in sides(area, *thickness) {
                        let item = self.item(Drawing::Line, side, element, &around);
                        drawn.push(Drawn { item, overlays: around.overlays.clone() });
                    }
                }
                self.place_all(children, &placed.children, visible, prepared, &around, drawn);
            }
            ElementKind::Columns { children, .. } | ElementKind::Stack { children, .. } => {
                self.place_all(children, &placed.children, visible, prepared, &around, drawn);
            }
            ElementKind::Overlay { children } => {
                around.overlays.push(element.id);
                self.place_all(children, &placed.children, visible, prepared, &around, drawn);
                around.overlays.pop();
            }
        }
        if let Some(invert) = &element.invert {
            let mut around = around;
            around.when.push(invert.clone());
            let item = self.item(Drawing::Invert, visible, element, &around);
            drawn.push(Drawn { item, overlays: around.overlays });
        }
    }

    fn item(&self, drawing: Drawing, ink: Rectangle, element: &Element, around: &Around) -> Item {
        let mut inputs = Inputs::default();
        around.when.iter().for_each(|condition| self.add_inputs(&mut inputs, condition));
        Item { drawing, ink, when: around.when.clone(), inputs, element: element.id, span: element.span }
    }

    /// Sets a text in its box, or reports that it does not fit; gives the pixels that it may touch as well.
    fn text(&mut self, text: &model::Text, prepared: &Prepared, area: Rectangle) -> Option<(TextRun, Rectangle)> {
        let Prepared { extremes, fixed, families } = prepared;
        let Size { width, height } = area.size;
        let strike = match fixed {
            Some(strike) => strike.clone(),
            None => {
                let families: Vec<&str> = families.iter().map(String::as_str).collect();
                match extremes.largest(self.catalogue, &families, width, height) {
                    Some(strike) => strike,
                    None => {
                        let smallest = self.smallest(&families)?;
                        self.report_missing(text, extremes, &smallest);
                        self.report_size(text, extremes, &smallest, area, true);
                        return None;
                    }
                }
            }
        };
        self.warn_of_outline(text, &strike);
        self.findings.extend(self.glass.and_then(|glass| distance::too_small(&glass, text, &strike)));
        let extent = extremes.extent(&strike);
        if extent.width > width || extent.height() > height {
            self.report_size(text, extremes, &strike, area, false);
            return None;
        }
        let spare = |align: Align, spare: u32| match align {
            Align::Start => 0,
            Align::Middle => spare as i32 / 2,
            Align::End => spare as i32,
        };
        let corner = area.top_left
            + Point::new(spare(text.align, width - extent.width), spare(text.valign, height - extent.height()));
        // Shown in the middle, a narrower text may begin half a pixel to either side of where the widest one does.
        let ink = Rectangle::new(corner, Size::new(extent.width, extent.height()));
        let run = TextRun {
            baseline: corner.y + extent.rise as i32,
            parts: compiled_parts(&text.parts),
            align: text.align,
            area: ink,
            strike,
        };
        Some((run, ink))
    }

    /// Warns where a number is set in an outline face whose digits are hard to read at this size.
    fn warn_of_outline(&mut self, text: &model::Text, strike: &Strike) {
        let shows_number = text.parts.iter().any(|part| matches!(part, TextPart::Number { .. }));
        if shows_number && matches!(text.face, Some(Face::Outline(_))) {
            self.findings.extend(legibility::of_outline(strike, text.span));
        }
    }

    fn smallest(&self, families: &[&str]) -> Option<Arc<Strike>> {
        let sizes = families
            .iter()
            .flat_map(|family| self.catalogue.sizes(family).unwrap_or_default().first().map(|size| (*size, *family)));
        let (size, family) = sizes.min()?;
        self.catalogue.strike(family, size).ok()
    }

    fn report_size(&mut self, text: &model::Text, extremes: &Extremes, strike: &Strike, area: Rectangle, any: bool) {
        let extent = extremes.extent(strike);
        let Size { width, height } = area.size;
        let (what, over, has) = if extent.width > width {
            (
                format!("“{}”", icons::spelled(&extremes.widest(strike))),
                extent.width - width,
                format!("wide for its {width}"),
            )
        } else if extent.height() > height {
            ("this text".to_string(), extent.height() - height, format!("tall for its {height}"))
        } else {
            // It lacks a character, which was reported.
            return;
        };
        let even = if any { " even at the smallest size" } else { "" };
        self.findings.push(
            Finding::error("does not fit", text.span, format!("{what} is {over} px too {has} px{even}"))
                .label(format!("set in {}", strike.name()))
                .help("give it more room, a smaller `size:` or a narrower `face:`, shorten it, or narrow the `range:` of what it shows"),
        );
    }

    /// Reports an element that leaves the box around it.
    fn check_within(&mut self, element: &Element, area: Rectangle, parent: Rectangle) -> bool {
        let within = area.intersection(&parent) == area && area.size.width > 0 && area.size.height > 0;
        if !within {
            let Size { width, height } = area.size;
            let Point { x, y } = area.top_left;
            let message = if width == 0 || height == 0 {
                "nothing is left for this element".to_string()
            } else {
                format!("this element needs {width}x{height} px at ({x}, {y}), which leaves the box around it")
            };
            let Rectangle { size: Size { width, height }, .. } = parent;
            self.findings.push(
                Finding::error("does not fit", element.span, message)
                    .label(format!("the box around it has {width}x{height} px"))
                    .help("make it, its neighbours or the gaps between them smaller"),
            );
        }
        within
    }

    fn check_trend(&mut self, element: &Element, area: Rectangle) -> bool {
        let Size { width, height } = area.size;
        let shows = width >= LEAST_TREND.width && height >= LEAST_TREND.height;
        if !shows {
            self.findings.push(
                Finding::error("does not fit", element.span, format!("a trend of {width}x{height} px shows nothing"))
                    .label(format!("needs at least {}x{} px", LEAST_TREND.width, LEAST_TREND.height))
                    .help("give it more room"),
            );
        }
        shows
    }

    fn check_bar(&mut self, element: &Element, bar: &model::Bar, area: Rectangle) -> bool {
        let length = match bar.direction {
            model::Direction::Right | model::Direction::Left => area.size.width,
            model::Direction::Up | model::Direction::Down => area.size.height,
        };
        let least = 8.max(bar.segments.unwrap_or(0) * 3);
        if length < least {
            self.findings.push(
                Finding::error("does not fit", element.span, format!("a bar of {length} px shows nothing"))
                    .label(format!("needs at least {least} px"))
                    .help("give it more room, or fewer segments"),
            );
        }
        length >= least
    }
}

/// The four sides of a box as rectangles that do not meet.
fn sides(area: Rectangle, thickness: u32) -> [Rectangle; 4] {
    let Rectangle { top_left: Point { x, y }, size: Size { width, height } } = area;
    let (far_x, far_y) = (x + (width - thickness.min(width)) as i32, y + (height - thickness.min(height)) as i32);
    let between = Size::new(thickness, height.saturating_sub(2 * thickness));
    [
        Rectangle::new(Point::new(x, y), Size::new(width, thickness)),
        Rectangle::new(Point::new(x, far_y), Size::new(width, thickness)),
        Rectangle::new(Point::new(x, y + thickness as i32), between),
        Rectangle::new(Point::new(far_x, y + thickness as i32), between),
    ]
}

/// Items that meet, directly or through others, belong to one group.
fn groups(drawn: &[Drawn]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (index, drawn_item) in drawn.iter().enumerate() {
        let meets = |group: &Vec<usize>| {
            group.iter().any(|other| !drawn[*other].item.ink.intersection(&drawn_item.item.ink).is_zero_sized())
        };
        let mut joined = vec![index];
        let mut apart = Vec::with_capacity(groups.len() + 1);
        for group in groups {
            if meets(&group) {
                joined.extend(group);
            } else {
                apart.push(group);
            }
        }
        joined.sort_unstable();
        apart.push(joined);
        groups = apart;
    }
    groups
}
