//! Batch checker for trapped-pressure clamping circuits on machining pallets.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod audit;
pub mod circuit;
pub mod cli;
pub mod physics;
pub mod read;
pub mod remedy;
pub mod report;
pub mod rules;
pub mod tables;
