//! From a struck velocity to the one that is sent.

use crate::map::Curve;

/// A table of velocities (rule R6): the curves one after the other, unrounded, times 10^(level/40), then rounded half
/// away from zero and clamped to 1–127. The law of level is DLS Level 1's, −40·log10(v/127) dB. An input has no level: 0. What stands at 0
/// is that of velocity 1.
#[must_use]
pub fn touch<'c>(curves: impl IntoIterator<Item = &'c Curve> + Clone, level: f64) -> [u8; 128] {
    let factor = 10f64.powf(level / 40.0);
    std::array::from_fn(|velocity| {
        let velocity = velocity.max(1) as f64;
        let touched = curves.clone().into_iter().fold(velocity, |velocity, curve| curve.at(velocity));
        (touched * factor).round().clamp(1.0, 127.0) as u8
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_curve_and_level_a_touch_counts_what_it_is() {
        let expected: [u8; 128] = std::array::from_fn(|velocity| velocity.max(1) as u8);
        assert_eq!(touch(None, 0.0), expected);
    }

    #[test]
    fn a_level_multiplies_what_the_curve_makes_unrounded() {
        let both = [&Curve::Always(64.4), &Curve::Bent { heavier: 0, low: 1.0, high: 127.0 }];
        assert_eq!(touch(both, 0.0)[10], 64);
        // Rounded in between it would be 34.
        assert_eq!(touch([&Curve::Always(64.5), &Curve::Bent { heavier: 50, low: 1.0, high: 127.0 }], 0.0)[10], 33);
        // R6: zone curve, unrounded → ×10^(level/40) → round half away from zero → clamp 1–127.
        assert_eq!(touch(Some(&Curve::Always(90.6)), 0.0)[64], 91);
        // 90.6 · 10^(−12/40) = 45.41, but 91 · 10^(−12/40) = 45.61.
        assert_eq!(touch(Some(&Curve::Always(90.6)), -12.0)[64], 45);
        assert_eq!(touch(Some(&Curve::Always(40.5)), 0.0)[1], 41);
        assert_eq!((touch(None, -60.0)[1], touch(None, 24.0)[127]), (1, 127));
    }
}
