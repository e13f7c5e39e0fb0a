//! Files to tables.
pub mod error;
pub mod lists;
