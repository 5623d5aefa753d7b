//! The syntax tree of a layout file.
//!
//! A statement is a word, plain arguments, named arguments and perhaps a block of further statements. The tree knows nothing
//! of what the words mean; that is the checker's work. Each node has the bytes of the file that it came from.

/// A run of bytes in a layout file, from `start` up to but not including `end`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Span {
    /// The first byte.
    pub start: u32,
    /// The byte after the last one.
    pub end: u32,
}

impl Span {
    /// The bytes from `start` up to but not including `end`.
    pub fn new(start: usize, end: usize) -> Self {
        Self { start: start as u32, end: end as u32 }
    }

    /// The shortest run that holds both.
    pub fn to(self, other: Span) -> Span {
        Span { start: self.start.min(other.start), end: self.end.max(other.end) }
    }

    /// The run as an index range into the file's text.
    pub fn range(self) -> std::ops::Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// Something together with its place in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Spanned<T> {
    /// The thing itself.
    pub value: T,
    /// Where it stands.
    pub span: Span,
}

impl<T> Spanned<T> {
    /// `value` as found at `span`.
    pub fn new(value: T, span: Span) -> Self {
        Self { value, span }
    }
}

/// A whole layout file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Document {
    /// The statements at the top level, in order.
    pub statements: Vec<Statement>,
}

/// One statement: `word plain plain name: value { … }`.
#[derive(Clone, Debug, PartialEq)]
pub struct Statement {
    /// The word that it begins with.
    pub word: Spanned<String>,
    /// What a `value` statement gives after `=`: `value dew = …`; `None` for every other statement.
    pub definition: Option<Expression>,
    /// Arguments without a name, in order.
    pub plain: Vec<Expression>,
    /// Arguments with a name, in order.
    pub named: Vec<NamedArgument>,
    /// The children, if braces follow.
    pub block: Option<Block>,
    /// From the word to the last argument or the closing brace.
    pub span: Span,
}

/// `name: value` in a statement or a call.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedArgument {
    /// The name before the colon.
    pub name: Spanned<String>,
    /// The value after the colon.
    pub value: Expression,
}

/// The statements between braces.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// The statements, in order.
    pub statements: Vec<Statement>,
    /// From the opening to the closing brace.
    pub span: Span,
}

/// An expression with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    /// What it is.
    pub kind: ExpressionKind,
    /// Where it stands.
    pub span: Span,
}

impl Expression {
    /// The text that this is, if it is one without fields.
    pub fn literal(&self) -> Option<&str> {
        match &self.kind {
            ExpressionKind::Text(pieces) => match pieces.as_slice() {
                [] => Some(""),
                [Piece::Literal(text)] => Some(&text.value),
                _ => None,
            },
            _ => None,
        }
    }
}

/// What an expression is made of.
#[derive(Clone, Debug, PartialEq)]
pub enum ExpressionKind {
    /// `12.5`, `45s`, `60%`: a number, with the unit that follows it without a space. A sign before digits is part of the
    /// number where no operand precedes it.
    Number {
        /// The number as written, in the written unit.
        value: f64,
        /// The unit as written.
        unit: Option<Spanned<String>>,
    },
    /// `128x32`: a width and a height in pixels.
    Dimensions {
        /// Pixels from left to right.
        width: u32,
        /// Pixels from top to bottom.
        height: u32,
    },
    /// A quoted text, cut into literal pieces and fields.
    Text(Vec<Piece>),
    /// `true` or `false`.
    Bool(bool),
    /// A name: of a reading, a value, a face, an alignment.
    Name(String),
    /// A bare unit, where the argument's name is `unit`.
    Unit(String),
    /// `(71, 8)`.
    Tuple(Vec<Expression>),
    /// `8..16°C`: from the first to the second.
    Range(Box<Expression>, Box<Expression>),
    /// `column(2)`, `words(open: 1, closed: 0)`.
    Call {
        /// The name before the parenthesis.
        name: Spanned<String>,
        /// Arguments without a name.
        plain: Vec<Expression>,
        /// Arguments with a name.
        named: Vec<NamedArgument>,
    },
    /// `-a`, `not a`.
    Unary(UnaryOperator, Box<Expression>),
    /// `a + b`.
    Binary(BinaryOperator, Box<Expression>, Box<Expression>),
    /// `if a then b else c`.
    If {
        /// What decides.
        condition: Box<Expression>,
        /// The result where the condition holds.
        then: Box<Expression>,
        /// The result where it does not.
        otherwise: Box<Expression>,
    },
    /// `temp as °F`.
    Convert {
        /// What is converted.
        value: Box<Expression>,
        /// The unit as written.
        unit: Spanned<String>,
    },
    /// Something that could not be read; a finding says what. Later stages pass over it in silence.
    Damaged,
}

/// An operator with one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnaryOperator {
    /// `-a`
    Negate,
    /// `not a`
    Not,
}

/// An operator between two operands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BinaryOperator {
    /// `a + b`
    Add,
    /// `a - b`
    Subtract,
    /// `a * b`
    Multiply,
    /// `a / b`
    Divide,
    /// `a < b`
    Less,
    /// `a <= b`
    LessOrEqual,
    /// `a > b`
    Greater,
    /// `a >= b`
    GreaterOrEqual,
    /// `a == b`
    Equal,
    /// `a != b`
    NotEqual,
    /// `a and b`
    And,
    /// `a or b`
    Or,
}

impl BinaryOperator {
    /// How it is written.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Add => "+",
            Self::Subtract => "-",
            Self::Multiply => "*",
            Self::Divide => "/",
            Self::Less => "<",
            Self::LessOrEqual => "<=",
            Self::Greater => ">",
            Self::GreaterOrEqual => ">=",
            Self::Equal => "==",
            Self::NotEqual => "!=",
            Self::And => "and",
            Self::Or => "or",
        }
    }
}

/// A part of a quoted text.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Characters to be shown as they are, escapes and doubled braces already resolved.
    Literal(Spanned<String>),
    /// `{temp as °F:>5.1}`: a field to be filled in.
    Field {
        /// What is shown.
        value: Expression,
        /// How it is shown.
        format: Format,
        /// From brace to brace.
        span: Span,
    },
}

/// How a field is shown: the parts of Rust's format spec that make sense here, `[[fill]align][+][0][width][.precision]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Format {
    /// What fills a field that is narrower than its width; a space where the file does not say.
    pub fill: Option<char>,
    /// On which side the text stands in its width.
    pub align: Option<FormatAlign>,
    /// Whether a plus stands before numbers of zero and more.
    pub plus: bool,
    /// Whether zeros fill the width after the sign.
    pub zero: bool,
    /// The least width in characters.
    pub width: Option<u16>,
    /// Digits after the decimal point, or the most characters of a text.
    pub precision: Option<u16>,
}

/// Where a text stands in a field that is wider than it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FormatAlign {
    /// `<`
    Left,
    /// `^`
    Center,
    /// `>`
    Right,
}
