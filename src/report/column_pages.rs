//! The columns of the tables as plain text.

use std::fmt::Write;

use crate::tables::column::Table;

use super::documents::holds;
use super::rule_pages::wrapped;

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
            let _ =
                write!(text, "{}", wrapped(&format!("{}: {}{required}.", column.name, plain(&holds(column))), "  "));
            text.push_str(&wrapped(&format!("{}.", plain(column.meaning)), "      "));
        }
    }
    text
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
