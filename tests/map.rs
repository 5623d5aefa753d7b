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

#[test]
fn every_command_of_the_readme_exists() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let page = std::fs::read_to_string(root.join("README.md")).unwrap();
    let help = std::process::Command::new(env!("CARGO_BIN_EXE_sidelight")).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let verbs: BTreeSet<&str> =
        page.lines().filter_map(|line| line.strip_prefix("| `sidelight ")?.split([' ', '`']).next()).collect();
    assert!(verbs.len() >= 5, "{verbs:?}");
    for verb in verbs {
        assert!(
            help.lines().any(|line| line.trim_start().starts_with(&format!("{verb} "))),
            "no verb {verb} in\n{help}"
        );
    }
}
