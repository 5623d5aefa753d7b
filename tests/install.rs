//! `sidelight install` and `sidelight manual`: what a machine gets that runs the program as a service, judged by that machine's own
//! tools where they are there.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use clap::CommandFactory;
use sidelight::commands::CommandLine;
use tempfile::TempDir;

const SIDELIGHT: &str = env!("CARGO_BIN_EXE_sidelight");

const TOML: &str = "state = \"/var/lib/sidelight/past\"\n[broker]\nurl = \"mqtt://b\"\nuser = \"door\"\n\
                    password-file = \"password\"\n[[panel]]\nplace = \"ssd1306:/dev/i2c-1:0x3c\"\nlayout = \"door.layout\"\n";

/// Every directive that takes a right away, and those that keep it running.
const DIRECTIVES: [&str; 41] = [
    "Type=notify",
    "Restart=always",
    "RestartSec=10s",
    "StartLimitIntervalSec=0",
    "WatchdogSec=2min",
    "ExecReload=/bin/kill -HUP $MAINPID",
    "User=sidelight",
    "Group=sidelight",
    "SupplementaryGroups=i2c",
    "UMask=0077",
    "StateDirectory=sidelight",
    "StateDirectoryMode=0750",
    "NoNewPrivileges=yes",
    "CapabilityBoundingSet=",
    "AmbientCapabilities=",
    "ProtectSystem=strict",
    "ProtectHome=yes",
    "PrivateTmp=yes",
    "PrivateMounts=yes",
    "DevicePolicy=closed",
    "DeviceAllow=char-i2c rw",
    "ProtectProc=invisible",
    "ProcSubset=pid",
    "ProtectKernelTunables=yes",
    "ProtectKernelModules=yes",
    "ProtectKernelLogs=yes",
    "ProtectControlGroups=yes",
    "ProtectClock=yes",
    "ProtectHostname=yes",
    "RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX",
    "RestrictNamespaces=yes",
    "RestrictRealtime=yes",
    "RestrictSUIDSGID=yes",
    "LockPersonality=yes",
    "MemoryDenyWriteExecute=yes",
    "SystemCallArchitectures=native",
    "SystemCallFilter=@system-service",
    "SystemCallFilter=~@privileged @resources",
    "LimitCORE=0",
    "MemoryMax=64M",
    "WantedBy=multi-user.target",
];

fn sidelight(arguments: &[&str]) -> Output {
    Command::new(SIDELIGHT).args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// A folder with `sidelight.toml`.
fn configured(toml: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sidelight.toml");
    fs::write(&path, toml).unwrap();
    (folder, path)
}

/// What a tool of this machine says; nothing, and a word about it, where it is not there.
fn tool(name: &str, arguments: &[&str]) -> Option<Output> {
    let done = Command::new(name).args(arguments).output();
    if done.is_err() {
        eprintln!("there is no {name} here, so that it judges nothing");
    }
    done.ok()
}

#[test]
fn the_unit_takes_every_right_away_that_it_does_not_need() {
    let (_folder, config) = configured(TOML);
    let done = sidelight(&["install", "--config", config.to_str().unwrap()]);
    assert!(done.status.success(), "{done:?}");
    let unit = text(&done.stdout);
    for directive in DIRECTIVES {
        assert!(unit.lines().any(|line| line == directive), "{directive} is missing:\n{unit}");
    }
    let start = format!("ExecStart={SIDELIGHT} run --config {}", config.display());
    assert!(unit.lines().any(|line| line == start), "{start} is missing:\n{unit}");
    assert!(text(&done.stderr).contains("sidelight install --write"));
}

#[test]
fn files_are_written_below_a_root_and_the_next_steps_told() {
    let (folder, config) = configured(TOML);
    let root = folder.path().join("root");
    let (config, below) = (config.to_str().unwrap(), root.to_str().unwrap());
    let done = sidelight(&["install", "--config", config, "--user", "doors", "--write", "--root", below]);
    assert!(done.status.success(), "{done:?}");
    let read = |path: &str| fs::read_to_string(root.join(path)).unwrap();
    assert!(read("etc/systemd/system/sidelight.service").contains("User=doors\nGroup=doors\n"));
    let users = "u doors - \"Readouts beside the doors\" /var/lib/sidelight -\nm doors i2c\n";
    assert_eq!(read("etc/sysusers.d/sidelight.conf"), users);
    assert_eq!(text(&done.stdout).lines().count(), 2, "each file is named");
    let told = text(&done.stderr);
    let password = folder.path().join("password");
    let chgrp = format!("sudo chgrp doors {0} && sudo chmod 640 {0}", password.display());
    let steps =
        ["sudo systemd-sysusers", chgrp.as_str(), "systemctl daemon-reload", "systemctl enable --now sidelight"];
    let places: Vec<usize> =
        steps.iter().map(|step| told.find(step).unwrap_or_else(|| panic!("{step}: {told}"))).collect();
    assert!(places.is_sorted(), "{told}");
    let done = sidelight(&["install", "--config", config, "--write", "--packaged", "--root", below]);
    assert!(done.status.success() && done.stderr.is_empty(), "{done:?}");
    assert!(read("usr/lib/systemd/system/sidelight.service").contains("User=sidelight\n"));
    assert!(read("usr/lib/sysusers.d/sidelight.conf").starts_with("u sidelight "));
}

#[test]
fn a_configuration_is_missing_or_wrong_in_words() {
    let (folder, config) = configured(&TOML.replace("layout =", "layuot ="));
    let done = sidelight(&["install", "--config", config.to_str().unwrap()]);
    let told = text(&done.stderr);
    assert!(done.status.code() == Some(2) && told.contains("sidelight.toml:8:1: unknown field `layuot`"), "{told}");
    let (none, root) = (folder.path().join("none.toml"), folder.path().join("root"));
    let arguments = ["install", "--write", "--config", none.to_str().unwrap(), "--root", root.to_str().unwrap()];
    let done = sidelight(&arguments);
    let told = text(&done.stderr);
    assert!(done.status.success() && told.contains(&format!("write {}", none.display())), "{told}");
    let done = sidelight(&["install", "--user", "Door Keeper"]);
    assert!(done.status.code() == Some(2) && text(&done.stderr).contains("\"Door Keeper\" is no name for a user"));
    let blocked = ["install", "--write", "--root", config.to_str().unwrap(), "--config", none.to_str().unwrap()];
    let done = sidelight(&blocked);
    assert!(done.status.code() == Some(2) && text(&done.stderr).contains("cannot write "), "{done:?}");
}

/// The number in the README's sentence about the exposure.
fn stated() -> String {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let after = words.split_once("exposure level of ").expect("the README states the exposure").1;
    after.split(' ').next().unwrap().to_string()
}

#[test]
fn systemd_finds_no_mistake_and_the_exposure_that_the_readme_states() {
    let (folder, config) = configured(TOML);
    let unit = folder.path().join("sidelight.service");
    fs::write(&unit, sidelight(&["install", "--config", config.to_str().unwrap()]).stdout).unwrap();
    let unit = unit.to_str().unwrap();
    let Some(verified) = tool("systemd-analyze", &["verify", "--man=no", unit]) else { return };
    let complaints = text(&verified.stderr);
    let ours: Vec<&str> = complaints.lines().filter(|line| line.contains("sidelight.service")).collect();
    assert!(ours.is_empty(), "{complaints}");
    let Some(judged) = tool("systemd-analyze", &["security", "--offline=true", "--no-pager", unit]) else { return };
    let table = text(&judged.stdout);
    let level = table.split_once("Overall exposure level for sidelight.service: ").expect(&table).1;
    let level = level.split(' ').next().unwrap();
    let version = text(&tool("systemd-analyze", &["--version"]).unwrap().stdout);
    if version.starts_with("systemd 252 ") {
        assert_eq!(level, stated(), "{table}");
    } else {
        // Each version weighs a little differently.
        assert!(level.parse::<f64>().unwrap() <= 2.0, "{table}");
    }
}

#[test]
fn systemd_reads_odd_paths_as_they_were_meant() {
    let folder = tempfile::Builder::new().prefix("a b%i").tempdir().unwrap();
    let config = folder.path().join("sidelight $x.toml");
    fs::write(&config, TOML.replace("/var/lib/sidelight/past", "past")).unwrap();
    let unit = folder.path().join("sidelight.service");
    fs::write(&unit, sidelight(&["install", "--config", config.to_str().unwrap()]).stdout).unwrap();
    let Some(verified) = tool("systemd-analyze", &["verify", "--man=no", unit.to_str().unwrap()]) else { return };
    let complaints = text(&verified.stderr);
    assert!(!complaints.contains("sidelight.service"), "{complaints}");
}

#[test]
fn there_is_a_manual_page_for_every_verb_without_a_mistake_of_form() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("man1");
    assert!(sidelight(&["manual", "--out", out.to_str().unwrap()]).status.success());
    let mut wanted = vec!["sidelight.1".to_string()];
    wanted.extend(CommandLine::command().get_subcommands().map(|verb| format!("sidelight-{}.1", verb.get_name())));
    wanted.sort();
    let mut there: Vec<String> =
        fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    there.sort();
    assert_eq!(there, wanted);
    assert_eq!(sidelight(&["manual"]).stdout, fs::read(out.join("sidelight.1")).unwrap());
    for page in there {
        let path = out.join(&page);
        let Some(shown) = tool("man", &["--warnings", "-E", "UTF-8", "-l", path.to_str().unwrap()]) else { return };
        assert!(shown.status.success() && shown.stderr.is_empty(), "{page}: {}", text(&shown.stderr));
        assert!(text(&shown.stdout).contains("NAME"), "{page}");
    }
}
