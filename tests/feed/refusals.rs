//! A broker that says no, in each of its words.

use sidelight::feed::{Event, Filter, FilterRefusal, Protocol, Reason, Refusal, Topic};
use tokio::io::AsyncWriteExt;

use super::fake::{ACCEPT_V3, ACCEPT_V5, Fake, packet};
use super::{BOTH, loss, next, session, settings};

/// What the session says when the broker answers its CONNECT with `bytes`.
async fn told(protocol: Protocol, bytes: &[u8]) -> Reason {
    let fake = Fake::new().await;
    let mut panel = session(&settings(fake.address(), protocol), &["cellar/#"]);
    let ((reason, _), ()) = tokio::join!(loss(&mut panel), fake.answer(bytes));
    reason
}

/// Return codes of MQTT 3.1.1, section 3.2.2.3, table 3.1 (from memory).
#[tokio::test]
async fn each_return_code_of_3_1_1_has_its_words() {
    for (code, refusal, words) in [
        (1, Refusal::ProtocolVersion, "choose the other one"),
        (2, Refusal::ClientId, "client id"),
        (3, Refusal::Unavailable, "not available"),
        (4, Refusal::Credentials, "password file"),
        (5, Refusal::NotAuthorised, "not authorised"),
        (6, Refusal::Other { code: 6 }, "0x06"),
    ] {
        let reason = told(Protocol::V3, &[0x20, 0x02, 0x00, code]).await;
        assert_eq!(reason, Reason::Refused(refusal));
        assert!(reason.to_string().contains(words), "{reason}");
    }
}

/// Reason codes of MQTT 5.0, section 3.2.2.2, table 3-1 (from memory).
#[tokio::test]
async fn each_reason_code_of_5_has_its_words() {
    for (code, refusal) in [
        (0x80, Refusal::Other { code: 0x80 }),
        (0x81, Refusal::Other { code: 0x81 }),
        (0x82, Refusal::Other { code: 0x82 }),
        (0x83, Refusal::Other { code: 0x83 }),
        (0x84, Refusal::ProtocolVersion),
        (0x85, Refusal::ClientId),
        (0x86, Refusal::Credentials),
        (0x87, Refusal::NotAuthorised),
        (0x88, Refusal::Unavailable),
        (0x89, Refusal::Busy),
        (0x8a, Refusal::Banned),
        (0x8c, Refusal::AuthenticationMethod),
        (0x90, Refusal::Other { code: 0x90 }),
        (0x95, Refusal::PacketTooLarge),
        (0x97, Refusal::Quota),
        (0x99, Refusal::Other { code: 0x99 }),
        (0x9a, Refusal::Other { code: 0x9a }),
        (0x9b, Refusal::Other { code: 0x9b }),
        (0x9c, Refusal::OtherBroker),
        (0x9d, Refusal::OtherBroker),
        (0x9f, Refusal::ConnectionRate),
    ] {
        assert_eq!(told(Protocol::V5, &[0x20, 0x03, 0x00, code, 0x00]).await, Reason::Refused(refusal), "{code:#x}");
    }
}

/// MQTT 5.0, section 3.1.2.2: a broker may answer an unknown version with the return code of 3.1.1, and hangs up. The client
/// library waits for more in that answer, so that only the end of the connection is seen.
#[tokio::test]
async fn a_broker_that_only_knows_3_1_1_is_suspected() {
    let reason = told(Protocol::V5, &[0x20, 0x02, 0x00, 0x01]).await;
    assert!(matches!(reason, Reason::ClosedEarly { .. }), "{reason:?}");
    assert!(reason.to_string().contains("version of MQTT"), "{reason}");
}

#[tokio::test]
async fn a_refused_filter_is_named_and_the_others_go_on() {
    for protocol in BOTH {
        let fake = Fake::new().await;
        let mut panel = session(&settings(fake.address(), protocol), &["cellar/brine/tank", "cellar/plant/#"]);
        let broker = async {
            let accept = if protocol == Protocol::V3 { ACCEPT_V3 } else { ACCEPT_V5 };
            let mut stream = fake.welcome(accept).await;
            let (kind, body) = packet(&mut stream).await.unwrap();
            assert_eq!(kind, 0x82, "SUBSCRIBE");
            let answer: &[u8] = if protocol == Protocol::V3 {
                &[0x90, 0x04, body[0], body[1], 0x00, 0x80]
            } else {
                &[0x90, 0x05, body[0], body[1], 0x00, 0x00, 0x87]
            };
            stream.write_all(answer).await.unwrap();
            stream
        };
        let events = async {
            let why = if protocol == Protocol::V3 { FilterRefusal::Unspecified } else { FilterRefusal::NotAuthorised };
            assert_eq!(next(&mut panel).await, Event::Connected);
            let filter = Filter::new("cellar/plant/#").unwrap();
            assert_eq!(next(&mut panel).await, Event::FilterRefused { filter, why });
            assert_eq!(next(&mut panel).await, Event::Subscribed);
        };
        let (_open, ()) = tokio::join!(broker, events);
    }
}

/// DISCONNECT of MQTT 5.0, section 3.14.2.1 (from memory).
#[tokio::test]
async fn a_broker_that_ends_the_connection_says_why() {
    for (code, refusal) in [
        (0x8b, Refusal::ShuttingDown),
        (0x8d, Refusal::KeepAlive),
        (0x8e, Refusal::TakenOver),
        (0x98, Refusal::Administrator),
        (0xa0, Refusal::Other { code: 0xa0 }),
    ] {
        let fake = Fake::new().await;
        let mut panel = session(&settings(fake.address(), Protocol::V5), &[]);
        let goodbye = [ACCEPT_V5, &[0xe0, 0x02, code, 0x00]].concat();
        let broker = fake.welcome(&goodbye);
        let events = async {
            assert_eq!(next(&mut panel).await, Event::Connected);
            assert_eq!(next(&mut panel).await, Event::Subscribed);
            assert_eq!(loss(&mut panel).await.0, Reason::Dismissed(refusal));
        };
        let (_open, ()) = tokio::join!(broker, events);
    }
}

/// The name, the password and a wrong answer: what the session says never shows the secret.
#[tokio::test]
async fn credentials_travel_but_are_never_told() {
    let fake = Fake::new().await;
    let mut settings = settings(fake.address(), Protocol::V3);
    settings.user = Some("door".into());
    settings.password = Some(sidelight::feed::Secret::new("geheim\n"));
    let mut panel = session(&settings, &[]);
    assert!(panel.publish(&Topic::new("cellar/panel").unwrap(), vec![], false).is_err());
    let broker = async {
        let (mut stream, _) = fake.accept_raw().await;
        let (_, body) = packet(&mut stream).await.unwrap();
        let end: &[u8] = b"\x00\x04door\x00\x06geheim";
        assert!(body.ends_with(end), "{body:?}");
        stream.write_all(&[0x20, 0x02, 0x00, 0x04]).await.unwrap();
        stream
    };
    let ((reason, _), _open) = tokio::join!(loss(&mut panel), broker);
    assert!(!format!("{reason} {reason:?}").contains("geheim"));
}
