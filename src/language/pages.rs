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
