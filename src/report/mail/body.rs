//! The text of the mail: the same blocks as plain text and as HTML without colour.

use std::fmt::Write as _;

use crate::audit::counts::SeverityCounts;
use crate::report::cautions::CAUTIONS;
use crate::report::summary::RunSummary;
use crate::rules::catalogue::rule;
use crate::rules::relaxed::sentence;

use super::digest::{Digest, Item, Items};
use super::subject::counted;

/// Width of the plain text; a mail's lines have at most 78 characters (RFC 5322, 2.1.1).
const WIDTH: usize = 76;
/// Pallets that the mail lists.
const PALLETS: usize = 40;

/// A piece of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    Heading(String),
    Paragraph(String),
    List(Vec<String>),
    Table { head: Vec<&'static str>, rows: Vec<Vec<String>> },
}

/// The text of the mail, block by block.
#[must_use]
pub fn blocks(digest: &Digest) -> Vec<Block> {
    let summary = &digest.summary;
    let mut blocks = vec![Block::Heading(format!("Clamping audit of {}", summary.date))];
    blocks.push(Block::Paragraph(verdicts(summary)));
    blocks.extend(sentence(&summary.rules_off, &summary.rules_observed).map(Block::Paragraph));
    blocks.push(Block::List(counts(summary)));
    let majors = if summary.has_previous { "New majors" } else { "Majors" };
    listed(&mut blocks, majors, "sheet Findings", &digest.majors);
    if summary.has_previous {
        listed(&mut blocks, "Cleared since the previous run", "sheet Changes", &digest.cleared);
    }
    pallets(&mut blocks, summary);
    if !summary.worst.is_empty() {
        blocks.push(Block::Heading("Circuits with the most majors and minors".to_owned()));
        let place = |c: &crate::audit::counts::WorstCircuit| joined(&[&c.plant, &c.pallet, &c.fixture, &c.circuit]);
        blocks.push(Block::List(summary.worst.iter().map(|c| format!("{}: {}", place(c), c.sentence)).collect()));
    }
    if digest.not_assessed.total > 0 {
        listed(&mut blocks, "Circuits not assessed", "sheet Circuits", &digest.not_assessed);
    }
    blocks.push(Block::Paragraph("The whole report is attached as a workbook.".to_owned()));
    blocks.push(Block::Heading("Cautions".to_owned()));
    blocks.push(Block::List(CAUTIONS.iter().map(|caution| (*caution).to_owned()).collect()));
    let policy = summary.policy_hash.get(..12).unwrap_or(&summary.policy_hash);
    blocks
        .push(Block::Paragraph(format!("Made by {}, policy {policy}. This mail was sent by a program.", summary.tool)));
    blocks
}

fn verdicts(summary: &RunSummary) -> String {
    let circuits = &summary.circuits;
    let plants: Vec<&str> = summary.plants.iter().map(String::as_str).filter(|plant| !plant.is_empty()).collect();
    let of_plants = match plants.as_slice() {
        [] => String::new(),
        [plant] => format!(" of plant {plant}"),
        _ => format!(" of the plants {}", plants.join(", ")),
    };
    format!(
        "Of {}{of_plants} {} conform, {} conform with waivers, {} do not conform and {} are not assessed.",
        counted(circuits.total, "circuit", "circuits"),
        circuits.conforms,
        circuits.conforms_with_waivers,
        circuits.does_not_conform,
        circuits.not_assessed
    )
}

fn counts(summary: &RunSummary) -> Vec<String> {
    let of = |what: &str, counts: &SeverityCounts| {
        let majors = counted(counts.majors, "major", "majors");
        let minors = counted(counts.minors, "minor", "minors");
        let observations = counted(counts.observations, "observation", "observations");
        format!("{what}: {majors}, {minors}, {observations}, {} waived", counts.waived)
    };
    let mut lines = vec![of("Circuits and parts", &summary.findings)];
    if summary.purchasing != SeverityCounts::default() {
        lines.push(of("Purchasing", &summary.purchasing));
    }
    if summary.waivers != SeverityCounts::default() {
        lines.push(of("Waivers", &summary.waivers));
    }
    lines.push(if summary.has_previous {
        let changes = &summary.changes;
        let (new, standing, cleared) = (changes.new, changes.standing, changes.cleared);
        format!("Against the previous run: {new} new, {standing} standing, {cleared} cleared")
    } else {
        "There is no previous run to compare with".to_owned()
    });
    let lines_of_lists = summary.lines;
    lines.push(format!("Lines: {} read, {} set aside", lines_of_lists.read, lines_of_lists.set_aside));
    if let Some(sure) = &summary.sure {
        let (sure, advice) = sure.in_words();
        lines.push(sure);
        lines.extend(advice);
    }
    lines
}

fn listed(blocks: &mut Vec<Block>, title: &str, sheet: &str, items: &Items) {
    blocks.push(Block::Heading(format!("{title}: {}", items.total)));
    if items.total == 0 {
        return;
    }
    let mut lines: Vec<String> = items.first.iter().map(line).collect();
    let more = items.total - items.first.len() as u64;
    if more > 0 {
        lines.push(format!("and {more} more, on {sheet} of the workbook"));
    }
    blocks.push(Block::List(lines));
}

fn line(item: &Item) -> String {
    let name = rule(&item.rule).map_or("", |rule| rule.name);
    let title = joined_by(" ", &[&item.rule, name]);
    let what = joined_by(", ", &[&title, &item.place]);
    joined_by(": ", &[&what, &item.text])
}

fn pallets(blocks: &mut Vec<Block>, summary: &RunSummary) {
    if summary.by_pallet.is_empty() {
        return;
    }
    blocks.push(Block::Heading("By plant and pallet".to_owned()));
    let head = vec!["Plant", "Pallet", "Circuits", "Conform", "Do not", "Not assessed", "Majors", "Minors"];
    let rows = summary.by_pallet.iter().take(PALLETS).map(|pallet| {
        let circuits = &pallet.circuits;
        let numbers = [
            circuits.total,
            circuits.conforming(),
            circuits.does_not_conform,
            circuits.not_assessed,
            pallet.majors,
            pallet.minors,
        ];
        let mut row = vec![pallet.plant.clone(), pallet.pallet.clone()];
        row.extend(numbers.map(|number| number.to_string()));
        row
    });
    blocks.push(Block::Table { head, rows: rows.collect() });
    if summary.by_pallet.len() > PALLETS {
        let more = summary.by_pallet.len() - PALLETS;
        blocks.push(Block::Paragraph(format!("and {more} more pallets, on sheet Summary of the workbook.")));
    }
}

fn joined(parts: &[&str]) -> String {
    joined_by(" / ", parts)
}

fn joined_by(separator: &str, parts: &[&str]) -> String {
    let named: Vec<&str> = parts.iter().copied().filter(|part| !part.is_empty()).collect();
    named.join(separator)
}

/// The plain text, in lines of at most 76 characters where words allow.
#[must_use]
pub fn plain(blocks: &[Block]) -> String {
    let mut text = String::new();
    for block in blocks {
        match block {
            Block::Heading(heading) => {
                let heading = single_line(heading);
                let _ = writeln!(text, "{heading}\n{}", "-".repeat(heading.chars().count()));
            }
            Block::Paragraph(paragraph) => wrap(&mut text, "", "", paragraph),
            Block::List(items) => items.iter().for_each(|item| wrap(&mut text, "- ", "  ", item)),
            Block::Table { head, rows } => plain_table(&mut text, head, rows),
        }
        text.push('\n');
    }
    text
}

fn wrap(text: &mut String, first: &str, further: &str, content: &str) {
    let mut line = first.to_owned();
    let mut is_empty = true;
    for word in single_line(content).split(' ').filter(|word| !word.is_empty()) {
        if !is_empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            let _ = writeln!(text, "{line}");
            further.clone_into(&mut line);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    let _ = writeln!(text, "{line}");
}

fn plain_table(text: &mut String, head: &[&str], rows: &[Vec<String>]) {
    let head: Vec<String> = head.iter().map(|cell| (*cell).to_owned()).collect();
    let rows: Vec<Vec<String>> =
        std::iter::once(&head).chain(rows).map(|row| row.iter().map(|cell| single_line(cell)).collect()).collect();
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..head.len()).map(|column| width(column).unwrap_or(0)).collect();
    for row in &rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        let _ = writeln!(text, "{}", cells.join("  ").trim_end());
    }
}

/// The HTML alternative: structure and borders, no colour and nothing to fetch.
#[must_use]
pub fn html(title: &str, blocks: &[Block]) -> String {
    let mut text = String::from("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    let _ = writeln!(text, "<title>{}</title>\n</head>\n<body>", escaped(title));
    for block in blocks {
        match block {
            Block::Heading(heading) => _ = writeln!(text, "<h2>{}</h2>", escaped(heading)),
            Block::Paragraph(paragraph) => _ = writeln!(text, "<p>{}</p>", escaped(paragraph)),
            Block::List(items) => {
                text.push_str("<ul>\n");
                for item in items {
                    _ = writeln!(text, "<li>{}</li>", escaped(item));
                }
                text.push_str("</ul>\n");
            }
            Block::Table { head, rows } => html_table(&mut text, head, rows),
        }
    }
    text.push_str("</body>\n</html>\n");
    text
}

fn html_table(text: &mut String, head: &[&str], rows: &[Vec<String>]) {
    text.push_str("<table border=\"1\" cellspacing=\"0\" cellpadding=\"4\">\n<tr>");
    for cell in head {
        _ = write!(text, "<th align=\"left\">{}</th>", escaped(cell));
    }
    text.push_str("</tr>\n");
    for row in rows {
        text.push_str("<tr>");
        for cell in row {
            _ = write!(text, "<td>{}</td>", escaped(cell));
        }
        text.push_str("</tr>\n");
    }
    text.push_str("</table>\n");
}

/// Text from the user's files without what could break out of its line.
fn single_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in single_line(text).chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            _ => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_of_the_user_can_not_become_markup() {
        let blocks = [Block::Paragraph("<b onload=\"x\">F&1\r\n.\r\n</b>".to_owned())];
        assert!(html("<t>", &blocks).contains("<p>&lt;b onload=&quot;x&quot;&gt;F&amp;1  .  &lt;/b&gt;</p>"));
        assert!(html("<t>", &blocks).contains("<title>&lt;t&gt;</title>"));
        assert_eq!(plain(&blocks), "<b onload=\"x\">F&1 . </b>\n\n");
    }

    #[test]
    fn lines_wrap_between_words_and_keep_every_word() {
        let words: Vec<String> = (0..60).map(|number| format!("word{number}")).collect();
        let text = plain(&[Block::List(vec![words.join(" ")])]);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().skip(1).filter(|line| !line.is_empty()).all(|line| line.starts_with("  word")));
        let back: Vec<&str> = text.trim_start_matches("- ").split_whitespace().collect();
        assert_eq!(back, words);
    }

    #[test]
    fn what_is_not_listed_is_counted() {
        let item = Item { rule: String::new(), place: "F1".to_owned(), text: "why".to_owned() };
        let mut blocks = Vec::new();
        listed(&mut blocks, "New majors", "sheet Findings", &Items { first: vec![item], total: 3 });
        assert_eq!(
            plain(&blocks),
            "New majors: 3\n-------------\n\n- F1: why\n- and 2 more, on sheet Findings of the workbook\n\n"
        );
    }
}
