//! The columns of the tables as plain text.

use std::fmt::Write;

use crate::physics::unit::UnitSystem;
use crate::tables::column::{Column, Holds, Table};

use super::rule_pages::on_page;
use super::starter::table::unstated_unit;

/// Every column of the tables: its name, what its cells hold with the units that numbers have where
/// neither cell nor header states one, its meaning and what a blank counts as.
#[must_use]
pub fn columns(tables: &[Table]) -> String {
    let mut text = String::new();
    for table in tables {
        let gap = if text.is_empty() { "" } else { "\n" };
        let _ = writeln!(text, "{gap}{}", table.word());
        for column in table.columns() {
            let required = if column.required { "; required" } else { "" };
            let _ = write!(text, "{}", on_page(&format!("{}: {}{required}.", column.name, plain(&holds(column))), 2));
            text.push_str(&on_page(&format!("{}.", plain(column.meaning)), 6));
        }
    }
    text
}

/// What a column holds, with the units that it has without one in the header.
#[must_use]
pub fn holds(column: &Column) -> String {
    match column.holds {
        Holds::Text => "text".to_owned(),
        Holds::PartNo => "part number".to_owned(),
        Holds::Number => "number".to_owned(),
        Holds::Share => "0 to 1".to_owned(),
        Holds::PerLength => "number for each mm (in)".to_owned(),
        Holds::Money => "money".to_owned(),
        Holds::Date => "date".to_owned(),
        Holds::Word(words) => format!("one of {}", coded(words)),
        Holds::Words(words) if words.len() > 6 => "words, the kinds".to_owned(),
        Holds::Words(words) => format!("words of {}", coded(words)),
        Holds::Quantity(..) | Holds::Temperature => quantity(column),
    }
}

fn quantity(column: &Column) -> String {
    let dimension = match column.holds {
        Holds::Quantity(dimension, _) => dimension.name(),
        _ => "temperature",
    };
    match (unstated_unit(column, UnitSystem::Metric), unstated_unit(column, UnitSystem::Us)) {
        (Some(metric), Some(us)) if metric == us => format!("{dimension}, {}", metric.name),
        (Some(metric), Some(us)) => format!("{dimension}, {} or {}", metric.name, us.name),
        _ => dimension.to_owned(),
    }
}

/// Words as code, one behind the other.
#[must_use]
pub fn coded(words: &[&str]) -> String {
    words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}

/// Without the signs that mark code in a document.
fn plain(text: &str) -> String {
    text.replace('`', "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_is_told_once_with_its_meaning() {
        for table in Table::ALL {
            let text = columns(&[*table]);
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            for column in table.columns() {
                let heads = text.lines().filter(|line| line.starts_with(&format!("  {}:", column.name)));
                assert_eq!(heads.count(), 1, "{}", column.name);
                let meaning = plain(column.meaning).split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(flat.contains(&meaning), "{}", column.name);
            }
        }
    }
}
