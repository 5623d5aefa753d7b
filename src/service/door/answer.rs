//! What a door answers: which layout it shows, and what became of the last one that came.
//!
//! What enters are a few facts; what leaves is a JSON document of bounded size, and the reverse for whoever asked. Pure.

use serde::Serialize;
use serde_json::Value;

use crate::language::{Severity, report};
use crate::service::Loaded;

/// The largest answer, in bytes. Findings are left out rather than that it grows beyond.
pub const LARGEST_ANSWER: usize = 8 * 1024;
/// The version of the document; it grows when a key changes its meaning or goes away.
const VERSION: u32 = 1;

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "publish", derive(serde::Deserialize))]
pub struct Answer {
    /// Of this document.
    pub version: u32,
    /// SHA-256 of the layout that is shown, in hexadecimal digits.
    pub shows: String,
    /// The panel's size, such as `128x32`.
    pub panel: String,
    /// Whether it would be shown after a restart too.
    pub kept: bool,
    /// What became of the last layout that came; nothing if none came yet.
    pub last: Option<Verdict>,
}

/// What became of a layout.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "publish", derive(serde::Deserialize))]
pub struct Verdict {
    /// SHA-256 of what came; nothing where it was too large to be looked at.
    pub sha256: Option<String>,
    /// Whether it was taken.
    pub taken: bool,
    /// Why not.
    pub why: Option<String>,
    /// What is wrong with it, as [`report::to_json`] tells it; `left_out` counts the findings that had no room.
    pub report: Option<Value>,
}

impl Answer {
    /// The answer of a door whose panels have this size.
    pub fn new(shows: String, panel: String, kept: bool, last: Option<Verdict>) -> Self {
        Self { version: VERSION, shows, panel, kept, last }
    }

    /// The document: one JSON object of at most [`LARGEST_ANSWER`] bytes.
    pub fn document(&self) -> Vec<u8> {
        // Strings and whole numbers always become JSON.
        let write = |answer: &Self| serde_json::to_vec(answer).unwrap_or_default();
        let mut bytes = write(self);
        let mut cut = self.clone();
        while bytes.len() > LARGEST_ANSWER && cut.last.as_mut().is_some_and(Verdict::shorten) {
            bytes = write(&cut);
        }
        bytes
    }

    /// The answer in a payload; nothing if it is none, or one that only a later version understands.
    #[cfg(feature = "publish")]
    pub fn read(payload: &[u8]) -> Option<Self> {
        let payload = payload.get(..LARGEST_ANSWER.min(payload.len())).filter(|start| start.len() == payload.len())?;
        serde_json::from_slice(payload).ok().filter(|answer: &Self| answer.version == VERSION)
    }
}

impl Verdict {
    /// Leaves out half of the findings, or at last the report; false once there is nothing to leave out.
    fn shorten(&mut self) -> bool {
        let Some(report) = &mut self.report else { return false };
        let told = report["findings"].as_array().map_or(0, Vec::len);
        if told == 0 {
            self.report = None;
            return true;
        }
        if let Some(findings) = report["findings"].as_array_mut() {
            findings.truncate(told / 2);
        }
        report["left_out"] = (report["left_out"].as_u64().unwrap_or(0) + (told - told / 2) as u64).into();
        true
    }

    /// It was taken.
    pub fn taken(sha256: String) -> Self {
        Self { sha256: Some(sha256), taken: true, why: None, report: None }
    }

    /// It was not.
    pub fn refused(sha256: Option<String>, why: String, layout: Option<&Loaded>) -> Self {
        let report = layout.map(|layout| {
            // Errors are what keeps it from being shown; they come first, in case not all find room.
            let mut findings = layout.findings.clone();
            findings.sort_by_key(|finding| finding.severity != Severity::Error);
            report::to_json(&layout.name, &layout.text, &findings)
        });
        Self { sha256, taken: false, why: Some(why), report }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::service::compile;

    fn answer(layout: &str) -> Answer {
        let loaded = compile(layout.as_bytes(), Path::new("cellar/doors/ripening/layout"));
        let verdict = Verdict::refused(Some("ff".into()), "it has errors".into(), Some(&loaded));
        Answer::new("00".into(), "128x32".into(), true, Some(verdict))
    }

    #[test]
    fn an_answer_tells_what_is_shown_and_what_is_wrong() {
        let document: Value =
            serde_json::from_slice(&answer("panel 128x33\nscreen s { text \"a\" }\n").document()).unwrap();
        let finding = &document["last"]["report"]["findings"][0];
        assert_eq!(
            (&document["shows"], &document["panel"], &document["kept"]),
            (&"00".into(), &"128x32".into(), &true.into())
        );
        assert_eq!(
            (&finding["name"], &finding["line"], &finding["column"]),
            (&"unknown panel".into(), &1.into(), &7.into())
        );
        let taken = Answer::new("00".into(), "128x32".into(), true, Some(Verdict::taken("00".into())));
        assert_eq!(
            String::from_utf8(taken.document()).unwrap(),
            r#"{"version":1,"shows":"00","panel":"128x32","kept":true,"last":{"sha256":"00","taken":true,"why":null,"report":null}}"#
        );
    }

    #[test]
    fn findings_are_left_out_rather_than_that_it_grows() {
        let layout = format!("panel 128x32\nscreen s {{\n{}}}\n", "  txt \"a\"\n".repeat(200));
        let bytes = answer(&layout).document();
        assert!(bytes.len() <= LARGEST_ANSWER, "{}", bytes.len());
        let report = &serde_json::from_slice::<Value>(&bytes).unwrap()["last"]["report"];
        let told = report["findings"].as_array().unwrap().len() as u64;
        assert!(
            told > 0
                && told + report["left_out"].as_u64().unwrap()
                    == report["errors"].as_u64().unwrap() + report["warnings"].as_u64().unwrap()
        );
        // One finding that has no room by itself.
        let name = "x".repeat(3 * LARGEST_ANSWER);
        let bytes = answer(&format!("panel 128x32\nscreen s {{ text \"{{{name}}}\" }}\n")).document();
        assert!(bytes.len() <= LARGEST_ANSWER, "{}", bytes.len());
    }

    #[cfg(feature = "publish")]
    #[test]
    fn what_was_answered_is_read_and_anything_else_is_not() {
        let answer = answer("panel 128x33\n");
        assert_eq!(Answer::read(&answer.document()), Some(answer.clone()));
        let later = Answer { version: 2, ..answer.clone() }.document();
        let large = [answer.document(), vec![b' '; LARGEST_ANSWER]].concat();
        for payload in [&b""[..], b"online", b"{}", b"[1]", &later, &large, &[0xff; 40]] {
            assert_eq!(Answer::read(payload), None);
        }
    }
}
