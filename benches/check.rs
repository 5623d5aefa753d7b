//! Checking: from the text of the largest ready layout to a program with every text proved to fit; and from the text to the
//! first picture, as at the start of the service.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use sidelight::faces::Catalogue;
use sidelight::layout::{Program, Renderer};
use sidelight::readings::Moment;
use sidelight::{language, layout};

const LARGEST: &str = include_str!("../layouts/three-doors.layout");
const FITTED: &str = include_str!("../layouts/demo.layout");

fn compiled(text: &str, catalogue: &Catalogue) -> Program {
    let (document, _) = language::parse(text);
    let (checked, _) = language::check(&document);
    let program = checked.and_then(|checked| layout::compile(&checked, catalogue).0);
    program.expect("the ready layouts are clean")
}

fn checking(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("check");
    for (name, text) in [("three-doors", LARGEST), ("demo", FITTED)] {
        group.bench_function(name, |bencher| bencher.iter(|| black_box(compiled(text, &Catalogue::new()))));
    }
    group.bench_function("text to first picture", |bencher| {
        bencher.iter(|| {
            let mut renderer = Renderer::new(Arc::new(compiled(LARGEST, &Catalogue::new())), Moment::default());
            renderer.draw(Moment::default());
            black_box(renderer.frame());
        });
    });
    group.finish();
}

criterion_group!(benches, checking);
criterion_main!(benches);
