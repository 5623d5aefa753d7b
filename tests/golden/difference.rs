//! What to look at when a picture differs: wanted, got and difference, in the terminal and as PNG.

use std::path::Path;

use embedded_graphics_core::geometry::OriginDimensions;
use sidelight::draw::{Frame, Point, Size, picture};

/// The picture of a module that hangs upside down, as somebody sees it who hangs there too.
pub fn turned(frame: &Frame) -> Frame {
    let Size { width, height } = frame.size();
    let mut turned = Frame::new(frame.size());
    for y in 0..height as i32 {
        for x in 0..width as i32 {
            turned.set_pixel(Point::new(x, y), frame.pixel(Point::new(width as i32 - 1 - x, height as i32 - 1 - y)));
        }
    }
    turned
}

/// Prints a case that differs, and writes the pictures, one above the other, below `folder`.
pub fn show(name: &str, wanted: Option<&Frame>, got: &Frame, folder: &Path) {
    let size = got.size();
    let dark = Frame::new(size);
    let known = wanted.unwrap_or(&dark);
    let mut difference = Frame::new(size);
    let mut together = Frame::new(Size::new(size.width, size.height * 3 + 8));
    for y in 0..size.height as i32 {
        for x in 0..size.width as i32 {
            let at = Point::new(x, y);
            let (wanted, got) = (known.pixel(at), got.pixel(at));
            difference.set_pixel(at, wanted != got);
            let below = |nth: i32| at + Point::new(0, nth * (size.height as i32 + 4));
            together.set_pixel(below(0), wanted);
            together.set_pixel(below(1), got);
            together.set_pixel(below(2), wanted != got);
        }
    }
    println!("--- {name}");
    match wanted {
        Some(wanted) => {
            print!("wanted:\n{}", picture::half_blocks(wanted));
            print!("got:\n{}", picture::half_blocks(got));
            print!("difference:\n{}", picture::half_blocks(&difference));
        }
        None => print!("no reference yet; got:\n{}", picture::half_blocks(got)),
    }
    let path = folder.join(format!("{name}.png"));
    let written = std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(&path, picture::png(&together, 4).map_err(std::io::Error::other)?));
    match written {
        Ok(()) => println!("wanted, got and difference are in {}", path.display()),
        Err(problem) => println!("{} could not be written: {problem}", path.display()),
    }
}
