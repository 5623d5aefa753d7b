//! What must take any bytes: one function for each thing that is read from outside.
//!
//! What enters are bytes that somebody hostile may have written; nothing leaves. A function panics where a promise is broken: no
//! panic within, findings that point into their file, messages without control characters, bounded memory. Nothing is random
//! here, so that the same bytes always do the same; `main.rs` and the files of `libfuzzer/` both drive these functions.

use std::path::Path;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use embedded_hal::i2c::I2c;
use sidelight::draw::Size;
use sidelight::faces::Catalogue;
use sidelight::faces::bdf::Sheet;
use sidelight::feed::Filter;
use sidelight::formulas::Evaluated;
use sidelight::language::format::canonical;
use sidelight::language::{self, Finding, Severity, report};
use sidelight::layout::{self, Renderer};
use sidelight::panel::{Controller, EmulatedPanel};
use sidelight::readings::history::{Figure, History, Lookback, Span, Stored, encode};
use sidelight::readings::{Moment, Pick, ReadingSpec, State, Trust};
use sidelight::scenes;
use sidelight::service::Config;
use sidelight::units::lookup;

/// Takes any bytes.
pub type Target = fn(&[u8]);

/// Every target with its name, which its folder of first inputs has too.
pub const TARGETS: [(&str, Target); 12] = [
    ("layout", layout),
    ("scenes", scenes),
    ("config", config),
    ("number", number),
    ("column", column),
    ("pointer", pointer),
    ("senml", senml),
    ("words", words),
    ("bdf", bdf),
    ("outline", outline),
    ("stored", stored),
    ("panel", panel),
];

static FACES: LazyLock<Catalogue> = LazyLock::new(Catalogue::new);

/// A layout file: parsed, checked, compiled, formatted, its findings reported, and drawn with numbers in every state.
pub fn layout(bytes: &[u8]) {
    let Ok(text) = language::decode(bytes) else { return };
    let (document, mut findings) = language::parse(text);
    let (checked, more) = language::check(&document);
    findings.extend(more);
    let mut program = None;
    if let Some(checked) = checked {
        let (compiled, more) = layout::compile(&checked, &FACES);
        assert_eq!(compiled.is_some(), more.iter().all(|finding| finding.severity != Severity::Error));
        findings.extend(more);
        program = compiled;
    }
    sound(text, &findings);
    if let Ok(formatted) = canonical(text) {
        assert_eq!(canonical(&formatted).ok().as_ref(), Some(&formatted), "formatted twice");
    }
    let Some(program) = program else { return };
    let mut renderer = Renderer::new(Arc::new(program), Moment::default());
    for turn in 0..State::ALL.len() {
        for index in 0..renderer.program().readings.len() {
            let state = State::ALL[(index + turn) % State::ALL.len()];
            let (low, high) = renderer.program().readings[index].range.unwrap_or((-1e9, 1e9));
            renderer.set(index, Evaluated::new([low, high][turn % 2], state));
        }
        renderer.draw(Moment::at(Duration::from_secs(turn as u64)));
        renderer.words();
    }
}

/// Findings point into the text, and no report carries a control character to a terminal.
fn sound(text: &str, findings: &[Finding]) {
    for finding in findings {
        assert!(text.get(finding.span.range()).is_some(), "{} points outside of the file", finding.name);
        assert!(finding.message.len() < 2000, "{}: a message of {} bytes", finding.name, finding.message.len());
    }
    let told = report::to_text("hostile.layout", text, findings, false);
    assert!(!told.chars().any(|sign| sign.is_control() && sign != '\n'), "{told:?}");
    report::to_json("hostile.layout", text, findings).to_string();
}

/// A file of scenes, beside a good layout.
pub fn scenes(bytes: &[u8]) {
    static BESIDE: LazyLock<std::path::PathBuf> = LazyLock::new(|| root().join("layouts/ripening-door.scenes"));
    let scenes = scenes::understand(bytes, &BESIDE);
    // What is no text is shown as far as it goes.
    let is_text = std::str::from_utf8(bytes).is_ok();
    for finding in scenes.findings.iter().filter(|_| is_text) {
        assert!(scenes.text.get(finding.span.range()).is_some(), "{} points outside of the file", finding.name);
    }
    let told = scenes.report(false);
    assert!(!told.chars().any(|sign| sign.is_control() && sign != '\n'), "{told:?}");
    for scene in scenes.scenes.iter().take(20) {
        scene.draw().words();
    }
}

/// The folder of the project.
fn root() -> &'static Path {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().find(|folder| folder.join("layouts").is_dir()).unwrap_or(here)
}

/// An installation, `sidelight.toml`.
pub fn config(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Err(error) = Config::read("sidelight.toml", text, Path::new("/etc/cellar")) {
        assert!(error.line >= 1 && error.line <= text.lines().count().max(1) + 1, "{error}");
        assert!(!error.message.chars().any(char::is_control) && error.message.len() < 2000, "{error:?}");
    }
}

/// A payload that is a number, with a decimal point and with a comma.
pub fn number(bytes: &[u8]) {
    decode(&Pick::number(), bytes);
    decode(&Pick::number().with_decimal_comma().unwrap(), bytes);
}

/// The column's number, its separator, then the payload.
pub fn column(bytes: &[u8]) {
    let &[number, separator, ref payload @ ..] = bytes else { return };
    let separator = [',', ';', ' ', '\t', '|', '\u{3001}'][usize::from(separator) % 6];
    let Ok(pick) = Pick::column(usize::from(number), separator) else { return };
    decode(&pick, payload);
    if let Ok(pick) = pick.with_decimal_comma() {
        decode(&pick, payload);
    }
}

/// A line with the pointer, then the JSON.
pub fn pointer(bytes: &[u8]) {
    let (pointer, payload) = first_line(bytes);
    let Some(pick) = pointer.and_then(|pointer| Pick::pointer(pointer).ok()) else { return };
    decode(&pick, payload);
    decode(&pick.with_words([("true".into(), 1.0), ("off".into(), 0.0)]).unwrap(), payload);
}

/// A line with the record's name, then the pack, in JSON or CBOR.
pub fn senml(bytes: &[u8]) {
    let (name, payload) = first_line(bytes);
    for (unit, sum) in [("kW", false), ("°C", false), ("kWh", true)] {
        let Some(pick) = name.and_then(|name| Pick::senml(name, lookup(unit).unwrap(), sum).ok()) else { return };
        decode(&pick, payload);
    }
}

/// A payload that is a word.
pub fn words(bytes: &[u8]) {
    let words = || [("open".to_string(), 1.0), ("closed".to_string(), 0.0), ("ajar".to_string(), 0.5)];
    decode(&Pick::words(words()).unwrap(), bytes);
    decode(&Pick::column(2, ',').unwrap().with_words(words()).unwrap(), bytes);
}

fn first_line(bytes: &[u8]) -> (Option<&str>, &[u8]) {
    let end = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(bytes.len());
    (std::str::from_utf8(&bytes[..end]).ok(), bytes.get(end + 1..).unwrap_or_default())
}

/// What comes out is a finite number, or short words for a log.
fn decode(pick: &Pick, payload: &[u8]) {
    match pick.decode(payload) {
        Ok(number) => assert!(number.is_finite(), "{number}"),
        Err(error) => {
            let told = error.to_string();
            assert!(!told.chars().any(char::is_control) && told.len() < 2000, "{told:?}");
        }
    }
}

/// A bitmap face.
pub fn bdf(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    match Sheet::parse(text) {
        Ok(sheet) => {
            sheet.figure_height();
            if let Ok(strike) = sheet.into_strike("hostile") {
                strike.figure_ink();
                strike.glyph_or_missing('8');
            }
        }
        Err(error) => assert!(error.line >= 1 && error.to_string().len() < 2000, "{error}"),
    }
}

/// An outline face, drawn small, as usual and large.
pub fn outline(bytes: &[u8]) {
    let mut catalogue = Catalogue::new();
    if catalogue.add_outline("hostile", bytes, "°€").is_ok() {
        for height in [9, 22, 64] {
            let strike = catalogue.strike("hostile", height).unwrap();
            let most = i64::from(height) * 64;
            for (character, glyph) in strike.glyphs() {
                let size = glyph.bitmap.size();
                assert!(i64::from(size.width.max(size.height)) <= most, "{character:?}: {size:?} at {height} px");
            }
        }
    }
}

/// A stored past: the bytes as they are, and behind a header whose checksum agrees, as somebody hostile would write them.
pub fn stored(bytes: &[u8]) {
    static MAGIC: LazyLock<Vec<u8>> = LazyLock::new(|| {
        let (mut empty, _) = encode([], Moment::default(), Duration::ZERO);
        // Behind the magic word come version, length and sum, the time, and the number of windows.
        empty.truncate(empty.len() - 24);
        empty
    });
    recall(bytes);
    let Some((version, body)) = bytes.strip_prefix(&MAGIC[..]).and_then(|rest| rest.split_at_checked(4)) else {
        return;
    };
    let body = body.get(8..).unwrap_or_default();
    let about = [version, &(body.len() as u32).to_le_bytes()].concat();
    let sum = crc32fast::hash(&[&about[..], body].concat()).to_le_bytes();
    recall(&[&MAGIC[..], &about, &sum, body].concat());
}

/// What the first inputs of `stored` were made of.
pub fn past() -> (ReadingSpec, [Span; 2]) {
    let spec = ReadingSpec {
        name: "temp".into(),
        filter: Filter::new("cellar/ripening/climate").unwrap(),
        presence: None,
        pick: Pick::column(1, ',').unwrap(),
        range: None,
        stale: Some(Duration::from_secs(60)),
        trust: Trust::PLAIN,
        unit: lookup("°C").unwrap(),
    };
    (spec, [Span::Last(Duration::from_secs(1440)), Span::Today])
}

fn recall(bytes: &[u8]) {
    let Ok(stored) = Stored::decode(bytes) else { return };
    let (spec, spans) = past();
    let at = |seconds| Moment::at(Duration::from_secs(seconds));
    for span in spans {
        let bounds = (f64::NEG_INFINITY, f64::INFINITY);
        let lookback = Lookback { identity: spec.identity(), span, hold: spec.stale, bounds };
        for time in [0, 1_795_000_000, 1_795_000_700, 1_795_100_000, u64::from(u32::MAX) * 4] {
            for now in [0, 5, 3_000_000_000] {
                let Some(mut history) = stored.window(&lookback, at(now), Duration::from_secs(time), 7) else {
                    continue;
                };
                for later in [0, 1, 100, 5000] {
                    history.move_on(at(now + later), 7);
                    figures(&history, at(now + later));
                }
                history.hear(12.4, at(now + 5000));
                figures(&history, at(now + 5000));
                encode([(&lookback, &history)], at(now + 5000), Duration::from_secs(time));
            }
        }
    }
}

fn figures(history: &History, now: Moment) {
    for figure in
        [Figure::Lowest, Figure::Highest, Figure::Mean, Figure::Change, Figure::Slope, Figure::Integral, Figure::Count]
    {
        assert!(history.figure(figure).is_none_or(f64::is_finite), "{figure:?}: {:?}", history.figure(figure));
    }
    history.trend(&mut [None; 48]);
    assert!(history.next_move(now).is_none_or(|next| next > now), "a wake-up that is over");
}

/// The bus of an emulated panel: a byte that chooses the panel, then writes, each behind its length.
pub fn panel(bytes: &[u8]) {
    let Some((&choice, mut rest)) = bytes.split_first() else { return };
    let controller = [Controller::Ssd1306, Controller::Sh1106][usize::from(choice & 1)];
    let size =
        [Size::new(128, 64), Size::new(128, 32), Size::new(64, 48), Size::new(72, 40)][usize::from(choice >> 1 & 3)];
    let mut panel = EmulatedPanel::new(controller, size, 0x3c, u64::from(choice));
    while let Some((&length, more)) = rest.split_first() {
        let (now, later) = more.split_at(usize::from(length).min(more.len()));
        panel.write(if length == 0xff { 0x3d } else { 0x3c }, now).ok();
        rest = later;
    }
    let mut status = [0];
    panel.write_read(0x3c, &[0x00], &mut status).unwrap();
    assert!(panel.complaints().len() <= EmulatedPanel::COMPLAINTS);
    panel.glass();
    panel.power_cycle();
    assert!(!panel.is_lit());
}
