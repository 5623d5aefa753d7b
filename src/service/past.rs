//! The past of readings in a file, so that it outlives the program.
//!
//! What enters are bytes to keep, and moments at which numbers were heard; what leaves are the bytes kept last, and when to write again.
//! A file is written by a thread of its own, since a worn card may take seconds; it is never half written. What is no past stays
//! untouched.

use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use tokio::sync::oneshot;

use super::files::{self, Unreadable, read_start};
use crate::readings::Moment;
use crate::readings::history::{MOST_STORED_BYTES, Stored, StoredError};

/// How far apart writes are: flash wears out.
const APART: Duration = Duration::from_secs(15 * 60);
/// Only the owner reads and writes it.
const MODE: u32 = 0o600;

/// Why the past is lost, or will be.
#[derive(Debug, thiserror::Error)]
pub enum PastError {
    /// The file is there and cannot be read.
    #[error("{0}; no past is kept")]
    Unreadable(#[from] Unreadable),
    /// The file is something else.
    #[error("{}: {problem}; it is left as it is, and no past is kept: name another file, or remove this one", file.display())]
    Foreign {
        /// The file.
        file: PathBuf,
        /// In words.
        problem: StoredError,
    },
    /// The file holds nothing that can be used.
    #[error("{}: {problem}; the past begins anew", file.display())]
    Useless {
        /// The file.
        file: PathBuf,
        /// Why.
        problem: StoredError,
    },
    /// The file cannot be written.
    #[error("cannot keep the past in {}: {problem}", file.display())]
    Unwritten {
        /// The file.
        file: PathBuf,
        /// The system's words.
        problem: io::Error,
    },
    /// More windows than the file has room for.
    #[error("{}: no room for the past of {windows} more windows", file.display())]
    Full {
        /// The file.
        file: PathBuf,
        /// How many are left out.
        windows: usize,
    },
}

/// The file and when it is due.
#[derive(Debug)]
pub(super) struct Past {
    file: PathBuf,
    /// When to write what was heard since the last time; `None` if nothing was.
    due: Option<Moment>,
    /// What will become of the write under way.
    writing: Option<oneshot::Receiver<io::Result<()>>>,
}

impl Past {
    pub fn new(file: PathBuf) -> Self {
        Self { file, due: None, writing: None }
    }

    pub fn file(&self) -> &Path {
        &self.file
    }

    /// The past kept last; none if there was none yet.
    pub fn read(&self) -> Result<Option<Stored>, PastError> {
        let bytes = match read_start(&self.file, MOST_STORED_BYTES + 1) {
            Err(Unreadable { problem, .. }) if problem.kind() == io::ErrorKind::NotFound => return Ok(None),
            bytes => bytes?,
        };
        Stored::decode(&bytes).map(Some).map_err(|problem| match problem {
            StoredError::Foreign => PastError::Foreign { file: self.file.clone(), problem },
            _ => PastError::Useless { file: self.file.clone(), problem },
        })
    }

    /// Whether a new file can lie where this one does, before there is something to lose. What a killed writer left there goes.
    pub fn probe(&self) -> Result<(), PastError> {
        files::sweep(&self.file);
        files::new_beside(&self.file, MODE).map(drop).map_err(|problem| self.unwritten(problem))
    }

    /// Takes notice that a number was heard.
    pub fn stir(&mut self, now: Moment) {
        self.due = self.due.or(Some(now + APART));
    }

    /// Whether something was heard since the last write began.
    pub fn is_stirred(&self) -> bool {
        self.due.is_some()
    }

    /// When to write.
    pub fn next_due(&self) -> Option<Moment> {
        self.due
    }

    /// Whether it is time to write; if the write before is still under way, the next time comes later.
    pub fn is_due(&mut self, now: Moment) -> bool {
        let due = self.due.is_some_and(|due| due <= now);
        if due && self.is_writing() {
            self.due = Some(now + APART);
            return false;
        }
        due
    }

    /// Whether a write is under way.
    pub fn is_writing(&self) -> bool {
        self.writing.is_some()
    }

    /// Begins to write.
    pub fn write(&mut self, bytes: Vec<u8>) -> Result<(), PastError> {
        self.due = None;
        let (done, writing) = oneshot::channel();
        let file = self.file.clone();
        let work = move || {
            // Nobody listens any more if the program ends meanwhile.
            let _ = done.send(files::replace(&file, &bytes, MODE, files::Durability::Synced));
        };
        thread::Builder::new().name("past".into()).spawn(work).map_err(|problem| self.unwritten(problem))?;
        self.writing = Some(writing);
        Ok(())
    }

    /// Waits for the write under way; for ever if there is none. May be given up and called again.
    pub async fn written(&mut self) -> Result<(), PastError> {
        let Some(writing) = &mut self.writing else { return std::future::pending().await };
        let result = writing.await.unwrap_or_else(|_| Err(io::Error::other("the writing thread ended")));
        self.writing = None;
        result.map_err(|problem| self.unwritten(problem))
    }

    pub fn unwritten(&self, problem: io::Error) -> PastError {
        PastError::Unwritten { file: self.file.clone(), problem }
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::readings::history::encode;

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    #[test]
    fn it_is_due_a_quarter_of_an_hour_after_something_was_heard() {
        let mut past = Past::new("past".into());
        assert_eq!(past.next_due(), None, "no wake-ups for nothing");
        past.stir(at(100));
        past.stir(at(500));
        assert_eq!(past.next_due(), Some(at(1000)));
        assert!(!past.is_due(at(999)) && past.is_due(at(1000)) && past.is_stirred());
    }

    #[tokio::test]
    async fn what_was_written_is_read_and_nothing_else_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let mut past = Past::new(folder.path().join("past"));
        assert!(past.read().unwrap().is_none());
        past.probe().unwrap();
        let (bytes, _) = encode([], at(0), Duration::from_secs(1));
        past.write(bytes.clone()).unwrap();
        past.written().await.unwrap();
        assert!(past.read().unwrap().is_some());
        fs::write(past.file(), &bytes[1..]).unwrap();
        assert!(matches!(past.read(), Err(PastError::Foreign { .. })));
        fs::write(past.file(), "").unwrap();
        assert!(matches!(past.read(), Err(PastError::Useless { problem: StoredError::Damaged, .. })));
        fs::write(past.file(), [&bytes[..], &vec![0; MOST_STORED_BYTES]].concat()).unwrap();
        assert!(matches!(past.read(), Err(PastError::Useless { problem: StoredError::TooLarge, .. })));
        let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(names, ["past"], "no temporary file stays");
        let mut nowhere = Past::new(folder.path().join("none/past"));
        assert!(nowhere.probe().is_err());
        nowhere.write(bytes).unwrap();
        let told = nowhere.written().await.unwrap_err().to_string();
        assert!(told.starts_with("cannot keep the past in "), "{told}");
    }
}
