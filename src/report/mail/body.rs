//! The text of the mail: the same blocks as plain text and as HTML without colour.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use crate::audit::causes::reading_order;
use crate::audit::counts::VerdictCounts;
use crate::report::cautions::CAUTIONS;
use crate::report::plain_text::wrapped;
use crate::report::summary::RunSummary;
use crate::rules::catalogue::rule;
use crate::rules::relaxed::sentence;
use crate::tables::counted::counted_or_no;
use crate::tables::words::Severity;

use super::digest::{Digest, Item};
use super::trend;

/// Width of the plain text; a mail's lines have at most 78 characters (RFC 5322, 2.1.1).
const WIDTH: usize = 76;
/// Lines of the plain text.
const LINES: usize = 40;
/// The picture's content id.
pub const PICTURE: &str = "trend";

/// A piece of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    Heading(String),
    Paragraph(String),
    /// Sentences, each on a line of its own.
    Lines(Vec<String>),
    List(Vec<String>),
    Table {
        head: Vec<&'static str>,
        rows: Vec<Vec<String>>,
    },
    /// A picture that says what the paragraph before it says; HTML alone shows it.
    Picture {
        words: String,
    },
}

/// How much is told one by one; the rest is counted.
#[derive(Clone, Copy, Debug)]
struct Room {
    plants: usize,
    majors: usize,
    /// Characters of a reason.
    reason: usize,
    /// Whether standing majors are told rule by rule, each with all its circuits; else circuit by circuit, each with
    /// its gravest.
    by_rule: bool,
    standing: usize,
    decisions: usize,
    cleared: usize,
    /// Cautions repeated; all of them stand on Summary.
    cautions: usize,
}

/// From the most to the least that is told.
const ROOMS: [Room; 10] = [
    Room { plants: 8, majors: 8, reason: 400, by_rule: true, standing: 99, decisions: 8, cleared: 5, cautions: 3 },
    Room { plants: 6, majors: 5, reason: 220, by_rule: true, standing: 99, decisions: 5, cleared: 3, cautions: 3 },
    Room { plants: 5, majors: 4, reason: 120, by_rule: true, standing: 99, decisions: 3, cleared: 2, cautions: 2 },
    Room { plants: 5, majors: 3, reason: 120, by_rule: true, standing: 99, decisions: 2, cleared: 3, cautions: 1 },
    Room { plants: 5, majors: 3, reason: 120, by_rule: false, standing: 99, decisions: 3, cleared: 2, cautions: 2 },
    Room { plants: 4, majors: 3, reason: 90, by_rule: false, standing: 99, decisions: 1, cleared: 1, cautions: 1 },
    Room { plants: 4, majors: 2, reason: 60, by_rule: false, standing: 20, decisions: 0, cleared: 1, cautions: 1 },
    Room { plants: 4, majors: 2, reason: 60, by_rule: false, standing: 15, decisions: 0, cleared: 1, cautions: 1 },
    Room { plants: 3, majors: 1, reason: 0, by_rule: false, standing: 8, decisions: 0, cleared: 0, cautions: 1 },
    Room { plants: 2, majors: 1, reason: 0, by_rule: false, standing: 4, decisions: 0, cleared: 0, cautions: 1 },
];

/// The text of the mail, block by block, at most 40 lines of plain text.
#[must_use]
pub fn blocks(digest: &Digest) -> Vec<Block> {
    let mut least = Vec::new();
    for room in ROOMS {
        least = blocks_in(digest, room);
        if plain(&least).lines().count() <= LINES {
            break;
        }
    }
    least
}

fn blocks_in(digest: &Digest, room: Room) -> Vec<Block> {
    let summary = &digest.summary;
    let mut blocks = vec![Block::Lines(first_lines(digest))];
    blocks.extend(sentence(&summary.rules_off, &summary.rules_observed).map(Block::Paragraph));
    plants(&mut blocks, summary, room);
    if summary.has_previous {
        let majors = &digest.new_majors;
        let items: Vec<String> = majors.first.iter().take(room.majors).map(|item| line(item, room.reason)).collect();
        listed(&mut blocks, &format!("New majors: {}", majors.total), items, majors.total, "on Findings");
    }
    standing(&mut blocks, digest, room);
    if let Some(sure) = &summary.sure {
        let (counts, advice) = sure.in_words();
        blocks.push(Block::Lines(std::iter::once(counts).chain(advice).collect()));
    }
    if !digest.decisions.first.is_empty() && room.decisions > 0 {
        let items: Vec<String> = digest.decisions.first.iter().take(room.decisions).cloned().collect();
        listed(&mut blocks, "Decisions, what clears most first", items, digest.decisions.count, "on Remedies");
    }
    if summary.has_previous {
        cleared(&mut blocks, digest, room);
    }
    if digest.not_assessed.total > 0 {
        let places: Vec<&str> = digest.not_assessed.first.iter().take(3).map(|item| item.place.as_str()).collect();
        let more = if digest.not_assessed.total > places.len() as u64 { ", ..." } else { "" };
        let total = counted_or_no(digest.not_assessed.total, "circuit");
        blocks.push(Block::Paragraph(format!("Not assessed, so not passed: {total}, {}{more}.", places.join(", "))));
    }
    if let Some(words) = trend::in_words(&summary.history) {
        blocks.push(Block::Paragraph(words.clone()));
        blocks.push(Block::Picture { words });
    }
    let policy = summary.policy_hash.get(..12).unwrap_or(&summary.policy_hash);
    let mut last: Vec<String> = CAUTIONS.iter().take(room.cautions).map(|caution| (*caution).to_owned()).collect();
    last.push(format!("The whole report is attached. Made by {}, policy {policy}; sent by a program.", summary.tool));
    blocks.push(Block::Lines(last));
    blocks
}

/// What is unsafe, how that changed, what is to be decided.
fn first_lines(digest: &Digest) -> Vec<String> {
    let summary = &digest.summary;
    let mut lines = vec![unsafe_now(summary)];
    lines.push(if summary.has_previous {
        let since = summary.earlier.as_ref().map_or_else(|| "the previous run".to_owned(), |run| run.date.clone());
        let change = digest.change().map_or_else(String::new, |change| format!("{} unsafe; ", change.in_words()));
        let changes = &summary.changes;
        format!(
            "Since {since}: {change}{}, {} standing, {} cleared.",
            counted_or_no(changes.new_majors, "new major"),
            changes.standing_majors,
            digest.cleared.majors.total
        )
    } else {
        "There is no previous run to compare with.".to_owned()
    });
    lines.push(decisions(digest));
    lines
}

fn unsafe_now(summary: &RunSummary) -> String {
    let now = summary.in_service;
    if now.total == 0 {
        return "Unsafe in service now: no circuit is stated to be in service.".to_owned();
    }
    let mut by_plant: BTreeMap<&str, u64> = BTreeMap::new();
    for pallet in summary.by_pallet.iter().filter(|pallet| pallet.in_service.does_not_conform > 0) {
        *by_plant.entry(&pallet.plant).or_default() += pallet.in_service.does_not_conform;
    }
    let plants: Vec<String> = by_plant
        .iter()
        .filter(|(plant, _)| !plant.is_empty())
        .map(|(plant, count)| format!("{plant} {count}"))
        .take(4)
        .collect();
    let plants = if plants.is_empty() { String::new() } else { format!(" ({})", plants.join(", ")) };
    let number = if now.does_not_conform == 0 { "none".to_owned() } else { now.does_not_conform.to_string() };
    format!("Unsafe in service now: {number} of {}{plants}.", counted_or_no(now.total, "circuit"))
}

fn decisions(digest: &Digest) -> String {
    let decisions = &digest.decisions;
    let unproved = if decisions.without > 0 {
        format!(" {} without a proved change.", counted_or_no(decisions.without, "unsafe circuit"))
    } else {
        String::new()
    };
    if decisions.count == 0 {
        return format!("Decide: nothing with a proved change.{unproved}");
    }
    let cost = decisions.cost_in_words();
    let cost = if cost.is_empty() { String::new() } else { format!(" for {cost}") };
    let unpriced =
        if decisions.unpriced > 0 { format!(", {} without price", decisions.unpriced) } else { String::new() };
    format!("Decide: {}{cost}{unpriced}.{unproved}", counted_or_no(decisions.count, "proved change"))
}

/// In service and planned apart, by plant.
fn plants(blocks: &mut Vec<Block>, summary: &RunSummary, room: Room) {
    let mut by_plant: BTreeMap<&str, (VerdictCounts, VerdictCounts, u64)> = BTreeMap::new();
    for pallet in &summary.by_pallet {
        let (in_service, planned, majors) = by_plant.entry(&pallet.plant).or_default();
        in_service.add(pallet.in_service);
        planned.add(pallet.circuits.less(pallet.in_service));
        *majors += pallet.majors;
    }
    if by_plant.is_empty() {
        return;
    }
    let mut all: Vec<_> = by_plant.into_iter().collect();
    all.sort_by_key(|(_, (in_service, _, majors))| std::cmp::Reverse((in_service.does_not_conform, *majors)));
    let mut rows: Vec<(String, _)> =
        all.iter().take(room.plants).map(|(plant, counts)| ((*plant).to_owned(), *counts)).collect();
    if all.len() > room.plants {
        let mut rest = (VerdictCounts::default(), VerdictCounts::default(), 0);
        for (_, (in_service, planned, majors)) in all.iter().skip(room.plants) {
            rest.0.add(*in_service);
            rest.1.add(*planned);
            rest.2 += majors;
        }
        rows.push((format!("{} more plants", all.len() - room.plants), rest));
    }
    let head = vec!["Plant", "In service", "unsafe", "not assessed", "Planned", "not conforming", "Majors"];
    let rows = rows.into_iter().map(|(plant, (in_service, planned, majors))| {
        let numbers = [
            in_service.total,
            in_service.does_not_conform,
            in_service.not_assessed,
            planned.total,
            planned.does_not_conform,
            majors,
        ];
        std::iter::once(plant).chain(numbers.map(|number| number.to_string())).collect()
    });
    blocks.push(Block::Table { head, rows: rows.collect() });
}

/// Majors on circuits in service that are not new, always named.
fn standing(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    if digest.standing.is_empty() {
        return;
    }
    let which = if digest.summary.has_previous { "Standing majors" } else { "Majors" };
    let (items, what, unit) = if room.by_rule {
        (by_rule(digest), "by rule", "rules, on Findings")
    } else {
        (by_circuit(digest), "by circuit, the gravest of each", "circuits, on Findings")
    };
    let total = items.len();
    let mut items: Vec<String> = items.into_iter().take(room.standing).collect();
    if total > items.len() {
        items.push(format!("and {} more {unit}", total - items.len()));
    }
    blocks.push(Block::Heading(format!("{which} on circuits in service, {what}")));
    blocks.push(Block::List(items));
}

/// The order in which majors are told.
fn gravity(code: &str) -> impl Ord + use<> {
    reading_order(Severity::Major, code, true)
}

fn by_rule(digest: &Digest) -> Vec<String> {
    let mut rules: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (place, codes) in &digest.standing {
        for code in codes {
            rules.entry(code).or_default().insert(place);
        }
    }
    let mut rules: Vec<(&str, BTreeSet<&str>)> = rules.into_iter().collect();
    rules.sort_by_key(|(code, _)| gravity(code));
    let named = |(code, places): (&str, BTreeSet<&str>)| {
        format!("{}: {}", title(code), places.into_iter().collect::<Vec<_>>().join(", "))
    };
    rules.into_iter().map(named).collect()
}

fn by_circuit(digest: &Digest) -> Vec<String> {
    let mut circuits: Vec<(&String, &Vec<String>)> = digest.standing.iter().collect();
    circuits.sort_by_key(|(place, codes)| (Reverse(codes.len()), *place));
    let named = |(place, codes): (&String, &Vec<String>)| {
        let gravest = codes.iter().min_by_key(|code| gravity(code)).map_or("", |code| title(code));
        let more = if codes.len() > 1 { format!(", {} more", codes.len() - 1) } else { String::new() };
        format!("{place}: {gravest}{more}")
    };
    circuits.into_iter().map(named).collect()
}

fn cleared(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let cleared = &digest.cleared;
    if cleared.total == 0 {
        return;
    }
    let others = cleared.total - cleared.majors.total;
    let majors = counted_or_no(cleared.majors.total, "major");
    let mut heading = format!("Cleared: {majors}, {others} lesser or observed");
    for (count, why) in [
        (cleared.off_the_lists, "for a circuit no longer on the lists"),
        (cleared.not_assessed, "for a rule not assessed any more"),
    ] {
        if count > 0 {
            heading = format!("{heading}; {count} {why}");
        }
    }
    let items: Vec<String> =
        cleared.majors.first.iter().take(room.cleared).map(|item| line(item, room.reason)).collect();
    if items.is_empty() {
        blocks.push(Block::Paragraph(format!("{heading}.")));
        return;
    }
    listed(blocks, &heading, items, cleared.majors.total, "on Changes");
}

fn listed(blocks: &mut Vec<Block>, heading: &str, mut items: Vec<String>, total: u64, sheet: &str) {
    if total == 0 {
        blocks.push(Block::Paragraph(format!("{heading}.")));
        return;
    }
    blocks.push(Block::Heading(heading.to_owned()));
    let more = total - items.len() as u64;
    if more > 0 {
        items.push(format!("and {more} more, {sheet}"));
    }
    blocks.push(Block::List(items));
}

fn title(code: &str) -> &str {
    rule(code).map_or(code, |rule| rule.title)
}

/// `Part rated below charge pressure: North / P1 / F1 / 1, position C3: the reason.`; a reason longer than there is
/// room for is left to the workbook.
fn line(item: &Item, room: usize) -> String {
    let what =
        [title(&item.rule), &item.place].into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(": ");
    if item.text.is_empty() || item.text.chars().count() > room { what } else { format!("{what}. {}", item.text) }
}

/// The plain text, in lines of at most 76 characters where words allow.
#[must_use]
pub fn plain(blocks: &[Block]) -> String {
    let mut text = String::new();
    let mut follows_heading = true;
    for block in blocks {
        if !follows_heading && !matches!(block, Block::Picture { .. }) {
            text.push('\n');
        }
        follows_heading = matches!(block, Block::Heading(_));
        match block {
            Block::Heading(words) => wrap(&mut text, "", "", &format!("{words}:")),
            Block::Paragraph(words) => wrap(&mut text, "", "", words),
            Block::Lines(lines) => lines.iter().for_each(|line| wrap(&mut text, "", "  ", line)),
            Block::List(items) => items.iter().for_each(|item| wrap(&mut text, "- ", "  ", item)),
            Block::Table { head, rows } => plain_table(&mut text, head, rows),
            Block::Picture { .. } => {}
        }
    }
    text
}

fn wrap(text: &mut String, first: &str, further: &str, content: &str) {
    let words = single_line(content);
    let words: Vec<&str> = words.split_whitespace().collect();
    for row in wrapped(&format!("{first}{}", words.join(" ")), WIDTH, further.len()) {
        let _ = writeln!(text, "{row}");
    }
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
            Block::Heading(heading) => _ = writeln!(text, "<h3>{}:</h3>", escaped(heading)),
            Block::Paragraph(paragraph) => _ = writeln!(text, "<p>{}</p>", escaped(paragraph)),
            Block::Lines(lines) => {
                let lines: Vec<String> = lines.iter().map(|line| escaped(line)).collect();
                _ = writeln!(text, "<p>{}</p>", lines.join("<br>\n"));
            }
            Block::Picture { words } => {
                _ = writeln!(text, "<p><img src=\"cid:{PICTURE}\" alt=\"{}\"></p>", escaped(words));
            }
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
        assert_eq!(plain(&blocks), "<b onload=\"x\">F&1 . </b>\n");
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
        let mut blocks = Vec::new();
        listed(&mut blocks, "New majors: 3", vec!["F1: why".to_owned()], 3, "on Findings");
        assert_eq!(plain(&blocks), "New majors: 3:\n- F1: why\n- and 2 more, on Findings\n");
    }

    /// However much there is to tell.
    #[test]
    fn the_text_has_at_most_forty_lines() {
        let item = |number: usize| Item {
            rule: "P05".to_owned(),
            place: format!("A plant with a long name / pallet {number} / fixture / 1"),
            text: "a reason that is long enough to be broken into lines ".repeat(4),
        };
        let items = super::super::digest::Items { first: (0..40).map(item).collect(), total: 900 };
        let places: Vec<String> = (0..400).map(|number| item(number).place).collect();
        let mut digest = Digest {
            new_majors: items.clone(),
            standing: places.iter().map(|place| (place.clone(), vec!["P05".to_owned(); 3])).collect(),
            not_assessed: items.clone(),
            ..Digest::default()
        };
        digest.summary.has_previous = true;
        digest.cleared.majors = items.clone();
        digest.cleared.total = 2000;
        digest.decisions.count = 900;
        digest.decisions.first = places.iter().map(|place| format!("{place}: {}", items.first[0].text)).collect();
        digest.summary.by_pallet = (0..60)
            .map(|number| crate::audit::counts::PalletCounts {
                plant: format!("Plant {number}"),
                ..crate::audit::counts::PalletCounts::default()
            })
            .collect();
        let text = plain(&blocks(&digest));
        assert!(text.lines().count() <= LINES, "{} lines:\n{text}", text.lines().count());
        assert!(text.lines().count() > LINES / 2, "{text}");
    }
}
