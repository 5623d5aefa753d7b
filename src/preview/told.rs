//! What the page is told: the layout with its findings, the picture with what stands behind each pixel, and the contact sheet.
//!
//! What enters is a desk, or a program with its situations; what leaves is JSON. The page draws from it and computes nothing that
//! the core knows.

use std::fmt::Write;
use std::sync::Arc;

use embedded_graphics_core::geometry::OriginDimensions;
use jiff::ZonedDateTime;
use serde_json::{Value, json};

use super::control::{range, step, words};
use super::desk::{Desk, Good, Source};
use super::replay::Replay;
use super::timeline;
use crate::draw::Frame;
use crate::language::{self, report};
use crate::layout::{Program, Renderer, Situation, readable, value_in_words};
use crate::panel::{Glass, Traffic};
use crate::readings::Moment;

/// More screens would make a sheet that nobody looks through.
const MOST_SCREENS: usize = 64;
/// Bits a second on the usual I2C bus (fast mode).
const BUS: f64 = 400_000.0;
/// The usual module of each height, by its diagonal in inches, where the layout does not say how large the panel is.
const USUAL: [(u32, f64); 2] = [(32, 0.91), (64, 0.96)];

/// The layout: its text, its findings, and what can be set.
pub fn layout(desk: &Desk) -> Value {
    let loaded = desk.loaded();
    let mut told = report::to_json(&loaded.name, &loaded.text, &loaded.findings);
    told["number"] = desk.version().into();
    told["text"] = loaded.text.as_str().into();
    told["current"] = desk.is_current().into();
    told["unread"] = desk.unread().into();
    told["source"] = match desk.source() {
        Source::Controls => None,
        Source::Broker => Some("broker"),
        Source::Recording => Some("recording"),
    }
    .into();
    let Some(good) = desk.good() else { return told };
    let program = &good.program;
    told["panel"] = panel(program);
    told["readings"] = readings(good);
    told["screens"] = program.screens.iter().map(|screen| screen.name.as_str()).collect();
    let texts = readable(program).into_iter().map(|text| {
        let place = report::line_and_column(&good.text, text.span.start as usize);
        let line = good.text.lines().nth(place.line - 1).unwrap_or_default().trim();
        json!({
            "line": place.line, "column": place.column, "source": line, "rows": text.rows, "height_mm": text.height,
            "with_ease_m": text.with_ease, "at_most_m": text.at_most,
        })
    });
    told["distances"] = texts.collect();
    told
}

fn panel(program: &Program) -> Value {
    let (width, height) = (program.size.width, program.size.height);
    let usual = USUAL.iter().find(|(rows, _)| *rows == height).map_or(1.0, |(_, inches)| *inches);
    let glass = program.glass.unwrap_or_else(|| Glass::new((width, height), usual, None));
    json!({
        "width": width, "height": height, "pitch_mm": glass.pitch, "seen_from_m": glass.seen_from,
        "assumed_in": program.glass.is_none().then_some(usual),
    })
}

fn readings(good: &Good) -> Value {
    let (document, _) = language::parse(&good.text);
    let (model, _) = language::check(&document);
    let lines: Vec<usize> = model.map_or(Vec::new(), |model| {
        let line = |span: language::Span| report::line_and_column(&good.text, span.start as usize).line;
        model.readings.iter().map(|reading| line(reading.span)).collect()
    });
    let program = &good.program;
    let each = program.readings.iter().enumerate().map(|(index, spec)| {
        let (low, high) = range(spec);
        let words: Vec<Value> =
            words(spec).iter().map(|(word, number)| json!({ "word": word, "number": number })).collect();
        json!({
            "name": spec.name, "topic": spec.filter.to_string(), "unit": spec.unit.to_string(), "low": low, "high": high,
            "step": step(spec), "words": words, "stale_s": spec.stale.map(|stale| stale.as_secs_f64()),
            "past": program.is_looked_back_at(index), "line": lines.get(index),
        })
    });
    each.collect()
}

/// The picture, what stands behind its pixels, and what each reading is.
pub fn picture(desk: &Desk, now: Moment, playing: bool, broker: Option<&str>, replay: Option<&Replay>) -> Value {
    let (Some(good), Some(drawn)) = (desk.good(), desk.drawn()) else {
        return json!({ "frame": null, "broker": broker, "playing": playing, "place": null });
    };
    let program = &good.program;
    let seen = desk.seen(now);
    let readings = seen.iter().zip(&program.readings).zip(desk.controls()).map(|((seen, spec), control)| {
        let number = seen.value.is_known().then_some(seen.value.number);
        json!({
            "number": number, "words": number.map(|number| value_in_words(spec, number)), "state": seen.value.state.word(),
            "age_s": seen.age.map(|age| age.as_secs()), "held": seen.held, "fault": seen.fault,
            "set": { "number": control.number, "age_s": control.heard.map(|age| age.as_secs()), "past": control.past },
        })
    });
    let (last, whole) = desk.cost();
    json!({
        "frame": hexadecimal(drawn.frame()),
        "screen": drawn.screen(),
        "chosen": desk.screen(),
        "time": desk.time().map(|time| time.to_string()),
        "playing": playing,
        "broker": broker,
        "place": replay.map(|replay| timeline::place(desk, replay)),
        "items": items(good, drawn),
        "readings": readings.collect::<Vec<_>>(),
        "says": drawn.words().iter().filter(|said| said.kind == "text" && !said.content.trim().is_empty())
            .map(|said| said.content.trim().to_string()).collect::<Vec<_>>(),
        "bus": { "last": cost(last), "whole": cost(whole) },
    })
}

fn cost(traffic: Traffic) -> Value {
    json!({
        "bytes": traffic.bytes, "writes": traffic.transactions, "ms": traffic.bits() as f64 / BUS * 1000.0,
    })
}

/// What is drawn, the topmost last: its rectangle, its place in the file, and what it shows.
fn items(good: &Good, drawn: &Renderer) -> Vec<Value> {
    let program = drawn.program();
    let Some(screen) = drawn.screen_index().map(|index| &program.screens[index]) else { return Vec::new() };
    let each = screen.items.iter().enumerate().map(|(index, item)| {
        let place = |offset: u32| report::line_and_column(&good.text, offset as usize);
        let (from, to) = (place(item.span.start), place(item.span.end));
        let said = drawn.said(index);
        json!({
            "x": item.ink.top_left.x, "y": item.ink.top_left.y,
            "width": item.ink.size.width, "height": item.ink.size.height,
            "what": item.drawing.words(), "line": from.line, "column": from.column, "end_line": to.line,
            "drawn": drawn.is_drawn(index),
            "shows": said.as_ref().map(|said| said.content.trim()), "state": said.as_ref().map(|said| said.state.word()),
            "readings": program.readings_behind(&item.inputs),
        })
    });
    each.collect()
}

/// A frame's bytes, page after page, a byte a column, the least bit on top.
fn hexadecimal(frame: &Frame) -> String {
    frame.bytes().iter().fold(String::new(), |mut text, byte| {
        // Writing to a string never fails.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The contact sheet of a program: each situation with its picture and what it is called.
pub fn sheet(program: &Arc<Program>, situations: &[Situation], time: &ZonedDateTime) -> Value {
    if program.screens.len() > MOST_SCREENS {
        return json!({ "left_out": format!("a sheet holds up to {MOST_SCREENS} screens, and this layout has {}", program.screens.len()) });
    }
    let name = |index: usize| program.screens[index].name.as_str();
    let each = situations.iter().map(|situation| {
        let drawn = situation.draw(program, time);
        let instead = drawn.screen_index().filter(|shown| !situation.alone && *shown != situation.screen).map(name);
        let size = drawn.frame().size();
        json!({
            "screen": name(situation.screen), "words": situation.words, "detail": situation.detail, "instead": instead,
            "dark": drawn.screen_index().is_none(), "frame": hexadecimal(drawn.frame()), "width": size.width, "height": size.height,
        })
    });
    json!({ "pictures": each.collect::<Vec<_>>() })
}
