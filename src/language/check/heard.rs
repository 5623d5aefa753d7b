//! What is heard: the topic of a reading, its publisher's presence, and how a payload becomes a number.
//!
//! What enters are a statement's arguments; what leaves are a topic filter, a [`Presence`] and a [`Pick`], or findings.

use crate::feed::Filter;
use crate::language::syntax::{Expression, ExpressionKind, NamedArgument, Piece, Statement};
use crate::language::words::{self, DECIMALS, FIELDS, PICKS, TOPIC, WORDS};
use crate::language::{Finding, nearest};
use crate::readings::{Pick, PickError, Presence};
use crate::units::Unit;

use super::Checker;
use super::arguments::{Arguments, check_names, expected, number_in, one_of, pixels};

impl Checker {
    pub(super) fn filter(&mut self, arguments: &Arguments<'_>, statement: &Statement) -> Option<Filter> {
        let Some(from) = arguments.named("from") else {
            if arguments.is_damaged() {
                return None;
            }
            self.findings.push(
                Finding::error("missing argument", statement.span, "a `reading` needs the topic that it is heard on")
                    .help("add, for example, `from: \"cellar/brine/climate\"`"),
            );
            return None;
        };
        self.topic(from, "from: \"cellar/brine/climate\"")
    }

    /// The topic filter that a text writes.
    fn topic(&mut self, written: &Expression, example: &str) -> Option<Filter> {
        if let ExpressionKind::Text(pieces) = &written.kind
            && !matches!(pieces.as_slice(), [] | [Piece::Literal(_)])
        {
            self.findings.push(
                Finding::error("wrong kind", written.span, "a topic cannot hold fields")
                    .help("write the topic out; `+` stands for any one level"),
            );
            return None;
        }
        let topic = self.literal(written, "a topic in quotes", example)?;
        Filter::new(&topic)
            .map_err(|problem| {
                self.findings
                    .push(Finding::error("bad topic", written.span, problem.to_string()).label("not a topic filter"));
            })
            .ok()
    }

    /// A text without fields.
    fn literal(&mut self, written: &Expression, what: &str, example: &str) -> Option<String> {
        let text = written.literal().map(str::to_string);
        if text.is_none() {
            expected(what, example, written, &mut self.findings);
        }
        text
    }

    /// Where the publisher says whether it is there, if the file tells.
    pub(super) fn presence(&mut self, arguments: &Arguments<'_>) -> Option<Presence> {
        let written = arguments.named("presence")?;
        let example = "presence: \"cellar/ripening/status\"";
        let (topic, named) = match &written.kind {
            ExpressionKind::Call { name, plain, named } if name.value == TOPIC.name => {
                check_names("`topic`", named, &TOPIC.arguments(), &mut self.findings);
                let [topic] = plain.as_slice() else {
                    expected("one topic in quotes", "topic(\"cellar/ripening/status\")", written, &mut self.findings);
                    return None;
                };
                (topic, named.as_slice())
            }
            _ => (written, &[][..]),
        };
        let filter = self.topic(topic, example)?;
        if filter.has_wildcards() {
            self.findings.push(
                Finding::error("bad topic", topic.span, "the presence of one publisher has one topic")
                    .label("no `+` and no `#` here"),
            );
            return None;
        }
        let mut word = |name: &str| match named.iter().find(|argument| argument.name.value == name) {
            Some(argument) => self.literal(&argument.value, "a word in quotes", "online: \"online\""),
            None => Some(name.to_owned()),
        };
        let presence = Presence { topic: filter, online: word("online")?, offline: word("offline")? };
        if presence.online == presence.offline {
            self.findings.push(
                Finding::error("name given twice", written.span, "the same word cannot say online and offline")
                    .label("needs two words"),
            );
            return None;
        }
        Some(presence)
    }

    pub(super) fn pick(&mut self, expression: &Expression, unit: Unit) -> Option<Pick> {
        let wanted = "how the payload becomes a number";
        let example =
            "number`, `column(2)`, `pointer(\"/temperature\")`, `senml(\"power\")` or `words(open: 1, closed: 0)";
        let (name, plain, named) = match &expression.kind {
            ExpressionKind::Name(name) if name == "number" => return Some(Pick::number()),
            ExpressionKind::Call { name, plain, named } => (name, plain.as_slice(), named.as_slice()),
            _ => {
                expected(wanted, example, expression, &mut self.findings);
                return None;
            }
        };
        if let Some(row) = words::find(&PICKS, &name.value).filter(|row| row.name != WORDS) {
            check_names(&format!("`{}`", row.name), named, &row.arguments(), &mut self.findings);
        }
        let picked: Result<Pick, PickError> = match name.value.as_str() {
            "number" => {
                if let [extra, ..] = plain {
                    expected("no plain argument", "number(decimal: comma)", extra, &mut self.findings);
                    return None;
                }
                self.with_decimal(Pick::number(), named)?
            }
            "column" => {
                let [number] = plain else {
                    expected("which column, counted from 1", "column(2)", expression, &mut self.findings);
                    return None;
                };
                let number = pixels(number, 1, u32::from(u16::MAX), &mut self.findings)?;
                match Pick::column(number as usize, self.separator(named)?) {
                    Ok(pick) => self.with_decimal(pick, named)?,
                    problem => problem,
                }
            }
            "pointer" => Pick::pointer(&self.only_text(
                expression,
                plain,
                "a JSON pointer in quotes",
                "pointer(\"/temperature\")",
            )?),
            "senml" => {
                let record = self.only_text(expression, plain, "a record's name in quotes", "senml(\"power\")")?;
                let field = named.iter().find(|argument| argument.name.value == "field");
                let sum = match field {
                    Some(field) => one_of(&field.value, &FIELDS, &mut self.findings)?,
                    None => false,
                };
                Pick::senml(&record, unit, sum)
            }
            WORDS => {
                let pairs: Option<Vec<(String, f64)>> = named.iter().map(|word| self.word(word)).collect();
                Pick::words(pairs?)
            }
            other => {
                let finding =
                    Finding::error("unknown pick", name.span, format!("there is no pick `{other}`")).label("unknown");
                self.findings.push(match nearest(other, words::names(&PICKS)) {
                    Some(near) => finding.help(format!("did you mean `{near}`?")),
                    None => finding.help(format!("write `{example}`")),
                });
                return None;
            }
        };
        picked
            .map_err(|problem| {
                self.findings.push(Finding::error("bad pick", expression.span, problem.to_string()));
            })
            .ok()
    }

    /// The text that is a pick's one argument.
    fn only_text(&mut self, pick: &Expression, plain: &[Expression], what: &str, example: &str) -> Option<String> {
        match plain {
            [text] => self.literal(text, what, example),
            _ => {
                expected(what, example, pick, &mut self.findings);
                None
            }
        }
    }

    /// The pick with the decimal sign that the file asks for.
    fn with_decimal(&mut self, pick: Pick, named: &[NamedArgument]) -> Option<Result<Pick, PickError>> {
        let Some(argument) = named.iter().find(|argument| argument.name.value == "decimal") else {
            return Some(Ok(pick));
        };
        let comma = one_of(&argument.value, &DECIMALS, &mut self.findings)?;
        Some(if comma { pick.with_decimal_comma() } else { Ok(pick) })
    }

    fn separator(&mut self, named: &[NamedArgument]) -> Option<char> {
        let Some(argument) = named.iter().find(|argument| argument.name.value == "separator") else { return Some(',') };
        if let ExpressionKind::Text(pieces) = &argument.value.kind
            && let [Piece::Literal(text)] = pieces.as_slice()
        {
            let mut characters = text.value.chars();
            if let (Some(character), None) = (characters.next(), characters.next()) {
                return Some(character);
            }
        }
        expected("one character in quotes", "separator: \";\"", &argument.value, &mut self.findings);
        None
    }

    fn word(&mut self, word: &NamedArgument) -> Option<(String, f64)> {
        number_in(&word.value, Unit::BARE, "the number for this word", &mut self.findings)
            .map(|number| (word.name.value.clone(), number))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::{check, parse};
    use crate::readings::ReadingSpec;

    /// The reading with these arguments, or what was found.
    fn reading(arguments: &str) -> Result<ReadingSpec, Vec<String>> {
        let text = format!(
            "panel 128x32\nreading power from: \"cellar/plant/power\" {arguments}\nscreen s {{ text \"cellar\" }}\n"
        );
        let (layout, findings) = check(&parse(&text).0);
        let spec = layout.map(|layout| layout.readings[0].spec.clone());
        spec.ok_or_else(|| findings.into_iter().map(|finding| finding.message).collect())
    }

    #[test]
    fn picks_as_they_are_written() {
        let watt = crate::units::lookup("W").unwrap();
        let pick = |arguments: &str| reading(arguments).unwrap().pick;
        assert_eq!(pick("unit: W pick: senml(\"meter/power\")"), Pick::senml("meter/power", watt, false).unwrap());
        assert_eq!(pick("pick: senml(\"a\", field: sum) unit: W"), Pick::senml("a", watt, true).unwrap());
        assert_eq!(pick("pick: number(decimal: comma)"), Pick::number().with_decimal_comma().unwrap());
        assert_eq!(pick("pick: number(decimal: point)"), Pick::number());
        let column = Pick::column(2, ';').unwrap().with_decimal_comma().unwrap();
        assert_eq!(pick("pick: column(2, separator: \";\", decimal: comma)"), column);
    }

    #[test]
    fn presence_as_it_is_written() {
        let presence = |arguments: &str| reading(arguments).unwrap().presence;
        let known = |online: &str, offline: &str| {
            let topic = Filter::new("cellar/plant/status").unwrap();
            Some(Presence { topic, online: online.into(), offline: offline.into() })
        };
        assert_eq!(presence(""), None);
        assert_eq!(presence("presence: \"cellar/plant/status\""), known("online", "offline"));
        let written = "presence: topic(\"cellar/plant/status\", online: \"1\", offline: \"0\")";
        assert_eq!(presence(written), known("1", "0"));
    }

    #[test]
    fn mistakes_are_named() {
        for (arguments, problem) in [
            (
                "pick: senml(\"a b\")",
                "a SenML name begins with a letter or digit and goes on with those and - : . / _; found \"a b\"",
            ),
            ("pick: senml(power)", "expected a record's name in quotes, found the name `power`"),
            ("pick: senml(\"a\", field: total)", "`total` is not one of `value`, `sum`"),
            ("pick: number(1)", "expected no plain argument, found a number"),
            (
                "pick: column(2, decimal: comma)",
                "a comma cannot separate columns of numbers with a decimal comma; the separator is then another, such as a semicolon",
            ),
            ("pick: pointer(\"/a\", decimal: comma)", "`pointer` has no argument `decimal`"),
            ("presence: \"cellar/+/status\"", "the presence of one publisher has one topic"),
            (
                "presence: topic(\"cellar/status\", online: \"0\", offline: \"0\")",
                "the same word cannot say online and offline",
            ),
            ("presence: status", "expected a topic in quotes, found the name `status`"),
        ] {
            assert_eq!(reading(arguments).map(|spec| spec.name), Err(vec![problem.to_owned()]), "{arguments}");
        }
    }
}
