//! From a checked layout to pixels: boxes, worst-case fit, the compiled program, and the renderer that runs it.
//!
//! What enters are the model of a layout file and the faces; what leaves is a [`Program`], in which nothing that the readings
//! can give is clipped or overlaps, and from the program a frame. Pure: no file, no clock, no socket.

mod boxes;
mod brightness;
mod compile;
mod distance;
mod fit;
pub mod format;
mod legibility;
mod observer;
mod overlap;
mod past;
mod picture;
mod program;
mod renderer;
mod scene;
mod situations;

pub use brightness::{Brightness, Dim};
pub use compile::compile;
pub use distance::{Readable, readable};
#[cfg(feature = "editor")]
pub use fit::{Widest, widest};
pub use past::Past;
pub use picture::Said;
pub use program::{DerivedValue, Drawing, Inputs, Item, Part, Program, Screen, TextRun};
pub use renderer::Renderer;
pub use scene::Scene;
pub use situations::{Situation, situations, value_in_words, waves};
