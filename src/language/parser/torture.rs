//! Tests: whatever stands in the file, parsing ends, within bounded stack, and every span can be cut out of the text.

use proptest::prelude::*;

use super::super::syntax::{Block, Document, Expression, ExpressionKind, NamedArgument, Piece, Span, Statement};
use super::super::tokens::{TokenKind, tokenize};
use super::super::{Finding, MAX_BYTES, report};
use super::{MAX_DEPTH, MAX_FINDINGS, MAX_OPERATORS, parse, parse_format};

/// A layout that uses the whole grammar, to be damaged.
const WHOLE: &str = r#"# Beside the ripening-room door.
panel 128x32
reading temp from: "cellar/ripening/climate" pick: column(1, separator: ",") unit: °C range: -10..40 stale: 45s
reading door from: "cellar/ripening/door"
  pick: words(open: 1, "not open": 0, true: 1)
value dew = dew_point(temp, rh) +
  0.5 unit: °C
value felt = if temp as °F < 80 and not (door == 1) then temp else -temp * 2 / (1 - 0.3)
screen door {
  columns gap: 14 {
    stack { bar temp over: 8..16°C at: (71, −8) }
    text "{temp:.1}° {{}} {if door == 1 then "open {dew:*^+06.2}" else "shut"}\u{b0}\n" size: fit
  }
}
screen walls when: temp - dew < 2 or door != 0 { text "Walls \"sweating\"" face: small }
"#;

/// The names of the findings in `text`, after everything about them and the tree has been looked over.
fn names(text: &str) -> Vec<&'static str> {
    let (document, findings) = parse(text);
    assert!(findings.len() <= MAX_FINDINGS + 1);
    assert!(findings.is_sorted_by_key(|finding| finding.span.start) || findings.len() > MAX_FINDINGS);
    for finding in &findings {
        check_finding(text, finding);
    }
    Spans { text, height: 0 }.document(&document);
    let mut at = 0;
    for token in tokenize(text) {
        cut(text, token.span);
        assert!(token.span.start as usize >= at, "tokens run on");
        at = token.span.end as usize;
    }
    findings.iter().map(|finding| finding.name).collect()
}

fn check_finding(text: &str, finding: &Finding) {
    cut(text, finding.span);
    finding.related.iter().for_each(|(span, _)| cut(text, *span));
    assert!(!finding.message.is_empty() && !finding.message.contains(char::is_control), "{finding:?}");
    assert!(!finding.message.ends_with('.'), "{finding:?}");
    assert!(finding.help.as_ref().is_some_and(|help| !help.contains(char::is_control)), "{finding:?}");
    // Nothing but quoted text is in upper case at the start.
    assert!(finding.message.starts_with("expected ") || finding.name == "too many findings", "{finding:?}");
}

#[track_caller]
fn cut(text: &str, span: Span) {
    assert!(text.get(span.range()).is_some(), "{span:?} cannot be cut out of {} bytes", text.len());
}

/// Walks a tree: each span can be cut out, each lies within the one around it, and the tree is no higher than promised.
struct Spans<'a> {
    text: &'a str,
    height: usize,
}

impl Spans<'_> {
    fn document(&mut self, document: &Document) {
        let whole = Span::new(0, self.text.len());
        document.statements.iter().for_each(|statement| self.statement(statement, whole));
    }

    fn within(&self, inner: Span, outer: Span) {
        cut(self.text, inner);
        assert!(outer.start <= inner.start && inner.end <= outer.end, "{inner:?} sticks out of {outer:?}");
    }

    fn statement(&mut self, statement: &Statement, outer: Span) {
        let span = statement.span;
        self.within(span, outer);
        self.within(statement.word.span, span);
        assert_eq!(&self.text[statement.word.span.range()], statement.word.value);
        statement.definition.iter().for_each(|value| self.expression(value, span));
        self.arguments(&statement.plain, &statement.named, span);
        if let Some(Block { statements, span: inner }) = &statement.block {
            self.within(*inner, span);
            self.height += 1;
            statements.iter().for_each(|child| self.statement(child, *inner));
            self.height -= 1;
        }
    }

    fn arguments(&mut self, plain: &[Expression], named: &[NamedArgument], outer: Span) {
        plain.iter().for_each(|value| self.expression(value, outer));
        for argument in named {
            self.within(argument.name.span, outer);
            self.expression(&argument.value, outer);
        }
    }

    fn expression(&mut self, expression: &Expression, outer: Span) {
        let span = expression.span;
        self.within(span, outer);
        self.height += 1;
        assert!(self.height <= 2 * MAX_DEPTH + MAX_OPERATORS + 8, "a tree of bounded height");
        match &expression.kind {
            ExpressionKind::Number { value, unit } => {
                assert!(value.is_finite());
                unit.iter().for_each(|unit| self.within(unit.span, span));
            }
            ExpressionKind::Text(pieces) => {
                for piece in pieces {
                    match piece {
                        Piece::Literal(literal) => self.within(literal.span, span),
                        Piece::Field { value, span: field, .. } => {
                            self.within(*field, span);
                            self.expression(value, *field);
                        }
                    }
                }
            }
            ExpressionKind::Tuple(items) => self.arguments(items, &[], span),
            ExpressionKind::Range(a, b) | ExpressionKind::Binary(_, a, b) => {
                self.expression(a, span);
                self.expression(b, span);
            }
            ExpressionKind::Call { name, plain, named } => {
                self.within(name.span, span);
                self.arguments(plain, named, span);
            }
            ExpressionKind::Unary(_, a) => self.expression(a, span),
            ExpressionKind::If { condition, then, otherwise } => {
                [condition, then, otherwise].iter().for_each(|part| self.expression(part, span));
            }
            ExpressionKind::Convert { value, unit } => {
                self.expression(value, span);
                self.within(unit.span, span);
            }
            ExpressionKind::Dimensions { .. }
            | ExpressionKind::Bool(_)
            | ExpressionKind::Name(_)
            | ExpressionKind::Unit(_)
            | ExpressionKind::Damaged => {}
        }
        self.height -= 1;
    }
}

#[test]
fn the_whole_layout_has_no_mistake() {
    assert_eq!(names(WHOLE), [""; 0]);
}

#[test]
fn a_thousand_levels_are_one_mistake() {
    let deep = |open: &str, inner: &str, close: &str| format!("{}{inner}{}", open.repeat(1000), close.repeat(1000));
    for text in [
        deep("stack {\n", "rule\n", "}\n"),
        format!("value a = {}\nrule\n", deep("(", "1", ")")),
        format!("value a = {}\nrule\n", deep("f(1 + 2 * ", "1", ")")),
        format!("value a = {}\nrule\n", deep("f(n: ", "1", ")")),
        format!("text \"{}\"\nrule\n", deep("{\"", "a", "\"}")),
        format!("text \"{}\"\nrule\n", deep("{if a then \"", "a", "\" else b}")),
        format!("value a = {}\nrule\n", deep("if b then ", "c", " else d")),
        format!("value a = {}1\nrule\n", "if b then c else ".repeat(1000)),
        format!("value a = {}1\nrule\n", "- ".repeat(1000)),
        format!("value a = {}b\nrule\n", "not ".repeat(1000)),
    ] {
        assert_eq!(names(&text), ["nesting too deep"], "{}", &text[..60]);
    }
}

#[test]
fn a_thousand_operators_are_one_mistake() {
    for operator in [" + a", " * a", " or a", " and a", " as °F"] {
        let text = format!("value b = a{} unit: °C\nrule\n", operator.repeat(1000));
        assert_eq!(names(&text), ["expression too long"], "{operator}");
        let text = format!("value b = a{} unit: °C\nrule\n", operator.repeat(MAX_OPERATORS));
        assert_eq!(names(&text), [""; 0], "{operator}");
    }
}

#[test]
fn depth_is_allowed_up_to_the_limit() {
    let blocks = |count: usize| format!("{}rule\n{}", "stack {\n".repeat(count), "}\n".repeat(count));
    assert_eq!(names(&blocks(MAX_DEPTH)), [""; 0]);
    assert_eq!(names(&blocks(MAX_DEPTH + 1)), ["nesting too deep"]);
    let parens = |count: usize| format!("value a = {}1{}\n", "(".repeat(count), ")".repeat(count));
    assert_eq!(names(&parens(MAX_DEPTH)), [""; 0]);
    assert_eq!(names(&parens(MAX_DEPTH + 1)), ["nesting too deep"]);
}

#[test]
fn unclosed_levels_are_one_mistake() {
    assert_eq!(names(&"stack {\n".repeat(MAX_DEPTH)), ["unclosed block"]);
    assert_eq!(names(&"stack {\n".repeat(1000)), ["nesting too deep"]);
    assert_eq!(names(&format!("value a = {}\n", "(".repeat(1000))), ["nesting too deep"]);
    assert_eq!(names(&format!("value a = {}\n", "f(".repeat(20))), ["unexpected token"]);
    assert_eq!(names(&format!("value a = {}\n", "f(n: ".repeat(1000))), ["nesting too deep"]);
    assert_eq!(names(&format!("text \"{}\n", "{\"".repeat(1000))), ["nesting too deep"]);
    assert_eq!(names(&format!("text \"{}\n", "{\"".repeat(20))), ["unclosed field"]);
}

/// A parser whose time grows with the square of the length would take minutes for these.
#[test]
fn files_of_the_largest_size_end() {
    for piece in [
        "a\n",
        "a ",
        "a:",
        "a: b ",
        "a {}\n",
        "a{",
        "a{}",
        "}",
        "{",
        "{\n",
        "(",
        ")",
        "((",
        "a (\n",
        "a (b,\n",
        "(1,",
        "\"",
        "\"\n",
        "\"{",
        "\"{a",
        "\"{a\" ",
        "{\"{a\" ",
        "\"{a} ",
        "a \"{x}{\\n",
        "\"\\\"",
        "\"}",
        "#",
        "#\n",
        "1",
        "1 ",
        "1..",
        "1.",
        "1,",
        "-",
        "+",
        "=",
        "a = ",
        "value a = b + \n",
        "\n",
        "\r",
        " ",
        "°",
        "\\",
        "é",
        ".",
        "…",
        "if ",
        "if a then b else ",
        "a as °C ",
        "unit: ",
        "1°C/",
        "1m^",
        "a \"{b:",
        "a ({\n",
        "a b: (\n",
        "a b: (c d)\n",
        "a \"{(\"\n",
        "x when: a < b < c\n",
        "\u{b}",
    ] {
        let text = piece.repeat(MAX_BYTES / piece.len());
        assert!(parse(&text).1.len() <= MAX_FINDINGS + 1);
        let text = piece.repeat(MAX_BYTES / piece.len() / 8);
        names(&format!("a {{ b \"{text}"));
        names(&format!("value a = (b, {text}"));
        names(&format!("text \"{{b {text}\"\n"));
    }
}

#[test]
fn findings_are_cut_off() {
    let (document, findings) = parse(&"text ?\n".repeat(1000));
    assert_eq!(findings.len(), MAX_FINDINGS + 1);
    assert!(findings[..MAX_FINDINGS].iter().all(|finding| finding.name == "unexpected token"));
    let last = &findings[MAX_FINDINGS];
    assert_eq!((last.name, last.message.as_str()), ("too many findings", "gave up after 100 mistakes"));
    assert!(document.statements.len() <= MAX_FINDINGS + 1);
}

#[test]
fn what_is_no_layout_is_refused_at_once() {
    assert_eq!(names_only(&"a\n".repeat(5_000_000)), ["file too large"]);
    assert_eq!(names_only("panel 128x32\n\0\n"), ["not text"]);
}

fn names_only(text: &str) -> Vec<&'static str> {
    parse(text).1.iter().map(|finding| finding.name).collect()
}

/// One edit of a text: at a character, leave some out and put something in.
fn edits() -> impl Strategy<Value = Vec<(prop::sample::Index, usize, String)>> {
    let insert = prop_oneof![
        Just(String::new()),
        prop::sample::select(vec![
            "{",
            "}",
            "(",
            ")",
            "\"",
            ":",
            "=",
            "..",
            "\n",
            "\\",
            "#",
            "°",
            "if ",
            " as ",
            "unit: ",
            "1,5",
            "-",
            "\u{2212}",
            "é",
            "\r",
            "{{",
            "}}",
            "\\u{",
            "9".repeat(400).leak() as &str,
            "\u{301}",
            "\u{0}",
            "👋",
        ])
        .prop_map(str::to_string),
        "\\PC{0,6}",
    ];
    prop::collection::vec((any::<prop::sample::Index>(), 0usize..12, insert), 1..6)
}

fn edited(edits: &[(prop::sample::Index, usize, String)]) -> String {
    let mut characters: Vec<char> = WHOLE.chars().collect();
    for (index, length, insert) in edits {
        let at = index.index(characters.len() + 1);
        let end = (at + length).min(characters.len());
        characters.splice(at..end, insert.chars());
    }
    characters.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(512) })]

    #[test]
    fn any_text_parses(text in "(?s).{0,200}") {
        names(&text);
    }

    #[test]
    fn any_mix_of_signs_parses(parts in prop::collection::vec(prop::sample::select(vec![
        "a", "value", "unit", ":", "=", "==", "<", "{", "}", "(", ")", ",", "\"", "\n", " ", "1", "°C", "..", ".", "-", "+", "*", "/",
        "if", "then", "else", "and", "or", "not", "as", "true", "\\", "#", "128x32", "é", "!", "&&", "\r\n", "\t", ":.1}", "{a}",
    ]), 0..60)) {
        names(&parts.concat());
        names(&parts.join(" "));
    }

    #[test]
    fn any_damaged_layout_parses_and_can_be_reported(edits in edits()) {
        let text = edited(&edits);
        names(&text);
        let (_, findings) = parse(&text);
        let shown = report::to_text("door.layout", &text, &findings, false);
        for finding in &findings {
            prop_assert!(shown.contains(finding.name));
        }
        let escape = char::from(0x1b);
        prop_assert!(!shown.contains(escape));
        let json = report::to_json("door.layout", &text, &findings);
        for finding in json["findings"].as_array().into_iter().flatten() {
            let line = finding["line"].as_u64().unwrap_or(0) as usize;
            prop_assert!((1..=text.split('\n').count()).contains(&line));
            prop_assert!(finding["column"].as_u64() >= Some(1));
        }
    }

    #[test]
    fn any_bytes_decode_or_say_why(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        match super::super::decode(&bytes) {
            Ok(text) => prop_assert_eq!(text.as_bytes(), &bytes[..]),
            Err(finding) => {
                let lossy = String::from_utf8_lossy(&bytes);
                prop_assert!(report::to_text("door.layout", &lossy, &[*finding], true).contains("not text"));
            }
        }
    }

    #[test]
    fn any_format_is_taken_or_refused_with_its_place(spec in "[.0-9<^>+*é%a-z ]{0,8}|\\PC{0,12}", at in 0usize..1000) {
        if let Err(finding) = parse_format(&spec, at) {
            let start = (finding.span.start as usize).checked_sub(at);
            prop_assert!(start.is_some_and(|start| spec.get(start..finding.span.end as usize - at).is_some()));
        }
    }

    /// Each line that keeps its braces and quotes in step costs at most the findings of its own statement.
    #[test]
    fn a_mistake_stays_in_its_statement(word in prop::sample::select(vec![
        "a ?", "a b: ", "a b: (1", "a b: 1 +", "a \"x", "a \"{x", "a \"{x\" b: c", "a b: 1.", "a b: .5", "a unit: 5", "a b: c d",
        "a = 5", "value x", "a b: if c", "a b: (1, ?) c: 2", "a \"}\"", "a \"{}\"", "a \"{x:?}\"", "a \"\\q\"", "a b: [1, 2]", "= 1",
    ]), before in 0usize..3, after in 0usize..3) {
        let good = "stack { rule }\ntext \"{t}\" size: fit\n";
        let text = format!("{}screen s {{\n{word}\n}}\n{}", good.repeat(before), good.repeat(after));
        let (document, findings) = parse(&text);
        prop_assert!(findings.len() <= 1, "{:?}", findings);
        prop_assert_eq!(document.statements.len(), 2 * (before + after) + 1);
        let line = 2 * before + 2;
        for finding in findings {
            prop_assert_eq!(report::line_and_column(&text, finding.span.start as usize).line, line);
        }
    }
}

#[test]
fn tokens_cover_what_is_no_blank() {
    let mut at = 0;
    for token in tokenize(WHOLE) {
        let gap = &WHOLE[at..token.span.start as usize];
        // The colon before a format belongs to no token.
        assert!(gap.trim().is_empty() || gap == ":" && token.kind == TokenKind::Format, "{gap:?}");
        at = token.span.end as usize;
    }
    assert_eq!(at, WHOLE.len());
}
