//! A recording on disk: lines, compressed where the name ends in `.gz`, readable up to the last flush whatever ends the writer.
//!
//! What enters are entries, or a file; what leaves is the other. A gzip stream (RFC 1952) is flushed to a byte boundary, so that all
//! that was written before can be unpacked without its end. A file that ends within a line is read up to there, and says so.

use std::cell::Cell;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::rc::Rc;

use flate2::Compression;
use flate2::bufread::MultiGzDecoder;
use flate2::write::GzEncoder;

use super::entry::{Entry, Header, LineError};

/// No line is longer: a topic and a payload at their largest, each byte escaped.
const MOST_LINE: u64 = 1 << 20;
/// The first bytes of a gzip member (RFC 1952, section 2.3.1).
const GZIP: [u8; 2] = [0x1f, 0x8b];

/// Why a file is no recording.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// It cannot be read.
    #[error("cannot read {}: {problem}", path.display())]
    Read {
        /// Which file.
        path: PathBuf,
        /// The system's words.
        problem: io::Error,
    },
    /// It ends before its first line does.
    #[error("{}: the recording ends before its first line does: nothing is in it", path.display())]
    Empty {
        /// Which file.
        path: PathBuf,
    },
    /// Its first line is no recording's.
    #[error("{}: {problem}", path.display())]
    Header {
        /// Which file.
        path: PathBuf,
        /// What is wrong.
        problem: LineError,
    },
}

/// Why reading cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file cannot be read, or its compression is damaged.
    #[error("line {line}: cannot read on: {problem}")]
    Read {
        /// The line, from 1.
        line: u64,
        /// The words of the system or of the library.
        problem: io::Error,
    },
    /// A line is none of a recording.
    #[error("line {line}: {problem}")]
    Line {
        /// The line, from 1.
        line: u64,
        /// What is wrong.
        problem: LineError,
    },
    /// A line is earlier than the one before.
    #[error("line {line}: its time is before that of the line above: a recording goes forward only")]
    Backward {
        /// The line, from 1.
        line: u64,
    },
}

/// Where a recording ends before it should, after a kill or on a full disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cut {
    /// The line that is not whole, from 1.
    pub line: u64,
}

/// Reads entries one after the other; memory does not depend on the length of the file.
pub struct Reader<R> {
    input: R,
    progress: Progress,
    header: Header,
    line: u64,
    last: jiff::Timestamp,
    buffer: Vec<u8>,
    cut: Option<Cut>,
    over: bool,
}

/// How much of a file has been read.
#[derive(Clone, Debug, Default)]
struct Progress {
    read: Rc<Cell<u64>>,
    whole: u64,
}

/// A file that tells how much of it was read.
struct Told {
    file: File,
    read: Rc<Cell<u64>>,
}

impl Read for Told {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let bytes = self.file.read(buffer)?;
        self.read.set(self.read.get() + bytes as u64);
        Ok(bytes)
    }
}

/// Opens a recording, compressed or not, whatever its name.
///
/// # Errors
/// [`OpenError`] if there is none.
pub fn open(path: &Path) -> Result<Reader<Box<dyn BufRead>>, OpenError> {
    let failed = |problem| OpenError::Read { path: path.into(), problem };
    let file = File::open(path).map_err(failed)?;
    let progress = Progress { read: Rc::default(), whole: file.metadata().map_err(failed)?.len() };
    let mut file = BufReader::new(Told { file, read: Rc::clone(&progress.read) });
    let packed = file.fill_buf().map_err(failed)?.starts_with(&GZIP);
    let input: Box<dyn BufRead> =
        if packed { Box::new(BufReader::new(MultiGzDecoder::new(file))) } else { Box::new(file) };
    let reader = Reader::new(input).map(|reader| Reader { progress, ..reader });
    reader.map_err(|problem| match problem {
        None => OpenError::Empty { path: path.into() },
        Some(ReadError::Line { problem, .. }) => OpenError::Header { path: path.into(), problem },
        Some(ReadError::Read { problem, .. }) => failed(problem),
        Some(ReadError::Backward { .. }) => OpenError::Header { path: path.into(), problem: LineError::Format },
    })
}

impl<R: BufRead> Reader<R> {
    /// A recording from any source of bytes. No error at all means that the source ends within its first line.
    ///
    /// # Errors
    /// [`ReadError`] if the first line cannot be read or is no recording's.
    pub fn new(input: R) -> Result<Self, Option<ReadError>> {
        let begun = crate::recording::Stamp { time: jiff::Timestamp::UNIX_EPOCH, offset: jiff::tz::Offset::UTC };
        let header = Header { begun, filters: Vec::new() };
        let mut reader = Self {
            input,
            progress: Progress::default(),
            header,
            line: 0,
            last: begun.time,
            buffer: Vec::new(),
            cut: None,
            over: false,
        };
        if !reader.advance().map_err(Some)? {
            return Err(None);
        }
        match Header::parse(&reader.buffer) {
            Ok(header) => {
                reader.last = header.begun.time;
                reader.header = header;
                Ok(reader)
            }
            Err(_) if !reader.buffer.ends_with(b"\n") => Err(None),
            Err(problem) => Err(Some(ReadError::Line { line: 1, problem })),
        }
    }

    /// The first line.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// How much of the file has been read, from 0 to 1; nothing where that cannot be known.
    pub fn progress(&self) -> Option<f64> {
        let Progress { read, whole } = &self.progress;
        (*whole > 0).then(|| (read.get() as f64 / *whole as f64).min(1.0))
    }

    /// Where the recording was cut off, once that has been reached.
    pub fn cut(&self) -> Option<Cut> {
        self.cut
    }

    /// Reads the next line into the buffer; false at the end.
    fn advance(&mut self) -> Result<bool, ReadError> {
        self.buffer.clear();
        self.line += 1;
        let mut line = Read::take(&mut self.input, MOST_LINE);
        match line.read_until(b'\n', &mut self.buffer) {
            Ok(0) => return Ok(false),
            Ok(_) => {}
            // A compressed file that was not ended: what came before was unpacked, and here may be the begin of a line.
            Err(problem) if problem.kind() == io::ErrorKind::UnexpectedEof => {
                self.cut = Some(Cut { line: self.line });
                return Ok(!self.buffer.is_empty());
            }
            Err(problem) => return Err(ReadError::Read { line: self.line, problem }),
        }
        Ok(true)
    }

    fn read(&mut self) -> Result<Option<Entry>, ReadError> {
        if !self.advance()? {
            return Ok(None);
        }
        let line = self.line;
        match Entry::parse(&self.buffer) {
            Ok(entry) if entry.at.time < self.last => Err(ReadError::Backward { line }),
            Ok(entry) => {
                self.last = entry.at.time;
                Ok(Some(entry))
            }
            Err(_) if !self.buffer.ends_with(b"\n") && (self.buffer.len() as u64) < MOST_LINE => {
                self.cut = Some(Cut { line });
                Ok(None)
            }
            Err(problem) => Err(ReadError::Line { line, problem }),
        }
    }
}

impl<R: BufRead> Iterator for Reader<R> {
    type Item = Result<Entry, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let next = self.read().transpose();
        self.over = !matches!(next, Some(Ok(_)));
        next
    }
}

/// Writes a recording. What was flushed is there whatever happens then.
pub struct Writer {
    output: Output,
    messages: u64,
    unflushed: bool,
}

enum Output {
    Plain(BufWriter<Counting>),
    Packed(GzEncoder<BufWriter<Counting>>),
}

/// A file that knows how much was written to it.
struct Counting {
    file: File,
    bytes: u64,
}

impl Write for Counting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Output {
    fn writer(&mut self) -> &mut dyn Write {
        match self {
            Self::Plain(output) => output,
            Self::Packed(output) => output,
        }
    }

    fn counting(&self) -> &Counting {
        match self {
            Self::Plain(output) => output.get_ref(),
            Self::Packed(output) => output.get_ref().get_ref(),
        }
    }
}

impl Writer {
    /// Begins a recording in a file, which must not be there unless it is to be overwritten; the first line is in it at once.
    ///
    /// # Errors
    /// The system's.
    pub fn create(path: &Path, overwrite: bool, header: &Header) -> io::Result<Self> {
        let mut options = OpenOptions::new();
        options.write(true);
        let file = if overwrite { options.create(true).truncate(true) } else { options.create_new(true) }.open(path)?;
        let output = BufWriter::new(Counting { file, bytes: 0 });
        let packed = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("gz"));
        let output =
            if packed { Output::Packed(GzEncoder::new(output, Compression::default())) } else { Output::Plain(output) };
        let mut writer = Self { output, messages: 0, unflushed: false };
        writer.line(header.to_line())?;
        writer.flush()?;
        Ok(writer)
    }

    /// Adds a line.
    ///
    /// # Errors
    /// The system's; the file can be read up to what was flushed before, and often further.
    pub fn write(&mut self, entry: &Entry) -> io::Result<()> {
        self.line(entry.to_line())?;
        self.messages += u64::from(matches!(entry.heard, super::Heard::Message(_) | super::Heard::Oversized { .. }));
        Ok(())
    }

    fn line(&mut self, mut line: String) -> io::Result<()> {
        line.push('\n');
        self.unflushed = true;
        self.output.writer().write_all(line.as_bytes())
    }

    /// Hands over to the system all that was written; nothing is done if that is the case already.
    ///
    /// # Errors
    /// The system's.
    pub fn flush(&mut self) -> io::Result<()> {
        if std::mem::take(&mut self.unflushed) { self.output.writer().flush() } else { Ok(()) }
    }

    /// How many messages were written.
    pub fn messages(&self) -> u64 {
        self.messages
    }

    /// How many bytes the file has, without what waits to be flushed.
    pub fn bytes(&self) -> u64 {
        self.output.counting().bytes
    }

    /// Ends the recording and waits until the disk has it; gives its size in bytes.
    ///
    /// # Errors
    /// The system's.
    pub fn finish(self) -> io::Result<u64> {
        let output = match self.output {
            Output::Plain(output) => output,
            Output::Packed(output) => output.finish()?,
        };
        let counting = output.into_inner().map_err(io::IntoInnerError::into_error)?;
        match counting.file.sync_all() {
            // A device or a pipe has nothing to be synced.
            Err(problem) if problem.kind() == io::ErrorKind::InvalidInput => {}
            synced => synced?,
        }
        Ok(counting.bytes)
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use jiff::tz::Offset;

    use super::*;
    use crate::feed::{Delivery, Message};
    use crate::recording::{Heard, Stamp};

    fn stamp(second: i64) -> Stamp {
        Stamp { time: Timestamp::from_second(1_795_000_000 + second).unwrap(), offset: Offset::UTC }
    }

    fn entry(second: i64) -> Entry {
        let topic = "cellar/ripening/climate".into();
        let payload = format!("12.{},91.0", second % 10).into_bytes();
        let message = Message { topic, payload, retained: false, delivery: Delivery::AtMostOnce };
        Entry { at: stamp(second), heard: Heard::Message(message) }
    }

    fn header() -> Header {
        Header { begun: stamp(0), filters: vec!["cellar/#".into()] }
    }

    /// A recording of so many messages, flushed after every tenth; and its bytes as they stood after each flush.
    fn recorded(name: &str, count: i64) -> (Vec<u8>, Vec<(u64, usize)>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        let mut writer = Writer::create(&path, false, &header()).unwrap();
        let mut flushed = vec![(writer.bytes(), 0)];
        for second in 1..=count {
            writer.write(&entry(second)).unwrap();
            if second % 10 == 0 {
                writer.flush().unwrap();
                flushed.push((writer.bytes(), second as usize));
            }
        }
        assert_eq!(writer.messages(), count as u64);
        let bytes = writer.finish().unwrap();
        let written = std::fs::read(&path).unwrap();
        assert_eq!(written.len() as u64, bytes);
        (written, flushed)
    }

    /// The entries of a file with these bytes, and whether it was cut; `None` if not even its first line is there.
    fn read(bytes: &[u8]) -> Option<(Vec<Entry>, bool)> {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), bytes).unwrap();
        let mut reader = match open(file.path()) {
            Ok(reader) => reader,
            Err(OpenError::Empty { .. }) => return None,
            Err(problem) => panic!("{problem}"),
        };
        assert_eq!(reader.header(), &header());
        let entries = reader.by_ref().collect::<Result<_, _>>().unwrap();
        Some((entries, reader.cut().is_some()))
    }

    #[test]
    fn what_was_written_is_read_and_gzip_is_smaller() {
        let wanted: Vec<Entry> = (1..=200).map(entry).collect();
        let (plain, packed) = (recorded("a.jsonl", 200).0, recorded("a.jsonl.gz", 200).0);
        assert!(packed.len() * 4 < plain.len(), "{} of {}", packed.len(), plain.len());
        for bytes in [plain, packed] {
            assert_eq!(read(&bytes), Some((wanted.clone(), false)));
        }
    }

    /// Whatever byte a kill leaves as the last one.
    #[test]
    fn a_file_cut_anywhere_is_read_up_to_there() {
        for name in ["a.jsonl", "a.jsonl.gz"] {
            let (bytes, flushed) = recorded(name, 60);
            for end in 0..bytes.len() {
                let least = flushed.iter().rev().find(|(at, _)| *at <= end as u64).map(|(_, messages)| *messages);
                let Some((entries, cut)) = read(&bytes[..end]) else {
                    assert_eq!(least, None, "{name}: {end} bytes");
                    continue;
                };
                assert!(entries.len() >= least.unwrap_or(0), "{name}: {end} bytes give {}", entries.len());
                let wanted: Vec<Entry> = (1..=entries.len() as i64).map(entry).collect();
                assert_eq!(entries, wanted, "{name}: {end} bytes");
                // Without compression a file may end between two lines, as one that was not cut does.
                assert!(cut || name == "a.jsonl", "{name}: {end} bytes");
            }
        }
    }

    #[test]
    fn a_file_that_is_there_is_not_overwritten_unasked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        Writer::create(&path, false, &header()).unwrap().finish().unwrap();
        let refused = Writer::create(&path, false, &header()).err().map(|problem| problem.kind());
        assert_eq!(refused, Some(io::ErrorKind::AlreadyExists));
        assert!(Writer::create(&path, true, &header()).is_ok());
    }

    #[test]
    fn a_damaged_line_is_named_and_so_is_time_that_runs_backward() {
        let lines = |more: &[String]| [&[header().to_line()], more].concat().join("\n") + "\n";
        let problem = |text: String| {
            let reader = Reader::new(text.as_bytes()).unwrap_or_else(|_| panic!("a header"));
            reader.collect::<Result<Vec<_>, _>>().unwrap_err().to_string()
        };
        let damaged = problem(lines(&[entry(1).to_line(), "{\"time\"".into(), entry(2).to_line()]));
        assert!(damaged.starts_with("line 3: this is no line of a recording"), "{damaged}");
        let backward = problem(lines(&[entry(2).to_line(), entry(1).to_line()]));
        assert!(backward.starts_with("line 3: its time is before"), "{backward}");
    }
}
