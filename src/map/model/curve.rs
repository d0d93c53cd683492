//! Velocity curves as written.

/// What a touch counts: velocity in, velocity out, unrounded (rule R6).
#[derive(Debug, Clone, PartialEq)]
pub enum Curve {
    /// low + (high − low)·((v − 1)/126)^(2^(heavier/50)).
    Bent {
        /// −100 to 100: above 0 a soft touch counts less, below 0 (`lighter`) more.
        heavier: i8,
        /// Output at velocity 1.
        low: f64,
        /// Output at velocity 127.
        high: f64,
    },
    /// Monotone piecewise cubic through these points, flat outside.
    Points(Vec<(f64, f64)>),
    /// Always the same.
    Always(f64),
}
