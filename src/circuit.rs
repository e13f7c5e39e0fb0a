//! One circuit: its lines joined with their parts, its figures, its findings, its verdict.

pub mod audited;
pub mod findings;
pub mod fixture;
pub mod pressure_chain;
pub mod roster;
pub mod side;
pub mod trapped;
pub mod waiving;
