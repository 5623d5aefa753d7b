//! From the bytes of a font file to masks, with everything that a damaged or hostile file may do kept away from the caller.
//!
//! What enters are untrusted bytes and the wanted characters; what leaves is a mask and a width for each character that the face
//! has, or a typed error. The file is cut down first ([`super::sfnt`]), then read on a thread of its own, whose panic is an
//! error and whose lateness is another.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use fontdue::{Font, FontSettings};

use super::mask::{EM, Mask};
use super::sfnt::{Subset, subset};

/// The largest file that is read, in bytes.
pub(super) const MAX_BYTES: usize = 8 << 20;
/// The most characters beyond the usual ones.
pub(super) const MAX_MORE: usize = 1024;
/// How long a font may take: a hundred times what a large one takes on a small board.
pub(super) const PATIENCE: Duration = Duration::from_secs(5);
/// Threads that may be reading fonts at once; one that hangs is lost for good.
const MAX_READERS: usize = 16;
/// The largest glyph, in ems.
const MAX_GLYPH: f32 = 3.0;

/// What every outline face is asked for besides ASCII and Latin-1.
pub(super) const USUAL: &str = "−–—‒‰…←↑→↓↖↗↘↙ΔΩμ‘’“”€";

/// A thread's stack: outlines are read with a bounded depth.
const STACK: usize = 1 << 20;

/// Why a font file is no face.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OutlineError {
    /// The file is larger than what is read.
    #[error("the font has {0} bytes; at most {MAX_BYTES} are read")]
    TooLarge(usize),
    /// More characters than one face may hold.
    #[error("{0} characters beyond the usual ones are asked for; at most {MAX_MORE} are")]
    TooManyCharacters(usize),
    /// The bytes do not begin like a TrueType or OpenType file.
    #[error("this is no TrueType or OpenType font; web fonts have to be unpacked first")]
    NotAFont,
    /// The file ends within a table.
    #[error("the font is cut short in {0}")]
    Cut(&'static str),
    /// A table that every font needs is missing, or reaches beyond the end of the file.
    #[error("the font has no whole table `{0}`; it may be cut short")]
    NoTable(&'static str),
    /// No map from Unicode characters in format 4 or 12.
    #[error("the font has no map of Unicode characters")]
    NoCharacterMap,
    /// A number of units an em that no font has.
    #[error("the font has {0} units an em; 16 to 16384 are possible")]
    UnitsPerEm(u16),
    /// One glyph is larger or more involved than any letter has reason to be.
    #[error("the glyph for `{0}` {1}")]
    Glyph(char, &'static str),
    /// A digit is missing or blank.
    #[error("the font has no picture for the digit {0}")]
    NoDigit(char),
    /// Digits of no usual height.
    #[error("the digits of the font are {0} hundredths of an em tall; 30 to 150 can be used")]
    Figures(i32),
    /// Digits that differ in height, as old-style figures do.
    #[error("the digit {0} of the font is not as tall as its 1, 4 and 7; lining figures are needed")]
    OldStyle(char),
    /// The outlines could not be read.
    #[error("the outlines cannot be read: {0}")]
    Unreadable(String),
    /// Reading the font took too long and was given up.
    #[error("the font took more than {} s to read, and was given up; it is damaged or hostile", PATIENCE.as_secs())]
    TooSlow,
    /// Too many fonts that were given up before are still being read.
    #[error("too many fonts are being read; start again without the damaged one")]
    Busy,
}

/// A character as the file has it.
#[derive(Debug)]
pub(super) struct Master {
    pub character: char,
    /// None for a blank.
    pub mask: Option<Mask>,
    /// How far the pen moves, in mask pixels.
    pub advance: f32,
}

/// The characters of a font file, in ascending order.
pub(super) fn masters(bytes: &[u8], more: &str) -> Result<Vec<Master>, OutlineError> {
    if bytes.len() > MAX_BYTES {
        return Err(OutlineError::TooLarge(bytes.len()));
    }
    let more: BTreeSet<char> = more.chars().filter(|character| !character.is_control()).collect();
    if more.len() > MAX_MORE {
        return Err(OutlineError::TooManyCharacters(more.len()));
    }
    let wanted: BTreeSet<char> = (' '..='~').chain('\u{a0}'..='ÿ').chain(USUAL.chars()).chain(more).collect();
    let font = subset(bytes, wanted.iter().copied())?;
    aside(move || read(&font, &wanted))?
}

/// Runs `work` on a thread of its own and waits for it with patience. A panic there is an error here.
fn aside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, OutlineError> {
    static READERS: AtomicUsize = AtomicUsize::new(0);
    struct Reader;
    impl Drop for Reader {
        fn drop(&mut self) {
            READERS.fetch_sub(1, Ordering::Relaxed);
        }
    }
    if READERS.fetch_add(1, Ordering::Relaxed) >= MAX_READERS {
        drop(Reader);
        return Err(OutlineError::Busy);
    }
    let reader = Reader;
    let (send, receive) = mpsc::sync_channel(1);
    thread::Builder::new()
        .name("face".into())
        .stack_size(STACK)
        .spawn(move || {
            let _reader = reader;
            // Nobody waits any more if this fails.
            let _ = send.send(work());
        })
        .map_err(|error| OutlineError::Unreadable(error.to_string()))?;
    receive.recv_timeout(PATIENCE).map_err(|error| match error {
        RecvTimeoutError::Timeout => OutlineError::TooSlow,
        RecvTimeoutError::Disconnected => OutlineError::Unreadable("they contradict themselves".into()),
    })
}

fn read(subset: &Subset, wanted: &BTreeSet<char>) -> Result<Vec<Master>, OutlineError> {
    // The library cuts curves into lines until the triangle that a line leaves out is smaller than 6 units an em / scale square
    // units, twice over; this scale makes that eight square pixels of the mask.
    let em = EM as f32;
    let scale = 6.0 * em * em / (8.0 * f32::from(subset.units_per_em));
    let settings = FontSettings { collection_index: 0, scale, load_substitutions: false };
    let font = Font::from_bytes(&subset.bytes[..], settings).map_err(|error| OutlineError::Unreadable(error.into()))?;
    wanted
        .iter()
        .filter(|character| font.has_glyph(**character))
        .map(|character| {
            let metrics = font.metrics(*character, em);
            let bounds = metrics.bounds;
            let sides = [bounds.xmin, bounds.ymin, bounds.width, bounds.height, metrics.advance_width];
            // Written so that no number at all is refused as well.
            if !sides.iter().all(|side| side.abs() <= MAX_GLYPH * em) {
                return Err(OutlineError::Glyph(*character, "is larger than any letter"));
            }
            let (metrics, coverage) = font.rasterize(*character, em);
            let mask = Mask::from_coverage(metrics.xmin, metrics.ymin, metrics.width, &coverage);
            Ok(Master { character: *character, mask, advance: metrics.advance_width })
        })
        .collect()
}
