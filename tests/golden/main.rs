//! Golden images: every scene of `golden/` and `layouts/` is drawn, goes through the controller's bytes into the emulated panel, and
//! what stands on the glass must equal its reference to the bit: with each controller that has such a panel, upright and upside down.
//!
//! Scenes and references are read as `sidelight verify` reads them, and it renews them, on purpose: `cargo run -- verify golden layouts
//! --accept --scene NAME`. A scene that differs is printed, and written below `target/golden/`.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use sidelight::draw::{Frame, Point, Size, picture};
use sidelight::panel::{Controller, Driver, EmulatedPanel, Setup};
use sidelight::scenes::{self, Difference, NamedScene, References, Scenes, Verdict};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What lies in `golden/` and `layouts/` with this ending, in the order of the names.
fn lying(ending: &str) -> Vec<PathBuf> {
    let folders = ["golden", "layouts"].map(|folder| std::fs::read_dir(root().join(folder)).unwrap());
    let mut paths: Vec<PathBuf> = folders.into_iter().flatten().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension() == Some(OsStr::new(ending)));
    paths.sort();
    paths
}

fn files() -> Vec<Scenes> {
    let read = |path: PathBuf| {
        let scenes = scenes::read(&path).unwrap();
        assert!(scenes.is_whole(), "{}", scenes.report(false));
        scenes
    };
    lying("scenes").into_iter().map(read).collect()
}

/// The panels that a picture of this size can stand on.
fn setups(size: Size) -> Vec<Setup> {
    let controllers = [Controller::Ssd1306, Controller::Sh1106];
    let setup = |controller, rotated| Setup { rotated, ..Setup::new(controller, size) };
    let setups = controllers.into_iter().flat_map(|controller| [false, true].map(|rotated| setup(controller, rotated)));
    setups.filter(|setup| setup.check().is_ok()).collect()
}

/// What stands on the glass after the whole way through driver, bus and controller, as somebody sees it for whom it is upright.
fn on_glass(frame: &Frame, setup: Setup) -> Frame {
    let glass = EmulatedPanel::new(setup.controller, setup.size, 0x3c, 0x5eed);
    let mut driver = Driver::new(glass, 0x3c, setup).expect("the setup is one of the known ones");
    driver.initialise().expect("no fault on this bus");
    driver.show(frame).expect("no fault on this bus");
    assert!(driver.bus().complaints().is_empty(), "{setup:?}: {:?}", driver.bus().complaints());
    let seen = driver.bus().glass();
    if setup.rotated { turned(&seen, setup.size) } else { seen }
}

fn turned(frame: &Frame, Size { width, height }: Size) -> Frame {
    let mut turned = Frame::new(Size::new(width, height));
    for y in 0..height as i32 {
        for x in 0..width as i32 {
            turned.set_pixel(Point::new(x, y), frame.pixel(Point::new(width as i32 - 1 - x, height as i32 - 1 - y)));
        }
    }
    turned
}

/// Prints a scene that differs, and writes the picture of the difference below `target/golden/`.
fn show(file: &Scenes, scene: &NamedScene, reference: &Frame, seen: &Frame) {
    let Some(difference) = Difference::new(reference, seen) else { return };
    println!("{}\nnow:\n{}", difference.words(), picture::half_blocks(seen));
    let folder = root().join("target/golden").join(file.path.file_stem().unwrap());
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(format!("{}.png", scene.name));
    std::fs::write(&path, difference.png().unwrap()).unwrap();
    println!("reference, now and difference are in {}", path.display());
}

#[test]
fn every_scene_stands_on_every_glass_as_its_reference() {
    let (mut failed, mut shown) = (Vec::new(), 0);
    for file in files() {
        let references = References::of(&file.path);
        for scene in &file.scenes {
            let drawn = scene.draw();
            for setup in setups(scene.program.size) {
                let seen = on_glass(drawn.frame(), setup);
                shown += 1;
                let verdict = references.compare(&scene.name, &seen).unwrap();
                if verdict == Verdict::Same {
                    continue;
                }
                let upside_down = if setup.rotated { " upside down" } else { "" };
                let name = format!("{} {} on {}{upside_down}", file.path.display(), scene.name, setup.controller);
                println!("--- {name}");
                match verdict {
                    Verdict::Different(reference) => show(&file, scene, &reference, &seen),
                    _ => println!("no reference yet; now:\n{}", picture::half_blocks(&seen)),
                }
                failed.push(name);
            }
        }
    }
    assert!(failed.is_empty(), "{} of {shown} pictures differ:\n{}", failed.len(), failed.join("\n"));
    assert!(shown >= 300, "only {shown} pictures");
}

#[test]
fn every_reference_has_its_scene() {
    for file in files() {
        let unnamed = References::of(&file.path).unnamed(&file).unwrap();
        assert!(unnamed.is_empty(), "these belong to no scene: {unnamed:?}");
    }
    for folder in lying("pictures") {
        assert!(folder.with_extension("scenes").exists(), "{} belongs to no file of scenes", folder.display());
    }
}

#[test]
fn every_ready_layout_has_scenes() {
    for layout in lying("layout") {
        let scenes = scenes::read(&layout.with_extension("scenes")).unwrap();
        assert!(scenes.beside.is_some(), "no scene draws {}", layout.display());
    }
}
