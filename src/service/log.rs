//! Happenings as lines of the log.
//!
//! What enters are [`Happening`]s; what leaves are `tracing` events, each a line, and few of them however much happens.
//! Nothing here decides where lines go.

use std::time::Duration;

use tracing::{debug, error, info, warn};

use super::Loaded;
use super::throttle::{Throttle, untold};
use super::witness::{Happening, Witness};
use crate::feed::{Filter, LARGEST_PAYLOAD};
use crate::language::{Severity, report};
use crate::readings::{Excerpt, Moment, State};

/// How far apart lines about oversized payloads are.
const APART: Duration = Duration::from_secs(10);
/// How often a lost connection with the same reason is told again.
const REPEAT: Duration = Duration::from_secs(60);
/// Filters and findings that are listed one by one.
const LISTED: usize = 10;

/// A witness that keeps the log.
#[derive(Debug)]
pub struct Log {
    broker: String,
    oversized: Throttle,
    lost: Throttle,
    /// Why the connection was lost, as told last.
    reason: String,
}

impl Log {
    /// A log in which the broker is called so.
    pub fn new(broker: String) -> Self {
        Self { broker, oversized: Throttle::new(APART), lost: Throttle::new(REPEAT), reason: String::new() }
    }
}

impl Witness for Log {
    fn see(&mut self, now: Moment, happening: Happening<'_>) {
        match happening {
            Happening::Connected => {
                self.reason.clear();
                info!("connected to {}", self.broker);
            }
            Happening::FilterRefused { filter, why } => warn!("cannot subscribe to {filter}: {why}"),
            Happening::Subscribed { filters } => info!("subscribed to {}", listed(filters)),
            Happening::Lost { reason, retry_in } => {
                let words = reason.to_string();
                if words != self.reason {
                    self.lost = Throttle::new(REPEAT);
                    self.reason = words;
                }
                match self.lost.admit(now) {
                    Some(count) => {
                        warn!("{}; next attempt in {retry_in:.1?}{}", self.reason, untold(count, "attempt"));
                    }
                    None => debug!("{}; next attempt in {retry_in:.1?}", self.reason),
                }
            }
            Happening::Message { message } => {
                let kept = if message.retained { ", retained" } else { "" };
                debug!("{}: {}{kept}", message.topic.escape_debug(), Excerpt::of(&message.payload));
            }
            Happening::Oversized { topic, bytes } => {
                if let Some(count) = self.oversized.admit(now) {
                    let topic = topic.escape_debug();
                    let others = untold(count, "payload");
                    warn!(
                        "{topic}: a payload of {bytes} bytes was dropped, more than the {LARGEST_PAYLOAD} allowed{others}"
                    );
                }
            }
            Happening::Reading { layout, notice } => match notice.state {
                State::Faulty => warn!("{layout}: {notice}"),
                _ => info!("{layout}: {notice}"),
            },
            Happening::Updated { layout, pane, drawn: true } => {
                debug!("{layout}: shows {}", pane.screen().unwrap_or("no screen"));
            }
            Happening::Updated { drawn: false, .. } => {}
            Happening::Swapped { layout } => {
                info!("{}: changed, and shown from now on", layout.name);
                findings(layout);
            }
            Happening::Broken { layout } => {
                findings(layout);
                error!("{}: cannot be shown as it is; the last good screen stays", layout.name);
            }
            Happening::Taken { layout } => {
                info!("a layout from {}: shown from now on", layout.name.replace(char::is_control, " "));
                findings(layout);
            }
            Happening::Refused { topic, refusal } => {
                refusal.layout().into_iter().for_each(findings);
                let topic = topic.as_str().replace(char::is_control, " ");
                error!("a layout from {topic} is refused: {refusal}; the last good screen stays");
            }
            Happening::Unkept { file, problem } => {
                warn!("cannot write {}: {problem}; what is shown lasts until the program ends", file.display());
            }
            Happening::Unread { failure } => error!("{failure}; the last good screen stays"),
            Happening::Unfit { layout, panel, problem } => {
                error!("{layout}: not for {panel}: {problem}; the last good screen stays");
            }
            Happening::Unwatched { problem } => warn!("{problem}; SIGHUP has layouts read again"),
            Happening::Recalled { file, windows } => info!("{}: the past goes on (windows: {windows})", file.display()),
            Happening::Forgotten { problem } => warn!("{problem}"),
            Happening::Renewed => info!("layouts are read again and panels set up anew"),
            Happening::Ending => info!("ends"),
            Happening::Stuck { panel } => warn!("{panel}: its bus holds the last update; left as it is"),
        }
    }
}

/// Findings with file, line and column, a line each.
fn findings(layout: &Loaded) {
    for finding in layout.findings.iter().take(LISTED) {
        let place = report::line_and_column(&layout.text, finding.span.start as usize);
        let help = finding.help.as_ref().map_or(String::new(), |help| format!("; {help}"));
        let line = format!("{}:{}:{}: {}{help}", layout.name, place.line, place.column, finding.message);
        // A line of the log is a line, whatever a layout says.
        let line = line.replace(char::is_control, " ");
        match finding.severity {
            Severity::Error => error!("{line}"),
            Severity::Warning => warn!("{line}"),
        }
    }
    if layout.findings.len() > LISTED {
        warn!("{}: {} further findings; `sidelight check` shows all", layout.name, layout.findings.len() - LISTED);
    }
}

fn listed(filters: &[Filter]) -> String {
    let names: Vec<&str> = filters.iter().take(LISTED).map(Filter::as_str).collect();
    match filters.len() {
        0 => "nothing: the layout has no readings".to_string(),
        all if all > LISTED => format!("{} and {} more", names.join(", "), all - LISTED),
        _ => names.join(", "),
    }
}
