//! A tree without its places: what a layout says, wherever it says it.
//!
//! In comes a tree, out comes the same one with each span empty, so that two trees are equal if they say the same. No file
//! text is read here.

use super::super::syntax::{Document, Expression, ExpressionKind, NamedArgument, Piece, Span, Spanned, Statement};

pub(super) fn forgotten(mut document: Document) -> Document {
    document.statements.iter_mut().for_each(statement);
    document
}

fn statement(statement: &mut Statement) {
    statement.span = Span::default();
    name(&mut statement.word);
    statement.definition.iter_mut().chain(&mut statement.plain).for_each(expression);
    statement.named.iter_mut().for_each(argument);
    if let Some(block) = &mut statement.block {
        block.span = Span::default();
        block.statements.iter_mut().for_each(self::statement);
    }
}

fn name(name: &mut Spanned<String>) {
    name.span = Span::default();
}

fn argument(argument: &mut NamedArgument) {
    name(&mut argument.name);
    expression(&mut argument.value);
}

fn expression(node: &mut Expression) {
    use ExpressionKind as K;
    node.span = Span::default();
    match &mut node.kind {
        K::Number { unit, .. } => unit.iter_mut().for_each(name),
        K::Text(pieces) => pieces.iter_mut().for_each(piece),
        K::Tuple(parts) => parts.iter_mut().for_each(expression),
        K::Range(a, b) | K::Binary(_, a, b) => [a, b].into_iter().for_each(|part| expression(part)),
        K::Call { name: called, plain, named } => {
            name(called);
            plain.iter_mut().for_each(expression);
            named.iter_mut().for_each(argument);
        }
        K::Unary(_, value) => expression(value),
        K::If { condition, then, otherwise } => {
            [condition, then, otherwise].into_iter().for_each(|part| expression(part))
        }
        K::Convert { value, unit } => {
            expression(value);
            name(unit);
        }
        K::Dimensions { .. } | K::Bool(_) | K::Name(_) | K::Unit(_) | K::Damaged => {}
    }
}

fn piece(piece: &mut Piece) {
    match piece {
        Piece::Literal(text) => name(text),
        Piece::Field { value, span, .. } => {
            *span = Span::default();
            expression(value);
        }
    }
}
