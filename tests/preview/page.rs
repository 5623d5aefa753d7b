//! The page in a real browser: what somebody sees, points at and types.

use std::path::{Path, PathBuf};

use fantoccini::Locator;
use fantoccini::key::Key;
use serde_json::{Value, json};
use sidelight::draw::{Frame, Point, picture};
use sidelight::readings::State::{Faulty, Live, Stale};

use super::browser::Browser;
use super::kit::{DOOR, Preview, drawn};

/// Whether the canvas shows a frame, pixel by pixel: each pixel is a square of the canvas, lit or not in its middle and at all four of its
/// inner corners.
const SHOWS: &str = "
    const [rows] = arguments, canvas = document.getElementById('picture'), cell = Number(canvas.dataset.cell);
    if (canvas.width !== rows[0].length * cell || canvas.height !== rows.length * cell) return false;
    const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
    const far = cell - 1 - (cell >= 5 ? Math.max(1, Math.round(cell * 0.12)) : 0);
    return rows.every((row, y) => [...row].every((pixel, x) => [[0, 0], [far, 0], [0, far], [far, far], [far >> 1, far >> 1]].every(([dx, dy]) => {
      const at = ((y * cell + dy) * canvas.width + x * cell + dx) * 4;
      return (data[at] + data[at + 1] + data[at + 2] > 300) === (pixel === '#');
    })));";

fn rows(frame: &Frame) -> Value {
    let height = frame.pages() as i32 * 8;
    let width = frame.bytes().len() as i32 / frame.pages() as i32;
    let row = |y| (0..width).map(|x| if frame.pixel(Point::new(x, y)) { '#' } else { '.' }).collect::<String>();
    (0..height).map(row).collect()
}

impl Browser {
    pub(super) async fn shows(&self, frame: &Frame) {
        self.until("the picture on the canvas", SHOWS, &[rows(frame)]).await;
    }

    /// Puts a number into a field as somebody types it.
    pub(super) async fn types(&self, id: &str, number: &str) {
        let field = self.page.find(Locator::Id(id)).await.unwrap();
        field.click().await.unwrap();
        self.run("arguments[0].select()", &[serde_json::to_value(&field).unwrap()]).await;
        field.send_keys(number).await.unwrap();
    }

    /// Presses keys wherever the focus is.
    pub(super) async fn press(&self, keys: &str) {
        self.page.active_element().await.unwrap().send_keys(keys).await.unwrap();
    }

    /// What axe finds against WCAG 2.2 AA.
    pub(super) async fn violations(&self, axe: &str) -> Value {
        self.run(axe, &[]).await;
        let check = "
            const done = arguments[arguments.length - 1];
            axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
              .then((found) => done(found.violations.map((one) => `${one.id}: ${one.help}: ${one.nodes.map((node) => node.html + ' ' + node.failureSummary).slice(0, 4).join(' | ')}`)),
                    (problem) => done([String(problem)]))";
        self.page.execute_async(check, vec![]).await.unwrap()
    }

    pub(super) async fn focused(&self) -> String {
        self.run("return document.activeElement.id || document.activeElement.tagName", &[])
            .await
            .as_str()
            .unwrap()
            .to_string()
    }
}

/// Moves the pointer over a pixel of a panel of 128x32.
async fn point(browser: &Browser, x: i32, y: i32) {
    let script = "
        const view = document.getElementById('panel'), { left, top, width, height } = view.getBoundingClientRect(), [x, y] = arguments;
        view.dispatchEvent(new PointerEvent('pointermove', { clientX: left + (x + 0.5) * width / 128, clientY: top + (y + 0.5) * height / 32 }))";
    browser.run(script, &[json!(x), json!(y)]).await;
}

#[tokio::test]
async fn a_control_moves_the_picture_and_every_pixel_is_the_library_s() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    browser.shows(&drawn(DOOR, &[("temp", 15.0, Live), ("rh", 50.0, Live)])).await;
    browser.types("reading-0-field", "12.4").await;
    browser.types("reading-1-field", "91").await;
    browser.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Live)])).await;
    // A slider by its keys: one step of the reading is a tenth of a degree.
    let slider = browser.page.find(Locator::Id("reading-0-slider")).await.unwrap();
    slider.send_keys(&Key::Right.to_string()).await.unwrap();
    browser.shows(&drawn(DOOR, &[("temp", 12.5, Live), ("rh", 91.0, Live)])).await;
    for (state, expected) in [("stale", Stale), ("faulty", Faulty)] {
        browser
            .run("document.getElementById(arguments[0]).click()", &[json!(format!("reading-1-state-{state}"))])
            .await;
        browser.shows(&drawn(DOOR, &[("temp", 12.5, Live), ("rh", 91.0, expected)])).await;
    }
    // Whatever the size.
    for size in ["2", "3", "10", "true"] {
        browser.run("const s = document.getElementById('size'); s.value = arguments[0]; s.dispatchEvent(new Event('change'))", &[json!(size)]).await;
        browser.shows(&drawn(DOOR, &[("temp", 12.5, Live), ("rh", 91.0, Faulty)])).await;
    }
    browser.close().await;
}

#[tokio::test]
async fn a_save_is_seen_without_losing_the_controls_and_a_broken_file_is_grey_with_words() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    browser.types("reading-0-field", "12.4").await;
    browser.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 50.0, Live)])).await;
    // A mark that a reload would wipe out, and the time at which the picture changed.
    browser.run("window.before = true", &[]).await;
    let layout = DOOR.replace("gap: 10", "gap: 2");
    preview.save(&layout);
    let readings = [("temp", 12.4, Live), ("rh", 50.0, Live)];
    browser.shows(&drawn(&layout, &readings)).await;
    assert_eq!(
        browser.run("return [window.before, document.getElementById('reading-0-field').value]", &[]).await,
        json!([true, "12.4"])
    );
    assert!(browser.text("lines").await.contains("gap: 2"));

    preview.save(&layout.replace("bar temp over", "bar tmp over"));
    browser.until("the notice", "return !document.getElementById('old').hidden", &[]).await;
    let notice = browser.text("old").await;
    assert!(notice.contains("a mistake") && notice.contains("last good picture"), "{notice}");
    let findings = browser.text("findings").await;
    assert!(findings.contains("error, line 11: unknown name") && findings.contains("tmp"), "{findings}");
    assert_eq!(browser.text("condition").await, "1 error and 0 warnings");
    let grey = "return getComputedStyle(document.getElementById('seen')).filter.startsWith('grayscale(1) opacity(0.')";
    browser.until("the grey picture", grey, &[]).await;
    assert_eq!(browser.run("return document.querySelector('.line.error').dataset.line", &[]).await, json!("11"));
    browser.shows(&drawn(&layout, &readings)).await;

    preview.save(DOOR);
    browser.until("no notice", "return document.getElementById('old').hidden", &[]).await;
    browser.shows(&drawn(DOOR, &readings)).await;
    browser.close().await;
}

#[tokio::test]
async fn pointing_at_a_pixel_tells_its_element_and_a_line_its_pixels() {
    let Some(browser) = Browser::open(1280, 1200, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    point(&browser, 100, 20).await;
    let told = browser.text("pixel").await;
    assert!(told.starts_with("100, 20 is ") && told.contains("a text, live, that shows 50%"), "{told}");
    assert!(told.contains("rh: 50 %, live, just heard, from cellar/ripening/climate"), "{told}");
    let lit = "return [...document.querySelectorAll('.line.lit')].map((line) => Number(line.dataset.line))";
    assert_eq!(browser.run(lit, &[]).await, json!([16]));
    let readings = "return [...document.querySelectorAll('.reading.lit h3')].map((name) => name.textContent)";
    assert_eq!(browser.run(readings, &[]).await, json!(["rh"]));
    // The other way round: the line of a bar marks its rectangle.
    browser.run("document.getElementById('panel').dispatchEvent(new PointerEvent('pointerleave'))", &[]).await;
    browser.run("document.querySelector('#line-11 .code').dispatchEvent(new PointerEvent('pointerover', { bubbles: true }))", &[]).await;
    let marks = browser
        .run("return [...document.querySelectorAll('#marks .over')].map((mark) => mark.getAttribute('height'))", &[])
        .await;
    assert_eq!(marks, json!(["10"]), "nine rows and half a pixel around them");
    browser.close().await;
}

#[tokio::test]
async fn everything_can_be_done_by_keyboard() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    let tab = Key::Tab.to_string();
    let mut reached = Vec::new();
    for _ in 0..60 {
        browser.press(&tab).await;
        let place = browser.focused().await;
        if place == "BODY" {
            break;
        }
        let seen = "const s = getComputedStyle(document.activeElement.matches('.choices input') ? document.activeElement.nextSibling : document.activeElement);
            return parseFloat(s.outlineWidth) >= 2 && s.outlineStyle !== 'none'";
        assert_eq!(browser.run(seen, &[]).await, json!(true), "the focus on {place} is not to be seen");
        match place.as_str() {
            "reading-0-slider" => browser.press(&Key::Right.to_string()).await,
            "reading-1-state-live" => browser.press(&Key::Right.to_string()).await,
            "panel" => {
                let (right, down) = (Key::Right.to_string(), Key::Down.to_string());
                browser.press(&right.repeat(3)).await;
                browser.press(&down.repeat(2)).await;
                let told = browser.text("pixel").await;
                assert!(told.starts_with("3, 2 is ") && told.contains("a bar, live, that shows 15"), "{told}");
                assert_eq!(
                    browser.run("return document.querySelectorAll('#marks .cursor').length", &[]).await,
                    json!(1)
                );
            }
            _ => {}
        }
        reached.push(place);
    }
    for wanted in [
        "size",
        "colour",
        "distance",
        "ruler",
        "panel",
        "play",
        "reading-0-slider",
        "reading-0-field",
        "reading-1-age",
        "screen",
        "time",
        "clock",
        "lines",
    ] {
        assert!(reached.iter().any(|place| place == wanted), "{wanted} cannot be reached: {reached:?}");
    }
    browser.shows(&drawn(DOOR, &[("temp", 15.1, Live), ("rh", 50.0, Stale)])).await;
    browser.close().await;
}

#[tokio::test]
async fn keys_lead_from_the_picture_to_the_line() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    let mut tabs = 0;
    while browser.focused().await != "panel" {
        assert!(tabs < 60, "the picture cannot be reached");
        browser.press(&Key::Tab.to_string()).await;
        tabs += 1;
    }
    browser.press(&Key::Enter.to_string()).await;
    assert_eq!(browser.focused().await, "lines");
    browser.press(&Key::Down.to_string()).await;
    let selected = browser.run("return document.querySelector('.line[aria-selected=true]').dataset.line", &[]).await;
    assert_eq!(selected, json!("12"));
    browser.close().await;
}

#[tokio::test]
async fn the_look_from_a_distance_blurs_by_the_eye_s_acuity() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    let look = "
        const [size, metres] = arguments, s = document.getElementById('size'), d = document.getElementById('distance');
        s.value = size; s.dispatchEvent(new Event('change')); d.value = metres; d.dispatchEvent(new Event('input'));
        return [document.getElementById('seen').style.filter, Number(document.getElementById('blur').getAttribute('stdDeviation'))]";
    let seen = browser.run(look, &[json!("4"), json!(2)]).await;
    // One minute of arc from 2 m is 0.582 mm, a Gaussian's full width at half height is 2.355 deviations, a pixel is 0.175 mm: 1.412 pixels.
    assert_eq!(seen[0], json!("url(\"#eye\")"));
    assert!((seen[1].as_f64().unwrap() - 4.0 * 1.412).abs() < 0.01, "{seen}");
    let words = browser.text("distance-words").await;
    assert!(words.contains("digits want 54 px"), "{words}");
    let close = browser.run(look, &[json!("4"), json!(0)]).await;
    assert_eq!(close[0], json!(""));
    browser.close().await;
}

/// axe-core as `npm install axe-core` lays it down; `AXE` names its file.
pub(super) fn axe() -> Option<String> {
    let file = std::env::var_os("AXE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/axe/node_modules/axe-core/axe.min.js"),
        PathBuf::from,
    );
    match std::fs::read_to_string(&file) {
        Ok(script) => Some(script),
        Err(problem) => {
            let required = std::env::var_os("SIDELIGHT_BROWSER").is_some_and(|value| value == "required");
            assert!(!required, "{}: {problem}", file.display());
            println!(
                "LEFT OUT: {} is not there ({problem}); `npm install --prefix target/axe axe-core` fetches it",
                file.display()
            );
            None
        }
    }
}

#[tokio::test]
async fn axe_finds_nothing_against_wcag_2_2_aa_and_nothing_is_cut_off() {
    let Some(axe) = axe() else { return };
    for (width, dark, broken) in [(1280, false, false), (390, false, true), (1280, true, true), (390, true, false)] {
        let Some(browser) = Browser::open(width, 900, dark).await else { return };
        let preview = Preview::of(DOOR);
        browser.go(&preview.url).await;
        browser.until("the sheet", "return document.querySelectorAll('#sheet canvas').length >= 6", &[]).await;
        if broken {
            preview.save(&DOOR.replace("bar temp over", "bar tmp over"));
            browser.until("the report", "return document.querySelector('#findings .error') !== null", &[]).await;
        } else {
            browser.run("document.getElementById('panel').focus()", &[]).await;
            browser.press(&Key::Right.to_string()).await;
        }
        let violations = browser.violations(&axe).await;
        assert_eq!(violations, json!([]), "at {width} px, dark: {dark}, broken: {broken}");
        let wide = browser.run("return document.documentElement.scrollWidth", &[]).await;
        assert_eq!(wide, json!(width), "the page is wider than its window");
        browser.close().await;
    }
}

/// The README's picture of the page. `SIDELIGHT_RENEW=preview.png` takes it anew; its letters are those of the machine, so that only the panel
/// on it is compared.
#[tokio::test]
async fn the_readme_shows_the_page_as_it_is() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let file = "layouts/pictures/preview.png";
    assert!(std::fs::read_to_string(root.join("README.md")).unwrap().contains(&format!("]({file})")));
    let Some(browser) = Browser::open(1280, 860, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go(&preview.url).await;
    browser.types("reading-0-field", "12.4").await;
    browser.types("reading-1-field", "91").await;
    let wanted = drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Live)]);
    browser.shows(&wanted).await;
    browser.run("document.activeElement.blur(); scrollTo(0, 0)", &[]).await;
    point(&browser, 25, 20).await;
    if std::env::var("SIDELIGHT_RENEW").is_ok_and(|part| !part.is_empty() && file.contains(&part)) {
        std::fs::write(root.join(file), browser.page.screenshot().await.unwrap()).unwrap();
    }
    // The middle of each pixel of the panel, below which the kept picture must be lit or dark.
    let place = "const { left, top, width } = document.getElementById('picture').getBoundingClientRect(); return [left, top, width / 128]";
    let place = browser.run(place, &[]).await;
    let [left, top, cell] = [0, 1, 2].map(|part| place[part].as_f64().unwrap());
    let kept = picture::from_png(&std::fs::read(root.join(file)).unwrap()).unwrap();
    let at = |from: f64, pixel: i32| (from + (f64::from(pixel) + 0.4) * cell) as i32;
    // The mark around the element covers what lies directly around it.
    let mark = "const mark = document.querySelector('#marks .over'); return ['x', 'y', 'width', 'height'].map((part) => Number(mark.getAttribute(part)))";
    let mark = browser.run(mark, &[]).await;
    let [x, y, width, height] = [0, 1, 2, 3].map(|part| mark[part].as_f64().unwrap());
    let within = |one: &Point, more: f64| {
        let is = |at: i32, from: f64, long: f64| (from + 0.5 - more..from + long - 0.5 + more).contains(&f64::from(at));
        is(one.x, x, width) && is(one.y, y, height)
    };
    let differ = (0..32).flat_map(|y| (0..128).map(move |x| Point::new(x, y)));
    let differ = differ.filter(|one| within(one, 0.0) || !within(one, 1.0));
    let differ = differ.filter(|one| kept.pixel(Point::new(at(left, one.x), at(top, one.y))) != wanted.pixel(*one));
    assert_eq!(differ.count(), 0, "{file} shows another panel: take it anew");
    browser.close().await;
}

#[tokio::test]
async fn nothing_is_refused_by_the_policy_and_no_error_is_told() {
    let Some(browser) = Browser::open(1280, 900, false).await else { return };
    let preview = Preview::of(DOOR);
    browser.go("data:text/html,<html data-ready=yes>").await;
    browser.go(&preview.url).await;
    browser.until("the sheet", "return document.querySelectorAll('#sheet canvas').length >= 6", &[]).await;
    // What was fetched: the program's own files, each of which came.
    let fetched = browser.run("return performance.getEntriesByType('resource').map((one) => [new URL(one.name).origin === location.origin, one.responseStatus])", &[]).await;
    let fetched = fetched.as_array().unwrap();
    assert!(fetched.len() >= 8, "{fetched:?}");
    // The stream of events has no end, and so no status yet.
    assert!(fetched.iter().all(|one| one[0] == true && (one[1] == 200 || one[1] == 0)), "{fetched:?}");
    // A script within the page would not run.
    let ran = browser.run("const s = document.createElement('script'); s.textContent = 'window.foreign = 1'; document.body.append(s); return window.foreign ?? null", &[]).await;
    assert_eq!(ran, Value::Null);
    browser.close().await;
}
