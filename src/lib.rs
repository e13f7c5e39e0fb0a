//! Batch checker for trapped-pressure clamping circuits on machining pallets.

pub mod assess;
pub mod model;
pub mod physics;
pub mod rules;
