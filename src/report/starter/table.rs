//! A table of the starter: headers with units, and the example's cells in the column's order.

use crate::physics::unit::{self, Dimension, Unit, UnitSystem, UnitUse};
use crate::tables::column::{Column, DefaultUnit, Holds, Table};

use super::example;

/// Headers and rows of a table, as text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StarterTable {
    pub table: Table,
    pub headers: Vec<String>,
    /// Each as long as the headers.
    pub rows: Vec<Vec<&'static str>>,
}

impl StarterTable {
    /// The table in a unit system.
    #[must_use]
    pub fn new(table: Table, units: UnitSystem) -> Self {
        let columns = table.columns();
        let headers = columns.iter().map(|column| header(column, units)).collect();
        let cell = |row: example::Row, column: &Column| {
            row.iter().find(|cell| cell.0 == column.name).map_or("", |(_, metric, us)| match units {
                UnitSystem::Metric => metric,
                UnitSystem::Us => us,
            })
        };
        let rows =
            example::rows(table).iter().map(|row| columns.iter().map(|column| cell(row, column)).collect()).collect();
        Self { table, headers, rows }
    }

    /// The table as comma-separated text.
    ///
    /// # Errors
    /// Passed on from the writer.
    pub fn csv(&self) -> Result<Vec<u8>, csv::Error> {
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        writer.write_record(&self.headers)?;
        for row in &self.rows {
            writer.write_record(row)?;
        }
        writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
    }
}

/// The column's name, with its unit where it holds a quantity.
fn header(column: &Column, units: UnitSystem) -> String {
    match unit_of(column, units) {
        Some(unit) => format!("{} [{}]", column.name, unit.symbol),
        None => column.name.to_owned(),
    }
}

/// The unit of the header: the column's own, or a handier one.
fn unit_of(column: &Column, units: UnitSystem) -> Option<&'static Unit> {
    let metric = units == UnitSystem::Metric;
    match column.name {
        "hold_time" => Some(&unit::H),
        "tensile_strength" if metric => Some(&unit::MPA),
        "elastic_modulus" if metric => Some(&unit::GPA),
        "leak" if metric => Some(&unit::CM3_PER_H),
        "leak" => Some(&unit::IN3_PER_H),
        _ => unstated_unit(column, units),
    }
}

/// The unit of a column's numbers where neither cell nor header states one.
#[must_use]
pub fn unstated_unit(column: &Column, units: UnitSystem) -> Option<&'static Unit> {
    match column.holds {
        Holds::Quantity(_, DefaultUnit::Seconds) => Some(&unit::S),
        Holds::Quantity(_, DefaultUnit::Fixed(symbol)) => Unit::find(symbol),
        Holds::Quantity(dimension, DefaultUnit::LeakFlow) => Some(Unit::default_for(dimension, units, UnitUse::Leak)),
        Holds::Quantity(dimension, _) => Some(Unit::default_for(dimension, units, UnitUse::Usual)),
        Holds::Temperature => Some(Unit::default_for(Dimension::Temperature, units, UnitUse::Usual)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_name_their_units() {
        let headers = |table, units| StarterTable::new(table, units).headers;
        let components = headers(Table::Components, UnitSystem::Metric);
        for wanted in [
            "part_no",
            "rated_pressure [bar]",
            "area_clamp [mm2]",
            "elastic_modulus [GPa]",
            "leak [cm3/h]",
            "flow [L/min]",
            "lead_time",
        ] {
            assert!(components.iter().any(|header| header == wanted), "{wanted}");
        }
        let circuits = headers(Table::Circuits, UnitSystem::Us);
        for wanted in ["pressure_set [psi]", "temp_min [degF]", "hold_time [h]", "clamp_time_max [s]", "need_date"] {
            assert!(circuits.iter().any(|header| header == wanted), "{wanted}");
        }
    }

    #[test]
    fn a_table_is_as_wide_as_its_header() {
        let table = StarterTable::new(Table::Circuits, UnitSystem::Metric);
        let text = String::from_utf8(table.csv().unwrap()).unwrap();
        let mut lines = text.split("\r\n");
        let width = |line: Option<&str>| line.map(|line| line.split(',').count());
        assert_eq!(width(lines.next()), Some(table.headers.len()));
        assert_eq!(width(lines.next()), Some(table.headers.len()));
        assert_eq!(lines.next(), Some(""));
    }
}
