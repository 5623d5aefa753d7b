//! Drawing into a one-bit frame: the frame itself, packed bitmaps, and the shapes that elements are made of.
//!
//! What enters are glyphs, numbers with their states, and places; what leaves is a [`Frame`]. Nothing here knows where a number
//! comes from, or opens a file.

mod bar;
mod bitmap;
mod clipped;
mod frame;
pub mod picture;
mod test_picture;
mod text;
mod trend;

pub use bar::{BarShape, Beyond, Level};
pub use bitmap::Bitmap;
pub use clipped::{Clipped, Ink};
pub use frame::Frame;
pub use test_picture::test_picture;
pub use text::{advance, changed_columns, covered_columns, draw_field, draw_text, ink_rows};
pub use trend::{Strokes, TrendShape};

/// A place in pixels; x grows to the right, y grows downwards, and `(0, 0)` is the top left pixel of the panel.
pub use embedded_graphics_core::geometry::Point;
/// A width and a height in pixels.
pub use embedded_graphics_core::geometry::Size;
/// A rectangle of whole pixels.
pub use embedded_graphics_core::primitives::Rectangle;
