//! Tests: the form is its own form, and no token is lost, added or moved.

use std::path::Path;

use proptest::prelude::*;

use super::super::tokens::{TokenKind, tokenize};
use super::super::{check, parse};
use super::places::forgotten;
use super::{MAX_COLUMNS, Refusal, canonical};
use crate::faces::Catalogue;
use crate::layout;

/// The tokens but the line breaks, each with its kind and its text.
fn tokens(text: &str) -> Vec<(TokenKind, String)> {
    tokenize(text)
        .into_iter()
        .filter(|token| token.kind != TokenKind::Newline)
        .map(|token| (token.kind, text[token.span.range()].trim_end().to_string()))
        .collect()
}

/// What the whole compiler says of a layout, places left aside: the programs and pictures that it makes, and what it finds.
fn meaning(text: &str) -> String {
    let (layout, mut findings) = check(&forgotten(parse(text).0));
    let program = layout.map(|layout| {
        let (program, more) = layout::compile(&layout, &Catalogue::new());
        findings.extend(more);
        format!("{program:?}")
    });
    let findings: Vec<_> = findings.iter().map(|finding| (finding.name, &finding.message)).collect();
    format!("{program:?} {findings:?}")
}

/// The rules that the form of each layout keeps; the result is the form.
fn holds(text: &str) -> String {
    let once = canonical(text).unwrap();
    assert_eq!(canonical(&once).unwrap(), once, "a second pass changes it");
    assert_eq!(tokens(&once), tokens(text), "from\n{text}\nto\n{once}");
    assert_eq!(forgotten(parse(&once).0), forgotten(parse(text).0), "from\n{text}\nto\n{once}");
    once
}

/// Other blanks outside of texts and comments, and more blank lines.
fn untidy(text: &str) -> String {
    let row = |row: &str| match row.contains('#') {
        true => row.to_string(),
        false => {
            let outside = |part: &str| part.replace("  ", " ").replace(": ", " :   ").replace(" {", "{  ");
            let parts = row.split('"').enumerate();
            let parts = parts.map(|(at, part)| if at % 2 == 0 { outside(part) } else { part.to_string() });
            parts.collect::<Vec<_>>().join("\"")
        }
    };
    text.lines().map(|line| row(line) + "\n").collect::<String>().replace("\n\n", "\n\n\n\n")
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn ready_layouts_are_in_the_form() {
    let mut seen = 0;
    for entry in std::fs::read_dir(root().join("layouts")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "layout") {
            let text = std::fs::read_to_string(&path).unwrap();
            assert_eq!(holds(&text), text, "{}", path.display());
            // Stretched and squeezed, it still comes back and still means the same.
            let untidy = untidy(&text);
            assert_ne!(untidy, text);
            assert_eq!(holds(&untidy), text, "{}", path.display());
            assert_eq!(meaning(&untidy), meaning(&text), "{}", path.display());
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
fn examples_keep_their_meaning() {
    const READINGS: &str = "panel 128x64\nreading temp from: \"a\" unit: °C range: -10..40\n\
        reading rh from: \"a\" unit: % range: 0..100\n";
    let mut seen = 0;
    for page in ["README.md", "layouts/README.md"] {
        let page = std::fs::read_to_string(root().join(page)).unwrap();
        for example in page.split("\n```layout").skip(1) {
            let (kind, rest) = example.split_once('\n').unwrap();
            let body = rest.split("\n```").next().unwrap();
            let text = match kind.trim() {
                "fragment" if body.starts_with("reading") || body.starts_with("value") => {
                    format!("{READINGS}{body}\nscreen s {{ text \"{{temp:.0}}\" }}\n")
                }
                "fragment" => format!("{READINGS}screen s {{\n{body}\n}}\n"),
                _ => format!("{body}\n"),
            };
            match canonical(&text) {
                Ok(_) => assert_eq!(meaning(&holds(&text)), meaning(&text), "{text}"),
                Err(refusal) => {
                    assert!(matches!(refusal, Refusal::Damaged(_)) && kind.contains("error"), "{text}\n{refusal}");
                }
            }
            seen += 1;
        }
    }
    assert!(seen >= 18, "{seen} examples");
}

#[test]
fn arguments_of_readings_stand_in_columns_as_far_as_they_are_the_same() {
    let text = "each room: (a, b) {\nreading temp.room from: \"{room}\" pick: column(1) unit: °C stale: 2min\n\
        reading rh.room from: \"{room}/rh\" unit: % stale: 2min\nreading x from: \"x\" unit: W stale: never\n\n\
        reading y from: \"y\"\n}\n";
    let want = "each room: (a, b) {\n  reading temp.room from: \"{room}\" pick: column(1) unit: °C stale: 2min\n  \
        reading rh.room   from: \"{room}/rh\" unit: % stale: 2min\n  \
        reading x         from: \"x\"         unit: W stale: never\n\n  reading y from: \"y\"\n}\n";
    assert_eq!(holds(text), want);
}

#[test]
fn no_column_makes_a_line_too_long() {
    let topic = "x".repeat(70);
    let text =
        format!("reading a from: \"{topic}\" unit: W stale: 2min\nreading {} from: \"y\" unit: W\n", "b".repeat(60));
    let form = holds(&text);
    assert_eq!(form, text);
    assert!(form.lines().all(|line| line.chars().count() <= MAX_COLUMNS), "{form}");
}

#[test]
fn a_long_statement_goes_on_before_an_argument() {
    let text = format!("reading a from: \"{}\" unit: W stale: 2min range: 0..2000 # why\n", "x".repeat(80));
    let form = holds(&text);
    assert_eq!(form, text.replace(" stale:", "\n    stale:"));
}

#[test]
fn damaged_text_has_no_form() {
    assert!(matches!(canonical("screen s {\n  text \"a\n"), Err(Refusal::Damaged(findings)) if !findings.is_empty()));
}

#[test]
fn what_would_not_be_a_layout_any_more_is_refused() {
    // Aligned, the short readings need more bytes than a layout may have.
    let text = format!("reading {} a: 1\n{}", "x".repeat(90), "reading x a: 1\n".repeat(17_000));
    assert!(super::decode(text.as_bytes()).is_ok());
    assert!(matches!(canonical(&text), Err(Refusal::Changed)));
}

#[test]
fn a_tree_without_places_still_differs_where_the_layouts_do() {
    let tree = |text: &str| forgotten(parse(text).0);
    let text = "value a = f(b, c: 1min) + -d as °F\nscreen s { text \"{if a > 1 then \"x\" else \"y\":.1} z\" at: (1, 2) over: 1..2 }";
    assert_eq!(tree(text), tree(&text.replace(' ', "  ").replace("  z", " z")));
    for (one, other) in [
        ("d as", "e as"),
        ("°F", "K"),
        ("1min", "1s"),
        ("c:", "d:"),
        ("x", "w"),
        (" z", " v"),
        (":.1", ":.2"),
        ("2)", "3)"),
    ] {
        assert_ne!(tree(text), tree(&text.replace(one, other)), "{one}");
    }
}

const READY: [&str; 4] = [
    include_str!("../../../layouts/all-rooms.layout"),
    include_str!("../../../layouts/demo.layout"),
    include_str!("../../../layouts/packing-clock.layout"),
    include_str!("../../../layouts/brine-tank.layout"),
];

proptest! {
    /// Layouts put together from statements, with blanks, line breaks and comments strewn in.
    #[test]
    fn generated_layouts_keep_their_meaning(
        parts in proptest::collection::vec((0usize..13, "[ ]{0,3}", 0usize..4), 0..30),
    ) {
        let statements = [
            "reading temp from: \"cellar/brine/tank\"\n\n  pick: pointer( \"/a\" ,  default : 1 )  unit: °C range: -5 .. 30",
            "value dew=dew_point(temp ,rh)+\n  2*temp -1",
            "text   \"{ temp:.1} # {if a then \"x\" else \"}}\"}\"  size :16",
            "stack gap: 3 { text \"a\" }",
            "columns {",
            "}",
            "bar temp over: 8..16°C # why\n\n  height: 9",
            "icon if door==1 then \"a\" else \"b\" size: 12 width: 40 height: 30 align: right valign: bottom face: narrow at: (1,2)",
            "value x = (1 +\n # inside\n 2)",
            "each room:(ripening , brine) title: ( \"R\",\n\"B\" ) { reading temp.room from:\"cellar/{room}\" }",
            "panel 128x32 diagonal:0.91in   distance : 0.7m",
            "trend temp.room  over: 8..16°C last:6h height:20",
            "reading rh from: \"cellar/brine/tank\" pick: pointer( \"/a\" ,  default : 1 )  unit: %",
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

    /// Ready layouts with something strewn in anywhere: what still parses has a form, and means the same in it.
    #[test]
    fn altered_layouts_keep_their_meaning(
        layout in 0usize..READY.len(),
        strewn in proptest::collection::vec((any::<prop::sample::Index>(), 0usize..14), 1..6),
    ) {
        let more = [" ", "\t", "\n", "\n\n", "\r\n", " # x\n", "#", "-", " - 1", "\n- 1", "(", " name: 1", "\n}", "{"];
        let mut text = READY[layout].to_string();
        for (place, what) in strewn {
            let places: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
            text.insert_str(*place.get(&places), more[what]);
        }
        match canonical(&text) {
            Ok(_) => { holds(&text); }
            Err(Refusal::Damaged(_)) => {}
            Err(Refusal::Changed) => prop_assert!(false, "changed: {}", text),
        }
    }
}
