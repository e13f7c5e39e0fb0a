//! Workbook, data files, mail.

pub mod data_rows;
pub mod history;
pub mod previous;
pub mod summary;
pub mod whole_file;
pub mod wording;
