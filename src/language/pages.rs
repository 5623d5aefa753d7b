//! What each finding means: a page for every name, with an example and the ways out.
//!
//! What enters is a name; what leaves is its page. The pages stand in `findings.md`, which is a part of the program; tests check each
//! example, and that every name in the source has a page.

use std::sync::LazyLock;

/// The page of one kind of finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Page {
    /// The finding's name.
    pub name: &'static str,
    /// What it means, an example in a block of code, and the ways out.
    pub body: &'static str,
}

/// All pages, in the order of their names.
pub static PAGES: LazyLock<Vec<Page>> = LazyLock::new(|| {
    let sections = include_str!("findings.md").split("\n## ").skip(1);
    let page = |section: &'static str| {
        let (name, body) = section.split_once('\n').unwrap_or((section, ""));
        Page { name: name.trim(), body: body.trim() }
    };
    sections.map(page).collect()
});

/// The page of the finding with this name; case does not count.
pub fn find(name: &str) -> Option<&'static Page> {
    PAGES.iter().find(|page| page.name.eq_ignore_ascii_case(name.trim()))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::{Path, PathBuf};

    use super::*;

    /// The findings that no short layout gives: they are about the whole file's size, about a font file, about scenes, or a mistake of the
    /// program.
    const WITHOUT_EXAMPLE: [&str; 17] = [
        "bad scene name",
        "bad time",
        "cannot be arranged",
        "digits alike",
        "expression too long",
        "file too large",
        "nesting too deep",
        "no layout",
        "not text",
        "small outline",
        "stroke width",
        "too many copies",
        "too many elements",
        "too many findings",
        "too many scenes",
        "too many windows",
        "unexpected definition",
    ];

    fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                sources(&path, found);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                found.push(path);
            }
        }
    }

    /// The names that the program's source gives to findings, apart from those in tests.
    fn names_in_the_source() -> BTreeSet<String> {
        let mut files = Vec::new();
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
        let mut names = BTreeSet::new();
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap();
            let code = text.split("#[cfg(test)]").next().unwrap_or_default();
            for maker in ["Finding::error(", "Finding::warning("] {
                for made in code.split(maker).skip(1) {
                    let name = made.trim_start().strip_prefix('"').and_then(|rest| rest.split('"').next());
                    names
                        .insert(name.unwrap_or_else(|| panic!("{}: a name that is no literal", file.display())).into());
                }
            }
        }
        names
    }

    #[test]
    fn every_finding_has_a_page_and_every_page_a_finding() {
        let pages: Vec<&str> = PAGES.iter().map(|page| page.name).collect();
        assert!(pages.is_sorted(), "sort findings.md by name");
        assert_eq!(names_in_the_source(), pages.iter().map(|name| name.to_string()).collect());
    }

    /// What a recording says about a layout; nothing in a program without recordings.
    #[cfg_attr(not(feature = "recording"), expect(unused_variables))]
    fn against(layout: &str, recording: &str) -> Option<Vec<crate::language::Finding>> {
        #[cfg(feature = "recording")]
        {
            let reader = crate::recording::Reader::new(recording.as_bytes());
            let reader = reader.unwrap_or_else(|problem| panic!("{problem:?}"));
            let header = reader.header().clone();
            Some(crate::recording::against::findings(layout, &header, reader).unwrap())
        }
        #[cfg(not(feature = "recording"))]
        None
    }

    #[test]
    fn the_example_of_a_page_gives_its_finding_alone() {
        for page in PAGES.iter() {
            let example = page.body.split_once("```layout\n").and_then(|(_, rest)| rest.split_once("```"));
            assert_eq!(example.is_none(), WITHOUT_EXAMPLE.contains(&page.name), "{}", page.name);
            let Some((layout, ways_out)) = example else { continue };
            let mut found = crate::service::compile(layout.as_bytes(), Path::new("door.layout")).findings;
            let (recording, ways_out) = match ways_out.trim_start().strip_prefix("```recording\n") {
                Some(rest) => rest.split_once("```").map_or(("", rest), |(recording, rest)| (recording, rest)),
                None => ("", ways_out),
            };
            if !recording.is_empty() {
                assert_eq!(found, [], "{}: the layout alone has nothing wrong", page.name);
                match against(layout, recording) {
                    Some(more) => found.extend(more),
                    None => continue,
                }
            }
            let names: Vec<&str> = found.iter().map(|finding| finding.name).collect();
            assert_eq!(names, [page.name], "{layout}");
            assert!(ways_out.trim().len() > 20, "{}: say the ways out", page.name);
        }
    }

    #[test]
    fn the_example_of_a_page_about_scenes_gives_its_finding_alone() {
        let mut about_scenes = 0;
        for page in PAGES.iter() {
            let Some((_, example)) = page.body.split_once("```scenes\n") else { continue };
            let (scenes, ways_out) = example.split_once("```").unwrap();
            let found = crate::scenes::understand(scenes.as_bytes(), Path::new("no-such.scenes")).findings;
            let names: Vec<&str> = found.iter().map(|finding| finding.name).collect();
            assert_eq!(names, [page.name], "{scenes}");
            assert!(ways_out.trim().len() > 20, "{}: say the ways out", page.name);
            about_scenes += 1;
        }
        assert_eq!(about_scenes, 3);
    }

    #[test]
    fn a_page_is_found_whatever_the_case() {
        assert_eq!(find(" Does Not Fit").map(|page| page.name), Some("does not fit"));
        assert_eq!(find("does fit"), None);
    }
}
