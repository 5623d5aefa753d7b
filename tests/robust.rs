//! No layout, however it was damaged, makes the program panic, hang or draw nonsense: the ready layouts are taken apart into
//! words and put together wrongly, compiled, and what still passes is drawn.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use proptest::prelude::*;
use sidelight::faces::Catalogue;
use sidelight::formulas::Evaluated;
use sidelight::language::{self, Severity, report};
use sidelight::layout::{self, Renderer};
use sidelight::readings::{Moment, State};

static FACES: LazyLock<Catalogue> = LazyLock::new(Catalogue::new);

static LAYOUTS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "layout"));
    paths.sort();
    paths.iter().map(|path| std::fs::read_to_string(path).unwrap()).collect()
});

/// What damage puts in: words that mean something somewhere else.
const WORDS: [&str; 30] = [
    "{",
    "}",
    "\"",
    "fit",
    "0",
    "-1",
    "128x32",
    "1e9",
    "999999999999",
    "0..0",
    "5..1°C",
    "text",
    "bar",
    "icon",
    "columns",
    "overlay",
    "frame",
    "when:",
    "size:",
    "width: 100%",
    "height: 1",
    "at: (127, 31)",
    "gap: 128",
    "invert: true",
    "temp",
    "temp / 0",
    "\"{clock(\"%A\")}\"",
    "\"{temp:032.6}\"",
    "range: -1000000..1000000",
    "segments: 64",
];

#[derive(Clone, Debug)]
enum Damage {
    Remove(usize),
    Double(usize),
    Swap(usize, usize),
    Put(usize, &'static str),
}

fn damage() -> impl Strategy<Value = Damage> {
    prop_oneof![
        any::<usize>().prop_map(Damage::Remove),
        any::<usize>().prop_map(Damage::Double),
        (any::<usize>(), any::<usize>()).prop_map(|(one, other)| Damage::Swap(one, other)),
        (any::<usize>(), 0..WORDS.len()).prop_map(|(place, word)| Damage::Put(place, WORDS[word])),
        (any::<usize>(), 0..WORDS.len()).prop_map(|(place, word)| Damage::Put(place, WORDS[word])),
    ]
}

fn damaged(text: &str, damages: &[Damage]) -> String {
    let mut words: Vec<String> = text.split_inclusive([' ', '\n']).map(str::to_string).collect();
    for damage in damages {
        let count = words.len().max(1);
        match damage {
            Damage::Remove(place) if !words.is_empty() => drop(words.remove(place % count)),
            Damage::Double(place) if !words.is_empty() => words.insert(place % count, words[place % count].clone()),
            Damage::Swap(one, other) if !words.is_empty() => words.swap(one % count, other % count),
            Damage::Put(place, word) => words.insert(place % count, format!("{word} ")),
            _ => {}
        }
    }
    words.concat()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn damaged_layouts(
        layout in any::<usize>(),
        damages in prop::collection::vec(damage(), 1..6),
        numbers in prop::collection::vec((-1e3..1e3f64, 0..4usize), 12),
    ) {
        let text = damaged(&LAYOUTS[layout % LAYOUTS.len()], &damages);
        let (document, mut findings) = language::parse(&text);
        let (checked, more) = language::check(&document);
        findings.extend(more);
        let mut program = None;
        if let Some(checked) = checked {
            let (compiled, more) = layout::compile(&checked, &FACES);
            prop_assert_eq!(compiled.is_some(), more.iter().all(|finding| finding.severity != Severity::Error));
            findings.extend(more);
            program = compiled;
        }
        for finding in &findings {
            prop_assert!(text.get(finding.span.range()).is_some(), "{} points outside of the file", finding.name);
            prop_assert!(!finding.message.ends_with('.'), "{}", finding.message);
        }
        prop_assert!(!report::to_text("damaged.layout", &text, &findings, false).is_empty() || findings.is_empty());
        if let Some(program) = program {
            let mut renderer = Renderer::new(Arc::new(program), Moment::default());
            for (index, (number, state)) in numbers.iter().enumerate().take(renderer.program().readings.len()) {
                let state = [State::Live, State::Stale, State::Waiting, State::Faulty][*state];
                renderer.set(index, Evaluated::new(*number, state));
            }
            renderer.draw(Moment::default());
            renderer.words();
        }
    }
}
