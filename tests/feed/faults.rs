//! A broker, or something in its place, that sends nonsense, half of something, too much, or nothing.

use std::net::{Ipv4Addr, TcpListener};
use std::time::{Duration, Instant};

use sidelight::feed::{Event, Protocol, Reason, Settings};
use tokio::io::AsyncWriteExt;
use tokio::time;

use super::fake::{ACCEPT_V3, ACCEPT_V5, Fake, packet, publish_v3, publish_v5};
use super::{BOTH, loss, message, next, session, settings};

fn accept(protocol: Protocol) -> &'static [u8] {
    if protocol == Protocol::V3 { ACCEPT_V3 } else { ACCEPT_V5 }
}

/// Both versions at once, where each takes its time.
async fn both(test: impl AsyncFn(Protocol)) {
    tokio::join!(test(Protocol::V3), test(Protocol::V5));
}

fn publish(protocol: Protocol, topic: &str, payload: &[u8]) -> Vec<u8> {
    if protocol == Protocol::V3 { publish_v3(topic, payload) } else { publish_v5(topic, payload) }
}

#[tokio::test]
async fn garbage_in_place_of_an_answer_is_survived() {
    both(async |protocol| {
        let fake = Fake::new().await;
        let address = fake.address().to_string();
        let mut panel = session(&settings(fake.address(), protocol), &[]);
        // Text reads as the beginning of a long packet, whose end never comes.
        let ((reason, _), ()) = tokio::join!(loss(&mut panel), fake.answer(b"HTTP/1.1 400 Bad Request\r\n\r\n"));
        assert_eq!(reason, Reason::ClosedEarly { broker: format!("mqtt://{address}") });
        let garbage: [&[u8]; 3] = [b"\x00\x00\x00\x00", b"\xff\xff\xff\xff\xff\xff", b"\x30\x05\x00\x01aok"];
        for bytes in garbage {
            let ((reason, _), ()) = tokio::join!(loss(&mut panel), fake.answer(bytes));
            assert!(matches!(reason, Reason::NotMqtt { .. }), "{bytes:?}: {reason}");
            assert!(reason.to_string().contains(&address));
        }
        let (event, _open) = tokio::join!(next(&mut panel), fake.welcome(accept(protocol)));
        assert_eq!(event, Event::Connected);
    })
    .await;
}

#[tokio::test]
async fn half_a_packet_is_no_packet() {
    for protocol in BOTH {
        let fake = Fake::new().await;
        let address = format!("mqtt://{}", fake.address());
        let mut panel = session(&settings(fake.address(), protocol), &[]);
        let ((reason, _), ()) = tokio::join!(loss(&mut panel), fake.answer(&accept(protocol)[..3]));
        assert_eq!(reason, Reason::ClosedEarly { broker: address });
        let whole = publish(protocol, "cellar/brine/climate", b"11.2,82.0");
        let bytes = [accept(protocol), &whole, &whole[..20]].concat();
        let events = async {
            assert_eq!(next(&mut panel).await, Event::Connected);
            assert_eq!(message(&mut panel).await.payload, b"11.2,82.0");
            assert_eq!(loss(&mut panel).await.0, Reason::Closed);
        };
        tokio::join!(events, fake.answer(&bytes));
    }
}

#[tokio::test]
async fn packets_may_come_byte_by_byte() {
    for protocol in BOTH {
        let fake = Fake::new().await;
        let mut panel = session(&settings(fake.address(), protocol), &[]);
        let bytes = [accept(protocol), &publish(protocol, "cellar/brine/climate", b"11.2,82.0")].concat();
        let broker = async {
            let mut stream = fake.accept().await;
            stream.set_nodelay(true).unwrap();
            for byte in &bytes {
                stream.write_all(&[*byte]).await.unwrap();
                time::sleep(Duration::from_millis(2)).await;
            }
            stream
        };
        let (message, _open) = tokio::join!(message(&mut panel), broker);
        assert_eq!((message.topic.as_str(), &message.payload[..]), ("cellar/brine/climate", &b"11.2,82.0"[..]));
    }
}

#[tokio::test]
async fn a_packet_beyond_all_bounds_ends_the_connection_but_loses_nothing_before_it() {
    for protocol in BOTH {
        let fake = Fake::new().await;
        let mut panel = session(&settings(fake.address(), protocol), &[]);
        let good = publish(protocol, "cellar/brine/climate", b"11.2,82.0");
        let huge = publish(protocol, "cellar/brine/picture", &vec![7; 1 << 20]);
        let bytes = [accept(protocol), &good, &good, &huge].concat();
        let events = async {
            assert_eq!(message(&mut panel).await.payload, b"11.2,82.0");
            assert_eq!(message(&mut panel).await.payload, b"11.2,82.0");
            loss(&mut panel).await
        };
        let ((reason, retry_in), ()) = tokio::join!(events, fake.answer(&bytes));
        assert_eq!(reason, Reason::PacketTooLarge { limit: 1 << 20 });
        assert!(retry_in >= Duration::from_millis(180));
    }
}

/// The waits grow from failure to failure, and the session keeps to them.
#[tokio::test]
async fn attempts_become_rarer() {
    let fake = Fake::new().await;
    let mut panel = session(&settings(fake.address(), Protocol::V3), &[]);
    let mut wait = Duration::ZERO;
    for attempt in 0..4 {
        let begin = Instant::now();
        let ((_, retry_in), ()) = tokio::join!(loss(&mut panel), fake.answer(b""));
        assert!(begin.elapsed() >= wait, "attempt {attempt} came {:?} early", wait - begin.elapsed());
        let expected = Duration::from_millis(250 << attempt);
        assert!(retry_in >= expected * 3 / 4 && retry_in <= expected * 5 / 4, "{retry_in:?} near {expected:?}");
        wait = retry_in;
    }
}

#[tokio::test]
async fn a_port_where_nothing_listens_is_named() {
    let address = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap().local_addr().unwrap();
    for protocol in BOTH {
        let (reason, _) = loss(&mut session(&settings(address, protocol), &[])).await;
        assert_eq!(reason, Reason::NothingListens { broker: format!("mqtt://{address}") });
    }
}

/// Names below `.invalid` never lead anywhere (RFC 6761, section 6.4).
#[tokio::test]
async fn a_name_that_leads_nowhere_is_named() {
    let url = "mqtt://no-such-broker.invalid".parse().unwrap();
    let mut panel = session(&Settings::new(url, &mut fastrand::Rng::new()), &[]);
    let (reason, _) = loss(&mut panel).await;
    assert!(
        matches!(&reason, Reason::Unresolved { host, why } if host == "no-such-broker.invalid" && !why.is_empty()),
        "{reason:?}"
    );
}

#[tokio::test]
async fn an_ipv6_address_is_reached() {
    let Ok(listener) = tokio::net::TcpListener::bind("[::1]:0").await else {
        eprintln!("this machine has no IPv6: nothing to reach");
        return;
    };
    let mut panel = session(&settings(listener.local_addr().unwrap(), Protocol::V3), &[]);
    let broker = async {
        let (mut stream, _) = listener.accept().await.unwrap();
        packet(&mut stream).await.unwrap();
        stream.write_all(ACCEPT_V3).await.unwrap();
        stream
    };
    let (event, _open) = tokio::join!(next(&mut panel), broker);
    assert_eq!(event, Event::Connected);
}

/// Whatever bytes follow the broker's answer, the session reports a loss or waits for more, and can connect again.
#[tokio::test]
async fn random_bytes_break_nothing() {
    let mut random = fastrand::Rng::with_seed(5);
    for round in 0..400 {
        let protocol = BOTH[round % 2];
        let fake = Fake::new().await;
        let mut panel = session(&settings(fake.address(), protocol), &[]);
        let mut bytes = accept(protocol).to_vec();
        if round % 4 < 2 {
            // A packet with a plausible frame around nonsense reaches further into the reader than plain noise.
            let body = random.usize(0..40);
            bytes.extend([random.u8(1..=15) << 4 | random.u8(..16), body as u8]);
            bytes.extend((0..body).map(|_| random.u8(..if round % 8 < 4 { 45 } else { 255 })));
        } else {
            bytes.extend((0..random.usize(1..60)).map(|_| random.u8(..)));
        }
        let events = async {
            loop {
                if let Event::Lost { reason, .. } = next(&mut panel).await {
                    return reason;
                }
            }
        };
        let (reason, ()) = tokio::join!(events, fake.answer(&bytes));
        assert!(
            matches!(
                reason,
                Reason::NotMqtt { .. } | Reason::Closed | Reason::Dismissed(_) | Reason::PacketTooLarge { .. }
            ),
            "{bytes:?}: {reason:?}"
        );
        assert!(!reason.to_string().contains("broke the reader"), "{bytes:02x?}");
    }
}

/// All at once, as each takes ten seconds.
#[tokio::test]
async fn what_never_comes_is_given_up_in_time() {
    tokio::join!(both(never_answered), unanswered_subscription(), both(half_open));
}

/// A host that takes the connection and never says a word.
async fn never_answered(protocol: Protocol) {
    let fake = Fake::new().await;
    let mut panel = session(&settings(fake.address(), protocol), &[]);
    let ((reason, _), _open) = tokio::join!(loss(&mut panel), fake.accept());
    assert_eq!(reason, Reason::NoAnswer { broker: format!("mqtt://{}", fake.address()) });
}

async fn unanswered_subscription() {
    let fake = Fake::new().await;
    let mut panel = session(&settings(fake.address(), Protocol::V3), &["cellar/#"]);
    let events = async {
        assert_eq!(next(&mut panel).await, Event::Connected);
        loss(&mut panel).await.0
    };
    let (reason, _open) = tokio::join!(events, fake.welcome(ACCEPT_V3));
    assert_eq!(reason, Reason::Unanswered);
}

/// The network takes packets and nothing ever comes back: noticed within twice the keep-alive.
async fn half_open(protocol: Protocol) {
    let fake = Fake::new().await;
    let mut panel = session(&Settings { keep_alive: 5, ..settings(fake.address(), protocol) }, &[]);
    let begin = Instant::now();
    let events = async {
        assert_eq!(next(&mut panel).await, Event::Connected);
        assert_eq!(next(&mut panel).await, Event::Subscribed);
        loss(&mut panel).await.0
    };
    let (reason, _open) = tokio::join!(events, fake.welcome(accept(protocol)));
    assert_eq!(reason, Reason::Silent);
    assert!(begin.elapsed() < Duration::from_secs(15), "{:?}", begin.elapsed());
}

/// MQTT 5.0, section 3.2.2.3.14: the broker may turn the keep-alive off. That must not make the client ask without pause.
#[tokio::test]
async fn a_broker_without_keep_alive_is_not_flooded() {
    let fake = Fake::new().await;
    let mut panel = session(&settings(fake.address(), Protocol::V5), &[]);
    let broker = async {
        let mut stream = fake.welcome(&[0x20, 0x06, 0x00, 0x00, 0x03, 0x13, 0x00, 0x00]).await;
        let mut packets = 0;
        while let Ok(Some((kind, _))) = time::timeout(Duration::from_secs(1), packet(&mut stream)).await {
            assert_eq!(kind, 0xc0, "PINGREQ");
            stream.write_all(&[0xd0, 0x00]).await.unwrap();
            packets += 1;
        }
        packets
    };
    let events = async {
        loop {
            assert!(!matches!(panel.next().await, Event::Lost { .. }));
        }
    };
    tokio::select! { packets = broker => assert!(packets <= 1, "{packets} packets"), () = events => {} }
}
