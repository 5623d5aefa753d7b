//! An MQTT broker in this process, reachable from loopback only.
//!
//! What enters are two ports or none; what leaves is a broker that serves MQTT 3.1.1 on one and 5.0 on the other until it is
//! dropped. It never listens on the network and keeps nothing on disk. For the demo and for tests.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::mpsc;
use std::thread::{self, JoinHandle};

use rumqttd::protocol::{v4::V4, v5::V5};
use rumqttd::{ConnectionSettings, LinkType, Router, RouterConfig, Server, ServerSettings};
use tokio::runtime::Builder;
use tokio::sync::oneshot;

/// The broker reports through `tracing` under targets that begin so; leave them out of the log, as it takes a client that
/// goes away for an error.
pub const LOG_TARGET: &str = "rumqttd";

/// How often to look for other ports if somebody else took those that were free a moment ago.
const ATTEMPTS: usize = 10;
/// The largest packet: enough to try what happens to a payload that is too large for a reading.
const LARGEST_PACKET: usize = 2 << 20;

/// Clients at a time, if nobody says otherwise.
const CLIENTS: usize = 64;

/// Why there is no broker.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// A port is taken, or this process may not listen on it.
    #[error("the demo's broker cannot listen on 127.0.0.1: {0}; stop what holds the port, or choose another")]
    Listen(#[source] io::Error),
    /// No thread, or no runtime in it.
    #[error("the demo's broker cannot start: {0}")]
    Start(#[source] io::Error),
}

/// A running broker; dropping it closes its ports and all connections, as if its machine had been switched off.
#[derive(Debug)]
pub struct Broker {
    addresses: [SocketAddr; 2],
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Broker {
    /// Starts a broker on two free ports and returns once it accepts connections.
    ///
    /// # Errors
    /// [`BrokerError`] if it cannot listen or no thread can be had.
    pub fn start() -> Result<Self, BrokerError> {
        Self::start_for(CLIENTS)
    }

    /// The same for so many clients at a time, and for as many retained topics under one filter.
    ///
    /// # Errors
    /// [`BrokerError`] if it cannot listen or no thread can be had.
    pub fn start_for(clients: usize) -> Result<Self, BrokerError> {
        let mut attempt = 1;
        loop {
            let ports = free_ports().map_err(BrokerError::Listen)?;
            match Self::open(ports, clients) {
                Err(BrokerError::Listen(error)) if error.kind() == io::ErrorKind::AddrInUse && attempt < ATTEMPTS => {
                    attempt += 1;
                }
                result => return result,
            }
        }
    }

    /// Starts a broker that speaks MQTT 3.1.1 on the first of `ports` and 5.0 on the second.
    ///
    /// # Errors
    /// [`BrokerError`] if it cannot listen or no thread can be had.
    pub fn start_on(ports: [u16; 2]) -> Result<Self, BrokerError> {
        Self::open(ports, CLIENTS)
    }

    fn open(ports: [u16; 2], clients: usize) -> Result<Self, BrokerError> {
        let addresses = ports.map(|port| SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        let (stop, stopped) = oneshot::channel();
        let (report, started) = mpsc::channel();
        let thread = thread::Builder::new()
            .name("demo-broker".into())
            .spawn(move || serve(addresses, clients, stopped, &report))
            .map_err(BrokerError::Start)?;
        let broker = Self { addresses, stop: Some(stop), thread: Some(thread) };
        match started.recv() {
            Ok(Ok(())) => Ok(broker),
            Ok(Err(error)) => Err(error),
            Err(_) => Err(BrokerError::Start(io::Error::other("its thread ended early"))),
        }
    }

    /// Where it speaks MQTT 3.1.1.
    pub fn v3(&self) -> SocketAddr {
        self.addresses[0]
    }

    /// Where it speaks MQTT 5.0.
    pub fn v5(&self) -> SocketAddr {
        self.addresses[1]
    }

    /// Both ports, to start another broker on after this one.
    pub fn ports(&self) -> [u16; 2] {
        self.addresses.map(|address| address.port())
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            // It ends by itself now that it has been told; that it may have panicked matters to nobody any more.
            let _ = thread.join();
        }
    }
}

/// Two ports that are free at this moment.
fn free_ports() -> io::Result<[u16; 2]> {
    let listen = || TcpListener::bind((Ipv4Addr::LOCALHOST, 0));
    let (first, second) = (listen()?, listen()?);
    Ok([first.local_addr()?.port(), second.local_addr()?.port()])
}

/// Serves until `stopped`. The library offers no way to stop a whole broker, but its servers are futures: dropping the
/// runtime that runs them closes their sockets. Its router stays behind as a thread that waits for ever.
fn serve(
    addresses: [SocketAddr; 2],
    clients: usize,
    stopped: oneshot::Receiver<()>,
    report: &mpsc::Sender<Result<(), BrokerError>>,
) {
    let outcome = Builder::new_current_thread().enable_all().build().map_err(BrokerError::Start).and_then(|runtime| {
        let router = Router::new(0, router_config(clients)).spawn();
        let mut v3 = Server::new(server_settings("v3", addresses[0]), router.clone(), V4);
        let mut v5 = Server::new(server_settings("v5", addresses[1]), router, V5);
        runtime.block_on(async {
            let serving = async {
                // The first look at each server binds its port, in this order: when the third is looked at, both listen.
                tokio::select! {
                    biased;
                    end = v3.start(LinkType::Remote) => end,
                    end = v5.start(LinkType::Remote) => end,
                    () = async {
                        // Nobody waits for this any more only if the starter is gone, and then `stopped` ends this too.
                        let _ = report.send(Ok(()));
                        let _ = stopped.await;
                    } => Ok(()),
                }
            };
            serving.await.map_err(|error| BrokerError::Listen(io_error(error)))
        })
    });
    if let Err(error) = outcome {
        let _ = report.send(Err(error));
    }
}

/// The network's error behind a server's.
fn io_error(error: impl std::error::Error + Send + Sync + 'static) -> io::Error {
    let source = std::error::Error::source(&error).and_then(|source| source.downcast_ref::<io::Error>());
    match source {
        Some(source) => io::Error::new(source.kind(), source.to_string()),
        None => io::Error::other(error),
    }
}

fn router_config(clients: usize) -> RouterConfig {
    RouterConfig {
        max_connections: clients,
        // What is retained beyond this is not delivered at all.
        max_outgoing_packet_count: clients.max(200) as u64,
        // A log a topic. A client that has not caught up when the oldest segment is dropped misses what was in it.
        max_segment_size: 1 << 20,
        max_segment_count: 4,
        ..RouterConfig::default()
    }
}

fn server_settings(name: &str, listen: SocketAddr) -> ServerSettings {
    ServerSettings {
        name: name.into(),
        listen,
        tls: None,
        next_connection_delay_ms: 0,
        connections: ConnectionSettings {
            connection_timeout_ms: 5000,
            max_payload_size: LARGEST_PACKET,
            max_inflight_count: 100,
            auth: None,
            external_auth: None,
            // Topics need not be subscribed before they are published.
            dynamic_filters: true,
        },
    }
}

#[cfg(test)]
mod tests {
    use std::net::TcpStream;

    use super::*;

    #[test]
    fn it_listens_until_dropped_and_the_ports_can_be_used_again() {
        let broker = Broker::start().unwrap();
        let (ports, addresses) = (broker.ports(), [broker.v3(), broker.v5()]);
        for address in addresses {
            TcpStream::connect(address).unwrap();
        }
        assert!(matches!(
            Broker::start_on(ports),
            Err(BrokerError::Listen(error)) if error.kind() == io::ErrorKind::AddrInUse
        ));
        drop(broker);
        for address in addresses {
            assert!(TcpStream::connect(address).is_err());
        }
        Broker::start_on(ports).unwrap();
    }
}
