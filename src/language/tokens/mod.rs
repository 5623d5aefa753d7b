//! Layout text to tokens: what the parser reads.
//!
//! In comes the text of a layout file, out comes a list of tokens that covers it from start to end, blanks left out. Nothing
//! is reported here: what cannot be read becomes a token of its own, and the parser says what is wrong when it meets it.
//! Nested texts (`"{if a then "x" else "y"}"`) are flat in the list, so that no input can exhaust the stack.

mod lexer;

pub use lexer::tokenize;

use super::Span;

/// A token and the bytes that it came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Token {
    /// What it is.
    pub kind: TokenKind,
    /// Where it stands; empty for [`TokenKind::FieldCut`], [`TokenKind::TextCut`] and [`TokenKind::End`].
    pub span: Span,
}

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TokenKind {
    /// The end of a line.
    Newline,
    /// `#` and what follows on its line.
    Comment,
    /// `{` of a block.
    BlockOpen,
    /// `}` of a block.
    BlockClose,
    /// `(`
    ParenOpen,
    /// `)`
    ParenClose,
    /// `,`
    Comma,
    /// `:`
    Colon,
    /// `=`
    Assign,
    /// `+`
    Plus,
    /// `-`, or the minus sign U+2212.
    Minus,
    /// `*`
    Star,
    /// `/`
    Slash,
    /// `<`
    Less,
    /// `<=`
    LessOrEqual,
    /// `>`
    Greater,
    /// `>=`
    GreaterOrEqual,
    /// `==`
    Equal,
    /// `!=`
    NotEqual,
    /// `..`
    Range,
    /// A letter or `_`, then letters, digits and `_`.
    Name,
    /// `if`
    If,
    /// `then`
    Then,
    /// `else`
    Else,
    /// `and`
    And,
    /// `or`
    Or,
    /// `not`
    Not,
    /// `as`
    As,
    /// `true`
    True,
    /// `false`
    False,
    /// Digits, perhaps with a fraction, and the unit that follows without a space.
    Number,
    /// `128x32`
    Dimensions,
    /// Something that begins like a number and is none.
    BadNumber(NumberMistake),
    /// A unit after `unit:` or `as`, or one that stands where none belongs.
    Unit,
    /// The quote that begins a text.
    TextOpen,
    /// Characters of a text outside fields, escapes not yet resolved.
    Literal,
    /// `{` within a text.
    FieldOpen,
    /// What stands between the `:` and the `}` of a field.
    Format,
    /// `}` of a field.
    FieldClose,
    /// A field ends here without its brace, because its text does.
    FieldCut,
    /// The quote that ends a text.
    TextClose,
    /// A text ends here without its quote, because its line does.
    TextCut,
    /// An operator of other languages, with its meaning here.
    Foreign(ForeignOperator),
    /// A character that has no meaning where it stands.
    Stray,
    /// The end of the file.
    End,
}

/// An operator that other languages, or typesetting, write in another way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ForeignOperator {
    /// `&&`, `&`
    And,
    /// `||`, `|`
    Or,
    /// `!`
    Not,
    /// `≤`, `=<`
    LessOrEqual,
    /// `≥`, `=>`
    GreaterOrEqual,
    /// `≠`, `<>`
    NotEqual,
    /// `×`, `·`
    Multiply,
    /// `÷`
    Divide,
}

/// Why something that begins like a number is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NumberMistake {
    /// `.5`
    NothingBeforePoint,
    /// `5.`
    NothingAfterPoint,
    /// `1.2.3`
    TwoPoints,
    /// `1e3`
    Exponent,
    /// `1_000`
    Underscore,
    /// `5m2`
    DigitAfterUnit,
    /// `128x`, `128×32`, `1.5x2`
    Dimensions,
}

impl TokenKind {
    /// Whether a value can end with this token, so that an operator may follow.
    fn ends_value(self) -> bool {
        matches!(
            self,
            Self::Name
                | Self::Number
                | Self::BadNumber(_)
                | Self::Dimensions
                | Self::Unit
                | Self::True
                | Self::False
                | Self::ParenClose
                | Self::TextClose
        )
    }

    /// Whether a value can begin with this token.
    pub fn begins_value(self) -> bool {
        matches!(
            self,
            Self::Name
                | Self::Number
                | Self::BadNumber(_)
                | Self::Dimensions
                | Self::True
                | Self::False
                | Self::TextOpen
                | Self::ParenOpen
                | Self::If
                | Self::Not
                | Self::Minus
                | Self::Foreign(ForeignOperator::Not)
        )
    }

    /// Whether this is one of the words that an expression keeps for itself.
    pub fn is_keyword(self) -> bool {
        matches!(
            self,
            Self::If | Self::Then | Self::Else | Self::And | Self::Or | Self::Not | Self::As | Self::True | Self::False
        )
    }
}
