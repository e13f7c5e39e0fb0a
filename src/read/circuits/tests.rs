//! A table that is read in stretches against the same one held as a whole.

use std::fmt::Write as _;
use std::path::Path;

use chrono::NaiveDate;

use super::*;
use crate::read::table;
use crate::read::text_file::Room;
use crate::tables::circuit::CircuitKey;

/// What both ways must come to.
#[derive(Debug, PartialEq)]
struct Outcome {
    source: Source,
    notes: Vec<InputNote>,
    circuits: Vec<(CircuitKey, Service)>,
    set_aside: u64,
}

fn outcome(source: Source, mut notes: Vec<InputNote>, read: ReadCircuits) -> Outcome {
    notes.sort_by_key(|note| note.origin);
    let set_aside = read.set_aside;
    let (names, ranks) = read.names.clone().in_order();
    let numbers: Vec<u32> = (0..).take(read.keys.len() * 4).collect();
    let services = read.ranked(&numbers, &ranks, Arc::new(names));
    let circuits = services.iter().map(|(key, service)| (key, service.to_service())).collect();
    Outcome { source, notes, circuits, set_aside }
}

fn policy() -> Policy {
    Policy::at(NaiveDate::default())
}

fn opened(path: &Path, whole: bool) -> TextFile {
    TextFile::open("circuits.csv", path, &policy().bounds, &Room::default(), whole).unwrap()
}

/// The table read in stretches, nothing where that does not do; and as a whole.
fn both_ways(bytes: &[u8]) -> (Option<Outcome>, Outcome) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("circuits.csv");
    std::fs::write(&path, bytes).unwrap();
    let (on_disk, policy) = (opened(&path, false), policy());
    assert!(!on_disk.is_in_memory(), "{} bytes", bytes.len());
    let one = in_stretches(&on_disk, &policy).unwrap().map(|read| outcome(read.source, read.notes, read.body.unwrap()));
    let mut loaded = table::of_text(&opened(&path, true), Table::Circuits, &policy).unwrap();
    let grid = loaded.body.take().unwrap();
    let read = read(&grid.layout, grid.rows, 0, &mut loaded.notes);
    (one, outcome(loaded.source, loaded.notes, read))
}

/// Rows of some MiB, more than a stretch; of them there are so many as `rows`, and each stands where `row` puts it.
fn table(rows: usize, delimiter: char, end: &str, mut row: impl FnMut(usize) -> Option<String>) -> String {
    let columns = ["plant", "pallet", "fixture", "circuit", "station", "pressure_set", "temp_min", "remark"];
    let mut text = columns.map(str::to_owned).join(&delimiter.to_string()) + end;
    for index in 0..rows {
        match row(index) {
            Some(row) => text.push_str(&row),
            None => {
                let cells =
                    ["Tarnholm", &format!("P{}", index / 8), "F1", &format!("{index}"), "LS-1", "200", "5", "as it is"];
                text.push_str(&cells.join(&delimiter.to_string()));
            }
        }
        let _ = write!(text, "{end}");
    }
    text
}

/// Rows of which a table has more than one stretch.
const MANY: usize = 130_000;

#[test]
fn stretches_come_to_the_same_as_the_whole() {
    // Rows that are odd in one way or another, now and then, and where a stretch ends.
    let odd = |index: usize| -> Option<String> {
        let row = match index % 9_973 {
            17 => "Tarnholm,P1,F1,17,LS-1,200,5,as it is".to_owned(),
            18 => String::new(),
            19 => ",,,,,,,".to_owned(),
            20 => "plant,pallet,fixture,circuit,station,pressure_set,temp_min,remark".to_owned(),
            21 => format!("Tarnholm,P2,F1,{index},LS-1,200,5,as it is,,"),
            22 => format!("Tarnholm,P2,F1,{index},LS-1,20O,5,as it is"),
            23 => format!("\"Tarn\nholm\",P2,F1,{index},\"LS \"\"1\"\"\",\"200\",5,\"one\nand, two\""),
            24 => format!("Tarnholm,P2,F1,{index},LS-1"),
            25 => format!("Tarnholm,\u{c4}\u{308},F1,{index},LS-1,\"200\"x,5,"),
            _ => return None,
        };
        Some(row)
    };
    for end in ["\n", "\r\n", "\r"] {
        for mark in ["", "\u{feff}", "sep=,\n"] {
            let text = mark.to_owned() + &table(MANY, ',', end, odd);
            assert!(text.len() > 5 << 20, "{} bytes", text.len());
            let (stretches, whole) = both_ways(text.as_bytes());
            assert!(whole.set_aside > 0 && whole.notes.len() > 50, "{whole:?}");
            assert_eq!(stretches.as_ref(), Some(&whole), "{end:?} {mark:?}");
        }
    }
}

#[test]
fn a_quoted_cell_may_stand_where_a_stretch_ends() {
    // Cells of several rows each, so that some lie across the end of every stretch.
    let text = table(MANY, ',', "\n", |index| {
        Some(format!("Tarnholm,P{},F1,{index},LS-1,200,5,\"{}\"", index / 8, "one\n, two\n".repeat(3)))
    });
    let (stretches, whole) = both_ways(text.as_bytes());
    assert_eq!(stretches, Some(whole));
}

#[test]
fn numbers_are_read_as_rows_far_below_tell() {
    // `1,234` is unclear by itself; the last row shows that the comma stands before decimals.
    let last = |cell: &'static str| {
        move |index: usize| {
            let number = if index + 1 == MANY { cell } else { "1,234" };
            Some(format!("Tarnholm;P{};F1;{index};LS-1;{number};5;as it is", index / 8))
        }
    };
    let value = |cell: &'static str| {
        let (stretches, whole) = both_ways(table(MANY, ';', "\n", last(cell)).as_bytes());
        assert_eq!(stretches.as_ref(), Some(&whole), "{cell}");
        whole.circuits.first().map(|(_, service)| format!("{:?}", service.pressure_set))
    };
    let (decimals, thousands) = (value("12,5"), value("1,234.5"));
    assert_ne!(decimals, thousands);
}

#[test]
fn rows_with_more_blank_cells_far_below_are_told_by_all_of_them() {
    let all_have = table(MANY, ',', "\n", |index| Some(format!("Tarnholm,P1,F1,{index},LS-1,200,5,as it is,,")));
    let (stretches, whole) = both_ways(all_have.as_bytes());
    assert_eq!(stretches.as_ref(), Some(&whole));
    let but_one = table(MANY, ',', "\n", |index| {
        let blank = if index + 1 == MANY { "" } else { ",," };
        Some(format!("Tarnholm,P1,F1,{index},LS-1,200,5,as it is{blank}"))
    });
    let (stretches, of_one) = both_ways(but_one.as_bytes());
    assert_eq!(stretches.as_ref(), Some(&of_one));
    assert_ne!(whole.notes, of_one.notes);
}

#[test]
fn what_must_be_decoded_or_held_as_a_whole_is_left_to_that() {
    let in_last = |cell: &'static str| {
        table(MANY, ',', "\n", |index| (index + 1 == MANY).then(|| format!("Tarnholm,P1,F1,{index},LS-1,200,5,{cell}")))
    };
    assert_eq!(both_ways(in_last("\u{fffd}").as_bytes()).0, None);
    let mut bytes = in_last("M").into_bytes();
    let place = bytes.iter().rposition(|byte| *byte == b'M').unwrap();
    bytes[place] = 0xc4;
    let (stretches, whole) = both_ways(&bytes);
    assert_eq!(stretches, None);
    assert_eq!(whole.source.remarks, ["Read as Windows-1252."]);
}
