//! A USB I2C adapter without the adapter, at the end of a TCP connection, with the emulated panel on its bus.
//!
//! What enters are USB requests as a kernel's virtual host controller sends them; what leaves are its answers, and what the glass shows.
//! Sources: the Linux kernel's "USB/IP protocol" page (Documentation/usb/usbip_protocol.rst) for the packets, the USB 2.0 specification,
//! chapter 9, for the standard requests, and the kernel's driver i2c-tiny-usb for the adapter's own, all from memory: the kernel in the
//! guest is the judge. The exchange that tools make before a connection is handed to the kernel is left out.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, MutexGuard};
use std::thread;

use embedded_hal::i2c::I2c;
use sidelight::draw::{Frame, Size};
use sidelight::panel::{Complaint, Controller, EmulatedPanel, FaultyBus};

pub const ADDRESS: u8 = 0x3c;

type Bus = FaultyBus<EmulatedPanel>;

/// The adapter: it can be plugged in again after it was pulled out, with the same panel on it.
pub struct Adapter {
    port: u16,
    bus: Arc<Mutex<Bus>>,
    plugged: Arc<Mutex<Option<TcpStream>>>,
}

impl Adapter {
    pub fn new(controller: Controller, size: Size) -> Self {
        let bus = Arc::new(Mutex::new(FaultyBus::new(EmulatedPanel::new(controller, size, ADDRESS, 0x5eed))));
        let plugged = Arc::new(Mutex::new(None));
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        let (wires, socket) = (Arc::clone(&bus), Arc::clone(&plugged));
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                *socket.lock().unwrap() = stream.try_clone().ok();
                let bus = Arc::clone(&wires);
                thread::spawn(move || serve(stream, &bus));
            }
        });
        Self { port, bus, plugged }
    }

    /// Where the guest finds it.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Pulls it out of its socket.
    pub fn pull(&self) {
        let stream = self.plugged.lock().unwrap().take().expect("it is plugged in");
        stream.shutdown(Shutdown::Both).unwrap();
    }

    /// The wires between adapter and panel.
    pub fn wires(&self) -> MutexGuard<'_, Bus> {
        self.bus.lock().unwrap()
    }

    pub fn glass(&self) -> Frame {
        self.wires().bus().glass()
    }

    pub fn complaints(&self) -> Vec<Complaint> {
        self.wires().bus().complaints().to_vec()
    }
}

const SUBMIT: u32 = 1;
const UNLINK: u32 = 2;
const SUBMITTED: u32 = 3;
const UNLINKED: u32 = 4;
/// `EPIPE`: the request is not known.
const STALL: i32 = -32;

/// A control request (USB 2.0, section 9.3).
struct Setup {
    kind: u8,
    request: u8,
    value: u16,
    index: u16,
    length: u16,
}

/// Answers until the connection ends.
fn serve(mut stream: TcpStream, bus: &Mutex<Bus>) -> io::Result<()> {
    let _ = stream.set_nodelay(true);
    let mut status = IDLE;
    loop {
        let mut header = [0; 48];
        stream.read_exact(&mut header)?;
        let word = |at: usize| u32::from_be_bytes([header[at], header[at + 1], header[at + 2], header[at + 3]]);
        let (command, number, inwards) = (word(0), word(4), word(12) == 1);
        let mut answer = Vec::new();
        let mut push = |word: u32| answer.extend(word.to_be_bytes());
        match command {
            SUBMIT => {
                let mut data = vec![0; if inwards { 0 } else { word(24) as usize }];
                stream.read_exact(&mut data)?;
                let short = |at: usize| u16::from_le_bytes([header[at], header[at + 1]]);
                let setup = Setup {
                    kind: header[40],
                    request: header[41],
                    value: short(42),
                    index: short(44),
                    length: short(46),
                };
                let done = match setup.kind & 0x60 {
                    0x00 => standard(&setup),
                    0x40 => Some(vendor(&setup, &data, &mut status, &mut bus.lock().unwrap())),
                    _ => None,
                };
                let (result, sent) = match done {
                    Some(mut sent) => {
                        sent.truncate(setup.length.into());
                        (0, sent)
                    }
                    None => (STALL, Vec::new()),
                };
                let length = if inwards { sent.len() } else { data.len() };
                for word in [SUBMITTED, number, 0, 0, 0, result as u32, length as u32, 0, 0, 0, 0, 0] {
                    push(word);
                }
                if inwards {
                    answer.extend(sent);
                }
            }
            // Every request was answered before the next one was read.
            UNLINK => {
                for word in [UNLINKED, number, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0] {
                    push(word);
                }
            }
            _ => return Err(io::Error::other(format!("no packet of USB/IP: {command}"))),
        }
        stream.write_all(&answer)?;
    }
}

/// Requests that every device knows; `None` is a stall.
fn standard(setup: &Setup) -> Option<Vec<u8>> {
    const GET_STATUS: u8 = 0;
    const CLEAR_FEATURE: u8 = 1;
    const GET_DESCRIPTOR: u8 = 6;
    const SET_CONFIGURATION: u8 = 9;
    const SET_INTERFACE: u8 = 11;
    // The ids that the kernel's driver knows the adapter by; 0x0200 is USB 2.0, 64 the packet size of endpoint 0.
    const DEVICE: [u8; 18] = [18, 1, 0x00, 0x02, 0, 0, 0, 64, 0x03, 0x04, 0x31, 0xc6, 0x00, 0x01, 0, 0, 0, 1];
    // One configuration powered by the bus, and one interface of the vendor's own class without endpoints.
    const CONFIGURATION: [u8; 18] = [9, 2, 18, 0, 1, 1, 0, 0x80, 50, 9, 4, 0, 0, 0, 0xff, 0, 0, 0];
    match (setup.request, setup.value >> 8) {
        (GET_DESCRIPTOR, 1) => Some(DEVICE.into()),
        (GET_DESCRIPTOR, 2) => Some(CONFIGURATION.into()),
        (GET_STATUS, _) => Some(vec![0, 0]),
        (CLEAR_FEATURE | SET_CONFIGURATION | SET_INTERFACE, _) => Some(Vec::new()),
        _ => None,
    }
}

/// The state of the last transfer on the bus.
const IDLE: u8 = 0;
const ACKNOWLEDGED: u8 = 1;
const NOT_ACKNOWLEDGED: u8 = 2;

/// The adapter's own requests.
fn vendor(setup: &Setup, data: &[u8], status: &mut u8, bus: &mut Bus) -> Vec<u8> {
    const ECHO: u8 = 0;
    const GET_FUNCTIONS: u8 = 1;
    const SET_DELAY: u8 = 2;
    const GET_STATUS: u8 = 3;
    /// Plain I2C, and SMBus made of it (`linux/i2c.h`).
    const FUNCTIONS: u32 = 0x0000_0001 | 0x0eff_0008;
    /// The transfer is a read (`I2C_M_RD`).
    const READ: u16 = 1;
    match setup.request {
        ECHO => setup.value.to_le_bytes().into(),
        GET_FUNCTIONS => FUNCTIONS.to_le_bytes().into(),
        SET_DELAY => Vec::new(),
        GET_STATUS => vec![std::mem::replace(status, IDLE)],
        // A transfer, with or without a start before it and a stop behind it.
        4..=7 => {
            let address = setup.index as u8;
            let mut bytes = vec![0; if setup.value & READ != 0 { setup.length.into() } else { 0 }];
            let done = if setup.value & READ != 0 { bus.read(address, &mut bytes) } else { bus.write(address, data) };
            *status = if done.is_ok() { ACKNOWLEDGED } else { NOT_ACKNOWLEDGED };
            bytes
        }
        _ => Vec::new(),
    }
}
