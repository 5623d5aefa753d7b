//! The grammar that colours layouts in editors knows the same words as the checker, and sees the same parts of a line as the lexer.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use fancy_regex::Regex;
use serde_json::Value;
use sidelight::faces::{Catalogue, icons};
use sidelight::language::syntax::{ExpressionKind, Statement};
use sidelight::language::tokens::{Token, TokenKind, tokenize};
use sidelight::language::words::{
    ANYWHERE, CLOCK, DECIMALS, DIRECTIONS, ELEMENTS, FIELDS, FIT, HORIZONTAL, OF_ELEMENTS, PICKS, SMOOTHS, STALE,
    STATEMENTS, TODAY, TOPIC, Takes, VERTICAL, Word, names,
};
use sidelight::language::{functions, parse};

fn layouts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts")
}

fn grammar() -> Value {
    let text = std::fs::read_to_string(layouts().join("sidelight.tmLanguage.json")).unwrap();
    serde_json::from_str(&text).expect("the grammar is JSON")
}

/// All rows of the tables.
fn rows() -> impl Iterator<Item = &'static Word> {
    const OTHERS: [Word; 2] = [CLOCK, TOPIC];
    const ALL: [&[Word]; 6] = [&STATEMENTS, &ANYWHERE, &ELEMENTS, &PICKS, &SMOOTHS, &OTHERS];
    ALL.into_iter().flatten()
}

/// The arguments of statements and elements with what they take, and those of calls.
fn arguments() -> impl Iterator<Item = (&'static str, Takes)> {
    rows().flat_map(|row| row.named).copied().chain(OF_ELEMENTS)
}

/// Arguments that take one of a few words, and those words.
fn choices() -> (BTreeSet<&'static str>, BTreeSet<String>) {
    let first = |pairs: &[&'static str]| pairs.to_vec();
    let catalogue = Catalogue::new();
    let of = |takes: Takes| match takes {
        Takes::Size => first(&[FIT]),
        Takes::Stale => first(&STALE),
        Takes::Horizontal => first(&HORIZONTAL.map(|(word, _)| word)),
        Takes::Vertical => first(&VERTICAL.map(|(word, _)| word)),
        Takes::Direction => first(&DIRECTIONS.map(|(word, _)| word)),
        Takes::Decimal => first(&DECIMALS.map(|(word, _)| word)),
        Takes::Field => first(&FIELDS.map(|(word, _)| word)),
        _ => Vec::new(),
    };
    let mut words: BTreeSet<String> = arguments().flat_map(|(_, takes)| of(takes)).map(str::to_string).collect();
    words.extend(catalogue.families().filter(|family| *family != icons::FAMILY).map(str::to_string));
    let takers = arguments().filter(|(_, takes)| *takes == Takes::Face || !of(*takes).is_empty());
    (takers.map(|(name, _)| name).collect(), words)
}

/// The lists of words `(a|b|c)` in a rule, in their order.
fn lists(rule: &Value) -> Vec<BTreeSet<String>> {
    let pattern = rule["match"].as_str().or_else(|| rule["patterns"][0]["match"].as_str()).expect("a pattern");
    let list = Regex::new(r"\(((?:[a-z_]+\|)*[a-z_]+)\)").unwrap();
    let found = list.captures_iter(pattern).map(|found| found.unwrap()[1].to_string());
    found
        .map(|words| {
            let set: BTreeSet<String> = words.split('|').map(str::to_string).collect();
            assert_eq!(set.len(), words.split('|').count(), "a word stands twice in {words}");
            set
        })
        .collect()
}

#[test]
fn its_words_are_those_of_the_tables() {
    let set = |words: &mut dyn Iterator<Item = &'static str>| words.map(str::to_string).collect::<BTreeSet<String>>();
    let (takers, words) = choices();
    let takers = set(&mut takers.into_iter());
    let declare = |row: &&Word| row.plain == [Takes::Name];
    let declaring = set(&mut STATEMENTS.iter().filter(declare).map(|row| row.name));
    let picks = set(&mut names(&PICKS).chain(names(&SMOOTHS)).chain([TOPIC.name]));
    let expected: [(&str, Vec<BTreeSet<String>>); 9] = [
        ("declarations", vec![declaring]),
        ("statements", vec![set(&mut names(&STATEMENTS))]),
        ("anywhere", vec![set(&mut names(&ANYWHERE))]),
        ("elements", vec![set(&mut names(&ELEMENTS))]),
        ("choices", vec![takers, words]),
        ("picks", vec![picks]),
        ("arguments", vec![set(&mut arguments().map(|(name, _)| name))]),
        ("functions", vec![set(&mut functions().chain([CLOCK.name]))]),
        ("windows", vec![set(&mut [TODAY].into_iter())]),
    ];
    let grammar = grammar();
    for (rule, expected) in expected {
        assert_eq!(lists(&grammar["repository"][rule]), expected, "the rule `{rule}`");
    }
    assert_eq!(grammar["fileTypes"], serde_json::json!(["layout"]));
}

/// A rule of a grammar, made ready.
enum Rule {
    /// What one expression finds; the scope of all of it, and those of its groups.
    Match { found: Regex, scope: Option<String>, groups: Vec<(usize, String)> },
    /// What stands from one expression to another.
    Block { begin: Regex, end: Regex, scope: String, ends: [String; 2], within: Vec<usize> },
}

/// A grammar of the TextMate kind as far as this one needs it: `match`, `begin` and `end`, `captures`, and `include` from the
/// repository. An editor gives each line with its break, here without; nothing else differs.
struct Highlighter {
    rules: Vec<Rule>,
    top: Vec<usize>,
}

impl Highlighter {
    fn new(grammar: &Value) -> Self {
        let mut this = Self { rules: Vec::new(), top: Vec::new() };
        let mut known = BTreeMap::new();
        this.top = this.patterns(grammar, grammar, &mut known);
        let unused: Vec<&String> =
            grammar["repository"].as_object().unwrap().keys().filter(|name| !known.contains_key(*name)).collect();
        assert!(unused.is_empty(), "nothing includes {unused:?}");
        this
    }

    fn patterns(&mut self, grammar: &Value, of: &Value, known: &mut BTreeMap<String, Vec<usize>>) -> Vec<usize> {
        let patterns = of["patterns"].as_array().unwrap().clone();
        patterns.iter().flat_map(|pattern| self.rule(grammar, pattern, known)).collect()
    }

    fn rule(&mut self, grammar: &Value, rule: &Value, known: &mut BTreeMap<String, Vec<usize>>) -> Vec<usize> {
        let regex = |key: &str| {
            let pattern = rule[key].as_str().unwrap_or_else(|| panic!("{rule} has no `{key}`"));
            Regex::new(pattern).unwrap_or_else(|problem| panic!("{pattern}: {problem}"))
        };
        let name = |rule: &Value| rule["name"].as_str().map(str::to_string);
        if let Some(name) = rule["include"].as_str().map(|name| name.strip_prefix('#').unwrap()) {
            if let Some(rules) = known.get(name) {
                return rules.clone();
            }
            let included = &grammar["repository"][name];
            assert!(included.is_object(), "there is no rule `{name}`");
            // A block that holds itself finds its own number here.
            if included["begin"].is_string() {
                known.insert(name.to_string(), vec![self.rules.len()]);
            }
            let rules = self.rule(grammar, included, known);
            known.insert(name.to_string(), rules.clone());
            return rules;
        }
        if rule["begin"].is_string() {
            let ends = ["beginCaptures", "endCaptures"].map(|key| name(&rule[key]["0"]).unwrap());
            let scope = name(rule).unwrap();
            let place = self.rules.len();
            self.rules.push(Rule::Block { begin: regex("begin"), end: regex("end"), scope, ends, within: Vec::new() });
            let inner = self.patterns(grammar, rule, known);
            if let Rule::Block { within, .. } = &mut self.rules[place] {
                *within = inner;
            }
            return vec![place];
        }
        if rule["patterns"].is_array() {
            return self.patterns(grammar, rule, known);
        }
        let groups = rule["captures"].as_object().into_iter().flatten();
        let groups = groups.map(|(group, rule)| (group.parse().unwrap(), name(rule).unwrap())).collect();
        self.rules.push(Rule::Match { found: regex("match"), scope: name(rule), groups });
        vec![self.rules.len() - 1]
    }

    /// The innermost scope of each byte; empty where there is none.
    fn scopes(&self, text: &str) -> Vec<&str> {
        let mut scopes = vec![""; text.len()];
        let mut open = Vec::new();
        let mut start = 0;
        for line in text.split('\n') {
            self.line(line, &mut open, &mut scopes[start..start + line.len()]);
            start += line.len() + 1;
        }
        scopes
    }

    fn line<'a>(&'a self, line: &str, open: &mut Vec<usize>, scopes: &mut [&'a str]) {
        let mut at = 0;
        while at <= line.len() {
            let (end, within, around) = match open.last().map(|place| &self.rules[*place]) {
                Some(Rule::Block { end, scope, within, .. }) => (Some(end), within, scope.as_str()),
                _ => (None, &self.top, ""),
            };
            let ending = end.map(|end| (None, end));
            let beginning = within.iter().map(|place| match &self.rules[*place] {
                Rule::Match { found, .. } => (Some(*place), found),
                Rule::Block { begin, .. } => (Some(*place), begin),
            });
            let found = ending.into_iter().chain(beginning).filter_map(|(place, regex)| {
                let found = regex.captures_from_pos(line, at).unwrap()?;
                Some((place, found))
            });
            // Of those that begin first, the first in the list.
            let Some((place, found)) = found.min_by_key(|(_, found)| found.get(0).unwrap().start()) else {
                scopes[at..].fill(around);
                return;
            };
            let whole = found.get(0).unwrap();
            scopes[at..whole.start()].fill(around);
            match place.map(|place| &self.rules[place]) {
                None => {
                    if let Some(Rule::Block { ends, .. }) = open.pop().map(|place| &self.rules[place]) {
                        scopes[whole.range()].fill(&ends[1]);
                    }
                }
                Some(Rule::Block { ends, .. }) => {
                    scopes[whole.range()].fill(&ends[0]);
                    open.extend(place);
                }
                Some(Rule::Match { scope, groups, .. }) => {
                    assert!(!whole.range().is_empty(), "a rule that finds nothing, in {line}");
                    scopes[whole.range()].fill(scope.as_deref().unwrap_or(around));
                    for (group, scope) in groups {
                        if let Some(group) = found.get(*group) {
                            scopes[group.range()].fill(scope);
                        }
                    }
                }
            }
            if at == line.len() && whole.range().is_empty() && open.is_empty() {
                return;
            }
            at = whole.end();
        }
    }
}

/// What no ready layout needs.
const ESCAPES: &str = r#"screen s { text "{{5}} \"°\" \\ \n \u{b0} {temp:.1}" }"#;

/// The ready layouts, the examples of the reference, and escapes.
fn texts() -> Vec<String> {
    let mut texts = Vec::new();
    for entry in std::fs::read_dir(layouts()).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "layout") {
            texts.push(std::fs::read_to_string(path).unwrap());
        }
    }
    let page = std::fs::read_to_string(layouts().join("README.md")).unwrap();
    let blocks = page.split("```layout").skip(1);
    texts.extend(blocks.map(|block| block.split_once('\n').unwrap().1.split("```").next().unwrap().to_string()));
    assert!(texts.len() > 40);
    texts.push(ESCAPES.to_string());
    texts
}

/// What the parser knows about names: the words of statements, what they declare, and the names of arguments.
fn names_in(statements: &[Statement], found: &mut BTreeMap<u32, &'static str>) {
    for statement in statements {
        let word = statement.word.value.as_str();
        let row = |table: &'static [Word]| names(table).find(|name| *name == word);
        let scope = match (row(&STATEMENTS), row(&ANYWHERE), row(&ELEMENTS)) {
            (Some(_), ..) => "storage.type",
            (_, Some(_), _) => "keyword.control",
            (.., Some(_)) => "support.type.element",
            _ => panic!("{word}"),
        };
        found.insert(statement.word.span.start, scope);
        let declares = STATEMENTS.iter().any(|row| row.name == word && row.plain == [Takes::Name]);
        if let Some(first) =
            statement.plain.first().filter(|first| declares && matches!(first.kind, ExpressionKind::Name(_)))
        {
            found.insert(first.span.start, "entity.name");
        }
        for argument in &statement.named {
            let known = arguments().any(|(name, _)| name == argument.name.value);
            found.insert(
                argument.name.span.start,
                if known { "entity.other.attribute-name" } else { "variable.parameter" },
            );
        }
        if let Some(block) = &statement.block {
            names_in(&block.statements, found);
        }
    }
}

/// The scopes that a token may have; of a name that the parser says nothing about, by what follows it.
fn expected(token: Token, next: Token, parsed: &BTreeMap<u32, &'static str>) -> &'static [&'static str] {
    use TokenKind as T;
    match token.kind {
        T::Comment => &["comment.line"],
        T::BlockOpen | T::BlockClose => &["punctuation.section.block"],
        T::ParenOpen | T::ParenClose | T::Comma => &["punctuation.separator.sidelight"],
        T::Colon => &["punctuation.separator.key-value"],
        T::If | T::Then | T::Else => &["keyword.control.conditional"],
        T::And | T::Or | T::Not | T::As => &["keyword.operator.word"],
        T::True | T::False => &["constant.language"],
        T::Number => &["constant.numeric", "constant.other.unit"],
        T::Dimensions => &["constant.numeric"],
        T::Unit => &["constant.other.unit"],
        T::TextOpen => &["punctuation.definition.string.begin"],
        T::TextClose => &["punctuation.definition.string.end"],
        T::Literal => &["string.quoted.double", "constant.character.escape"],
        T::FieldOpen => &["punctuation.section.embedded.begin"],
        T::FieldClose => &["punctuation.section.embedded.end"],
        T::Format => &["constant.other.placeholder"],
        T::Name => match (parsed.get(&token.span.start), next.kind) {
            (Some(&"storage.type"), _) => &["storage.type"],
            (Some(&"keyword.control"), _) => &["keyword.control.sidelight"],
            (Some(&"support.type.element"), _) => &["support.type.element"],
            (Some(&"entity.name"), _) => &["entity.name"],
            (Some(&"entity.other.attribute-name"), _) => &["entity.other.attribute-name"],
            (Some(_), _) => &["variable.parameter"],
            (None, T::Colon) => &["variable.parameter", "entity.other.attribute-name"],
            (None, T::ParenOpen) => &["support.function"],
            (None, _) => &["variable.other", "constant.language", "support.function.pick"],
        },
        _ => &["keyword.operator.sidelight"],
    }
}

#[test]
fn it_sees_what_the_lexer_sees() {
    let highlighter = Highlighter::new(&grammar());
    let mut seen = BTreeSet::new();
    for text in texts() {
        let scopes = highlighter.scopes(&text);
        let mut parsed = BTreeMap::new();
        names_in(&parse(&text).0.statements, &mut parsed);
        let tokens = tokenize(&text);
        for pair in tokens.windows(2) {
            let [token, next] = [pair[0], pair[1]];
            if matches!(token.kind, TokenKind::Newline | TokenKind::End) {
                continue;
            }
            let wanted = expected(token, next, &parsed);
            let characters = text[token.span.range()].char_indices();
            for at in characters.map(|(at, _)| token.span.start as usize + at) {
                let line = text[..at].rsplit('\n').next().unwrap().len();
                let shown = text[at - line..].lines().next().unwrap();
                assert!(
                    wanted.iter().any(|wanted| scopes[at].starts_with(wanted)),
                    "{shown}\n{:>line$}^ {:?} is `{}`, not one of {wanted:?}",
                    "",
                    token.kind,
                    scopes[at]
                );
                seen.insert(scopes[at]);
            }
        }
    }
    // No rule was there for nothing.
    let all = serde_json::to_string(&grammar()).unwrap();
    let names = Regex::new(r#""name":"([a-z.-]+\.sidelight)""#).unwrap();
    let names: BTreeSet<String> =
        names.captures_iter(&all).map(|found| found.unwrap().get(1).unwrap().as_str().to_string()).collect();
    let unseen: Vec<&String> =
        names.iter().filter(|name| !seen.contains(name.as_str()) && !name.starts_with("meta.")).collect();
    assert!(unseen.is_empty() && names.len() > 20, "{unseen:?}");
}

/// The parts of a line with their scopes, blanks and parts without one left out.
fn parts<'a>(highlighter: &'a Highlighter, text: &'a str) -> Vec<(&'a str, &'a str)> {
    let scopes = highlighter.scopes(text);
    let mut parts = Vec::new();
    let mut start = 0;
    for at in 1..=text.len() {
        if at == text.len() || scopes[at] != scopes[start] {
            let part = text[start..at].trim();
            if !part.is_empty() {
                parts.push((part, scopes[start].strip_suffix(".sidelight").unwrap_or(scopes[start])));
            }
            start = at;
        }
    }
    parts
}

#[test]
fn lines_are_coloured_as_they_are_meant() {
    let highlighter = Highlighter::new(&grammar());
    let colon = (":", "punctuation.separator.key-value");
    let quotes = [("\"", "punctuation.definition.string.begin"), ("\"", "punctuation.definition.string.end")];
    let number = "constant.numeric";
    let argument = "entity.other.attribute-name";
    assert_eq!(
        parts(&highlighter, "reading temp from: \"a\" pick: number unit: µg/m³ range: -10..40 stale: never # °"),
        [
            ("reading", "storage.type"),
            ("temp", "entity.name"),
            ("from", argument),
            colon,
            quotes[0],
            ("a", "string.quoted.double"),
            quotes[1],
            ("pick", argument),
            colon,
            ("number", "support.function.pick"),
            ("unit", argument),
            colon,
            ("µg/m³", "constant.other.unit"),
            ("range", argument),
            colon,
            ("-", "keyword.operator"),
            ("10", number),
            ("..", "keyword.operator"),
            ("40", number),
            ("stale", argument),
            colon,
            ("never", "constant.language"),
            ("# °", "comment.line.number-sign"),
        ]
    );
    assert_eq!(
        parts(&highlighter, "screen s { text \"{{{link() as 1/min:.1}\\n\" }"),
        [
            ("screen", "storage.type"),
            ("s", "entity.name"),
            ("{", "punctuation.section.block"),
            ("text", "support.type.element"),
            quotes[0],
            ("{{", "constant.character.escape"),
            ("{", "punctuation.section.embedded.begin"),
            ("link", "support.function"),
            ("()", "punctuation.separator"),
            ("as", "keyword.operator.word"),
            ("1/min", "constant.other.unit"),
            (":.1", "constant.other.placeholder"),
            ("}", "punctuation.section.embedded.end"),
            ("\\n", "constant.character.escape"),
            quotes[1],
            ("}", "punctuation.section.block"),
        ]
    );
    // A word of the language that is a name here: what stands behind a statement's word, or within an expression, is none of them.
    assert_eq!(
        parts(&highlighter, "value bar = text + left.rule"),
        [
            ("value", "storage.type"),
            ("bar", "entity.name"),
            ("=", "keyword.operator"),
            ("text", "variable.other"),
            ("+", "keyword.operator"),
            ("left.rule", "variable.other"),
        ]
    );
    // A text that its line cuts off does not reach into the next one.
    let broken = parts(&highlighter, "text \"5° {temp\nrule");
    assert_eq!(broken.last(), Some(&("rule", "support.type.element")));
}
