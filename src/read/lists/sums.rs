//! The totals among the lines of a list that are no sums of them.

use std::collections::BTreeSet;

use crate::read::delimited::{RowSplit, each_row};
use crate::read::error::ReadError;
use crate::read::header::Layout;
use crate::read::totals::Watch;

use super::scan::Waves;
use super::table::Body;

/// The rows among the totals of a list whose quantity is no sum of the lines above. A text is read once more where it has
/// totals: a line without a part number whose position is called `Total clamp 3` looks like one.
///
/// # Errors
/// Where the file can't be read any more.
pub(super) fn of_nothing(body: &Body, layout: &Layout, totals: BTreeSet<u32>) -> Result<BTreeSet<u32>, ReadError> {
    let Some(mut watch) = Watch::of(layout, totals) else { return Ok(BTreeSet::new()) };
    match body {
        Body::Sheet(rows) => rows.iter().for_each(|row| watch.see(row, row.number)),
        Body::Text { file, delimiter, from, row } => {
            let mut waves = Waves::of(file, *delimiter, *from);
            let mut number = *row;
            loop {
                let wave = waves.next()?;
                if wave.is_empty() {
                    break;
                }
                for chunk in &wave {
                    let text = String::from_utf8_lossy(chunk);
                    // What can't be parted into rows was refused in the first pass.
                    let _ = each_row::<()>(&text, &mut RowSplit::default(), *delimiter, 0, |row, _, _| {
                        number = number.saturating_add(1);
                        watch.see(row, number);
                        Ok(())
                    });
                }
                waves.give_back(wave);
            }
        }
    }
    Ok(watch.of_nothing)
}
