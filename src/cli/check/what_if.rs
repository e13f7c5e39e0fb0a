//! `clampbook check PLANT --set …`: a change that is written nowhere, before and after side by side.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;

use anyhow::{Context, Result, bail};
use chrono::NaiveDate;
use serde_json::{Value as Json, json};

use crate::audit::basis::asked_of_parts;
use crate::audit::circuits_swept::Rows;
use crate::audit::limit::Limit;
use crate::audit::outcome::Audit;
use crate::audit::what_if::{EditInWords, WhatChanged, WishError, Wishes, difference};
use crate::audit::{self, Wanted};
use crate::circuit::roster::Roster;
use crate::read::{ReadError, Reading, open, open_edited, tables_as_given};
use crate::report::data_rows::{FINDING_COLUMNS, finding_row, header};
use crate::report::explanation::json::value_and_unit;
use crate::report::plain_text::{aligned, indented, wrapped};
use crate::report::run_json::finding_rows_as_json;
use crate::report::summary::RunSummary;
use crate::rules::catalogue::rule;
use crate::rules::relaxed::{Relaxed, unasked_in_words};
use crate::rules::wording;
use crate::tables::counted::counted;
use crate::tables::escaped::escaped;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::shown::shown;

use super::answer::{counts_in_words, part_in_words};
use super::{CheckArgs, say, status_of};
use crate::cli::screen::Screen;

/// A plant before and after a change, read and not yet audited.
pub struct BothReadings {
    pub before: Reading,
    pub after: Reading,
    pub wishes: Wishes,
}

/// Reads a plant as it is, and as it would be.
///
/// # Errors
/// Where the plant can't be read, or a wish names nothing or more than one thing.
pub fn both_readings(path: &Path, policy: Option<&Path>, today: NaiveDate, sets: &[String]) -> Result<BothReadings> {
    let before = open(path, policy, today)?;
    let roster = Roster::of(&before.plant, &before.lists);
    let mut tables = None;
    let mut given = |origin: Origin, column: &str| -> Result<String, ReadError> {
        if tables.is_none() {
            tables = Some(tables_as_given(path, &before.plant)?);
        }
        let source = before.plant.source(origin);
        let mut all = tables.iter().flatten();
        let table = all.find(|table| source.is_some_and(|own| own.file == table.file && own.sheet == table.sheet));
        let row = table.and_then(|table| table.rows.iter().find(|row| row.origin.row == origin.row));
        let slot = source.and_then(|source| source.header.iter().position(|cell| cell.column == Some(column)));
        Ok(row.zip(slot).and_then(|(row, slot)| row.cells.get(slot)).cloned().unwrap_or_default())
    };
    let mut wishes = Wishes::of(&roster, sets, &mut given).map_err(|error| match error {
        WishError::Words(words) => anyhow::anyhow!("--set: {words}"),
        WishError::Read(error) => error.into(),
    })?;
    let after = open_edited(path, policy, today, &wishes.edits)?;
    let other = Roster::of(&after.plant, &after.lists);
    // Where more or less is asked of a part than before, every circuit with it may have another verdict.
    let (one, two) = (asked_of_parts(&before.plant, &roster)?, asked_of_parts(&after.plant, &other)?);
    let (one, two) = (one.by_component(&before.plant), two.by_component(&after.plant));
    let differs =
        one.iter().zip(&two).map(|(one, two)| (one.force_is_asked, one.supports) != (two.force_is_asked, two.supports));
    let parts: BTreeSet<u32> = (0_u32..).zip(differs).filter(|(_, differs)| *differs).map(|(part, _)| part).collect();
    wishes.add_users_of(&roster, &parts)?;
    Ok(BothReadings { before, after, wishes })
}

/// Audits a reading as far as a limit goes; the lists are then still what they were.
///
/// # Errors
/// Where a list can't be read any more, or has changed.
pub fn audited(reading: Reading, wanted: &Wanted) -> Result<Audit> {
    let Reading { plant, lists } = reading;
    let rows = Rows { add: |_, _, ()| (), take: &mut Ok };
    let audit = audit::whole(plant, &lists, None, wanted, rows)?;
    lists.unchanged()?;
    Ok(audit)
}

/// Runs the check before and after, and says what changes.
///
/// # Errors
/// Where inputs, policy, a place or a wish can't be used.
pub fn run(args: &CheckArgs, out: &mut dyn Write) -> Result<u8> {
    refuse(args)?;
    let today = chrono::Local::now().date_naive();
    let BothReadings { before, after, wishes } = both_readings(&args.plant, args.policy.as_deref(), today, &args.set)?;
    let limit = {
        let roster = Roster::of(&before.plant, &before.lists);
        Limit::of(&roster, &args.limit.words())?.within(&roster, &wishes.pallets)
    };
    let wanted =
        Wanted { remedies: false, sure: args.sure, limit: Some(&limit), pace: args.pace(), ..Wanted::default() };
    let before = audited(before, &wanted)?;
    let after = audited(after, &wanted)?;
    let changed = difference(&before, &after);
    if args.json {
        let text = serde_json::to_string_pretty(&as_json(&wishes.words, &limit, &before, &after, &changed)?)?;
        say(out, &text);
    } else {
        let lines = as_text(&wishes.words, &limit, &before, &after, &changed, Screen::of_output().columns);
        lines.iter().for_each(|line| say(out, &escaped(line)));
    }
    Ok(status_of(&after))
}

fn refuse(args: &CheckArgs) -> Result<()> {
    let written = [
        ("--out", args.out.is_some()),
        ("--data", args.data.is_some()),
        ("--previous", args.previous.is_some()),
        ("--history", args.history.is_some()),
        ("--cards", args.cards.is_some()),
        ("--ical", args.ical.is_some()),
        ("--only", args.only.is_some()),
        ("--with-remedies", args.with_remedies),
        ("--apply-remedies", args.apply_remedies.is_some()),
        ("--shard", args.shard.is_some()),
    ];
    match written.into_iter().find(|(_, is_given)| *is_given) {
        Some((option, _)) => bail!(
            "{option} is about the plant as it is, and --set about one that isn't: leave out one or the other, or edit the files."
        ),
        None => Ok(()),
    }
}

/// The edits, what they are of and where they stand.
#[must_use]
pub fn edits_in_text(edits: &[EditInWords], columns: usize) -> Vec<String> {
    let quoted = |text: &str| if text.is_empty() { "blank".to_owned() } else { format!("'{text}'") };
    let mut lines = vec!["What if, and nothing is written:".to_owned()];
    for edit in edits {
        let text = format!("  {}: {} becomes {} ({})", edit.what, quoted(&edit.before), quoted(&edit.after), edit.from);
        lines.extend(wrapped(&text, columns, 6));
    }
    lines
}

fn as_text(
    edits: &[EditInWords],
    limit: &Limit,
    before: &Audit,
    after: &Audit,
    changed: &WhatChanged,
    columns: usize,
) -> Vec<String> {
    let mut lines = edits_in_text(edits, columns);
    lines.extend(wrapped(&part_in_words(limit), columns, 0));
    let policy = &after.plant.policy;
    for relaxed in Relaxed::of(policy).of_circuits().into_iter().chain(unasked_in_words(policy)) {
        lines.extend(wrapped(&relaxed, columns, 0));
    }
    for (when, audit) in [("Before", before), ("After", after)] {
        let counts = counts_in_words(&audit.counts);
        lines.extend(wrapped(&format!("{when}: {}", counts.join(" ")), columns, 2));
    }
    lines.extend(hidden(changed).into_iter().flat_map(|sentence| wrapped(&sentence, columns, 0)));
    lines.extend(changes_in_text(&before.plant, &after.plant, changed, columns));
    lines
}

/// That findings may be gone for want of a figure alone.
fn hidden(changed: &WhatChanged) -> Option<String> {
    let lacks = changed.not_assessed_any_more.len() as u64;
    let rules = if lacks == 1 { "1 rule can" } else { "rules can" };
    let number = if lacks == 1 { String::new() } else { format!("{lacks} ") };
    (lacks > 0).then(|| format!("{number}{rules} no longer be assessed, as below: fewer findings are no improvement."))
}

/// What changed: verdicts and figures side by side, then findings.
#[must_use]
pub fn changes_in_text(before: &Plant, after: &Plant, changed: &WhatChanged, columns: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut rows = vec![["", "before", "after"].map(str::to_owned).to_vec()];
    for (place, before, after) in &changed.verdicts {
        rows.push(vec![format!("{}: verdict", place.path()), before.to_string(), after.to_string()]);
    }
    let mut last = None;
    for change in &changed.figures {
        let value = |value: Option<&crate::tables::value::Value>| {
            value.map_or_else(|| "unknown".to_owned(), |value| shown(value, before.policy.units))
        };
        let mut both = (value(change.before.as_ref()), value(change.after.as_ref()));
        if let (Some(one), Some(other)) = (&change.before, &change.after) {
            both = wording::shown_apart(one, other, before.policy.units);
        }
        if last != Some(&change.place) {
            rows.push(vec![change.place.path()]);
            last = Some(&change.place);
        }
        rows.push(vec![format!("  {}", change.name), both.0, both.1]);
    }
    if rows.len() > 1 {
        lines.push(String::new());
        lines.extend(aligned(&rows, columns));
    } else {
        lines.push("No verdict and no figure changes.".to_owned());
    }
    let mut list = |title: &str, plant: &Plant, findings: &[&Finding]| {
        if findings.is_empty() {
            return;
        }
        lines.push(String::new());
        lines.push(format!("{title}: {}", counted(findings.len() as u64, "finding")));
        findings.iter().for_each(|finding| lines.extend(finding_in_text(plant, finding, columns)));
    };
    list("Gone", before, &changed.gone.iter().collect::<Vec<_>>());
    list("Come", after, &changed.come.iter().collect::<Vec<_>>());
    list(
        "Standing with other figures",
        after,
        &changed.other_numbers.iter().map(|(_, after)| after).collect::<Vec<_>>(),
    );
    for (title, lacks) in
        [("Assessed now", &changed.now_assessed), ("Not assessed any more", &changed.not_assessed_any_more)]
    {
        if !lacks.is_empty() {
            lines.push(String::new());
            lines.push(title.to_owned());
        }
        for (place, code, because) in lacks {
            let because = if title.starts_with("Assessed") { String::new() } else { format!(": {because}") };
            lines.extend(wrapped(&format!("  {code} on {}{because}", place.path()), columns, 6));
        }
    }
    if changed.unchanged > 0 {
        let circuits = counted(changed.unchanged, "further circuit");
        let verb = if changed.unchanged == 1 {
            "was looked at and stays as it is"
        } else {
            "were looked at and stay as they are"
        };
        lines.push(String::new());
        lines.push(format!("{circuits} {verb}."));
    }
    lines
}

fn finding_in_text(plant: &Plant, finding: &Finding, columns: usize) -> Vec<String> {
    let Some(rule) = rule(finding.rule) else { return Vec::new() };
    let place = finding.place.path();
    let on: Vec<&str> =
        [place.as_str(), &finding.position, &finding.part_no].into_iter().filter(|text| !text.is_empty()).collect();
    let waived = if finding.state == crate::tables::words::State::Waived { ", waived" } else { "" };
    let head = format!("  {}, {}{waived}: {}", wording::headline(rule), finding.severity, on.join(", "));
    let mut lines = wrapped(&head, columns, 6);
    lines.extend(indented(&wording::reason(finding, rule, plant), columns, 6));
    lines
}

fn as_json(edits: &[EditInWords], limit: &Limit, before: &Audit, after: &Audit, changed: &WhatChanged) -> Result<Json> {
    let edits = edits
        .iter()
        .map(|edit| json!({ "what": edit.what, "before": edit.before, "after": edit.after, "from": edit.from }));
    let [summary_before, summary_after] = [before, after].map(|audit| {
        let mut summary = RunSummary::from_counts(&audit.plant.policy, &audit.counts, false);
        summary.only = Some(limit.words.clone());
        summary
    });
    Ok(json!({
        "edits": edits.collect::<Vec<_>>(),
        "changed": changes_as_json(&before.plant, &after.plant, changed)?,
        "before": { "summary": summary_before, "findings": findings_as_json(&before.plant, before.findings())? },
        "after": { "summary": summary_after, "findings": findings_as_json(&after.plant, after.findings())? },
    }))
}

/// What changed, for scripts.
///
/// # Errors
/// Where a row can't be made.
pub fn changes_as_json(before: &Plant, after: &Plant, changed: &WhatChanged) -> Result<Json> {
    let verdicts = changed
        .verdicts
        .iter()
        .map(|(place, before, after)| json!({ "place": place.path(), "before": before.word(), "after": after.word() }));
    let figures = changed.figures.iter().map(|change| {
        let ((before, one), (after, other)) =
            (value_and_unit(change.before.as_ref()), value_and_unit(change.after.as_ref()));
        let unit = if one.is_empty() { other } else { one };
        json!({ "place": change.place.path(), "figure": change.name, "unit": unit, "before": before, "after": after })
    });
    let lacks = |all: &[(crate::tables::circuit::CircuitKey, &'static str, String)]| -> Vec<Json> {
        all.iter()
            .map(|(place, rule, because)| json!({ "place": place.path(), "rule": rule, "because": because }))
            .collect()
    };
    Ok(json!({
        "verdicts": verdicts.collect::<Vec<_>>(),
        "figures": figures.collect::<Vec<_>>(),
        "gone": findings_as_json(before, changed.gone.iter())?,
        "come": findings_as_json(after, changed.come.iter())?,
        "other_figures": findings_as_json(after, changed.other_numbers.iter().map(|(_, after)| after))?,
        "now_assessed": lacks(&changed.now_assessed),
        "not_assessed_any_more": lacks(&changed.not_assessed_any_more),
    }))
}

fn findings_as_json<'a>(plant: &Plant, findings: impl Iterator<Item = &'a Finding>) -> Result<Vec<Json>> {
    let mut rows = Vec::new();
    header(&mut rows, FINDING_COLUMNS);
    findings.for_each(|finding| finding_row(&mut rows, plant, finding));
    finding_rows_as_json(&rows).context("findings can't be shown")
}
