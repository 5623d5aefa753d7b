//! Where the log of a long-running verb goes: standard error, in the form that whoever reads it there wants.
//!
//! What enters is how much to say; what leaves is the process's `tracing` subscriber. On a terminal lines have colours, in the
//! journal they have a priority and no time, since it has its own.

use std::fs::metadata;
use std::io::{self, IsTerminal};
use std::os::unix::fs::MetadataExt;

use tracing::level_filters::LevelFilter;
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt::format::Writer;
use tracing_subscriber::fmt::{FmtContext, FormatEvent, FormatFields};
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt;

/// How much to say
#[derive(Clone, Copy, Debug, Default, clap::Args)]
pub(super) struct Verbosity {
    /// Log every message and every picture as well
    #[arg(short, long)]
    verbose: bool,
    /// Log nothing but what is wrong
    #[arg(long, conflicts_with = "verbose")]
    quiet: bool,
}

impl Verbosity {
    fn level(self) -> LevelFilter {
        match (self.verbose, self.quiet) {
            (true, _) => LevelFilter::DEBUG,
            (_, true) => LevelFilter::WARN,
            _ => LevelFilter::INFO,
        }
    }
}

/// Begins to log. A second call changes nothing.
pub(super) fn start(verbosity: Verbosity) {
    // Libraries have their own idea of what is worth a line.
    let wanted = Targets::new().with_target(env!("CARGO_CRATE_NAME"), verbosity.level());
    let registry = tracing_subscriber::registry().with(wanted);
    let lines = tracing_subscriber::fmt::layer().with_writer(io::stderr);
    let begun = if to_journal() {
        registry.with(lines.with_ansi(false).event_format(Journal)).try_init()
    } else {
        registry.with(lines.with_ansi(io::stderr().is_terminal()).with_target(false)).try_init()
    };
    // Whoever uses the library may have a subscriber already.
    let _ = begun;
}

/// Whether standard error goes to the journal: `JOURNAL_STREAM` holds device and inode of its socket (systemd.exec(5), from
/// memory). A program started by a service and writing elsewhere inherits the variable all the same.
fn to_journal() -> bool {
    let Some((device, inode)) = std::env::var("JOURNAL_STREAM").ok().and_then(|stream| {
        let (device, inode) = stream.split_once(':')?;
        Some((device.parse().ok()?, inode.parse().ok()?))
    }) else {
        return false;
    };
    metadata("/proc/self/fd/2").is_ok_and(|about: std::fs::Metadata| (about.dev(), about.ino()) == (device, inode))
}

/// A line for the journal: a priority in angle brackets (sd-daemon(3), from memory), and the message.
struct Journal;

impl<S: Subscriber + for<'a> LookupSpan<'a>, N: for<'a> FormatFields<'a> + 'static> FormatEvent<S, N> for Journal {
    fn format_event(&self, context: &FmtContext<'_, S, N>, mut to: Writer<'_>, event: &Event<'_>) -> std::fmt::Result {
        let priority = match *event.metadata().level() {
            Level::ERROR => 3,
            Level::WARN => 4,
            Level::INFO => 6,
            _ => 7,
        };
        write!(to, "<{priority}>")?;
        context.field_format().format_fields(to.by_ref(), event)?;
        writeln!(to)
    }
}
