//! The ledger of a panel: what it was shown and for how long, kept in a file beyond the end of the program.
//!
//! What enters is told by the panel's upkeep; what leaves is a file, written rarely, since flash wears out as well. Nothing is waited for:
//! what was shown is counted when something else is, or the panel is refreshed. A ledger that cannot be read is given up, one that cannot
//! be written is tried again after an hour; both are told, and the panel goes on.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use embedded_graphics_core::geometry::OriginDimensions;
use tracing::warn;

use super::files::{self, Durability, Unreadable, read_start};
use crate::draw::{Frame, Size};
use crate::panel::wear::{MOST_BYTES, Wear, WearError};
use crate::readings::Moment;

/// How often the file is written at most.
const APART: Duration = Duration::from_secs(3600);
/// The permissions of a new file.
const MODE: u32 = 0o644;

/// A file with a panel's wear, and what the panel shows now.
#[derive(Debug)]
pub struct Ledger {
    file: PathBuf,
    /// None before the panel's size is known.
    wear: Option<Wear>,
    /// What is lit since when, and with which contrast.
    lit: Option<(Frame, u8, Moment)>,
    /// When the file was written, or began to be needed.
    written: Option<Moment>,
    is_given_up: bool,
}

impl Ledger {
    /// A ledger in that file, which is read when the first picture comes.
    pub fn new(file: PathBuf) -> Self {
        Self { file, wear: None, lit: None, written: None, is_given_up: false }
    }

    /// These pixels of the panel are lit from `now` on.
    pub(super) fn shows(&mut self, lit: Frame, contrast: u8, now: Moment) {
        self.settle(now);
        if !self.is_open(lit.size()) {
            return;
        }
        self.lit = Some((lit, contrast, now));
        let written = *self.written.get_or_insert(now);
        if now.since(written) >= APART {
            self.write(now);
        }
    }

    /// Nobody knows what the panel shows.
    pub(super) fn lost(&mut self, now: Moment) {
        self.settle(now);
        self.lit = None;
    }

    /// The last entry.
    pub(super) fn close(&mut self, now: Moment) {
        self.lost(now);
        if self.wear.is_some() && !self.is_given_up {
            self.write(now);
        }
    }

    fn settle(&mut self, now: Moment) {
        if let (Some(wear), Some((frame, contrast, since))) = (&mut self.wear, &mut self.lit) {
            wear.add(frame, now.since(*since), *contrast);
            *since = now;
        }
    }

    /// Whether there is a ledger for a panel of this size.
    fn is_open(&mut self, size: Size) -> bool {
        if !self.is_given_up && self.wear.as_ref().is_none_or(|wear| wear.size() != size) {
            self.wear = self.read(size);
            self.is_given_up = self.wear.is_none();
        }
        !self.is_given_up
    }

    fn read(&self, size: Size) -> Option<Wear> {
        let file = self.file.display();
        files::sweep(&self.file);
        let bytes = match read_start(&self.file, MOST_BYTES + 1) {
            Ok(bytes) => bytes,
            Err(Unreadable { problem, .. }) if problem.kind() == io::ErrorKind::NotFound => {
                return Some(Wear::new(size));
            }
            Err(problem) => {
                warn!("{problem}; the panel's wear is not kept");
                return None;
            }
        };
        match Wear::decode(&bytes) {
            Ok(wear) if wear.size() == size => Some(wear),
            Ok(wear) => {
                let Size { width, height } = wear.size();
                warn!(
                    "{file} is of a panel of {width}x{height} pixels; this panel's wear is not kept, name another file"
                );
                None
            }
            Err(problem @ WearError::Damaged) => {
                warn!("{file}: {problem}; it begins anew");
                Some(Wear::new(size))
            }
            Err(problem) => {
                warn!("{file}: {problem}; the panel's wear is not kept, name another file");
                None
            }
        }
    }

    fn write(&mut self, now: Moment) {
        let Some(wear) = &self.wear else { return };
        self.written = Some(now);
        if let Err(problem) = files::replace(&self.file, &wear.encode(), MODE, Durability::Synced) {
            // Every hour it may work again.
            warn!("cannot write {}: {problem}; the panel's wear is kept in memory for now", self.file.display());
        }
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::draw::Point;

    const SIZE: Size = Size::new(16, 8);

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn dot(x: i32) -> Frame {
        let mut frame = Frame::new(SIZE);
        frame.set_pixel(Point::new(x, 0), true);
        frame
    }

    fn kept(file: &std::path::Path) -> Wear {
        Wear::decode(&fs::read(file).unwrap()).unwrap()
    }

    #[test]
    fn it_goes_on_where_it_ended_and_is_written_once_an_hour() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("door.wear");
        let mut ledger = Ledger::new(file.clone());
        ledger.shows(dot(1), 255, at(10));
        ledger.shows(dot(2), 255, at(110));
        assert!(!file.exists());
        ledger.lost(at(210));
        ledger.shows(dot(2), 255, at(1000));
        ledger.shows(dot(2), 51, at(3700));
        assert_eq!(kept(&file).lit(Point::new(2, 0)), Duration::from_secs(100 + 2700));
        ledger.close(at(3800));
        let mut ledger = Ledger::new(file.clone());
        ledger.shows(dot(2), 255, at(0));
        ledger.close(at(50));
        let wear = kept(&file);
        let lit = [1, 2, 3].map(|x| wear.lit(Point::new(x, 0)).as_secs());
        assert_eq!((lit, wear.shown().as_secs()), ([100, 2800 + 20 + 50, 0], 100 + 100 + 2700 + 100 + 50));
    }

    #[test]
    fn nothing_of_somebody_elses_is_overwritten_and_what_is_damaged_begins_anew() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("notes.txt");
        let try_with = |bytes: &[u8]| {
            fs::write(&file, bytes).unwrap();
            let mut ledger = Ledger::new(file.clone());
            ledger.shows(dot(1), 255, at(0));
            ledger.close(at(7200));
            fs::read(&file).unwrap()
        };
        assert_eq!(try_with(b"about cheese"), b"about cheese");
        let other = Wear::new(Size::new(8, 8)).encode();
        assert_eq!(try_with(&other), other);
        let good = Wear::new(SIZE).encode();
        assert_eq!(Wear::decode(&try_with(&good[..good.len() - 2])).unwrap().shown().as_secs(), 7200);
    }
}
