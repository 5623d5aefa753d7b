//! The unit that keeps an installation running under systemd, with no more rights than it needs.
//!
//! What enters is where the program and the configuration lie, the user's name, and what the configuration says; what leaves are
//! texts: the unit, and the line that has its user created. Nothing is written here. The directives are those of systemd 252
//! (systemd.exec(5), systemd.service(5), systemd.resource-control(5), from memory); `systemd-analyze` judges the result in a test.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use super::door::DoorPlate;
use super::installation::Installation;
use super::place::Place;

/// Where systemd keeps what belongs to the service.
const STATE: &str = "/var/lib/sidelight";
/// Paths below these are hidden from a service by `ProtectHome=yes`.
const HOMES: [&str; 3] = ["/home", "/root", "/run/user"];
/// The longest name of a user that every tool takes.
const LONGEST_USER: usize = 31;

/// What a unit is made from.
#[derive(Clone, Debug)]
pub struct Unit<'a> {
    /// The program, by its whole path.
    pub program: &'a Path,
    /// The configuration file, by its whole path.
    pub config: &'a Path,
    /// The user that it runs as.
    pub user: &'a str,
    /// What the configuration says; without one, panels on buses are assumed.
    pub installation: Option<&'a Installation>,
}

/// Why there is no unit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// A name that is none for a system user.
    #[error(
        "{user:?} is no name for a user: write at most {LONGEST_USER} lower-case letters, digits, \"-\" and \"_\", with a letter first"
    )]
    User {
        /// The name.
        user: String,
    },
    /// A path that begins somewhere else for everybody.
    #[error("{path:?} is no whole path: begin it with \"/\"")]
    Relative {
        /// The path.
        path: PathBuf,
    },
    /// A path that cannot stand in a unit.
    #[error(
        "{path:?} cannot stand in a unit: choose a path in UTF-8 without control characters, quotes and backslashes"
    )]
    Path {
        /// The path.
        path: PathBuf,
    },
}

impl Unit<'_> {
    /// The unit's text.
    ///
    /// # Errors
    /// [`UnitError`] if the user's name or a path cannot stand in it.
    pub fn text(&self) -> Result<String, UnitError> {
        let (program, config, condition) = (word(self.program)?, word(self.config)?, line(self.config)?);
        let user = checked_user(self.user)?;
        let buses = self.buses();
        // The command's first word knows no variables, the others do.
        let argument = config.replace('$', "$$");
        let (modules, after) =
            if buses { ("Wants=modprobe@i2c_dev.service\n", "modprobe@i2c_dev.service ") } else { ("", "") };
        let groups = if buses { "SupplementaryGroups=i2c\n" } else { "" };
        let devices = if buses { "DevicePolicy=closed\nDeviceAllow=char-i2c rw\n" } else { "PrivateDevices=yes\n" };
        let home =
            if self.paths().any(|path| HOMES.iter().any(|home| path.starts_with(home))) { "read-only" } else { "yes" };
        let mask = if self.pictures().next().is_some() { "0022" } else { "0077" };
        let mut written = String::new();
        for folder in self.written()? {
            let _ = writeln!(written, "ReadWritePaths={folder}");
        }
        Ok(format!(
            "\
# From `sidelight install`, version {version}. Change it by a drop-in: systemctl edit sidelight
[Unit]
Description=Readouts beside the doors
Documentation=man:sidelight(1)
ConditionPathExists={condition}
{modules}After={after}network.target
# However often it ends, it is started again.
StartLimitIntervalSec=0

[Service]
Type=notify
ExecStart={program} run --config {argument}
ExecReload=/bin/kill -HUP $MAINPID
Restart=always
RestartSec=10s
WatchdogSec=2min
TimeoutStartSec=30s
TimeoutStopSec=10s

User={user}
Group={user}
{groups}UMask={mask}
StateDirectory=sidelight
StateDirectoryMode=0750
{written}
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ProtectHome={home}
PrivateTmp=yes
PrivateMounts=yes
{devices}ProtectProc=invisible
ProcSubset=pid
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectKernelLogs=yes
ProtectControlGroups=yes
ProtectClock=yes
ProtectHostname=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM
KeyringMode=private
RemoveIPC=yes
# A dump of its memory would hold the broker's password.
LimitCORE=0
MemoryMax=64M
TasksMax=64

[Install]
WantedBy=multi-user.target
",
            version = env!("CARGO_PKG_VERSION"),
        ))
    }

    /// The line for sysusers.d(5) that has the user created, and put into the group that may use the buses.
    ///
    /// # Errors
    /// [`UnitError::User`] if its name is none.
    pub fn sysusers(&self) -> Result<String, UnitError> {
        let user = checked_user(self.user)?;
        let member = if self.buses() { format!("m {user} i2c\n") } else { String::new() };
        Ok(format!("u {user} - \"Readouts beside the doors\" {STATE} -\n{member}"))
    }

    /// Whether a panel hangs on a bus of this machine.
    fn buses(&self) -> bool {
        let on_bus = |installation: &Installation| {
            installation.panels.iter().any(|panel| matches!(panel.place, Place::Bus { .. }))
        };
        self.installation.is_none_or(on_bus)
    }

    fn pictures(&self) -> impl Iterator<Item = &Path> {
        let panels = self.installation.into_iter().flat_map(|installation| &installation.panels);
        panels.filter_map(|panel| match &panel.place {
            Place::Picture { file } => Some(file.as_path()),
            Place::Bus { .. } => None,
        })
    }

    /// The files in which the wear of panels is kept.
    fn ledgers(&self) -> impl Iterator<Item = &Path> {
        let panels = self.installation.into_iter().flat_map(|installation| &installation.panels);
        panels.filter_map(|panel| panel.wear.as_deref())
    }

    fn door(&self) -> Option<&DoorPlate> {
        self.installation.and_then(|installation| installation.door.as_ref())
    }

    /// Everything that the program touches.
    fn paths(&self) -> impl Iterator<Item = &Path> {
        let installation = self.installation.into_iter();
        let layouts = installation.clone().flat_map(|all| all.panels.iter().map(|panel| panel.layout.as_path()));
        let state = installation.filter_map(|all| all.state.as_deref());
        let own = [self.program, self.config].into_iter().chain(layouts).chain(self.pictures()).chain(self.ledgers());
        own.chain(state).chain(self.door().and_then(|door| door.signed_by.as_deref()))
    }

    /// The folders that it writes in, besides its own.
    fn written(&self) -> Result<Vec<String>, UnitError> {
        let state = self.installation.and_then(|installation| installation.state.as_deref());
        // A door keeps the layout that came from the broker in the place of the one before.
        let panels = self.installation.iter().flat_map(|installation| &installation.panels);
        let layouts = panels.filter(|_| self.door().is_some()).map(|panel| panel.layout.as_path());
        let files = state.into_iter().chain(self.pictures()).chain(self.ledgers()).chain(layouts);
        let mut folders = Vec::new();
        for folder in files.filter(|file| !file.starts_with(STATE)).filter_map(Path::parent) {
            // One that is not there is for the program to complain of, by name.
            let folder = quoted(format!("-{}", line(folder)?));
            if !folders.contains(&folder) {
                folders.push(folder);
            }
        }
        Ok(folders)
    }
}

/// A path as a word of a unit, quoted where it has spaces.
fn word(path: &Path) -> Result<String, UnitError> {
    Ok(quoted(line(path)?))
}

fn quoted(text: String) -> String {
    if text.contains([' ', ';', '#']) { format!("\"{text}\"") } else { text }
}

/// A path as the rest of a line of a unit, without specifiers.
fn line(path: &Path) -> Result<String, UnitError> {
    if !path.is_absolute() {
        return Err(UnitError::Relative { path: path.into() });
    }
    let refused = |text: &&str| !text.chars().any(|c| c.is_control() || matches!(c, '"' | '\'' | '\\'));
    let Some(text) = path.to_str().filter(refused) else { return Err(UnitError::Path { path: path.into() }) };
    Ok(text.replace('%', "%%"))
}

fn checked_user(user: &str) -> Result<&str, UnitError> {
    let first = user.starts_with(|c: char| c.is_ascii_lowercase());
    let rest = user.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-' || b == b'_');
    if first && rest && user.len() <= LONGEST_USER { Ok(user) } else { Err(UnitError::User { user: user.into() }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::Config;

    fn text(config: &str, installation: Option<&str>, user: &str) -> Result<String, UnitError> {
        let installation = installation.map(|toml| {
            let toml = format!("[broker]\nurl = \"mqtt://b\"\n{toml}");
            Config::read("sidelight.toml", &toml, Path::new("/etc/sidelight")).unwrap()
        });
        let program = Path::new("/usr/bin/sidelight");
        Unit { program, config: Path::new(config), user, installation: installation.as_ref() }.text()
    }

    fn lines(text: &str, name: &str) -> Vec<String> {
        text.lines().filter_map(|line| line.strip_prefix(name)?.strip_prefix('=')).map(str::to_string).collect()
    }

    const BUS: &str = "[[panel]]\nplace = \"ssd1306:/dev/i2c-1:0x3c\"\nlayout = \"door.layout\"\n";
    const PICTURE: &str = "[[panel]]\nplace = \"picture:/srv/panels/door.png\"\nlayout = \"door.layout\"\n";

    #[test]
    fn it_may_do_what_the_installation_needs_and_no_more() {
        let bus = text("/etc/sidelight/sidelight.toml", Some(BUS), "sidelight").unwrap();
        assert_eq!(bus, text("/etc/sidelight/sidelight.toml", None, "sidelight").unwrap());
        assert_eq!(lines(&bus, "DeviceAllow"), ["char-i2c rw"]);
        assert!(lines(&bus, "ReadWritePaths").is_empty() && lines(&bus, "PrivateDevices").is_empty());
        let picture = text("/etc/sidelight/sidelight.toml", Some(PICTURE), "sidelight").unwrap();
        assert_eq!(lines(&picture, "ReadWritePaths"), ["-/srv/panels"]);
        assert_eq!(
            (lines(&picture, "PrivateDevices"), lines(&picture, "UMask")),
            (vec!["yes".into()], vec!["0022".into()])
        );
        assert!(!picture.contains("i2c"), "{picture}");
    }

    #[test]
    fn the_past_is_kept_in_its_own_folder_or_where_the_installation_says() {
        let own = format!("state = \"/var/lib/sidelight/past\"\n{BUS}");
        let installation = |toml: &str| {
            let toml = toml.replace("[[panel]]", "[broker]\nurl = \"mqtt://b\"\n[[panel]]");
            Config::read("sidelight.toml", &toml, Path::new("/etc/sidelight")).unwrap()
        };
        for (toml, folders) in
            [(own.clone(), vec![]), (own.replace("/var/lib/sidelight", "/srv/a b"), vec!["\"-/srv/a b\""])]
        {
            let installation = installation(&toml);
            let (program, config) = (Path::new("/usr/bin/sidelight"), Path::new("/etc/s.toml"));
            let unit = Unit { program, config, user: "sidelight", installation: Some(&installation) };
            assert_eq!(lines(&unit.text().unwrap(), "ReadWritePaths"), folders);
        }
    }

    #[test]
    fn a_door_may_write_where_its_layout_lies() {
        let door = format!("[door]\ntopic = \"cellar/doors/brine\"\nsigned-by = \"/home/cellar/key\"\n{BUS}");
        let unit = text("/etc/sidelight/sidelight.toml", Some(&door), "sidelight").unwrap();
        assert_eq!(lines(&unit, "ReadWritePaths"), ["-/etc/sidelight"]);
        assert_eq!(lines(&unit, "ProtectHome"), ["read-only"]);
    }

    #[test]
    fn homes_are_hidden_unless_something_lies_there() {
        assert_eq!(lines(&text("/etc/s.toml", None, "door").unwrap(), "ProtectHome"), ["yes"]);
        assert_eq!(lines(&text("/home/cellar/s.toml", None, "door").unwrap(), "ProtectHome"), ["read-only"]);
    }

    #[test]
    fn paths_and_names_cannot_say_anything_else() {
        let odd = text("/etc/a b%i$x/s.toml", None, "door-2").unwrap();
        assert_eq!(lines(&odd, "ExecStart"), ["/usr/bin/sidelight run --config \"/etc/a b%%i$$x/s.toml\""]);
        assert_eq!(lines(&odd, "ConditionPathExists"), ["/etc/a b%%i$x/s.toml"]);
        for path in ["/etc/a\nExecStart=/bin/sh", "/etc/a\"b", "/etc/a\\x20b"] {
            assert!(matches!(text(path, None, "door"), Err(UnitError::Path { .. })), "{path}");
        }
        assert!(matches!(text("s.toml", None, "door"), Err(UnitError::Relative { .. })));
        for user in ["", "Door", "2door", "door\nUser=root", "door:x", "ä", &"d".repeat(32)] {
            assert!(matches!(text("/etc/s.toml", None, user), Err(UnitError::User { .. })), "{user}");
        }
    }
}
