//! Where the demo is to be seen: a glass with a caption in a terminal, or a line in words for each change.
//!
//! What enters are the service's happenings and the glass of an emulated panel; what leaves goes to standard output. When
//! nobody can see it any more, it says so and nothing else.

use std::io::{self, IsTerminal, Stdout, Write};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use crate::draw::Frame;
use crate::language::{Severity, report};
use crate::readings::{Excerpt, Moment, State};
use crate::service::Loaded;
use crate::service::{Happening, LEAVE, Pane, Terminal, Witness};

/// Where the demo is to be seen.
#[derive(Debug)]
pub struct Stage {
    /// None where standard output is no terminal, and after the end.
    terminal: Mutex<Option<Terminal<Stdout>>>,
    /// Whether changes are told a line each instead.
    plain: bool,
    /// How to take part, as the last lines of the caption.
    foot: Vec<String>,
    gone: Notify,
}

impl Stage {
    /// Takes over the terminal, or begins with the lines of `foot` where there is none.
    ///
    /// # Errors
    /// The terminal's, if it cannot be written to.
    pub fn open(foot: Vec<String>) -> io::Result<Self> {
        let plain = !io::stdout().is_terminal() || std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let terminal = if plain { None } else { Some(Terminal::enter(io::stdout())?) };
        let stage = Self { terminal: Mutex::new(terminal), plain, foot, gone: Notify::new() };
        if plain {
            stage.foot.iter().for_each(|line| stage.say(line));
        } else {
            let usual = std::panic::take_hook();
            std::panic::set_hook(Box::new(move |panic| {
                // On the alternate screen nobody would ever read it.
                let _ = io::stdout().write_all(LEAVE.as_bytes());
                usual(panic);
            }));
        }
        Ok(stage)
    }

    /// Gives the terminal back; what comes later is not to be seen any more.
    pub fn close(&self) {
        drop(self.lock().take());
    }

    fn lock(&self) -> MutexGuard<'_, Option<Terminal<Stdout>>> {
        self.terminal.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until nobody can see it any more.
    pub async fn gone(&self) {
        self.gone.notified().await;
    }

    /// Shows the glass, where there is a place for it.
    pub fn show(&self, glass: &Frame) {
        self.on_terminal(|terminal| terminal.show(glass));
    }

    fn on_terminal(&self, draw: impl FnOnce(&mut Terminal<Stdout>) -> io::Result<()>) {
        if self.lock().as_mut().is_some_and(|terminal| draw(terminal).is_err()) {
            self.gone.notify_one();
        }
    }

    /// Prints a line where lines are printed.
    fn say(&self, line: &str) {
        let line = line.replace(char::is_control, " ");
        if self.plain && writeln!(io::stdout(), "{line}").is_err() {
            self.gone.notify_one();
        }
    }
}

/// The witness that puts happenings into words for the stage.
#[derive(Debug)]
pub struct Story {
    stage: Arc<Stage>,
    /// The last message, and when it came: a picture of the same moment comes of it.
    message: String,
    came: Option<Moment>,
    /// What the picture says.
    says: String,
    readings: String,
    /// The last thing that happened besides messages and pictures.
    news: String,
}

impl Story {
    /// A story told on this stage.
    pub fn new(stage: Arc<Stage>) -> Self {
        let nothing = String::new;
        Self { stage, message: nothing(), came: None, says: nothing(), readings: nothing(), news: nothing() }
    }

    fn news(&mut self, now: Moment, words: String) {
        self.stage.say(&format!("{} {words}", time(now)));
        self.news = words;
    }

    fn updated(&mut self, now: Moment, pane: &Pane) {
        self.readings = readings(pane, now);
        let says = sentence(pane);
        let cause = if self.came == Some(now) { &self.message } else { "time goes by" };
        if says != self.says {
            self.stage.say(&format!("{} {cause} -> {says}", time(now)));
            self.says = says;
        }
    }
}

impl Witness for Story {
    fn see(&mut self, now: Moment, happening: Happening<'_>) {
        match happening {
            Happening::Message { message } => {
                let kept = if message.retained { " (kept by the broker)" } else { "" };
                let topic = message.topic.escape_debug();
                self.message = format!("{topic} {}{kept}", Excerpt::of(&message.payload));
                self.came = Some(now);
                // What comes of it is told in a moment.
                return;
            }
            Happening::Updated { pane, .. } => self.updated(now, pane),
            Happening::Connected => self.news(now, "connected to the broker".into()),
            Happening::Lost { reason, .. } => self.news(now, reason.to_string()),
            Happening::FilterRefused { filter, why } => self.news(now, format!("{filter}: {why}")),
            Happening::Oversized { topic, bytes } => {
                self.news(now, format!("{}: {bytes} bytes are too many", topic.escape_debug()));
            }
            Happening::Reading { notice, .. } => self.news(now, notice.to_string()),
            Happening::Swapped { layout } => self.news(now, format!("{} changed", layout.name)),
            Happening::Broken { layout } => self.news(now, first_mistake(layout)),
            Happening::Unread { failure } => self.news(now, failure.to_string()),
            Happening::Unfit { layout, problem, .. } => self.news(now, format!("{layout}: {problem}")),
            Happening::Unwatched { problem } => self.news(now, problem.into()),
            Happening::Taken { layout } => self.news(now, format!("{} is shown", layout.name)),
            Happening::Refused { topic, refusal } => self.news(now, format!("{topic}: {refusal}")),
            Happening::Unkept { file, problem } => self.news(now, format!("{}: {problem}", file.display())),
            Happening::Subscribed { .. }
            | Happening::Recalled { .. }
            | Happening::Forgotten { .. }
            | Happening::Renewed
            | Happening::Ending
            | Happening::Stuck { .. } => {}
        }
        let parts =
            [("heard", &self.message), ("shows", &self.says), ("readings", &self.readings), ("news", &self.news)];
        let mut lines: Vec<String> = parts.iter().map(|(what, words)| format!("{what:9} {words}")).collect();
        lines.extend(self.stage.foot.iter().cloned());
        self.stage.on_terminal(|terminal| terminal.tell(lines));
    }
}

fn time(now: Moment) -> String {
    format!("{:6.1} s ", now.since(Moment::default()).as_secs_f64())
}

/// What the picture says, in one line: the screen, and its texts, or its bars if it has no texts.
fn sentence(pane: &Pane) -> String {
    let words = pane.words();
    let bars_only = words.iter().all(|said| said.kind == "bar");
    let said = words.iter().filter(|said| bars_only || said.kind != "bar");
    let texts: Vec<String> = said.map(|said| format!("{}{}", said.content.trim(), doubt(said.state))).collect();
    format!("{}: {}", pane.screen().unwrap_or("no screen"), texts.join(", "))
}

fn doubt(state: State) -> &'static str {
    match state {
        State::Live => "",
        State::Stale => " (stale)",
        State::Waiting => " (waiting)",
        State::Faulty => " (faulty)",
    }
}

/// Each reading with its number, as far as there is one.
fn readings(pane: &Pane, now: Moment) -> String {
    let reading = |(spec, reading): (&crate::readings::ReadingSpec, &crate::readings::Reading)| {
        let value = reading.value().map_or("–".to_string(), |value| value.to_string());
        format!("{} {value}{}", spec.name, doubt(reading.state(now)))
    };
    pane.store().iter().map(reading).collect::<Vec<_>>().join("  ")
}

/// The first mistake of a broken layout, with its place.
fn first_mistake(layout: &Loaded) -> String {
    match layout.findings.iter().find(|finding| finding.severity == Severity::Error) {
        Some(finding) => {
            let place = report::line_and_column(&layout.text, finding.span.start as usize);
            let name = &layout.name;
            format!("{name}:{}:{}: {}; the last good screen stays", place.line, place.column, finding.message)
        }
        None => format!("{} cannot be shown", layout.name),
    }
}
