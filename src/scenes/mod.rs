//! Scenes: a small file beside a layout names situations, and a folder beside both keeps the picture that each of them must give.
//!
//! What enters are settings, files of scenes and reference pictures; what leaves are scenes to be drawn, findings by place, and what
//! differs, also as a picture. How a scene is drawn is the layout's business; how it is told, the commands'.

#[cfg(feature = "pictures")]
mod difference;
mod file;
#[cfg(feature = "pictures")]
mod references;
mod setting;

#[cfg(feature = "pictures")]
pub use difference::{Difference, PictureError};
pub use file::{MOST_SCENES, NamedScene, Scenes, read, understand};
#[cfg(feature = "pictures")]
pub use references::{References, Trouble, Verdict};
pub use setting::{Setting, Staged, Word, civil_time, stage};
