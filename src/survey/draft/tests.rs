//! Whatever was heard: the draft parses, checks clean, is in the canonical form and shows what was heard.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use jiff::civil::DateTime;
use proptest::prelude::*;

use super::*;
use crate::feed::{Delivery, Message};
use crate::language::clock;
use crate::readings::{Moment, State};
use crate::service::Pane;

fn noon() -> ZonedDateTime {
    clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0))
}
const PANELS: [Size; 2] = [Size::new(128, 32), Size::new(128, 64)];

fn at(seconds: u64) -> Moment {
    Moment::at(Duration::from_secs(seconds))
}

fn surveyed(messages: &[(String, Vec<u8>, bool)]) -> Survey {
    let mut survey = Survey::default();
    for (second, (topic, payload, retained)) in messages.iter().enumerate() {
        survey.hear(topic, payload, *retained, at(second as u64 * 4));
    }
    survey
}

fn texts(messages: &[(&str, &str)]) -> Vec<(String, Vec<u8>, bool)> {
    messages.iter().map(|(topic, payload)| (topic.to_string(), payload.as_bytes().to_vec(), false)).collect()
}

/// The draft is clean in every way that it promises to be.
fn is_clean(draft: &Draft, panel: Size) {
    let loaded = compile(draft.text.as_bytes(), Path::new("new.layout"));
    assert_eq!(loaded.report(false), "", "{}", draft.text);
    assert_eq!(canonical(&draft.text).unwrap(), draft.text);
    let program = loaded.program.unwrap();
    assert_eq!((program.size, program.readings.len()), (panel, draft.readings));
}

/// Three sensors that nobody knows anything about.
fn three_sensors() -> Vec<(String, Vec<u8>, bool)> {
    let mut messages = Vec::new();
    for step in 0..12 {
        messages.extend(texts(&[
            (
                "cellar/ripening/climate",
                &format!("{:.1},{:.1}", 12.0 + 0.1 * f64::from(step), 90.0 + 0.2 * f64::from(step)),
            ),
            (
                "cellar/brine/tank",
                &format!("{{\"temperature\":{:.1},\"level\":{}}}", 11.0 + 0.1 * f64::from(step), 64 - step),
            ),
            ("cellar/ripening/door", if step % 4 < 2 { "closed" } else { "open" }),
        ]));
    }
    messages
}

#[test]
fn three_unknown_sensors_get_a_layout_that_shows_them() {
    let messages = three_sensors();
    for panel in PANELS {
        let draft = draft(&surveyed(&messages), panel).unwrap();
        is_clean(&draft, panel);
        assert_eq!((draft.readings, draft.left_out.len()), (5, 0));
        let program = compile(draft.text.as_bytes(), Path::new("new.layout")).program.unwrap();
        let screens = program.screens.len();
        assert_eq!(screens, if panel.height == 32 { 3 } else { 2 });
        let mut pane = Pane::new(Arc::clone(&program), at(0));
        for (topic, payload, _) in &messages {
            let message = Message {
                topic: topic.clone(),
                payload: payload.clone(),
                retained: false,
                delivery: Delivery::AtMostOnce,
            };
            pane.accept(&message, at(1));
        }
        let mut said = Vec::new();
        for screen in 0..screens as u64 {
            pane.update(at(1 + 10 * screen), &noon());
            said.extend(pane.words().into_iter().map(|said| (said.content, said.state)));
        }
        for wanted in ["53", "12.1", "13.1", "92.2", "open", "brine level", "ripening 1", "ripening door"] {
            assert!(said.contains(&(wanted.into(), State::Live)), "{wanted}: {said:?}\n{}", draft.text);
        }
    }
}

#[test]
fn a_draft_as_it_is_written() {
    let senml = r#"[{"bn":"urn:dev:mac:02005efffe100001_","n":"power","u":"W","v":412.5}]"#;
    let mut messages = Vec::new();
    for step in 0..5 {
        messages.extend(texts(&[("cellar/plant/power", senml), ("cellar/yard/air", r#"{"unit":"hPa","value":1013}"#)]));
        messages.push(("cellar/brine/door".into(), b"open".to_vec(), step == 0));
        messages.extend(texts(&[("cellar/notes", "somebody left the light on again")]));
    }
    insta::assert_snapshot!(draft(&surveyed(&messages), PANELS[1]).unwrap().text);
}

#[test]
fn what_cannot_be_shown_is_left_out_and_said() {
    let messages = texts(&[
        ("cellar/a", "12.4"),
        ("cellar/counter", "123456789012"),
        ("cellar/lamp", "glowing"),
        ("cellar/odd\u{7}", "5"),
    ]);
    let draft = draft(&surveyed(&messages), PANELS[0]).unwrap();
    is_clean(&draft, PANELS[0]);
    assert_eq!(draft.readings, 1);
    assert!(draft.left_out.iter().any(|line| line.starts_with("cellar/lamp: ")), "{:?}", draft.left_out);
    let nothing = super::draft(&surveyed(&texts(&[("cellar/lamp", "glowing")])), PANELS[0]);
    assert_eq!(nothing, Err(DraftError::Nothing));
    assert!(matches!(super::draft(&Survey::default(), Size::new(64, 48)), Err(DraftError::Panel(_))));
}

#[test]
fn hundreds_of_topics_give_a_bounded_draft() {
    let messages: Vec<_> =
        (0..300).map(|shelf| (format!("cellar/shelf{shelf}/mass"), b"1234.5".to_vec(), false)).collect();
    let draft = draft(&surveyed(&messages), PANELS[1]).unwrap();
    is_clean(&draft, PANELS[1]);
    assert_eq!(draft.readings, MOST_READINGS);
    assert!(draft.left_out[0].starts_with("276 further fields"), "{:?}", draft.left_out);
}

fn topic() -> impl Strategy<Value = String> {
    prop_oneof![
        "(cellar|yard)/[a-d]{1,8}/(climate|door|tank)",
        r#"[a-z"\\{}/$ #+é_0-9-]{1,20}"#,
        any::<String>().prop_filter("a topic has a character", |topic| !topic.is_empty()),
        Just("x/".repeat(120)),
    ]
}

fn payload() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        any::<f64>().prop_map(|number| number.to_string().into_bytes()),
        (-1e10..1e10f64).prop_map(|number| format!("{number:.2}").into_bytes()),
        "-?[0-9]{1,6}([.,][0-9]{1,3})?([;,| \t]-?[0-9]{1,4}([.,][0-9])?){0,4}".prop_map(String::into_bytes),
        "(open|closed|on|off|in use|a\"b|\\{x\\}|é|#|µ)".prop_map(String::into_bytes),
        (r#"[a-z"/~µ{}]{0,12}"#, -1e6..1e6f64)
            .prop_map(|(name, number)| { serde_json::json!({ name: number, "unit": "kPa" }).to_string().into_bytes() }),
        (
            "[a-z:/_.-]{1,30}",
            prop_oneof![Just("Cel"), Just("%RH"), Just("W"), Just("/"), Just("m3"), Just("ohm")],
            -1e6..1e6f64
        )
            .prop_map(|(name, unit, number)| {
                serde_json::json!([{ "n": name, "u": unit, "v": number }]).to_string().into_bytes()
            }),
        proptest::collection::vec(any::<u8>(), 0..20),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// For any messages at all, the layout parses, checks clean and is in its one form.
    #[test]
    fn any_messages_give_a_clean_draft_or_none(
        messages in proptest::collection::vec((topic(), payload(), any::<bool>()), 1..10),
        repeat in 1..5usize,
    ) {
        let survey = surveyed(&vec![messages; repeat].concat());
        for panel in PANELS {
            match draft(&survey, panel) {
                Ok(draft) => is_clean(&draft, panel),
                Err(problem) => prop_assert_eq!(problem, DraftError::Nothing),
            }
        }
    }
}
