//! Parts of a layout as its language writes them: texts, picks, words.
//!
//! What enters are values; what leaves is text of a layout file, or nothing where the language has no way to say it.

use super::look::Spot;
use super::names::RESERVED;

/// A text in quotes; `None` if it holds what a layout cannot write.
pub(super) fn quoted(text: &str) -> Option<String> {
    let mut written = String::from("\"");
    for sign in text.chars() {
        match sign {
            '"' => written.push_str("\\\""),
            '\\' => written.push_str("\\\\"),
            '{' => written.push_str("{{"),
            '}' => written.push_str("}}"),
            sign if sign.is_control() => return None,
            sign => written.push(sign),
        }
    }
    written.push('"');
    Some(written)
}

/// How a layout picks what stands at a spot.
pub(super) fn pick(spot: &Spot) -> Option<String> {
    Some(match spot {
        Spot::Whole => "number".into(),
        Spot::Column { number, separator, comma } => {
            let separator = match separator {
                ',' => String::new(),
                other => format!(", separator: {}", quoted(&other.to_string()).unwrap_or("\"\\u{9}\"".into())),
            };
            format!("column({number}{separator}{})", if *comma { ", decimal: comma" } else { "" })
        }
        Spot::Pointer(pointer) => format!("pointer({})", quoted(pointer)?),
        Spot::Senml(name) => format!("senml({})", quoted(name)?),
    })
}

/// Words with their numbers, as `pick:` writes them.
pub(super) fn words(pairs: &[(String, usize)]) -> Option<String> {
    let is_plain = |word: &str| {
        word.starts_with(|first: char| first.is_ascii_alphabetic())
            && word.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_')
            && !RESERVED.contains(&word)
    };
    let pair = |(word, number): &(String, usize)| {
        let word = if is_plain(word) { word.clone() } else { quoted(word)? };
        Some(format!("{word}: {number}"))
    };
    Some(format!("words({})", pairs.iter().map(pair).collect::<Option<Vec<_>>>()?.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_escaped() {
        assert_eq!(quoted("cellar/a\"b\\c{d}").as_deref(), Some("\"cellar/a\\\"b\\\\c{{d}}\""));
        assert_eq!(quoted("a\tb"), None);
    }

    #[test]
    fn picks_are_written_short() {
        let written = |spot| pick(&spot).unwrap();
        assert_eq!(written(Spot::column(2, ',', false)), "column(2)");
        assert_eq!(written(Spot::column(2, ';', true)), "column(2, separator: \";\", decimal: comma)");
        assert_eq!(written(Spot::Pointer("/a~1b".into())), "pointer(\"/a~1b\")");
        assert_eq!(written(Spot::Senml("meter/power".into())), "senml(\"meter/power\")");
        assert_eq!(words(&[("in use".into(), 1), ("idle".into(), 0)]).unwrap(), "words(\"in use\": 1, idle: 0)");
    }
}
