//! A picture of square pixels seen through a Gaussian blur.
//!
//! What enters are lit pixels, the blur and a grid of samples; what leaves is the brightness of each sample, from 0 to 1. A lit pixel is
//! a full square, so that each sample is exact and needs no larger picture in between.

use sidelight::draw::Bitmap;

/// Where a picture is sampled, in pixels of the panel.
#[derive(Clone, Copy)]
pub struct Grid {
    /// The place of the first sample: its left edge and its top.
    pub origin: (f64, f64),
    /// From one sample to the next.
    pub step: f64,
    /// Samples a row, and rows.
    pub size: (usize, usize),
}

/// The picture's brightness at each sample, row after row, blurred with a standard deviation of `sigma` pixels.
pub fn soft(picture: &Bitmap, sigma: f64, grid: Grid) -> Vec<f64> {
    let size = picture.size();
    let along_x = weights(size.width, sigma, grid.origin.0, grid.step, grid.size.0);
    let along_y = weights(size.height, sigma, grid.origin.1, grid.step, grid.size.1);
    // The blur is the same in both directions: first along each row of pixels, then across the rows.
    let rows: Vec<Vec<f64>> = (0..size.height)
        .map(|y| {
            let sum = |reach: &(u32, Vec<f64>)| -> f64 {
                let lit = reach.1.iter().zip(reach.0..).filter(|(_, x)| picture.pixel(*x, y));
                lit.map(|(weight, _)| weight).sum()
            };
            along_x.iter().map(sum).collect()
        })
        .collect();
    let mut samples = Vec::with_capacity(grid.size.0 * grid.size.1);
    for (first, weights) in &along_y {
        let rows = &rows[*first as usize..];
        for column in 0..grid.size.0 {
            samples.push(weights.iter().zip(rows).map(|(weight, row)| weight * row[column]).sum());
        }
    }
    samples
}

/// For each sample the pixels that it sees: the first one, and how much each from there on weighs.
fn weights(pixels: u32, sigma: f64, origin: f64, step: f64, samples: usize) -> Vec<(u32, Vec<f64>)> {
    let up_to = |distance: f64| 0.5 * (1.0 + libm::erf(distance / (sigma * std::f64::consts::SQRT_2)));
    let reach = 5.0 * sigma + 1.0;
    let of = |index: usize| {
        let at = origin + (index as f64 + 0.5) * step;
        let first = (at - reach).floor().clamp(0.0, f64::from(pixels)) as u32;
        let last = (at + reach).ceil().clamp(0.0, f64::from(pixels)) as u32;
        let weight = |pixel: u32| up_to(f64::from(pixel) + 1.0 - at) - up_to(f64::from(pixel) - at);
        (first, (first..last).map(weight).collect())
    };
    (0..samples).map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_even_surface_stays_even_and_an_edge_is_half_bright() {
        let surface = Bitmap::from_fn(sidelight::draw::Size::new(40, 40), |x, _| x < 20);
        let samples = soft(&surface, 1.5, Grid { origin: (9.5, 19.5), step: 1.0, size: (1, 1) });
        assert!((samples[0] - 1.0).abs() < 1e-3, "{samples:?}");
        let edge = soft(&surface, 1.5, Grid { origin: (19.5, 19.5), step: 1.0, size: (1, 1) });
        assert!((edge[0] - 0.5).abs() < 1e-3, "{edge:?}");
    }

    #[test]
    fn without_blur_the_samples_are_the_pixels() {
        let picture = Bitmap::from_pattern(&["#..#", ".##.", "#..."]);
        let samples = soft(&picture, 0.01, Grid { origin: (0.0, 0.0), step: 1.0, size: (4, 3) });
        let lit: Vec<bool> = samples.iter().map(|sample| *sample > 0.5).collect();
        let pixels: Vec<bool> =
            (0..3).flat_map(|y| (0..4).map(move |x| (x, y))).map(|(x, y)| picture.pixel(x, y)).collect();
        assert_eq!(lit, pixels);
    }
}
