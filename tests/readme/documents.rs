//! The tables of the README, made from the code: they stand there between two markers, and a
//! test fails when a copy is stale.

use std::fmt::Write;

use clampbook::physics::formulas::{FORMULAS, SURENESS_FORMULAS};
use clampbook::physics::unit::UNITS;
use clampbook::rules::catalogue::CATALOGUE;
use clampbook::tables::column::Table;
use clampbook::tables::policy::LIMITS;

use clampbook::report::cautions::{CAUTIONS, LIMITS_OF_VALIDITY};
use clampbook::report::column_pages::{coded, holds};
use clampbook::report::policy_keys::policy_keys;

/// A generated part of a document.
#[derive(Clone, Copy)]
pub struct Part {
    /// The name in its markers: `<!-- columns -->` and `<!-- /columns -->`.
    pub name: &'static str,
    /// Makes its Markdown.
    pub text: fn() -> String,
}

/// Every part.
pub static PARTS: &[Part] = &[
    Part { name: "cautions", text: || bullets(CAUTIONS) },
    Part { name: "validity", text: || bullets(LIMITS_OF_VALIDITY) },
    Part { name: "formulas", text: formulas },
    Part { name: "columns", text: columns },
    Part { name: "units", text: units },
    Part { name: "rules", text: rules },
    Part { name: "policy", text: policy },
];

/// The document with every part as the code has it now.
///
/// # Errors
/// A sentence where a marker is missing, comes twice or is not closed.
pub fn refreshed(document: &str) -> Result<String, String> {
    PARTS.iter().try_fold(document.to_owned(), |document, part| replaced(&document, part.name, &(part.text)()))
}

fn replaced(document: &str, name: &str, text: &str) -> Result<String, String> {
    let (open, close) = (format!("<!-- {name} -->\n"), format!("<!-- /{name} -->\n"));
    let mut before_and_rest = document.split(&open);
    let (Some(before), Some(rest), None) = (before_and_rest.next(), before_and_rest.next(), before_and_rest.next())
    else {
        return Err(format!("The marker <!-- {name} --> stands not exactly once on a line of its own."));
    };
    let mut inside_and_after = rest.split(&close);
    let (Some(_), Some(after), None) = (inside_and_after.next(), inside_and_after.next(), inside_and_after.next())
    else {
        return Err(format!("The marker <!-- /{name} --> stands not exactly once below <!-- {name} -->."));
    };
    Ok(format!("{before}{open}\n{text}\n{close}{after}"))
}

fn bullets(sentences: &[&str]) -> String {
    sentences.iter().fold(String::new(), |text, sentence| text + "- " + sentence + "\n")
}

fn formulas() -> String {
    let mut text = String::from("| figure | in SI | formula | holds for | source |\n| --- | --- | --- | --- | --- |\n");
    for formula in FORMULAS.iter().chain(SURENESS_FORMULAS) {
        let [figure, symbols, validity, source] =
            [formula.figure, formula.formula, formula.validity, formula.source].map(cell);
        let _ = writeln!(text, "| {figure} | {} | {symbols} | {validity} | {source} |", formula.unit);
    }
    text
}

fn columns() -> String {
    let mut text = String::new();
    for table in Table::ALL {
        let gap = if text.is_empty() { "" } else { "\n" };
        let _ = writeln!(text, "{gap}### {}\n\n| column | holds | meaning |\n| --- | --- | --- |", titled(*table));
        for column in table.columns() {
            let required = if column.required { " **Required.**" } else { "" };
            let _ = writeln!(text, "| `{}` | {} | {}.{required} |", column.name, holds(column), cell(column.meaning));
        }
    }
    text
}

const fn titled(table: Table) -> &'static str {
    match table {
        Table::Lists => "Lists (`lists/`)",
        Table::Components => "Component table (`components`)",
        Table::Circuits => "Circuits (`circuits`)",
        Table::Stations => "Load stations (`stations`)",
        Table::Orders => "Orders (`orders`)",
        Table::Waivers => "Waivers (`waivers`)",
    }
}

fn units() -> String {
    let mut text = String::from("| quantity | units |\n| --- | --- |\n");
    let mut dimensions: Vec<_> = UNITS.iter().map(|unit| unit.dimension).collect();
    dimensions.dedup();
    for dimension in dimensions {
        let names: Vec<&str> =
            UNITS.iter().filter(|unit| unit.dimension == dimension).map(|unit| unit.symbol).collect();
        let _ = writeln!(text, "| {} | {} |", dimension.name(), coded(&names));
    }
    text
}

fn rules() -> String {
    let mut text = String::from(
        "| code | severity | subject | finding | looks for | limits | basis |\n| --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for rule in CATALOGUE {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} |",
            rule.code,
            rule.severity.word(),
            rule.subject.word(),
            cell(rule.title),
            cell(rule.looks_for),
            coded(rule.limits),
            cell(rule.basis)
        );
    }
    text
}

fn policy() -> String {
    let mut text = String::from("| key | default | takes | meaning |\n| --- | --- | --- | --- |\n");
    for key in policy_keys().into_iter().filter(|key| key.section != "rules") {
        let name = if key.section.is_empty() { key.key.clone() } else { format!("[{}] {}", key.section, key.key) };
        let default =
            if key.is_example { format!("none; such as `{}`", key.default) } else { format!("`{}`", key.default) };
        let source = if key.source.is_empty() { String::new() } else { format!(" ({})", key.source) };
        let _ = writeln!(text, "| `{name}` | {default} | {} | {}{source}. |", cell(&key.range), cell(&key.meaning));
    }
    let _ = writeln!(
        text,
        "\n`[rules]` takes the code of each rule, such as `P05 = \"minor\"`, with `\"major\"`, `\"minor\"`, `\"observation\"` or `\"off\"`. \
         {} limits, {} rules.",
        LIMITS.len(),
        CATALOGUE.len()
    );
    text
}

/// Text for a cell of a Markdown table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('*', "\\*").replace('<', "&lt;").replace("`\\*`", "`*`")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_replaced_between_its_markers_and_nowhere_else() {
        let old = "one\n<!-- x -->\nold\n<!-- /x -->\ntwo\n";
        let new = "one\n<!-- x -->\n\nnew\n<!-- /x -->\ntwo\n";
        assert_eq!(replaced(old, "x", "new").as_deref(), Ok(new));
        assert_eq!(replaced(new, "x", "new").as_deref(), Ok(new));
    }

    #[test]
    fn a_lost_or_doubled_marker_is_said() {
        for text in
            ["", "<!-- x -->\n", "<!-- /x -->\n<!-- x -->\n", "<!-- x -->\n<!-- /x -->\n<!-- x -->\n<!-- /x -->\n"]
        {
            assert!(replaced(text, "x", "new").is_err(), "{text}");
        }
    }

    #[test]
    fn every_row_of_a_table_is_as_wide_as_its_header() {
        for part in PARTS {
            let text = (part.text)();
            let mut width = None;
            for line in text.lines() {
                if !line.starts_with('|') {
                    width = None;
                    continue;
                }
                let bars = line.replace("\\|", "").matches('|').count();
                assert_eq!(*width.get_or_insert(bars), bars, "{line}");
            }
        }
    }
}
