//! Faces: where glyphs come from, and how wide and tall they are.
//!
//! What enters are the project's own bitmap faces (BDF) and outline files (TrueType, OpenType) as bytes; what leaves is a
//! [`Strike`], a face at one pixel size with every glyph packed for the frame. Nothing here opens a file.
//!
//! [`Catalogue`] is the door: it knows every family by name and hands out strikes. [`bdf`] reads the built-in faces, the private
//! module `outline` fits TrueType and OpenType outlines to the pixel grid.

pub mod bdf;
mod catalogue;
pub mod icons;
mod legibility;
mod outline;
mod strike;

pub use catalogue::{Catalogue, FaceError};
pub use legibility::{LEAST_OUTLINE, Weight};
pub use outline::OutlineError;
pub use strike::{Glyph, Strike};
