//! Bytes to text: what is let in as a layout file at all.
//!
//! In come the bytes of a file, out comes its text or one finding that says why it is none. Nothing is read from disk here.

use super::report::line_and_column;
use super::{Finding, Span};

/// The most bytes that a layout file may have. A full layout has a few thousand; the limit keeps a mistaken file name from
/// filling the memory of a small board.
pub const MAX_BYTES: usize = 256 * 1024;

/// The bytes of a layout file as text, or the finding that says why they are none: too many, not UTF-8 (the message names
/// line and column of the first bad byte), or a binary file. To show such a finding, give the report the text that
/// [`String::from_utf8_lossy`] makes of the bytes.
pub fn decode(bytes: &[u8]) -> Result<&str, Box<Finding>> {
    if let Some(finding) = refuse(bytes) {
        return Err(Box::new(finding));
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let good = error.valid_up_to();
        let prefix = std::str::from_utf8(&bytes[..good]).unwrap_or_default();
        let place = line_and_column(prefix, good);
        let byte = bytes[good];
        let message =
            format!("expected UTF-8 text, found the byte 0x{byte:02x} at line {}, column {}", place.line, place.column);
        let help = if is_utf_16(bytes) { "the file is in UTF-16: save it as UTF-8" } else { "save the file as UTF-8" };
        Box::new(Finding::error("not text", Span::new(good, good + 1), message).help(help))
    })
}

/// The finding if `bytes` are too many or hold a NUL, which no text does.
pub(super) fn refuse(bytes: &[u8]) -> Option<Finding> {
    if bytes.len() > MAX_BYTES {
        let message = format!("expected a layout of at most {MAX_BYTES} bytes, found a file of {} bytes", bytes.len());
        return Some(
            Finding::error("file too large", Span::default(), message)
                .help("a layout is a small text file: check the file name"),
        );
    }
    match bytes.iter().position(|&byte| byte == 0) {
        Some(at) if !is_utf_16(bytes) && std::str::from_utf8(&bytes[..at]).is_ok() => Some(
            Finding::error("not text", Span::new(at, at + 1), "expected text, found a NUL byte")
                .help("this is a binary file: check the file name"),
        ),
        _ => None,
    }
}

/// Whether the bytes begin with the byte order mark of UTF-16.
fn is_utf_16(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_comes_through_unchanged() {
        assert_eq!(decode("panel 128x32 # °\r\n".as_bytes()), Ok("panel 128x32 # °\r\n"));
    }

    #[test]
    fn a_bad_byte_is_named_by_line_and_column() {
        // "°" in Latin-1, after a two-byte character that counts as one column.
        let finding = decode(b"# \xc2\xb5\ntext \"\xc2\xb5\xb0\"\n").expect_err("0xb0 alone is not UTF-8");
        assert_eq!(finding.name, "not text");
        assert_eq!(finding.message, "expected UTF-8 text, found the byte 0xb0 at line 2, column 8");
        assert_eq!(finding.help.as_deref(), Some("save the file as UTF-8"));
        assert_eq!(finding.span, Span::new(13, 14));
    }

    #[test]
    fn utf_16_is_named() {
        let finding = decode(b"\xff\xfep\0a\0n\0e\0l\0").expect_err("UTF-16 is not UTF-8");
        assert_eq!(finding.help.as_deref(), Some("the file is in UTF-16: save it as UTF-8"));
    }

    #[test]
    fn a_binary_file_is_refused() {
        let finding = decode(b"\x7fELF\x02\x01\x01\0\0\0").expect_err("a NUL is no text");
        assert_eq!((finding.name, finding.span), ("not text", Span::new(7, 8)));
    }

    #[test]
    fn the_limit_on_size_is_exact() {
        assert!(decode(&vec![b'\n'; MAX_BYTES]).is_ok());
        let finding = decode(&vec![b'\n'; MAX_BYTES + 1]).expect_err("one byte too many");
        assert_eq!(finding.name, "file too large");
        assert_eq!(finding.message, "expected a layout of at most 262144 bytes, found a file of 262145 bytes");
    }
}
