use super::*;
use crate::read::names::sample::{names, row};

#[test]
fn a_units_row_gives_the_units() {
    let names = names(Table::Lists);
    let mut layout = names.layout(&row(&["part_no", "qty", "length", "set_pressure"]), "x", 1).unwrap();
    assert_eq!(layout.take_units(&row(&["", "", "3", "bar"]), "x", 2), Ok(false));
    assert_eq!(layout.take_units(&row(&["A1", "2", "", ""]), "x", 2), Ok(false));
    assert_eq!(layout.take_units(&row(&["", "pcs", "[m]", "psi"]), "x", 2), Ok(true));
    assert_eq!(layout.columns.get(2).and_then(|column| column.unit).map(|unit| unit.symbol), Some("m"));
}

#[test]
fn totals_are_told_from_lines() {
    let layout = names(Table::Lists).layout(&row(&["fixture", "part_no", "qty", "note"]), "x", 1).unwrap();
    for (texts, is_total) in [
        (["", "", "48", ""], false),
        (["Total", "", "48", ""], true),
        (["", "Total:", "48", ""], true),
        (["F1", "", "4", ""], false),
        (["F1", "A", "4", "total"], false),
        (["", "", "4", "Grand total"], true),
        (["", "", "4", "spare"], false),
    ] {
        assert_eq!(layout.is_total(&row(&texts)), is_total, "{texts:?}");
    }
}

#[test]
fn a_last_row_of_numbers_is_a_total_where_it_is_the_sum() {
    let layout = names(Table::Lists).layout(&row(&["fixture", "part_no", "qty", "note"]), "x", 1).unwrap();
    let is_total = |last: [&str; 4]| {
        let mut sums = layout.sums_of(&row(&last))?;
        for line in [["F1", "A", "4", ""], ["Sum", "", "4", ""], ["F1", "B", "6", "spare"], ["F2", "", "", ""]] {
            layout.add_to(&mut sums, &row(&line));
        }
        Some(sums.agree())
    };
    // 4 + 6 pieces in 2 lines.
    assert_eq!(is_total(["", "", "10", ""]), Some(true));
    assert_eq!(is_total(["", "", "2", ""]), Some(true));
    assert_eq!(is_total(["", "", "4", ""]), Some(false));
    for line in [["F1", "", "10", ""], ["", "A", "10", ""], ["", "", "10", "spare"], ["", "", "", ""]] {
        assert_eq!(is_total(line), None, "{line:?}");
    }
}
