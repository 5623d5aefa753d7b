//! Findings as SARIF 2.1.0 (OASIS standard, 2020), which code hosts show beside the lines concerned.
//!
//! In come file names, texts and findings; out comes one log with one run. Nothing is printed here.

use serde_json::{Value, json};

use super::report::{Place, line_and_column, within};
use super::{Finding, Severity, Span};

/// Where the schema of the log stands.
const SCHEMA: &str = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json";

/// A file with its text and what was found in it.
pub struct File<'a> {
    /// The path as it was given.
    pub name: &'a str,
    /// The text.
    pub text: &'a str,
    /// The findings, in the order of the file.
    pub findings: &'a [Finding],
}

/// The findings of all files as a log. Each kind of finding is a rule; its identifier is the finding's name with hyphens.
pub fn to_sarif(files: &[File<'_>]) -> Value {
    let all = || files.iter().flat_map(|file| file.findings.iter().map(move |finding| (file, finding)));
    let mut names: Vec<&str> = all().map(|(_, finding)| finding.name).collect();
    names.sort_unstable();
    names.dedup();
    let rules: Vec<Value> =
        names.iter().map(|name| json!({ "id": identifier(name), "shortDescription": { "text": name } })).collect();
    let results: Vec<Value> = all().map(|(file, finding)| result(file, finding, &names)).collect();
    json!({
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": env!("CARGO_PKG_NAME"),
                "version": env!("CARGO_PKG_VERSION"),
                "rules": rules,
            } },
            "columnKind": "unicodeCodePoints",
            "results": results,
        }],
    })
}

fn identifier(name: &str) -> String {
    name.replace(' ', "-")
}

fn result(file: &File<'_>, finding: &Finding, names: &[&str]) -> Value {
    let mut text = finding.message.clone();
    for more in [Some(&finding.label).filter(|label| !label.is_empty()), finding.help.as_ref()].into_iter().flatten() {
        text.push_str("; ");
        text.push_str(more);
    }
    let related: Vec<Value> = finding
        .related
        .iter()
        .enumerate()
        .map(|(index, (span, label))| {
            let mut location = location(file, *span);
            location["id"] = index.into();
            location["message"] = json!({ "text": label });
            location
        })
        .collect();
    let mut result = json!({
        "ruleId": identifier(finding.name),
        "ruleIndex": names.binary_search(&finding.name).unwrap_or_default(),
        "level": match finding.severity { Severity::Error => "error", Severity::Warning => "warning" },
        "message": { "text": text },
        "locations": [location(file, finding.span)],
    });
    if !related.is_empty() {
        result["relatedLocations"] = related.into();
    }
    result
}

fn location(file: &File<'_>, span: Span) -> Value {
    let range = within(file.text, span);
    let (start, end) = (line_and_column(file.text, range.start), line_and_column(file.text, range.end));
    let Place { line, column } = start;
    json!({ "physicalLocation": {
        "artifactLocation": { "uri": uri(file.name) },
        "region": { "startLine": line, "startColumn": column, "endLine": end.line, "endColumn": end.column },
    } })
}

/// A path as a relative reference of RFC 3986: what stands for itself there stays, all else is written in per cent.
fn uri(path: &str) -> String {
    let mut uri = String::new();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            uri.push(char::from(byte));
        } else {
            uri.push_str(&format!("%{byte:02X}"));
        }
    }
    uri
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_names_rules_places_and_ways_out() {
        let text = "panel 128x32\nµµ tmp\n";
        let at = text.find("tmp").unwrap();
        let findings = [
            Finding::error("unknown name", Span::new(at, at + 3), "nothing here is called `tmp`")
                .label("unknown")
                .help("did you mean `temp`?")
                .related(Span::new(0, 5), "declared here"),
            Finding::warning("dark panel", Span::new(0, 12), "the panel is dark"),
        ];
        let log = to_sarif(&[File { name: "my doors/°.layout", text, findings: &findings }]);
        let run = &log["runs"][0];
        assert_eq!(run["tool"]["driver"]["rules"][1]["id"], "unknown-name");
        let first = &run["results"][0];
        assert_eq!((&first["ruleIndex"], &first["level"]), (&json!(1), &json!("error")));
        assert_eq!(first["message"]["text"], "nothing here is called `tmp`; unknown; did you mean `temp`?");
        let place = &first["locations"][0]["physicalLocation"];
        assert_eq!(place["artifactLocation"]["uri"], "my%20doors/%C2%B0.layout");
        assert_eq!(place["region"], json!({ "startLine": 2, "startColumn": 4, "endLine": 2, "endColumn": 7 }));
        assert_eq!(first["relatedLocations"][0]["message"]["text"], "declared here");
        assert_eq!(
            (&run["results"][1]["ruleId"], &run["results"][1]["level"]),
            (&json!("dark-panel"), &json!("warning"))
        );
    }

    #[test]
    fn no_findings_are_an_empty_list() {
        assert_eq!(to_sarif(&[])["runs"][0]["results"], json!([]));
    }
}
