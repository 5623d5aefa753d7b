//! `sidelight demo`: everything in one process, so that it can be tried without any hardware.
//!
//! What enters is a layout or nothing; what leaves is an emulated panel in the terminal, or in words where standard output is
//! no terminal. Broker and sensors are the demo's, sockets and service are those of `run`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use crate::demo::{self, Broker, Cellar, Publisher, Stage, Story};
use crate::draw::Frame;
use crate::feed::Settings;
use crate::panel::{Controller, Setup};
use crate::service::{AtExit, Emulated, Refresh, Service, Show, Source, Trouble, Writer, picture_file};

use super::{Failure, program_or_report};

/// Try it all without any hardware: broker, invented sensors, service and an emulated panel in one process
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The sensors of a small cheese cellar are invented. A day passes in two minutes, and within a
minute and a half every misbehaviour that sensors are known for has occurred. The layout may be
edited while it is shown. The picture needs a terminal 130 columns wide; where the output is no
terminal, each change is a line in words.

Examples:
  sidelight demo
  sidelight demo door.layout
  sidelight demo --seconds 30 --picture door.png")]
pub(super) struct Arguments {
    /// Show this layout instead of the demo's own
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    /// End after so many seconds
    #[arg(long, value_name = "NUMBER")]
    seconds: Option<u64>,
    /// Keep the picture in a PNG file as well
    #[arg(long, value_name = "PNG")]
    picture: Option<PathBuf>,
    /// Choose among the courses that the sensors can take
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    seed: u64,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let source = match &arguments.file {
        Some(file) => Source::File(file.clone()),
        None => Source::BuiltIn { name: "the demo's layout", text: demo::LAYOUT },
    };
    let loaded = source.load()?;
    let program = program_or_report(&loaded, Path::new(&source.name()))?;
    let setup = Setup::new(Controller::Ssd1306, program.size);
    setup.check().map_err(outside)?;
    let broker = Broker::start().map_err(outside)?;
    let stage = Arc::new(Stage::open(foot(&broker, &source)).map_err(outside)?);
    let glass = keeper(Arc::clone(&stage), arguments.picture.clone());
    let writer =
        Writer::start("the panel".into(), setup, Emulated::new(setup, glass), AtExit::Keep, Refresh::NEVER, None)
            .map_err(outside)?;
    let show = Show::new(source, &loaded, program, vec![writer]);
    let played = play(&broker, show, &stage, arguments);
    // Before anything else is printed.
    stage.close();
    played.map(|()| ExitCode::SUCCESS)
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

/// Runs sensors and service until the end.
fn play(broker: &Broker, show: Show, stage: &Arc<Stage>, arguments: &Arguments) -> Result<(), Failure> {
    let mut random = fastrand::Rng::new();
    let url = format!("mqtt://{}", broker.v3()).parse().map_err(outside)?;
    let (panel, sensors) = (Settings::new(url, &mut random), random.fork());
    let sensors_settings = Settings::new(panel.broker.clone(), &mut random);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(outside)?;
    runtime.block_on(async {
        let _publisher = Publisher::start(Cellar::new(arguments.seed), &sensors_settings, sensors).map_err(outside)?;
        let service = Service::new(panel, vec![show], random).map_err(outside)?;
        let enough = async {
            let time = async {
                match arguments.seconds {
                    Some(seconds) => tokio::time::sleep(Duration::from_secs(seconds)).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                () = time => {}
                () = stage.gone() => {}
            }
        };
        let mut story = Story::new(Arc::clone(stage));
        service.run(&mut story, enough).await.map_err(outside)
    })?;
    Ok(())
}

/// How whoever looks on can take part.
fn foot(broker: &Broker, source: &Source) -> Vec<String> {
    let edit = match source {
        Source::File(path) => format!("Edit {} to change the screen. ", path.display()),
        Source::BuiltIn { .. } => String::new(),
    };
    vec![
        format!(
            "The broker listens at mqtt://{} (MQTT 3.1.1) and mqtt://{} (5): publish to it yourself.",
            broker.v3(),
            broker.v5()
        ),
        format!("{edit}Ctrl-C ends the demo."),
    ]
}

/// What is done with the glass of the emulated panel.
fn keeper(stage: Arc<Stage>, file: Option<PathBuf>) -> impl FnMut(&Frame) -> Result<(), Trouble> + Send + 'static {
    let mut keep = file.map(picture_file);
    move |glass| {
        stage.show(glass);
        keep.as_mut().map_or(Ok(()), |keep| keep(glass))
    }
}
