//! `verify` as somebody at a prompt has it: the real program, its exit codes, what it prints, and the pictures that it keeps and makes.
#![cfg(feature = "pictures")]

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

use image::Rgb;
use serde_json::Value;

const LAYOUT: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 45s\n\
    screen door { text \"{temp:.1}°\" size: 20 }\n";
const SCENES: &str = "--- usual\nset temp=12.4\n\n--- old\nset temp=12.4\nage temp=3min\n";

/// A folder with a layout and its scenes.
struct Cellar(tempfile::TempDir);

impl Cellar {
    fn new() -> Self {
        let cellar = Self(tempfile::tempdir().unwrap());
        cellar.write("door.layout", LAYOUT);
        cellar.write("door.scenes", SCENES);
        cellar
    }

    /// The same, with its references.
    fn accepted() -> Self {
        let cellar = Self::new();
        assert_eq!(cellar.verify(&[".", "--accept"]).0, 0);
        cellar
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        fs::create_dir_all(self.path(name).parent().unwrap()).unwrap();
        fs::write(self.path(name), text).unwrap();
    }

    /// Exit code, standard output and standard error of `verify`, run within the folder.
    fn verify(&self, arguments: &[&str]) -> (i32, String, String) {
        let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_sidelight"))
            .arg("verify")
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .expect("the program starts");
        let text = |bytes| String::from_utf8(bytes).expect("the program prints text");
        (status.code().expect("an exit code"), text(stdout), text(stderr))
    }
}

#[test]
fn pictures_that_were_accepted_are_all_the_same() {
    let cellar = Cellar::new();
    let (code, said, _) = cellar.verify(&["door.scenes", "--accept"]);
    assert_eq!(code, 0);
    assert!(said.contains("door.pictures/usual.png: kept from now on\n"), "{said}");
    assert!(said.ends_with("0 the same, 2 without a reference\n"), "{said}");
    for path in ["door.scenes", "door.layout", "."] {
        assert_eq!(cellar.verify(&[path]), (0, "2 the same\n".into(), String::new()), "{path}");
    }
    let reference = image::open(cellar.path("door.pictures/usual.png")).unwrap();
    assert_eq!((reference.width(), reference.height()), (128, 32));
    assert!(!cellar.path("differences").exists());
}

#[test]
fn a_scene_without_a_reference_is_a_finding() {
    let cellar = Cellar::new();
    let (code, said, _) = cellar.verify(&["."]);
    assert_eq!(code, 1);
    assert!(said.contains("door.scenes:4:5: old: there is no reference ./door.pictures/old.png\n"), "{said}");
    assert!(!cellar.path("door.pictures").exists(), "nothing is kept without being asked for");
}

#[test]
fn the_picture_of_a_difference_shows_the_pixels_that_changed() {
    let cellar = Cellar::accepted();
    let before = image::open(cellar.path("door.pictures/usual.png")).unwrap().into_luma8();
    cellar.write("door.scenes", SCENES.replacen("12.4", "12.5", 1));
    let (code, said, _) = cellar.verify(&["door.scenes"]);
    assert_eq!(code, 1);
    assert!(said.contains("door.scenes:1:5: usual: ") && said.contains("; see differences/door/usual.png\n"), "{said}");
    assert!(said.contains("1 the same, 1 different\n"), "{said}");
    cellar.verify(&["--accept", "door.scenes"]);
    let now = image::open(cellar.path("door.pictures/usual.png")).unwrap().into_luma8();
    assert!(!cellar.path("differences/door/usual.png").exists(), "what is right again has no difference");

    cellar.write("door.pictures/usual.png", {
        let mut bytes = Vec::new();
        before.write_to(&mut std::io::Cursor::new(&mut bytes), image::ImageFormat::Png).unwrap();
        bytes
    });
    assert_eq!(cellar.verify(&["door.scenes"]).0, 1);
    let shown = image::open(cellar.path("differences/door/usual.png")).unwrap().into_rgb8();
    // Three panels of 128x32 one below the other, each below its caption, at four pixels for one.
    let dark = Rgb([0, 0, 0]);
    let tops: Vec<u32> = {
        let column = |y: &u32| (16..16 + 512).all(|x| shown.get_pixel(x, *y) != &Rgb([48, 48, 48]));
        (1..shown.height()).filter(|y| column(y) && !column(&(y - 1))).collect()
    };
    assert_eq!(tops.len(), 3, "{tops:?}");
    let mut changed = 0;
    for (x, y, lit_before) in before.enumerate_pixels() {
        let at = |panel: usize| *shown.get_pixel(16 + 4 * x + 3, tops[panel] + 4 * y + 3);
        let (lit_before, lit_now) = (lit_before.0[0] > 0, now.get_pixel(x, y).0[0] > 0);
        assert_eq!((at(0) != dark, at(1) != dark), (lit_before, lit_now), "{x},{y}");
        let expected = match (lit_before, lit_now) {
            (false, false) => dark,
            (true, true) => Rgb([88, 88, 88]),
            (false, true) => Rgb([80, 220, 255]),
            (true, false) => Rgb([214, 84, 0]),
        };
        assert_eq!(at(2), expected, "{x},{y}");
        changed += usize::from(lit_before != lit_now);
    }
    assert!(changed > 5, "{changed}");
}

#[test]
fn only_the_scenes_that_are_named_are_renewed() {
    let cellar = Cellar::accepted();
    cellar.write("door.layout", LAYOUT.replace("size: 20", "size: 16"));
    let (code, said, _) = cellar.verify(&[".", "--accept", "--scene", "old"]);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("./door.pictures/old.png: renewed, ") && !said.contains("usual"), "{said}");
    let (code, said, _) = cellar.verify(&["."]);
    assert_eq!((code, said.contains("usual: "), said.contains("old: ")), (1, true, false), "{said}");
    let (code, _, told) = cellar.verify(&[".", "--scene", "usuel"]);
    assert_eq!(code, 2);
    assert!(told.contains("no scene is called `usuel`; did you mean `usual`?"), "{told}");
}

#[test]
fn a_reference_that_no_scene_names_is_a_finding_until_it_is_accepted() {
    let cellar = Cellar::accepted();
    cellar.write("door.scenes", SCENES.replace("old", "aged"));
    let (code, said, _) = cellar.verify(&["door.scenes"]);
    assert_eq!(code, 1);
    assert!(said.contains("door.pictures/old.png: no scene has this name\n"), "{said}");
    assert!(said.contains("1 the same, 1 without a reference, 1 that no scene names\n"), "{said}");
    assert_eq!(cellar.verify(&["door.scenes", "--accept"]).0, 0);
    assert!(!cellar.path("door.pictures/old.png").exists() && cellar.path("door.pictures/aged.png").exists());
    fs::remove_file(cellar.path("door.scenes")).unwrap();
    let (code, said, _) = cellar.verify(&[".", "--accept"]);
    assert_eq!((code, cellar.path("door.pictures/aged.png").exists()), (1, true), "{said}");
}

#[test]
fn folders_are_searched_and_differences_do_not_meet() {
    let cellar = Cellar::new();
    for room in ["brine", "packing/night"] {
        cellar.write(&format!("{room}/door.layout"), LAYOUT);
        cellar.write(&format!("{room}/door.scenes"), SCENES);
    }
    cellar.write(".hidden/door.scenes", "no scenes");
    let (code, said, _) = cellar.verify(&[".", "--accept"]);
    assert_eq!((code, said.lines().last()), (0, Some("0 the same, 6 without a reference")));
    for room in ["brine", "packing/night"] {
        cellar.write(&format!("{room}/door.layout"), LAYOUT.replace("size: 20", "size: 16"));
    }
    let (code, said, _) = cellar.verify(&[".", "--differences", "look"]);
    assert_eq!((code, said.contains("2 the same, 4 different\n")), (1, true), "{said}");
    assert!(cellar.path("look/brine/door/usual.png").exists());
    assert!(cellar.path("look/packing/night/door/old.png").exists());
}

#[test]
fn what_cannot_be_done_exits_with_2_and_says_why() {
    let cellar = Cellar::accepted();
    cellar.write("mistaken.scenes", "--- usual\nset temo=12.4\n");
    cellar.write("mistaken.layout", LAYOUT);
    let (code, said, told) = cellar.verify(&["."]);
    assert_eq!(code, 2);
    assert!(told.contains("mistaken.scenes:2:5") && told.contains("did you mean `temp`?"), "{told}");
    assert!(told.contains("mistaken.scenes was not verified"), "{told}");
    assert_eq!(said, "2 the same\n", "the other files are verified all the same");

    cellar.write("mistaken.scenes", SCENES);
    cellar.write("mistaken.layout", LAYOUT.replace("text", "txt"));
    let (code, _, told) = cellar.verify(&["mistaken.scenes"]);
    assert_eq!(code, 2);
    assert!(told.contains("mistaken.layout:3:15") && told.contains("did you mean `text`?"), "{told}");

    cellar.write("door.pictures/old.png", "no picture");
    let (code, said, told) = cellar.verify(&["door.scenes"]);
    assert_eq!((code, said.as_str()), (2, "1 the same\n"));
    assert!(told.contains("door.pictures/old.png is no PNG of a panel"), "{told}");
    assert_eq!(cellar.verify(&["door.scenes", "--accept"]).0, 0);

    fs::create_dir(cellar.path("empty")).unwrap();
    for (path, expected) in [
        ("empty", "empty: there is no file of scenes"),
        ("no-such.scenes", "cannot read no-such.scenes"),
        ("no-such.layout", "cannot read no-such.scenes"),
    ] {
        let (code, _, told) = cellar.verify(&[path]);
        assert_eq!((code, told.contains(expected)), (2, true), "{told}");
    }
}

#[test]
fn json_has_each_finding_with_its_place() {
    let cellar = Cellar::accepted();
    cellar.write("door.scenes", SCENES.replacen("12.4", "12.5", 1).replace("old", "aged"));
    let (code, said, _) = cellar.verify(&["door.scenes", "--json"]);
    assert_eq!(code, 1);
    let report: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((&report["version"], &report["same"], &report["failed"]), (&1.into(), &0.into(), &false.into()));
    let told: Vec<_> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["kind"].as_str().unwrap(), one["scene"].as_str(), one["line"].as_u64()))
        .collect();
    let expected = [("different", Some("usual"), Some(1)), ("missing", Some("aged"), Some(4)), ("unnamed", None, None)];
    assert_eq!(told, expected);
    let different = &report["findings"][0];
    assert_eq!(different["picture"], "differences/door/usual.png");
    assert!(different["pixels"].as_u64().unwrap() > 5 && different["column"] == 5, "{different}");
}

#[test]
fn an_age_is_shown_and_makes_a_number_stale_as_on_the_glass() {
    let done = Command::new(env!("CARGO_BIN_EXE_sidelight"))
        .args(["render", "layouts/ripening-door.layout", "--words", "--set", "temp=12.4", "--set", "rh=91"])
        .args(["--age", "rh=3min", "--time", "2026-11-25T14:05+01:00"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let words = String::from_utf8(done.stdout).unwrap();
    assert!(words.contains("live 12.4°") && words.contains("stale 91%"), "{words}");
}
