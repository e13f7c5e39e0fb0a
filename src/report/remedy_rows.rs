//! Rows of `remedies.csv`.

use crate::remedy::remedy_row::RemedyRow;
use crate::tables::value::Value;

use crate::report::data_rows::CsvRow;

/// Columns of `remedies.csv`.
pub const REMEDY_COLUMNS: &[&str] = &[
    "change",
    "part_from",
    "part_to",
    "setting",
    "unit",
    "plant",
    "pallet",
    "fixture",
    "circuit",
    "position",
    "rules",
    "cleared",
    "price",
    "currency",
    "applied",
];

/// A remedy's row.
pub fn remedy_row(out: &mut Vec<u8>, remedy: &RemedyRow) {
    let setting = remedy.setting.as_ref().and_then(Value::metric);
    let mut row = CsvRow::new(out);
    row.text(remedy.change).text(&remedy.part_from).text(&remedy.part_to);
    row.number(setting.map(|(number, _)| number)).text(setting.map_or("", |(_, unit)| unit));
    row.text(&remedy.place.plant).text(&remedy.place.pallet).text(&remedy.place.fixture).text(&remedy.place.circuit);
    row.text(&remedy.position).text(&remedy.rules.join(" ")).text(&remedy.cleared.to_string());
    row.text(&remedy.price.map(|price| price.normalize().to_string()).unwrap_or_default()).text(&remedy.currency);
    row.text(&remedy.applied);
    row.end();
}
