//! The map in DEVELOPERS.md is not stale: every folder of the source is on it, and it shows no folder that is gone.

use std::collections::BTreeSet;
use std::path::Path;

#[test]
fn every_folder_is_on_the_map() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let page = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let mapped: BTreeSet<String> =
        page.lines().filter_map(|line| line.strip_prefix("| `src/")?.split('`').next().map(str::to_string)).collect();
    let folders: BTreeSet<String> = std::fs::read_dir(root.join("src"))
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(mapped, folders);
}
