//! A curve through points, such as a battery's charge over its voltage.
//!
//! What enters are points and a number; what leaves is the number on the straight line between the two points around it. Beyond its
//! first and its last point the curve goes on level.

use super::Bounds;

/// Points with rising first numbers, at least two of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve(Box<[(f64, f64)]>);

impl Curve {
    /// No curve has more points.
    pub const MOST_POINTS: usize = 64;

    /// The curve through `points`; `None` unless there are two to [`MOST_POINTS`](Self::MOST_POINTS) of them and their first numbers rise.
    pub fn new(points: Vec<(f64, f64)>) -> Option<Self> {
        let rising = points.windows(2).all(|pair| pair[0].0 < pair[1].0);
        ((2..=Self::MOST_POINTS).contains(&points.len()) && rising).then(|| Self(points.into()))
    }

    /// The points.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.0
    }

    /// The curve's height at `x`.
    pub fn at(&self, x: f64) -> f64 {
        let next = self.0.partition_point(|(from, _)| *from <= x);
        if next == 0 {
            return self.0[0].1;
        }
        let (x1, y1) = self.0[next - 1];
        let Some((x2, y2)) = self.0.get(next) else { return y1 };
        y1 + (y2 - y1) * ((x - x1) / (x2 - x1))
    }

    /// Bounds of its height where `x` lies within bounds: at their ends, or at a point between them.
    pub fn bounds(&self, x: Bounds) -> Bounds {
        let between = self.0.iter().filter(|(at, _)| x.contains(*at)).map(|(_, y)| *y);
        let ends = Bounds::new(self.at(x.low), self.at(x.high));
        between.fold(ends, |bounds, y| bounds.hull(Bounds::exactly(y)))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn curve() -> impl Strategy<Value = Curve> {
        let points = proptest::collection::btree_map(-100..100i32, -50.0..50.0f64, 2..10);
        points.prop_map(|points| Curve::new(points.into_iter().map(|(x, y)| (f64::from(x), y)).collect()).unwrap())
    }

    #[test]
    fn a_battery_over_its_voltage() {
        let charge = Curve::new(vec![(3.3, 0.0), (3.7, 50.0), (4.2, 100.0)]).unwrap();
        for (volts, percent) in
            [(3.0, 0.0), (3.3, 0.0), (3.5, 25.0), (3.7, 50.0), (3.95, 75.0), (4.2, 100.0), (4.4, 100.0)]
        {
            assert!((charge.at(volts) - percent).abs() < 1e-9, "{volts} V: {} %", charge.at(volts));
        }
    }

    #[test]
    fn points_must_rise() {
        assert!(Curve::new(vec![(1.0, 0.0)]).is_none());
        assert!(Curve::new(vec![(1.0, 0.0), (1.0, 2.0)]).is_none());
        assert!(Curve::new((0..65).map(|x| (f64::from(x), 0.0)).collect()).is_none());
    }

    proptest! {
        #[test]
        fn heights_lie_within_their_bounds(curve in curve(), a in -120.0..120.0f64, b in -120.0..120.0f64, share in 0.0..=1.0f64) {
            let x = Bounds::new(a, b);
            let y = curve.at(x.low + (x.high - x.low) * share);
            let bounds = curve.bounds(x);
            // Interpolation rounds; what is proved is the room for digits.
            prop_assert!(bounds.low - 1e-9 <= y && y <= bounds.high + 1e-9, "{y} not in {bounds:?}");
        }
    }
}
