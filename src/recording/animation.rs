//! Pictures one after the other as an animated PNG (PNG, third edition, section 11.3.6.2), bounded in number and in bytes.
//!
//! What enters are frames, each with the time for which it is shown; what leaves are the bytes of a file. Equal frames that follow each
//! other are one picture, and of each picture only the rectangle that changed is stored. The same frames give the same bytes.

use std::time::Duration;

use png::{BitDepth, BlendOp, ColorType, Compression, DisposeOp, Encoder, EncodingError};

use crate::draw::{Frame, Point, Rectangle, Size};
use embedded_graphics_core::geometry::OriginDimensions;

/// The most pictures in a file.
pub const MOST_PICTURES: usize = 3000;
/// The most bytes of a file.
pub const MOST_BYTES: usize = 16 << 20;

/// Why there is no file.
#[derive(Debug, thiserror::Error)]
pub enum AnimationError {
    /// More pictures than anybody looks at.
    #[error(
        "these are more than {MOST_PICTURES} pictures: take them further apart, or a shorter part of the recording"
    )]
    TooMany,
    /// A file too large to be sent around.
    #[error("the file would have more than {} MiB: take a smaller scale, or a shorter part of the recording", MOST_BYTES >> 20)]
    TooLarge,
    /// There is no picture.
    #[error("there is nothing to be shown: the part of the recording is empty")]
    Empty,
    /// The library's.
    #[error("cannot make the picture: {0}")]
    Encoding(#[from] EncodingError),
}

/// Pictures with the time for which each is shown.
#[derive(Debug, Default)]
pub struct Animation {
    pictures: Vec<(Frame, Duration)>,
}

impl Animation {
    /// Shows `frame` for a further time.
    ///
    /// # Errors
    /// [`AnimationError::TooMany`] instead of one picture too many.
    pub fn push(&mut self, frame: &Frame, shown: Duration) -> Result<(), AnimationError> {
        let full = self.pictures.len() == MOST_PICTURES;
        match self.pictures.last_mut() {
            Some((last, time)) if last == frame => *time += shown,
            _ if full => return Err(AnimationError::TooMany),
            _ => self.pictures.push((frame.clone(), shown)),
        }
        Ok(())
    }

    /// How many pictures there are.
    pub fn len(&self) -> usize {
        self.pictures.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.pictures.is_empty()
    }

    /// The file, lit pixels white on black, each pixel `scale` by `scale`; it plays without end.
    ///
    /// # Errors
    /// [`AnimationError`] if there is no picture, or more bytes than [`MOST_BYTES`].
    pub fn encode(&self, scale: u32) -> Result<Vec<u8>, AnimationError> {
        let Some((first, _)) = self.pictures.first() else { return Err(AnimationError::Empty) };
        let (size, scale) = (first.size(), scale.max(1));
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, size.width * scale, size.height * scale);
        encoder.set_color(ColorType::Grayscale);
        encoder.set_depth(BitDepth::One);
        encoder.set_compression(Compression::High);
        encoder.set_animated(self.pictures.len() as u32, 0)?;
        encoder.set_dispose_op(DisposeOp::None)?;
        encoder.set_blend_op(BlendOp::Source)?;
        let mut writer = encoder.write_header()?;
        let mut before: Option<&Frame> = None;
        for (frame, shown) in &self.pictures {
            let area = before.map_or(Rectangle::new(Point::zero(), size), |before| changed(before, frame));
            let (numerator, denominator) = delay(*shown);
            writer.set_frame_delay(numerator, denominator)?;
            writer.reset_frame_position()?;
            writer.set_frame_dimension(area.size.width * scale, area.size.height * scale)?;
            writer.set_frame_position(area.top_left.x as u32 * scale, area.top_left.y as u32 * scale)?;
            writer.write_image_data(&packed(frame, area, scale))?;
            before = Some(frame);
        }
        writer.finish()?;
        if bytes.len() > MOST_BYTES { Err(AnimationError::TooLarge) } else { Ok(bytes) }
    }
}

/// The smallest rectangle that holds all pixels that differ; one pixel where none does, since no picture may be empty.
fn changed(before: &Frame, now: &Frame) -> Rectangle {
    let Size { width, height } = now.size();
    let (mut least, mut greatest) = (Point::new(i32::MAX, i32::MAX), Point::new(-1, -1));
    for y in 0..height as i32 {
        for x in 0..width as i32 {
            let at = Point::new(x, y);
            if before.pixel(at) != now.pixel(at) {
                least = least.component_min(at);
                greatest = greatest.component_max(at);
            }
        }
    }
    if greatest.x < 0 {
        return Rectangle::new(Point::zero(), Size::new_equal(1));
    }
    Rectangle::with_corners(least, greatest)
}

/// The pixels of a rectangle, a bit a pixel, each row ending with its byte.
fn packed(frame: &Frame, area: Rectangle, scale: u32) -> Vec<u8> {
    let (width, scale) = ((area.size.width * scale) as usize, scale as usize);
    let mut rows = Vec::with_capacity(width.div_ceil(8) * area.size.height as usize * scale);
    for y in area.rows() {
        let mut row = vec![0_u8; width.div_ceil(8)];
        let lit = area.columns().enumerate().filter(|(_, x)| frame.pixel(Point::new(*x, y)));
        for (column, _) in lit {
            for pixel in column * scale..(column + 1) * scale {
                row[pixel / 8] |= 0x80 >> (pixel % 8);
            }
        }
        (0..scale).for_each(|_| rows.extend_from_slice(&row));
    }
    rows
}

/// A time as a fraction of seconds of sixteen bits each; at most what fits.
fn delay(shown: Duration) -> (u16, u16) {
    let milliseconds = shown.as_millis();
    match u16::try_from(milliseconds) {
        Ok(milliseconds) => (milliseconds, 1000),
        Err(_) => (u16::try_from(milliseconds / 1000).unwrap_or(u16::MAX), 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames() -> Vec<Frame> {
        let mut frames = vec![Frame::new(Size::new(128, 32))];
        for step in 0..6 {
            let mut next = frames[frames.len() - 1].clone();
            for x in 0..8 {
                next.set_pixel(Point::new(step * 17 + x, (step * 5 + x * 3) % 32), x % 3 != 1);
            }
            frames.push(next);
        }
        frames
    }

    /// What a viewer shows, picture by picture: each rectangle over what was there.
    fn viewed(bytes: &[u8], size: Size, scale: u32) -> Vec<(Frame, (u16, u16))> {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let count = reader.info().animation_control().unwrap().num_frames;
        let mut shown = Frame::new(size);
        let mut buffer = vec![0; reader.output_buffer_size().unwrap()];
        (0..count)
            .map(|_| {
                reader.next_frame(&mut buffer).unwrap();
                let control = *reader.info().frame_control().unwrap();
                for y in 0..control.height {
                    for x in 0..control.width {
                        let lit = buffer[(y * control.width + x) as usize] > 127;
                        let (x, y) = ((control.x_offset + x) / scale, (control.y_offset + y) / scale);
                        shown.set_pixel(Point::new(x as i32, y as i32), lit);
                    }
                }
                (shown.clone(), (control.delay_num, control.delay_den))
            })
            .collect()
    }

    #[test]
    fn a_viewer_shows_what_was_pushed() {
        let frames = frames();
        let mut animation = Animation::default();
        for frame in &frames {
            animation.push(frame, Duration::from_millis(100)).unwrap();
            animation.push(frame, Duration::from_millis(150)).unwrap();
        }
        assert_eq!(animation.len(), frames.len());
        for scale in [1, 3] {
            let bytes = animation.encode(scale).unwrap();
            let wanted: Vec<_> = frames.iter().map(|frame| (frame.clone(), (250, 1000))).collect();
            assert_eq!(viewed(&bytes, Size::new(128, 32), scale), wanted);
            assert_eq!(animation.encode(scale).unwrap(), bytes, "the same again");
        }
    }

    #[test]
    fn the_number_of_pictures_is_bounded() {
        let (dark, lit) = (Frame::new(Size::new(8, 8)), Frame::from_pattern(&["#"]));
        let mut lit_large = dark.clone();
        lit_large.set_pixel(Point::zero(), lit.pixel(Point::zero()));
        let mut animation = Animation::default();
        assert!(matches!(animation.encode(1), Err(AnimationError::Empty)));
        for picture in 0..MOST_PICTURES {
            let frame = if picture % 2 == 0 { &dark } else { &lit_large };
            animation.push(frame, Duration::from_millis(20)).unwrap();
        }
        assert!(matches!(animation.push(&dark, Duration::ZERO), Err(AnimationError::TooMany)));
        assert!(animation.encode(1).unwrap().len() < MOST_BYTES);
    }

    #[test]
    fn delays_fit_sixteen_bits() {
        assert_eq!(delay(Duration::from_millis(1666)), (1666, 1000));
        assert_eq!(delay(Duration::from_secs(100)), (100, 1));
        assert_eq!(delay(Duration::MAX), (u16::MAX, 1));
    }
}
