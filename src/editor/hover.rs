//! What there is to say about a place: what a name means, what an argument does, how wide a text can get.
//!
//! What enters are an analysed text and a byte; what leaves are a few lines of Markdown and the place that they are about.

use crate::faces::Catalogue;
use crate::formulas::{Bounds, Function};
use crate::language::words::{self, PICKS, SMOOTHS};
use crate::language::{Declared, Means, Span, clock, functions};
use crate::layout::{Drawing, Program, Widest, widest};
use crate::units::{self, Unit};

use super::analysis::Analysis;
use super::completion::{signature, sizes};
use super::names::{list_owner, parts, resolved};
use super::reference;
use super::thing::{Kind, Thing, thing_at};

/// What there is to say about the byte `at`, and about which part of the text.
pub fn hover(analysis: &Analysis, at: usize) -> Option<(Span, String)> {
    let thing = thing_at(&analysis.understood.document, &analysis.text, at)?;
    let statement = thing.around.last()?;
    let word = statement.word.value.as_str();
    let text = match thing.kind {
        Kind::Word => {
            let lines = [reference::word(word).map(str::to_string), drawn(analysis, statement.span)];
            join(lines)
        }
        Kind::Text => drawn(analysis, statement.span),
        Kind::Argument(None) => argument(word, analysis.slice(thing.span)),
        Kind::Argument(Some(call)) => reference::pick(call),
        Kind::Call => function(analysis.slice(thing.span)),
        Kind::Name(argument) => name(analysis, &thing, argument, at),
        Kind::Unit(written) => unit(written),
    }?;
    Some((thing.span, text))
}

fn join<const N: usize>(lines: [Option<String>; N]) -> Option<String> {
    let lines: Vec<String> = lines.into_iter().flatten().collect();
    (!lines.is_empty()).then(|| lines.join("\n\n"))
}

fn argument(word: &str, name: &str) -> Option<String> {
    let found = reference::argument(word, name)?;
    let usual = found.usual.map(|usual| format!("; {usual} where it is left out")).unwrap_or_default();
    join([Some(format!("`{name}:` {}{usual}", found.takes)), found.meaning.map(str::to_string)])
}

fn function(name: &str) -> Option<String> {
    if name == clock::NAME {
        return reference::sentence(&format!("`{{{name}(")).map(str::to_string);
    }
    if let Some(pick) = words::find(&PICKS, name).and_then(|pick| reference::pick(pick.name)) {
        return Some(pick);
    }
    if words::find(&SMOOTHS, name).is_some() {
        return argument("reading", "smooth");
    }
    functions().find(|known| *known == name)?;
    let found = reference::function(name)?;
    let signature = Function::named(name).map_or(format!("{} → {}", found.call, found.gives), signature);
    let takes = found.takes.map(|takes| format!("takes {takes}"));
    join([
        Some(format!("`{signature}`")),
        join([takes, Some(format!("gives {}", found.gives))]),
        found.source.map(|source| format!("source: {source}")),
    ])
}

fn unit(written: &str) -> Option<String> {
    let unit = units::lookup(written)?;
    let quantity = unit.quantity().map(|quantity| format!(": {quantity}")).unwrap_or_default();
    Some(format!("`{unit}`{quantity}"))
}

fn name(analysis: &Analysis, thing: &Thing<'_>, argument_name: Option<&str>, at: usize) -> Option<String> {
    let written = analysis.slice(thing.span);
    let here: Vec<&Declared> =
        analysis.declared.iter().filter(|one| one.span == thing.span || one.uses.contains(&thing.span)).collect();
    let part = parts(analysis, thing.span).into_iter().find(|(_, place)| at <= place.end as usize)?;
    if let Some((_, list)) = list_owner(&thing.around, part.0) {
        return Some(format!("`{}` stands for each of {}", part.0, analysis.slice(list.value.span)));
    }
    if let [first, others @ ..] = here.as_slice() {
        let copies = match others.len() {
            0 => String::new(),
            more => format!(", and {more} more by `each`"),
        };
        return Some(format!("`{}`{copies}: {}", first.name, meaning(first)));
    }
    if !thing.parsed {
        return analysis
            .declared_as(&resolved(&thing.around, written))
            .map(|one| format!("`{written}`: {}", meaning(one)));
    }
    let word = thing.around.last().map(|statement| statement.word.value.as_str())?;
    match argument_name {
        Some("face") => sizes(&Catalogue::new(), written).map(|sizes| format!("`{written}`: {sizes}")),
        Some(named) => {
            words::find(&PICKS, written).and_then(|pick| reference::pick(pick.name)).or_else(|| argument(word, named))
        }
        None => None,
    }
}

/// What a name means: how it comes about, its unit and its range.
pub fn meaning(declared: &Declared) -> String {
    let how = if declared.heard { "reading" } else { "value" };
    match declared.means {
        Means::Number(unit, bounds) => {
            let unit_in_words = if unit.is_bare() { "without a unit".to_string() } else { format!("in {unit}") };
            format!("{how} {unit_in_words}, {}", range(bounds, unit))
        }
        Means::Condition => format!("{how} that holds or does not"),
        Means::Unknown => format!("{how} whose statement has a mistake"),
    }
}

fn range(bounds: Bounds, unit: Unit) -> String {
    // Bounds are rounded outwards; four digits are enough to see what can come.
    let short = |number: f64| {
        let text = format!("{number:.4}");
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    };
    if bounds.is_finite() {
        format!("{}..{}{unit}", short(bounds.low), short(bounds.high))
    } else {
        "without a range".to_string()
    }
}

/// How large what an element draws can get.
fn drawn(analysis: &Analysis, statement: Span) -> Option<String> {
    let program: &Program = analysis.understood.program.as_deref()?;
    let layout = analysis.understood.layout.as_ref()?;
    let mut lines = Vec::new();
    for item in program.screens.iter().flat_map(|screen| &screen.items).filter(|item| item.span == statement) {
        let size = item.ink.size;
        match &item.drawing {
            Drawing::Text(run) => {
                let text = layout.texts().into_iter().filter(|text| covers(statement, text.span));
                let all: Vec<Widest> = text.filter_map(|text| widest(&text.parts, &run.strike)).collect();
                let worst = all.into_iter().max_by_key(|worst| worst.columns)?;
                lines.push(format!(
                    "at its widest “{}”, {} px wide and {} px tall, set in {}",
                    as_it_is(&worst.text),
                    worst.columns,
                    worst.rows,
                    run.strike.name()
                ));
            }
            Drawing::Bar { .. } | Drawing::Trend { .. } => {
                lines.push(format!("{} px wide and {} px tall", size.width, size.height));
            }
            Drawing::Line | Drawing::Invert => {}
        }
    }
    lines.dedup();
    join([(!lines.is_empty()).then(|| lines.join("\n\n"))])
}

/// Characters of a layout that Markdown would take for its own.
fn as_it_is(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        if matches!(character, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '&' | '~' | '|' | '#') {
            out.push('\\');
        }
        out.push(character);
    }
    out
}

fn covers(outer: Span, inner: Span) -> bool {
    outer.start <= inner.start && inner.end <= outer.end
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::analysis::with_cursor;

    fn at(text: &str) -> Option<String> {
        let (analysis, at) = with_cursor(text);
        hover(&analysis, at).map(|(_, text)| text)
    }

    const BEGIN: &str = "panel 128x32\nreading temp from: \"a\" unit: °C range: -10..40\nreading rh from: \"b\" unit: %\n\
        value dew = dew_point(temp, rh)\nvalue warm = temp > 12\n";

    #[test]
    fn names() {
        let of = |field: &str| at(&format!("{BEGIN}screen s {{ text \"µ {{{field}:.1}}\" }}"));
        assert_eq!(of("te|mp").unwrap(), "`temp`: reading in °C, -10..40°C");
        assert_eq!(of("|rh").unwrap(), "`rh`: reading in %, 0..100%");
        assert_eq!(of("dew|").unwrap(), "`dew`: value in °C, -45..40°C");
        assert_eq!(of("war|m").unwrap(), "`warm`: value that holds or does not");
        assert_eq!(of("wa|r"), None);
    }

    #[test]
    fn lists_and_copies() {
        let text = "panel 128x32\neach room: (a, b) { reading t.room from: \"{room}\" unit: % }\n\
            screen s { each room: (a, b) { text \"{t.room:.0}\" size: 9 } }\n";
        let first = at(&text.replacen("t.room from", "|t.room from", 1)).unwrap();
        assert_eq!(first, "`t.a`, and 1 more by `each`: reading in %, 0..100%");
        assert_eq!(at(&text.replacen("t.room:", "t.ro|om:", 1)).unwrap(), "`room` stands for each of (a, b)");
    }

    #[test]
    fn words_arguments_functions_and_units() {
        assert!(at("pan|el 128x32").unwrap().contains("the panel that the layout is made for"));
        assert!(at("reading t sta|le: 5min").unwrap().starts_with("`stale:` time"));
        let dew = at(&BEGIN.replacen("dew_point", "dew_|point", 1)).unwrap();
        assert!(dew.starts_with("`dew_point(temperature in °C, relative humidity in %) → °C`"), "{dew}");
        assert!(dew.contains("source: Magnus form"), "{dew}");
        assert!(at("value x = low|est(t, 24h)").unwrap().contains("the least"));
        assert_eq!(at("reading t from: \"a\" unit: h|Pa").unwrap(), "`hPa`: pressure");
        assert_eq!(at("screen s { text \"a\" face: sm|all }").unwrap(), "`small`: 7 px");
        assert!(at("reading t pick: colu|mn(2)").unwrap().contains("gives 91"));
        assert!(at("screen s { text \"{clo|ck(\"%H:%M\")}\" }").unwrap().contains("shows the time"));
    }

    #[test]
    fn a_text_at_its_widest() {
        let text = format!(
            "{BEGIN}screen s {{ text \"|{{temp:.1}}°\" size: 16 face: narrow\ntext \"{{dew:.0}}\" size: 7 }}\n"
        );
        let found = at(&text).unwrap();
        assert!(found.starts_with("at its widest “−10.0°”, "), "{found}");
        assert!(found.ends_with("set in narrow 16"), "{found}");
        let signs = at(&text.replace("°\"", "*_\"")).unwrap();
        assert!(signs.starts_with("at its widest “−10.0\\*\\_”, "), "{signs}");
        let word = at(&text.replace('|', "").replacen("text", "te|xt", 1)).unwrap();
        assert!(word.contains("Characters to be shown") && word.contains("at its widest"), "{word}");
    }

    #[test]
    fn a_broken_statement_still_explains() {
        assert_eq!(at(&format!("{BEGIN}value x = (te|mp\n")).unwrap(), "`temp`: reading in °C, -10..40°C");
        assert!(at("value d = dew_po|int(temp").unwrap().contains("source"));
    }
}
