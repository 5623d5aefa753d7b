//! Help for editors: what the Language Server Protocol asks about a layout file while somebody writes it.
//!
//! What enters are the texts of open files and questions about places in them; what leaves are findings, names, explanations and
//! edits. Everything here is pure: the `language-server` verb moves the messages, and bytes of outline faces come in through a function.
//! What is offered and explained comes from the tables that the checker uses and from the reference: nothing is listed a second time.

mod analysis;
mod answers;
mod completion;
mod cursor;
mod document;
mod hover;
mod names;
mod position;
mod reference;
mod rename;
mod session;
mod symbols;
mod thing;
#[cfg(test)]
mod torture;

pub use session::{Fonts, Session};
