//! Join, group, compute a circuit's figures, run the rules.

pub mod audit;
pub mod chain;
pub mod circuit;
pub mod counts;
pub mod edit;
pub mod fixture;
pub mod holding;
pub mod plant_wide;
pub mod purchase;
pub mod roster;
pub mod run;
pub mod side;
pub mod usage_book;
pub mod waiving;
