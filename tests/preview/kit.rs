//! A running `sidelight preview` on a layout of its own, a bare HTTP client, and the frame that the library draws.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use jiff::civil::DateTime;
use serde_json::Value;
use sidelight::draw::Frame;
use sidelight::formulas::Evaluated;
use sidelight::language::clock;
use sidelight::layout::Scene;
use sidelight::readings::State;
use sidelight::service::compile;

pub const DOOR: &str = include_str!("../../layouts/ripening-door.layout");
/// Longer than anything here takes, also on a machine with other work.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// A running preview; ended with the test.
pub struct Preview {
    child: Child,
    pub url: String,
    pub port: u16,
    pub folder: tempfile::TempDir,
}

impl Preview {
    pub fn of(layout: &str) -> Self {
        Self::with(layout, &[])
    }

    pub fn with(layout: &str, more: &[&str]) -> Self {
        Self::beside(layout, more, &[])
    }

    /// With more files beside the layout.
    pub fn beside(layout: &str, more: &[&str], files: &[(&str, &[u8])]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for (name, bytes) in files {
            std::fs::write(folder.path().join(name), bytes).unwrap();
        }
        std::fs::write(folder.path().join("door.layout"), layout).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_sidelight"))
            .args(["preview", "door.layout", "--no-open"])
            .args(more)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let url = line.split_whitespace().find(|word| word.starts_with("http://")).unwrap_or_else(|| panic!("{line}"));
        let port = url.trim_end_matches('/').rsplit(':').next().unwrap().parse().unwrap();
        Self { child, url: url.to_string(), port, folder }
    }

    pub fn file(&self) -> PathBuf {
        self.folder.path().join("door.layout")
    }

    pub fn save(&self, layout: &str) {
        std::fs::write(self.file(), layout).unwrap();
    }

    /// The answer to a request that is written out.
    pub fn ask(&self, request: &str) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        // A server that refuses early may close before all is written.
        let _ = stream.write_all(request.as_bytes());
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer to {request:?}: {text:?}"));
        Answer { head: head.to_lowercase(), body: body.to_string() }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask(&format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n", self.port))
    }

    pub fn post(&self, path: &str, body: &str) -> Answer {
        self.ask(&format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{0}\r\nOrigin: http://127.0.0.1:{0}\r\nContent-Type: application/json\r\n\
             Content-Length: {1}\r\nConnection: close\r\n\r\n{body}",
            self.port,
            body.len()
        ))
    }

    /// A change that must be taken.
    pub fn change(&self, change: &Value) {
        let answer = self.post("/change", &change.to_string());
        assert_eq!(answer.status(), 204, "{change}: {}", answer.body);
    }

    pub fn events(&self) -> Events {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        write!(stream, "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port).unwrap();
        let mut lines = BufReader::new(stream);
        let mut status = String::new();
        lines.read_line(&mut status).unwrap();
        Events { lines, status, layout: Value::Null, picture: Value::Null, sheet: Value::Null, recording: Value::Null }
    }
}

impl Drop for Preview {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub struct Answer {
    /// Status line and headers in lower case.
    pub head: String,
    pub body: String,
}

impl Answer {
    pub fn status(&self) -> u16 {
        self.head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or_else(|| panic!("{}", self.head))
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
    }
}

/// A stream of events as it comes in.
pub struct Events {
    lines: BufReader<TcpStream>,
    pub status: String,
    pub layout: Value,
    pub picture: Value,
    pub sheet: Value,
    pub recording: Value,
}

impl Events {
    /// Reads on until what was told satisfies, and tells how long that took.
    pub fn until(&mut self, what: &str, satisfied: impl Fn(&Events) -> bool) -> Duration {
        let start = Instant::now();
        let mut kind = String::new();
        while !satisfied(self) {
            assert!(start.elapsed() < PATIENCE, "never came: {what}");
            let mut line = String::new();
            let read =
                self.lines.read_line(&mut line).unwrap_or_else(|problem| panic!("waiting for {what}: {problem}"));
            assert!(read > 0, "the stream ended before {what}");
            if let Some(event) = line.trim_end().strip_prefix("event: ") {
                kind = event.to_string();
            } else if let Some(data) = line.trim_end().strip_prefix("data: ") {
                let told: Value = serde_json::from_str(data).unwrap();
                match kind.as_str() {
                    "layout" => self.layout = told,
                    "picture" => self.picture = told,
                    "sheet" => self.sheet = told,
                    "recording" => self.recording = told,
                    other => panic!("an event called {other}"),
                }
            }
        }
        start.elapsed()
    }

    /// Reads on until layout and picture were told.
    pub fn begin(&mut self) {
        self.until("layout and picture", |told| told.layout.is_object() && told.picture.is_object());
    }

    /// Reads on until this frame is shown.
    pub fn shows(&mut self, frame: &Frame) -> Duration {
        let wanted = hexadecimal(frame);
        self.until("the frame", |told| told.picture["frame"] == wanted)
    }
}

pub fn hexadecimal(frame: &Frame) -> String {
    frame.bytes().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What the library draws of a layout whose readings have these numbers and states; all others are waiting.
pub fn drawn(layout: &str, readings: &[(&str, f64, State)]) -> Frame {
    let program: Arc<_> = compile(layout.as_bytes(), Path::new("door.layout")).program.expect("a good layout");
    let mut scene = Scene::waiting(&program);
    for (name, number, state) in readings {
        let index = program.readings.iter().position(|spec| spec.name == *name).unwrap();
        scene.readings[index] = match state {
            State::Waiting => Evaluated::WAITING,
            State::Faulty => Evaluated::FAULTY,
            state => Evaluated::new(*number, *state),
        };
    }
    scene.draw(&program, &clock::greenwich(DateTime::constant(2026, 11, 25, 14, 5, 0, 0))).frame().clone()
}
