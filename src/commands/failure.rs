//! Why a command could not do its work: what, where, and what to do.

use std::io;
use std::path::PathBuf;

use crate::service::Unreadable;

/// Something that a command cannot get past.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// A file could not be read.
    #[error(transparent)]
    Read(#[from] Unreadable),
    /// A file could not be written.
    #[error("cannot write {}: {problem}", path.display())]
    Write {
        /// Which file.
        path: PathBuf,
        /// Why.
        problem: io::Error,
    },
    /// The layout has errors, which were reported already.
    #[error("{} cannot be shown as it is; the report above says what to mend", path.display())]
    Layout {
        /// Which file.
        path: PathBuf,
    },
    /// An argument does not go with the layout, or with another argument.
    #[error("{0}")]
    Argument(String),
    /// Something else outside failed.
    #[error("{0}")]
    Outside(String),
}
