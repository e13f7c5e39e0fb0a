//! What tells a report of this program from other workbooks.

/// What a workbook of this program says of itself in its properties, before the version.
pub const WRITTEN_BY: &str = "Written by clampbook ";
