//! Lists and tables kept as Parquet read as the same tables kept as CSV do.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs::{self, File};
use std::path::Path;

use chrono::NaiveDate;
use clampbook::read::{Reading, open};
use polars::prelude::{Column, DataFrame, ParquetWriter};
use polars_parquet_format::thrift::protocol::{TCompactInputProtocol, TCompactOutputProtocol};
use polars_parquet_format::{FileMetaData, PageHeader};

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar],area_clamp [mm2],stroke [mm],status,unit_price
C-1,clamp,350,490.5,12,active,112.5
4711,charging_cylinder,400,,30,active,
V-1,check_valve,315.5,,,obsolete,33
";
const LIST: &str = "pallet,fixture,part_no,qty,stroke_used [in],position,note
T1,F1,C-1,4,0.25,L1,first
T1,F1,4711,1,,,
T1,F2,C-1,2.5,0.1,L2,odd
,,,,,,
T1,F2,X-9,1,,L3,
";

fn plant(files: &[(&str, &str)], as_parquet: bool) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    for (name, text) in files {
        let path = folder.path().join(format!("{name}.csv"));
        if as_parquet { write(text, &path.with_extension("parquet")) } else { fs::write(path, text).unwrap() }
    }
    folder
}

/// Columns of numbers are written as numbers, whole ones as whole numbers.
fn write(text: &str, path: &Path) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let names: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let column = |(index, name): (usize, &String)| {
        let cells: Vec<Option<&str>> = rows.iter().map(|row| row.get(index).filter(|cell| !cell.is_empty())).collect();
        let floats: Option<Vec<Option<f64>>> = cells.iter().map(|cell| cell.map(str::parse).transpose().ok()).collect();
        let whole: Option<Vec<Option<i64>>> = cells.iter().map(|cell| cell.map(str::parse).transpose().ok()).collect();
        match (whole, floats) {
            (Some(numbers), _) => Column::new(name.as_str().into(), numbers),
            (None, Some(numbers)) => Column::new(name.as_str().into(), numbers),
            (None, None) => Column::new(name.as_str().into(), cells),
        }
    };
    let columns: Vec<Column> = names.iter().enumerate().map(column).collect();
    let mut frame = DataFrame::new(rows.len(), columns).unwrap();
    ParquetWriter::new(File::create(path).unwrap()).finish(&mut frame).unwrap();
}

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::default()).unwrap()
}

#[test]
fn a_plant_in_parquet_reads_as_in_csv() {
    let files = [("components", COMPONENTS), ("lists/a", LIST)];
    let (csv, parquet) = (plant(&files, false), plant(&files, true));
    let (csv, parquet) = (read(csv.path()), read(parquet.path()));
    assert_eq!(csv.plant.components, parquet.plant.components);
    let keys = |reading: &Reading| reading.lists.circuits().map(|own| own.key.clone()).collect::<Vec<_>>();
    assert_eq!(keys(&csv), keys(&parquet));
    assert_eq!(keys(&csv).len(), 2);
    for index in 0..2 {
        assert_eq!(csv.lists.lines(index).unwrap().lines, parquet.lists.lines(index).unwrap().lines);
    }
}

/// What is no table, and what breaks off, is one sentence.
#[test]
fn a_parquet_file_that_can_not_be_read_is_told() {
    let files = [("components", COMPONENTS), ("lists/a", LIST)];
    let folder = plant(&files, true);
    let path = folder.path().join("lists/a.parquet");
    let bytes = fs::read(&path).unwrap();
    for broken in [&bytes[..bytes.len() / 2], b"part_no,qty\nA,1\n"] {
        fs::write(&path, broken).unwrap();
        assert_eq!(
            open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string(),
            "lists/a.parquet: the file is truncated, damaged or no Parquet file."
        );
    }
}

/// Files of another writer: dates are refused with a way out, dictionaries and floats of 32 bits are read.
/// The file with the first page of its last column changed, its description with it, so that nothing else is wrong.
fn with_page(file: &[u8], change: impl FnOnce(&mut PageHeader)) -> Vec<u8> {
    let end = file.len() - 8;
    let length = u32::from_le_bytes(file[end..end + 4].try_into().unwrap()) as usize;
    let body = &file[..end - length];
    let input = |bytes| TCompactInputProtocol::new(bytes, usize::MAX);
    let mut described = FileMetaData::read_from_in_protocol(&mut input(&file[end - length..end])).unwrap();
    let column = described.row_groups[0].columns.last_mut().unwrap().meta_data.as_mut().unwrap();
    let first = column.dictionary_page_offset.unwrap_or(column.data_page_offset);
    let at = usize::try_from(first).unwrap();
    let mut rest = &body[at..];
    let mut page = PageHeader::read_from_in_protocol(&mut TCompactInputProtocol::new(&mut rest, usize::MAX)).unwrap();
    change(&mut page);
    let mut header = Vec::new();
    page.write_to_out_protocol(&mut TCompactOutputProtocol::new(&mut header)).unwrap();
    let longer = i64::try_from(header.len()).unwrap() - i64::try_from(body.len() - at - rest.len()).unwrap();
    column.total_compressed_size += longer;
    if column.dictionary_page_offset.is_some() {
        column.data_page_offset += longer;
    }
    let mut bytes = [&body[..at], &header, rest].concat();
    let before = bytes.len();
    described.write_to_out_protocol(&mut TCompactOutputProtocol::new(&mut bytes)).unwrap();
    let length = u32::try_from(bytes.len() - before).unwrap();
    bytes.extend(length.to_le_bytes());
    bytes.extend(b"PAR1");
    bytes
}

/// A page that claims more values than there are rows, or more bytes than any machine has, is told before room is
/// made for it: the process would end.
#[test]
fn a_page_that_claims_what_it_can_not_hold_is_told() {
    let files = [("components", COMPONENTS), ("lists/a", LIST)];
    let folder = plant(&files, true);
    let path = folder.path().join("lists/a.parquet");
    let file = fs::read(&path).unwrap();
    let lines = |bytes: &[u8]| {
        fs::write(&path, bytes).unwrap();
        open(folder.path(), None, NaiveDate::default()).map(|reading| reading.lists.circuits().len())
    };
    assert_eq!(lines(&with_page(&file, |_| {})).unwrap(), 2, "the file as it was, described anew");
    let values = |page: &mut PageHeader, claimed: i32| {
        let words = page.dictionary_page_header.as_mut().map(|page| &mut page.num_values);
        let cells = page.data_page_header.as_mut().map(|page| &mut page.num_values);
        *words.or(cells).unwrap() = claimed;
    };
    let claims: [(&str, &dyn Fn(&mut PageHeader)); 5] = [
        ("as many values as can be said", &|page| values(page, i32::MAX)),
        ("less than no values", &|page| values(page, -1)),
        ("as many bytes as can be said", &|page| page.uncompressed_page_size = i32::MAX),
        ("less than no bytes", &|page| page.uncompressed_page_size = -1),
        ("bytes beyond the file", &|page| page.compressed_page_size = i32::MAX),
    ];
    for (claim, change) in claims {
        let told = lines(&with_page(&file, change))
            .map_or_else(|error| error.to_string(), |lines| format!("{lines} circuits read"));
        assert!(told.contains("a.parquet: the file is truncated, damaged or no Parquet file."), "{claim}: {told}");
    }
}

#[test]
fn files_of_another_writer_are_read_or_told() {
    let foreign = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/pyarrow");
    let folder = plant(&[("components", "part_no,kind\nA,clamp\nB,other\n")], false);
    let copy = |name: &str| fs::copy(foreign.join(name), folder.path().join("lists/a.parquet")).unwrap();
    copy("dates.parquet");
    assert_eq!(
        open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string(),
        "lists/a.parquet: the column 'fitted_on' is kept as dates, which are not read from Parquet; write numbers of 32 or 64 bits or text, dates as text such as 2026-03-31, or save the table as CSV."
    );
    copy("words.parquet");
    let lines = read(folder.path()).lists.lines(0).unwrap().lines;
    // As made.py beside the file says: a float32 of 0.1 m is 0.1 m.
    let lengths: Vec<Option<f64>> =
        lines.iter().map(|line| line.length.value().map(clampbook::physics::quantity::Length::si)).collect();
    assert_eq!(lengths, [Some(0.1), None, Some(2.5)]);
    assert_eq!(lines.iter().map(|line| line.origin.row).collect::<Vec<_>>(), [2, 3, 4]);
}
