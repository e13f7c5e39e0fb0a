//! What of purchasing's findings follows from proposed changes alone.

use std::collections::BTreeMap;

use crate::audit::outcome::Audit;
use crate::remedy::need::amount;
use crate::rules::buying::{B02, B03, B10};
use crate::tables::finding::Finding;
use crate::tables::trade_unit::is_more;
use crate::tables::usage::Taken;
use crate::tables::words::{Severity, State};

/// Majors and minors of buying that would not be there without what applied changes need.
#[must_use]
pub fn of_changes_alone(audit: &Audit) -> (u64, u64) {
    let plant = &audit.plant;
    let mut brought: BTreeMap<u32, Taken> = BTreeMap::new();
    for need in audit.remedies.iter().filter(|row| row.is_applied()).flat_map(|row| &row.needs) {
        let sum = brought.entry(need.part).or_default();
        *sum = sum.and(need.taken);
    }
    if brought.is_empty() {
        return (0, 0);
    }
    let bill: BTreeMap<&str, _> = audit.purchase.iter().map(|row| (row.part_no.as_str(), row)).collect();
    let is_of_changes = |finding: &&Finding| {
        let Some(row) = bill.get(finding.part_no.as_str()).filter(|row| !row.need_is_bound) else { return false };
        let component = plant.component_at(row.component);
        let more = row.component.and_then(|part| amount(*brought.get(&part)?, component?, plant.policy.units));
        more.is_some_and(|more| !is_more(row.needed.saturating_sub(more), row.ordered.unwrap_or_default()))
    };
    let codes = [B02.code, B03.code, B10.code];
    let open = audit.elsewhere.iter().filter(|one| codes.contains(&one.rule) && one.state != State::Waived);
    let mut counts = (0, 0);
    for finding in open.filter(is_of_changes) {
        match finding.severity {
            Severity::Major => counts.0 += 1,
            Severity::Minor => counts.1 += 1,
            Severity::Observation => {}
        }
    }
    counts
}
