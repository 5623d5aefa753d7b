//! Reading files that somebody else writes: never more of one than it may hold.
//!
//! What enters is a path and a bound; what leaves are bytes, or why there are none.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// A file that could not be read.
#[derive(Debug, thiserror::Error)]
#[error("cannot read {}: {problem}", path.display())]
pub struct Unreadable {
    /// Which file.
    pub path: PathBuf,
    /// Why.
    pub problem: io::Error,
}

/// The first bytes of a file, at most `most` of them. Who asks for one more than is allowed sees whether a file is too large.
pub fn read_start(path: &Path, most: usize) -> Result<Vec<u8>, Unreadable> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(most as u64).read_to_end(&mut bytes))
        .map_err(|problem| Unreadable { path: path.into(), problem })?;
    Ok(bytes)
}
