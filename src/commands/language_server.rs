//! `sidelight language-server`: help in editors, over standard input and output.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::process::ExitCode;
use std::sync::mpsc::{Receiver, TryRecvError, sync_channel};
use std::thread;

use lsp_server::Message;

use crate::editor::Session;
use crate::service::read_font;

use super::Failure;

/// Help for editors: findings, completion, explanations and renaming while a layout is written
///
/// An editor starts this and speaks the Language Server Protocol 3.17 with it over standard input and output; nothing is to be typed here.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Exit codes: 0 the editor said goodbye, 1 it left without `shutdown`, 2 what came was not the protocol, or an end in the middle.

Example, as an editor's command for files that end in `.layout`:
  sidelight language-server")]
pub(super) struct Arguments {
    /// Speak over standard input and output, as is always done; some editors insist on saying so
    #[arg(long)]
    stdio: bool,
}

/// The largest message that is taken; a layout has at most 256 KiB.
const MOST_BYTES: usize = 8 * 1024 * 1024;
/// The longest line of a message's head.
const LONGEST_LINE: u64 = 1024;
/// The most lines of a message's head.
const MOST_LINES: usize = 16;
/// Messages that wait while one is answered.
const WAITING: usize = 16;

/// Why no message can be read.
#[derive(Debug, thiserror::Error)]
enum Unreadable {
    #[error("cannot read standard input: {0}")]
    Broken(#[from] io::Error),
    #[error("expected a message of the Language Server Protocol, found {0}; this verb is started by an editor")]
    NoMessage(String),
    #[error("expected a message of at most {MOST_BYTES} bytes, found one of {0}")]
    TooLarge(usize),
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    // There is no other way to speak.
    let Arguments { stdio: _ } = arguments;
    let (sender, bodies) = sync_channel(WAITING);
    thread::spawn(move || {
        let mut input = BufReader::new(io::stdin().lock());
        loop {
            let body = next(&mut input);
            let last = !matches!(body, Ok(Some(_)));
            if sender.send(body).is_err() || last {
                return;
            }
        }
    });
    let mut session = Session::new(Box::new(read_font));
    converse(&mut session, &bodies, &mut io::stdout().lock())
}

fn converse(
    session: &mut Session,
    bodies: &Receiver<Result<Option<Vec<u8>>, Unreadable>>,
    output: &mut impl Write,
) -> Result<ExitCode, Failure> {
    let mut say = |answers: Vec<Message>| {
        let mut written = answers.iter().map(|answer| answer.write(output));
        written
            .find(Result::is_err)
            .unwrap_or(Ok(()))
            .map_err(|problem| Failure::Outside(format!("cannot write standard output: {problem}")))
    };
    loop {
        let body = match bodies.try_recv() {
            Err(TryRecvError::Empty) => {
                say(session.settle())?;
                bodies.recv().unwrap_or(Ok(None))
            }
            Err(TryRecvError::Disconnected) => Ok(None),
            Ok(body) => body,
        };
        // What waits is not taken apart yet: as a tree a message can need a hundred times its bytes.
        let message = body.and_then(|body| body.map(|body| parsed(&body)).transpose());
        match message.map_err(|problem| Failure::Outside(problem.to_string()))? {
            Some(message) => say(session.handle(message))?,
            None if session.is_shut_down() => return Ok(ExitCode::SUCCESS),
            None => {
                let problem = "standard input ended before the editor said `shutdown` and `exit`";
                return Err(Failure::Outside(problem.to_string()));
            }
        }
        if let Some(in_order) = session.over() {
            return Ok(ExitCode::from(u8::from(!in_order)));
        }
    }
}

/// The body of the next message; nothing at the end of the input.
fn next(input: &mut impl BufRead) -> Result<Option<Vec<u8>>, Unreadable> {
    let mut length = None;
    for read in 0..=MOST_LINES {
        let mut line = Vec::new();
        input.take(LONGEST_LINE).read_until(b'\n', &mut line)?;
        if line.is_empty() && read == 0 {
            return Ok(None);
        }
        let Some(line) = line.strip_suffix(b"\r\n").filter(|_| read < MOST_LINES) else { return Err(garbage(&line)) };
        if line.is_empty() {
            break;
        }
        let (name, value) =
            std::str::from_utf8(line).ok().and_then(|l| l.split_once(':')).ok_or_else(|| garbage(line))?;
        if name.eq_ignore_ascii_case("content-length") {
            length = Some(value.trim().parse::<usize>().map_err(|_| garbage(line))?);
        }
    }
    let length = length.ok_or_else(|| Unreadable::NoMessage("a head without Content-Length".to_string()))?;
    if length > MOST_BYTES {
        return Err(Unreadable::TooLarge(length));
    }
    let mut body = vec![0; length];
    input.read_exact(&mut body)?;
    Ok(Some(body))
}

fn parsed(body: &[u8]) -> Result<Message, Unreadable> {
    serde_json::from_slice(body).map_err(|problem| Unreadable::NoMessage(format!("{}: {problem}", shown(body))))
}

fn garbage(line: &[u8]) -> Unreadable {
    Unreadable::NoMessage(shown(line))
}

/// Bytes from outside, short and escaped.
fn shown(bytes: &[u8]) -> String {
    const SHORT: usize = 40;
    let more = if bytes.len() > SHORT { "…" } else { "" };
    format!("“{}{more}”", bytes[..bytes.len().min(SHORT)].escape_ascii())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(bytes: &[u8]) -> String {
        match next(&mut &*bytes).and_then(|body| body.map(|body| parsed(&body)).transpose()) {
            Ok(Some(Message::Request(request))) => format!("request {}", request.method),
            Ok(Some(other)) => format!("{other:?}"),
            Ok(None) => "end".to_string(),
            Err(problem) => problem.to_string(),
        }
    }

    #[test]
    fn messages_and_what_is_none() {
        let body = r#"{"jsonrpc":"2.0","id":1,"method":"shutdown"}"#;
        let framed = |head: &str| format!("{head}\r\n\r\n{body}");
        assert_eq!(read(framed(&format!("Content-Length: {}", body.len())).as_bytes()), "request shutdown");
        let typed = format!("content-length:{}\r\nContent-Type: application/vscode-jsonrpc; charset=utf-8", body.len());
        assert_eq!(read(framed(&typed).as_bytes()), "request shutdown");
        assert_eq!(read(b""), "end");
        let no_message = |found: &str| {
            format!(
                "expected a message of the Language Server Protocol, found {found}; this verb is started by an editor"
            )
        };
        assert_eq!(read(b"panel 128x32\n"), no_message("“panel 128x32\\n”"));
        assert_eq!(read(b"Content-Type: x\r\n\r\n{}"), no_message("a head without Content-Length"));
        assert_eq!(read(b"Content-Length: -1\r\n\r\n"), no_message("“Content-Length: -1”"));
        assert!(read(b"Content-Length: 2\r\n\r\n{]").starts_with("expected a message"));
        assert!(read(b"Content-Length: 99\r\n\r\n{}").starts_with("cannot read standard input"));
        let large = read(b"Content-Length: 99999999999\r\n\r\n{}");
        assert_eq!(large, "expected a message of at most 8388608 bytes, found one of 99999999999");
        assert!(read(&b"A: b\r\n".repeat(100)).starts_with("expected a message"));
        assert!(read(&[b'a'; 5000]).ends_with("this verb is started by an editor"));
    }

    proptest! {
        #[test]
        fn any_bytes_are_a_message_or_say_why(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = next(&mut bytes.as_slice());
            let _ = parsed(&bytes);
        }
    }
}
