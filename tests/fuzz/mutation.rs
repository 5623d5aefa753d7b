//! Damage to good inputs, without knowledge of the code that reads them.
//!
//! What enters are first inputs, words and randomness; what leaves are bytes. The same seed always gives the same bytes.

/// The largest input that is made.
const MOST: usize = 16 * 1024;

/// Numbers that are often the last good one or the first bad one.
const EDGES: [u8; 10] = [0x00, 0x01, 0x7f, 0x80, 0xff, 0xfe, b'0', b'9', b'-', b'\n'];

/// What means something somewhere in each kind of input.
pub const WORDS: &[&str] = &[
    "{",
    "}",
    "[",
    "]",
    "(",
    ")",
    "\"",
    ",",
    ":",
    "\n",
    "\n\n",
    " ",
    "/",
    "~0",
    "~1",
    "-1",
    "0",
    "1e308",
    "-1e999",
    "1e-400",
    "NaN",
    "inf",
    "18446744073709551616",
    "-9223372036854775808",
    "0.1",
    "999999999999",
    "0..0",
    "5..1°C",
    "%",
    "°C",
    "128x32",
    "fit",
    "text",
    "bar",
    "trend",
    "icon",
    "columns",
    "grid",
    "overlay",
    "frame",
    "each",
    "when:",
    "size:",
    "width: 100%",
    "height: 1",
    "at: (127, 31)",
    "gap: 128",
    "over:",
    "for:",
    "temp",
    "temp / 0",
    "\"{clock(\"%A\")}\"",
    "\"{temp:032.6}\"",
    "range: -1000000..1000000",
    "segments: 64",
    "if temp > 1 then 2 else 3",
    "mean(temp, 31d)",
    "--- a",
    "set",
    "state",
    "null",
    "true",
    "\"n\"",
    "\"v\"",
    "\"bn\"",
    "\"bt\"",
    "\"bu\"",
    "\"s\"",
    "\\u0000",
    "\\ud800",
    "\u{feff}",
    "\u{202e}",
    "\u{1b}[2J",
    "[broker]",
    "[[panel]]",
    "url = \"mqtt://b\"",
    "place = \"picture:a.png\"",
    "STARTCHAR",
    "ENCODING",
    "BBX",
    "BITMAP",
    "ENDCHAR",
    "ENDFONT",
    "DWIDTH",
    "FONTBOUNDINGBOX",
    "glyf",
    "loca",
    "head",
    "hhea",
    "cmap",
    "CFF ",
];

/// One damaged input out of good ones.
pub fn mutated(corpus: &[Vec<u8>], random: &mut fastrand::Rng) -> Vec<u8> {
    let Some(first) = random.choice(corpus) else { return noise(random) };
    let mut bytes = first.clone();
    for _ in 0..random.u32(1..=6) {
        damage(&mut bytes, corpus, random);
    }
    bytes.truncate(MOST.max(first.len()));
    bytes
}

fn noise(random: &mut fastrand::Rng) -> Vec<u8> {
    (0..random.usize(0..200)).map(|_| random.u8(..)).collect()
}

fn damage(bytes: &mut Vec<u8>, corpus: &[Vec<u8>], random: &mut fastrand::Rng) {
    let place = random.usize(0..=bytes.len());
    let end = (place + random.usize(0..=16)).min(bytes.len());
    match random.u32(0..10) {
        0 if place < bytes.len() => bytes[place] ^= 1 << random.u32(0..8),
        1 if place < bytes.len() => bytes[place] = random.u8(..),
        2 if place < bytes.len() => bytes[place] = EDGES[random.usize(0..EDGES.len())],
        // A number of two or four bytes at its edge.
        3 if place + 4 <= bytes.len() => {
            let edge = [0, 1, 0x7fff_ffff, 0x8000_0000, u32::MAX, 0xffff, 0x7fff][random.usize(0..7)];
            let width = [2, 4][random.usize(0..2)];
            let number = if random.bool() { edge.to_be_bytes() } else { edge.to_le_bytes() };
            bytes[place..place + width].copy_from_slice(&number[4 - width..]);
        }
        4 => drop(bytes.drain(place..end)),
        5 => bytes.truncate(place),
        6 => {
            let word = WORDS[random.usize(0..WORDS.len())];
            bytes.splice(place..if random.bool() { end } else { place }, word.bytes());
        }
        // The same once more, up to some hundred times.
        7 if place < end => {
            let times = 1 << random.u32(0..9);
            let again = bytes[place..end].repeat(times);
            bytes.splice(end..end, again);
        }
        // A piece of another one.
        8 => {
            let other = &corpus[random.usize(0..corpus.len())];
            let from = random.usize(0..=other.len());
            let to = (from + random.usize(0..=64)).min(other.len());
            bytes.splice(place..end, other[from..to].iter().copied());
        }
        _ => {
            let more = noise(random);
            bytes.splice(place..place, more.into_iter().take(8));
        }
    }
    bytes.truncate(4 * MOST);
}
