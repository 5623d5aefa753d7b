//! `format` as somebody at a prompt has it: the real program, its exit codes, what it prints and what it writes.

use std::io::Write;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::process::{Command, Output, Stdio};

const UNTIDY: &str = "panel   128x32 # door\nscreen s {\n text \"a\" size:9\n}\n";
const TIDY: &str = "panel 128x32 # door\nscreen s {\n  text \"a\" size: 9\n}\n";

fn format(arguments: &[&str], input: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_sidelight"))
        .arg("format")
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn check_names_the_files_that_would_change_and_format_changes_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("door.layout");
    let name = path.to_str().unwrap();
    std::fs::write(&path, UNTIDY).unwrap();
    let done = format(&["--check", name], "");
    assert_eq!(done.status.code(), Some(1));
    assert_eq!(String::from_utf8(done.stdout).unwrap(), format!("{name}\n"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), UNTIDY);
    assert_eq!(format(&[name], "").status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), TIDY);
    let done = format(&["--check", name], "");
    assert_eq!((done.status.code(), done.stdout.len()), (Some(0), 0));
}

#[test]
fn a_changed_file_keeps_its_permissions_and_nothing_is_left_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let (path, link) = (folder.path().join("door.layout"), folder.path().join("link.layout"));
    std::fs::write(&path, UNTIDY).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o604)).unwrap();
    symlink("door.layout", &link).unwrap();
    assert_eq!(format(&[link.to_str().unwrap()], "").status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), TIDY);
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o604);
    assert!(std::fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn one_damaged_file_does_not_keep_the_others_from_their_form() {
    let folder = tempfile::tempdir().unwrap();
    let (damaged, path) = (folder.path().join("a.layout"), folder.path().join("b.layout"));
    std::fs::write(&damaged, "screen s {\n").unwrap();
    std::fs::write(&path, UNTIDY).unwrap();
    assert_eq!(format(&[damaged.to_str().unwrap(), path.to_str().unwrap()], "").status.code(), Some(1));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), TIDY);
}

#[test]
fn standard_input_goes_to_standard_output() {
    let done = format(&["-"], UNTIDY);
    assert_eq!(done.status.code(), Some(0));
    assert_eq!(String::from_utf8(done.stdout).unwrap(), TIDY);
}

#[test]
fn a_damaged_file_is_left_alone_and_reported() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("door.layout");
    let damaged = "panel   128x32\nscreen s {\n";
    std::fs::write(&path, damaged).unwrap();
    let done = format(&[path.to_str().unwrap()], "");
    assert_eq!(done.status.code(), Some(1));
    assert!(String::from_utf8(done.stderr).unwrap().contains("door.layout:"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), damaged);
    let missing = folder.path().join("missing.layout");
    assert_eq!(format(&[missing.to_str().unwrap()], "").status.code(), Some(2));
}
