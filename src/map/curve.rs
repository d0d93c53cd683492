//! The value of a touch curve at a velocity (rule R6).

use super::Curve;

impl Curve {
    /// What a touch of velocity `v` (1–127) counts, unrounded and not clamped; between whole velocities too.
    ///
    /// `points` is the monotone piecewise cubic Hermite with the slopes of SciPy's `PchipInterpolator`:
    /// it never overshoots, so a touch curve never turns back. Outside its points it is flat.
    #[must_use]
    pub fn at(&self, v: f64) -> f64 {
        match self {
            Curve::Always(value) => *value,
            Curve::Bent { heavier, low, high } => {
                let exponent = (f64::from(*heavier) / 50.0).exp2();
                low + (high - low) * ((v - 1.0) / 126.0).max(0.0).powf(exponent)
            }
            Curve::Points(points) => through(points, v),
        }
    }
}

fn through(points: &[(f64, f64)], v: f64) -> f64 {
    let (Some(&first), Some(&last)) = (points.first(), points.last()) else { return v };
    if v <= first.0 {
        return first.1;
    }
    if v >= last.0 {
        return last.1;
    }
    let right = points.partition_point(|point| point.0 <= v).clamp(1, points.len() - 1);
    let (start, end) = (points[right - 1], points[right]);
    let width = end.0 - start.0;
    let t = (v - start.0) / width;
    let (t2, t3) = (t * t, t * t * t);
    start.1 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + end.1 * (3.0 * t2 - 2.0 * t3)
        + width * (slope(points, right - 1) * (t3 - 2.0 * t2 + t) + slope(points, right) * (t3 - t2))
}

/// The curve's slope at point `k`: inside, the weighted harmonic mean of the slopes beside it (0 at a turn);
/// at the ends, the one-sided three-point formula, held back where it would overshoot.
fn slope(points: &[(f64, f64)], k: usize) -> f64 {
    let width = |i: usize| points[i + 1].0 - points[i].0;
    let steep = |i: usize| (points[i + 1].1 - points[i].1) / width(i);
    let last = points.len() - 1;
    if last == 1 {
        return steep(0);
    }
    if k == 0 {
        return end_slope(width(0), width(1), steep(0), steep(1));
    }
    if k == last {
        return end_slope(width(last - 1), width(last - 2), steep(last - 1), steep(last - 2));
    }
    let (before, after) = (steep(k - 1), steep(k));
    if before * after <= 0.0 {
        return 0.0;
    }
    let (w1, w2) = (2.0 * width(k) + width(k - 1), width(k) + 2.0 * width(k - 1));
    (w1 + w2) / (w1 / before + w2 / after)
}

fn end_slope(near_width: f64, far_width: f64, near: f64, far: f64) -> f64 {
    let slope = ((2.0 * near_width + far_width) * near - near_width * far) / (near_width + far_width);
    if slope * near <= 0.0 {
        0.0
    } else if near * far < 0.0 && slope.abs() > 3.0 * near.abs() {
        3.0 * near
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn meets(curve: &Curve, expected: &[(f64, f64)]) {
        for (v, out) in expected {
            assert!((curve.at(*v) - out).abs() < 1e-6, "at {v}: {} instead of {out}", curve.at(*v));
        }
    }

    // Values computed with SciPy 1.17.1, PchipInterpolator.
    #[test]
    fn points_give_the_values_of_scipy() {
        let curve = Curve::Points(vec![(1.0, 10.0), (32.0, 40.0), (64.0, 70.0), (96.0, 100.0), (127.0, 127.0)]);
        let expected = [
            (1.0, 10.0),
            (8.0, 16.855_328_2),
            (16.0, 24.632_835_0),
            (24.0, 32.348_151_8),
            (32.0, 40.0),
            (40.0, 47.567_324_2),
            (48.0, 55.059_843_8),
            (56.0, 62.522_441_4),
            (64.0, 70.0),
            (72.0, 77.551_998_6),
            (80.0, 85.138_662_8),
            (88.0, 92.655_995_7),
            (96.0, 100.0),
            (104.0, 107.158_220_3),
            (112.0, 114.185_675_2),
            (120.0, 121.079_578_6),
            (126.0, 126.160_687_1),
            (127.0, 127.0),
        ];
        meets(&curve, &expected);
        let uneven = Curve::Points(vec![(1.0, 1.0), (40.0, 20.0), (80.0, 90.0), (127.0, 127.0)]);
        let expected = [
            (10.0, 2.353_715_5),
            (20.0, 6.525_328_4),
            (30.0, 12.688_806_9),
            (50.0, 33.157_464_0),
            (60.0, 53.316_237_3),
            (70.0, 74.316_891_9),
            (100.0, 110.332_895_9),
            (120.0, 124.401_386_2),
        ];
        meets(&uneven, &expected);
        let level = Curve::Points(vec![(1.0, 1.0), (30.0, 50.0), (60.0, 50.0), (90.0, 90.0), (127.0, 127.0)]);
        let expected = [(15.0, 33.672_637_2), (30.0, 50.0), (45.0, 50.0), (60.0, 50.0), (75.0, 65.692_857_1)];
        meets(&level, &expected);
        meets(&level, &[(110.0, 111.541_624_7)]);
    }

    // Slopes computed with SciPy 1.17.1 for the first set of points.
    #[test]
    fn slopes_are_those_of_scipy() {
        let points = [(1.0, 10.0), (32.0, 40.0), (64.0, 70.0), (96.0, 100.0), (127.0, 127.0)];
        let expected = [0.982_622_887_864_8, 0.952_460_944_061_8, 0.9375, 0.902_834_294_610_9, 0.838_229_646_697_4];
        for (k, slope_there) in expected.iter().enumerate() {
            assert!((slope(&points, k) - slope_there).abs() < 1e-9, "slope {k}");
        }
    }

    #[test]
    fn points_are_flat_outside_and_straight_between_two() {
        let curve = Curve::Points(vec![(20.0, 40.0), (100.0, 120.0)]);
        meets(&curve, &[(1.0, 40.0), (20.0, 40.0), (60.0, 80.0), (100.0, 120.0), (127.0, 120.0)]);
    }

    #[test]
    fn a_bent_curve_goes_from_low_to_high() {
        let curve = Curve::Bent { heavier: 50, low: 1.0, high: 127.0 };
        meets(&curve, &[(1.0, 1.0), (64.0, 32.5), (127.0, 127.0)]);
        let down = Curve::Bent { heavier: 0, low: 127.0, high: 1.0 };
        meets(&down, &[(1.0, 127.0), (64.0, 64.0), (127.0, 1.0)]);
        let lighter = Curve::Bent { heavier: -100, low: 1.0, high: 127.0 };
        meets(&lighter, &[(1.0, 1.0), (8.875, 64.0), (127.0, 127.0)]);
        meets(&Curve::Always(90.0), &[(1.0, 90.0), (127.0, 90.0)]);
    }
}
