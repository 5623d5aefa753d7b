//! A broker of a few lines for MQTT 3.1.1 that does what a test wants: admits whom it wants, throws out whom another one replaces, and
//! publishes as fast as the network takes it. Packets as in sections 3.1 to 3.12.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Instant;

use super::kit::{packet, push_text};

pub struct Scripted {
    pub address: SocketAddr,
    state: Arc<Mutex<State>>,
}

#[derive(Default)]
struct State {
    connects: Vec<Instant>,
    clients: Vec<Client>,
}

/// A client that was let in.
struct Client {
    id: String,
    /// Which one in the order of those that asked.
    number: usize,
    stream: TcpStream,
    subscribed: bool,
}

impl State {
    fn subscribers(&mut self) -> impl Iterator<Item = &mut Client> {
        self.clients.iter_mut().filter(|client| client.subscribed)
    }
}

impl Scripted {
    /// Listens; each client gets the return code that `admit` says to its password.
    pub fn start(admit: impl Fn(&str) -> u8 + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let state = Arc::new(Mutex::new(State::default()));
        let (shared, admit) = (Arc::clone(&state), Arc::new(admit));
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let (shared, admit) = (Arc::clone(&shared), Arc::clone(&admit));
                thread::spawn(move || serve(stream, &shared, &*admit));
            }
        });
        Self { address, state }
    }

    /// When each client asked to be let in.
    pub fn connects(&self) -> Vec<Instant> {
        self.state.lock().unwrap().connects.clone()
    }

    /// Whether a client has subscribed.
    pub fn has_subscriber(&self) -> bool {
        self.state.lock().unwrap().subscribers().next().is_some()
    }

    /// Sends packets to everybody who subscribed, and waits until the network has taken them.
    pub fn send(&self, packets: &[u8]) {
        for client in self.state.lock().unwrap().subscribers() {
            client.stream.write_all(packets).unwrap();
        }
    }
}

/// A PUBLISH of quality 0.
pub fn publication(topic: &str, payload: &str, retained: bool) -> Vec<u8> {
    let mut body = Vec::new();
    push_text(&mut body, topic);
    body.extend(payload.as_bytes());
    packet(if retained { 0x31 } else { 0x30 }, &body)
}

/// One connection to its end.
fn serve(mut stream: TcpStream, state: &Mutex<State>, admit: &dyn Fn(&str) -> u8) -> Option<()> {
    let (_, body) = read(&mut stream)?;
    let mut rest = &body[10..];
    let client_id = text(&mut rest)?;
    let (user, password) = (body[7] & 0x80 != 0, body[7] & 0x40 != 0);
    user.then(|| text(&mut rest));
    let password = password.then(|| text(&mut rest)).flatten().unwrap_or_default();
    let code = admit(&password);
    let number = {
        let mut state = state.lock().unwrap();
        state.connects.push(Instant::now());
        // The one that was there is thrown out (section 3.1.4), subscribed or not.
        state.clients.retain(|other| other.id != client_id || other.stream.shutdown(Shutdown::Both).is_err());
        let number = state.connects.len();
        if code == 0 {
            state.clients.push(Client { id: client_id, number, stream: stream.try_clone().ok()?, subscribed: false });
        }
        number
    };
    stream.write_all(&[0x20, 2, 0, code]).ok()?;
    loop {
        let (kind, body) = read(&mut stream)?;
        match kind & 0xf0 {
            0x80 => {
                let count = filters(&body[2..]);
                let answer = [&body[..2], &vec![0; count]].concat();
                stream.write_all(&packet(0x90, &answer)).ok()?;
                let mut state = state.lock().unwrap();
                state.clients.iter_mut().find(|client| client.number == number)?.subscribed = true;
            }
            0xc0 => {
                // Between two messages, not within one.
                let _between = state.lock().unwrap();
                stream.write_all(&[0xd0, 0]).ok()?;
            }
            _ => {}
        }
    }
}

fn filters(mut bytes: &[u8]) -> usize {
    let mut count = 0;
    while text(&mut bytes).is_some() {
        bytes = &bytes[1..];
        count += 1;
    }
    count
}

fn text(bytes: &mut &[u8]) -> Option<String> {
    let length = usize::from(u16::from_be_bytes(bytes.get(..2)?.try_into().ok()?));
    let text = String::from_utf8(bytes.get(2..2 + length)?.to_vec()).ok()?;
    *bytes = &bytes[2 + length..];
    Some(text)
}

fn read(stream: &mut TcpStream) -> Option<(u8, Vec<u8>)> {
    let mut byte = [0];
    stream.read_exact(&mut byte).ok()?;
    let kind = byte[0];
    let (mut length, mut shift) = (0, 0);
    loop {
        stream.read_exact(&mut byte).ok()?;
        length |= usize::from(byte[0] & 0x7f) << shift;
        shift += 7;
        if byte[0] & 0x80 == 0 {
            break;
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).ok()?;
    Some((kind, body))
}
