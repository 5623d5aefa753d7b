//! Recordings: what a broker published, kept in a file, and what a layout makes of it.
//!
//! What enters are messages with their time, or a recording; what leaves are lines of a file that survives a kill, and from the file
//! alone the frames that a layout would have shown, always the same. [`Player`], [`Course`], [`Tally`], [`animation`] and [`against`] are pure: the
//! time is the recording's. Only [`Writer`] and [`open`] touch a file, and nothing here knows a broker.

pub mod against;
pub mod animation;
pub mod cadence;
mod course;
mod entry;
mod excerpt;
mod file;
mod player;
mod strips;
mod tally;
mod wear;

pub use course::{Course, CourseError, Run};
pub use entry::{Entry, FORMAT, Header, Heard, LineError, Stamp, VERSION};
pub use excerpt::{Entries, Excerpt, MOST_BYTES, MOST_SPAN, Short};
pub use file::{Cut, OpenError, ReadError, Reader, Writer, open};
pub use player::Player;
pub use strips::{MOST_COLUMNS, Strips};
pub use tally::{Standing, Tally};
pub use wear::{Wearing, wear};
