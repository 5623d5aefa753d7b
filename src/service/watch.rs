//! Watches layout files for changes, also where an editor replaces them by renaming.
//!
//! What enters are paths; what leaves is the news that something happened to one of them and has come to rest. The folders
//! are watched rather than the files: a replaced file is another file. Nothing is read here.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use notify::event::{AccessKind, AccessMode, EventKind};
use notify::{Event, RecommendedWatcher, RecursiveMode, Watcher};
use tokio::sync::Notify;
use tokio::time::{Instant, sleep_until};

/// A change has come to rest once nothing has followed it for this long.
const QUIET: Duration = Duration::from_millis(50);
/// A file that is written without end is looked at after this long all the same.
const LONGEST: Duration = Duration::from_millis(250);

/// Watches the files of all layouts.
#[derive(Debug)]
pub(crate) struct Watch {
    /// Works in a thread of its own until it is dropped; none if the system gave none.
    _watcher: Option<RecommendedWatcher>,
    touched: Arc<Notify>,
    /// Since when something has been going on, and when it will count as come to rest.
    unrest: Option<(Instant, Instant)>,
    /// How long nothing must follow a change.
    quiet: Duration,
}

impl Watch {
    /// Watches these files. What cannot be watched is handed to `lament` in words; the others are.
    pub fn new<'a>(files: impl Iterator<Item = &'a Path>, lament: &mut dyn FnMut(String)) -> Self {
        let touched = Arc::new(Notify::new());
        let (folders, names) = folders_and_names(files);
        if folders.is_empty() {
            return Self { _watcher: None, touched, unrest: None, quiet: QUIET };
        }
        let news = Arc::clone(&touched);
        let handler = move |event: notify::Result<Event>| {
            // An error may stand for events that were lost: better look once too often.
            if event.map_or(true, |event| concerns(&event, &names)) {
                news.notify_one();
            }
        };
        let mut watcher = notify::recommended_watcher(handler)
            .inspect_err(|error| lament(format!("changed layouts will not be seen: {error}")))
            .ok();
        for folder in &folders {
            if let Some(Err(error)) = watcher.as_mut().map(|watcher| watcher.watch(folder, RecursiveMode::NonRecursive))
            {
                lament(format!("changes in {} will not be seen: {error}", folder.display()));
            }
        }
        Self { _watcher: watcher, touched, unrest: None, quiet: QUIET }
    }

    /// The same watch, to which a change has come to rest after `quiet`.
    #[cfg(feature = "preview")]
    pub fn resting_after(self, quiet: Duration) -> Self {
        Self { quiet, ..self }
    }

    /// Waits until something happened to one of the files and has come to rest. To give up waiting loses nothing.
    pub async fn changed(&mut self) {
        loop {
            match self.unrest {
                None => {
                    self.touched.notified().await;
                    let now = Instant::now();
                    self.unrest = Some((now, now + self.quiet));
                }
                Some((since, rest)) => tokio::select! {
                    () = self.touched.notified() => {
                        self.unrest = Some((since, (Instant::now() + self.quiet).min(since + LONGEST)));
                        if Instant::now() >= since + LONGEST {
                            self.unrest = None;
                            return;
                        }
                    }
                    () = sleep_until(rest) => {
                        self.unrest = None;
                        return;
                    }
                },
            }
        }
    }
}

/// The folders to watch and the names that matter in them. A link is watched at both ends.
fn folders_and_names<'a>(files: impl Iterator<Item = &'a Path>) -> (BTreeSet<PathBuf>, BTreeSet<OsString>) {
    let (mut folders, mut names) = (BTreeSet::new(), BTreeSet::new());
    for file in files {
        for file in [Some(file.to_path_buf()), file.canonicalize().ok()].into_iter().flatten() {
            let folder = match file.parent() {
                Some(folder) if folder != Path::new("") => folder,
                _ => Path::new("."),
            };
            // One folder by one name, or its events would come twice.
            folders.insert(folder.canonicalize().unwrap_or_else(|_| folder.into()));
            names.extend(file.file_name().map(OsString::from));
        }
    }
    (folders, names)
}

/// Whether an event may mean another content. Reading is none, or looking at a file would wake its own watcher.
fn concerns(event: &Event, names: &BTreeSet<OsString>) -> bool {
    let content = match event.kind {
        EventKind::Access(kind) => kind == AccessKind::Close(AccessMode::Write),
        _ => true,
    };
    content
        && (event.need_rescan()
            || event.paths.iter().any(|path| path.file_name().is_some_and(|name| names.contains(name))))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use tokio::time::timeout;

    use super::*;

    async fn seen(watch: &mut Watch) -> bool {
        timeout(Duration::from_secs(5), watch.changed()).await.is_ok()
    }

    /// Waits for quiet, as one change may be told in several portions.
    async fn unseen(watch: &mut Watch) -> bool {
        timeout(Duration::from_millis(150), watch.changed()).await.is_err()
    }

    #[tokio::test]
    async fn writing_renaming_and_replacing_are_seen_and_reading_and_neighbours_are_not() {
        let folder = tempfile::tempdir().unwrap();
        let layout = folder.path().join("door.layout");
        fs::write(&layout, "one").unwrap();
        let mut watch = Watch::new([layout.as_path()].into_iter(), &mut |words| panic!("{words}"));
        fs::write(&layout, "two").unwrap();
        assert!(seen(&mut watch).await);
        fs::read(&layout).unwrap();
        fs::write(folder.path().join("door.png"), "picture").unwrap();
        assert!(unseen(&mut watch).await);
        let other = folder.path().join("door.layout.new");
        fs::write(&other, "three").unwrap();
        assert!(unseen(&mut watch).await);
        fs::rename(&other, &layout).unwrap();
        assert!(seen(&mut watch).await);
        fs::remove_file(&layout).unwrap();
        assert!(seen(&mut watch).await);
        fs::write(&layout, "four").unwrap();
        assert!(seen(&mut watch).await);
    }

    #[tokio::test]
    async fn a_linked_layout_is_watched_at_both_ends() {
        let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (link, target) = (folder.path().join("door.layout"), elsewhere.path().join("real.layout"));
        fs::write(&target, "one").unwrap();
        std::os::unix::fs::symlink(&target, &link).unwrap();
        let mut watch = Watch::new([link.as_path()].into_iter(), &mut |words| panic!("{words}"));
        fs::write(&target, "two").unwrap();
        assert!(seen(&mut watch).await);
    }

    #[tokio::test]
    async fn a_file_that_is_written_without_end_is_looked_at_all_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let layout = folder.path().join("door.layout");
        let mut watch = Watch::new([layout.as_path()].into_iter(), &mut |words| panic!("{words}"));
        let writing = async {
            loop {
                fs::write(&layout, "again").unwrap();
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
        };
        tokio::select! {
            () = writing => {}
            seen = seen(&mut watch) => assert!(seen),
        }
    }

    #[test]
    fn what_cannot_be_watched_is_said() {
        let mut words = Vec::new();
        Watch::new([Path::new("/nowhere/at/all/door.layout")].into_iter(), &mut |lament| words.push(lament));
        assert!(words.len() == 1 && words[0].contains("/nowhere/at/all"), "{words:?}");
    }
}
