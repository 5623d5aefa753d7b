//! Mistakes that somebody makes: each is found once, at its place, and named with a way out.
//!
//! The corpus is `mistakes.layouts`: layouts with one mistake each, and below each what is said of it. How the reports look is kept
//! as a snapshot, to be read as a person would.

use std::collections::BTreeSet;
use std::path::Path;

use sidelight::language::report::{line_and_column, to_text};
use sidelight::service::compile;

struct Case {
    name: &'static str,
    layout: String,
    expected: Vec<&'static str>,
}

fn cases() -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in include_str!("mistakes.layouts").lines() {
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
    let (mut wrong, mut reports) = (String::new(), String::new());
    let cases = cases();
    for Case { name, layout, expected } in &cases {
        let loaded = compile(layout.as_bytes(), Path::new(name));
        let place = |finding: &sidelight::language::Finding| {
            let place = line_and_column(&loaded.text, finding.span.start as usize);
            format!("{}:{} {}: {}", place.line, place.column, finding.name, finding.message)
        };
        let found: Vec<String> = loaded.findings.iter().map(place).collect();
        if found != *expected || found.is_empty() {
            wrong += &format!("--- {name}\n>>> {}\n", found.join("\n>>> "));
        }
        reports += &format!("{}\n", to_text(name, &loaded.text, &loaded.findings, false));
    }
    assert!(wrong.is_empty(), "found instead:\n{wrong}");
    assert!(cases.len() >= 90, "only {} cases", cases.len());
    insta::assert_snapshot!("reports_of_mistakes", reports);
}

#[test]
fn no_case_stands_twice() {
    let cases = cases();
    let names: BTreeSet<&str> = cases.iter().map(|case| case.name).collect();
    let layouts: BTreeSet<&str> = cases.iter().map(|case| case.layout.as_str()).collect();
    assert_eq!((names.len(), layouts.len()), (cases.len(), cases.len()));
}
