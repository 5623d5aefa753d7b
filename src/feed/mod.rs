//! The feed: the session with the broker, which hands over each published message.
//!
//! What enters are [`Settings`] and topic [`Filter`]s; what leaves are [`Event`]s: messages as the broker sent them, and in
//! words why there are none. Nothing here looks into a payload.
//!
//! The client library reads and writes packets. What lies around it is ours: how long to wait before the next attempt, what
//! goes wrong said in words, oversized payloads dropped without losing the connection, and every filter subscribed again
//! after each connection.

mod backoff;
mod filter;
mod link;
mod reason;
mod session;
mod settings;
mod tls;
mod v3;
mod v5;

pub use filter::{Filter, Topic, TopicError};
pub use reason::{FilterRefusal, Reason, Refusal};
pub use session::{Event, LARGEST_PAYLOAD, Message, PublishError, Session};
pub use settings::{BrokerUrl, Delivery, Protocol, Secret, Settings, SettingsError, UrlError, Will};
