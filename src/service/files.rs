//! Files: never more is read of one than it may hold, and one that is written is there as a whole or not at all.
//!
//! What enters is a path, and a bound or bytes; what leaves are bytes, or why there are none.

use std::fs::{File, OpenOptions, Permissions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
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
pub enum Durability {
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

/// What the names of temporary files for `path` begin with; short, however long its own name is.
fn prefix(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default();
    format!(".sidelight-{:08x}-", crc32fast::hash(name.as_encoded_bytes()))
}

/// Where the file itself lies, if `path` is a link.
fn target(path: &Path) -> io::Result<PathBuf> {
    if path.exists() { path.canonicalize() } else { Ok(path.to_path_buf()) }
}

/// A temporary file beside `path`, to take its place later. Of the permissions `mode` the process's mask takes some away.
pub(super) fn new_beside(path: &Path, mode: u32) -> io::Result<NamedTempFile> {
    let permissions = Permissions::from_mode(mode);
    tempfile::Builder::new().prefix(&prefix(path)).permissions(permissions).tempfile_in(folder(path))
}

/// Removes the temporary files that whoever wrote this file before left behind, being killed or without supply. Where that cannot be
/// done, nothing is lost but their room.
pub(super) fn sweep(path: &Path) {
    let Ok(target) = target(path) else { return };
    let prefix = prefix(&target);
    let entries = std::fs::read_dir(folder(&target)).into_iter().flatten().flatten();
    for left in entries.filter(|entry| entry.file_name().as_encoded_bytes().starts_with(prefix.as_bytes())) {
        let _ = std::fs::remove_file(left.path());
    }
}

/// Writes a file whole. Whoever reads it finds what was there before or this, never half of one. A file that is there keeps its
/// permissions and its owner, and a link stays a link; of a new one's permissions `mode` the process's mask takes some away.
pub fn replace(path: &Path, bytes: &[u8], mode: u32, durability: Durability) -> io::Result<()> {
    let target = target(path)?;
    let mut new = new_beside(&target, mode)?;
    if target.exists() {
        // A rename would not ask whether the file itself may be written.
        let old = OpenOptions::new().write(true).open(&target)?.metadata()?;
        let made = new.as_file().metadata()?;
        if (old.uid(), old.gid()) != (made.uid(), made.gid()) {
            std::os::unix::fs::fchown(new.as_file(), Some(old.uid()), Some(old.gid()))?;
        }
        new.as_file().set_permissions(old.permissions())?;
    }
    new.write_all(bytes)?;
    if durability == Durability::Synced {
        new.as_file().sync_all()?;
    }
    new.persist(&target).map_err(|error| error.error)?;
    if durability == Durability::Synced {
        File::open(folder(&target))?.sync_all()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn a_replaced_file_keeps_its_permissions_and_its_links() {
        let folder = tempfile::tempdir().unwrap();
        let (file, link) = (folder.path().join("door.layout"), folder.path().join("link.layout"));
        fs::write(&file, "one").unwrap();
        fs::set_permissions(&file, Permissions::from_mode(0o640)).unwrap();
        symlink(&file, &link).unwrap();
        replace(&link, b"two", 0o666, Durability::Synced).unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"two");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "nothing else is left behind");
    }

    #[test]
    fn what_a_killed_writer_left_is_swept_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let (file, other) = (folder.path().join("past"), folder.path().join("door.png"));
        replace(&file, b"one", 0o600, Durability::Synced).unwrap();
        for path in [&file, &file, &other] {
            new_beside(path, 0o600).unwrap().keep().unwrap();
        }
        fs::write(folder.path().join(".sidelight-notes"), "mine").unwrap();
        sweep(&file);
        let mut left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        left.sort();
        assert_eq!(left.len(), 3, "{left:?}");
        assert!(left.contains(&"past".into()) && left.contains(&".sidelight-notes".into()));
        sweep(&folder.path().join("nowhere/past"));
    }

    #[test]
    fn whoever_has_the_old_file_open_still_reads_all_of_it() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("door.layout");
        replace(&file, b"one", 0o666, Durability::Synced).unwrap();
        let mut open = File::open(&file).unwrap();
        replace(&file, b"two", 0o666, Durability::Synced).unwrap();
        let mut seen = String::new();
        open.read_to_string(&mut seen).unwrap();
        assert_eq!((seen.as_str(), fs::read(&file).unwrap().as_slice()), ("one", b"two".as_slice()));
    }
}
