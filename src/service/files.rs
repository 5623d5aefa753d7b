//! Files: never more is read of one than it may hold, and one that is written is there as a whole or not at all.
//!
//! What enters is a path, and a bound or bytes; what leaves are bytes, or why there are none.

use std::fs::{File, Permissions};
use std::io::{self, Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

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

/// Whether a file must be there after the supply was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Durability {
    /// Written anew soon in any case: no wear for nothing.
    #[cfg(feature = "pictures")]
    Cached,
    /// It has to be.
    Synced,
}

/// The folder that a file lies in.
fn folder(path: &Path) -> &Path {
    path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."))
}

/// A temporary file beside `path`, to take its place later. Of the permissions `mode` the process's mask takes some away.
pub(super) fn new_beside(path: &Path, mode: u32) -> io::Result<NamedTempFile> {
    let permissions = Permissions::from_mode(mode);
    tempfile::Builder::new().prefix(".sidelight-").permissions(permissions).tempfile_in(folder(path))
}

/// Writes a file whole. Whoever reads it finds what was there before or this, never half of one.
pub(super) fn replace(path: &Path, bytes: &[u8], mode: u32, durability: Durability) -> io::Result<()> {
    let mut new = new_beside(path, mode)?;
    new.write_all(bytes)?;
    if durability == Durability::Synced {
        new.as_file().sync_all()?;
    }
    new.persist(path).map_err(|error| error.error)?;
    if durability == Durability::Synced {
        File::open(folder(path))?.sync_all()?;
    }
    Ok(())
}
