//! What the reference says about a word, an argument or a function: help in editors quotes it, so that nothing is explained twice.
//!
//! What enters is layouts/README.md as it was when the program was built; what leaves are its sentences and the rows of its tables.

use std::sync::LazyLock;

const PAGE: &str = include_str!("../../layouts/README.md");

static SECTIONS: LazyLock<Vec<Section>> = LazyLock::new(|| sections(PAGE));

/// A part of the page below a heading.
#[derive(Default)]
struct Section {
    /// What the heading names between backticks.
    words: Vec<&'static str>,
    /// The sentences outside of tables, lists and examples.
    sentences: Vec<String>,
    /// The rows of its tables.
    rows: Vec<Row>,
}

/// A row of a table.
struct Row {
    /// The heading of the first column.
    table: &'static str,
    /// What stands in the columns, each with its heading.
    cells: Vec<(&'static str, &'static str)>,
}

impl Row {
    fn cell(&self, heading: &str) -> Option<&'static str> {
        self.cells.iter().find(|(name, _)| *name == heading).map(|(_, cell)| *cell).filter(|cell| !cell.is_empty())
    }

    /// What stands between backticks in the first column.
    fn subjects(&self) -> impl Iterator<Item = &'static str> {
        self.cells.first().map(|(_, cell)| *cell).unwrap_or_default().split('`').skip(1).step_by(2)
    }
}

/// What an argument is, as the reference has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Argument {
    /// What may stand there.
    pub takes: &'static str,
    /// What holds without it, where it may be left out.
    pub usual: Option<&'static str>,
    /// What it does.
    pub meaning: Option<&'static str>,
}

/// What a function is, as the reference has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Function {
    /// How it is called, with its parameters.
    pub call: String,
    /// What its parameters are.
    pub takes: Option<&'static str>,
    /// What it gives.
    pub gives: &'static str,
    /// Where the formula comes from.
    pub source: Option<&'static str>,
}

/// The sentence about a statement or an element.
pub fn word(name: &str) -> Option<&'static str> {
    let section = section(name)?;
    let (whole, begun) = (format!("`{name}`"), format!("`{name} "));
    let named = section.sentences.iter().find(|sentence| sentence.contains(&whole) || sentence.contains(&begun));
    named.or(section.sentences.first()).map(String::as_str)
}

/// A named argument of a statement or an element; those that every element takes stand in a section of their own.
pub fn argument(word: &str, name: &str) -> Option<Argument> {
    let name = format!("{name}:");
    let row = section(word).and_then(|section| section.row("argument", &name)).or_else(|| {
        SECTIONS.iter().filter(|section| section.words.is_empty()).find_map(|s| s.row("argument", &name))
    })?;
    let usual = row.cell("default").filter(|usual| !matches!(*usual, "none" | "required"));
    Some(Argument { takes: row.cell("type")?, usual, meaning: row.cell("meaning") })
}

/// A pick, by what it makes of a payload: `12.4,91.0` gives 91.
pub fn pick(name: &str) -> Option<String> {
    let rows = SECTIONS.iter().flat_map(|section| &section.rows).filter(|row| row.table == "pick");
    let row = rows.into_iter().find(|row| row.subjects().any(|subject| is_call_of(subject, name)))?;
    Some(format!("{} of {} gives {}", row.cells[0].1, row.cell("payload")?, row.cell("gives")?))
}

/// A function that an expression may call.
pub fn function(name: &str) -> Option<Function> {
    let mut rows = SECTIONS.iter().flat_map(|section| &section.rows).filter(|row| row.table == "function");
    let (row, call) = rows.find_map(|row| {
        let call = row.subjects().find(|subject| is_call_of(subject, name) && subject.contains('('))?;
        Some((row, call))
    })?;
    // Of several functions with the same parameters the first one has them written out.
    let parameters = row.subjects().next().and_then(|first| first.split_once('(')).map(|(_, rest)| rest);
    let call = match (call.strip_suffix("(…)"), parameters) {
        (Some(name), Some(parameters)) => format!("{name}({parameters}"),
        _ => call.to_string(),
    };
    Some(Function { call, takes: row.cell("takes"), gives: row.cell("gives")?, source: row.cell("source") })
}

/// The first sentence anywhere that holds a text.
pub fn sentence(text: &str) -> Option<&'static str> {
    SECTIONS.iter().flat_map(|section| &section.sentences).find(|sentence| sentence.contains(text)).map(String::as_str)
}

fn is_call_of(subject: &str, name: &str) -> bool {
    subject.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with('('))
}

fn section(word: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|section| section.words.contains(&word))
}

impl Section {
    fn row(&self, table: &str, subject: &str) -> Option<&Row> {
        self.rows.iter().find(|row| row.table == table && row.subjects().any(|known| known == subject))
    }
}

fn sections(page: &'static str) -> Vec<Section> {
    let mut sections = vec![Section::default()];
    let (mut prose, mut headings, mut code) = (String::new(), Vec::new(), false);
    for line in page.lines() {
        if line.starts_with("```") {
            code = !code;
        }
        if code || line.starts_with("```") {
            continue;
        }
        let Some(section) = sections.last_mut() else { break };
        if line.starts_with('|') {
            let cells: Vec<&str> =
                line.trim_matches('|').split(" | ").map(|cell| cell.trim_matches(['|', ' '])).collect();
            if headings.is_empty() {
                headings = cells;
            } else if !cells[0].starts_with("---") {
                let cells: Vec<_> = headings.iter().copied().zip(cells).collect();
                section.rows.push(Row { table: headings[0], cells });
            }
            continue;
        }
        headings.clear();
        let heading = line.starts_with('#');
        if heading || line.is_empty() {
            section.sentences.extend(sentences(&std::mem::take(&mut prose)));
        } else if !line.starts_with(['-', '!', '>']) {
            prose.push_str(line);
            prose.push(' ');
        }
        // A section of the fourth order belongs to the one above it.
        if heading && !line.starts_with("####") {
            sections.push(Section { words: line.split('`').skip(1).step_by(2).collect(), ..Section::default() });
        }
    }
    sections
}

/// The sentences of a paragraph. A full stop ends one where a capital or a word of the language follows.
fn sentences(prose: &str) -> Vec<String> {
    let mut sentences = Vec::new();
    let mut rest = prose.trim();
    while !rest.is_empty() {
        let ends = rest.match_indices(". ").map(|(at, _)| at + 1);
        let end = ends.into_iter().find(|at| rest[at + 1..].starts_with(|c: char| c.is_uppercase() || c == '`'));
        let (sentence, after) = rest.split_at(end.unwrap_or(rest.len()));
        sentences.push(sentence.trim().to_string());
        rest = after.trim_start();
    }
    sentences
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::words::{ANYWHERE, ELEMENTS, OF_ELEMENTS, PICKS, STATEMENTS};
    use crate::language::{clock, functions};

    #[test]
    fn the_reference_speaks_of_everything() {
        for row in STATEMENTS.iter().chain(&ANYWHERE).chain(&ELEMENTS) {
            assert!(word(row.name).is_some(), "`{}` has no sentence", row.name);
            for name in row.arguments() {
                let found = argument(row.name, name);
                assert!(found.is_some_and(|found| !found.takes.is_empty()), "`{}` has no row `{name}:`", row.name);
            }
        }
        for (name, _) in OF_ELEMENTS {
            assert!(argument("text", name).is_some(), "no row `{name}:`");
        }
        for name in functions() {
            assert!(function(name).is_some(), "`{name}` is in no table");
        }
        for row in &PICKS {
            assert!(pick(row.name).is_some(), "`{}` is in no table", row.name);
        }
        assert!(sentence(&format!("`{{{}(", clock::NAME)).is_some());
    }

    #[test]
    fn sentences_and_rows_are_the_ones_that_are_meant() {
        assert_eq!(word("reading"), Some("A number that is heard from the broker."));
        assert_eq!(word("frame").map(|line| line.starts_with("`frame` draws a box")), Some(true));
        let stale = argument("reading", "stale").unwrap();
        assert_eq!((stale.usual, stale.meaning), (Some("`5min`"), Some("how old a number may get")));
        assert_eq!(argument("reading", "from").unwrap().usual, None);
        let dew = function("dew_point").unwrap();
        assert_eq!((dew.call.as_str(), dew.gives), ("dew_point(temp, rh)", "°C"));
        assert!(dew.source.unwrap().starts_with("Magnus form"));
        assert_eq!(function("sun_set").unwrap().call, "sun_set(latitude, longitude)");
        assert_eq!(pick("column").unwrap(), "`column(2)` of `12.4,91.0` gives 91; cells may be quoted as in RFC 4180");
    }

    #[test]
    fn paragraphs_are_cut_into_sentences() {
        assert_eq!(sentences("One. `two` 1.5 is, i.e. more. Three"), ["One.", "`two` 1.5 is, i.e. more.", "Three"]);
        assert_eq!(sentences(" "), [""; 0]);
    }
}
