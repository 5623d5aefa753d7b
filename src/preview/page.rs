//! The page's files, which are a part of the program: each path with its kind and its bytes.
//!
//! Nothing else is ever served as a file.

/// A file of the page.
pub struct File {
    /// Where it is asked for.
    pub path: &'static str,
    /// Its media type.
    pub kind: &'static str,
    /// What is in it.
    pub bytes: &'static str,
}

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// All files, `/` first.
pub const FILES: [File; 10] = [
    File { path: "/", kind: "text/html; charset=utf-8", bytes: include_str!("page/index.html") },
    File { path: "/page.css", kind: "text/css; charset=utf-8", bytes: include_str!("page/page.css") },
    File { path: "/mark.svg", kind: "image/svg+xml", bytes: include_str!("page/mark.svg") },
    File { path: "/page.js", kind: SCRIPT, bytes: include_str!("page/page.js") },
    File { path: "/panel.js", kind: SCRIPT, bytes: include_str!("page/panel.js") },
    File { path: "/pointer.js", kind: SCRIPT, bytes: include_str!("page/pointer.js") },
    File { path: "/controls.js", kind: SCRIPT, bytes: include_str!("page/controls.js") },
    File { path: "/replay.js", kind: SCRIPT, bytes: include_str!("page/replay.js") },
    File { path: "/source.js", kind: SCRIPT, bytes: include_str!("page/source.js") },
    File { path: "/tables.js", kind: SCRIPT, bytes: include_str!("page/tables.js") },
];
