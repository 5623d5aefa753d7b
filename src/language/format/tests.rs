//! Tests: the form is its own form, and no token is lost, added or moved.

use proptest::prelude::*;

use super::super::tokens::{TokenKind, tokenize};
use super::super::{check, parse};
use super::canonical;

/// The tokens but the line breaks, each with its kind and its text.
fn tokens(text: &str) -> Vec<(TokenKind, String)> {
    tokenize(text)
        .into_iter()
        .filter(|token| token.kind != TokenKind::Newline)
        .map(|token| (token.kind, text[token.span.range()].trim_end().to_string()))
        .collect()
}

/// The tree without its places.
fn tree(text: &str) -> String {
    let debug = format!("{:?}", parse(text).0);
    let mut out = String::new();
    let mut rest = debug.as_str();
    while let Some(at) = rest.find("Span { start: ") {
        out += &rest[..at];
        rest = rest[at..].split_once('}').map_or("", |(_, after)| after);
    }
    out + rest
}

fn holds(text: &str) {
    let once = canonical(text).unwrap();
    assert_eq!(canonical(&once).unwrap(), once, "a second pass changes it");
    assert_eq!(tokens(&once), tokens(text), "from\n{text}\nto\n{once}");
    assert_eq!(tree(&once), tree(text), "from\n{text}\nto\n{once}");
    assert_eq!(check(&parse(text).0).1.len(), check(&parse(&once).0).1.len());
}

#[test]
fn ready_layouts_are_in_the_form() {
    let mut seen = 0;
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/layouts")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "layout") {
            let text = std::fs::read_to_string(&path).unwrap();
            holds(&text);
            assert_eq!(canonical(&text).unwrap(), text, "{}", path.display());
            seen += 1;
        }
    }
    assert!(seen >= 9, "{seen} layouts");
}

#[test]
fn blanks_comments_and_long_statements_have_one_form() {
    let text = "\n\n# a\npanel   128x32 # b\n\n\n\nreading t from:\"cellar/brine/tank\"\n  unit: °C\nreading long from: \"x\"\n\
        screen s{\n\n text \"{t:.1}  x\" size:9 # c\n\n\n # d\n\n}\n\n";
    let want = "# a\npanel 128x32 # b\n\nreading t    from: \"cellar/brine/tank\" unit: °C\nreading long from: \"x\"\n\
        screen s {\n  text \"{t:.1}  x\" size: 9 # c\n\n  # d\n}\n";
    assert_eq!(canonical(text).unwrap(), want);
    holds(text);
}

#[test]
fn damaged_text_has_no_form() {
    assert!(!canonical("screen s {\n  text \"a\n").unwrap_err().is_empty());
}

proptest! {
    /// Layouts put together from statements, with blanks, line breaks and comments strewn in.
    #[test]
    fn generated_layouts_keep_their_meaning(
        parts in proptest::collection::vec((0usize..9, "[ ]{0,3}", 0usize..4), 0..30),
    ) {
        let statements = [
            "reading temp from: \"cellar/brine/tank\"\n\n  pick: pointer( \"/a\" ,  default : 1 )  unit: °C range: -5 .. 30",
            "value dew=dew_point(temp ,rh)+\n  2*temp -1",
            "text   \"{ temp:.1 } # {if a then \"x\" else \"}}\"}\"  size :16",
            "stack gap: 3 { text \"a\" }",
            "columns {",
            "}",
            "bar temp over: 8..16°C # why\n\n  height: 9",
            "icon if door==1 then \"a\" else \"b\" size: 12 width: 40 height: 30 align: right valign: bottom face: narrow at: (1,2)",
            "value x = (1 +\n # inside\n 2)",
        ];
        let ends = ["\n", "\n\n\n", " # note  \n", "\r\n"];
        let (mut text, mut open) = (String::new(), 0);
        for (statement, blank, end) in parts {
            match statement {
                4 => open += 1,
                5 if open == 0 => continue,
                5 => open -= 1,
                _ => {}
            }
            text += &format!("{blank}{}{}", statements[statement], ends[end]);
        }
        text += &"}\n".repeat(open);
        prop_assert!(parse(&text).1.is_empty(), "{:?}", parse(&text).1);
        holds(&text);
    }
}
