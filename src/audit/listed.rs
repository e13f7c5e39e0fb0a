//! Rows of the lists as given, for the Lines sheet.

use std::collections::BTreeSet;

use crate::audit::outcome::ListedRow;
use crate::circuit::audited::CircuitAudit;
use crate::read::as_given::GivenRow;
use crate::read::{Lists, ReadError};
use crate::tables::circuit::CircuitKey;
use crate::tables::column::Table;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;

/// Rows in the order of the files, and how many are left out: past the policy's bound only rows
/// with remarks are kept.
///
/// # Errors
/// Where a list can't be read any more.
pub fn rows(plant: &Plant, lists: &Lists, audits: &[CircuitAudit]) -> Result<(Vec<ListedRow>, u64), ReadError> {
    let all: u64 = (0..lists.circuits().len()).map(|index| lists.rows_of(index)).sum();
    let keeps_all = all <= plant.policy.bounds.lines_rows;
    let mut rows = Vec::new();
    let mut left_out = 0;
    for audit in audits {
        let Some(index) = lists.find(&audit.circuit.key) else { continue };
        let remarked = if keeps_all { BTreeSet::new() } else { remarked(plant, audit) };
        if !keeps_all && remarked.is_empty() {
            left_out += audit.circuit.lines.len() as u64;
            continue;
        }
        for row in lists.rows(index)? {
            if keeps_all || remarked.contains(&row.origin) {
                rows.push(listed(row, Some(&audit.circuit.key)));
            } else {
                left_out += 1;
            }
        }
    }
    rows.extend(lists.stray_rows_as_given()?.into_iter().map(|row| listed(row, None)));
    rows.sort_by_key(|row| row.origin);
    Ok((rows, left_out))
}

fn listed(row: GivenRow, place: Option<&CircuitKey>) -> ListedRow {
    ListedRow { origin: row.origin, cells: row.cells, place: place.cloned() }
}

/// Rows of a circuit that a finding names, be it on a line or on the whole circuit, or that are
/// set aside.
fn remarked(plant: &Plant, audit: &CircuitAudit) -> BTreeSet<Origin> {
    let is_listed = |origin: &Origin| plant.source(*origin).is_some_and(|source| source.table == Some(Table::Lists));
    let named = audit.findings.iter().filter_map(|finding| finding.origin).filter(is_listed);
    let aside = audit.circuit.lines.iter().filter(|line| line.is_set_aside(&plant.components));
    named.chain(aside.map(|line| line.origin)).collect()
}
