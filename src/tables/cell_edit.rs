//! A cell that is taken to hold another text than its file does.

use super::origin::Origin;

/// One cell, by its row and column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellEdit {
    pub origin: Origin,
    /// The known column's name; the table may lack it.
    pub column: &'static str,
    /// As the file has it.
    pub before: String,
    /// As it would be.
    pub text: String,
}
