//! A list as given, in the order of its rows.

use crate::tables::origin::SourceId;

use crate::read::as_given::{GivenTable, given_row};
use crate::read::error::ReadError;

use super::{AnyRow, Lists};

impl Lists {
    /// The list of a source, all its rows, those whose circuit can't be told included; `None`
    /// where the source is no list.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn given(&self, source: SourceId, file: &str, sheet: &str) -> Result<Option<GivenTable>, ReadError> {
        let Some((index, list)) = (0_u32..).zip(&self.all).find(|(_, list)| list.source == source) else {
            return Ok(None);
        };
        let mut table = GivenTable::of(file, sheet, &list.layout);
        let strays = list.strays.iter().map(|(_, run)| run);
        for run in self.runs.iter().filter(|run| run.list == index).chain(strays) {
            self.rows_of_run(run, &mut |list, row, number| {
                table.rows.push(match row {
                    AnyRow::Text(row) => given_row(&list.layout, row, number),
                    AnyRow::Sheet(row) => given_row(&list.layout, row, number),
                });
            })?;
        }
        table.rows.sort_by_key(|row| row.number);
        Ok(Some(table))
    }
}
