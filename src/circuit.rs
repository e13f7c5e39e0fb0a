//! One circuit: its lines joined with their parts, its figures, its findings, its verdict.

pub mod audited;
pub mod findings;
pub mod fixture;
pub mod group;
pub mod line_oil;
pub mod off_circuit;
mod pressure_chain;
pub mod roster;
pub mod side;
mod times;
pub mod trapped;
pub mod waiving;
