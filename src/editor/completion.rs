//! What can be written at a place: words, arguments, values, names, functions, units, faces and icons.
//!
//! What enters are an analysed text and a byte; what leaves is a list of items. Every item comes from a table that the checker uses, or
//! is declared in the file; the lines about them come from the reference.

use std::sync::LazyLock;

use crate::faces::{Catalogue, icons};
use crate::formulas::{Function, Kind};
use crate::language::syntax::ExpressionKind;
use crate::language::words::{
    self, ANYWHERE, CLOCK, DECIMALS, DIRECTIONS, ELEMENTS, FIELDS, FIT, HORIZONTAL, Holds, OF_ELEMENTS, PANELS, PICKS,
    SMOOTHS, STALE, STATEMENTS, TODAY, TOPIC, Takes, VERTICAL, Word,
};
use crate::language::{self, CURVE, Means, Severity, Span, clock, pages};
use crate::service::understand;
use crate::units;

use super::analysis::Analysis;
use super::cursor::{Begun, Call, Cursor, Slot, Value, cursor_at};
use super::hover::meaning;
use super::reference;
use super::thing::each_name;

/// Something that can be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// What is written.
    pub label: String,
    /// What kind of thing it is.
    pub kind: ItemKind,
    /// A few words about it.
    pub detail: Option<String>,
    /// A line about it.
    pub about: Option<String>,
    /// The arguments that follow in parentheses, for editors that can leave holes to be filled.
    pub parameters: Option<Vec<String>>,
}

/// The kinds of items.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ItemKind {
    /// A statement or an element.
    Word,
    /// A named argument.
    Argument,
    /// One of a few words that an argument takes.
    Choice,
    /// A reading or a value.
    Name,
    /// A list of an `each`.
    List,
    /// A function or a pick.
    Function,
    /// A unit.
    Unit,
    /// A family of faces.
    Face,
}

impl Item {
    fn new(label: impl Into<String>, kind: ItemKind) -> Self {
        Self { label: label.into(), kind, detail: None, about: None, parameters: None }
    }

    fn detail(self, detail: impl Into<String>) -> Self {
        Self { detail: Some(detail.into()), ..self }
    }

    fn about(self, about: Option<impl Into<String>>) -> Self {
        Self { about: about.map(Into::into), ..self }
    }
}

/// What can be written at the byte `at`, and what of the text it takes the place of.
pub fn completion(analysis: &Analysis, at: usize) -> (Span, Vec<Item>) {
    let cursor = cursor_at(&analysis.text, at);
    let offer = Offer { analysis, cursor: &cursor };
    (cursor.typed, offer.items())
}

struct Offer<'a> {
    analysis: &'a Analysis,
    cursor: &'a Cursor<'a>,
}

impl Offer<'_> {
    fn items(&self) -> Vec<Item> {
        match &self.cursor.slot {
            Slot::Statement(before) => {
                let mut items = self.statements();
                items.extend(before.iter().flat_map(|before| self.arguments(before)));
                items
            }
            Slot::Argument(begun) => {
                let mut items = Vec::new();
                if let Some(takes) = self.row(begun).and_then(|row| row.plain.get(begun.plain)) {
                    items.extend(self.values(*takes));
                }
                items.extend(self.arguments(begun));
                items
            }
            Slot::Value(begun, value) => {
                let takes = self.takes(begun, *value);
                let mut items = takes.map_or(Vec::new(), |takes| self.values(takes));
                // One of several icons is chosen by a condition.
                items.extend(takes.filter(|takes| *takes == Takes::Icon).into_iter().flat_map(|_| self.expression()));
                items
            }
            Slot::Expression => {
                let mut items = self.expression();
                items.push(call_item(&CLOCK, about_clock().map(str::to_string)));
                items
            }
            Slot::Call(call, holder) => self.in_call(call, holder.as_ref()),
            Slot::Unit => unit_items(),
            Slot::Quoted(begun, value) => self.takes(begun, *value).map_or(Vec::new(), quoted),
            Slot::QuotedInCall(call) => {
                let takes = Some(&CLOCK).filter(|row| row.name == call.name).and_then(|row| row.plain.get(call.index));
                takes.map_or(Vec::new(), |takes| quoted(*takes))
            }
            Slot::Nothing => Vec::new(),
        }
    }

    /// The row of a statement, by what holds it.
    fn row(&self, begun: &Begun<'_>) -> Option<&'static Word> {
        let table: &'static [Word] = if self.cursor.holder().is_some() { &ELEMENTS } else { &STATEMENTS };
        words::find(table, begun.word).or_else(|| words::find(&ANYWHERE, begun.word))
    }

    fn takes(&self, begun: &Begun<'_>, value: Value<'_>) -> Option<Takes> {
        let row = self.row(begun)?;
        match value {
            Value::Plain(index) => row.plain.get(index).copied(),
            Value::Definition => Some(Takes::Number),
            Value::Named(name) => {
                row.named.iter().chain(self.of_all(row)).find(|(known, _)| *known == name).map(|(_, takes)| *takes)
            }
        }
    }

    /// What a statement takes because it is an element.
    fn of_all(&self, row: &Word) -> &'static [(&'static str, Takes)] {
        let is_element = self.cursor.holder().is_some() && words::find(&ELEMENTS, row.name).is_some();
        if is_element { &OF_ELEMENTS } else { &[] }
    }

    /// The words that a statement can begin with here.
    fn statements(&self) -> Vec<Item> {
        let holder = self.cursor.holder();
        let elements = holder.is_some();
        let holds = |word: &str| {
            STATEMENTS.iter().chain(&ELEMENTS).any(|row| row.name == word && row.holds == Some(Holds::Elements))
        };
        if holder.is_some_and(|word| !holds(word)) {
            return Vec::new();
        }
        let table: &[Word] = if elements { &ELEMENTS } else { &STATEMENTS };
        let item = |row: &Word| {
            let detail = if elements { "element" } else { "statement" };
            Item::new(row.name, ItemKind::Word).detail(detail).about(reference::word(row.name))
        };
        table.iter().chain(&ANYWHERE).map(item).collect()
    }

    /// The named arguments that a statement does not have yet.
    fn arguments(&self, begun: &Begun<'_>) -> Vec<Item> {
        let Some(row) = self.row(begun) else { return Vec::new() };
        let names =
            row.named.iter().chain(self.of_all(row)).map(|(name, _)| *name).filter(|name| !begun.named.contains(name));
        let item = |name: &str| argument_item(name, reference::argument(row.name, name));
        names.map(item).collect()
    }

    fn values(&self, takes: Takes) -> Vec<Item> {
        let choices = |words: &[&str]| words.iter().map(|word| Item::new(*word, ItemKind::Choice)).collect();
        match takes {
            Takes::Number | Takes::Condition => self.expression(),
            Takes::Past => self.names(|declared| declared.means != Means::Condition),
            Takes::Unit => unit_items(),
            Takes::Pick => PICKS.iter().map(|row| call_item(row, reference::pick(row.name))).collect(),
            Takes::Smooth => SMOOTHS.iter().map(|row| call_item(row, None)).collect(),
            Takes::Presence => vec![call_item(&TOPIC, None)],
            Takes::Panel => {
                let panels = PANELS.iter().map(|(width, height)| format!("{width}x{height}"));
                panels.map(|panel| Item::new(panel, ItemKind::Choice)).collect()
            }
            Takes::Face => {
                let catalogue = Catalogue::new();
                let families = catalogue.families().filter(|family| *family != icons::FAMILY);
                let item = |family: &str| {
                    Item::new(family, ItemKind::Face).detail(sizes(&catalogue, family).unwrap_or_default())
                };
                families.map(item).collect()
            }
            Takes::Size => choices(&[FIT]),
            Takes::Stale => choices(&STALE),
            Takes::Horizontal => choices(&HORIZONTAL.map(|(word, _)| word)),
            Takes::Vertical => choices(&VERTICAL.map(|(word, _)| word)),
            Takes::Direction => choices(&DIRECTIONS.map(|(word, _)| word)),
            Takes::Decimal => choices(&DECIMALS.map(|(word, _)| word)),
            Takes::Field => choices(&FIELDS.map(|(word, _)| word)),
            Takes::Icon | Takes::Finding | Takes::Zone => {
                let in_quotes = |item: Item| Item { label: format!("\"{}\"", item.label), ..item };
                quoted(takes).into_iter().map(in_quotes).collect()
            }
            Takes::Name | Takes::Literal | Takes::Text | Takes::Constant | Takes::Place => Vec::new(),
        }
    }

    /// What an argument of a call can be.
    fn in_call(&self, call: &Call<'_>, holder: Option<&(Begun<'_>, Value<'_>)>) -> Vec<Item> {
        let row = match holder.and_then(|(begun, value)| self.takes(begun, *value)) {
            Some(Takes::Pick) => words::find(&PICKS, call.name),
            Some(Takes::Smooth) => words::find(&SMOOTHS, call.name),
            Some(Takes::Presence) => Some(&TOPIC).filter(|row| row.name == call.name),
            _ if call.name == CLOCK.name => {
                return CLOCK.plain.get(call.index).map_or(Vec::new(), |takes| self.values(*takes));
            }
            _ => {
                let windowed = Function::named(call.name).is_none() && call.name != CURVE && call.index > 0;
                let mut items = self.expression();
                items.extend(windowed.then(|| Item::new(TODAY, ItemKind::Choice)));
                return items;
            }
        };
        let Some(row) = row else { return Vec::new() };
        match call.argument {
            Some(name) => {
                row.named.iter().find(|(known, _)| *known == name).map_or(Vec::new(), |(_, takes)| self.values(*takes))
            }
            None if call.fresh => row.named.iter().map(|(name, _)| argument_item(name, None)).collect(),
            None => Vec::new(),
        }
    }

    /// What an expression can be made of.
    fn expression(&self) -> Vec<Item> {
        let mut items = self.names(|_| true);
        items.extend(language::functions().map(function_item));
        items
    }

    /// The readings and values that are declared before the cursor, and what the lists around it make of names.
    fn names(&self, wanted: impl Fn(&language::Declared) -> bool) -> Vec<Item> {
        // A value cannot look at itself.
        let before = |span: Span| (span.end as usize) < self.cursor.begins;
        let mut items: Vec<Item> = Vec::new();
        let lists: Vec<&str> = self.cursor.lists().collect();
        let document = &self.analysis.understood.document;
        each_name(&document.statements, &mut Vec::new(), &mut |around, name, span| {
            let declares = around.last().and_then(|statement| statement.plain.first());
            let is_name =
                declares.is_some_and(|first| first.span == span && matches!(first.kind, ExpressionKind::Name(_)));
            let of_lists = name.split('.').skip(1).any(|part| lists.contains(&part));
            let known = self.analysis.declared.iter().find(|declared| declared.span == span);
            if let Some(declared) = known.filter(|declared| is_name && of_lists && before(span) && wanted(declared)) {
                items.push(Item::new(name, ItemKind::Name).detail(meaning(declared)));
            }
        });
        let declared = self.analysis.declared.iter().filter(|declared| before(declared.span) && wanted(declared));
        items.extend(declared.map(|one| Item::new(&*one.name, ItemKind::Name).detail(meaning(one))));
        items.extend(lists.iter().map(|list| Item::new(*list, ItemKind::List).detail("the word of this copy")));
        items
    }
}

fn argument_item(name: &str, found: Option<reference::Argument>) -> Item {
    let item = Item::new(format!("{name}:"), ItemKind::Argument);
    match found {
        Some(found) => item.detail(found.takes).about(found.meaning),
        None => item,
    }
}

fn call_item(row: &Word, about: Option<String>) -> Item {
    let parameters = (!row.plain.is_empty()).then(|| vec![String::new(); row.plain.len()]);
    Item { parameters, ..Item::new(row.name, ItemKind::Function).about(about) }
}

fn function_item(name: &str) -> Item {
    let found = reference::function(name);
    let parameters = Function::named(name)
        .map(|function| function.parameters.iter().map(|parameter| parameter.name.to_string()).collect());
    let item = Item { parameters, ..Item::new(name, ItemKind::Function) };
    match found {
        Some(found) => item.detail(found.call.clone()).about(Some(format!("gives {}", found.gives))),
        None => item,
    }
}

/// What a function of the table takes and gives, in words.
pub fn signature(function: &Function) -> String {
    let kind = |kind: Kind| match kind {
        Kind::In(unit) => format!(" in {unit}"),
        Kind::Bare | Kind::SameAsFirst => String::new(),
    };
    let parameters = function.parameters.iter().map(|parameter| format!("{}{}", parameter.name, kind(parameter.kind)));
    let result = match function.result {
        Kind::In(unit) => unit.to_string(),
        Kind::Bare => "a bare number".to_string(),
        Kind::SameAsFirst => "in the unit of the first".to_string(),
    };
    format!("{}({}) → {result}", function.name, parameters.collect::<Vec<_>>().join(", "))
}

/// The sizes of a family.
pub fn sizes(catalogue: &Catalogue, family: &str) -> Option<String> {
    let sizes = catalogue.sizes(family).ok()?;
    Some(format!("{} px", sizes.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")))
}

fn about_clock() -> Option<&'static str> {
    reference::sentence(&format!("`{{{}(", clock::NAME))
}

fn unit_items() -> Vec<Item> {
    let item = |(spelling, unit): (&str, units::Unit)| {
        let item = Item::new(spelling, ItemKind::Unit);
        match unit.quantity() {
            Some(quantity) => item.detail(quantity),
            None => item,
        }
    };
    units::written().map(item).collect()
}

/// What can stand between quotes.
fn quoted(takes: Takes) -> Vec<Item> {
    match takes {
        Takes::Icon => icons::NAMES.iter().map(|name| Item::new(*name, ItemKind::Choice).detail("icon")).collect(),
        Takes::Finding => {
            WARNINGS.iter().map(|name| Item::new(*name, ItemKind::Choice).detail("a warning that is kept")).collect()
        }
        Takes::Zone => {
            clock::zones().into_iter().map(|name| Item::new(name, ItemKind::Choice).detail("time zone")).collect()
        }
        _ => Vec::new(),
    }
}

/// The names of the findings that are warnings, by their pages: one says so, or its example gives one. Errors cannot be allowed.
static WARNINGS: LazyLock<Vec<&str>> = LazyLock::new(|| {
    let warns = |page: &&pages::Page| {
        let example = page.body.split_once("```layout\n").and_then(|(_, rest)| rest.split_once("```"));
        let findings = example.map(|(layout, _)| understand(layout, &mut |_| Err("no file".to_string())).findings);
        page.body.starts_with("A warning")
            || findings
                .is_some_and(|all| all.iter().any(|one| one.name == page.name && one.severity == Severity::Warning))
    };
    pages::PAGES.iter().filter(warns).map(|page| page.name).collect()
});

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::with_cursor;
    use crate::language::tokens::{TokenKind, tokenize};
    use crate::language::{check, parse};

    fn labels(text: &str) -> Vec<String> {
        let (analysis, at) = with_cursor(text);
        completion(&analysis, at).1.into_iter().map(|item| item.label).collect()
    }

    const BEGIN: &str = "panel 128x64\nreading temp from: \"a\" unit: °C\nreading rh from: \"b\" unit: %\n";

    #[test]
    fn words_by_what_holds_them() {
        let top = ["panel", "reading", "value", "screen", "dim", "each", "allow"];
        assert_eq!(labels("|"), top);
        let elements =
            ["text", "icon", "bar", "trend", "rule", "frame", "space", "columns", "stack", "overlay", "each", "allow"];
        assert_eq!(labels("screen s {\n|\n}"), elements);
        assert_eq!(labels("screen s { each room: (a, b) { |"), elements);
        assert_eq!(labels("each room: (a, b) {\n |"), top);
    }

    #[test]
    fn arguments_that_are_not_there_yet() {
        let labels = labels("screen s { bar temp over: 0..3 | }");
        assert!(labels.contains(&"target:".to_string()) && labels.contains(&"when:".to_string()), "{labels:?}");
        assert!(!labels.contains(&"over:".to_string()) && !labels.contains(&"face:".to_string()), "{labels:?}");
    }

    #[test]
    fn values_of_arguments() {
        assert_eq!(labels("screen s { text \"a\" align: |"), ["left", "center", "right"]);
        assert_eq!(labels("screen s { text \"a\" face: |"), ["small", "text", "narrow", "wide"]);
        assert_eq!(labels("reading t pick: |"), ["number", "column", "pointer", "senml", "words"]);
        assert_eq!(labels("reading t pick: column(2, |"), ["separator:", "decimal:"]);
        assert_eq!(labels("reading t pick: column(2, decimal: |"), ["point", "comma"]);
        assert_eq!(labels("panel |")[..2], ["128x32", "128x64"]);
        assert!(labels("screen s { icon \"|\" }").contains(&"door-open".to_string()));
        assert!(labels("screen s { icon |").contains(&"\"door-open\"".to_string()));
        assert!(labels(&format!("{BEGIN}screen s {{ icon if |")).contains(&"temp".to_string()));
        assert!(labels("screen s { text \"{clock(\"%H:%M\", \"|\")}\" }").contains(&"Europe/Paris".to_string()));
        assert!(labels("screen s { text \"{clock(\"%H:%M\", |").contains(&"\"Asia/Tokyo\"".to_string()));
        assert_eq!(labels("screen s { text \"{clock(\"|"), [""; 0]);
        assert_eq!(labels("dim to: 20% |"), ["when:"]);
        assert_eq!(labels("allow \"never used\" |"), ["because:"]);
        assert_eq!(labels("screen s { allow \"never used\" |"), ["because:"]);
        assert!(labels("reading t unit: |").contains(&"µg/m³".to_string()));
        assert_eq!(labels("# |"), [""; 0]);
    }

    #[test]
    fn warnings_that_can_be_kept() {
        let found = labels("allow |");
        assert!(found.contains(&"\"never used\"".to_string()) && found.contains(&"\"small outline\"".to_string()));
        assert!(!found.contains(&"\"does not fit\"".to_string()), "{found:?}");
        let bare = labels("screen s { allow \"never |");
        assert_eq!(found[..bare.len()], bare.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>());
    }

    #[test]
    fn names_that_stand_before() {
        let text = format!("{BEGIN}value dew = dew_point(|\nvalue late = 3\n");
        let found = labels(&text);
        assert_eq!(found[..2], ["temp", "rh"]);
        assert!(found.contains(&"highest".to_string()) && found.contains(&"interpolate".to_string()));
        assert!(!found.contains(&"late".to_string()) && !found.contains(&"dew".to_string()));
        assert!(labels(&format!("{BEGIN}screen s {{ text \"{{lowest(temp, |)}}\" }}")).contains(&TODAY.to_string()));
        let values = "value spread = temp - dew_point(temp, rh)\nvalue wet = rh > 90\n";
        assert_eq!(labels(&format!("{BEGIN}{values}screen s {{ trend |"))[..4], ["temp", "rh", "spread", "for:"]);
    }

    #[test]
    fn names_of_copies() {
        let text = "each room: (brine, yard) {\n  reading temp.room from: \"{room}\" unit: °C\n}\nscreen s {\n";
        assert_eq!(labels(&format!("{text}text \"{{|"))[..2], ["temp.brine", "temp.yard"]);
        let within = labels(&format!("{text}each room: (brine, yard) {{ text \"{{|"));
        assert_eq!(within[..4], ["temp.room", "temp.brine", "temp.yard", "room"]);
    }

    #[test]
    fn the_whole_word_is_replaced() {
        let (analysis, at) = with_cursor(&format!("{BEGIN}screen s {{ text \"5° {{te|mp:.1}}\" }}"));
        assert_eq!(analysis.slice(completion(&analysis, at).0), "temp");
    }

    #[test]
    fn every_unit_can_be_written() {
        for item in unit_items() {
            for begin in ["unit: ", "as "] {
                let text = format!("{begin}{}", item.label);
                let tokens = tokenize(&text);
                let unit = tokens[tokens.len() - 2];
                assert_eq!((unit.kind, &text[unit.span.range()]), (TokenKind::Unit, &*item.label), "{text}");
            }
        }
    }

    /// Whatever is offered is known to the checker: put in, it is nothing unknown.
    #[test]
    fn nothing_is_offered_that_is_unknown() {
        let places = [
            "|",
            "screen s {\n|\n}",
            "screen s { text \"a\" | }",
            "screen s { bar temp | }",
            "screen s { trend temp | }",
            "screen s { frame | { rule\n } }",
            "reading t from: \"a\" |",
            "reading t from: \"a\" pick: |",
            "reading t from: \"a\" smooth: |",
            "reading t from: \"a\" stale: |",
            "reading t from: \"a\" unit: |",
            "value x = |",
            "value x = temp as |",
            "value x = highest(temp, |)",
            "screen s { text \"{|}\" }",
            "screen s { text \"a\" face: | }",
            "screen s { text \"a\" size: | }",
            "screen s { text \"a\" valign: | }",
            "screen s { bar temp direction: | }",
            "screen s { icon \"|\" }",
            "screen s { icon | }",
            "screen s { text \"{clock(\"%H\", |)}\" }",
            "screen s { text \"{clock(\"%H\", \"Asia/|\")}\" }",
            "screen s { allow | }",
            "allow \"never|",
            "dim |",
            "panel |",
            "panel 128x32 |",
        ];
        for place in places {
            let text = format!("{BEGIN}{place}");
            let (analysis, at) = with_cursor(&text);
            let (typed, items) = completion(&analysis, at);
            assert!(!items.is_empty(), "{place}");
            for item in items {
                let mut text = analysis.text.clone();
                let called = if item.kind == ItemKind::Function { "()" } else { "" };
                text.replace_range(typed.range(), &[&item.label, called].concat());
                let (document, mut findings) = parse(&text);
                findings.extend(check(&document).1);
                let unknown = findings.iter().find(|finding| finding.name.starts_with("unknown"));
                assert!(unknown.is_none(), "{place}: {}: {unknown:?}", item.label);
            }
        }
    }
}
