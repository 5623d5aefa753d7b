//! `sidelight verify`: whether layouts still give the pictures that were kept of them.
//!
//! What enters are files of scenes and the reference pictures beside them; what leaves is what differs, in words, as JSON and as
//! pictures, and with `--accept` the renewed references. No reference changes without that word.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::io::{self, IsTerminal, Write};
use std::path::{Component, Path, PathBuf};
use std::process::ExitCode;
use std::{fmt, fs};

use serde_json::{Value, json};

use crate::language::{nearest, report};
use crate::scenes::{self, Difference, NamedScene, References, Scenes, Verdict};
use crate::service::{Durability, Unreadable, replace};

use super::Failure;

/// Compare the pictures of scenes with the references kept beside them, to the bit
///
/// A file of scenes such as door.scenes stands beside its layout and says what readings are taken to be. The references lie beside both,
/// in door.pictures, one PNG for each scene.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
For each scene that differs, a PNG shows the reference, the picture as it is now, and where they differ. A scene without a
reference is a finding, and so is a reference that no scene names.

Exit codes: 0 all the same, 1 findings, 2 a file could not be read, shown or written.

Examples:
  sidelight verify layouts/
  sidelight verify door.scenes
  sidelight verify --accept --scene usual door.scenes")]
pub(super) struct Arguments {
    /// Files of scenes, layouts with one beside them, or folders, with all that lies below
    #[arg(required = true, value_name = "FILE")]
    paths: Vec<PathBuf>,
    /// Look only at scenes of this name; may be given more than once
    #[arg(long, value_name = "NAME")]
    scene: Vec<String>,
    /// Renew the references: what a scene shows now is right, and a reference without a scene is deleted
    #[arg(long)]
    accept: bool,
    /// Where pictures of differences go; made when there is one
    #[arg(long, value_name = "FOLDER", default_value = "differences")]
    differences: PathBuf,
    /// Print what was found as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let mut found = Found::default();
    arguments.paths.iter().try_for_each(|path| found.look(path))?;
    let mut run = Run { arguments, same: 0, findings: Vec::new(), failed: false, names: BTreeSet::new() };
    found.scenes.iter().for_each(|path| run.file(path));
    if arguments.scene.is_empty() {
        for path in &found.left {
            let kept = References::of(path).kept().map_err(|trouble| Failure::Outside(trouble.to_string()))?;
            run.findings.extend(kept.into_iter().map(|reference| Finding::unnamed(path, reference)));
        }
    }
    // Where a file could not be read, a name may stand in it.
    if let Some(name) = arguments.scene.iter().find(|name| !run.failed && !run.names.contains(*name)) {
        let known = nearest(name, run.names.iter().map(String::as_str));
        let help =
            known.map_or("look for its name in the files of scenes".into(), |near| format!("did you mean `{near}`?"));
        return Err(Failure::Argument(format!("--scene: no scene is called `{name}`; {help}")));
    }
    // Whoever reads may have enough of it.
    let _ = if arguments.json { writeln!(io::stdout(), "{:#}", run.as_json()) } else { write!(io::stdout(), "{run}") };
    Ok(match (run.failed, run.findings.iter().any(|finding| !finding.accepted)) {
        (true, _) => ExitCode::from(2),
        (false, true) => ExitCode::from(1),
        (false, false) => ExitCode::SUCCESS,
    })
}

/// How many folders deep files of scenes are looked for.
const DEEPEST: usize = 16;

/// What there is to verify.
#[derive(Default)]
struct Found {
    /// Files of scenes, in the order of their names.
    scenes: BTreeSet<PathBuf>,
    /// Layouts with references but without a file of scenes.
    left: BTreeSet<PathBuf>,
}

impl Found {
    /// Takes in what was named on the command line.
    fn look(&mut self, path: &Path) -> Result<(), Failure> {
        if !path.is_dir() {
            let is_layout = path.extension() == Some(OsStr::new("layout"));
            self.scenes.insert(if is_layout { path.with_extension("scenes") } else { path.into() });
            return Ok(());
        }
        let before = self.scenes.len() + self.left.len();
        self.walk(path, 0)?;
        if self.scenes.len() + self.left.len() == before {
            let folder = path.display();
            return Err(Failure::Argument(format!(
                "{folder}: there is no file of scenes; write, for example, `door.scenes` beside `door.layout`"
            )));
        }
        Ok(())
    }

    fn walk(&mut self, folder: &Path, depth: usize) -> Result<(), Failure> {
        let unreadable = |problem| Failure::Read(Unreadable { path: folder.into(), problem });
        for entry in fs::read_dir(folder).map_err(unreadable)? {
            let entry = entry.map_err(unreadable)?;
            let path = entry.path();
            let ending = path.extension().unwrap_or_default();
            let hidden = entry.file_name().as_encoded_bytes().starts_with(b".");
            // A link to a folder is not followed, so that the walk ends.
            if entry.file_type().map_err(unreadable)?.is_dir() {
                if ending == "pictures" {
                    let layout = path.with_extension("layout");
                    if layout.exists() && !path.with_extension("scenes").exists() {
                        self.left.insert(layout);
                    }
                } else if !hidden && depth < DEEPEST {
                    self.walk(&path, depth + 1)?;
                }
            } else if ending == "scenes" && !hidden {
                self.scenes.insert(path);
            }
        }
        Ok(())
    }
}

/// One thing that is not as it should be.
struct Finding {
    kind: Kind,
    /// The file of scenes, or the layout where there is none.
    file: PathBuf,
    /// The scene, and the line and column of its name.
    scene: Option<(String, report::Place)>,
    reference: PathBuf,
    /// What differs, in words; empty otherwise.
    words: String,
    /// How many pixels differ.
    pixels: usize,
    /// The picture of the difference.
    picture: Option<PathBuf>,
    /// Whether the references were brought in line with it.
    accepted: bool,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Different,
    Missing,
    Unnamed,
}

impl Finding {
    fn unnamed(file: &Path, reference: PathBuf) -> Self {
        let (kind, words) = (Kind::Unnamed, String::new());
        Self { kind, file: file.into(), scene: None, reference, words, pixels: 0, picture: None, accepted: false }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let reference = self.reference.display();
        match (self.kind, self.accepted) {
            (Kind::Different, true) => return write!(f, "{reference}: renewed, {}", self.words),
            (Kind::Missing, true) => return write!(f, "{reference}: kept from now on"),
            (Kind::Unnamed, true) => return write!(f, "{reference}: deleted, since no scene has this name"),
            (Kind::Unnamed, false) => return write!(f, "{reference}: no scene has this name"),
            (Kind::Different | Kind::Missing, false) => {}
        }
        if let Some((name, place)) = &self.scene {
            write!(f, "{}:{}:{}: {name}: ", self.file.display(), place.line, place.column)?;
        }
        match (&self.picture, self.kind) {
            (_, Kind::Missing) => write!(f, "there is no reference {reference}"),
            (Some(picture), _) => write!(f, "{}; see {}", self.words, picture.display()),
            (None, _) => f.write_str(&self.words),
        }
    }
}

/// What was done so far.
struct Run<'a> {
    arguments: &'a Arguments,
    same: usize,
    findings: Vec<Finding>,
    failed: bool,
    /// The names of all scenes that were met.
    names: BTreeSet<String>,
}

impl Run<'_> {
    fn file(&mut self, path: &Path) {
        let scenes = match scenes::read(path) {
            Ok(scenes) => scenes,
            Err(unreadable) => return self.fail(&unreadable),
        };
        self.names.extend(scenes.names.keys().cloned());
        if !scenes.is_whole() {
            eprint!("{}", scenes.report(io::stderr().is_terminal()));
            return self.fail(&format!("{} was not verified; the report above says what to mend", path.display()));
        }
        let references = References::of(path);
        let wanted =
            |scene: &&NamedScene| self.arguments.scene.is_empty() || self.arguments.scene.contains(&scene.name);
        for scene in scenes.scenes.iter().filter(wanted) {
            match self.scene(&scenes, scene, &references) {
                Ok(None) => self.same += 1,
                Ok(Some(finding)) => self.findings.push(finding),
                Err(trouble) => self.fail(&trouble),
            }
        }
        if self.arguments.scene.is_empty() {
            match references.unnamed(&scenes) {
                Ok(unnamed) => unnamed.into_iter().for_each(|reference| self.unnamed(path, reference)),
                Err(trouble) => self.fail(&trouble),
            }
        }
    }

    fn fail(&mut self, problem: &dyn fmt::Display) {
        eprintln!("sidelight: {problem}");
        self.failed = true;
    }

    fn scene(&self, scenes: &Scenes, scene: &NamedScene, references: &References) -> Result<Option<Finding>, Failure> {
        let drawn = scene.draw();
        let now = drawn.frame();
        let trouble = |trouble: scenes::Trouble| Failure::Outside(trouble.to_string());
        let picture = self.picture_of(&scenes.path, &scene.name);
        // What an earlier run left here holds no longer.
        let _ = fs::remove_file(&picture);
        let reference = match references.compare(&scene.name, now) {
            Ok(Verdict::Same) => return Ok(None),
            Ok(Verdict::Different(reference)) => Some(reference),
            Ok(Verdict::Missing) => None,
            // What is no picture is not worth keeping.
            Err(scenes::Trouble::Picture { .. } | scenes::Trouble::Large { .. }) if self.arguments.accept => None,
            Err(problem) => return Err(trouble(problem)),
        };
        let difference = reference.as_ref().and_then(|reference| Difference::new(reference, now));
        let mut shown = None;
        if self.arguments.accept {
            references.renew(&scene.name, now).map_err(trouble)?;
        } else if let Some(difference) = &difference {
            write_picture(difference, &picture)?;
            shown = Some(picture);
        }
        Ok(Some(Finding {
            kind: if difference.is_some() { Kind::Different } else { Kind::Missing },
            file: scenes.path.clone(),
            scene: Some((scene.name.clone(), report::line_and_column(&scenes.text, scene.span.start as usize))),
            reference: references.path(&scene.name),
            words: difference.as_ref().map_or(String::new(), Difference::words),
            pixels: difference.as_ref().map_or(0, |difference| difference.pixels),
            picture: shown,
            accepted: self.arguments.accept,
        }))
    }

    fn unnamed(&mut self, path: &Path, reference: PathBuf) {
        let mut finding = Finding::unnamed(path, reference);
        if self.arguments.accept {
            match References::delete(&finding.reference) {
                Ok(()) => finding.accepted = true,
                Err(trouble) => self.fail(&trouble),
            }
        }
        self.findings.push(finding);
    }

    /// Where the picture of a scene's difference goes: below a folder for each file, so that none meets another.
    fn picture_of(&self, file: &Path, scene: &str) -> PathBuf {
        let stem = file.with_extension("");
        let below = stem.components().filter_map(|part| match part {
            Component::Normal(part) => Some(part),
            Component::ParentDir => Some(OsStr::new("above")),
            Component::Prefix(_) | Component::RootDir | Component::CurDir => None,
        });
        self.arguments.differences.join(below.collect::<PathBuf>()).join(format!("{scene}.png"))
    }

    fn count(&self, kind: Kind) -> usize {
        self.findings.iter().filter(|finding| finding.kind == kind).count()
    }

    /// What was found, in the shape that `layouts/README.md` describes.
    fn as_json(&self) -> Value {
        let findings = self.findings.iter().map(|finding| {
            let place = finding.scene.as_ref();
            json!({
                "kind": match finding.kind {
                    Kind::Different => "different",
                    Kind::Missing => "missing",
                    Kind::Unnamed => "unnamed",
                },
                "file": finding.file.display().to_string(),
                "scene": place.map(|(name, _)| name),
                "line": place.map(|(_, place)| place.line),
                "column": place.map(|(_, place)| place.column),
                "reference": finding.reference.display().to_string(),
                "message": finding.words,
                "pixels": finding.pixels,
                "picture": finding.picture.as_ref().map(|path| path.display().to_string()),
                "accepted": finding.accepted,
            })
        });
        json!({ "version": 1, "same": self.same, "failed": self.failed, "findings": findings.collect::<Vec<_>>() })
    }
}

impl fmt::Display for Run<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.findings.iter().try_for_each(|finding| writeln!(f, "{finding}"))?;
        write!(f, "{} the same", self.same)?;
        for (kind, words) in [
            (Kind::Different, "different"),
            (Kind::Missing, "without a reference"),
            (Kind::Unnamed, "that no scene names"),
        ] {
            match self.count(kind) {
                0 => {}
                count => write!(f, ", {count} {words}")?,
            }
        }
        writeln!(f)?;
        if self.findings.iter().any(|finding| !finding.accepted) {
            writeln!(f, "where the pictures of now are right, run it again with --accept")?;
        }
        Ok(())
    }
}

fn write_picture(difference: &Difference<'_>, path: &Path) -> Result<(), Failure> {
    let png = difference.png().map_err(|problem| Failure::Outside(problem.to_string()))?;
    fs::create_dir_all(path.parent().unwrap_or(Path::new("")))
        .and_then(|()| replace(path, &png, 0o666, Durability::Cached))
        .map_err(|problem| Failure::Write { path: path.into(), problem })
}
