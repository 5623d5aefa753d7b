//! What is told to the supervisor that started the program: ready, a line of status, signs of life (sd_notify(3), from memory).
//!
//! What enters are the variables that the supervisor set, and what the service has to say; what leaves are datagrams on its
//! socket. Nothing waits for the supervisor, and what it does not take is lost.

use std::ffi::OsStr;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;

/// The longest line of status, in bytes.
const LONGEST: usize = 512;

/// A supervisor that wants to be told.
#[derive(Debug)]
pub struct Supervisor {
    socket: UnixDatagram,
    address: SocketAddr,
    watchdog: Option<Duration>,
}

impl Supervisor {
    /// The supervisor that the environment names, if there is one.
    ///
    /// # Errors
    /// The system's, if it gives no socket, or the address is none.
    pub fn from_environment() -> io::Result<Option<Self>> {
        let variable = |name| std::env::var_os(name);
        let Some(address) = variable("NOTIFY_SOCKET").filter(|address| !address.is_empty()) else { return Ok(None) };
        let number = |name| variable(name).and_then(|text| text.to_str()?.parse::<u64>().ok());
        // Meant for another process, which this one inherited the variables from.
        let mine = number("WATCHDOG_PID").is_none_or(|pid| pid == u64::from(std::process::id()));
        let watchdog = number("WATCHDOG_USEC").filter(|usec| mine && *usec > 0).map(Duration::from_micros);
        Self::at(&address, watchdog).map(Some)
    }

    /// A supervisor that listens at `address`: a path, or a name in the abstract namespace after an `@`.
    fn at(address: &OsStr, watchdog: Option<Duration>) -> io::Result<Self> {
        let address = match address.as_bytes().strip_prefix(b"@") {
            Some(name) => SocketAddr::from_abstract_name(name)?,
            None => SocketAddr::from_pathname(address)?,
        };
        let socket = UnixDatagram::unbound()?;
        socket.set_nonblocking(true)?;
        Ok(Self { socket, address, watchdog })
    }

    /// Within how much time the supervisor wants a sign of life.
    pub fn watchdog(&self) -> Option<Duration> {
        self.watchdog
    }

    /// The program does what it is for.
    pub fn ready(&self) {
        self.send("READY=1");
    }

    /// The program reads its layouts again; [`ready`](Self::ready) ends that.
    pub fn reloading(&self) {
        self.send("RELOADING=1");
    }

    /// The program ends.
    pub fn stopping(&self) {
        self.send("STOPPING=1");
    }

    /// A sign of life.
    pub fn alive(&self) {
        self.send("WATCHDOG=1");
    }

    /// How the program is, in a line.
    pub fn status(&self, words: &str) {
        let mut line = format!("STATUS={words}").replace(char::is_control, " ");
        line.truncate(line.floor_char_boundary(LONGEST));
        self.send(&line);
    }

    fn send(&self, line: &str) {
        // Nobody else could be told, and the next word will come.
        let _ = self.socket.send_to_addr(line.as_bytes(), &self.address);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_reach_a_socket_by_path_and_by_abstract_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("notify");
        let name = format!("sidelight-test-{}", std::process::id());
        let abstract_name = SocketAddr::from_abstract_name(&name).unwrap();
        for (listener, address) in [
            (UnixDatagram::bind(&path).unwrap(), path.as_os_str().to_owned()),
            (UnixDatagram::bind_addr(&abstract_name).unwrap(), format!("@{name}").into()),
        ] {
            let supervisor = Supervisor::at(&address, None).unwrap();
            supervisor.ready();
            supervisor.status(&format!("a\nb{}", "°".repeat(LONGEST)));
            let mut bytes = [0; 2048];
            let length = listener.recv(&mut bytes).unwrap();
            assert_eq!(&bytes[..length], b"READY=1");
            let length = listener.recv(&mut bytes).unwrap();
            let status = std::str::from_utf8(&bytes[..length]).unwrap();
            assert!(status.starts_with("STATUS=a b°") && length <= LONGEST, "{status}");
        }
    }

    #[test]
    fn a_supervisor_that_is_gone_is_no_trouble() {
        let supervisor = Supervisor::at(OsStr::new("/nowhere/notify"), None).unwrap();
        supervisor.ready();
        supervisor.alive();
    }
}
