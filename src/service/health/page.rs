//! The page of health: `/health` and `/metrics` over HTTP on loopback, for programs on the same machine.
//!
//! What enters are connections, which may send anything; what leaves are answers of HTTP/1.1 (RFC 9112), one a connection. What
//! they say is asked of the service, as a [`Question`]. Connections, bytes and time are bounded, and nothing is changed by a
//! request. It is not for a network: it knows neither users nor encryption.

use std::io;
use std::net::{SocketAddr, TcpListener as Listener};
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc, oneshot};
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};

/// Connections at a time; further ones wait in the system's queue.
const CONNECTIONS: usize = 4;
/// The longest request, with all its header.
const LARGEST_REQUEST: usize = 4 * 1024;
/// How long a connection may last.
const PATIENCE: Duration = Duration::from_secs(5);
/// The wait after the system refused to hand over a connection.
const RECOVERY: Duration = Duration::from_secs(1);

/// What somebody wants to know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::service) enum Subject {
    Health,
    Metrics,
}

/// What is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::service) struct Answer {
    pub well: bool,
    pub body: Vec<u8>,
}

/// A question, and where the answer goes.
pub(in crate::service) struct Question {
    pub subject: Subject,
    pub answer: oneshot::Sender<Answer>,
}

/// A page that is being served until it is dropped.
pub(in crate::service) struct Page {
    questions: mpsc::Receiver<Question>,
    _server: JoinSet<()>,
}

impl Page {
    /// Listens at `address`. Must be called in a tokio runtime.
    ///
    /// # Errors
    /// The system's, if it cannot listen there.
    pub fn open(address: SocketAddr) -> io::Result<Self> {
        let listener = Listener::bind(address)?;
        listener.set_nonblocking(true)?;
        let listener = TcpListener::from_std(listener)?;
        let (asker, questions) = mpsc::channel(CONNECTIONS);
        let mut server = JoinSet::new();
        server.spawn(serve(listener, asker));
        Ok(Self { questions, _server: server })
    }

    /// Waits for a question; for ever, if nobody asks.
    pub async fn question(&mut self) -> Question {
        match self.questions.recv().await {
            Some(question) => question,
            None => std::future::pending().await,
        }
    }
}

async fn serve(listener: TcpListener, asker: mpsc::Sender<Question>) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let mut connections = JoinSet::new();
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
        while connections.try_join_next().is_some() {}
        match listener.accept().await {
            Ok((stream, _)) => {
                let asker = asker.clone();
                connections.spawn(async move {
                    // Who is too slow, or gone, gets nothing.
                    let _ = timeout(PATIENCE, converse(stream, asker)).await;
                    drop(place);
                });
            }
            // Out of file descriptors, for example: another attempt at once would only spin.
            Err(_) => sleep(RECOVERY).await,
        }
    }
}

/// One request and its answer.
async fn converse(mut stream: TcpStream, asker: mpsc::Sender<Question>) -> io::Result<()> {
    let mut request = Vec::with_capacity(512);
    let wanted = loop {
        if let Some(wanted) = read(&request) {
            break wanted;
        }
        let mut piece = [0; 512];
        match stream.read(&mut piece).await? {
            0 => break Err(Refusal::Malformed),
            count => request.extend_from_slice(&piece[..count]),
        }
    };
    stream.write_all(&respond(wanted, &asker).await).await?;
    stream.shutdown().await?;
    // What has not been read when a socket is closed makes the system throw the answer away.
    let mut rest = [0; 512];
    while stream.read(&mut rest).await? > 0 {}
    Ok(())
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Wanted {
    subject: Subject,
    with_body: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Refusal {
    Malformed,
    TooLarge,
    Method,
    NotFound,
    Version,
}

/// What a request asks for; nothing as long as its header has not come to its end.
fn read(request: &[u8]) -> Option<Result<Wanted, Refusal>> {
    let complete = request.windows(4).any(|bytes| bytes == b"\r\n\r\n");
    match complete {
        false if request.len() >= LARGEST_REQUEST => return Some(Err(Refusal::TooLarge)),
        false => return None,
        true => {}
    }
    let line = request.split(|byte| *byte == b'\r').next().and_then(|line| std::str::from_utf8(line).ok());
    let mut words = line.unwrap_or_default().split(' ');
    let (Some(method), Some(target), Some(version), None) = (words.next(), words.next(), words.next(), words.next())
    else {
        return Some(Err(Refusal::Malformed));
    };
    let Some(version) = version.strip_prefix("HTTP/") else { return Some(Err(Refusal::Malformed)) };
    if !version.starts_with("1.") {
        return Some(Err(Refusal::Version));
    }
    let subject = match target.split('?').next() {
        Some("/health") => Subject::Health,
        Some("/metrics") => Subject::Metrics,
        _ => return Some(Err(Refusal::NotFound)),
    };
    Some(match method {
        "GET" => Ok(Wanted { subject, with_body: true }),
        "HEAD" => Ok(Wanted { subject, with_body: false }),
        _ => Err(Refusal::Method),
    })
}

async fn respond(wanted: Result<Wanted, Refusal>, asker: &mpsc::Sender<Question>) -> Vec<u8> {
    let Wanted { subject, with_body } = match wanted {
        Ok(wanted) => wanted,
        Err(refusal) => {
            let (status, words) = match refusal {
                Refusal::Malformed => ("400 Bad Request", "this is no request of HTTP/1.1\n"),
                Refusal::TooLarge => ("431 Request Header Fields Too Large", "the request is too long\n"),
                Refusal::Method => ("405 Method Not Allowed", "nothing can be changed here: GET or HEAD\n"),
                Refusal::NotFound => ("404 Not Found", "there is /health and /metrics\n"),
                Refusal::Version => ("505 HTTP Version Not Supported", "this speaks HTTP/1.1\n"),
            };
            let allow = if refusal == Refusal::Method { "Allow: GET, HEAD\r\n" } else { "" };
            return message(status, "text/plain; charset=utf-8", allow, words.as_bytes(), true);
        }
    };
    let (answer, told) = oneshot::channel();
    let asked = asker.send(Question { subject, answer }).await;
    let Some(Answer { well, body }) = (if asked.is_ok() { told.await.ok() } else { None }) else {
        return message("503 Service Unavailable", "text/plain; charset=utf-8", "", b"the program ends\n", with_body);
    };
    match subject {
        Subject::Health => {
            let status = if well { "200 OK" } else { "503 Service Unavailable" };
            message(status, "application/json", "", &body, with_body)
        }
        Subject::Metrics => {
            let kind = "application/openmetrics-text; version=1.0.0; charset=utf-8";
            message("200 OK", kind, "", &body, with_body)
        }
    }
}

fn message(status: &str, kind: &str, more: &str, body: &[u8], with_body: bool) -> Vec<u8> {
    let length = body.len();
    let mut bytes = format!(
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\n{more}Cache-Control: no-store\r\n\
         Connection: close\r\n\r\n"
    )
    .into_bytes();
    if with_body {
        bytes.extend_from_slice(body);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const END: &str = " HTTP/1.1\r\nHost: localhost\r\n\r\n";

    #[test]
    fn requests_are_told_apart() {
        let wanted = |subject, with_body| Some(Ok(Wanted { subject, with_body }));
        for (line, expected) in [
            ("GET /health", wanted(Subject::Health, true)),
            ("HEAD /metrics", wanted(Subject::Metrics, false)),
            ("GET /metrics?from=here", wanted(Subject::Metrics, true)),
            ("GET /", Some(Err(Refusal::NotFound))),
            ("GET /health/", Some(Err(Refusal::NotFound))),
            ("POST /health", Some(Err(Refusal::Method))),
            ("get /health", Some(Err(Refusal::Method))),
            ("GET  /health", Some(Err(Refusal::Malformed))),
            ("\r\nGET /health", Some(Err(Refusal::Malformed))),
        ] {
            assert_eq!(read(format!("{line}{END}").as_bytes()), expected, "{line}");
        }
        assert_eq!(read(b"GET /health HTTP/2.0\r\n\r\n"), Some(Err(Refusal::Version)));
        assert_eq!(read(b"GET /health HTTP/1.1\r\nHost: x\r\n"), None, "not complete");
        assert_eq!(read(b"GET /health\r\n\r\n"), Some(Err(Refusal::Malformed)));
        assert_eq!(read(&[b'x'; LARGEST_REQUEST]), Some(Err(Refusal::TooLarge)));
        assert_eq!(read(&[b'x'; LARGEST_REQUEST - 1]), None);
    }

    proptest! {
        #[test]
        fn nothing_that_comes_panics(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
            let _ = read(&bytes);
            let _ = read(&[&bytes[..], b"\r\n\r\n"].concat());
        }
    }

    /// Asks a page that answers with its subject, once.
    async fn ask(request: &[u8]) -> String {
        let mut page = Page::open("127.0.0.1:0".parse().unwrap());
        // The port is the system's choice, so that the listener is made here.
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (asker, questions) = mpsc::channel(CONNECTIONS);
        let page = page.as_mut().unwrap();
        page.questions = questions;
        page._server.spawn(serve(listener, asker));
        let mut stream = TcpStream::connect(address).await.unwrap();
        stream.write_all(request).await.unwrap();
        let answers = async {
            loop {
                let Question { subject, answer } = page.question().await;
                let _ = answer.send(Answer { well: false, body: format!("{subject:?}").into() });
            }
        };
        let mut text = String::new();
        tokio::select! {
            () = answers => {}
            read = stream.read_to_string(&mut text) => { read.unwrap(); }
        }
        text
    }

    #[tokio::test(flavor = "current_thread")]
    async fn answers_are_whole_messages() {
        let health = ask(format!("GET /health{END}").as_bytes()).await;
        assert!(health.starts_with(
            "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/json\r\nContent-Length: 6\r\n"
        ));
        assert!(health.ends_with("\r\nConnection: close\r\n\r\nHealth"), "{health}");
        let metrics = ask(format!("HEAD /metrics{END}").as_bytes()).await;
        assert!(metrics.starts_with("HTTP/1.1 200 OK\r\nContent-Type: application/openmetrics-text; version=1.0.0;"));
        assert!(metrics.contains("Content-Length: 7\r\n") && metrics.ends_with("\r\n\r\n"), "{metrics}");
        let refused = ask(format!("DELETE /health{END}").as_bytes()).await;
        assert!(refused.starts_with("HTTP/1.1 405 ") && refused.contains("\r\nAllow: GET, HEAD\r\n"), "{refused}");
        let large = ask(&[b'x'; 3 * LARGEST_REQUEST]).await;
        assert!(large.starts_with("HTTP/1.1 431 "), "{large}");
    }
}
