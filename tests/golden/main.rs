//! Golden images: every case of `tests/cases/*.cases` is drawn, goes through the controller's bytes into the emulated panel, and
//! what stands on the glass must equal `golden/<case>.png` to the bit.
//!
//! `SIDELIGHT_RENEW=<part of a name> cargo test --test golden` renews references on purpose; it is refused in CI. A case that
//! differs is printed as wanted, got and difference, and written below `target/golden/`.

mod cases;
mod difference;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

use sidelight::draw::{Frame, picture};
use sidelight::faces::Catalogue;
use sidelight::language::{self, clock};
use sidelight::layout;
use sidelight::panel::{Driver, EmulatedPanel};

use cases::Case;

static FACES: LazyLock<Catalogue> = LazyLock::new(Catalogue::new);

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn reference(case: &Case) -> PathBuf {
    root().join("golden").join(format!("{}.png", case.name))
}

/// What stands on the glass after the whole way through driver, bus and controller.
fn on_glass(case: &Case) -> Frame {
    let (document, mut findings) = language::parse(&case.text);
    let (checked, more) = language::check(&document);
    findings.extend(more);
    let program = checked.and_then(|checked| {
        let (program, more) = layout::compile(&checked, &FACES);
        findings.extend(more);
        program
    });
    let report = language::report::to_text(&case.name, &case.text, &findings, false);
    let program = program.unwrap_or_else(|| panic!("case {} does not compile:\n{report}", case.name));
    let program = Arc::new(case.prepared(program));
    let renderer = case.scene(&program).draw(&program, &clock::greenwich(case.time));
    let setup = case.setup(renderer.program().size);
    let glass = EmulatedPanel::new(setup.controller, setup.size, 0x3c, 0x5eed);
    let mut driver = Driver::new(glass, 0x3c, setup).expect("the setup is one of the known ones");
    driver.initialise().expect("no fault on this bus");
    driver.show(renderer.frame()).expect("no fault on this bus");
    assert!(driver.bus().complaints().is_empty(), "{}: {:?}", case.name, driver.bus().complaints());
    let seen = driver.bus().glass();
    if case.rotated { difference::turned(&seen) } else { seen }
}

#[test]
fn every_case_equals_its_reference() {
    let renew = std::env::var("SIDELIGHT_RENEW").ok();
    if let Some(name) = &renew {
        assert!(std::env::var_os("CI").is_none(), "references are renewed on purpose, never in CI");
        assert!(!name.is_empty(), "say which: SIDELIGHT_RENEW=<part of a name>");
    }
    let mut failed = Vec::new();
    let cases = cases::read(&root().join("tests/cases"));
    for case in &cases {
        let got = on_glass(case);
        let path = reference(case);
        let wanted = std::fs::read(&path).ok().map(|bytes| picture::from_png(&bytes).expect("references are PNG"));
        if wanted.as_ref() == Some(&got) {
            continue;
        }
        if renew.as_ref().is_some_and(|part| case.name.contains(part.as_str())) {
            std::fs::write(&path, picture::png(&got, 1).unwrap()).unwrap();
            println!("renewed {}", case.name);
            continue;
        }
        difference::show(&case.name, wanted.as_ref(), &got, &root().join("target/golden"));
        failed.push(case.name.as_str());
    }
    assert!(failed.is_empty(), "{} of {} cases differ: {}", failed.len(), cases.len(), failed.join(", "));
}

#[test]
fn every_reference_has_its_case() {
    let cases: BTreeSet<String> = cases::read(&root().join("tests/cases")).into_iter().map(|case| case.name).collect();
    for entry in std::fs::read_dir(root().join("golden")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        assert!(cases.contains(&name), "golden/{name}.png belongs to no case: delete it, or name the case so");
    }
}

#[test]
fn every_ready_layout_has_cases() {
    let cases = cases::read(&root().join("tests/cases"));
    for entry in std::fs::read_dir(root().join("layouts")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "layout") {
            let file = format!("layouts/{}", path.file_name().unwrap().to_string_lossy());
            assert!(cases.iter().any(|case| case.file.as_deref() == Some(&file)), "no case draws {file}");
        }
    }
}
