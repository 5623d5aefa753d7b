//! A broker of a few lines that answers with exactly the bytes a test wants.

use std::net::{Ipv4Addr, SocketAddr};

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// CONNACK that accepts, MQTT 3.1.1 (section 3.2) and 5.0 (section 3.2, no properties).
pub const ACCEPT_V3: &[u8] = &[0x20, 0x02, 0x00, 0x00];
pub const ACCEPT_V5: &[u8] = &[0x20, 0x03, 0x00, 0x00, 0x00];

pub struct Fake {
    listener: TcpListener,
}

impl Fake {
    pub async fn new() -> Self {
        Self { listener: TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap() }
    }

    pub fn address(&self) -> SocketAddr {
        self.listener.local_addr().unwrap()
    }

    /// Accepts one connection.
    pub async fn accept_raw(&self) -> (TcpStream, SocketAddr) {
        self.listener.accept().await.unwrap()
    }

    /// Accepts one connection and reads its CONNECT.
    pub async fn accept(&self) -> TcpStream {
        let (mut stream, _) = self.accept_raw().await;
        let (kind, _) = packet(&mut stream).await.unwrap();
        assert_eq!(kind, 0x10, "the first packet is a CONNECT");
        stream
    }

    /// Accepts one connection, answers its CONNECT with `bytes` and hangs up.
    pub async fn answer(&self, bytes: &[u8]) {
        let mut stream = self.accept().await;
        // The client may hang up first, on what it has read of the bytes.
        let _ = stream.write_all(bytes).await;
    }

    /// Accepts one connection, answers its CONNECT with `bytes` and keeps it open.
    pub async fn welcome(&self, bytes: &[u8]) -> TcpStream {
        let mut stream = self.accept().await;
        stream.write_all(bytes).await.unwrap();
        stream
    }
}

/// Reads one packet: its first byte, and what follows the fixed header (section 2.2). None at the end.
pub async fn packet(stream: &mut (impl AsyncRead + Unpin)) -> Option<(u8, Vec<u8>)> {
    let kind = stream.read_u8().await.ok()?;
    let (mut length, mut shift) = (0, 0);
    loop {
        let byte = stream.read_u8().await.ok()?;
        length |= usize::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 {
            break;
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).await.ok()?;
    Some((kind, body))
}

/// A PUBLISH of quality 0 in MQTT 3.1.1 (section 3.3).
pub fn publish_v3(topic: &str, payload: &[u8]) -> Vec<u8> {
    publish(topic, &[], payload)
}

/// A PUBLISH of quality 0 in MQTT 5.0 without properties.
pub fn publish_v5(topic: &str, payload: &[u8]) -> Vec<u8> {
    publish(topic, &[0], payload)
}

fn publish(topic: &str, properties: &[u8], payload: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0x30];
    let mut length = 2 + topic.len() + properties.len() + payload.len();
    loop {
        let more = length > 0x7f;
        bytes.push((length & 0x7f) as u8 | if more { 0x80 } else { 0 });
        length >>= 7;
        if !more {
            break;
        }
    }
    bytes.extend((topic.len() as u16).to_be_bytes());
    bytes.extend(topic.as_bytes());
    bytes.extend(properties);
    bytes.extend(payload);
    bytes
}
