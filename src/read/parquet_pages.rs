//! What the pages of a Parquet file claim, held against its rows before anything is unpacked: its reader makes
//! room for as many values as a page claims, and where no machine has so much room the process ends.

use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{ColumnMetaData, FileMetaData, PageHeader, RowGroup};

/// Bytes at the end of a file: the length of its description, and `PAR1`.
const TAIL: usize = 8;

/// Bytes that the description of one page may take; it holds the least and the greatest value of its cells.
const MOST_HEADER: usize = 1 << 20;

/// Whether every column of every group of rows has pages for just these rows, within the file and within so
/// many bytes when unpacked.
///
/// * `most_bytes` – for one page
///
/// `false` for a file that can't be told, too: its reader would find no more in it.
pub(super) fn claims_hold(bytes: &[u8], most_bytes: u64) -> bool {
    described(bytes).is_some_and(|file| file.row_groups.iter().all(|group| group_holds(bytes, group, most_bytes)))
}

fn described(bytes: &[u8]) -> Option<FileMetaData> {
    let end = bytes.len().checked_sub(TAIL)?;
    let length = u32::from_le_bytes(bytes.get(end..end + 4)?.try_into().ok()?) as usize;
    let description = bytes.get(end.checked_sub(length)?..end)?;
    // What is made of a few bytes takes many times their room.
    let most = length.saturating_mul(2).saturating_add(1024);
    FileMetaData::read_from_in_protocol(&mut TCompactInputProtocol::new(description, most)).ok()
}

fn group_holds(bytes: &[u8], group: &RowGroup, most_bytes: u64) -> bool {
    group.columns.iter().all(|column| {
        let described = column.meta_data.as_ref();
        described.is_some_and(|column| {
            column.num_values == group.num_rows && pages_hold(bytes, column, most_bytes).unwrap_or(false)
        })
    })
}

/// Whether the pages of a column's piece have its values together; nothing where they leave the piece.
fn pages_hold(bytes: &[u8], column: &ColumnMetaData, most_bytes: u64) -> Option<bool> {
    let first = column
        .dictionary_page_offset
        .filter(|offset| *offset > 0)
        .map_or(column.data_page_offset, |offset| offset.min(column.data_page_offset));
    let from = usize::try_from(first).ok()?;
    let to = from.checked_add(usize::try_from(column.total_compressed_size).ok()?)?;
    let mut rest = bytes.get(from..to)?;
    let mut missing = column.num_values;
    while missing > 0 {
        let header = PageHeader::read_from_in_protocol(&mut TCompactInputProtocol::new(&mut rest, MOST_HEADER)).ok()?;
        let values = match (&header.data_page_header, &header.data_page_header_v2, &header.dictionary_page_header) {
            (Some(page), None, None) => page.num_values,
            (None, Some(page), None) => page.num_values,
            (None, None, Some(page)) => page.num_values,
            _ => return None,
        };
        let unpacked = u64::try_from(header.uncompressed_page_size).ok()?;
        let values = i64::from(values);
        // A word of a dictionary takes a byte at least; it may have words that no cell uses.
        let is_dictionary = header.dictionary_page_header.is_some();
        let most = if is_dictionary { i64::from(header.uncompressed_page_size) } else { missing };
        if unpacked > most_bytes || !(0..=most).contains(&values) {
            return Some(false);
        }
        if !is_dictionary {
            missing -= values;
        }
        rest = rest.get(usize::try_from(header.compressed_page_size).ok()?..)?;
    }
    Some(missing == 0)
}
