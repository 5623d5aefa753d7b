//! Pictures of a frame for people: half blocks for a terminal, and PNG.
//!
//! What enters is a frame; what leaves are characters or the bytes of an image file. Nothing here writes a file.

use embedded_graphics_core::geometry::OriginDimensions;

use super::{Frame, Point, Size};

/// The frame in half blocks, two rows of pixels a line, each line ended; lit pixels are drawn in the foreground colour.
pub fn half_blocks(frame: &Frame) -> String {
    let Size { width, height } = frame.size();
    let mut lines = String::with_capacity((width as usize * 3 + 1) * height.div_ceil(2) as usize);
    for y in (0..height as i32).step_by(2) {
        for x in 0..width as i32 {
            lines.push(match (frame.pixel(Point::new(x, y)), frame.pixel(Point::new(x, y + 1))) {
                (false, false) => ' ',
                (true, false) => '▀',
                (false, true) => '▄',
                (true, true) => '█',
            });
        }
        lines.push('\n');
    }
    lines
}

/// A PNG of the frame, lit pixels white on black, each pixel `scale` by `scale` (at least 1).
#[cfg(feature = "pictures")]
pub fn png(frame: &Frame, scale: u32) -> image::ImageResult<Vec<u8>> {
    shades(frame.size(), scale, |at| if frame.pixel(at) { 255 } else { 0 })
}

/// A PNG of so many pixels, each `scale` by `scale` (at least 1) and of the gray that `shade` tells.
#[cfg(feature = "pictures")]
pub fn shades(size: Size, scale: u32, shade: impl Fn(Point) -> u8) -> image::ImageResult<Vec<u8>> {
    use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder};

    let scale = scale.max(1);
    let Size { width, height } = size;
    let mut gray = Vec::with_capacity((width * scale * height * scale) as usize);
    for y in 0..height * scale {
        gray.extend((0..width * scale).map(|x| shade(Point::new((x / scale) as i32, (y / scale) as i32))));
    }
    let mut bytes = Vec::new();
    PngEncoder::new(&mut bytes).write_image(&gray, width * scale, height * scale, ExtendedColorType::L8)?;
    Ok(bytes)
}

/// More pixels a side are not read of a PNG.
#[cfg(feature = "pictures")]
const MOST_SIDE: u32 = 4096;

/// The frame that a PNG of scale 1 shows: every pixel of at least half brightness is lit.
#[cfg(feature = "pictures")]
pub fn from_png(bytes: &[u8]) -> image::ImageResult<Frame> {
    let mut limits = image::Limits::default();
    (limits.max_image_width, limits.max_image_height) = (Some(MOST_SIDE), Some(MOST_SIDE));
    let mut reader = image::ImageReader::with_format(std::io::Cursor::new(bytes), image::ImageFormat::Png);
    reader.limits(limits);
    let gray = reader.decode()?.into_luma8();
    let mut frame = Frame::new(Size::new(gray.width(), gray.height()));
    for (x, y, pixel) in gray.enumerate_pixels() {
        frame.set_pixel(Point::new(x as i32, y as i32), pixel.0[0] >= 128);
    }
    Ok(frame)
}
