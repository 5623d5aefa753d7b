//! `sidelight install`: what it takes to run an installation as a service under systemd.
//!
//! What enters are the configuration's path and a user's name; what leaves is a unit on standard output, or files below a root,
//! and on standard error what to do next. It enables nothing, starts nothing and creates no user by itself.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::service::{Installation, Unit};

use super::Failure;
use super::run::read_config;

/// Print a unit that runs an installation as a service under systemd, with no more rights than it needs
#[derive(Debug, clap::Args)]
#[command(after_help = "\
The unit follows from the configuration, if that is there: whether it needs I2C buses, and the
folders that it may write in. Everything else of the machine is read-only or hidden. Install it
again after a change of the configuration's panels or its state file.

Examples:
  sidelight install
  sudo sidelight install --write
  sidelight install --config /etc/cellar/doors.toml --user doors > sidelight.service")]
pub(super) struct Arguments {
    /// The configuration file
    #[arg(long, value_name = "TOML", default_value = "/etc/sidelight/sidelight.toml")]
    config: PathBuf,
    /// The user that it runs as
    #[arg(long, value_name = "NAME", default_value = "sidelight")]
    user: String,
    /// The program that the unit starts; this one if left out
    #[arg(long, value_name = "PATH")]
    program: Option<PathBuf>,
    /// Write the unit and the file that has its user created, instead of printing the unit
    #[arg(long)]
    write: bool,
    /// Where the machine's own files lie that are written
    #[arg(long, value_name = "FOLDER", default_value = "/", requires = "write")]
    root: PathBuf,
    /// Write where packages put their files, below usr/lib instead of etc
    #[arg(long, requires = "write")]
    packaged: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let config = std::path::absolute(&arguments.config).map_err(outside)?;
    let program = match &arguments.program {
        Some(program) => program.clone(),
        None => std::env::current_exe().map_err(outside)?,
    };
    let installation = if config.exists() { Some(read_config(&config)?) } else { None };
    let unit = Unit { program: &program, config: &config, user: &arguments.user, installation: installation.as_ref() };
    let (text, sysusers) = (unit.text().map_err(refused)?, unit.sysusers().map_err(refused)?);
    if !arguments.write {
        // Whoever reads may have enough of it.
        let _ = io::stdout().write_all(text.as_bytes());
        eprintln!("Next: `sudo sidelight install --write` puts this where systemd looks for it");
        return Ok(ExitCode::SUCCESS);
    }
    let own = if arguments.packaged { "usr/lib" } else { "etc" };
    for (path, text) in [("systemd/system/sidelight.service", &text), ("sysusers.d/sidelight.conf", &sysusers)] {
        let path = arguments.root.join(own).join(path);
        write(&path, text).map_err(|problem| Failure::Write { path: path.clone(), problem })?;
        let _ = writeln!(io::stdout(), "{}", path.display());
    }
    if !arguments.packaged {
        next_steps(&config, installation.as_ref(), &arguments.user);
    }
    Ok(ExitCode::SUCCESS)
}

fn outside(problem: impl std::fmt::Display) -> Failure {
    Failure::Outside(problem.to_string())
}

fn refused(problem: crate::service::UnitError) -> Failure {
    Failure::Argument(problem.to_string())
}

fn write(path: &Path, text: &str) -> io::Result<()> {
    fs::create_dir_all(path.parent().unwrap_or(Path::new("/")))?;
    fs::write(path, text)
}

/// What is left to do by hand, in its order.
fn next_steps(config: &Path, installation: Option<&Installation>, user: &str) {
    eprintln!("Next:");
    if installation.is_none() {
        eprintln!("  write {} (sidelight run --help shows what it holds), and install again", config.display());
    }
    eprintln!("  sudo systemd-sysusers                      creates the user {user}");
    if let Some(file) = installation.and_then(|installation| installation.broker.password_file.as_ref()) {
        let file = file.display();
        eprintln!("  sudo chgrp {user} {file} && sudo chmod 640 {file}");
    }
    eprintln!("  sudo systemctl daemon-reload");
    eprintln!("  sudo systemctl enable --now sidelight");
    eprintln!("  systemctl status sidelight                 says whether it is connected, and what the panels do");
}
