//! The preview: a layout on a laptop, with a control for each reading, as a page in the browser or in a terminal.
//!
//! What enters are a layout file as it is saved, what somebody asks for, and messages of a broker or a recording if one is named; what
//! leaves is a page on loopback, or lines in a terminal. The [`Desk`] is the pure part: the picture that controls and layout give. It
//! never writes a file, serves nothing that is not part of the program, and listens on 127.0.0.1 only.

mod control;
mod desk;
mod guard;
mod live;
mod page;
mod replay;
mod server;
mod terminal;
mod timeline;
mod told;

pub use control::{Control, Past};
pub use desk::{Change, Desk, Refusal, Seen, Source};
pub use live::{Live, News};
pub use replay::{Move, Replay};
pub use server::{Place, serve};
pub use terminal::show;
