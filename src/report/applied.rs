//! Proved remedies applied in a copy of the plant: which can go together, what they change in
//! the tables, and the folder that comes of it.

pub mod choice;
pub mod folder;
pub mod rewriting;
