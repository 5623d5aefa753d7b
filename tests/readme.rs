//! The README keeps its word: its commands are ones that the program takes, its verbs are all there are, its pictures, its report
//! and its configuration are what the program makes of them today.

use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

use clap::{CommandFactory, Parser};
use sidelight::commands::CommandLine;
use sidelight::demo::Cellar;
use sidelight::draw::Size;
use sidelight::readings::Moment;
use sidelight::scenes::{self, Difference, References, Verdict};
use sidelight::service::{self, Config};
use sidelight::survey::{Survey, draft};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn page() -> String {
    std::fs::read_to_string(root().join("README.md")).unwrap()
}

/// The blocks of code in one language, in order.
fn blocks(page: &str, language: &str) -> Vec<String> {
    let mut blocks = Vec::new();
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        if let Some(this) = line.strip_prefix("```") {
            let body: String =
                lines.by_ref().take_while(|line| *line != "```").map(|line| format!("{line}\n")).collect();
            if this == language {
                blocks.push(body);
            }
        }
    }
    blocks
}

/// The words of each command line for this program, with the program's name first.
fn commands(page: &str) -> Vec<Vec<String>> {
    let shell = blocks(page, "sh").concat().replace("\\\n", " ");
    let units = blocks(page, "ini").concat();
    let typed = shell.lines().map(|line| line.split_once(" #").map_or(line, |(command, _)| command));
    let started = units.lines().filter_map(|line| line.strip_prefix("ExecStart=/usr/local/bin/"));
    typed
        .chain(started)
        .map(|line| line.replace("cargo run --release -- ", "sidelight "))
        .filter(|line| line.starts_with("sidelight "))
        .map(|line| line.split_whitespace().map(str::to_string).collect())
        .collect()
}

#[test]
fn every_command_is_one_that_the_program_takes() {
    let commands = commands(&page());
    assert!(commands.len() >= 6, "the page lost its commands: {commands:?}");
    for command in commands {
        if let Err(refusal) = CommandLine::try_parse_from(&command) {
            panic!("{}: {refusal}", command.join(" "));
        }
    }
}

#[test]
fn the_table_of_verbs_is_what_help_lists() {
    let page = page();
    let told: BTreeSet<&str> =
        page.lines().filter_map(|line| line.strip_prefix("| `sidelight ")?.split([' ', '`']).next()).collect();
    let program = CommandLine::command();
    let there: BTreeSet<&str> = program.get_subcommands().map(clap::Command::get_name).collect();
    assert_eq!(told, there);
}

#[test]
fn the_configuration_is_read() {
    let tables = blocks(&page(), "toml");
    assert_eq!(tables.len(), 1);
    for table in tables {
        let installation = Config::read("README.md", &table, Path::new("/etc/sidelight")).unwrap();
        assert_eq!(installation.panels.len(), 1);
    }
}

#[test]
fn the_report_is_what_check_says() {
    let page = page();
    let layout = blocks(&page, "layout").pop().unwrap();
    let fitting = "text \"{temp:.1}°\" size: fit";
    assert!(layout.contains(fitting), "the page's layout lost the line that its report is about");
    let layout = layout.replace(fitting, "text \"{temp:.1}°\" size: 22 face: narrow");
    let report = service::compile(layout.as_bytes(), Path::new("door.layout")).report(false);
    assert_eq!(blocks(&page, "text"), [report.trim_end().to_string() + "\n"]);
}

#[test]
fn each_picture_is_what_the_command_above_it_makes() {
    let page = page();
    let folder = tempfile::tempdir().unwrap();
    let mut drawn = 0;
    for mut command in commands(&page) {
        let Some(out) = command.iter().position(|word| word == "--out").map(|at| at + 1) else { continue };
        if !command[out].ends_with(".png") {
            continue;
        }
        let kept = root().join(&command[out]);
        command[out] = folder.path().join("picture.png").to_string_lossy().into_owned();
        assert!(page.contains(&format!("]({})", kept.strip_prefix(root()).unwrap().display())), "{command:?}");
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_sidelight"))
            .args(&command[1..])
            .current_dir(root())
            .status()
            .unwrap();
        assert!(done.success(), "{command:?}");
        let (wanted, got) = (std::fs::read(&kept).unwrap(), std::fs::read(&command[out]).unwrap());
        assert!(wanted == got, "{} is not what the program draws today: run the command again", kept.display());
        drawn += 1;
    }
    assert_eq!(drawn, 3, "the page shows three pictures with their commands");
}

/// What `listen --write` drafts of the demo's ripening room after three minutes of it.
#[test]
fn the_drafted_layout_is_what_is_drafted_of_the_demo() {
    let (mut cellar, mut survey) = (Cellar::new(1), Survey::default());
    loop {
        let now = cellar.next_due();
        if now > Duration::from_secs(180) {
            break;
        }
        for said in cellar.step(now).iter().filter(|said| said.topic.starts_with("cellar/ripening/")) {
            survey.hear(said.topic, &said.payload, false, Moment::at(now));
        }
    }
    let draft = draft(&survey, Size::new(128, 64)).unwrap();
    let kept = root().join("layouts/pictures/new.layout");
    if std::fs::read_to_string(&kept).is_ok_and(|text| text == draft.text) {
        return;
    }
    let now = root().join("target/new.layout");
    std::fs::write(&now, draft.text).unwrap();
    panic!("{} is not what is drafted today: copy {}", kept.display(), now.display());
}

/// A degree more than the reference of the ready layout, as `verify` shows it.
#[test]
fn the_picture_of_a_difference_is_what_verify_makes() {
    let scenes = root().join("layouts/ripening-door.scenes");
    let warmer = scenes::understand(b"--- usual\nset temp=13.4\nset rh=91\n", &scenes);
    let drawn = warmer.scenes[0].draw();
    let Verdict::Different(reference) = References::of(&scenes).compare("usual", drawn.frame()).unwrap() else {
        panic!("13.4 °C looks like 12.4 °C");
    };
    let png = Difference::new(&reference, drawn.frame()).unwrap().png().unwrap();
    let kept = "layouts/pictures/difference.png";
    assert!(page().contains(&format!("]({kept})")));
    if std::fs::read(root().join(kept)).is_ok_and(|bytes| bytes == png) {
        return;
    }
    let now = root().join("target/difference.png");
    std::fs::write(&now, png).unwrap();
    panic!("{kept} is not what the program draws today: copy {}", now.display());
}
