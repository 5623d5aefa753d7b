//! Files that somebody else reads or writes: never more of one is read than it may hold, and never half of one is written.
//!
//! What enters is a path, with a bound or with bytes; what leaves are bytes, or why there are none.

use std::fs::{File, OpenOptions, Permissions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
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

/// Puts `bytes` in place of what a file holds, or into a new file. Whoever reads finds the old bytes or the new ones, never
/// half of them. The file keeps its permissions and its owner, and a link stays a link.
pub fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let target = if path.exists() { path.canonicalize()? } else { path.to_path_buf() };
    let folder = match target.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    // The usual permissions of a new file, which the process's mask narrows.
    let usual = Permissions::from_mode(0o666);
    let mut new = tempfile::Builder::new().prefix(".sidelight-").permissions(usual).tempfile_in(folder)?;
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
    new.persist(&target).map_err(|error| error.error)?;
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
        replace(&link, b"two").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"two");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "nothing else is left behind");
    }

    #[test]
    fn whoever_has_the_old_file_open_still_reads_all_of_it() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("door.layout");
        replace(&file, b"one").unwrap();
        let mut open = File::open(&file).unwrap();
        replace(&file, b"two").unwrap();
        let mut seen = String::new();
        open.read_to_string(&mut seen).unwrap();
        assert_eq!((seen.as_str(), fs::read(&file).unwrap().as_slice()), ("one", b"two".as_slice()));
    }
}
