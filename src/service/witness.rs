//! What the service tells of its work, to a log or to somebody who looks on.
//!
//! What enters are [`Happening`]s in the order in which they happen; what leaves is up to the [`Witness`]. It never has a say
//! in what the service does, and no happening holds a secret.

use std::io;
use std::path::Path;
use std::time::Duration;

use super::notices::Notice;
use super::pane::Pane;
use super::past::PastError;
use super::{Loaded, Refusal, Unreadable};
use crate::feed::{Filter, FilterRefusal, Message, Reason, Topic};
use crate::panel::SetupError;
use crate::readings::Moment;

/// Something that happened.
#[derive(Clone, Copy, Debug)]
pub enum Happening<'a> {
    /// The broker accepted the connection.
    Connected,
    /// The broker does not accept a filter; the others go on.
    FilterRefused {
        /// The filter.
        filter: &'a Filter,
        /// Why.
        why: FilterRefusal,
    },
    /// All filters are subscribed.
    Subscribed {
        /// The filters.
        filters: &'a [Filter],
    },
    /// There is no connection.
    Lost {
        /// Why, and what to do.
        reason: &'a Reason,
        /// When the next attempt will be.
        retry_in: Duration,
    },
    /// A message came.
    Message {
        /// The message.
        message: &'a Message,
    },
    /// A message came whose payload was too large to be looked at.
    Oversized {
        /// Its topic.
        topic: &'a str,
        /// The size of its payload.
        bytes: usize,
    },
    /// A reading has another state.
    Reading {
        /// The layout's name.
        layout: &'a str,
        /// What is to be said.
        notice: &'a Notice,
    },
    /// Readings and picture were brought up to date.
    Updated {
        /// The layout's name.
        layout: &'a str,
        /// Readings and picture.
        pane: &'a Pane,
        /// Whether the picture is another, and was handed to its panels.
        drawn: bool,
    },
    /// A changed layout is shown from now on.
    Swapped {
        /// The layout; its findings are warnings.
        layout: &'a Loaded,
    },
    /// A changed layout cannot be shown; the one before goes on.
    Broken {
        /// The layout with its findings.
        layout: &'a Loaded,
    },
    /// A layout from the broker is shown from now on.
    Taken {
        /// The layout, called as its topic; its findings are warnings.
        layout: &'a Loaded,
    },
    /// A layout from the broker is not shown; the one before goes on.
    Refused {
        /// Its topic.
        topic: &'a Topic,
        /// Why.
        refusal: &'a Refusal,
    },
    /// The layout that is shown could not be kept for the time after a restart.
    Unkept {
        /// The file that it should be in.
        file: &'a Path,
        /// The system's words.
        problem: &'a io::Error,
    },
    /// A layout cannot be read; the one before goes on.
    Unread {
        /// Why.
        failure: &'a Unreadable,
    },
    /// A changed layout is for a panel that is not there; the one before goes on.
    Unfit {
        /// The layout's name.
        layout: &'a str,
        /// The panel's name.
        panel: &'a str,
        /// Why it cannot show it.
        problem: SetupError,
    },
    /// Changes of layout files will not be seen.
    Unwatched {
        /// Why.
        problem: &'a str,
    },
    /// The past of readings from before the start goes on.
    Recalled {
        /// The file that kept it.
        file: &'a Path,
        /// How many windows go on.
        windows: usize,
    },
    /// The past of readings is lost, or will be.
    Forgotten {
        /// Why.
        problem: &'a PastError,
    },
    /// Layouts are read again and panels set up anew because somebody asked for it.
    Renewed,
    /// The service ends.
    Ending,
    /// A panel's writer did not end in time.
    Stuck {
        /// The panel's name.
        panel: &'a str,
    },
}

/// Somebody who is told what happens.
pub trait Witness {
    /// Takes notice. The service waits for this, so that it should be quick.
    fn see(&mut self, now: Moment, happening: Happening<'_>);
}
