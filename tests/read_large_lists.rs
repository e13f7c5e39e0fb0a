//! Lists too large to be kept: the chunks of the first pass and the runs of the second must give
//! every line once, with its own row number.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::NaiveDate;
use clampbook::read::open;

/// A sequence that is the same in every run.
struct Sequence(u64);

impl Sequence {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % limit
    }
}

/// What each circuit must read as: row number, position, pieces, length in tenths of a millimetre.
type Wanted = BTreeMap<String, Vec<(u32, String, u64, u64)>>;

fn list(rows: u32, quotes: bool, line_break: &str, shuffled: bool) -> (String, Wanted) {
    let mut text =
        format!("Clamps of everything{line_break}plant,fixture,position,part_no,qty,length [mm],note{line_break}");
    let (mut random, mut wanted, mut number) = (Sequence(7), Wanted::new(), 2);
    for index in 0..rows {
        number += 1;
        let fixture = if shuffled { random.below(50) } else { u64::from(index / 20) };
        let (qty, tenths) = (1 + random.below(9), 10 + random.below(20_000));
        let length = format!("{}.{}", tenths / 10, tenths % 10);
        let position = format!("P{}", random.below(100));
        match random.below(if quotes { 5 } else { 2 }) {
            0 => write!(text, "A,F{fixture:05},{position},TB-1,{qty},{length},{line_break}"),
            1 => write!(text, " A , F{fixture:05},{position},TB-1,{qty},{length},plain note{line_break}"),
            2 => write!(text, "\"A\",\"F{fixture:05}\",\"{position}\",TB-1,{qty},\"{length}\",\"two{line_break}lines, one row\"{line_break}"),
            3 => write!(text, "A,F{fixture:05},{position},\"TB-1\",{qty},{length},\"said \"\"so\"\"\"{line_break}"),
            _ => write!(text, "A,F{fixture:05},{position},TB-1,{qty},{length},1/4\" tube{line_break}"),
        }
        .unwrap();
        wanted.entry(format!("A / F{fixture:05} / 1")).or_default().push((number, position, qty, tenths));
        if random.below(50) == 0 {
            write!(text, ",,,,,,{line_break}{line_break}").unwrap();
            number += 2;
        }
    }
    (text, wanted)
}

#[test]
fn every_line_is_read_once_with_its_row() {
    // A list whose circuits come back again and again is held as a whole, up to `memory_mib`: the last is not.
    for (quotes, line_break, shuffled, rows) in [
        (false, "\n", false, 120_000),
        (false, "\r\n", false, 120_000),
        (true, "\n", false, 120_000),
        (true, "\r\n", true, 120_000),
        (true, "\r", false, 120_000),
        (false, "\n", true, 120_000),
        (false, "\n", true, 600_000),
    ] {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("lists")).unwrap();
        std::fs::write(
            folder.path().join("components.csv"),
            "part_no,kind,inner_diameter,rated_pressure\nTB-1,tube,4,400\n",
        )
        .unwrap();
        let (text, wanted) = list(rows, quotes, line_break, shuffled);
        assert!(text.len() > if rows > 120_000 { 16 << 20 } else { 3 << 20 });
        std::fs::write(folder.path().join("policy.toml"), "[bounds]\nmemory_mib = 16\n").unwrap();
        std::fs::write(folder.path().join("lists/all.csv"), &text).unwrap();
        let reading = open(folder.path(), None, NaiveDate::default()).unwrap();
        let mut found = Wanted::new();
        for (index, circuit) in reading.lists.circuits().enumerate() {
            let parsed = reading.lists.lines(index).unwrap();
            assert_eq!(parsed.notes, []);
            assert_eq!(parsed.lines.len() as u64, circuit.rows);
            let lines = parsed.lines.into_iter().map(|line| {
                let tenths = line.length.value().map_or(0.0, |length| length.mm() * 10.0);
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                (
                    line.origin.row,
                    line.position.to_string(),
                    line.qty.value().unwrap_or(0.0) as u64,
                    tenths.round() as u64,
                )
            });
            found.insert(circuit.key.to_string(), lines.collect());
        }
        assert_eq!(found.len(), wanted.len(), "{quotes} {line_break:?} {shuffled}");
        for (key, lines) in &wanted {
            assert_eq!(found.get(key), Some(lines), "{key} {quotes} {line_break:?} {shuffled}");
        }
        let list = reading.plant.sources.iter().find(|source| source.file.starts_with("lists")).unwrap();
        assert_eq!((list.rows_read, list.rows_skipped, list.rows_set_aside), (u64::from(rows) + 1, 1, 0));
        assert_eq!(list.sha256.len(), 64);
    }
}

#[test]
fn a_large_list_of_another_encoding_is_read_as_a_whole() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("lists")).unwrap();
    std::fs::write(
        folder.path().join("components.csv"),
        "part_no,kind,inner_diameter,rated_pressure\nTB-1,tube,4,400\n",
    )
    .unwrap();
    let (text, wanted) = list(60_000, false, "\n", false);
    let bytes: Vec<u8> =
        text.replace("plain note", "L\u{e4}nge").chars().map(|letter| u8::try_from(letter).unwrap()).collect();
    std::fs::write(folder.path().join("lists/all.csv"), bytes).unwrap();
    let reading = open(folder.path(), None, NaiveDate::default()).unwrap();
    assert_eq!(reading.lists.circuits().len(), wanted.len());
    assert_eq!(reading.plant.sources[1].remarks, ["Read as Windows-1252."]);
    let rows = reading.lists.rows(0).unwrap();
    assert!(rows.iter().any(|row| row.cells.last().is_some_and(|note| note == "Länge")));
}
