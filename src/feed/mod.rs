//! The feed: what is subscribed to. Topic names and filters enter as text and leave checked.

mod filter;

pub use filter::{Filter, Topic, TopicError};
