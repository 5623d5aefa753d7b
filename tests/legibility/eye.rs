//! Ten digits through the eye's blur, at the distance from which the program says that they can be read.
//!
//! The model: a figure height of h on glass can be read from d = h / (2 tan(16'/2)), with 16 minutes of arc as the least that ISO
//! 9241-303 asks for. An eye of 20/20 acuity resolves letters of 5 minutes, whose strokes are a fifth of that: 1 minute (both from
//! memory). Its blur is taken as a Gaussian whose full width at half of its height is this minute, seen at d. The brightness pattern of
//! a digit that has moved by up to half a pixel is compared with those of the ten digits at rest; the nearest in the sum of squares
//! is what was read.
//!
//! The model knows no tiredness, dirt or glare: what it calls alike is alike, but what it tells apart may still be hard. So each strike
//! keeps the margin that it reaches, and the same must hold from more than three times as far, where a figure fills the 5 minutes
//! of the smallest letter that such an eye resolves.

use sidelight::draw::Bitmap;
use sidelight::faces::Strike;

use super::soft::{Grid, soft};
use super::{shown, strikes};

/// Pixel pitch of the 0.91 inch panel of 128x32, in millimetres (from memory).
const PITCH: f64 = 0.175;
/// The least angle of a figure height, in minutes of arc: ISO 9241-303.
const LEAST_ANGLE: f64 = 16.0;
/// The letter that an eye of 20/20 resolves, in minutes of arc.
const ACUITY: f64 = 5.0;
/// The stroke that an eye of 20/20 resolves, in minutes of arc.
const RESOLVED: f64 = 1.0;
/// A Gaussian's full width at half of its height, in standard deviations: 2 sqrt(2 ln 2).
const FULL_WIDTH: f64 = 2.354_820_045;
/// Samples a pixel, along each side.
const DENSITY: f64 = 2.0;

fn radians(minutes: f64) -> f64 {
    minutes / 60.0 * std::f64::consts::PI / 180.0
}

/// How far away digits of this height are, in millimetres, where they fill `angle` minutes of arc.
fn distance(figure_height: u32, angle: f64) -> f64 {
    f64::from(figure_height) * PITCH / (2.0 * libm::tan(radians(angle) / 2.0))
}

/// The standard deviation of the eye's blur on the glass in pixels, seen from `distance` millimetres.
fn blur(distance: f64) -> f64 {
    distance * libm::tan(radians(RESOLVED)) / PITCH / FULL_WIDTH
}

/// The digits of a strike as the eye has them from one distance.
struct Seen<'a> {
    strike: &'a Strike,
    sigma: f64,
    at_rest: Vec<Vec<f64>>,
}

impl<'a> Seen<'a> {
    fn new(strike: &'a Strike, angle: f64) -> Self {
        let sigma = blur(distance(strike.figure_height(), angle));
        let mut seen = Self { strike, sigma, at_rest: Vec::new() };
        seen.at_rest = (0..10).map(|digit| seen.pattern(&seen.picture(digit), (0.0, 0.0))).collect();
        seen
    }

    fn picture(&self, digit: usize) -> Bitmap {
        shown(self.strike, &digit.to_string())
    }

    fn pattern(&self, picture: &Bitmap, moved: (f64, f64)) -> Vec<f64> {
        let margin = (3.0 * self.sigma).ceil() + 1.0;
        let side = |pixels: u32| ((f64::from(pixels) + 2.0 * margin) * DENSITY) as usize;
        let size = (side(picture.size().width), side(picture.size().height));
        soft(picture, self.sigma, Grid { origin: (moved.0 - margin, moved.1 - margin), step: 1.0 / DENSITY, size })
    }

    /// Reads every digit, moved in every direction, as the nearest digit at rest: the least of how many times farther the next one is,
    /// or which digit was taken for which.
    fn read(&self) -> Result<f64, String> {
        let mut margin = f64::INFINITY;
        for digit in 0..10 {
            let picture = self.picture(digit);
            for moved in [(0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5), (0.35, 0.35), (-0.35, 0.35)] {
                let pattern = self.pattern(&picture, moved);
                let apart = |other: &Vec<f64>| -> f64 {
                    pattern.iter().zip(other).map(|(one, other)| (one - other) * (one - other)).sum()
                };
                let from: Vec<f64> = self.at_rest.iter().map(apart).collect();
                let nearest = |skip: Option<usize>| {
                    (0..10).filter(|other| Some(*other) != skip).min_by(|a, b| from[*a].total_cmp(&from[*b])).unwrap()
                };
                if nearest(None) != digit {
                    return Err(format!("{digit} looks like {}", nearest(None)));
                }
                margin = margin.min(from[nearest(Some(digit))] / from[digit]);
            }
        }
        Ok(margin.sqrt())
    }
}

/// For each strike the least margin at 16 minutes: how many times farther the nearest wrong digit is than the right one that has moved.
const FLOORS: [(&str, f64); 27] = [
    ("small 7", 1.03),
    ("text 9", 1.12),
    ("text 11", 1.37),
    ("narrow 10", 1.07),
    ("narrow 12", 1.15),
    ("narrow 14", 1.25),
    ("narrow 16", 1.39),
    ("narrow 18", 1.49),
    ("narrow 20", 1.62),
    ("narrow 22", 1.77),
    ("narrow 24", 1.82),
    ("narrow 28", 2.00),
    ("narrow 32", 2.42),
    ("narrow 40", 2.90),
    ("narrow 48", 3.50),
    ("wide 10", 1.15),
    ("wide 12", 1.14),
    ("wide 14", 1.36),
    ("wide 16", 1.43),
    ("wide 18", 1.79),
    ("wide 20", 1.82),
    ("wide 22", 2.03),
    ("wide 24", 2.23),
    ("wide 28", 2.54),
    ("wide 32", 2.95),
    ("wide 40", 3.48),
    ("wide 48", 4.15),
];

#[test]
fn all_ten_digits_are_told_apart_from_the_stated_distance() {
    println!("{:10} {:>7}  {:>6}  {:>6}", "strike", "16' at", "margin", "at 5'");
    let mut below = Vec::new();
    let strikes = strikes();
    for strike in &strikes {
        let metres = distance(strike.figure_height(), LEAST_ANGLE) / 1000.0;
        let margin = Seen::new(strike, LEAST_ANGLE).read();
        let margin = margin.unwrap_or_else(|misread| panic!("{} from {metres:.2} m: {misread}", strike.name()));
        let farther = Seen::new(strike, ACUITY).read();
        let farther = farther.unwrap_or_else(|misread| panic!("{} at {ACUITY}': {misread}", strike.name()));
        println!("{:10} {metres:5.2} m  {margin:6.2}  {farther:6.2}", strike.name());
        let floor = FLOORS.iter().find(|(name, _)| *name == strike.name());
        let floor = floor.unwrap_or_else(|| panic!("{}: no floor is set", strike.name())).1;
        if margin < floor {
            below.push(format!("{}: {margin:.3} of {floor}", strike.name()));
        }
    }
    assert_eq!(strikes.len(), FLOORS.len());
    assert!(below.is_empty(), "closer than before:\n{}", below.join("\n"));
}

/// Computed check values of the rule for reading distances: 16 px at 0.175 mm at 16, 20 and 5 minutes of arc.
#[test]
fn the_distance_follows_from_the_angle() {
    for (angle, metres) in [(16.0, 0.60), (20.0, 0.48), (5.0, 1.93)] {
        let computed = distance(16, angle) / 1000.0;
        assert!((computed - metres).abs() < 0.005, "{angle}': {computed}");
    }
}

/// Where digits fill five minutes, a stroke of a fifth of them is as wide as the blur.
#[test]
fn the_blur_is_one_minute_wide() {
    let sigma = blur(distance(25, 5.0));
    assert!((sigma * FULL_WIDTH - 5.0).abs() < 0.001, "{sigma}");
}
