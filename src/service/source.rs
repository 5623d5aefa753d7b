//! Where a layout comes from: a file that people edit, or a text inside the program.
//!
//! What enters is a path; what leaves is the layout as far as it could be understood, and whether its text is another than
//! before. It never keeps a file open.

use std::path::{Path, PathBuf};

use super::{Loaded, Unreadable, compile, load};

/// Where a layout comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A file, read again when it changes.
    File(PathBuf),
    /// A text that never changes.
    BuiltIn {
        /// What to call it in reports.
        name: &'static str,
        /// The layout.
        text: &'static str,
    },
}

impl Source {
    /// Reads and compiles the layout.
    ///
    /// # Errors
    /// [`Unreadable`] if it cannot be read. What is wrong with the layout stands in the findings.
    pub fn load(&self) -> Result<Loaded, Unreadable> {
        match self {
            Self::File(path) => load(path),
            Self::BuiltIn { name, text } => Ok(compile(text.as_bytes(), Path::new(name))),
        }
    }

    /// The file to watch, if there is one.
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::File(path) => Some(path),
            Self::BuiltIn { .. } => None,
        }
    }

    /// What to call it in reports.
    pub fn name(&self) -> String {
        match self {
            Self::File(path) => path.display().to_string(),
            Self::BuiltIn { name, .. } => (*name).to_string(),
        }
    }
}
