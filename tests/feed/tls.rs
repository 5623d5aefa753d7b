//! Encrypted connections: who is trusted, and what is said when somebody is not.
//!
//! The certificates in `tls/` are for `localhost`, signed by an authority made for these tests whose key was thrown away;
//! `outdated.pem` ended in 2021, `future.pem`, from an authority of its own, begins in 2110, the others end in 2120.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use rumqttc::tokio_rustls::TlsAcceptor;
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use sidelight::feed::{Event, Protocol, Reason, Settings};
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;

use super::fake::{ACCEPT_V3, ACCEPT_V5, packet};
use super::{BOTH, loss, next, session};

const AUTHORITY: &[u8] = include_bytes!("tls/authority.pem");
const BROKER: &[u8] = include_bytes!("tls/broker.pem");
const OUTDATED: &[u8] = include_bytes!("tls/outdated.pem");
const FUTURE: &[u8] = include_bytes!("tls/future.pem");
const FUTURE_AUTHORITY: &[u8] = include_bytes!("tls/future-authority.pem");
const KEY: &[u8] = include_bytes!("tls/broker.key.pem");

/// Listens and, in a task, accepts every connection that trusts `certificate`.
async fn broker(certificate: &[u8], protocol: Protocol) -> SocketAddr {
    let chain = vec![CertificateDer::from_pem_slice(certificate).unwrap()];
    let key = PrivateKeyDer::from_pem_slice(KEY).unwrap();
    let config = ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .unwrap();
    let acceptor = TlsAcceptor::from(Arc::new(config));
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        let mut open = Vec::new();
        while let Ok((stream, _)) = listener.accept().await {
            if let Ok(mut stream) = acceptor.accept(stream).await
                && packet(&mut stream).await.is_some()
            {
                let accept = if protocol == Protocol::V3 { ACCEPT_V3 } else { ACCEPT_V5 };
                stream.write_all(accept).await.unwrap();
                stream.flush().await.unwrap();
                open.push(stream);
            }
        }
    });
    address
}

fn settings(host: &str, port: u16, protocol: Protocol, authorities: Option<&[u8]>) -> Settings {
    let url = format!("mqtts://{host}:{port}").parse().unwrap();
    let authorities = authorities.map(<[u8]>::to_vec);
    Settings { protocol, authorities, ..Settings::new(url, &mut fastrand::Rng::new()) }
}

#[tokio::test]
async fn a_trusted_broker_is_connected_to() {
    for protocol in BOTH {
        let port = broker(BROKER, protocol).await.port();
        let mut panel = session(&settings("localhost", port, protocol, Some(AUTHORITY)), &[]);
        assert_eq!(next(&mut panel).await, Event::Connected, "{protocol:?}");
    }
}

#[tokio::test]
async fn whoever_cannot_be_trusted_is_told_apart() {
    let good = broker(BROKER, Protocol::V3).await.port();
    let outdated = broker(OUTDATED, Protocol::V3).await.port();
    let future = broker(FUTURE, Protocol::V3).await.port();
    let url = |host: &str, port| format!("mqtts://{host}:{port}");
    for (host, port, authorities, expected) in [
        ("localhost", good, BROKER, Reason::UnknownAuthority { broker: url("localhost", good) }),
        ("127.0.0.1", good, AUTHORITY, Reason::WrongName { broker: url("127.0.0.1", good) }),
        ("localhost", outdated, AUTHORITY, Reason::OutOfDate { broker: url("localhost", outdated) }),
        ("localhost", future, FUTURE_AUTHORITY, Reason::OutOfDate { broker: url("localhost", future) }),
    ] {
        let mut panel = session(&settings(host, port, Protocol::V3, Some(authorities)), &[]);
        assert_eq!(loss(&mut panel).await.0, expected);
    }
}

/// A plain broker takes the first bytes of TLS for a broken packet and hangs up; others answer with text.
#[tokio::test]
async fn a_port_without_tls_is_recognised() {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let url = format!("mqtts://localhost:{port}");
    let mut panel = session(&settings("localhost", port, Protocol::V5, Some(AUTHORITY)), &[]);
    let text = async {
        let (mut stream, _) = listener.accept().await.unwrap();
        stream.write_all(b"HTTP/1.1 400 Bad Request\r\n\r\n").await.unwrap();
        stream
    };
    let ((reason, _), stream) = tokio::join!(loss(&mut panel), text);
    assert_eq!(reason, Reason::NotTls { broker: url.clone() });
    drop(stream);
    let silent = async { drop(listener.accept().await.unwrap()) };
    let ((reason, _), ()) = tokio::join!(loss(&mut panel), silent);
    assert_eq!(reason, Reason::ClosedEarly { broker: url });
}
