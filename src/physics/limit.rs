//! When a limit is exceeded.

/// The part of itself beyond which a limit counts as exceeded; what stands exactly at the
/// limit conforms.
pub const AT_THE_LIMIT: f64 = 1e-9;

/// Whether `value` is above `limit` by more than 1e-9 of it.
#[must_use]
pub fn is_above(value: f64, limit: f64) -> bool {
    value > limit + limit.abs() * AT_THE_LIMIT
}

/// Whether `value` is below `limit` by more than 1e-9 of it.
#[must_use]
pub fn is_below(value: f64, limit: f64) -> bool {
    value < limit - limit.abs() * AT_THE_LIMIT
}
