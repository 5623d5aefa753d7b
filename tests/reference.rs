//! The language's reference keeps its word: every example in `layouts/README.md` and on the front page is compiled, and those that
//! are meant to be refused are refused for the reason that they name.

use std::path::Path;

use sidelight::faces::Catalogue;
use sidelight::language::{self, Finding, Severity};
use sidelight::layout;

/// What a fragment may count on.
const READINGS: &str = "panel 128x64\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100\n";

fn findings(text: &str) -> Vec<Finding> {
    let (document, mut findings) = language::parse(text);
    let (layout, more) = language::check(&document);
    findings.extend(more);
    if let Some(layout) = layout {
        findings.extend(layout::compile(&layout, &Catalogue::new()).1);
    }
    findings
}

/// The examples with the word behind ```` ```layout ````.
fn examples(page: &str) -> Vec<(String, String)> {
    let mut examples = Vec::new();
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        if let Some(kind) = line.strip_prefix("```layout") {
            let body: String =
                lines.by_ref().take_while(|line| *line != "```").map(|line| format!("{line}\n")).collect();
            examples.push((kind.trim().to_string(), body));
        }
    }
    examples
}

#[test]
fn every_example_does_what_the_page_says() {
    for (name, least) in [("README.md", 2), ("layouts/README.md", 11)] {
        let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap();
        let examples = examples(&page);
        assert!(examples.len() >= least, "{name} lost its examples");
        examples.into_iter().for_each(|(kind, body)| does_what_it_says(name, &kind, body));
    }
}

/// What stands in a block of scenes is understood; a scene without a layout of its own is one of the ready layout.
#[test]
fn every_example_of_scenes_is_understood() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (name, least) in [("README.md", 1), ("layouts/README.md", 2)] {
        let page = std::fs::read_to_string(root.join(name)).unwrap();
        let examples: Vec<&str> =
            page.split("```scenes\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
        assert!(examples.len() >= least, "{name} lost its examples");
        for example in examples {
            let scenes = sidelight::scenes::understand(example.as_bytes(), &root.join("layouts/ripening-door.scenes"));
            assert!(scenes.is_whole() && !scenes.scenes.is_empty(), "{name}:\n{}", scenes.report(false));
        }
    }
}

fn does_what_it_says(page: &str, kind: &str, body: String) {
    let text = match kind {
        "fragment" if body.starts_with("reading") || body.starts_with("value") => {
            format!("{READINGS}{body}screen s {{ text \"{{temp:.0}}\" }}\n")
        }
        "fragment" => format!("{READINGS}screen s {{\n{body}}}\n"),
        _ => body,
    };
    let mut found = findings(&text);
    if kind == "fragment" {
        // A fragment need not use all that it may count on.
        found.retain(|finding| finding.name != "never used");
    }
    let report = language::report::to_text(page, &text, &found, false);
    match kind.strip_prefix("error ") {
        Some(name) => {
            let errors: Vec<&str> = found.iter().map(|finding| finding.name).collect();
            assert_eq!(errors, [name], "{report}");
            assert_eq!(found[0].severity, Severity::Error);
        }
        None => assert!(found.is_empty(), "an example has findings:\n{report}"),
    }
}

fn page() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts/README.md")).unwrap()
}

/// The part of the page behind a heading or a phrase, up to the next blank line.
fn paragraph<'a>(page: &'a str, begin: &str) -> &'a str {
    let start = page.find(begin).unwrap_or_else(|| panic!("the page lost “{begin}”"));
    page[start..].split("\n\n").next().unwrap()
}

fn quoted(text: &str) -> Vec<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

#[test]
fn the_page_lists_every_icon() {
    let page = page();
    let listed: Vec<&str> = quoted(paragraph(&page, "The icons are"));
    assert_eq!(listed, sidelight::faces::icons::NAMES);
}

#[test]
fn every_unit_on_the_page_is_known() {
    let page = page();
    let listed = paragraph(&page, "Units may be written as usual");
    let units: Vec<&str> = quoted(listed)[0].split_whitespace().collect();
    assert!(units.len() > 40, "{units:?}");
    for unit in units {
        assert!(sidelight::units::lookup(unit).is_some(), "`{unit}` is no known unit");
    }
}

#[test]
fn every_function_is_on_the_page() {
    let page = page();
    for function in sidelight::formulas::Function::all() {
        assert!(page.contains(&format!("`{}(", function.name)), "{} is not on the page", function.name);
    }
}
