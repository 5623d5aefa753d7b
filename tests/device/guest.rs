//! The guest: a real Linux kernel in a virtual machine, with nothing in it but busybox, the drivers and the program under test.
//!
//! What enters are commands; what leaves are their output and how they ended. It ends with the test. The machine is emulated and not
//! virtualised: this works everywhere, and a guest this small is up in seconds.

use std::fs;
use std::io::{self, BufRead, BufReader, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::thread;
use std::time::{Duration, Instant};

/// How long to wait for something that must happen; far longer than it takes.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// This machine, as the guest sees it (QEMU's user networking).
pub const HOST: &str = "10.0.2.2";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn folder() -> PathBuf {
    root().join("target/guest")
}

/// Polls until `done`.
pub fn until(what: impl FnOnce() -> String, mut done: impl FnMut() -> bool) {
    let start = Instant::now();
    while !done() {
        if start.elapsed() > PATIENCE {
            panic!("did not happen: {}", what());
        }
        thread::sleep(Duration::from_millis(20));
    }
}

/// What is missing here to run a guest, if anything is.
fn missing() -> Option<&'static str> {
    let there =
        |tool: &str| Command::new(tool).arg("--help").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok();
    if !cfg!(all(target_arch = "x86_64", target_os = "linux")) {
        return Some("the guest is made for Linux on x86-64");
    }
    if !there("qemu-system-x86_64") {
        return Some("there is no qemu-system-x86_64 (package qemu-system-x86)");
    }
    if !there("busybox") {
        return Some("there is no busybox (package busybox-static)");
    }
    (!folder().join("kernel").exists())
        .then_some("there is no kernel for the guest: `tests/device/guest fetch` gets Debian's")
}

/// The guest's file system is made once for all tests of a run.
fn packed() {
    static PACKED: OnceLock<()> = OnceLock::new();
    PACKED.get_or_init(|| {
        let program = env!("CARGO_BIN_EXE_sidelight");
        let done = Command::new(root().join("tests/device/guest")).args(["pack", program]).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    });
}

/// A running guest.
pub struct Guest {
    machine: Child,
    console: PathBuf,
    to: TcpStream,
    from: BufReader<TcpStream>,
    commands: u32,
}

impl Guest {
    /// Boots a guest, or says why that is left out.
    ///
    /// With `SIDELIGHT_DEVICE=required` in the environment nothing is left out.
    pub fn boot(name: &str) -> Option<Self> {
        if let Some(missing) = missing() {
            assert!(std::env::var_os("SIDELIGHT_DEVICE").is_none_or(|value| value != "required"), "{missing}");
            eprintln!("left out: {missing}");
            return None;
        }
        packed();
        let control = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let port = control.local_addr().unwrap().port();
        let console = folder().join(format!("{name}.console"));
        let log = fs::File::create(&console).unwrap();
        let machine = Command::new("qemu-system-x86_64")
            .args(["-accel", "tcg", "-cpu", "max", "-m", "512", "-nodefaults", "-no-reboot", "-display", "none"])
            .args(["-serial", "stdio", "-netdev", "user,id=net", "-device", "virtio-net-pci,netdev=net,romfile="])
            .arg("-kernel")
            .arg(folder().join("vmlinuz"))
            .arg("-initrd")
            .arg(folder().join("initrd"))
            .args(["-append", &format!("console=ttyS0 panic=-1 loglevel=5 CONTROL={port}")])
            .stdin(Stdio::null())
            .stderr(log.try_clone().unwrap())
            .stdout(log)
            .spawn()
            .unwrap();
        control.set_nonblocking(true).unwrap();
        let mut up = None;
        let read = || format!("the guest is up:\n{}", fs::read_to_string(&console).unwrap_or_default());
        until(read, || {
            up = control.accept().ok();
            up.is_some()
        });
        let (to, _) = up.unwrap();
        to.set_nonblocking(false).unwrap();
        to.set_nodelay(true).unwrap();
        to.set_read_timeout(Some(PATIENCE)).unwrap();
        let from = BufReader::new(to.try_clone().unwrap());
        let mut guest = Self { machine, console, to, from, commands: 0 };
        guest.must("exec 2>&1; dmesg -n 8");
        Some(guest)
    }

    /// Runs a command and gives its exit code, and what it wrote to either output.
    pub fn run(&mut self, command: &str) -> (i32, String) {
        self.commands += 1;
        let mark = format!("--- end of command {}: ", self.commands);
        writeln!(self.to, "{command}\ncode=$?; echo; echo \"{mark}$code\"").unwrap();
        self.read(&mark).unwrap_or_else(|problem| {
            panic!("{command}: {problem}; the console says\n{}", fs::read_to_string(&self.console).unwrap_or_default())
        })
    }

    fn read(&mut self, mark: &str) -> io::Result<(i32, String)> {
        let mut output = String::new();
        loop {
            let mut line = String::new();
            if self.from.read_line(&mut line)? == 0 {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            if let Some(code) = line.strip_prefix(mark) {
                // The line break that makes the mark stand at the beginning of a line is not the command's.
                output.pop();
                return Ok((code.trim().parse().map_err(io::Error::other)?, output));
            }
            output.push_str(&line);
        }
    }

    /// Runs a command that must go well, and gives its output.
    pub fn must(&mut self, command: &str) -> String {
        let (code, output) = self.run(command);
        assert_eq!(code, 0, "{command}: {output}");
        output
    }

    /// Puts a text into a file.
    pub fn write(&mut self, file: &str, text: &str) {
        self.must(&format!("cat >{file} <<'END OF FILE'\n{text}\nEND OF FILE"));
    }

    /// Waits until a command goes well, or no longer does.
    pub fn comes(&mut self, command: &str, well: bool) {
        let start = Instant::now();
        while (self.run(command).0 == 0) != well {
            if start.elapsed() > PATIENCE {
                panic!("{command}: did not become {well}:\n{}", self.must("dmesg | tail -n 20"));
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until a file has these words in what comes after its first `skip` bytes.
    pub fn says(&mut self, file: &str, skip: usize, words: &str) {
        let start = Instant::now();
        loop {
            let text = self.must(&format!("cat {file}"));
            if text.get(skip..).is_some_and(|new| new.contains(words)) {
                return;
            }
            assert!(start.elapsed() < PATIENCE, "{file} does not say {words:?} after byte {skip}:\n{text}");
            thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let _ = self.machine.kill();
        let _ = self.machine.wait();
    }
}
