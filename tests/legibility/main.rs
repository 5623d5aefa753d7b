//! Whether numbers can be read: by a model of the eye at the distance that the program states, and by a machine that reads print.
//!
//! What enters are the strikes of the built-in faces; what fails is named by strike and digit. Run with `--nocapture` for the tables.

mod eye;
mod machine;
mod soft;

use std::sync::Arc;

use sidelight::draw::{Bitmap, Frame, Ink, Point, Size, advance, draw_text};
use sidelight::faces::{Catalogue, Strike, icons};

/// Every strike that sets text and numbers.
fn strikes() -> Vec<Arc<Strike>> {
    let catalogue = Catalogue::new();
    let families: Vec<&str> = catalogue.families().filter(|family| *family != icons::FAMILY).collect();
    let of = |family: &str| -> Vec<Arc<Strike>> {
        let sizes = catalogue.sizes(family).unwrap();
        sizes.iter().map(|height| catalogue.strike(family, *height).unwrap()).collect()
    };
    families.into_iter().flat_map(of).collect()
}

/// `text` as the panel shows it, with the figure height and nothing else around it.
fn shown(strike: &Strike, text: &str) -> Bitmap {
    let size = Size::new(advance(strike, text).unsigned_abs(), strike.figure_height() + strike.descent());
    let mut frame = Frame::new(size);
    draw_text(&mut frame.whole(), strike, Point::new(0, strike.figure_height() as i32), text, Ink::Full);
    Bitmap::from_fn(size, |x, y| frame.pixel(Point::new(x as i32, y as i32)))
}
