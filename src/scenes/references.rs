//! The reference pictures of a file of scenes: the folder beside it that is called as it is, such as `door.pictures`.
//!
//! What enters are scenes and pictures; what leaves is whether they are the same to the bit, and on request a renewed reference. Only
//! that folder is read and written.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::{fs, io};

use embedded_graphics_core::geometry::OriginDimensions;

use crate::draw::{Frame, Size, picture};
use crate::service::{Durability, Unreadable, read_start, replace};

use super::Scenes;

/// The folder with the references of a file of scenes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct References {
    folder: PathBuf,
}

/// What a comparison came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// The same to the bit.
    Same,
    /// Different from this reference.
    Different(Frame),
    /// There is no reference.
    Missing,
}

/// Something about a reference that could not be done.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// It could not be read.
    #[error(transparent)]
    Read(#[from] Unreadable),
    /// It is no picture.
    #[error("{} is no PNG of a panel: {problem}; delete it, or renew it with --accept", path.display())]
    Picture {
        /// Which file.
        path: PathBuf,
        /// Why.
        problem: image::ImageError,
    },
    /// It is larger than any panel.
    #[error("{} has {}x{} pixels, which no panel has; a reference has a pixel for each of the panel", path.display(), size.width, size.height)]
    Large {
        /// Which file.
        path: PathBuf,
        /// How large it is.
        size: Size,
    },
    /// It could not be written, or not be deleted.
    #[error("cannot change {}: {problem}", path.display())]
    Write {
        /// Which file.
        path: PathBuf,
        /// Why.
        problem: io::Error,
    },
}

/// A reference of the largest panel has a few hundred bytes.
const MOST_BYTES: usize = 256 * 1024;
/// A picture with more pixels a side is no reference.
const MOST_SIDE: u32 = 512;

impl References {
    /// Of the file of scenes at `path`.
    pub fn of(path: &Path) -> Self {
        Self { folder: path.with_extension("pictures") }
    }

    /// The folder, which may not be there.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where the reference of a scene is kept.
    pub fn path(&self, scene: &str) -> PathBuf {
        self.folder.join(format!("{scene}.png"))
    }

    /// Compares a picture with the reference of its scene.
    pub fn compare(&self, scene: &str, now: &Frame) -> Result<Verdict, Trouble> {
        let path = self.path(scene);
        let bytes = match read_start(&path, MOST_BYTES) {
            Ok(bytes) => bytes,
            Err(unreadable) if unreadable.problem.kind() == io::ErrorKind::NotFound => return Ok(Verdict::Missing),
            Err(unreadable) => return Err(unreadable.into()),
        };
        let reference = match picture::from_png(&bytes) {
            Ok(reference) => reference,
            Err(problem) => return Err(Trouble::Picture { path, problem }),
        };
        let size = reference.size();
        if size.width.max(size.height) > MOST_SIDE {
            return Err(Trouble::Large { path, size });
        }
        Ok(if reference == *now { Verdict::Same } else { Verdict::Different(reference) })
    }

    /// Makes a picture the reference of its scene.
    pub fn renew(&self, scene: &str, now: &Frame) -> Result<(), Trouble> {
        let path = self.path(scene);
        let written = fs::create_dir_all(&self.folder)
            .and_then(|()| picture::png(now, 1).map_err(io::Error::other))
            .and_then(|png| replace(&path, &png, 0o666, Durability::Synced));
        written.map_err(|problem| Trouble::Write { path, problem })
    }

    /// The references that no scene names, in the order of their names.
    pub fn unnamed(&self, scenes: &Scenes) -> Result<Vec<PathBuf>, Trouble> {
        let wanted: BTreeSet<PathBuf> = scenes.names.keys().map(|name| self.path(name)).collect();
        Ok(self.kept()?.into_iter().filter(|path| !wanted.contains(path)).collect())
    }

    /// All references, in the order of their names; none where there is no folder.
    pub fn kept(&self) -> Result<Vec<PathBuf>, Trouble> {
        let trouble = |problem| Trouble::Read(Unreadable { path: self.folder.clone(), problem });
        let entries = match fs::read_dir(&self.folder) {
            Ok(entries) => entries,
            Err(problem) if problem.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(problem) => return Err(trouble(problem)),
        };
        let paths = entries.map(|entry| entry.map(|entry| entry.path())).collect::<io::Result<Vec<_>>>();
        let mut paths = paths.map_err(trouble)?;
        paths.retain(|path| path.extension() == Some(OsStr::new("png")));
        paths.sort();
        Ok(paths)
    }

    /// Deletes a reference.
    pub fn delete(path: &Path) -> Result<(), Trouble> {
        fs::remove_file(path).map_err(|problem| Trouble::Write { path: path.into(), problem })
    }
}
