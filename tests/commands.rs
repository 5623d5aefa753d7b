//! `check` and `render` as somebody at a prompt has them: the real program, its exit codes, what it prints and what it writes.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use serde_json::Value;

fn sidelight(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sidelight"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("the program prints text")
}

/// A layout file of its own for a test.
fn file(folder: &tempfile::TempDir, bytes: impl AsRef<[u8]>) -> PathBuf {
    let path = folder.path().join("door.layout");
    std::fs::write(&path, bytes).unwrap();
    path
}

const DOOR: &str = "layouts/ripening-door.layout";

#[test]
fn clean_layouts_exit_with_0() {
    let done = sidelight(&["check", DOOR, "layouts/brine-tank.layout"]);
    assert_eq!(done.status.code(), Some(0));
    assert_eq!(text(&done.stdout), "2 files clean\n");
    assert!(done.stderr.is_empty());
}

#[test]
fn findings_exit_with_1_and_name_their_place() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(&folder, "panel 128x32\nscreen s {\n  txt \"a\"\n  text \"{temp}\"\n}\n");
    let done = sidelight(&["check", path.to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(1));
    let report = text(&done.stderr);
    assert!(report.contains("door.layout:3:3") && report.contains("did you mean `text`?"), "{report}");
    assert!(report.contains("door.layout:4:10") && report.contains("nothing here is called `temp`"), "{report}");
    assert!(report.ends_with("2 errors and 0 warnings\n"), "{report}");
}

#[test]
fn a_file_that_is_not_there_exits_with_2() {
    let done = sidelight(&["check", "layouts/no-such.layout", DOOR]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("cannot read layouts/no-such.layout"), "{}", text(&done.stderr));
}

#[test]
fn json_has_lines_and_columns_from_1() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(&folder, "panel 128x33\nscreen s { text \"ä\" sise: 3 }\n");
    let done = sidelight(&["check", "--json", path.to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(1));
    let report: Value = serde_json::from_slice(&done.stdout).unwrap();
    let places: Vec<(&str, u64, u64)> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["name"].as_str().unwrap(), one["line"].as_u64().unwrap(), one["column"].as_u64().unwrap()))
        .collect();
    assert_eq!(places, [("unknown panel", 1, 7), ("unknown argument", 2, 21)]);
    let clean = sidelight(&["check", "--json", DOOR]);
    let report: Value = serde_json::from_slice(&clean.stdout).unwrap();
    assert_eq!(report["findings"].as_array().map(Vec::len), Some(0));
}

#[test]
fn words_say_what_the_picture_says() {
    let done = sidelight(&["render", DOOR, "--set", "temp=12.4", "--set", "rh=91", "--state", "rh=stale", "--words"]);
    assert_eq!(done.status.code(), Some(0));
    let lines = text(&done.stdout);
    let lines: Vec<&str> = lines.lines().collect();
    assert_eq!(lines, ["bar 11:7 live 12.4", "text 12:7 live 12.4°", "bar 15:7 stale 91", "text 16:7 stale 91%"],);
    let nothing = sidelight(&["render", DOOR, "--words"]);
    assert!(text(&nothing.stdout).contains("text 12:7 waiting ––.–°"), "{}", text(&nothing.stdout));
}

#[test]
fn a_number_out_of_its_range_is_faulty() {
    let done = sidelight(&["render", DOOR, "--set", "temp=40.1", "--set", "rh=91", "--words"]);
    assert!(text(&done.stdout).contains("text 12:7 faulty ––.–°"), "{}", text(&done.stdout));
}

#[test]
fn what_cannot_be_set_is_named() {
    for (arguments, expected) in [
        (["--set", "temo=3"], "the layout has no reading called `temo`; did you mean `temp`?"),
        (["--set", "temp"], "write, for example, `--set temp=12.4`"),
        (["--set", "temp=1,5"], "`1,5` is no number"),
        (["--state", "temp=odd"], "`odd` is no state; write live, stale, waiting or faulty"),
        (["--state", "temp=stale"], "give it a number within its range as well"),
        (["--screen", "dor"], "did you mean `door`?"),
    ] {
        let done = sidelight(&[&["render", DOOR], &arguments[..]].concat());
        assert_eq!(done.status.code(), Some(2), "{arguments:?}");
        assert!(text(&done.stderr).contains(expected), "{arguments:?}: {}", text(&done.stderr));
    }
}

#[cfg(feature = "pictures")]
#[test]
fn a_png_is_as_large_as_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("door.png");
    let out = out.to_str().unwrap();
    let done = sidelight(&["render", DOOR, "--set", "temp=12.4", "--set", "rh=91", "--out", out, "--scale", "3"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let picture = image::open(out).unwrap().into_luma8();
    assert_eq!(picture.dimensions(), (384, 96));
    let small = image::open(Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts/ripening-door.pictures/usual.png"))
        .unwrap()
        .into_luma8();
    assert!(picture.enumerate_pixels().all(|(x, y, pixel)| *pixel == *small.get_pixel(x / 3, y / 3)));
}

#[test]
fn the_terminal_gets_half_blocks() {
    let done = sidelight(&["render", DOOR, "--set", "temp=12.4", "--set", "rh=91"]);
    let picture = text(&done.stdout);
    assert_eq!(picture.lines().count(), 16);
    assert!(picture.lines().all(|line| line.chars().count() == 128));
}

#[test]
fn hostile_files_are_refused_quickly() {
    let deep = |open: &str, close: &str| {
        let mut text = String::from("panel 128x32\nscreen s {\n");
        text.push_str(&open.repeat(1000));
        text.push_str(&close.repeat(1000));
        text.push_str("\n}\n");
        text
    };
    let mut many = String::from("panel 128x32\n");
    (0..5000).for_each(|index| writeln!(many, "reading r{index} from: \"cellar/{index}\"").unwrap());
    let cases: [(&str, Vec<u8>); 8] = [
        ("empty", Vec::new()),
        ("binary", (0..=255).cycle().take(4096).collect()),
        ("10 MB of a letter", vec![b'a'; 10_000_000]),
        ("10 MB of lines", b"text \"a\"\n".repeat(1_200_000)),
        ("1,000 blocks", deep("stack { ", "} ").into_bytes()),
        ("1,000 parentheses", deep("text \"{((((", "))))}\"\n").into_bytes()),
        ("one line of braces", vec![b'{'; 100_000]),
        ("5,000 readings and no screen", many.into_bytes()),
    ];
    for (name, bytes) in cases {
        let folder = tempfile::tempdir().unwrap();
        let path = file(&folder, bytes);
        let begun = Instant::now();
        let done = sidelight(&["check", path.to_str().unwrap()]);
        let taken = begun.elapsed();
        assert_eq!(done.status.code(), Some(1), "{name}: {}", text(&done.stderr));
        assert!(text(&done.stderr).contains("error["), "{name}");
        // A bound on hanging, not a measurement: none of these takes a second.
        assert!(taken < Duration::from_secs(20), "{name} took {taken:?}");
    }
}

#[test]
fn every_verb_has_help_with_an_example() {
    let help = text(&sidelight(&["--help"]).stdout);
    let verbs: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        // What is indented further goes on with the line above.
        .filter(|line| !line.starts_with("    "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|verb| *verb != "help")
        .collect();
    assert!(verbs.contains(&"check") && verbs.contains(&"render"), "{help}");
    for verb in verbs {
        let help = text(&sidelight(&[verb, "--help"]).stdout);
        assert!(help.contains(&format!("  sidelight {verb}")), "{verb}: {help}");
    }
}

/// Files of the largest size in which everything is wrong, or everything overlaps: the report ends, and soon.
#[test]
fn floods_of_mistakes_end_soon() {
    let repeated = |line: &str| {
        let mut text = String::from("panel 128x32\nreading a from: \"cellar/a\"\nscreen s {\n");
        while text.len() < 250_000 {
            text.push_str(line);
        }
        text.push_str("}\n");
        text
    };
    for (name, layout, finding) in [
        ("overlapping rules", repeated("rule at: (0, 0)\n"), "too many elements"),
        ("unknown names", repeated("text \"{unknown_name}\"\n"), "too many findings"),
        ("unknown words", repeated("textt\n"), "too many findings"),
        ("unknown arguments", repeated("rule thicknes: 1\n"), "too many findings"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let path = file(&folder, layout);
        let begun = Instant::now();
        let done = sidelight(&["check", path.to_str().unwrap()]);
        let taken = begun.elapsed();
        let report = text(&done.stderr);
        assert_eq!(done.status.code(), Some(1), "{name}");
        assert!(report.contains(finding), "{name}: {report}");
        // A bound on hanging, not a measurement: none of these takes a second.
        assert!(taken < Duration::from_secs(20), "{name} took {taken:?}");
    }
}

#[test]
fn a_single_clean_file_tells_from_how_far_it_is_read() {
    let done = sidelight(&["check", DOOR]);
    let said = text(&done.stdout);
    // 20 rows of 0.175 mm: 3.5 mm, which 16 minutes of arc are at 0.75 m.
    assert!(said.contains("layouts/ripening-door.layout:12:7: digits 20 px, 3.5 mm"), "{said}");
    assert!(said.contains("up to 0.60 m, at most 0.75 m"), "{said}");
    let done = sidelight(&["check", "--json", DOOR]);
    let report: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!((&report["texts"][0]["line"], &report["texts"][0]["rows"]), (&12.into(), &20.into()));
}

#[test]
fn sarif_has_the_findings_of_all_files() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(&folder, "panel 128x32\nscreen s { txt \"a\" }\n");
    let done = sidelight(&["check", "--sarif", path.to_str().unwrap(), DOOR]);
    assert_eq!(done.status.code(), Some(1));
    let log: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(log["version"], "2.1.0");
    let results = log["runs"][0]["results"].as_array().unwrap();
    assert_eq!(results.len(), 1, "{log}");
    let region = &results[0]["locations"][0]["physicalLocation"]["region"];
    assert_eq!((&region["startLine"], &region["startColumn"]), (&2.into(), &12.into()));
}

#[test]
fn explain_tells_whose_pixel_it_is() {
    let at = |arguments: &[&str]| sidelight(&[&["explain", DOOR], arguments].concat());
    let done = at(&["--at", "71,8", "--set", "temp=12.4", "--set", "rh=91", "--state", "rh=stale"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert_eq!(
        text(&done.stdout),
        "71,8 on screen `door` is lit: a bar, stale, that shows 91\n  \
         layouts/ripening-door.layout:15:7: bar rh over: 60..100% height: 9 target: 85..95%\n  \
         rh: 91 %, stale, from cellar/ripening/climate\n"
    );
    let nothing = text(&at(&["--at", "64,16"]).stdout);
    assert_eq!(nothing, "64,16 on screen `door` is dark: no element ever paints here\n");
    let derived = text(&at(&["--at", "70,25", "--set", "temp=12", "--set", "rh=100"]).stdout);
    assert!(derived.contains("screen `walls`") && derived.contains("temp: 12 °C, live"), "{derived}");
    assert!(derived.contains("rh: 100 %, live"), "{derived}");
    let outside = at(&["--at", "128,0"]);
    assert_eq!(outside.status.code(), Some(2));
    assert!(text(&outside.stderr).contains("the last one is 127,31"), "{}", text(&outside.stderr));
    assert_eq!(at(&["--at", "71"]).status.code(), Some(2));
    assert!(text(&at(&[]).stderr).contains("say which pixel"));
}

#[test]
fn explain_has_a_page_for_a_finding() {
    for arguments in [&["explain", "does", "not", "fit"][..], &["explain", "does not fit"]] {
        let done = sidelight(arguments);
        let page = text(&done.stdout);
        assert_eq!(done.status.code(), Some(0));
        assert!(page.starts_with("does not fit\n\n") && page.contains("panel 128x32"), "{page}");
    }
    let near = sidelight(&["explain", "does not fitt"]);
    assert_eq!(near.status.code(), Some(2));
    assert!(text(&near.stderr).contains("did you mean `does not fit`?"), "{}", text(&near.stderr));
    assert!(text(&sidelight(&["explain"]).stdout).lines().any(|name| name == "overlap"));
}

#[cfg(feature = "pictures")]
#[test]
fn a_sheet_is_the_same_each_time_and_has_the_panels_pictures_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = |name: &str, layout: &str, more: &[&str]| {
        let out = folder.path().join(name);
        let done = sidelight(&[&["sheet", layout, "--out", out.to_str().unwrap(), "--scale", "1"], more].concat());
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        std::fs::read(out).unwrap()
    };
    let once = sheet("once.png", DOOR, &[]);
    assert!(once == sheet("again.png", DOOR, &[]));
    let clock = "layouts/packing-clock.layout";
    assert!(
        sheet("noon.png", clock, &["--time", "2026-11-25T12:00"])
            != sheet("one.png", clock, &["--time", "2026-11-25T13:00"])
    );
    // The picture that `render` makes of the greatest numbers stands on the sheet, to the pixel.
    let out = folder.path().join("greatest.png");
    let greatest = ["render", DOOR, "--set", "temp=40", "--set", "rh=100", "--screen", "door", "--out"];
    assert!(sidelight(&[&greatest[..], &[out.to_str().unwrap()]].concat()).status.success());
    let panel = image::open(out).unwrap().into_luma8();
    let sheet = image::load_from_memory(&once).unwrap().into_luma8();
    let holds =
        |left: u32, top: u32| panel.enumerate_pixels().all(|(x, y, lit)| lit == sheet.get_pixel(left + x, top + y));
    let (right, bottom) = (sheet.width() - panel.width(), sheet.height() - panel.height());
    assert_eq!(
        (0..bottom).flat_map(|top| (0..right).map(move |left| (left, top))).filter(|(x, y)| holds(*x, *y)).count(),
        1
    );
}
