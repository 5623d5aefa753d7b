//! The last will goes to the broker with the connection, and a farewell before the connection is closed, byte by byte.

use std::time::{Duration, Instant};

use sidelight::feed::{Event, Protocol, Settings, Topic, Will};
use tokio::io::AsyncReadExt;

use super::fake::{ACCEPT_V3, ACCEPT_V5, Fake};
use super::{BOTH, next, session, settings};

/// Settings with a will.
fn with_will(fake: &Fake, protocol: Protocol) -> Settings {
    let will = Will { topic: Topic::new("cellar/doors/ripening/online").unwrap(), payload: b"offline".into() };
    Settings { will: Some(will), ..settings(fake.address(), protocol) }
}

fn accept(protocol: Protocol) -> &'static [u8] {
    if protocol == Protocol::V3 { ACCEPT_V3 } else { ACCEPT_V5 }
}

#[tokio::test]
async fn who_takes_leave_says_so_before_closing() {
    for protocol in BOTH {
        let fake = Fake::new().await;
        let mut panel = session(&with_will(&fake, protocol), &[]);
        let (event, mut stream) = tokio::join!(next(&mut panel), fake.welcome(accept(protocol)));
        assert_eq!(event, Event::Connected);
        assert_eq!(next(&mut panel).await, Event::Subscribed);
        let begun = Instant::now();
        let broker = async move {
            let mut bytes = [0; 64];
            let length = stream.read(&mut bytes).await.unwrap();
            // DISCONNECT (MQTT 3.1.1 and 5, section 3.14); what follows the length in 5 is the reason, normal.
            assert_eq!(bytes[0], 0xe0, "{:?}", &bytes[..length]);
            assert!(bytes[1..length].iter().skip(1).all(|byte| *byte == 0), "{:?}", &bytes[..length]);
        };
        tokio::join!(panel.leave(Duration::from_secs(10)), broker);
        assert!(begun.elapsed() < Duration::from_secs(5), "a broker that closes is not waited for");
    }
}

#[tokio::test]
async fn a_broker_that_holds_on_is_left_all_the_same() {
    let fake = Fake::new().await;
    let mut panel = session(&with_will(&fake, Protocol::V3), &[]);
    let (event, _stream) = tokio::join!(next(&mut panel), fake.welcome(ACCEPT_V3));
    assert_eq!(event, Event::Connected);
    let begun = Instant::now();
    panel.leave(Duration::from_millis(200)).await;
    assert!(begun.elapsed() < Duration::from_secs(5));
    // And without any connection at once.
    session(&with_will(&fake, Protocol::V3), &[]).leave(Duration::from_secs(10)).await;
    assert!(begun.elapsed() < Duration::from_secs(5));
}
