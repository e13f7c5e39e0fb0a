//! Join, group, compute a circuit's figures, run the rules.

pub mod audit;
