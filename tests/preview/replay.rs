//! A recording on the page: at any moment the picture that `replay` draws, the line of time with its states and its words, and the wear.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};

use fantoccini::Locator;
use fantoccini::key::Key;
use serde_json::{Value, json};
use sidelight::draw::{Frame, picture};
use sidelight::readings::State::{Live, Stale};

use super::browser::Browser;
use super::kit::{DOOR, Preview, drawn};
use super::page::axe;

/// A clock, a time since, and screens by turns: what a picture of a moment alone would not know.
const REMEMBERING: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 45s\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100 stale: 45s\n\
    screen one for: 7s { text \"{temp:.1}° {clock(\"%H:%M:%S\")}\" size: 9 }\n\
    screen two for: 4s { text \"{highest(temp, 1h):.1}°\" size: 12 }\n\
    screen three for: 5s { text \"warm {time_since(temp > 15)}\" size: 9 }\n";

/// Fifteen minutes from two o'clock: a number each half a minute up to 11 minutes, damage from 605 s to 640 s, then silence.
fn recording() -> Vec<u8> {
    let mut text = String::from(
        r#"{"format":"sidelight recording","version":1,"time":"2026-11-25T14:00:00+01:00","filters":["cellar/#"]}"#,
    );
    let mut line = |second: u32, rest: String| {
        text += &format!("\n{{\"time\":\"2026-11-25T14:{:02}:{:02}.250000+01:00\",{rest}}}", second / 60, second % 60);
    };
    let climate = |payload: String| format!(r#""topic":"cellar/ripening/climate","payload":"{payload}""#);
    line(1, r#""session":"subscribed""#.into());
    for step in 0..21 {
        line(
            10 + step * 30,
            if step == 20 { climate("damaged".into()) } else { climate(format!("{}.4,{}", 8 + step / 2, 70 + step)) },
        );
    }
    line(645, climate("12.4,91".into()));
    line(900, r#""session":"ended""#.into());
    text.push('\n');
    text.into_bytes()
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

fn preview(layout: &str) -> Preview {
    Preview::beside(layout, &["--replay", "cellar.jsonl.gz"], &[("cellar.jsonl.gz", &packed(&recording()))])
}

fn sidelight(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sidelight")).args(arguments).current_dir(folder).output().unwrap()
}

/// What `sidelight replay` draws at so many milliseconds from the beginning.
fn replayed(preview: &Preview, milliseconds: u64) -> Frame {
    let (from, until) = (format!("{milliseconds}ms"), format!("{}ms", milliseconds + 1));
    let arguments = ["replay", "cellar.jsonl.gz", "door.layout", "--to", "at.png", "--scale", "1", "--every", "1h"];
    let from: &[&str] = if milliseconds == 0 { &[] } else { &["--from", &from] };
    let output = sidelight(preview.folder.path(), &[&arguments[..], from, &["--until", &until]].concat());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    picture::from_png(&std::fs::read(preview.folder.path().join("at.png")).unwrap()).unwrap()
}

/// Goes to a time; the answer comes when the picture is told.
fn go(preview: &Preview, milliseconds: u64) {
    let answer = preview.post("/replay", &json!({ "to": milliseconds }).to_string());
    assert_eq!(answer.status(), 204, "{}", answer.body);
}

const TIMES: [u64; 14] =
    [0, 10_249, 10_250, 20_000, 611_000, 55_251, 890_000, 640_300, 646_000, 690_251, 690_250, 1_250, 333_333, 900_250];

#[test]
fn any_moment_shows_what_replay_draws_forward_and_back() {
    for layout in [DOOR, REMEMBERING] {
        let preview = preview(layout);
        let mut events = preview.events();
        events.until("the line", |told| told.recording["course"].is_object() && told.picture["place"].is_object());
        for time in TIMES {
            go(&preview, time);
            events.until("the place", |told| told.picture["place"]["at_ms"] == time);
            events.shows(&replayed(&preview, time));
        }
    }
}

#[test]
fn the_line_tells_states_times_and_sums() {
    let preview = preview(DOOR);
    let mut events = preview.events();
    events.until("the line", |told| told.recording["course"].is_object());
    let course = &events.recording["course"];
    assert_eq!(
        (&course["span_ms"], &course["short"], &events.recording["trouble"]),
        (&json!(900_250), &Value::Null, &Value::Null)
    );
    assert_eq!(course["words"], "22 messages for this layout in 15 min, from 25 November 2026, 14:00:00");
    let temp = &course["readings"][0];
    assert_eq!(temp["name"], "temp");
    // Waiting 10.25 s, live 600 s, faulty 35 s, live 45 s and the nanosecond that is more, stale the rest; whole seconds are told.
    assert_eq!(temp["words"], "live 10 min 45 s, stale 3 min 29 s, waiting 10 s, faulty 35 s");
    let columns = temp["columns"].as_str().unwrap();
    let column = course["column_ms"].as_f64().unwrap();
    assert_eq!(columns.len(), (900_250.0 / column).ceil() as usize);
    let at = |milliseconds: f64| columns.as_bytes()[(milliseconds / column) as usize] as char;
    assert_eq!([5e3, 20e3, 620e3, 660e3, 700e3, 900e3].map(at), ['w', 'l', 'f', 'l', 's', 's']);
    let marks: Vec<_> =
        course["marks"].as_array().unwrap().iter().map(|mark| (&mark["at_ms"], &mark["words"])).collect();
    assert_eq!(marks[..2], [(&json!(0), &json!("14:00")), (&json!(300_000), &json!("14:05"))]);

    go(&preview, 620_000);
    events.until("the fault", |told| told.picture["place"]["at_ms"] == 620_000);
    assert_eq!(events.picture["place"]["words"], "25 November 2026, 14:10:20: temp faulty; rh faulty");
    go(&preview, 660_000);
    events.until("live", |told| told.picture["place"]["at_ms"] == 660_000);
    assert_eq!(events.picture["place"]["words"], "25 November 2026, 14:11:00: temp 12.4 °C, live; rh 91 %, live");
    // Behind the end there is nothing.
    go(&preview, u64::MAX);
    events.until("the end", |told| told.picture["place"]["at_ms"] == 900_250);
}

#[test]
fn a_changed_file_keeps_the_place_and_a_control_holds_against_the_recording() {
    let preview = preview(DOOR);
    let mut events = preview.events();
    events.until("the line", |told| told.recording["course"].is_object());
    go(&preview, 660_000);
    events.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Live)]));
    let layout = DOOR.replace("gap: 10", "gap: 2");
    preview.save(&layout);
    events.until("the other line", |told| told.layout["text"] == layout && told.recording["ready"] == true);
    events.shows(&replayed(&preview, 660_000));
    assert_eq!(events.picture["place"]["at_ms"], 660_000);
    // A broken one leaves the last good one at work.
    preview.save(&layout.replace("bar temp over", "bar tmp over"));
    events.until("the mistake", |told| told.layout["current"] == false);
    go(&preview, 700_000);
    events.shows(&drawn(&layout, &[("temp", 12.4, Stale), ("rh", 91.0, Stale)]));
    // Another topic is read from the file anew.
    preview.save(&layout.replace("cellar/ripening/climate", "cellar/brine/climate"));
    events.until("the other topic", |told| told.recording["course"]["readings"][0]["words"] == "waiting 15 min");

    preview.save(&layout);
    events.until("the first topic", |told| told.recording["course"]["readings"][0]["words"] != "waiting 15 min");
    go(&preview, 660_000);
    preview.change(&json!({ "number": { "reading": "temp", "to": 9 } }));
    events.shows(&drawn(&layout, &[("temp", 9.0, Live), ("rh", 91.0, Live)]));
    go(&preview, 700_000);
    events.shows(&drawn(&layout, &[("temp", 9.0, Live), ("rh", 91.0, Stale)]));
    preview.change(&json!({ "release": { "reading": "temp" } }));
    events.shows(&drawn(&layout, &[("temp", 12.4, Stale), ("rh", 91.0, Stale)]));
}

#[test]
fn it_plays_at_a_speed_and_stops_at_the_end() {
    let preview = preview(DOOR);
    let mut events = preview.events();
    events.until("the line", |told| told.recording["course"].is_object());
    assert_eq!(preview.post("/replay", r#"{"play": {"speed": 600, "every": 50}}"#).status(), 204);
    events.until("that it plays", |told| told.picture["place"]["speed"] == 600.0);
    events.until("a place on the way", |told| (1..900_250).contains(&told.picture["place"]["at_ms"].as_u64().unwrap()));
    events.until("the end", |told| told.picture["place"]["speed"].is_null());
    assert_eq!(events.picture["place"]["at_ms"], 900_250);
    // From the end it begins anew, and pauses where it is.
    assert_eq!(preview.post("/replay", r#"{"play": {"speed": 1, "every": 50}}"#).status(), 204);
    events.until("the beginning", |told| told.picture["place"]["at_ms"].as_u64().unwrap() < 60_000);
    assert_eq!(preview.post("/replay", r#""pause""#).status(), 204);
    events.until("the pause", |told| told.picture["place"]["speed"].is_null());
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    let preview = preview(DOOR);
    for (path, body, status, words) in [
        ("/replay", r#"{"play": {"speed": 0, "every": 50}}"#, 422, "a speed must be a number from 0.1 to 86400"),
        ("/replay", r#"{"to": -5}"#, 400, "not understood"),
        ("/replay", r#"{"back": 5}"#, 400, "not understood"),
        ("/change", r#"{"time": "2026-11-25T12:00"}"#, 422, "the recording has its own time"),
    ] {
        let answer = preview.post(path, body);
        assert!(
            answer.status() == status && answer.body.contains(words),
            "{body}: {} {}",
            answer.status(),
            answer.body
        );
    }
    let plain = Preview::of(DOOR);
    let answer = plain.post("/replay", r#"{"to": 5}"#);
    assert!(answer.status() == 422 && answer.body.contains("start with --replay"), "{}", answer.body);
    let folder = preview.folder.path();
    for (more, words) in [
        (
            &["--replay", "cellar.jsonl.gz", "--terminal"][..],
            "in a terminal, `sidelight replay RECORDING LAYOUT` plays",
        ),
        (&["--replay", "cellar.jsonl.gz", "--broker", "mqtt://127.0.0.1:1"], "cannot be used with"),
        (&["--replay", "door.layout"], "this is no recording"),
        (&["--replay", "none.jsonl"], "cannot read none.jsonl"),
    ] {
        let output = sidelight(folder, &[&["preview", "door.layout"], more].concat());
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(2) && told.contains(words), "{more:?}: {told}");
    }
}

#[test]
fn what_is_left_of_a_damaged_recording_is_shown_and_said() {
    let bytes = recording();
    let cut = &bytes[..bytes.len() / 2];
    let preview = Preview::beside(DOOR, &["--replay", "cut.jsonl"], &[("cut.jsonl", cut)]);
    let mut events = preview.events();
    events.until("the line", |told| told.recording["course"].is_object());
    let told = events.recording["course"]["short"].as_str().unwrap();
    assert!(told.starts_with("the recording was cut off in line 1"), "{told}");
    assert!(events.recording["course"]["span_ms"].as_u64().unwrap() > 100_000);
}

#[test]
fn the_wear_is_that_of_the_verb() {
    let preview = preview(DOOR);
    let mut events = preview.events();
    events.until("the line", |told| told.recording["course"].is_object());
    let wear = &events.recording["course"]["wear"];
    let output = sidelight(
        preview.folder.path(),
        &["wear", "door.layout", "--recording", "cellar.jsonl.gz", "--out", "wear.png", "--scale", "1"],
    );
    let told = String::from_utf8(output.stdout).unwrap();
    for row in wear["rows"].as_array().unwrap() {
        let line = told.lines().find_map(|line| line.strip_prefix(row["name"].as_str().unwrap())).unwrap();
        let left: Vec<String> =
            line.split('%').map(|share| share.trim().to_string()).filter(|share| !share.is_empty()).collect();
        let there: Vec<&str> = row["left"]
            .as_array()
            .unwrap()
            .iter()
            .map(|share| share.as_str().unwrap().trim_end_matches(" %"))
            .collect();
        assert_eq!(left, there, "{told}");
    }
    let difference = told.lines().find(|line| line.starts_with("the difference")).unwrap();
    assert!(wear["words"].as_str().unwrap().contains(difference), "{wear}");
    let png =
        image::load_from_memory(&std::fs::read(preview.folder.path().join("wear.png")).unwrap()).unwrap().to_luma8();
    let shades: String = png.pixels().map(|pixel| format!("{:02x}", pixel[0])).collect();
    assert!(wear["shades"] == shades.as_str() && shades.contains("ff"), "the picture is another");
}

impl Browser {
    async fn open_recording(&self, preview: &Preview) {
        self.go(&preview.url).await;
        self.until(
            "the line",
            "return document.documentElement.dataset.recording === 'ready' && !document.getElementById('line').hidden",
            &[],
        )
        .await;
    }

    /// The time on the slider once the program is there, too.
    async fn arrives(&self) -> u64 {
        self.until("the place", "const at = document.getElementById('at'); return at.getAttribute('aria-valuetext')?.startsWith(document.getElementById('at-value').textContent) === true && at.dataset.told === at.value", &[]).await;
        let value = self.run("return Number(document.getElementById('at').value)", &[]).await;
        value.as_u64().unwrap()
    }
}

#[tokio::test]
async fn the_slider_shows_what_replay_draws_by_mouse_by_key_and_by_touching_a_strip() {
    let Some(browser) = Browser::open(1280, 1200, false).await else { return };
    let preview = preview(REMEMBERING);
    browser.open_recording(&preview).await;
    browser.shows(&replayed(&preview, 0)).await;
    // The middle of the slider.
    browser.page.find(Locator::Id("at")).await.unwrap().click().await.unwrap();
    let middle = browser.arrives().await;
    assert!((430_000..470_000).contains(&middle), "{middle}");
    browser.shows(&replayed(&preview, middle)).await;
    for (keys, to) in [
        (Key::Right, middle + 5000),
        (Key::Left, middle),
        (Key::PageUp, middle + 60_000),
        (Key::End, 900_250),
        (Key::Home, 0),
    ] {
        browser.press(&keys.to_string()).await;
        assert_eq!(browser.arrives().await, to, "{keys:?}");
        browser.shows(&replayed(&preview, to)).await;
    }
    // Two thirds along a strip, and back.
    for part in [0.69, 0.2] {
        let click = "
            const strip = document.querySelector('#strips svg'), { left, top, width } = strip.getBoundingClientRect();
            strip.dispatchEvent(new MouseEvent('click', { bubbles: true, clientX: left + width * arguments[0], clientY: top + 5 }))";
        browser.run(click, &[json!(part)]).await;
        browser
            .until(
                "the place",
                "return Math.abs(Number(document.getElementById('at').value) - 900250 * arguments[0]) < 2000",
                &[json!(part)],
            )
            .await;
        let to = browser.arrives().await;
        browser.shows(&replayed(&preview, to)).await;
    }
    // Another layout, the same place.
    let to = browser.arrives().await;
    preview.save(&REMEMBERING.replace("size: 12", "size: 16").replace("warm", "was warm"));
    browser.until("the other file", "return document.getElementById('lines').textContent.includes('size: 16') && document.documentElement.dataset.recording === 'ready'", &[]).await;
    assert_eq!(browser.arrives().await, to);
    browser.shows(&replayed(&preview, to)).await;
    // How the panel wears, pixel by pixel.
    let shades = "
        const canvas = document.querySelector('#wear canvas'), data = canvas.getContext('2d').getImageData(0, 0, 128, 32).data;
        return Array.from({ length: 128 * 32 }, (_, index) => data[index * 4])";
    let output = sidelight(
        preview.folder.path(),
        &["wear", "door.layout", "--recording", "cellar.jsonl.gz", "--out", "wear.png", "--scale", "1"],
    );
    assert!(output.status.success());
    let png =
        image::load_from_memory(&std::fs::read(preview.folder.path().join("wear.png")).unwrap()).unwrap().to_luma8();
    let wanted: Value = png.pixels().map(|pixel| pixel[0]).collect();
    browser
        .until("the wear", &format!("{shades}.every((shade, index) => shade === arguments[0][index])"), &[wanted])
        .await;
    browser.close().await;
}

#[tokio::test]
async fn a_recording_can_be_gone_through_by_keyboard_alone_and_is_told_in_words() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = preview(DOOR);
    browser.open_recording(&preview).await;
    let tab = Key::Tab.to_string();
    let mut tabs = 0;
    while browser.focused().await != "roll" {
        assert!(tabs < 60, "play cannot be reached");
        browser.press(&tab).await;
        tabs += 1;
    }
    browser.press(" ").await;
    browser.until("that it plays", "return document.getElementById('roll').textContent === 'Pause it' && Number(document.getElementById('at').value) > 0", &[]).await;
    browser.until("the end", "return document.getElementById('roll').textContent === 'Play it'", &[]).await;
    browser.press(&tab).await;
    assert_eq!(browser.focused().await, "speed");
    browser.press(&tab).await;
    assert_eq!(browser.focused().await, "at");
    browser.press(&Key::Home.to_string()).await;
    for _ in 0..3 {
        browser.press(&Key::Right.to_string()).await;
    }
    assert_eq!(browser.arrives().await, 15_000);
    let words = "return document.getElementById('at').getAttribute('aria-valuetext')";
    assert_eq!(browser.run(words, &[]).await, "25 November 2026, 14:00:15: temp 8.4 °C, live; rh 70 %, live");
    browser.shows(&drawn(DOOR, &[("temp", 8.4, Live), ("rh", 70.0, Live)])).await;
    let strips = "return [...document.querySelectorAll('#strips p')].map((one) => one.textContent)";
    assert_eq!(
        browser.run(strips, &[]).await,
        json!([
            "templive 10 min 45 s, stale 3 min 29 s, waiting 10 s, faulty 35 s",
            "rhlive 10 min 45 s, stale 3 min 29 s, waiting 10 s, faulty 35 s"
        ])
    );
    // Told apart without colour: each state has its own height or pattern.
    let looks = "return [...new Set([...document.querySelectorAll('#strips rect:not(.ground)')].map((bar) => [bar.getAttribute('height'), getComputedStyle(bar).fill.includes('url') ? getComputedStyle(bar).fill : 'full'].join(' ')))].length";
    assert_eq!(browser.run(looks, &[]).await, json!(4));
    browser.close().await;
}

#[tokio::test]
async fn axe_finds_nothing_with_a_recording_and_nothing_is_cut_off() {
    let Some(axe) = axe() else { return };
    for (width, dark) in [(1280, false), (390, true)] {
        let Some(browser) = Browser::open(width, 900, dark).await else { return };
        let preview = preview(DOOR);
        browser.open_recording(&preview).await;
        browser.until("the sheet", "return document.querySelectorAll('#sheet canvas').length >= 6", &[]).await;
        browser.run("document.getElementById('at').focus()", &[]).await;
        browser.press(&Key::PageUp.to_string()).await;
        browser.arrives().await;
        let violations = browser.violations(&axe).await;
        assert_eq!(violations, json!([]), "at {width} px, dark: {dark}");
        let wide = browser.run("return document.documentElement.scrollWidth", &[]).await;
        assert_eq!(wide, json!(width), "the page is wider than its window");
        let cut = "return [...document.querySelectorAll('.time-marks span')].filter((mark) => { const box = mark.getBoundingClientRect(); return box.left < 0 || box.right > innerWidth; }).length";
        assert_eq!(browser.run(cut, &[]).await, json!(0), "a mark of time is cut off");
        browser.close().await;
    }
}
