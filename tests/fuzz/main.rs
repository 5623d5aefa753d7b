//! Hostile input, for a second each, or `SIDELIGHT_FUZZ_SECONDS`: good inputs are damaged and given to everything that reads from
//! outside. A failure names its seed, which `SIDELIGHT_FUZZ_SEED` repeats, and leaves the input in a file. (Promise: it stays up.)
//!
//! Where there is a nightly toolchain, `tests/fuzz/libfuzzer` drives the same targets and follows what they cover.

mod mutation;
mod targets;

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use targets::TARGETS;

/// No input may take longer, also on a machine with other work. Outline faces alone may take five seconds.
const LONGEST: Duration = Duration::from_secs(30);

macro_rules! each {
    ($($name:ident),*) => { $( #[test] fn $name() { attack(stringify!($name)); } )* };
}

each!(layout, scenes, config, number, column, pointer, senml, words, bdf, outline, stored, panel);

#[test]
fn each_target_has_a_test_a_file_for_libfuzzer_and_good_inputs() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz");
    let tests = include_str!("main.rs");
    let manifest = fs::read_to_string(here.join("Cargo.toml")).unwrap();
    for (name, _) in TARGETS {
        assert!(tests.contains(&format!("{name}, ")) || tests.contains(&format!("{name});")), "{name}");
        assert!(here.join(format!("libfuzzer/{name}.rs")).is_file(), "{name}");
        assert!(manifest.contains(&format!("path = \"libfuzzer/{name}.rs\"")), "{name}");
        assert!(corpus(name).len() >= 2, "{name}");
    }
}

/// The good inputs of a target: what lies in its folder, and what the project has of its kind.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let own = |folder: &str, extension: Option<&str>| -> Vec<PathBuf> {
        let Ok(entries) = fs::read_dir(root.join(folder)) else { return Vec::new() };
        let paths = entries.map(|entry| entry.unwrap().path());
        paths
            .filter(|path| {
                path.is_file()
                    && (extension.is_none()
                        || path.extension().is_some_and(|it| Some(it.to_str().unwrap()) == extension))
            })
            .collect()
    };
    let mut paths = own(&format!("tests/fuzz/corpus/{name}"), None);
    match name {
        "layout" => paths.extend(own("layouts", Some("layout"))),
        "scenes" => paths.extend(own("layouts", Some("scenes"))),
        _ => {}
    }
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

fn setting(variable: &str) -> Option<u64> {
    std::env::var(variable).ok().map(|text| text.parse().unwrap_or_else(|_| panic!("{variable} is a whole number")))
}

fn attack(name: &'static str) {
    let target = TARGETS.iter().find(|(other, _)| *other == name).unwrap().1;
    let corpus = corpus(name);
    corpus.iter().for_each(|bytes| target(bytes));
    let repeated = setting("SIDELIGHT_FUZZ_SEED");
    let first = repeated.unwrap_or_else(|| fastrand::u64(..));
    let limit = Duration::from_secs(setting("SIDELIGHT_FUZZ_SECONDS").unwrap_or(1));
    let watched = watch(name, first);
    let (start, mut slowest) = (Instant::now(), Duration::ZERO);
    let mut count = 0;
    while (repeated.is_some() && count == 0) || (repeated.is_none() && start.elapsed() < limit) {
        let seed = first.wrapping_add(count);
        let bytes = mutation::mutated(&corpus, &mut fastrand::Rng::with_seed(seed));
        let begin = Instant::now();
        watched.send(seed).unwrap();
        if let Err(panic) = catch_unwind(AssertUnwindSafe(|| target(&bytes))) {
            eprintln!("{name}: SIDELIGHT_FUZZ_SEED={seed}; the input is in {}", keep(name, &bytes).display());
            resume_unwind(panic);
        }
        slowest = slowest.max(begin.elapsed());
        count += 1;
    }
    eprintln!("{name}: {count} inputs from seed {first}, the slowest took {slowest:?}");
}

/// Leaves an input beside the builds.
fn keep(name: &str, bytes: &[u8]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("fuzz-{name}"));
    fs::write(&path, bytes).unwrap();
    path
}

/// Ends the process when an input takes too long, since a loop without end cannot be ended otherwise. Each input announces itself.
fn watch(name: &'static str, first: u64) -> mpsc::Sender<u64> {
    let (sender, seeds) = mpsc::channel();
    thread::spawn(move || {
        let mut seed = first;
        loop {
            match seeds.recv_timeout(LONGEST) {
                Ok(next) => seed = next,
                Err(mpsc::RecvTimeoutError::Disconnected) => return,
                Err(mpsc::RecvTimeoutError::Timeout) => {
                    eprintln!("{name}: SIDELIGHT_FUZZ_SEED={seed} took longer than {LONGEST:?}");
                    std::process::exit(1);
                }
            }
        }
    });
    sender
}
