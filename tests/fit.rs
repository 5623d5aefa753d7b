//! Promise 1: what `check` passes is never clipped and never leaves its place.
//!
//! Random layouts with random fields, ranges, faces and places are compiled. Those that pass are drawn twice for random values
//! and states: once as always, and once with every text moved into the middle of a much larger frame without any cut. Both must
//! show the same pixels, and the larger frame nothing more.

use std::sync::{Arc, LazyLock};

use embedded_graphics_core::geometry::OriginDimensions;
use proptest::prelude::*;
use sidelight::draw::{Frame, Point, Rectangle, Size};
use sidelight::faces::Catalogue;
use sidelight::formulas::Evaluated;
use sidelight::language;
use sidelight::layout::{self, Drawing, Program, Renderer};
use sidelight::readings::{Moment, State};

/// How far the texts are moved in the larger frame, and how much room there is on the far sides.
const MARGIN: Size = Size::new(160, 80);

static FACES: LazyLock<Catalogue> = LazyLock::new(Catalogue::new);

fn compiled(text: &str) -> Option<Program> {
    let (document, findings) = language::parse(text);
    assert!(findings.is_empty(), "the generator writes valid syntax:\n{text}\n{findings:?}");
    let (layout, _) = language::check(&document);
    let (program, _) = layout::compile(&layout?, &FACES);
    program
}

/// The same program on a frame with a margin on every side, nothing being cut.
fn uncut(program: &Program) -> Program {
    let mut program = program.clone();
    program.size += MARGIN + MARGIN;
    for item in program.screens.iter_mut().flat_map(|screen| &mut screen.items) {
        if let Drawing::Text(run) = &mut item.drawing {
            run.area.top_left += MARGIN;
            run.baseline += MARGIN.height as i32;
        }
        match item.drawing {
            Drawing::Text(_) => item.ink = Rectangle::new(Point::zero(), program.size),
            _ => item.ink.top_left += MARGIN,
        }
    }
    program
}

fn drawn(program: Program, values: &[Evaluated]) -> Frame {
    let mut renderer = Renderer::new(Arc::new(program), Moment::default());
    values.iter().enumerate().for_each(|(index, value)| renderer.set(index, *value));
    renderer.draw(Moment::default());
    renderer.frame().clone()
}

/// A field for the reading `name`, as text of a layout.
fn field(name: &'static str) -> impl Strategy<Value = String> {
    let format = prop_oneof![
        (0..3u8).prop_map(|digits| format!(":.{digits}")),
        (0..3u8).prop_map(|digits| format!(":+.{digits}")),
        (1..7u8, 0..2u8).prop_map(|(width, digits)| format!(":>{width}.{digits}")),
        (1..7u8).prop_map(|width| format!(":0{width}.1")),
        Just(String::new()),
    ];
    let value = prop_oneof![
        4 => Just(name.to_string()),
        1 => Just(format!("{name} - 3.5")),
        1 => Just(format!("{name} * 1.5")),
        1 => Just(format!("if {name} > 0 then {name} else 0")),
    ];
    prop_oneof![
        6 => (value, format).prop_map(|(value, format)| format!("{{{value}{format}}}")),
        1 => Just(format!("{{if {name} > 0 then \"above\" else \"low\"}}")),
    ]
}

fn text() -> impl Strategy<Value = String> {
    let literal = prop_oneof![Just(""), Just("°C"), Just(" % "), Just("Jg"), Just("±"), Just("W: ")];
    let face = prop_oneof![
        Just(""),
        Just(" face: small"),
        Just(" face: narrow"),
        Just(" face: wide size: fit"),
        Just(" face: text size: 11"),
        Just(" size: 16"),
        Just(" size: 22"),
    ];
    let place = prop_oneof![
        Just(""),
        Just(" align: right"),
        Just(" align: center valign: bottom"),
        Just(" valign: top"),
        Just(" width: 60"),
        Just(" width: 45% align: center"),
    ];
    (literal, field("a"), literal_after(), field("b"), face, place, any::<bool>()).prop_map(
        |(before, first, between, second, face, place, both)| {
            let second = if both { second } else { String::new() };
            format!("text \"{before}{first}{between}{second}\"{face}{place}")
        },
    )
}

fn literal_after() -> impl Strategy<Value = &'static str> {
    prop_oneof![Just(""), Just("%"), Just(" / "), Just("µm")]
}

prop_compose! {
    fn layout_text()(
        texts in prop::collection::vec(text(), 1..4),
        container in prop_oneof![Just("stack"), Just("columns"), Just("columns gap: 9")],
        tall in any::<bool>(),
        framed in any::<bool>(),
        (a_low, a_span) in (-2000i32..2000, 1i32..3000),
        (b_low, b_span) in (-20i32..20, 1i32..200),
    ) -> (String, [(f64, f64); 2]) {
        let range = |low: i32, span: i32| (f64::from(low) / 10.0, f64::from(low + span) / 10.0);
        let ranges = [range(a_low, a_span), range(b_low, b_span)];
        let [(a, a_end), (b, b_end)] = ranges;
        let height = if tall { 64 } else { 32 };
        let inner = format!("{container} {{\n{}\n}}", texts.join("\n"));
        let inner = if framed { format!("frame {{ {inner} }}") } else { inner };
        let text = format!(
            "panel 128x{height}\n\
             reading a from: \"cellar/a\" range: {a}..{a_end}\n\
             reading b from: \"cellar/b\" range: {b}..{b_end}\n\
             screen s {{\n{inner}\n}}\n"
        );
        (text, ranges)
    }
}

fn state() -> impl Strategy<Value = State> {
    prop_oneof![4 => Just(State::Live), 2 => Just(State::Stale), 1 => Just(State::Waiting), 1 => Just(State::Faulty)]
}

/// 400 layouts that pass, or `SIDELIGHT_LAYOUTS`; several times as many are refused on the way.
fn config() -> ProptestConfig {
    let cases = std::env::var("SIDELIGHT_LAYOUTS").map_or(400, |text| text.parse().expect("a number of layouts"));
    ProptestConfig { cases, max_global_rejects: cases.saturating_mul(250), ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn nothing_is_lost_and_nothing_strays(
        (text, ranges) in layout_text(),
        shares in prop::collection::vec((0.0..=1.0f64, 0.0..=1.0f64), 8),
        states in prop::collection::vec((state(), state()), 8),
    ) {
        let program = compiled(&text);
        prop_assume!(program.is_some());
        let program = program.unwrap();
        let moved = uncut(&program);
        for ((a, b), (state_a, state_b)) in shares.into_iter().zip(states) {
            let value = |(low, high): (f64, f64), share: f64, state| {
                let share = if share < 0.1 { 0.0 } else if share > 0.9 { 1.0 } else { share };
                Evaluated::new(low + (high - low) * share, state)
            };
            let values = [value(ranges[0], a, state_a), value(ranges[1], b, state_b)];
            let cut = drawn(program.clone(), &values);
            // Patterns are fixed to the panel, and the margin is a whole number of their periods.
            let free = drawn(moved.clone(), &values);
            for y in 0..free.size().height as i32 {
                for x in 0..free.size().width as i32 {
                    let inside = Point::new(x, y) - MARGIN;
                    prop_assert!(
                        free.pixel(Point::new(x, y)) == cut.pixel(inside),
                        "({}, {}) differs for {values:?}\n{text}\n{cut:?}",
                        inside.x,
                        inside.y,
                    );
                }
            }
        }
    }
}

#[test]
fn a_text_that_is_a_pixel_too_wide_is_refused() {
    let layout = |width: u32| {
        format!(
            "panel 128x32\nreading a from: \"cellar/a\" range: -10.4..40\n\
             screen s {{ text \"{{a:.1}}°\" size: 22 face: narrow width: {width} }}\n"
        )
    };
    let fits = (1..=128).find(|width| compiled(&layout(*width)).is_some()).expect("it fits the panel");
    assert!(fits > 40, "five characters of this size are wider than {fits} px");
    assert!((fits..=128).all(|width| compiled(&layout(width)).is_some()), "more room never hurts");
    // One pixel less must lose a pixel of some value.
    let widest = compiled(&layout(fits)).unwrap();
    let lit: Vec<i32> = [-10.4, 40.0]
        .into_iter()
        .flat_map(|value| {
            let frame = drawn(widest.clone(), &[Evaluated::new(value, State::Live)]);
            (0..128).filter(move |x| (0..32).any(|y| frame.pixel(Point::new(*x, y))))
        })
        .collect();
    assert_eq!(lit.iter().max(), Some(&(fits as i32 - 1)));
    assert_eq!(lit.iter().min(), Some(&0));
}
