//! Tests: each construct of the language and the tree that it becomes, written down in a compact form.

use super::super::syntax::{
    Block, Document, Expression, ExpressionKind, FormatAlign, NamedArgument, Piece, Statement, UnaryOperator,
};
use super::super::syntax::{Format, Span};
use super::{parse, parse_format};

/// A document in one line: statements as `word(plain, name: value){ … }`, operators in prefix form.
fn show(document: &Document) -> String {
    document.statements.iter().map(statement).collect::<Vec<_>>().join("; ")
}

fn statement(statement: &Statement) -> String {
    let mut shown = statement.word.value.clone();
    let arguments = arguments(&statement.plain, &statement.named);
    if !arguments.is_empty() {
        shown += &format!("({arguments})");
    }
    if let Some(definition) = &statement.definition {
        shown += &format!(" = {}", expression(definition));
    }
    if let Some(Block { statements, .. }) = &statement.block {
        let inner: Vec<String> = statements.iter().map(self::statement).collect();
        shown += &format!("{{{}}}", inner.join("; "));
    }
    shown
}

fn arguments(plain: &[Expression], named: &[NamedArgument]) -> String {
    let plain = plain.iter().map(expression);
    let named = named.iter().map(|argument| format!("{}: {}", argument.name.value, expression(&argument.value)));
    plain.chain(named).collect::<Vec<_>>().join(", ")
}

fn expression(shown: &Expression) -> String {
    match &shown.kind {
        ExpressionKind::Number { value, unit } => match unit {
            Some(unit) => format!("{value}[{}]", unit.value),
            None => format!("{value}"),
        },
        ExpressionKind::Dimensions { width, height } => format!("{width}x{height}"),
        ExpressionKind::Text(pieces) => format!("\"{}\"", pieces.iter().map(piece).collect::<String>()),
        ExpressionKind::Bool(value) => format!("{value}!"),
        ExpressionKind::Name(name) => name.clone(),
        ExpressionKind::Unit(unit) => format!("[{unit}]"),
        ExpressionKind::Tuple(items) => format!("<{}>", arguments(items, &[])),
        ExpressionKind::Range(a, b) => format!("(.. {} {})", expression(a), expression(b)),
        ExpressionKind::Call { name, plain, named } => format!("{}({})", name.value, arguments(plain, named)),
        ExpressionKind::Unary(operator, a) => {
            let sign = match operator {
                UnaryOperator::Negate => "neg",
                UnaryOperator::Not => "not",
            };
            format!("({sign} {})", expression(a))
        }
        ExpressionKind::Binary(operator, a, b) => {
            format!("({} {} {})", operator.symbol(), expression(a), expression(b))
        }
        ExpressionKind::If { condition, then, otherwise } => {
            format!("(if {} {} {})", expression(condition), expression(then), expression(otherwise))
        }
        ExpressionKind::Convert { value, unit } => format!("(as {} [{}])", expression(value), unit.value),
        ExpressionKind::Damaged => "?".into(),
    }
}

fn piece(piece: &Piece) -> String {
    match piece {
        Piece::Literal(literal) => literal.value.clone(),
        Piece::Field { value, format, .. } if *format == Format::default() => format!("⟨{}⟩", expression(value)),
        Piece::Field { value, format, .. } => format!(
            "⟨{}|{}{}{}{}{}{}⟩",
            expression(value),
            format.fill.map_or(String::new(), |fill| format!("fill {fill:?} ")),
            match format.align {
                None => "",
                Some(FormatAlign::Left) => "<",
                Some(FormatAlign::Center) => "^",
                Some(FormatAlign::Right) => ">",
            },
            if format.plus { "+" } else { "" },
            if format.zero { "0" } else { "" },
            format.width.map_or(String::new(), |width| width.to_string()),
            format.precision.map_or(String::new(), |precision| format!(".{precision}")),
        ),
    }
}

/// The tree of a text that has no mistakes.
#[track_caller]
fn tree(text: &str) -> String {
    let (document, findings) = parse(text);
    assert!(findings.is_empty(), "{findings:#?}");
    show(&document)
}

/// The tree of `when: …`.
#[track_caller]
fn value(text: &str) -> String {
    let shown = tree(&format!("s when: {text}\n"));
    shown.strip_prefix("s(when: ").and_then(|rest| rest.strip_suffix(')')).unwrap_or(&shown).to_string()
}

#[test]
fn a_whole_layout() {
    let text = r#"
# Beside the ripening-room door.
panel 128x32

reading temp from: "cellar/ripening/climate" pick: column(1) unit: °C range: -10..40 stale: 45s
reading rh   from: "cellar/ripening/climate" pick: column(2) unit: %  range: 0..100  stale: 45s
value   dew = dew_point(temp, rh)

screen door {
  columns gap: 14 {
    stack {
      bar  temp over: 8..16°C height: 9 target: 11..13°C
      text "{temp:.1}°" size: fit
    }
    stack {
      bar  rh over: 60..100% height: 9 target: 85..95%
      text "{rh:.0}%" size: fit
    }
  }
}

screen walls when: temp - dew < 2 {
  text "Walls sweating" face: small
  text "dew {dew:.1}°C" size: fit
}
"#;
    let (document, findings) = parse(text);
    assert_eq!(findings, []);
    let shown: Vec<String> = document.statements.iter().map(statement).collect();
    assert_eq!(
        shown,
        [
            "panel(128x32)",
            "reading(temp, from: \"cellar/ripening/climate\", pick: column(1), unit: [°C], range: (.. -10 40), stale: 45[s])",
            "reading(rh, from: \"cellar/ripening/climate\", pick: column(2), unit: [%], range: (.. 0 100), stale: 45[s])",
            "value(dew) = dew_point(temp, rh)",
            "screen(door){columns(gap: 14){\
             stack{bar(temp, over: (.. 8 16[°C]), height: 9, target: (.. 11 13[°C])); text(\"⟨temp|.1⟩°\", size: fit)}; \
             stack{bar(rh, over: (.. 60 100[%]), height: 9, target: (.. 85 95[%])); text(\"⟨rh|.0⟩%\", size: fit)}}}",
            "screen(walls, when: (< (- temp dew) 2))\
             {text(\"Walls sweating\", face: small); text(\"dew ⟨dew|.1⟩°C\", size: fit)}",
        ]
    );
    // Windows line ends and tabs change nothing but the places.
    let other = text.replace('\n', "\r\n").replace("  ", "\t");
    let (other, findings) = parse(&other);
    assert_eq!(findings, []);
    assert_eq!(show(&other), show(&document));
}

#[test]
fn nothing_is_a_document() {
    for text in ["", "\n", "\r\n\r\n", "   ", "# only a remark", "\u{feff}", "\n\n# a\n\n"] {
        assert_eq!(tree(text), "", "{text:?}");
    }
    assert_eq!(tree("\u{feff}panel 128x32"), "panel(128x32)");
}

#[test]
fn statements_share_a_line_only_across_braces() {
    assert_eq!(tree(r#"screen s { text "{t:.1}°" size: fit }"#), r#"screen(s){text("⟨t|.1⟩°", size: fit)}"#);
    assert_eq!(
        tree(r#"columns { stack { text "a" } stack { text "b" } }"#),
        r#"columns{stack{text("a")}; stack{text("b")}}"#
    );
    assert_eq!(tree("stack { }\nrule"), "stack{}; rule");
    assert_eq!(tree("stack {\n}\nrule"), "stack{}; rule");
    assert_eq!(tree("stack {\n\n  rule\n\n  rule }\n"), "stack{rule; rule}");
}

#[test]
fn lines_go_on_with_a_named_argument() {
    assert_eq!(tree("bar temp\n  over: 8..16\n  height: 9\nrule"), "bar(temp, over: (.. 8 16), height: 9); rule");
    assert_eq!(tree("bar temp # level\n\n  # the scale\n  over: 8..16\nrule"), "bar(temp, over: (.. 8 16)); rule");
    assert_eq!(tree("screen s\n  when: a\n  for: 5s {\n  rule\n}"), "screen(s, when: a, for: 5[s]){rule}");
    assert_eq!(tree("value a = b\n  unit: °C\nrule"), "value(a, unit: [°C]) = b; rule");
}

#[test]
fn lines_go_on_after_an_operator_and_within_parentheses() {
    assert_eq!(tree("value a = b +\n  c *\n\n  d\nrule"), "value(a) = (+ b (* c d)); rule");
    assert_eq!(tree("value a = (b\n  + c)\nrule"), "value(a) = (+ b c); rule");
    assert_eq!(
        tree("r pick: words(\n  open: 1, # up\n  closed: 0,\n)\nrule"),
        "r(pick: words(open: 1, closed: 0)); rule"
    );
    assert_eq!(tree("value a = if b\n  then c\n  else d\nrule"), "value(a) = (if b c d); rule");
    assert_eq!(tree("value a = if b then\n  c else\n  d\nrule"), "value(a) = (if b c d); rule");
}

#[test]
fn definitions_end_where_a_name_begins() {
    assert_eq!(
        tree("value dew = temp - 2 unit: °C range: 0..10"),
        "value(dew, unit: [°C], range: (.. 0 10)) = (- temp 2)"
    );
    assert_eq!(tree("value open = door == 1"), "value(open) = (== door 1)");
}

#[test]
fn numbers_and_their_units() {
    assert_eq!(value("12"), "12");
    assert_eq!(value("0.91in"), "0.91[in]");
    assert_eq!(value("45s"), "45[s]");
    assert_eq!(value("60%"), "60[%]");
    assert_eq!(value("5‰"), "5[‰]");
    assert_eq!(value("5µg/m³"), "5[µg/m³]");
    assert_eq!(value("5\u{3bc}g/m³"), "5[\u{b5}g/m³]");
    assert_eq!(value("10km/h"), "10[km/h]");
    assert_eq!(value("3kΩ"), "3[kΩ]");
    assert_eq!(value("2m^2"), "2[m^2]");
    assert_eq!(value("9kg/m^3"), "9[kg/m^3]");
    assert_eq!(value("10/2"), "(/ 10 2)");
    assert_eq!(value("10/h"), "(/ 10 h)");
    assert_eq!(value("128x64"), "128x64");
    assert_eq!(value("10xyz"), "10[xyz]");
    assert_eq!(value("007.50"), "7.5");
    assert_eq!(value("0.1"), "0.1");
}

#[test]
fn ranges() {
    assert_eq!(value("8..16°C"), "(.. 8 16[°C])");
    assert_eq!(value("8°C..16°C"), "(.. 8[°C] 16[°C])");
    assert_eq!(value("60%..100%"), "(.. 60[%] 100[%])");
    assert_eq!(value("-10..40"), "(.. -10 40)");
    assert_eq!(value("-10..-5"), "(.. -10 -5)");
    assert_eq!(value("0.5..1.5"), "(.. 0.5 1.5)");
    assert_eq!(value("8 .. 16"), "(.. 8 16)");
    assert_eq!(value("a - 1..a + 1"), "(.. (- a 1) (+ a 1))");
    assert_eq!(value("-a..a"), "(.. (neg a) a)");
    assert_eq!(value("(0..1)"), "(.. 0 1)");
}

#[test]
fn signs() {
    assert_eq!(value("-10"), "-10");
    assert_eq!(value("\u{2212}10"), "-10");
    assert_eq!(value("(\u{2212}5, 3)"), "<-5, 3>");
    assert_eq!(value("a -5"), "(- a 5)");
    assert_eq!(value("a - -5"), "(- a -5)");
    assert_eq!(value("a \u{2212} 5"), "(- a 5)");
    assert_eq!(value("- 5"), "(neg 5)");
    assert_eq!(value("--5"), "(neg -5)");
    assert_eq!(value("-a * b"), "(* (neg a) b)");
    assert_eq!(value("-5°C as °F"), "(as -5[°C] [°F])");
    assert_eq!(value("-a as °F"), "(neg (as a [°F]))");
    assert_eq!(tree("space -5"), "space(-5)");
    assert_eq!(value("-0"), "-0");
}

#[test]
fn precedence() {
    assert_eq!(value("a or b and not c == d"), "(or a (and b (not (== c d))))");
    assert_eq!(value("a < b and c > d"), "(and (< a b) (> c d))");
    assert_eq!(value("a and b or c"), "(or (and a b) c)");
    assert_eq!(value("a + b * c - d"), "(- (+ a (* b c)) d)");
    assert_eq!(value("a / b / c"), "(/ (/ a b) c)");
    assert_eq!(value("a - b - c"), "(- (- a b) c)");
    assert_eq!(value("(a - (b - c))"), "(- a (- b c))");
    assert_eq!(value("not not a"), "(not (not a))");
    assert_eq!(value("a + b as °F"), "(+ a (as b [°F]))");
    assert_eq!(value("(a + b) as °F as K"), "(as (as (+ a b) [°F]) [K])");
    assert_eq!(value("if a < 1 then b + 1 else if c then d else e"), "(if (< a 1) (+ b 1) (if c d e))");
    assert_eq!(value("(if a then b else c) + 1"), "(+ (if a b c) 1)");
    assert_eq!(value("a != true or b <= false or c >= d"), "(or (or (!= a true!) (<= b false!)) (>= c d))");
}

#[test]
fn units_after_unit_and_as() {
    for unit in ["%", "°C", "m/s", "µg/m³", "L/min", "hPa", "m^2", "%RH", "kg·m", "€/kWh"] {
        assert_eq!(tree(&format!("r unit: {unit} n: 1")), format!("r(unit: [{unit}], n: 1)"));
        assert_eq!(value(&format!("a as {unit}")), format!("(as a [{unit}])"));
        assert_eq!(tree(&format!("t \"{{a as {unit}:.0}}\"")), format!("t(\"⟨(as a [{unit}])|.0⟩\")"));
        assert_eq!(tree(&format!("t \"{{a as {unit}}}\"")), format!("t(\"⟨(as a [{unit}])⟩\")"));
        assert_eq!(tree(&format!("r pick: f(unit: {unit}, n: 1)")), format!("r(pick: f(unit: [{unit}], n: 1))"));
    }
    assert_eq!(tree("s unit: °C{ }"), "s(unit: [°C]){}");
    assert_eq!(value("a as °C<5"), "(< (as a [°C]) 5)");
    assert_eq!(value("a as km / 2"), "(/ (as a [km]) 2)");
}

#[test]
fn calls_and_tuples() {
    assert_eq!(value("column(2)"), "column(2)");
    assert_eq!(value("pointer(\"/a/b\")"), "pointer(\"/a/b\")");
    assert_eq!(value("words(open: 1, closed: 0)"), "words(open: 1, closed: 0)");
    assert_eq!(value("words(true: 1, not: 0)"), "words(true: 1, not: 0)");
    assert_eq!(value("words(\"in use\": 1, \"\": 0)"), "words(in use: 1, : 0)");
    assert_eq!(value("f()"), "f()");
    assert_eq!(value("f (a)"), "f(a)");
    assert_eq!(value("f(a, g(b), c: -1)"), "f(a, g(b), c: -1)");
    assert_eq!(value("(71, 8)"), "<71, 8>");
    assert_eq!(value("(71,)"), "<71>");
    assert_eq!(value("(71)"), "71");
    assert_eq!(value("((1, 2), 3)"), "<<1, 2>, 3>");
}

#[test]
fn texts() {
    assert_eq!(value(r#""""#), r#""""#);
    assert_eq!(value(r#""a # b""#), r#""a # b""#);
    assert_eq!(value(r#""{{{a}}}""#), r#""{⟨a⟩}""#);
    assert_eq!(value(r#""a \"b\" \\ \u{b0}""#), r#""a "b" \ °""#);
    assert_eq!(value(r#""a\nb""#), "\"a\nb\"");
    assert_eq!(value("\"a\tb\""), "\"a b\"");
    assert_eq!(value(r#""{if door == 1 then "open" else "shut"} now""#), r#""⟨(if (== door 1) "open" "shut")⟩ now""#);
    assert_eq!(value(r#""{if a then "x{b:.1}y" else "}}"}""#), r#""⟨(if a "x⟨b|.1⟩y" "}")⟩""#);
    assert_eq!(value(r#""{a}{b} {c}""#), r#""⟨a⟩⟨b⟩ ⟨c⟩""#);
    assert_eq!(value(r#""{ a + b : >6.1}""#), r#""⟨(+ a b)|fill ' ' >6.1⟩""#);
    assert_eq!(value(r#""{f(a: 1):.1}""#), r#""⟨f(a: 1)|.1⟩""#);
    assert_eq!(value(r#""{temp as °F:.0}""#), r#""⟨(as temp [°F])|.0⟩""#);
    assert_eq!(value(r#""{(a, b)}""#), r#""⟨<a, b>⟩""#);
}

#[test]
fn names() {
    assert_eq!(tree("reading Käse_1 from: _x"), "reading(Käse_1, from: _x)");
    assert_eq!(tree("screen сыр { rule }"), "screen(сыр){rule}");
    assert_eq!(tree("text iffy notes asleep"), "text(iffy, notes, asleep)");
    assert_eq!(tree("bar temp gap : 4"), "bar(temp, gap: 4)");
}

#[test]
fn formats() {
    let format = |spec| parse_format(spec, 0).expect("a good format");
    let plain = Format::default();
    assert_eq!(format(".1"), Format { precision: Some(1), ..plain.clone() });
    assert_eq!(format("5"), Format { width: Some(5), ..plain.clone() });
    assert_eq!(format("05.1"), Format { zero: true, width: Some(5), precision: Some(1), ..plain.clone() });
    assert_eq!(format("+.0"), Format { plus: true, precision: Some(0), ..plain.clone() });
    assert_eq!(
        format(">3.0"),
        Format { align: Some(FormatAlign::Right), width: Some(3), precision: Some(0), ..plain.clone() }
    );
    assert_eq!(
        format("*^+08.2"),
        Format {
            fill: Some('*'),
            align: Some(FormatAlign::Center),
            plus: true,
            zero: true,
            width: Some(8),
            precision: Some(2)
        }
    );
    assert_eq!(
        format("<<4"),
        Format { fill: Some('<'), align: Some(FormatAlign::Left), width: Some(4), ..plain.clone() }
    );
    assert_eq!(
        format("·<4"),
        Format { fill: Some('·'), align: Some(FormatAlign::Left), width: Some(4), ..plain.clone() }
    );
    assert_eq!(format("0"), Format { zero: true, ..plain.clone() });
    assert_eq!(format("256"), Format { width: Some(256), ..plain });
}

/// `std::fmt` itself must take what we take, and pad as the parsed parts say.
#[test]
fn formats_mean_what_they_mean_to_the_standard_library() {
    let render = |spec: &str, value: f64| {
        let format = parse_format(spec, 0).expect("a good format");
        let (width, precision) = (usize::from(format.width.unwrap_or(0)), usize::from(format.precision.unwrap_or(0)));
        let fill = format.fill.unwrap_or(' ');
        let digits = if format.plus { format!("{value:+.precision$}") } else { format!("{value:.precision$}") };
        let missing = width.saturating_sub(digits.chars().count());
        if format.zero {
            let (sign, rest) = digits.split_at(usize::from(digits.starts_with(['+', '-'])));
            return format!("{sign}{}{rest}", "0".repeat(missing));
        }
        let left = match format.align {
            Some(FormatAlign::Left) => 0,
            Some(FormatAlign::Center) => missing / 2,
            Some(FormatAlign::Right) | None => missing,
        };
        let pad = |count: usize| fill.to_string().repeat(count);
        format!("{}{digits}{}", pad(left), pad(missing - left))
    };
    for value in [0.0, 12.44, -3.5, 999.96] {
        assert_eq!(render(".1", value), format!("{value:.1}"));
        assert_eq!(render("7.1", value), format!("{value:7.1}"));
        assert_eq!(render("<7.1", value), format!("{value:<7.1}"));
        assert_eq!(render("*^8.1", value), format!("{value:*^8.1}"));
        assert_eq!(render("+07.2", value), format!("{value:+07.2}"));
        assert_eq!(render("0>7.2", value), format!("{value:0>7.2}"));
    }
}

#[test]
fn spans_point_at_their_words() {
    let text = "bar temp over: 8..16°C at: (71, 8)\nstack {\n  text \"{temp:.1} ok\"\n}\n";
    let (document, findings) = parse(text);
    assert_eq!(findings, []);
    let slice = |span: Span| &text[span.range()];
    let bar = &document.statements[0];
    assert_eq!(slice(bar.span), "bar temp over: 8..16°C at: (71, 8)");
    assert_eq!(slice(bar.word.span), "bar");
    assert_eq!(slice(bar.plain[0].span), "temp");
    assert_eq!(slice(bar.named[0].name.span), "over");
    assert_eq!(slice(bar.named[0].value.span), "8..16°C");
    let ExpressionKind::Range(_, high) = &bar.named[0].value.kind else { panic!("a range") };
    let ExpressionKind::Number { unit: Some(unit), .. } = &high.kind else { panic!("a unit") };
    assert_eq!((slice(high.span), slice(unit.span)), ("16°C", "°C"));
    assert_eq!(slice(bar.named[1].value.span), "(71, 8)");
    let stack = &document.statements[1];
    let block = stack.block.as_ref().expect("a block");
    assert_eq!(slice(stack.span), "stack {\n  text \"{temp:.1} ok\"\n}");
    assert_eq!(slice(block.span), "{\n  text \"{temp:.1} ok\"\n}");
    let quoted = &block.statements[0].plain[0];
    assert_eq!(slice(quoted.span), "\"{temp:.1} ok\"");
    let ExpressionKind::Text(pieces) = &quoted.kind else { panic!("a text") };
    let Piece::Field { value, span, .. } = &pieces[0] else { panic!("a field") };
    assert_eq!((slice(value.span), slice(*span)), ("temp", "{temp:.1}"));
    let Piece::Literal(literal) = &pieces[1] else { panic!("a literal") };
    assert_eq!((slice(literal.span), literal.value.as_str()), (" ok", " ok"));
}

#[test]
fn what_can_be_read_is_kept_beside_a_mistake() {
    let shown = |text| show(&parse(text).0);
    assert_eq!(shown("bar temp over: ? height: 9"), "bar(temp, over: ?, height: 9)");
    assert_eq!(shown("bar temp over:\nrule"), "bar(temp, over: ?); rule");
    assert_eq!(shown("bar temp at: (1, ?) height: 9"), "bar(temp, at: <1, ?>, height: 9)");
    assert_eq!(shown("text \"{?} and {b}\" size: fit"), "text(\"⟨?⟩ and ⟨b⟩\", size: fit)");
    assert_eq!(shown("reading t unit: \"°C\" stale: 45 s\nrule"), "reading(t, unit: ?, stale: 45); rule");
    assert_eq!(shown("reading t stale: 1,5s over: 8..16 °C"), "reading(t, stale: 1.5[s], over: (.. 8 16[°C]))");
    assert_eq!(shown("value dew: temp - 1 unit: °C"), "value(dew, unit: [°C]) = (- temp 1)");
    assert_eq!(shown("columns gap = 14 { rule }"), "columns(gap: 14){rule}");
    assert_eq!(shown("s when: a && b"), "s(when: (and a b))");
    assert_eq!(shown("stack\n{\n  rule\n}\nrule"), "stack{rule}; rule");
    assert_eq!(shown("stack ? {\n  rule\n}\nrule"), "stack(?){rule}; rule");
}
