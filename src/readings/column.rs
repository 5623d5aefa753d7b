//! One column out of a line of separated values, quoted as in RFC 4180, section 2, with any separator.
//!
//! A line of text enters, the text of one cell leaves, without copying unless it has doubled quotation marks. The whole line is
//! read, so that a line with a broken end gives no number from its beginning; cells may have blanks around them (common practice).

use std::borrow::Cow;

use super::decode_error::DecodeError;

/// The text in column `wanted`, counted from 1, without the blanks around it.
pub(super) fn column(line: &str, wanted: u16, separator: char) -> Result<Cow<'_, str>, DecodeError> {
    let blank = |sign: char| (sign == ' ' || sign == '\t') && sign != separator;
    let mut found = None;
    let mut rest = line;
    let mut column = 0_usize;
    loop {
        column += 1;
        rest = rest.trim_start_matches(blank);
        let cell;
        (cell, rest) = if let Some(quoted) = rest.strip_prefix('"') {
            let (cell, rest) = unquote(quoted).ok_or(DecodeError::UnpairedQuotes { column })?;
            (cell, rest.trim_start_matches(blank))
        } else {
            let end = rest.find(|sign| sign == separator || is_line_break(sign)).unwrap_or(rest.len());
            (Cow::Borrowed(rest[..end].trim_end_matches(blank)), &rest[end..])
        };
        if column == usize::from(wanted) {
            found = Some(cell);
        }
        match rest.chars().next() {
            None => break,
            Some(sign) if sign == separator => rest = &rest[sign.len_utf8()..],
            Some(sign) if is_line_break(sign) => return Err(DecodeError::SeveralLines),
            Some(_) => return Err(DecodeError::UnpairedQuotes { column }),
        }
    }
    found.ok_or(DecodeError::NoSuchColumn { wanted, columns: column })
}

fn is_line_break(sign: char) -> bool {
    sign == '\n' || sign == '\r'
}

/// The text up to the closing quotation mark, and what follows that mark; `None` if there is none.
fn unquote(quoted: &str) -> Option<(Cow<'_, str>, &str)> {
    let mut end = quoted.find('"')?;
    if !quoted[end + 1..].starts_with('"') {
        return Some((Cow::Borrowed(&quoted[..end]), &quoted[end + 1..]));
    }
    let mut text = String::new();
    let mut from = 0;
    loop {
        text.push_str(&quoted[from..end]);
        let after = end + 1;
        if !quoted[after..].starts_with('"') {
            return Some((Cow::Owned(text), &quoted[after..]));
        }
        text.push('"');
        from = after + 1;
        end = from + quoted[from..].find('"')?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_by_number() {
        for (line, wanted, separator, cell) in [
            ("12.4,91.0", 1, ',', "12.4"),
            ("12.4,91.0", 2, ',', "91.0"),
            (" 12.4 ;\t91.0 ", 2, ';', "91.0"),
            ("12.4 91.0", 2, ' ', "91.0"),
            ("a\t\tb", 3, '\t', "b"),
            ("a,,b", 2, ',', ""),
            ("a,", 2, ',', ""),
            ("21·5", 2, '·', "5"),
            ("12.4", 1, ',', "12.4"),
        ] {
            assert_eq!(column(line, wanted, separator).as_deref(), Ok(cell), "{line}");
        }
    }

    // RFC 4180, section 2, rules 5 to 7, with its own examples.
    #[test]
    fn quoted_cells() {
        for (line, wanted, cell) in [
            (r#""aaa","bbb","ccc""#, 2, "bbb"),
            ("\"aaa\",\"b\r\nbb\",\"ccc\"", 2, "b\r\nbb"),
            ("\"aaa\",\"b\r\nbb\",\"ccc\"", 3, "ccc"),
            (r#""aaa","b""bb","ccc""#, 2, r#"b"bb"#),
            (r#""aaa","b""bb","ccc""#, 3, "ccc"),
            (r#" "12,4" , 7"#, 1, "12,4"),
            ("\"\"\"\"", 1, "\""),
            ("\"\"", 1, ""),
        ] {
            assert_eq!(column(line, wanted, ',').as_deref(), Ok(cell), "{line}");
        }
    }

    #[test]
    fn lines_without_the_cell() {
        for (line, wanted, error) in [
            ("12.4", 2, DecodeError::NoSuchColumn { wanted: 2, columns: 1 }),
            ("", 2, DecodeError::NoSuchColumn { wanted: 2, columns: 1 }),
            ("1,2\n3,4", 1, DecodeError::SeveralLines),
            ("\"1,2", 1, DecodeError::UnpairedQuotes { column: 1 }),
            ("1,\"2\"x", 1, DecodeError::UnpairedQuotes { column: 2 }),
            ("1,\"2\"\"", 1, DecodeError::UnpairedQuotes { column: 2 }),
        ] {
            assert_eq!(column(line, wanted, ','), Err(error), "{line}");
        }
    }
}
