//! A network between the program and the broker that delays, splits, cuts in the middle of a packet, or goes silent.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::Duration;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor, until};

/// What happens to the bytes of one connection.
#[derive(Clone, Default)]
struct Weather {
    /// After so many bytes from the broker the connection is cut.
    cut: Option<usize>,
    /// Bytes come in pieces of at most three, with pauses.
    pieces: bool,
    /// From when this is set, nothing arrives any more and nothing is closed.
    silent: Option<Arc<AtomicBool>>,
}

struct Proxy {
    address: SocketAddr,
    connections: Arc<AtomicUsize>,
}

impl Proxy {
    /// The first connections get the weather in this order, all later ones the last.
    fn start(to: SocketAddr, weather: Vec<Weather>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let connections = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&connections);
        thread::spawn(move || {
            for client in listener.incoming().map_while(Result::ok) {
                let number = counted.fetch_add(1, Ordering::Relaxed);
                let weather = weather[number.min(weather.len() - 1)].clone();
                let Ok(broker) = TcpStream::connect(to) else { continue };
                let ends = [client.try_clone().unwrap(), broker.try_clone().unwrap()];
                let up = Weather { cut: None, ..weather.clone() };
                thread::spawn(move || carry(client, broker, &up));
                let [client, broker] = ends;
                thread::spawn(move || carry(broker, client, &weather));
            }
        });
        Self { address, connections }
    }

    fn connections(&self) -> usize {
        self.connections.load(Ordering::Relaxed)
    }
}

fn carry(mut from: TcpStream, mut to: TcpStream, weather: &Weather) {
    let (mut bytes, mut carried) = ([0; 1024], 0);
    let most = if weather.pieces { 3 } else { bytes.len() };
    while let Ok(count @ 1..) = from.read(&mut bytes[..most]) {
        if weather.silent.as_ref().is_some_and(|silent| silent.load(Ordering::Relaxed)) {
            continue;
        }
        if weather.pieces {
            thread::sleep(Duration::from_micros(500));
        }
        let left = weather.cut.map_or(count, |cut| cut.saturating_sub(carried).min(count));
        if to.write_all(&bytes[..left]).is_err() || left < count {
            break;
        }
        carried += count;
    }
    // What has gone silent tells neither end that the other one is gone.
    while weather.silent.as_ref().is_some_and(|silent| silent.load(Ordering::Relaxed)) {
        thread::sleep(Duration::from_millis(100));
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}

/// CONNACK, SUBACK and messages, cut at every place of the first two and at many of the others.
#[test]
fn a_connection_that_is_cut_anywhere_is_made_again() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let wanted = cellar.rendered(&["--set", "temp=12.4", "--set", "rh=91"]);
    let places: Vec<usize> = (0..10).chain((10..130).step_by(6)).collect();
    let next = AtomicUsize::new(0);
    let done = AtomicBool::new(false);
    thread::scope(|scope| {
        scope.spawn(|| {
            let mut sensor = Sensor::connect(broker.v3());
            while !done.load(Ordering::Relaxed) {
                sensor.publish(CLIMATE, "12.4,91.0");
                thread::sleep(Duration::from_millis(5));
            }
        });
        let lives: Vec<_> = (0..3)
            .map(|_| {
                scope.spawn(|| {
                    while let Some(&place) = places.get(next.fetch_add(1, Ordering::Relaxed)) {
                        let cut = Weather { cut: Some(place), pieces: place % 2 == 0, silent: None };
                        let proxy =
                            Proxy::start(broker.v3(), vec![cut, Weather { pieces: true, ..Weather::default() }]);
                        let cellar = Cellar::new(DOOR);
                        let run = cellar.run(proxy.address, &[]);
                        until("the next connection", || proxy.connections() >= 2);
                        cellar.shows_png(&wanted);
                        let log = run.log();
                        assert!(!log.contains("faulty") && !log.contains("panicked"), "cut after {place}: {log}");
                    }
                })
            })
            .collect();
        let ended: Vec<_> = lives.into_iter().map(thread::ScopedJoinHandle::join).collect();
        done.store(true, Ordering::Relaxed);
        ended.into_iter().for_each(|end| end.unwrap());
    });
}

#[test]
fn a_connection_that_is_half_open_is_noticed_and_made_again() {
    let broker = Broker::start().unwrap();
    let silent = Arc::new(AtomicBool::new(false));
    let first = Weather { silent: Some(Arc::clone(&silent)), ..Weather::default() };
    let proxy = Proxy::start(broker.v3(), vec![first, Weather::default()]);
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(proxy.address, &["--keep-alive", "5"]);
    run.says("subscribed to");
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    silent.store(true, Ordering::Relaxed);
    sensor.publish(CLIMATE, "13.0,70.0");
    let noticed = run.says("the broker gave no sign of life for longer than the keep-alive");
    eprintln!("noticed after {noticed:?}");
    assert!(noticed < Duration::from_secs(15), "{noticed:?}");
    until("the next connection", || {
        sensor.publish(CLIMATE, "12.6,90.0");
        thread::sleep(Duration::from_millis(50));
        run.log().matches("subscribed to").count() == 2
    });
    sensor.publish(CLIMATE, "12.6,90.0");
    cellar.shows(&["--set", "temp=12.6", "--set", "rh=90"]);
}
