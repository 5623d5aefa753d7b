//! Faces: where glyphs come from, and how wide and tall they are.
//!
//! What enters are the project's own bitmap faces (BDF) and outline files (TrueType, OpenType) as bytes; what leaves is a
//! [`Strike`], a face at one pixel size with every glyph packed for the frame. Nothing here opens a file.

mod strike;

pub use strike::{Glyph, Strike};
