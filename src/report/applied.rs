//! Proved remedies applied in a copy of the plant: what they change in the tables, and the folder
//! that comes of it.

pub mod folder;
pub mod rewriting;
