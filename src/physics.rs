//! Formulas on typed quantities.

pub mod quantity;
pub mod unit;
