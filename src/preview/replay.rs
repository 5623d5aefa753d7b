//! A recording at work on the desk: where in it one is, whether it is played, and the layout's course through it.
//!
//! What enters are a recording's file, programs as they are saved, and moves; what leaves are panes as `run` would have had them. The file
//! is read and the course followed beside everything else, anew for each program; the place in time stays.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use jiff::ZonedDateTime;
use serde::Deserialize;
use tokio::task::JoinHandle;
use tokio::time::Instant;

use super::desk::Refusal;
use crate::feed::Filter;
use crate::layout::Program;
use crate::panel::{Controller, Setup};
use crate::readings::Moment;
use crate::recording::{Course, Excerpt, OpenError, Run, Stamp, open};

/// How fast and how slowly a recording is played: from a tenth of its own speed to a day in a second.
const SPEED: (f64, f64) = (0.1, 86_400.0);
/// How fast and how slowly its pictures follow each other.
const PACE: (Duration, Duration) = (Duration::from_millis(50), Duration::from_secs(60));

/// Something that somebody asks of the recording.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "lowercase", deny_unknown_fields)]
pub enum Move {
    /// To a time, in milliseconds from the beginning.
    To(u64),
    /// Play it so many times as fast as it was recorded, with so many milliseconds from picture to picture.
    Play {
        /// How many times as fast.
        speed: f64,
        /// Milliseconds between two pictures.
        every: u64,
    },
    /// Stay where it is.
    Pause,
}

/// What was read for one program: its excerpt with the filters that it was made for, and its course.
struct Followed {
    program: Arc<Program>,
    filters: Vec<Filter>,
    excerpt: Arc<Excerpt>,
    course: Course,
}

/// Work that is under way; it ends itself soon after this is gone.
struct Work {
    given_up: Arc<AtomicBool>,
    handle: JoinHandle<Result<Followed, String>>,
}

impl Drop for Work {
    fn drop(&mut self) {
        self.given_up.store(true, Ordering::Relaxed);
    }
}

/// While it is played: how much faster, how long between two pictures, when the last was and when the next is due.
struct Playing {
    speed: f64,
    every: Duration,
    last: Instant,
}

/// A recording at work.
pub struct Replay {
    path: PathBuf,
    begun: Stamp,
    at: Moment,
    playing: Option<Playing>,
    work: Option<Work>,
    followed: Option<Followed>,
    run: Option<Run>,
    trouble: Option<String>,
}

impl Replay {
    /// A recording at its beginning.
    ///
    /// # Errors
    /// [`OpenError`] if the file is none.
    pub fn open(path: &Path) -> Result<Self, OpenError> {
        let begun = open(path)?.header().begun;
        let (at, path) = (Moment::default(), path.into());
        Ok(Self { path, begun, at, playing: None, work: None, followed: None, run: None, trouble: None })
    }

    /// Begins to follow a program's course; what was under way for another is given up. Must be called in a tokio runtime.
    pub fn follow(&mut self, program: &Arc<Program>) {
        let given_up = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&given_up);
        let (path, program) = (self.path.clone(), Arc::clone(program));
        let before = self.followed.as_ref().map(|followed| (followed.filters.clone(), Arc::clone(&followed.excerpt)));
        let handle = tokio::task::spawn_blocking(move || {
            let given_up = || seen.load(Ordering::Relaxed);
            let filters: Vec<Filter> = program.readings.iter().map(|spec| spec.filter.clone()).collect();
            let excerpt = match before {
                Some((same, excerpt)) if same == filters => excerpt,
                _ => {
                    let mut reader = open(&path).map_err(|problem| problem.to_string())?;
                    Arc::new(Excerpt::gather(&mut reader, &filters, &given_up).ok_or("given up")?)
                }
            };
            let contrast = Setup::new(Controller::Ssd1306, program.size).contrast;
            let course = Course::follow(Arc::clone(&program), &excerpt, contrast, &given_up);
            Ok(Followed { program, filters, excerpt, course: course.map_err(|problem| problem.to_string())? })
        });
        self.work = Some(Work { given_up, handle });
    }

    /// Waits until a course was followed, or could not be. To give up waiting loses nothing.
    pub async fn followed(&mut self) {
        let Some(work) = &mut self.work else { return std::future::pending().await };
        let done = (&mut work.handle).await;
        self.work = None;
        match done {
            Ok(Ok(followed)) => {
                self.at = self.at.min(Moment::at(followed.course.span()));
                self.followed = Some(followed);
                self.run = None;
                self.trouble = None;
            }
            Ok(Err(trouble)) => self.trouble = Some(trouble),
            Err(problem) => self.trouble = Some(format!("the recording cannot be followed: {problem}")),
        }
    }

    /// Makes a move.
    ///
    /// # Errors
    /// [`Refusal`] where numbers are none to play by.
    pub fn go(&mut self, to: Move) -> Result<(), Refusal> {
        match to {
            Move::To(milliseconds) => {
                self.at = Moment::at(Duration::from_millis(milliseconds).min(self.span()));
                self.stay();
            }
            Move::Play { speed, .. } if !(SPEED.0..=SPEED.1).contains(&speed) => {
                return Err(Refusal::NoNumber { what: "a speed", least: "0.1", greatest: "86400" });
            }
            Move::Play { speed, every } => {
                if self.at.since(Moment::default()) >= self.span() {
                    self.at = Moment::default();
                }
                let every = Duration::from_millis(every).clamp(PACE.0, PACE.1);
                self.playing = Some(Playing { speed, every, last: Instant::now() });
            }
            Move::Pause => self.playing = None,
        }
        Ok(())
    }

    /// Playing goes on from the place that was gone to.
    fn stay(&mut self) {
        if let Some(playing) = &mut self.playing {
            playing.last = Instant::now();
        }
    }

    /// When the next picture is due, while it is played.
    pub fn due(&self) -> Option<Instant> {
        self.playing.as_ref().map(|playing| playing.last + playing.every)
    }

    /// Goes on by the time that has passed; at the end it stops.
    pub fn play_on(&mut self) {
        let (now, span) = (Instant::now(), self.span());
        let Some(playing) = &mut self.playing else { return };
        let passed = now.duration_since(playing.last).mul_f64(playing.speed);
        playing.last = now;
        self.at = Moment::at((self.at + passed).since(Moment::default()).min(span));
        if self.at == Moment::at(span) && self.is_ready() {
            self.playing = None;
        }
    }

    /// The player of a program at the present place; none while its course is not known.
    pub fn run(&mut self, program: &Arc<Program>) -> Option<&Run> {
        let followed = self.followed.as_ref().filter(|followed| Arc::ptr_eq(&followed.program, program))?;
        self.run = Some(followed.course.at(self.at, self.run.take()));
        self.run.as_ref()
    }

    /// The course of a program, once it is known.
    pub fn course(&self, program: &Arc<Program>) -> Option<&Course> {
        self.followed.as_ref().filter(|followed| Arc::ptr_eq(&followed.program, program)).map(|known| &known.course)
    }

    fn span(&self) -> Duration {
        self.followed.as_ref().map_or(Duration::ZERO, |followed| followed.course.span())
    }

    /// The place, as the recording counts.
    pub fn at(&self) -> Moment {
        self.at
    }

    /// What clocks showed there.
    pub fn civil(&self) -> ZonedDateTime {
        self.run.as_ref().map_or_else(|| self.begun.civil(), Run::civil)
    }

    /// When it began.
    pub fn begun(&self) -> Stamp {
        self.begun
    }

    /// How many times as fast as it was recorded it is played, while it is.
    pub fn speed(&self) -> Option<f64> {
        self.playing.as_ref().map(|playing| playing.speed)
    }

    /// Whether nothing is being worked out.
    pub fn is_ready(&self) -> bool {
        self.work.is_none()
    }

    /// Why there is no course.
    pub fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }

    /// The file's name.
    pub fn name(&self) -> String {
        self.path.file_name().unwrap_or(self.path.as_os_str()).to_string_lossy().into_owned()
    }
}
