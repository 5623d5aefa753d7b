//! Readings that follow a broker until their controls are moved.

use std::time::Duration;

use serde_json::json;
use sidelight::demo::Broker;
use sidelight::feed::{Event, Filter, Session, Settings, Topic};
use sidelight::readings::State::{Live, Waiting};

use super::kit::{DOOR, Preview, drawn};

const CLIMATE: &str = "cellar/ripening/climate";

/// Publishes a message once the session is there, and waits until the broker has it.
async fn publish(session: &mut Session, payload: &str) {
    session.publish(&Topic::new(CLIMATE).unwrap(), payload.into(), false).unwrap();
    while !matches!(session.next().await, Event::Message(message) if message.payload == payload.as_bytes()) {}
}

#[tokio::test]
async fn a_reading_follows_the_broker_until_its_control_is_moved_and_can_be_given_back() {
    let broker = Broker::start().unwrap();
    let url = format!("mqtt://{}", broker.v3());
    let settings = Settings::new(url.parse().unwrap(), &mut fastrand::Rng::new());
    let mut sensor = Session::new(&settings, vec![Filter::new(CLIMATE).unwrap()], fastrand::Rng::new()).unwrap();
    while sensor.next().await != Event::Subscribed {}

    let preview = Preview::with(DOOR, &["--broker", &url]);
    let mut events = preview.events();
    events.until("the broker", |told| told.picture["broker"].as_str().is_some_and(|words| words.contains("listening")));
    events.shows(&drawn(DOOR, &[("temp", 0.0, Waiting), ("rh", 0.0, Waiting)]));
    publish(&mut sensor, "12.4,91").await;
    events.shows(&drawn(DOOR, &[("temp", 12.4, Live), ("rh", 91.0, Live)]));
    assert_eq!(events.picture["readings"][0]["held"], false);

    // From here on its control decides, and the other one still follows.
    preview.change(&json!({ "number": { "reading": "temp", "to": 9 } }));
    publish(&mut sensor, "12.6,90").await;
    events.shows(&drawn(DOOR, &[("temp", 9.0, Live), ("rh", 90.0, Live)]));
    assert_eq!(
        (&events.picture["readings"][0]["held"], &events.picture["readings"][1]["held"]),
        (&json!(true), &json!(false))
    );

    preview.change(&json!({ "release": { "reading": "temp" } }));
    events.shows(&drawn(DOOR, &[("temp", 12.6, Live), ("rh", 90.0, Live)]));

    // Another layout of the same readings goes on with them; another topic is subscribed to.
    let layout = DOOR.replace("gap: 10", "gap: 4");
    preview.save(&layout);
    events.shows(&drawn(&layout, &[("temp", 12.6, Live), ("rh", 90.0, Live)]));
    preview.save(&DOOR.replace(CLIMATE, "cellar/+/climate"));
    events.until("the other topic", |told| {
        told.layout["readings"][0]["topic"] == "cellar/+/climate"
            && told.picture["broker"].as_str().is_some_and(|words| words.contains("listening"))
    });
    tokio::time::sleep(Duration::from_millis(50)).await;
    publish(&mut sensor, "13,80").await;
    events.shows(&drawn(DOOR, &[("temp", 13.0, Live), ("rh", 80.0, Live)]));
}

#[test]
fn a_broker_that_is_not_there_is_said_and_the_controls_work() {
    let preview = Preview::with(DOOR, &["--broker", "mqtt://127.0.0.1:1"]);
    let mut events = preview.events();
    events.until("that it is not there", |told| {
        told.picture["broker"].as_str().is_some_and(|words| words.contains("tries again"))
    });
    preview.change(&json!({ "number": { "reading": "temp", "to": 9 } }));
    events.shows(&drawn(DOOR, &[("temp", 9.0, Live), ("rh", 0.0, Waiting)]));
}
