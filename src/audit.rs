//! A whole plant: every circuit on all cores, what needs the plant as a whole, the counts, the previous run.

pub mod counts;
pub mod harvest;
pub mod outcome;
pub mod plant_wide;
pub mod previous;
pub mod purchase;
pub mod sweep;
pub mod usage_book;
