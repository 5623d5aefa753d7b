//! Over HTTP: who is served and what, what is refused and in which words, and what an open page is told.

use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::time::Duration;

use serde_json::{Value, json};
use sidelight::readings::State::{Faulty, Live, Stale, Waiting};

use super::kit::{DOOR, Preview, drawn};

const FILES: [(&str, &str); 10] = [
    ("/", "text/html; charset=utf-8"),
    ("/page.css", "text/css; charset=utf-8"),
    ("/mark.svg", "image/svg+xml"),
    ("/page.js", "text/javascript; charset=utf-8"),
    ("/panel.js", "text/javascript; charset=utf-8"),
    ("/pointer.js", "text/javascript; charset=utf-8"),
    ("/controls.js", "text/javascript; charset=utf-8"),
    ("/replay.js", "text/javascript; charset=utf-8"),
    ("/source.js", "text/javascript; charset=utf-8"),
    ("/tables.js", "text/javascript; charset=utf-8"),
];

#[test]
fn every_answer_carries_its_headers() {
    let preview = Preview::of(DOOR);
    for (path, kind) in FILES {
        let answer = preview.get(path);
        assert_eq!((answer.status(), answer.header("content-type")), (200, Some(kind)), "{path}");
    }
    let refused = preview.ask("GET / HTTP/1.1\r\nHost: cellar.example\r\nConnection: close\r\n\r\n");
    for answer in [preview.get("/"), preview.get("/nothing"), preview.post("/change", "{}"), refused] {
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'; style-src 'self'"), "{policy}");
        assert!(!policy.contains("unsafe") && policy.contains("frame-ancestors 'none'"), "{policy}");
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("x-frame-options", "deny"),
            ("referrer-policy", "no-referrer"),
            ("cache-control", "no-store"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), Some(value));
        }
        assert_eq!(answer.header("access-control-allow-origin"), None);
    }
}

/// The policy would refuse it in a browser; that nothing of the kind is there keeps the page working.
#[test]
fn the_page_holds_no_script_or_style_and_fetches_nothing_from_elsewhere() {
    let preview = Preview::of(DOOR);
    for (path, _) in FILES {
        let text = preview.get(path).body;
        assert!(!text.contains("https://") && !text.contains("style=\"") && !text.contains("<style"), "{path}");
        let addresses: Vec<&str> = text.match_indices("http://").map(|(at, _)| &text[at..]).collect();
        let names = ["http://www.w3.org/2000/svg"];
        assert!(addresses.iter().all(|address| names.iter().any(|name| address.starts_with(name))), "{path}");
        for handler in [" onclick=", " onload=", " oninput=", "javascript:", "innerHTML", "eval("] {
            assert!(!text.contains(handler), "{path} holds {handler}");
        }
    }
}

#[test]
fn foreign_hosts_and_origins_are_refused_in_words() {
    let preview = Preview::of(DOOR);
    let port = preview.port;
    for lines in [
        "Host: cellar.example".to_string(),
        format!("Host: cellar.example:{port}"),
        "Host: 127.0.0.1:1".to_string(),
        format!("Host: 127.0.0.1:{port}\r\nOrigin: http://cellar.example"),
        format!("Host: 127.0.0.1:{port}\r\nOrigin: null"),
        format!("Host: 127.0.0.1:{port}\r\nSec-Fetch-Site: cross-site"),
    ] {
        for path in ["/", "/events", "/page.js", "/nothing"] {
            let answer = preview.ask(&format!("GET {path} HTTP/1.1\r\n{lines}\r\nConnection: close\r\n\r\n"));
            assert_eq!(answer.status(), 403, "{path} with {lines}");
            assert!(answer.body.contains("127.0.0.1") || answer.body.contains("somewhere else"), "{}", answer.body);
        }
    }
    let local = preview.ask(&format!("GET / HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n"));
    assert_eq!(local.status(), 200);
}

#[test]
fn no_path_leads_to_a_file() {
    let preview = Preview::of(DOOR);
    for path in [
        "/door.layout",
        "/../door.layout",
        "/..%2fdoor.layout",
        "//etc/passwd",
        "/page/index.html",
        "/index.html",
        "/%00",
    ] {
        let answer = preview.get(path);
        assert_eq!(answer.status(), 404, "{path}");
        assert!(answer.body.contains("there is nothing here"), "{}", answer.body);
    }
    assert_eq!(preview.get("/change").status(), 405);
    assert_eq!(preview.post("/", "{}").status(), 405);
}

#[test]
fn what_is_asked_for_is_bounded_and_checked() {
    let preview = Preview::of(DOOR);
    let large = format!("{{\"screen\": \"{}\"}}", "s".repeat(5000));
    for (body, status, words) in [
        (large.as_str(), 413, "at most 4096 bytes"),
        ("", 400, "not understood"),
        ("{\"screen\"", 400, "not understood"),
        ("{\"nothing\": 1}", 400, "unknown variant `nothing`"),
        (r#"{"number": {"reading": "temp", "to": "x"}}"#, 400, "not understood"),
        (r#"{"number": {"reading": "nobody", "to": 1}}"#, 422, "no reading called `nobody`"),
        (r#"{"state": {"reading": "temp", "to": "asleep"}}"#, 422, "no state called `asleep`"),
        (r#"{"age": {"reading": "temp", "to": -1}}"#, 422, "an age must be a number from 0"),
        (r#"{"release": {"reading": "temp"}}"#, 422, "there is no broker"),
        (r#"{"screen": "attic"}"#, 422, "no screen called `attic`"),
        (r#"{"situation": 4000}"#, 422, "no such picture"),
        (r#"{"time": "tomorrow"}"#, 400, "not understood"),
    ] {
        let answer = preview.post("/change", body);
        assert_eq!(answer.status(), status, "{body}: {}", answer.body);
        assert!(answer.body.contains(words), "{}", answer.body);
    }
    let plain = preview.ask(&format!(
        "POST /change HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: text/plain\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{{}}",
        preview.port
    ));
    assert_eq!(plain.status(), 415);
    let headers = "X-More: y\r\n".repeat(100);
    let many = preview
        .ask(&format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n{headers}Connection: close\r\n\r\n", preview.port));
    assert_eq!(many.status(), 431);
}

#[test]
fn only_so_many_pages_are_told_and_a_closed_one_makes_room() {
    let preview = Preview::of(DOOR);
    let mut open: Vec<_> = (0..16).map(|_| preview.events()).collect();
    assert!(open.iter().all(|events| events.status.contains("200")));
    let refused = preview.get("/events");
    assert_eq!(refused.status(), 503);
    assert!(refused.body.contains("16 pages are open"), "{}", refused.body);
    assert_eq!(preview.get("/").status(), 200, "the page itself is still served");
    open.pop();
    let start = std::time::Instant::now();
    // The server notices when it writes next, or when the connection's end comes in.
    while !preview.events().status.contains("200") {
        assert!(start.elapsed() < super::kit::PATIENCE, "no room was made");
        preview.change(&json!({ "number": { "reading": "temp", "to": start.elapsed().subsec_millis() % 20 } }));
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn it_listens_on_loopback_alone() {
    let preview = Preview::of(DOOR);
    let other = SocketAddr::from((Ipv4Addr::new(127, 0, 0, 2), preview.port));
    assert!(TcpStream::connect_timeout(&other, Duration::from_secs(2)).is_err(), "it answers to any address");
}

#[test]
fn the_picture_is_the_one_that_the_library_draws() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    assert_eq!(events.layout["readings"][0]["name"], "temp");
    let number = |name: &str, to: f64| json!({ "number": { "reading": name, "to": to } });
    let state = |name: &str, to: &str| json!({ "state": { "reading": name, "to": to } });
    preview.change(&number("temp", 12.4));
    preview.change(&number("rh", 91.0));
    events.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Live)]));
    preview.change(&state("rh", "stale"));
    events.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Stale)]));
    preview.change(&state("rh", "waiting"));
    events.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Waiting)]));
    preview.change(&number("temp", 41.0));
    events.shows(&drawn(DOOR, &[("temp", 0.0, Faulty), ("rh", 91.0, Waiting)]));
    assert_eq!(events.picture["readings"][0]["state"], "faulty");
    // Older than the layout allows.
    preview.change(&number("temp", 12.4));
    preview.change(&json!({ "age": { "reading": "temp", "to": 3600 } }));
    events.shows(&drawn(DOOR, &[("temp", 12.4, Stale), ("rh", 91.0, Waiting)]));
}

#[test]
fn the_bus_is_told_what_a_change_costs() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    let whole = events.picture["bus"]["whole"]["bytes"].as_u64().unwrap();
    assert_eq!(events.picture["bus"]["last"]["bytes"], whole, "the first picture is sent whole");
    assert!(whole > 512, "{whole}");
    let before = events.picture["frame"].clone();
    preview.change(&json!({ "number": { "reading": "temp", "to": 15.1 } }));
    events.until("a change", |told| told.picture["frame"] != before);
    let last = events.picture["bus"]["last"]["bytes"].as_u64().unwrap();
    assert!(0 < last && last < whole / 2, "{last} of {whole}");
    assert_eq!(events.picture["bus"]["whole"]["bytes"], whole);
}

#[test]
fn a_saved_layout_is_told_at_once_and_the_controls_stay() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    preview.change(&json!({ "number": { "reading": "temp", "to": 12.4 } }));
    preview.change(&json!({ "number": { "reading": "rh", "to": 91 } }));
    let readings = [("temp", 12.4, Live), ("rh", 91.0, Live)];
    events.shows(&drawn(DOOR, &readings));
    let mut took = Vec::new();
    for gap in [2, 4, 6, 8, 3] {
        let layout = DOOR.replace("gap: 10", &format!("gap: {gap}"));
        let wanted = drawn(&layout, &readings);
        if gap % 4 == 0 {
            // As editors do that write beside and rename.
            let beside = preview.folder.path().join("door.layout~");
            std::fs::write(&beside, &layout).unwrap();
            std::fs::rename(&beside, preview.file()).unwrap();
        } else {
            preview.save(&layout);
        }
        took.push(events.shows(&wanted));
        assert_eq!(events.layout["text"], layout.as_str());
    }
    eprintln!("from saving to the page's event: {took:?} (to reach: 50 ms)");
}

#[test]
fn a_broken_layout_leaves_the_last_good_picture_and_is_reported() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    let good = events.picture["frame"].clone();
    preview.save(&DOOR.replace("bar temp over", "bar tmp over"));
    events.until("the report", |told| told.layout["current"] == false);
    assert_eq!(events.layout["errors"], 1);
    let finding = &events.layout["findings"][0];
    assert_eq!((&finding["name"], &finding["line"]), (&json!("unknown name"), &json!(11)));
    // What is set meanwhile shows in the last good layout.
    preview.change(&json!({ "number": { "reading": "temp", "to": 9 } }));
    events.until("the last good layout at work", |told| told.picture["frame"] != good);
    std::fs::remove_file(preview.file()).unwrap();
    events.until("that the file is gone", |told| told.layout["unread"].is_string());
    assert!(events.layout["unread"].as_str().unwrap().contains("cannot read door.layout"));
    preview.save(DOOR);
    events.until("the file again", |told| told.layout["current"] == true);
    events.shows(&drawn(DOOR, &[("temp", 9.0, Live), ("rh", 50.0, Live)]));
}

#[test]
fn a_layout_that_never_was_good_is_reported_and_mended() {
    let preview = Preview::of("panel 128x32\nscreen s { txt \"a\" }\n");
    let mut events = preview.events();
    events.begin();
    assert_eq!((&events.layout["errors"], &events.picture["frame"]), (&json!(1), &Value::Null));
    assert_eq!(preview.post("/change", r#"{"screen": "s"}"#).status(), 422);
    preview.save("panel 128x32\nscreen s { text \"a\" }\n");
    events.shows(&drawn("panel 128x32\nscreen s { text \"a\" }\n", &[]));
}

#[test]
fn each_pixel_has_its_element_with_line_and_readings() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    let items = events.picture["items"].as_array().unwrap();
    let at = |x: u64, y: u64| {
        let number = |item: &Value, part: &str| item[part].as_u64().unwrap();
        let holds = |item: &&Value| {
            (number(item, "x")..number(item, "x") + number(item, "width")).contains(&x)
                && (number(item, "y")..number(item, "y") + number(item, "height")).contains(&y)
        };
        items.iter().rfind(holds).unwrap_or_else(|| panic!("nothing at {x},{y}"))
    };
    // As `explain --at` says of the same layout.
    let item = at(3, 3);
    assert_eq!((&item["what"], &item["line"], &item["readings"]), (&json!("a bar"), &json!(11), &json!([0])));
    let item = at(100, 20);
    assert_eq!((&item["what"], &item["line"], &item["readings"]), (&json!("a text"), &json!(16), &json!([1])));
    assert_eq!((&item["shows"], &item["state"]), (&json!("50%"), &json!("live")));
}

#[test]
fn the_sheet_holds_every_look_and_each_can_be_taken() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.until("the sheet", |told| told.sheet.is_object());
    let pictures = events.sheet["pictures"].as_array().unwrap().clone();
    let names: Vec<&str> = pictures.iter().map(|one| one["words"].as_str().unwrap()).collect();
    assert!(names.len() >= 6 && names.contains(&"greatest numbers") && names.contains(&"faulty"), "{names:?}");
    let greatest = names.iter().position(|name| *name == "greatest numbers").unwrap();
    preview.change(&json!({ "situation": greatest }));
    let wanted = pictures[greatest]["frame"].clone();
    events.until("that look", |told| told.picture["frame"] == wanted);
    let waiting = names.iter().position(|name| *name == "waiting").unwrap();
    preview.change(&json!({ "situation": waiting }));
    events.until("the other look", |told| told.picture["frame"] == pictures[waiting]["frame"]);
}

#[test]
fn play_moves_readings_and_ends() {
    let preview = Preview::of(DOOR);
    let mut events = preview.events();
    events.begin();
    assert_eq!(preview.post("/play", r#"{"every": 100}"#).status(), 204);
    let first = events.picture["readings"][0]["number"].clone();
    events.until("a step", |told| told.picture["playing"] == true && told.picture["readings"][0]["number"] != first);
    assert_eq!(preview.post("/play", r#"{"every": null}"#).status(), 204);
    events.until("the end", |told| told.picture["playing"] == false);
}

const CLOCK: &str = "panel 128x32\nreading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40\n\
    screen day { text \"{clock(\"%H:%M\")}\" size: 20 }\n\
    screen night when: time_of_day() < 6h { text \"night {temp:.0}\" size: 9 }\n\
    screen cold when: temp < 0 { text \"cold\" }\n";

#[test]
fn time_and_screen_can_be_chosen() {
    let preview = Preview::of(CLOCK);
    let mut events = preview.events();
    events.begin();
    preview.change(&json!({ "time": "2026-11-25T12:34" }));
    events.until("the time", |told| told.picture["says"] == json!(["12:34"]));
    preview.change(&json!({ "time": "2026-11-25T05:34" }));
    events.until("the night", |told| told.picture["screen"] == "night");
    preview.change(&json!({ "screen": "cold" }));
    events.until("the chosen screen", |told| told.picture["screen"] == "cold" && told.picture["chosen"] == "cold");
    preview.change(&json!({ "screen": null }));
    events.until("the layout's choice", |told| told.picture["screen"] == "night");
}
