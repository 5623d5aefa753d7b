//! `sidelight run`: keeps panels equal to what the broker publishes, until it is told to stop.
//!
//! What enters are flags or a configuration file; what leaves are pictures on panels and a log on standard error. The work is
//! done by the service; here it is put together.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use crate::layout::Program;
use crate::service::{
    AtExit, Config, DoorPlate, DoorTopics, HealthTopics, Installation, Loaded, Log, Loopback, Panel, Place, Refresh,
    Reporting, Reports, Service, Show, Source, Supervisor, load, read_start,
};

use super::connection::Connection;
use super::log::{self, Verbosity};
use super::{Failure, program_or_report};

/// Show a layout on panels, fed by a broker
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The panel's size comes from the layout. The layout may be edited while it is shown: saving it
changes the panel, and while it has a mistake the last good screen stays. SIGTERM and SIGINT end
the program, SIGHUP has layouts read again and panels set up anew.

Panels:
  ssd1306:/dev/i2c-1:0x3c   SSD1306 on a bus of this machine, with its address (0x3c if left out)
  sh1106:/dev/i2c-1:0x3c    SH1106
  picture:door.png          no panel but a picture of one, kept in a file

A configuration file says all this for several panels, each with its own layout; paths in it
begin where it lies:
  state = \"past\"                # keeps the past of readings; may be left out
  [broker]
  url = \"mqtts://broker.local:8883\"
  user = \"door\"
  password-file = \"password\"      # also: client-id, protocol, qos, keep-alive, ca-file
  [[panel]]
  place = \"ssd1306:/dev/i2c-1:0x3c\"
  layout = \"door.layout\"          # also: contrast, inverted, rotated, at-exit, refresh, wear
  [health]                          # may be left out
  topic = \"cellar/doors/ripening\" # also: apart (10 seconds between documents), listen
  [door]                            # the layout may come from the broker; may be left out
  topic = \"cellar/doors/ripening\" # also: signed-by

Exit codes: 0 a signal ended it, 2 it could not begin, for the reason on standard error.

Examples:
  sidelight run door.layout --broker mqtt://127.0.0.1:1883 --panel ssd1306:/dev/i2c-1:0x3c
  sidelight run door.layout --broker mqtt://127.0.0.1:1883 --panel picture:door.png --at-exit keep
  sidelight run --config /etc/sidelight.toml")]
pub(super) struct Arguments {
    /// The layout file
    #[arg(value_name = "FILE", required_unless_present = "config")]
    file: Option<PathBuf>,
    /// Where the broker is: mqtt://host:port, or mqtts://host:port for TLS
    #[arg(long, value_name = "URL", required_unless_present = "config")]
    broker: Option<String>,
    /// Where a panel is; may be given several times
    #[arg(long = "panel", value_name = "PANEL", required_unless_present = "config")]
    panels: Vec<Place>,
    #[command(flatten)]
    connection: Connection,
    #[command(flatten)]
    look: Look,
    /// Keep the past of readings in this file, so that it outlives a restart
    #[arg(long, value_name = "FILE")]
    state: Option<PathBuf>,
    #[command(flatten)]
    health: Health,
    #[command(flatten)]
    door: Door,
    /// Take broker, panels and layouts from a file instead
    #[arg(long, value_name = "TOML", conflicts_with_all = ["file", "broker", "panels", "state", "Connection", "Look", "Health", "Door"])]
    config: Option<PathBuf>,
    #[command(flatten)]
    verbosity: Verbosity,
}

/// What the panels look like
#[derive(Debug, clap::Args)]
#[group(id = "Look", multiple = true)]
struct Look {
    /// Turn the picture by 180 degrees, for a panel that is mounted upside down
    #[arg(long)]
    rotated: bool,
    /// Dark on light
    #[arg(long)]
    inverted: bool,
    /// Brightness, 0 to 255; 127 if left out
    #[arg(long, value_name = "LEVEL")]
    contrast: Option<u8>,
    /// What the panel shows after the end
    #[arg(long, value_name = "WHAT", value_enum, default_value_t)]
    at_exit: AtExit,
    /// How often a panel is sent again what it may have lost unnoticed: 5s to 24h, or never
    #[arg(long, value_name = "PERIOD", default_value_t)]
    refresh: Refresh,
    /// Keep in this file for how long each pixel was lit; see `sidelight wear`
    #[arg(long, value_name = "FILE")]
    wear: Option<PathBuf>,
}

/// What the program tells about itself
#[derive(Debug, clap::Args)]
#[group(id = "Health", multiple = true)]
struct Health {
    /// Publish below this topic whether the program is there (TOPIC/online) and how it is (TOPIC/health)
    #[arg(long = "health", value_name = "TOPIC", value_parser = HealthTopics::below)]
    topics: Option<HealthTopics>,
    /// Serve /health and /metrics over HTTP at this address on loopback, such as 127.0.0.1:9464
    #[arg(long = "health-listen", value_name = "ADDRESS")]
    listen: Option<Loopback>,
}

/// Whether its layout may come from the broker
#[derive(Debug, clap::Args)]
#[group(id = "Door", multiple = true)]
struct Door {
    /// Take the layout from TOPIC/layout, keep it in FILE, and answer under TOPIC/layout/answer; see `sidelight publish`
    #[arg(long, value_name = "TOPIC", value_parser = DoorTopics::below)]
    door: Option<DoorTopics>,
    /// Take only layouts that the owner of this key signed: a public Ed25519 key in PEM
    #[arg(long, value_name = "FILE", requires = "door")]
    signed_by: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    log::start(arguments.verbosity);
    let installation = match &arguments.config {
        Some(file) => read_config(file)?,
        None => from_flags(arguments)?,
    };
    installation.check().map_err(outside)?;
    let door = installation.door.as_ref().map(DoorPlate::door).transpose().map_err(outside)?;
    let mut random = fastrand::Rng::new();
    let mut settings = installation.broker.settings(&mut random).map_err(outside)?;
    settings.will = installation.reporting.topics.as_ref().map(HealthTopics::will);
    let supervisor = Supervisor::from_environment()
        .map_err(|problem| Failure::Outside(format!("cannot speak with the supervisor in NOTIFY_SOCKET: {problem}")))?;
    let shows = shows(&installation.panels)?;
    let mut log = Log::new(settings.broker.to_string());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
    runtime.block_on(async {
        let reports = Reports::open(&installation.reporting, supervisor).map_err(outside)?;
        let mut service = Service::new(settings, shows, random).map_err(outside)?.reporting(reports);
        if let Some(door) = door {
            service = service.taking(door);
        }
        if let Some(file) = installation.state {
            service = service.keeping(file);
        }
        service.run(&mut log, std::future::pending()).await.map_err(outside)
    })?;
    Ok(ExitCode::SUCCESS)
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

/// No installation needs more, not even one of a hundred panels.
const MOST_CONFIG_BYTES: usize = 256 * 1024;

pub(super) fn read_config(file: &Path) -> Result<Installation, Failure> {
    let bytes = read_start(file, MOST_CONFIG_BYTES + 1)?;
    let refused = |why: &str| Failure::Argument(format!("{}: {why}", file.display()));
    if bytes.len() > MOST_CONFIG_BYTES {
        return Err(refused(&format!(
            "an installation has at most {MOST_CONFIG_BYTES} bytes; is this the right file?"
        )));
    }
    let text = String::from_utf8(bytes).map_err(|_| refused("this is no text in UTF-8; is this the right file?"))?;
    let folder = file.parent().unwrap_or(Path::new(""));
    Config::read(&file.display().to_string(), &text, folder).map_err(outside)
}

fn from_flags(arguments: &Arguments) -> Result<Installation, Failure> {
    let Arguments { file: Some(file), broker: Some(url), panels, connection, look, state, health, door, .. } =
        arguments
    else {
        return Err(Failure::Argument("give a layout and --broker, or --config".into()));
    };
    if look.wear.is_some() && panels.len() > 1 {
        return Err(Failure::Argument(
            "--wear is of one panel; with several, write `wear` for each into a --config".into(),
        ));
    }
    let broker = connection.broker(url)?;
    let panel = |place: &Place| Panel {
        rotated: look.rotated,
        inverted: look.inverted,
        contrast: look.contrast,
        at_exit: look.at_exit,
        refresh: look.refresh,
        wear: look.wear.clone(),
        ..Panel::new(place.clone(), file.clone())
    };
    let reporting = Reporting { topics: health.topics.clone(), listen: health.listen, ..Reporting::default() };
    let plate = |topics: &DoorTopics| DoorPlate { topics: topics.clone(), signed_by: door.signed_by.clone() };
    let door = door.door.as_ref().map(plate);
    Ok(Installation { broker, panels: panels.iter().map(panel).collect(), state: state.clone(), reporting, door })
}

/// Loads every layout and, once all of them are good, starts the panels.
fn shows(panels: &[Panel]) -> Result<Vec<Show>, Failure> {
    let mut layouts: Vec<(&Path, Loaded, Arc<Program>)> = Vec::new();
    for panel in panels {
        let path = panel.layout.as_path();
        if !layouts.iter().any(|(known, ..)| *known == path) {
            let loaded = load(path)?;
            let program = program_or_report(&loaded, path)?;
            layouts.push((path, loaded, program));
        }
    }
    let mut setups = Vec::new();
    for (path, _, program) in &layouts {
        for panel in panels.iter().filter(|panel| panel.layout == *path) {
            setups.push((panel, panel.setup(program.size).map_err(outside)?));
        }
    }
    let mut shows = Vec::new();
    for (path, loaded, program) in layouts {
        let of_layout = setups.iter().filter(|(panel, _)| panel.layout == path);
        let writers = of_layout.map(|(panel, setup)| panel.start(*setup)).collect::<Result<_, _>>().map_err(outside)?;
        shows.push(Show::new(Source::File(path.into()), &loaded, program, writers));
    }
    Ok(shows)
}
