//! A panel in a terminal: the glass in half blocks and a few lines below it, redrawn in place.
//!
//! What enters are frames and lines; what leaves are characters and the escape sequences of ECMA-48 and of the alternate screen
//! (common practice). However it ends, by error or panic too, the terminal is as it was before.

use std::io::{self, Write};

use crate::draw::{Frame, picture};

/// Alternate screen, no cursor, lines cut off rather than wrapped; and all of it back.
const ENTER: &str = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J";
/// What gives the terminal back. A panic hook may write it too: twice does no harm.
pub const LEAVE: &str = "\x1b[?7h\x1b[?25h\x1b[?1049l";

/// A terminal that shows a glass; dropping it gives the terminal back.
#[derive(Debug)]
pub struct Terminal<W: Write> {
    out: W,
    glass: Option<Frame>,
    lines: Vec<String>,
}

impl<W: Write> Terminal<W> {
    /// Takes over a terminal.
    ///
    /// # Errors
    /// The terminal's, if it cannot be written to.
    pub fn enter(out: W) -> io::Result<Self> {
        let mut terminal = Self { out, glass: None, lines: Vec::new() };
        terminal.write(ENTER)?;
        Ok(terminal)
    }

    /// Shows another glass.
    ///
    /// # Errors
    /// The terminal's: it is gone.
    pub fn show(&mut self, glass: &Frame) -> io::Result<()> {
        self.glass = Some(glass.clone());
        self.redraw()
    }

    /// Shows other lines below the glass.
    ///
    /// # Errors
    /// The terminal's: it is gone.
    pub fn tell(&mut self, lines: Vec<String>) -> io::Result<()> {
        self.lines = lines;
        self.redraw()
    }

    fn redraw(&mut self) -> io::Result<()> {
        let mut page = String::from("\x1b[H");
        let mut line = |text: &str| {
            page.push_str(text);
            page.push_str("\x1b[K\r\n");
        };
        if let Some(glass) = &self.glass {
            let picture = picture::half_blocks(glass);
            let edge = "─".repeat(picture.lines().next().map_or(0, |row| row.chars().count()));
            line(&format!("┌{edge}┐"));
            picture.lines().for_each(|row| line(&format!("│{row}│")));
            line(&format!("└{edge}┘"));
        }
        for text in &self.lines {
            // What was published must not move the cursor.
            line(&text.replace(char::is_control, " "));
        }
        page.push_str("\x1b[J");
        self.write(&page)
    }

    fn write(&mut self, text: &str) -> io::Result<()> {
        self.out.write_all(text.as_bytes())?;
        self.out.flush()
    }
}

impl<W: Write> Drop for Terminal<W> {
    fn drop(&mut self) {
        // A terminal that is gone needs nothing back.
        let _ = self.write(LEAVE);
    }
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::rc::Rc;

    use super::*;

    /// What a terminal was sent.
    #[derive(Clone, Default)]
    struct Sent(Rc<RefCell<Vec<u8>>>);

    impl Sent {
        fn text(&self) -> String {
            String::from_utf8(self.0.borrow().clone()).unwrap()
        }
    }

    impl Write for Sent {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.borrow_mut().write(bytes)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn glass_and_lines_stand_below_each_other() {
        let sent = Sent::default();
        let mut terminal = Terminal::enter(sent.clone()).unwrap();
        terminal.show(&Frame::from_pattern(&["#.#", ".##"])).unwrap();
        sent.0.borrow_mut().clear();
        terminal.tell(vec!["cellar/brine/door\x1b[2Jopen".into()]).unwrap();
        let page = sent.text().replace("\x1b[K\r\n", "\n");
        assert_eq!(page, "\x1b[H┌───┐\n│▀▄█│\n└───┘\ncellar/brine/door [2Jopen\n\x1b[J");
    }

    #[test]
    fn the_terminal_is_given_back_after_a_panic_too() {
        let sent = Sent::default();
        let broken = catch_unwind(AssertUnwindSafe(|| {
            let _terminal = Terminal::enter(sent.clone()).unwrap();
            std::panic::resume_unwind(Box::new("broken"));
        }));
        assert!(broken.is_err() && sent.text().starts_with(ENTER) && sent.text().ends_with(LEAVE));
    }
}
