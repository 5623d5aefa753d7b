//! Against the demo's broker: what is published arrives, and arrives again after the broker was gone.

use std::time::Duration;

use sidelight::demo::{Broker, Cellar, Publisher};
use sidelight::feed::{Delivery, Event, LARGEST_PAYLOAD, Message, Protocol, PublishError, Session, Settings, Topic};
use tokio::time;

use super::{BOTH, message, next, session, settings};

fn on(broker: &Broker, protocol: Protocol) -> Settings {
    settings(if protocol == Protocol::V3 { broker.v3() } else { broker.v5() }, protocol)
}

/// Waits for an event, passing over others.
async fn until(session: &mut Session, wanted: &Event) {
    while next(session).await != *wanted {}
}

/// A session that only publishes.
async fn publisher(settings: &Settings) -> Session {
    let mut publisher = session(settings, &[]);
    until(&mut publisher, &Event::Connected).await;
    publisher
}

async fn publish(session: &mut Session, topic: &str, payload: &[u8], retain: bool) {
    session.publish(&Topic::new(topic).unwrap(), payload.to_vec(), retain).unwrap();
    // Sent while the session is awaited.
    let _ = time::timeout(Duration::from_millis(100), session.next()).await;
}

#[tokio::test]
async fn live_and_retained_messages_are_told_apart() {
    let broker = Broker::start().unwrap();
    for protocol in BOTH {
        for delivery in [Delivery::AtMostOnce, Delivery::AtLeastOnce] {
            let settings = || Settings { delivery, ..on(&broker, protocol) };
            let mut sensor = publisher(&settings()).await;
            publish(&mut sensor, "cellar/brine/door", b"closed", true).await;
            let mut panel = session(&settings(), &["cellar/brine/+"]);
            assert_eq!(next(&mut panel).await, Event::Connected);
            let kept =
                Message { topic: "cellar/brine/door".into(), payload: b"closed".to_vec(), retained: true, delivery };
            assert_eq!(message(&mut panel).await, kept, "{protocol:?} {delivery:?}");
            for (topic, payload, retain) in
                [("cellar/brine/door", &b"open"[..], true), ("cellar/brine/climate", b"11.2,82.0", false)]
            {
                publish(&mut sensor, topic, payload, retain).await;
                let live = Message { topic: topic.into(), payload: payload.to_vec(), retained: false, delivery };
                assert_eq!(message(&mut panel).await, live, "{protocol:?} {delivery:?}");
            }
        }
    }
}

#[tokio::test]
async fn five_hundred_filters_are_all_subscribed() {
    let broker = Broker::start().unwrap();
    for protocol in BOTH {
        let filters: Vec<String> = (0..500).map(|shelf| format!("cellar/ripening/shelf{shelf}")).collect();
        let filters: Vec<&str> = filters.iter().map(String::as_str).collect();
        let mut panel = session(&on(&broker, protocol), &filters);
        until(&mut panel, &Event::Subscribed).await;
        let mut sensor = publisher(&on(&broker, protocol)).await;
        for topic in ["cellar/ripening/shelf499", "cellar/ripening/shelf0", "cellar/ripening/shelf64"] {
            publish(&mut sensor, topic, b"12.4", false).await;
            assert_eq!(message(&mut panel).await.topic, topic);
        }
    }
}

#[tokio::test]
async fn a_broker_that_comes_back_is_found_and_everything_subscribed_again() {
    for protocol in BOTH {
        let broker = Broker::start().unwrap();
        let ports = broker.ports();
        let mut panel = session(&on(&broker, protocol), &["cellar/+/climate", "cellar/+/door"]);
        until(&mut panel, &Event::Subscribed).await;
        drop(broker);
        let Event::Lost { .. } = next(&mut panel).await else { panic!("expected a loss") };
        // While it is away each attempt says so.
        let Event::Lost { reason, .. } = next(&mut panel).await else { panic!("expected a loss") };
        assert!(reason.to_string().contains("nothing listens"), "{reason}");
        assert_eq!(panel.publish(&Topic::new("cellar/panel").unwrap(), vec![], false), Err(PublishError::Offline));
        let broker = Broker::start_on(ports).unwrap();
        until(&mut panel, &Event::Connected).await;
        until(&mut panel, &Event::Subscribed).await;
        let mut sensor = publisher(&on(&broker, protocol)).await;
        for topic in ["cellar/packing/climate", "cellar/packing/door"] {
            publish(&mut sensor, topic, b"14.0,66.0", false).await;
            assert_eq!(message(&mut panel).await.topic, topic);
        }
    }
}

#[tokio::test]
async fn a_payload_that_is_too_large_is_dropped_and_counted_and_the_session_goes_on() {
    let broker = Broker::start().unwrap();
    for protocol in BOTH {
        let mut panel = session(&on(&broker, protocol), &["cellar/#"]);
        until(&mut panel, &Event::Subscribed).await;
        // The session itself refuses to publish that much, so that this sensor is a plain client of the library.
        let mut options = rumqttc::MqttOptions::new("large", "127.0.0.1", broker.v3().port());
        options.set_max_packet_size(1 << 20, 1 << 20);
        let (client, mut events) = rumqttc::AsyncClient::new(options, 10);
        for size in [LARGEST_PAYLOAD, LARGEST_PAYLOAD + 1, 900_000] {
            client.try_publish("cellar/brine/picture", rumqttc::QoS::AtMostOnce, false, vec![7; size]).unwrap();
        }
        client.try_publish("cellar/brine/climate", rumqttc::QoS::AtMostOnce, false, "11.2,82.0").unwrap();
        let sending = async {
            loop {
                events.poll().await.unwrap();
            }
        };
        let receiving = async {
            assert_eq!(message(&mut panel).await.payload.len(), LARGEST_PAYLOAD);
            for bytes in [LARGEST_PAYLOAD + 1, 900_000] {
                let topic = "cellar/brine/picture".into();
                assert_eq!(next(&mut panel).await, Event::Oversized { topic, bytes }, "{protocol:?}");
            }
            assert_eq!(message(&mut panel).await.payload, b"11.2,82.0");
            assert_eq!(panel.oversized(), 2);
        };
        tokio::select! { () = sending => {}, () = receiving => {} }
        assert_eq!(
            panel.publish(&Topic::new("cellar/brine/picture").unwrap(), vec![0; LARGEST_PAYLOAD + 1], false),
            Err(PublishError::TooLarge { bytes: LARGEST_PAYLOAD + 1 })
        );
    }
}

#[tokio::test]
async fn giving_up_on_an_event_again_and_again_loses_none() {
    let broker = Broker::start().unwrap();
    for protocol in BOTH {
        let mut panel = session(&on(&broker, protocol), &["cellar/ripening/climate"]);
        let mut sensor = publisher(&on(&broker, protocol)).await;
        let topic = Topic::new("cellar/ripening/climate").unwrap();
        let (mut seen, mut sent, mut subscribed) = (0, 0, false);
        let hurried = async {
            while seen < 300 {
                // Far shorter than it takes to connect.
                match time::timeout(Duration::from_micros(50), panel.next()).await {
                    Ok(Event::Subscribed) => subscribed = true,
                    Ok(Event::Message(message)) => {
                        assert_eq!(message.payload, seen.to_string().as_bytes());
                        seen += 1;
                    }
                    Ok(Event::Lost { reason, .. }) => panic!("{reason}"),
                    _ => {}
                }
                if subscribed && sent < 300 && sensor.publish(&topic, sent.to_string().into(), false).is_ok() {
                    sent += 1;
                }
                let _ = time::timeout(Duration::from_micros(50), sensor.next()).await;
            }
        };
        time::timeout(super::PATIENCE, hurried).await.expect("all three hundred messages");
    }
}

#[tokio::test]
async fn the_cellar_can_be_heard() {
    let broker = Broker::start().unwrap();
    let settings = on(&broker, Protocol::V3);
    let sensors = Publisher::start(Cellar::new(1), &settings, fastrand::Rng::with_seed(1)).unwrap();
    let mut panel = session(&on(&broker, Protocol::V5), &["cellar/#"]);
    let mut topics = std::collections::BTreeSet::new();
    while topics.len() < 8 {
        topics.insert(message(&mut panel).await.topic);
    }
    assert!(topics.contains("cellar/ripening/climate") && topics.contains("cellar/plant/power"), "{topics:?}");
    // The doors, published before anybody listened or after: a client that comes later still gets them.
    let mut late = session(&on(&broker, Protocol::V5), &["cellar/+/door"]);
    assert!(message(&mut late).await.retained);
    drop(sensors);
    // What was under way may still come, then there is silence for longer than any gap before.
    while time::timeout(Duration::from_millis(100), panel.next()).await.is_ok() {}
    assert!(time::timeout(Duration::from_secs(3), panel.next()).await.is_err());
}
