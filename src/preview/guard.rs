//! Who may ask: this machine's own browser, on this page, and nobody else.
//!
//! What enters are a request's headers; what leaves is a refusal in words, or the headers that each answer carries. A page of somewhere
//! else can make a browser send requests here, also under a name of its own that leads to 127.0.0.1 (DNS rebinding); both tell by their
//! `Host` and `Origin` (RFC 9110, section 7.2; RFC 6454, section 7) and by `Sec-Fetch-Site` (W3C, Fetch Metadata).

use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue};

/// Nothing but what the program serves itself, no script or style within the page, no frame around it.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What each answer says besides its content.
pub const HEADERS: [(HeaderName, HeaderValue); 7] = [
    (header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY)),
    (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (header::X_FRAME_OPTIONS, HeaderValue::from_static("DENY")),
    (header::REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
    (HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin")),
    (HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin")),
];

/// Why a request is refused, if it is.
pub fn refusal(headers: &HeaderMap, port: u16) -> Option<&'static str> {
    // The one place that both an address bar and a page of ours can name.
    let here = |name: &[u8]| ["127.0.0.1", "localhost"].iter().any(|host| name == format!("{host}:{port}").as_bytes());
    let mut hosts = headers.get_all(header::HOST).iter();
    if !hosts.next().is_some_and(|host| here(host.as_bytes())) || hosts.next().is_some() {
        return Some(
            "this page answers to 127.0.0.1 and localhost with its own port only; open the address that was printed",
        );
    }
    let foreign = |origin: &HeaderValue| !origin.as_bytes().strip_prefix(b"http://").is_some_and(here);
    if headers.get_all(header::ORIGIN).iter().any(foreign) {
        return Some("a page of somewhere else asked for this, and gets nothing");
    }
    let site = |site: &HeaderValue| !matches!(site.as_bytes(), b"same-origin" | b"none");
    if headers.get_all("sec-fetch-site").iter().any(site) {
        return Some("a page of somewhere else asked for this, and gets nothing");
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(lines: &[(&'static str, &'static str)]) -> bool {
        let mut headers = HeaderMap::new();
        for (name, value) in lines {
            headers.append(HeaderName::from_static(name), HeaderValue::from_static(value));
        }
        refusal(&headers, 8080).is_none()
    }

    #[test]
    fn only_the_own_page_and_an_address_bar_are_served() {
        for (lines, served) in [
            (&[("host", "127.0.0.1:8080")][..], true),
            (&[("host", "localhost:8080"), ("origin", "http://localhost:8080")], true),
            (&[("host", "127.0.0.1:8080"), ("sec-fetch-site", "none")], true),
            (&[("host", "127.0.0.1:8080"), ("sec-fetch-site", "same-origin")], true),
            (&[], false),
            (&[("host", "127.0.0.1")], false),
            (&[("host", "127.0.0.1:8081")], false),
            (&[("host", "cellar.example:8080")], false),
            (&[("host", "127.0.0.1.cellar.example:8080")], false),
            (&[("host", "127.0.0.1:8080"), ("host", "cellar.example:8080")], false),
            (&[("host", "127.0.0.1:8080"), ("origin", "http://cellar.example")], false),
            (&[("host", "127.0.0.1:8080"), ("origin", "https://127.0.0.1:8080")], false),
            (&[("host", "127.0.0.1:8080"), ("origin", "null")], false),
            (&[("host", "127.0.0.1:8080"), ("sec-fetch-site", "cross-site")], false),
            (&[("host", "127.0.0.1:8080"), ("sec-fetch-site", "same-site")], false),
        ] {
            assert_eq!(asked(lines), served, "{lines:?}");
        }
    }
}
