//! Tests: whatever an editor has open and asks for, it gets an answer, and every place in that lies within the text.

use lsp_server::{Message, Notification, Request};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::Session;

const DOOR: &str = "file:///cellar/door.layout";
/// A layout that uses most of the language, to be damaged.
const WHOLE: &str = r#"# 🧀 Beside the ripening-room door.
panel 128x64
each room: (brine, yard) { reading temp.room from: "cellar/{room}/climate" pick: column(1) unit: °C range: -10..40 }
reading rh from: "cellar/🧀/climate" pick: column(2, separator: ",") unit: % smooth: median(3)
value dew = dew_point(temp.brine, rh) + 0.5K
screen door when: not (rh > 90) and dew < 20 {
  columns gap: 4 {
    stack { bar temp.yard over: 8..16°C }
    each room: (brine, yard) { text "{room} µ° 🧀 {temp.room as °F:.1}\u{b0}" size: fit face: small }
  }
  text "{{{if dew > 1 then "wet {dew:.1}" else clock("%H", "Asia/Tokyo")}" size: 9
  icon if rh > 50 then "sun" else "door-open"
  allow "never used" because: "°"
}
"#;
/// What damages it.
const PIECES: [&str; 16] =
    ["", "\"", "{", "}", "(", ")", ":", ", ", "°", "🧀", "\r\n", "\r", "as ", "temp.", "\0", "each room: (a, a) {"];
/// What is asked about places.
const QUESTIONS: [&str; 6] = ["completion", "hover", "definition", "references", "prepareRename", "rename"];
/// What is asked about a whole text.
const OVERVIEWS: [&str; 2] = ["formatting", "documentSymbol"];
const TOLD: [&str; 4] = ["didOpen", "didChange", "didClose", "didSave"];

fn session() -> Session {
    let mut session = Session::new(Box::new(|_, _| Err("no fonts here".into())));
    ask(&mut session, "initialize", json!({ "capabilities": {} })).expect("a beginning");
    session
}

/// The answer to a request, if it is no error.
fn ask(session: &mut Session, method: &str, params: Value) -> Option<Value> {
    let request = Request { id: 1.into(), method: method.into(), params };
    match session.handle(request.into()).as_slice() {
        [Message::Response(response)] => response.response_result.as_ref().ok().cloned(),
        other => panic!("one answer, found {other:?}"),
    }
}

fn tell(session: &mut Session, method: &str, params: Value) -> Vec<Message> {
    session.handle(Message::Notification(Notification { method: method.into(), params }))
}

/// How many UTF-16 units each line has.
fn widths(text: &str) -> Vec<u64> {
    let lines = text.replace("\r\n", "\n").replace('\r', "\n");
    lines.split('\n').map(|line| line.encode_utf16().count() as u64).collect()
}

/// Looks at every range in a value; gives their number.
fn ranges_lie_within(value: &Value, widths: &[u64]) -> usize {
    let place = |place: &Value| {
        let line = place["line"].as_u64().expect("a line");
        let character = place["character"].as_u64().expect("a character");
        let width = widths.get(line as usize).unwrap_or_else(|| panic!("no line {line} in {value}"));
        // The break of a line may be within a range, its two halves have no places of their own.
        assert!(character <= width + 1, "no character {character} in line {line}, of {width}: {value}");
        (line, character)
    };
    match value {
        Value::Object(fields) if fields.contains_key("start") && fields.contains_key("end") => {
            assert!(place(&value["start"]) <= place(&value["end"]), "{value}");
            1
        }
        Value::Object(fields) => fields.values().map(|field| ranges_lie_within(field, widths)).sum(),
        Value::Array(items) => items.iter().map(|item| ranges_lie_within(item, widths)).sum(),
        _ => 0,
    }
}

/// Asks everything at a place; gives the number of ranges in the answers.
fn everything_at(session: &mut Session, text: &str, line: u32, character: u32) -> usize {
    let widths = widths(text);
    let document = json!({ "uri": DOOR, "languageId": "sidelight", "version": 1, "text": text });
    tell(session, "textDocument/didOpen", json!({ "textDocument": document }));
    let mut answers: Vec<Value> = Vec::new();
    for message in session.settle() {
        let Message::Notification(told) = message else { panic!("a notification, found {message:?}") };
        answers.push(told.params);
    }
    for method in QUESTIONS.iter().chain(&OVERVIEWS) {
        let params = json!({
            "textDocument": { "uri": DOOR }, "position": { "line": line, "character": character },
            "context": { "includeDeclaration": true }, "newName": "µ",
        });
        answers.extend(ask(session, &format!("textDocument/{method}"), params));
    }
    answers.iter().map(|answer| ranges_lie_within(answer, &widths)).sum()
}

#[test]
fn every_place_of_a_whole_layout_is_answered() {
    let mut session = session();
    let mut ranges = 0;
    for (line, width) in widths(WHOLE).into_iter().enumerate() {
        for character in 0..=width + 1 {
            ranges += everything_at(&mut session, WHOLE, line as u32, character as u32);
        }
    }
    assert!(ranges > 10_000, "{ranges}");
}

fn any_json() -> impl Strategy<Value = Value> {
    const NAMES: [&str; 9] =
        ["textDocument", "uri", "position", "line", "character", "text", "version", "contentChanges", "range"];
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        "[a°🧀]{0,4}".prop_map(Value::from),
        Just(json!(DOOR)),
    ];
    leaf.prop_recursive(4, 24, 6, |inner| {
        prop_oneof![
            proptest::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            proptest::collection::vec((proptest::sample::select(&NAMES[..]), inner), 0..6)
                .prop_map(|fields| fields.into_iter().map(|(name, value)| (name.to_string(), value)).collect()),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn every_place_of_a_damaged_layout_is_answered(
        damages in proptest::collection::vec((0..=WHOLE.len(), 0usize..30, proptest::sample::select(&PIECES[..])), 1..5),
        line in prop_oneof![0u32..16, any::<u32>()],
        character in prop_oneof![0u32..130, any::<u32>()],
    ) {
        let mut text = WHOLE.to_string();
        for (at, length, piece) in damages {
            let (start, end) = (text.floor_char_boundary(at), text.floor_char_boundary(at + length));
            text.replace_range(start..end, piece);
        }
        everything_at(&mut session(), &text, line, character);
    }

    #[test]
    fn whatever_comes_along_with_a_message_is_answered(params in any_json()) {
        let mut session = session();
        let document = json!({ "uri": DOOR, "languageId": "sidelight", "version": 1, "text": WHOLE });
        tell(&mut session, "textDocument/didOpen", json!({ "textDocument": document }));
        for method in QUESTIONS.iter().chain(&OVERVIEWS) {
            ask(&mut session, &format!("textDocument/{method}"), params.clone());
        }
        ask(&mut session, "initialize", params.clone());
        for method in TOLD {
            tell(&mut session, &format!("textDocument/{method}"), params.clone());
        }
        session.settle();
    }
}
