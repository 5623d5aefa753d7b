//! What the tests share: the running program with its log, a sensor that speaks MQTT by itself, and waiting with a limit.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// How long to wait for something that must happen; far longer than it takes.
const PATIENCE: Duration = Duration::from_secs(20);

pub const SIDELIGHT: &str = env!("CARGO_BIN_EXE_sidelight");
pub const DOOR: &str = include_str!("../../layouts/ripening-door.layout");
pub const CLIMATE: &str = "cellar/ripening/climate";

/// Polls until `done`, and tells how long that took.
pub fn until(what: &str, mut done: impl FnMut() -> bool) -> Duration {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < PATIENCE, "{what}: did not happen");
        thread::sleep(Duration::from_millis(2));
    }
    start.elapsed()
}

/// A folder of its own with the layout `door.layout`.
pub struct Cellar {
    pub folder: TempDir,
}

impl Cellar {
    pub fn new(layout: &str) -> Self {
        let cellar = Self { folder: tempfile::tempdir().unwrap() };
        fs::write(cellar.path("door.layout"), layout).unwrap();
        cellar
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The program, started in this folder.
    pub fn start(&self, arguments: &[&str]) -> Running {
        self.start_in(&[], arguments)
    }

    /// The program, started by another one, such as `ip netns exec cellar`.
    pub fn start_in(&self, starter: &[&str], arguments: &[&str]) -> Running {
        Running::start(self.folder.path(), &[starter, &[SIDELIGHT], arguments].concat())
    }

    /// The same, with these variables in its environment.
    pub fn start_with(&self, variables: &[(&str, &str)], arguments: &[&str]) -> Running {
        let mut command = Command::new(SIDELIGHT);
        command.current_dir(self.folder.path()).args(arguments).envs(variables.iter().copied());
        Running::spawn(command)
    }

    /// `run` with this folder's layout and the panel `door.png`.
    pub fn run(&self, broker: SocketAddr, more: &[&str]) -> Running {
        let url = format!("mqtt://{broker}");
        let usual = ["run", "door.layout", "--broker", &url, "--panel", "picture:door.png"];
        self.start(&[&usual, more].concat())
    }

    /// What `render` makes of this folder's layout, as a PNG.
    pub fn rendered(&self, arguments: &[&str]) -> Vec<u8> {
        let out = self.path("rendered.png");
        let usual = ["render", "door.layout", "--out", "rendered.png"];
        let ended =
            Command::new(SIDELIGHT).current_dir(self.folder.path()).args(usual).args(arguments).output().unwrap();
        assert!(ended.status.success(), "{ended:?}");
        fs::read(out).unwrap()
    }

    /// Waits until the panel's picture is what `render` makes of these arguments.
    pub fn shows(&self, arguments: &[&str]) {
        self.shows_png(&self.rendered(arguments));
    }

    /// Waits until the panel's picture is this one.
    pub fn shows_png(&self, wanted: &[u8]) -> Duration {
        until("the picture", || fs::read(self.path("door.png")).is_ok_and(|png| png == wanted))
    }
}

/// A running program; killed at the latest when the test ends.
pub struct Running {
    child: Child,
    log: Arc<Mutex<String>>,
}

impl Running {
    /// A program with its arguments, started in a folder.
    pub fn start(folder: &Path, line: &[&str]) -> Self {
        let mut command = Command::new(line[0]);
        command.current_dir(folder).args(&line[1..]);
        Self::spawn(command)
    }

    fn spawn(mut command: Command) -> Self {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
        let log = Arc::new(Mutex::new(String::new()));
        let (lines, into) = (BufReader::new(child.stderr.take().unwrap()).lines(), Arc::clone(&log));
        thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                into.lock().unwrap().push_str(&(line + "\n"));
            }
        });
        Self { child, log }
    }

    pub fn log(&self) -> String {
        self.log.lock().unwrap().clone()
    }

    /// Waits until the log says this.
    pub fn says(&self, words: &str) -> Duration {
        self.says_times(words, 1)
    }

    /// Waits until the log says this so many times.
    pub fn says_times(&self, words: &str, times: usize) -> Duration {
        let found = || self.log().matches(words).count() >= times;
        let start = Instant::now();
        while !found() && start.elapsed() < PATIENCE {
            thread::sleep(Duration::from_millis(2));
        }
        assert!(found(), "the log does not say {words:?}:\n{}", self.log());
        start.elapsed()
    }

    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// The same to a program that may have ended already.
    pub fn signal_if_there(&self, name: &str) {
        let _ = Command::new("kill").args(["-s", name, &self.child.id().to_string()]).stderr(Stdio::null()).status();
    }

    /// Waits for the end, which must come by itself.
    pub fn wait(&mut self) -> ExitStatus {
        let mut status = None;
        until("the end of the program", || {
            status = self.child.try_wait().unwrap();
            status.is_some()
        });
        status.unwrap()
    }

    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// Resident memory in KiB (proc(5), `VmRSS`).
    pub fn resident(&self) -> u64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }

    /// Processor time of all threads so far, in ticks of usually 10 ms (proc(5), `utime` and `stime`).
    pub fn busy(&self) -> u64 {
        let stat = fs::read_to_string(format!("/proc/{}/stat", self.child.id())).unwrap();
        let (_, fields) = stat.rsplit_once(')').unwrap();
        fields.split_whitespace().skip(11).take(2).map(|ticks| ticks.parse::<u64>().unwrap()).sum()
    }

    /// Voluntary context switches of all threads: how many times one of them went to sleep, and so was woken.
    pub fn wake_ups(&self) -> u64 {
        let tasks = fs::read_dir(format!("/proc/{}/task", self.child.id())).unwrap();
        let statuses = tasks.map(|task| fs::read_to_string(task.unwrap().path().join("status")).unwrap());
        let switches = statuses.map(|status| {
            let line = status.lines().find(|line| line.starts_with("voluntary_ctxt_switches:")).unwrap().to_string();
            line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap()
        });
        switches.sum()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A sensor that publishes at most once over MQTT 3.1.1, byte by byte as in sections 3.1 and 3.3.
pub struct Sensor {
    stream: TcpStream,
}

impl Sensor {
    pub fn connect(broker: SocketAddr) -> Self {
        Self::connect_with_will(broker, None)
    }

    /// A sensor whose topic says so, kept by the broker, once it is gone without a word.
    pub fn connect_with_will(broker: SocketAddr, will: Option<(&str, &str)>) -> Self {
        static NUMBER: Mutex<u32> = Mutex::new(0);
        let id = {
            let mut number = NUMBER.lock().unwrap();
            *number += 1;
            format!("sensor{number}")
        };
        let mut stream = TcpStream::connect(broker).unwrap();
        let flags = if will.is_some() { 0x26 } else { 0x02 };
        let mut body = [&b"\0\x04MQTT\x04"[..], &[flags], b"\0\x3c"].concat();
        push_text(&mut body, &id);
        if let Some((topic, payload)) = will {
            push_text(&mut body, topic);
            push_text(&mut body, payload);
        }
        stream.write_all(&packet(0x10, &body)).unwrap();
        let mut answer = [0; 4];
        stream.read_exact(&mut answer).unwrap();
        assert_eq!(answer, [0x20, 2, 0, 0], "CONNACK");
        Self { stream }
    }

    pub fn publish(&mut self, topic: &str, payload: impl AsRef<[u8]>) {
        self.send(0x30, topic, payload.as_ref());
    }

    pub fn publish_retained(&mut self, topic: &str, payload: impl AsRef<[u8]>) {
        self.send(0x31, topic, payload.as_ref());
    }

    fn send(&mut self, kind: u8, topic: &str, payload: &[u8]) {
        let mut body = Vec::new();
        push_text(&mut body, topic);
        body.extend(payload);
        self.stream.write_all(&packet(kind, &body)).unwrap();
    }
}

pub fn push_text(bytes: &mut Vec<u8>, text: &str) {
    bytes.extend((text.len() as u16).to_be_bytes());
    bytes.extend(text.as_bytes());
}

/// A packet with its length in groups of seven bits (section 2.2.3).
pub fn packet(kind: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![kind];
    let mut rest = body.len();
    loop {
        let group = (rest % 128) as u8;
        rest /= 128;
        bytes.push(if rest > 0 { group | 0x80 } else { group });
        if rest == 0 {
            break;
        }
    }
    bytes.extend(body);
    bytes
}
