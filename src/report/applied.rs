//! Proved remedies applied in a copy of the plant: what they change in the tables, and the folder
//! that comes of it.

pub mod cell_edits;
pub mod folder;
pub mod rewriting;
mod text_in_place;
mod workbook_in_place;
