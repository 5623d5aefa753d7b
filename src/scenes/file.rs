//! A file of scenes: which pictures the layout beside it must give.
//!
//! What enters is the text of a file such as `door.scenes`; what leaves are its scenes, ready to be drawn, and everything that is
//! wrong in it, by place. Of files only the layout beside it is read. Nothing is drawn.
//!
//! A scene begins with `--- name`. A setting a line follows, then, behind an empty line, a layout, if it is not the one beside.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::language::{self, Finding, Severity, Span, clock, nearest, report};
use crate::layout::{Program, Renderer, Scene};
use crate::service::{Loaded, Unreadable, compile, load, read_start};

use super::setting::{Setting, Staged, Word, stage};

/// Scenes that a file may have.
pub const MOST_SCENES: usize = 1000;
/// Characters that a scene's name may have.
const LONGEST_NAME: usize = 80;
/// What clocks show where a scene does not say; it is the time of Greenwich.
const USUAL_TIME: DateTime = DateTime::constant(2026, 11, 25, 14, 5, 0, 0);

/// A file of scenes as far as it could be understood.
#[derive(Debug)]
pub struct Scenes {
    /// Where it lies.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
    /// What is wrong in it, in its order; errors alone.
    pub findings: Vec<Finding>,
    /// The layout beside it, where a scene is about that.
    pub beside: Option<Loaded>,
    /// The name of each scene with its place, also of those that cannot be drawn.
    pub names: BTreeMap<String, Span>,
    /// The scenes that can be drawn, in the order of the file.
    pub scenes: Vec<NamedScene>,
}

/// A scene with its name, ready to be drawn.
#[derive(Clone, Debug)]
pub struct NamedScene {
    /// The name: letters, digits, `-` and `_`.
    pub name: String,
    /// Where the name stands.
    pub span: Span,
    /// The program, with no more than the screen that the scene is about.
    pub program: Arc<Program>,
    scene: Scene,
    time: ZonedDateTime,
}

impl NamedScene {
    /// The picture.
    pub fn draw(&self) -> Renderer {
        self.scene.draw(&self.program, &self.time)
    }
}

/// Reads a file of scenes and the layout beside it. Findings are no failure; only a file that cannot be read is.
pub fn read(path: &Path) -> Result<Scenes, Unreadable> {
    Ok(understand(&read_start(path, language::MAX_BYTES + 1)?, path))
}

/// Understands what stands in a file of scenes; the layout and its faces are looked for beside `path`.
pub fn understand(bytes: &[u8], path: &Path) -> Scenes {
    let mut scenes = Scenes {
        path: path.into(),
        text: String::from_utf8_lossy(&bytes[..bytes.len().min(language::MAX_BYTES)]).into_owned(),
        findings: Vec::new(),
        beside: None,
        names: BTreeMap::new(),
        scenes: Vec::new(),
    };
    match language::decode(bytes) {
        Ok(text) => scenes.take(text),
        Err(finding) => scenes.findings.push(*finding),
    }
    scenes.findings.sort_by_key(|finding| finding.span);
    scenes.findings.truncate(language::MAX_FINDINGS);
    scenes
}

impl Scenes {
    /// What is wrong in the file, and in the layout beside it if that cannot be shown, as a report for people; empty without any.
    pub fn report(&self, color: bool) -> String {
        let beside = self.beside.iter().filter(|layout| layout.program.is_none());
        let beside: String = beside.map(|layout| layout.report(color)).collect();
        beside + &report::to_text(&self.path.display().to_string(), &self.text, &self.findings, color)
    }

    /// Whether every scene of the file can be drawn.
    pub fn is_whole(&self) -> bool {
        self.findings.is_empty() && self.beside.as_ref().is_none_or(|layout| layout.program.is_some())
    }

    fn take(&mut self, text: &str) {
        let (sections, findings) = sections(text);
        self.findings = findings;
        let mut unread = false;
        for section in &sections {
            self.names.entry(section.name.to_string()).or_insert(section.span);
            let program = match section.layout {
                Some(layout) => self.inline(text, layout),
                None if unread => None,
                None => {
                    let program = self.beside(section.span);
                    unread = program.is_none();
                    program
                }
            };
            let Some(program) = program else { continue };
            let settings: Vec<Setting<'_>> = section.settings.iter().map(|(word, text, _)| (*word, *text)).collect();
            match stage(&program, &settings, &TimeZone::UTC, "") {
                Ok(Staged { program, scene, time }) => self.scenes.push(NamedScene {
                    name: section.name.to_string(),
                    span: section.span,
                    program,
                    scene,
                    time: time.unwrap_or_else(|| clock::greenwich(USUAL_TIME)),
                }),
                Err(wrong) => {
                    let placed = wrong.into_iter().map(|(place, finding)| moved(finding, section.settings[place].2));
                    self.findings.extend(placed);
                }
            }
        }
    }

    /// The program of a layout that stands in the file itself.
    fn inline(&mut self, text: &str, layout: Span) -> Option<Arc<Program>> {
        let loaded = compile(&text.as_bytes()[layout.range()], &self.path);
        if loaded.program.is_none() {
            let errors = loaded.findings.into_iter().filter(|finding| finding.severity == Severity::Error);
            self.findings.extend(errors.map(|finding| moved(finding, layout.start as usize)));
        }
        loaded.program
    }

    /// The program of the layout beside the file, which the scene at `span` is about.
    fn beside(&mut self, span: Span) -> Option<Arc<Program>> {
        if self.beside.is_none() {
            match load(&self.path.with_extension("layout")) {
                Ok(loaded) => self.beside = Some(loaded),
                Err(problem) => self.findings.push(
                    Finding::error("no layout", span, problem.to_string())
                        .label("a scene of that layout")
                        .help("call the file of scenes as its layout, or write a layout below the scene, behind an empty line"),
                ),
            }
        }
        self.beside.as_ref()?.program.clone()
    }
}

/// A finding that stands so many bytes further on.
fn moved(mut finding: Finding, by: usize) -> Finding {
    let further = |span: Span| Span::new(span.start as usize + by, span.end as usize + by);
    finding.span = further(finding.span);
    finding.related.iter_mut().for_each(|(span, _)| *span = further(*span));
    finding
}

/// A scene as it is written.
struct Section<'a> {
    name: &'a str,
    /// Where the name stands.
    span: Span,
    /// The settings, each with the place of what stands behind its word.
    settings: Vec<(Word, &'a str, usize)>,
    /// Where its own layout stands.
    layout: Option<Span>,
}

/// What the lines are that are being read.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Before,
    Settings,
    /// What stands behind the empty line, and begins here.
    Layout(usize),
}

fn sections(text: &str) -> (Vec<Section<'_>>, Vec<Finding>) {
    let (mut sections, mut findings) = (Vec::<Section<'_>>::new(), Vec::new());
    let mut part = Part::Before;
    let mut next = 0;
    for line in text.split_inclusive('\n') {
        let start = next;
        next += line.len();
        let written = line.trim();
        let at = start + (line.len() - line.trim_start().len());
        let whole = Span::new(at, at + written.len());
        if written.strip_prefix("---").is_some_and(|rest| rest.is_empty() || rest.starts_with(char::is_whitespace)) {
            if sections.len() == MOST_SCENES {
                let finding = Finding::error("too many scenes", whole, format!("more than {MOST_SCENES} scenes"));
                findings.push(finding.help("put some of them into another file"));
                break;
            }
            sections.push(begun(written, whole, &sections, &mut findings));
            part = Part::Settings;
            continue;
        }
        let is_empty = written.is_empty();
        match (part, sections.last_mut()) {
            (Part::Settings, Some(_)) if is_empty => part = Part::Layout(next),
            _ if is_empty || written.starts_with('#') => {}
            (Part::Settings, Some(section)) => setting(written, at, section, &mut findings),
            (Part::Layout(begin), Some(section)) => {
                let first = written.split(char::is_whitespace).next().unwrap_or_default();
                match &mut section.layout {
                    Some(layout) => layout.end = whole.end,
                    None if first != "screen" && Word::of(first).is_some() => {
                        findings.push(
                            Finding::error(
                                "unknown statement",
                                whole,
                                format!("`{first}` stands behind an empty line, where a layout begins"),
                            )
                            .help("take out the empty line above"),
                        );
                        part = Part::Settings;
                    }
                    None => section.layout = Some(Span::new(begin, whole.end as usize)),
                }
            }
            // One mistake: where scenes do not begin, nothing is one.
            _ if findings.is_empty() => findings.push(
                Finding::error("unknown statement", whole, "expected a scene before anything else")
                    .help("begin each scene with a line such as `--- usual`; a comment begins with `#`"),
            ),
            _ => {}
        }
    }
    (sections, findings)
}

/// The scene that a line with three hyphens begins.
fn begun<'a>(line: &'a str, whole: Span, before: &[Section<'_>], findings: &mut Vec<Finding>) -> Section<'a> {
    let name = line[3..].trim();
    let span = Span::new(whole.end as usize - name.len(), whole.end as usize);
    let good = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
    if name.is_empty() || name.chars().count() > LONGEST_NAME || !name.chars().all(good) {
        findings.push(
            Finding::error("bad scene name", whole, "a scene's name is a word of letters, digits, `-` and `_`")
                .help("its picture is called so: write, for example, `--- usual`"),
        );
    } else if let Some(first) = before.iter().find(|section| section.name == name) {
        findings.push(
            Finding::error("name given twice", span, format!("two scenes are called `{name}`"))
                .related(first.span, "first here"),
        );
    }
    Section { name, span, settings: Vec::new(), layout: None }
}

/// Takes a setting's line, which begins at the byte `at`, into its scene.
fn setting<'a>(line: &'a str, at: usize, section: &mut Section<'a>, findings: &mut Vec<Finding>) {
    let name = line.split(char::is_whitespace).next().unwrap_or_default();
    let span = Span::new(at, at + name.len());
    let behind = line[name.len()..].trim_start();
    let Some(word) = Word::of(name) else {
        let words = Word::ALL.map(Word::name);
        let help = match nearest(name, words) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("a line of a scene begins with one of {}", words.join(", ")),
        };
        findings.push(Finding::error("unknown statement", span, format!("a scene knows no `{name}`")).help(help));
        return;
    };
    let key = |word: Word, text: &'a str| (word, text.split_once('=').map(|(reading, _)| reading.trim()));
    if let Some((_, _, first)) = section.settings.iter().find(|(other, text, _)| key(*other, text) == key(word, behind))
    {
        findings.push(
            Finding::error("argument given twice", span, format!("`{name}` is said twice of the same"))
                .related(Span::new(*first, *first), "first here"),
        );
        return;
    }
    section.settings.push((word, behind, at + line.len() - behind.len()));
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use crate::language::report::line_and_column;

    use super::*;

    const GOOD: &str = "# Beside the brine room's door.\n\
        --- usual\n\
        set temp=-1.5\n\
        # It was heard a while ago.\n\
        age temp=20s\n\
        \n\
        panel 128x32\n\
        reading temp from: \"cellar/brine/climate\" unit: °C range: -5..30 stale: 45s\n\
        screen door { text \"{temp:.1}° {age(temp)}\" size: 9 }\n\
        \n\
        # And again.\n\
        --- waiting\n\
        \n\
        panel 128x32\n\
        screen door { text \"{clock(\"%H:%M\")}\" size: 9 }\n";

    fn understood(text: &str) -> Scenes {
        understand(text.as_bytes(), Path::new("no-such.scenes"))
    }

    /// What is wrong, each with its place.
    fn wrong(text: &str) -> Vec<(&'static str, usize, usize)> {
        let scenes = understood(text);
        assert!(!scenes.is_whole());
        let place = |finding: &Finding| line_and_column(&scenes.text, finding.span.start as usize);
        scenes.findings.iter().map(|one| (one.name, place(one).line, place(one).column)).collect()
    }

    #[test]
    fn a_scene_shows_what_it_says() {
        let scenes = understood(GOOD);
        assert_eq!(scenes.report(false), "");
        let said: Vec<String> =
            scenes.scenes.iter().map(|scene| format!("{}: {}", scene.name, scene.draw().words()[0].content)).collect();
        assert_eq!(said, ["usual: −1.5° 20 s", "waiting: 14:05"]);
    }

    #[test]
    fn each_mistake_is_found_at_its_place() {
        let layout = "\n\npanel 128x32\nscreen s { text \"Brine\" }\n";
        for (text, expected) in [
            ("set temp=1\nset rh=1\n".to_string(), ("unknown statement", 1, 1)),
            (format!("--- a b{layout}"), ("bad scene name", 1, 1)),
            (format!("---{layout}"), ("bad scene name", 1, 1)),
            (format!("--- ../a{layout}"), ("bad scene name", 1, 1)),
            (format!("--- a{layout}--- a{layout}"), ("name given twice", 5, 5)),
            (format!("--- a\n sett x=1{layout}"), ("unknown statement", 2, 2)),
            (format!("--- a\nset  temo=1{layout}"), ("unknown name", 2, 6)),
            (format!("--- a\nscreen s\nscreen  t{layout}"), ("argument given twice", 3, 1)),
            ("--- a\n\nset temp=1\n\npanel 128x32\nscreen s { rule }\n".to_string(), ("unknown statement", 3, 1)),
            ("--- a\n\n# A door.\npanel 128x32\nscreen s { txt \"a\" }\n".to_string(), ("unknown statement", 5, 12)),
            ("--- a\n--- b\n".to_string(), ("no layout", 1, 5)),
        ] {
            assert_eq!(wrong(&text), [expected], "{text}");
        }
    }

    #[test]
    fn a_file_has_a_bound() {
        let many = "--- a\n".repeat(MOST_SCENES + 1);
        assert!(wrong(&many).len() <= language::MAX_FINDINGS);
        let distinct: String = (0..=MOST_SCENES).map(|number| format!("--- {number}\n")).collect();
        assert!(wrong(&distinct).contains(&("too many scenes", MOST_SCENES + 1, 1)));
        assert_eq!(understand(&[b'-', 0xb0], Path::new("a.scenes")).findings[0].name, "not text");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

        /// Pieces of a good file in any order, with noise between: every finding has its place within the text.
        #[test]
        fn no_damage_is_met_with_a_panic(pieces in prop::collection::vec((0..GOOD.len(), 0..60usize, "\\PC{0,3}"), 0..8)) {
            let cut = |at: usize| (at..=GOOD.len()).find(|at| GOOD.is_char_boundary(*at)).unwrap_or(GOOD.len());
            let text: String =
                pieces.iter().map(|(from, length, noise)| format!("{}{noise}", &GOOD[cut(*from)..cut(*from + *length)])).collect();
            let scenes = understood(&text);
            for finding in &scenes.findings {
                prop_assert!(finding.span.start <= finding.span.end && finding.span.end as usize <= text.len());
            }
            scenes.report(false);
        }
    }
}
