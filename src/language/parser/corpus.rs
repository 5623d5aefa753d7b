//! Tests: broken layouts, what is said of each, and where.
//!
//! The layouts stand in `broken.layouts`, one after the other: a line with `---` and a name, the layout, and below it the
//! expected findings, each as `>>> line:column name: message`. How the reports look, with carets and help, is under a
//! snapshot as well.

use std::collections::BTreeSet;

use super::super::report::{line_and_column, to_text};
use super::parse;

struct Case {
    name: &'static str,
    layout: String,
    expected: Vec<&'static str>,
}

fn cases() -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in include_str!("broken.layouts").lines() {
        if let Some(name) = line.strip_prefix("--- ") {
            cases.push(Case { name, layout: String::new(), expected: Vec::new() });
        } else if let Some(case) = cases.last_mut() {
            match line.strip_prefix(">>> ") {
                Some(finding) => case.expected.push(finding),
                None => case.layout += &format!("{line}\n"),
            }
        }
    }
    cases
}

#[test]
fn each_mistake_is_named_at_its_place() {
    let mut wrong = String::new();
    for Case { name, layout, expected } in cases() {
        let found: Vec<String> = parse(&layout)
            .1
            .iter()
            .map(|finding| {
                let place = line_and_column(&layout, finding.span.start as usize);
                format!("{}:{} {}: {}", place.line, place.column, finding.name, finding.message)
            })
            .collect();
        if found != expected {
            let found: String = found.iter().map(|finding| format!(">>> {finding}\n")).collect();
            wrong += &format!("--- {name}\n{layout}{found}");
        }
    }
    assert!(wrong.is_empty(), "these are found instead:\n{wrong}");
}

#[test]
fn names_of_cases_are_unique_and_none_is_without_a_mistake() {
    let cases = cases();
    let names: BTreeSet<&str> = cases.iter().map(|case| case.name).collect();
    assert_eq!(names.len(), cases.len());
    assert!(cases.len() >= 70, "{} cases", cases.len());
    assert!(cases.iter().all(|case| !case.expected.is_empty()));
}

#[test]
fn each_finding_says_what_to_write() {
    for Case { name, layout, .. } in cases() {
        assert!(parse(&layout).1.iter().all(|finding| finding.help.is_some()), "{name}");
    }
}

#[test]
fn reports_look_as_before() {
    let mut reports = String::new();
    for Case { name, layout, .. } in cases() {
        let (_, findings) = parse(&layout);
        reports += &format!("--- {name}\n{}\n", to_text("door.layout", &layout, &findings, false));
    }
    insta::assert_snapshot!(reports);
}
