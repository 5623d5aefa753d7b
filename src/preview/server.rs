//! The server of the page: on loopback, for this machine's browser alone.
//!
//! What enters are HTTP requests and the news of a [`Live`] desk; what leaves are the page's files and a stream of server-sent events
//! (HTML standard, section 9.2). Connections, streams and bodies are bounded; no path leads to a file.

use std::convert::Infallible;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::stream;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use jiff::civil::DateTime;
use serde::Deserialize;
use tokio::net::TcpListener;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, oneshot, watch};
use tokio::task::JoinHandle;

use super::desk::{Change, Refusal};
use super::live::{Live, News};
use super::replay::Move;
use super::{guard, page, timeline, told};
use crate::language::clock;
use crate::layout::{Program, Situation, situations};

/// Connections at a time, of which a browser opens up to six.
const MOST_CONNECTIONS: usize = 64;
/// Streams of events at a time: one for each open page.
const MOST_STREAMS: usize = 16;
/// A change is some dozens of bytes.
const MOST_BODY: usize = 4096;
/// Changes that wait to be made.
const AHEAD: usize = 32;
/// How long a request's headers may take.
const PATIENCE: Duration = Duration::from_secs(10);
/// A sign of life on a stream where nothing changes.
const ALIVE: Duration = Duration::from_secs(25);
/// The time on the contact sheet, as in `sidelight sheet`.
const SHEET_TIME: DateTime = DateTime::constant(2026, 11, 25, 14, 5, 0, 0);

/// What the pages are told: JSON, each with a number that grows.
#[derive(Clone, Default)]
struct Told {
    layout: (u64, Arc<str>),
    picture: (u64, Arc<str>),
    sheet: (u64, Arc<str>),
    recording: (u64, Arc<str>),
}

/// What a page asks for.
enum Wish {
    Change(Change),
    Play(Option<Duration>),
    Go(Move),
}

type Asked = (Wish, oneshot::Sender<Result<(), Refusal>>);

/// What the handlers share.
#[derive(Clone)]
struct Shared {
    port: u16,
    told: watch::Receiver<Told>,
    wishes: mpsc::Sender<Asked>,
    streams: Arc<Semaphore>,
}

/// A place on loopback that is ours.
#[derive(Debug)]
pub struct Place {
    listener: TcpListener,
    address: SocketAddr,
}

impl Place {
    /// Takes a port of 127.0.0.1; any free one if it is 0.
    ///
    /// # Errors
    /// The system's, if the port is not to be had.
    pub async fn take(port: u16) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?;
        let address = listener.local_addr()?;
        Ok(Self { listener, address })
    }

    /// What to open.
    pub fn url(&self) -> String {
        format!("http://{}/", self.address)
    }
}

/// Serves the page of a desk for ever.
pub async fn serve(place: Place, mut live: Live) -> Infallible {
    let (tell, told) = watch::channel(Told::default());
    let (wishes, mut asked) = mpsc::channel(AHEAD);
    let streams = Arc::new(Semaphore::new(MOST_STREAMS));
    let shared = Shared { port: place.address.port(), told, wishes, streams };
    let accepting = tokio::spawn(accept(place.listener, router(shared)));
    // Ends with this function.
    let _accepting = Ended(accepting);
    let mut sheet = Sheet::default();
    sheet.begin(&live);
    tell_layout(&tell, &live);
    tell_line(&tell, &live);
    tell_picture(&tell, &live);
    loop {
        tokio::select! {
            news = live.next() => {
                if news == News::Layout {
                    sheet.begin(&live);
                    tell_layout(&tell, &live);
                }
                if news != News::Picture {
                    tell_line(&tell, &live);
                }
                tell_picture(&tell, &live);
            }
            wish = asked.recv() => {
                let Some((wish, answer)) = wish else { continue };
                let done = match wish {
                    Wish::Change(change) => live.change(&change),
                    Wish::Play(pace) => {
                        live.play(pace);
                        Ok(())
                    }
                    Wish::Go(to) => live.go(to),
                };
                tell_picture(&tell, &live);
                // Whoever asked may be gone.
                let _ = answer.send(done);
            }
            (program, situations, json) = sheet.ready() => {
                live.desk_mut().lay_out(&program, situations);
                put(&tell, |told| &mut told.sheet, json);
            }
        }
    }
}

/// Ends a task when it goes.
struct Ended(JoinHandle<()>);

impl Drop for Ended {
    fn drop(&mut self) {
        self.0.abort();
    }
}

fn tell_layout(tell: &watch::Sender<Told>, live: &Live) {
    put(tell, |told| &mut told.layout, told::layout(live.desk()).to_string());
}

fn tell_line(tell: &watch::Sender<Told>, live: &Live) {
    if let Some(replay) = live.recording() {
        put(tell, |told| &mut told.recording, timeline::line(live.desk(), replay).to_string());
    }
}

fn tell_picture(tell: &watch::Sender<Told>, live: &Live) {
    let json = told::picture(live.desk(), live.now(), live.is_playing(), live.broker(), live.recording());
    put(tell, |told| &mut told.picture, json.to_string());
}

/// Tells something that is another than before.
fn put(tell: &watch::Sender<Told>, part: impl Fn(&mut Told) -> &mut (u64, Arc<str>), json: String) {
    tell.send_if_modified(|told| {
        let (number, text) = part(told);
        let differs = **text != *json;
        if differs {
            *number += 1;
            *text = json.into();
        }
        differs
    });
}

type Laid = (Arc<Program>, Vec<Situation>, String);

/// The contact sheet, which is worked out beside everything else since it takes many pictures.
#[derive(Default)]
struct Sheet {
    work: Option<JoinHandle<Laid>>,
}

impl Sheet {
    /// Begins a sheet of the layout as it is now; one that is under way is not waited for any more.
    fn begin(&mut self, live: &Live) {
        let Some(good) = live.desk().good().filter(|_| live.desk().is_current()) else { return };
        let program = Arc::clone(&good.program);
        let time = clock::greenwich(SHEET_TIME);
        self.work = Some(tokio::task::spawn_blocking(move || {
            let found = situations(&program, &time);
            let json = told::sheet(&program, &found, &time).to_string();
            (program, found, json)
        }));
    }

    /// Waits for the sheet that was begun last.
    async fn ready(&mut self) -> Laid {
        if let Some(work) = &mut self.work {
            let done = work.await;
            self.work = None;
            if let Ok(laid) = done {
                return laid;
            }
        }
        std::future::pending().await
    }
}

/// Takes connections, so many at a time.
async fn accept(listener: TcpListener, router: Router) {
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let Ok(permit) = Arc::clone(&places).acquire_owned().await else { return };
        let Ok((stream, _)) = listener.accept().await else {
            // Out of descriptors, or a connection that was given up at once.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        // Without it an event would wait for the acknowledgement of the one before.
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut http = http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(PATIENCE).max_headers(64).max_buf_size(16 * 1024);
            // What goes wrong on a connection concerns its own browser only.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(permit);
        });
    }
}

fn router(shared: Shared) -> Router {
    let mut router = Router::new();
    for file in page::FILES {
        router = router.route(file.path, get(move || async move { ([(header::CONTENT_TYPE, file.kind)], file.bytes) }));
    }
    router
        .route("/events", get(events))
        .route("/change", post(change))
        .route("/play", post(play))
        .route("/replay", post(replay))
        .fallback(|| async { (StatusCode::NOT_FOUND, "there is nothing here; the page is at /\n") })
        .method_not_allowed_fallback(|| async { (StatusCode::METHOD_NOT_ALLOWED, "this is not to be asked for so\n") })
        .layer(middleware::from_fn_with_state(shared.clone(), guarded))
        .with_state(shared)
}

/// Refuses what comes from elsewhere, and gives each answer its headers.
async fn guarded(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    let mut response = match guard::refusal(request.headers(), shared.port) {
        Some(why) => (StatusCode::FORBIDDEN, format!("{why}\n")).into_response(),
        None => next.run(request).await,
    };
    for (name, value) in guard::HEADERS {
        response.headers_mut().insert(name, value);
    }
    response
}

/// The stream of what is new; it begins with everything.
async fn events(State(shared): State<Shared>) -> Response {
    let Ok(permit) = Arc::clone(&shared.streams).try_acquire_owned() else {
        let why = format!("{MOST_STREAMS} pages are open already; close one of them\n");
        return (StatusCode::SERVICE_UNAVAILABLE, why).into_response();
    };
    let listening = Listening { told: shared.told, sent: [0; 4], _permit: permit };
    let stream = stream::unfold(listening, |mut listening| async move {
        let event = listening.next().await?;
        Some((Ok::<_, Infallible>(event), listening))
    });
    Sse::new(stream).keep_alive(KeepAlive::new().interval(ALIVE)).into_response()
}

/// One open page: only the newest of each kind is sent, so that a slow one costs no memory.
struct Listening {
    told: watch::Receiver<Told>,
    sent: [u64; 4],
    _permit: OwnedSemaphorePermit,
}

impl Listening {
    async fn next(&mut self) -> Option<Event> {
        loop {
            {
                let told = self.told.borrow_and_update();
                // The line of the recording before the place on it.
                let kinds = [
                    ("layout", &told.layout),
                    ("recording", &told.recording),
                    ("picture", &told.picture),
                    ("sheet", &told.sheet),
                ];
                for ((kind, (number, json)), sent) in kinds.into_iter().zip(&mut self.sent) {
                    if *number != *sent {
                        *sent = *number;
                        return Some(Event::default().event(kind).data(json));
                    }
                }
            }
            self.told.changed().await.ok()?;
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Play {
    /// Milliseconds between two steps; none ends it.
    every: Option<u64>,
}

async fn change(State(shared): State<Shared>, request: Request) -> Response {
    match read::<Change>(request).await {
        Ok(change) => ask(&shared, Wish::Change(change)).await,
        Err(refused) => refused,
    }
}

async fn play(State(shared): State<Shared>, request: Request) -> Response {
    match read::<Play>(request).await {
        Ok(play) => ask(&shared, Wish::Play(play.every.map(Duration::from_millis))).await,
        Err(refused) => refused,
    }
}

async fn replay(State(shared): State<Shared>, request: Request) -> Response {
    match read::<Move>(request).await {
        Ok(to) => ask(&shared, Wish::Go(to)).await,
        Err(refused) => refused,
    }
}

/// A body of JSON, which a page of somewhere else cannot send without asking first.
async fn read<T: for<'a> Deserialize<'a>>(request: Request<Body>) -> Result<T, Response> {
    debug_assert_eq!(request.method(), Method::POST);
    if request.headers().get(header::CONTENT_TYPE) != Some(&HeaderValue::from_static("application/json")) {
        return Err((StatusCode::UNSUPPORTED_MEDIA_TYPE, "send application/json\n").into_response());
    }
    let body = tokio::time::timeout(PATIENCE, to_bytes(request.into_body(), MOST_BODY)).await;
    let Ok(body) = body else {
        return Err((StatusCode::REQUEST_TIMEOUT, "the rest did not come\n").into_response());
    };
    let Ok(body) = body else {
        return Err((StatusCode::PAYLOAD_TOO_LARGE, format!("send at most {MOST_BODY} bytes\n")).into_response());
    };
    serde_json::from_slice(&body)
        .map_err(|problem| (StatusCode::BAD_REQUEST, format!("not understood: {problem}\n")).into_response())
}

async fn ask(shared: &Shared, wish: Wish) -> Response {
    let (answer, answered) = oneshot::channel();
    if shared.wishes.send((wish, answer)).await.is_err() {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    }
    match answered.await {
        Ok(Ok(())) => StatusCode::NO_CONTENT.into_response(),
        Ok(Err(refusal)) => (StatusCode::UNPROCESSABLE_ENTITY, format!("{refusal}\n")).into_response(),
        Err(_) => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}
