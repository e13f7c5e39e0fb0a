//! What can only be said when every circuit is audited: findings on parts, stations, orders and
//! waivers, the bill, what is gone since the last run.

use std::collections::{BTreeMap, BTreeSet};

use crate::audit::at_once::wanted_at_once;
use crate::audit::basis::asked_of_parts;
use crate::audit::buying_doubts::BuyingDoubts;
use crate::audit::limit::Limit;
use crate::audit::outcome::Audit;
use crate::audit::plant_wide::{PartBook, Wants, header_findings, order_findings, waiver_findings};
use crate::audit::previous::{LookedFor, Previous};
use crate::audit::purchase::bill;
use crate::audit::swept::{Swept, mark_states};
use crate::audit::to_buy::{near_orders, to_buy};
use crate::circuit::off_circuit::station_findings;
use crate::read::{Lists, ReadError};
use crate::remedy::change::Change;
use crate::remedy::need::{Needed, add_to};
use crate::remedy::row_of::{gathered, sort as sort_remedies, station_row, succession_row};
use crate::remedy::search::Searching;
use crate::remedy::station;
use crate::remedy::succession::{Succession, succession, successor};
use crate::remedy::trial::is_searched;
use crate::rules::buying::{B01, FAMILY as BUYING};
use crate::rules::catalogue::family_of;
use crate::tables::column::Table;
use crate::tables::finding::Finding;
use crate::tables::origin::SourceId;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::usage::Usage;
use crate::tables::words::PLACE;

use super::Applying;
use super::listed;
use super::sweep::RunError;

/// Everything found, free of the tables that it was found in.
pub struct Found {
    swept: Swept,
    /// On parts, stations, orders and waivers.
    elsewhere: Vec<Finding>,
    bill: Vec<PurchaseRow>,
    buying: BuyingDoubts,
    /// The part of the plant that was looked at, where it is not all of it.
    limit: Option<Limit>,
}

/// In the order of `findings.csv`: place, side, position, part, rule, row.
fn sort(findings: &mut [Finding]) {
    findings.sort_by_cached_key(|finding| {
        (
            finding.place.clone(),
            finding.side,
            finding.position.clone(),
            finding.part_no.clone(),
            finding.rule,
            finding.origin,
        )
    });
}

/// How the replacements of obsolete parts do, by component index; proved ones are remedies.
fn successions(
    searching: &Searching,
    swept: &mut Swept,
    usage: &[Usage],
) -> Result<BTreeMap<u32, Succession>, ReadError> {
    let plant = searching.ground.plant;
    let mut fixtures: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (part, fixture) in &swept.obsolete {
        fixtures.entry(*part).or_default().push(*fixture);
    }
    let is_told = plant.policy.severity(B01.code, B01.severity).is_some();
    let mut all = BTreeMap::new();
    for ((from, part), usage) in (0_u32..).zip(&plant.components).zip(usage) {
        let Some(to) = successor(searching.ground, part).filter(|_| usage.is_used) else { continue };
        let mut of_part = fixtures.get(&from).cloned().unwrap_or_default();
        of_part.extend(searching.fixtures_of_station_part(from));
        of_part.sort_unstable();
        of_part.dedup();
        let result: Succession = succession(searching.roster, searching.ground, from, to, &of_part)?;
        if result.is_proved() && is_told {
            swept.remedies.push(succession_row(plant, &result));
        }
        all.insert(from, result);
    }
    Ok(all)
}

fn on_parts(searching: &Searching, book: &PartBook, successions: &BTreeMap<u32, Succession>) -> Vec<Finding> {
    let plant = searching.ground.plant;
    let mut findings = book.all();
    for finding in findings.iter_mut().filter(|finding| finding.rule == B01.code) {
        let from = plant.part_index.get(&finding.part_no);
        if let Some(succession) = from.and_then(|from| successions.get(from)) {
            succession.complete(searching.ground, finding);
        }
    }
    findings
}

fn on_stations(searching: &Searching, swept: &mut Swept, stations: impl Iterator<Item = usize>) -> Vec<Finding> {
    let plant = searching.ground.plant;
    let mut all = Vec::new();
    for index in stations {
        let mut findings = station_findings(plant, index).0;
        for finding in findings.iter_mut().filter(|finding| is_searched(finding)) {
            let found = searching.station_remedy(index, finding);
            let (text, change): (String, Option<Change>) = station::in_words(plant, index, finding, found);
            finding.remedy = Some(text);
            if let Some(change) = change {
                swept.remedies.push(station_row(plant, index, finding.rule, &change));
            }
        }
        all.extend(findings);
    }
    all
}

/// Findings on headers that bear on a part of the plant: of lists only those that name its circuits, but for a header
/// that may hold a place, since its rows may belong there.
fn headers_of_limit(searching: &Searching, limit: &Limit) -> Vec<Finding> {
    let plant = searching.ground.plant;
    let entries = searching.roster.all().filter(|entry| limit.has(&entry.key));
    let of_circuits = entries.filter_map(|entry| entry.listed);
    let lists: BTreeSet<SourceId> = of_circuits.flat_map(|index| searching.roster.lists.sources_of(index)).collect();
    header_findings(plant, |source, header| {
        let is_list = plant.sources.get(source as usize).is_some_and(|source| source.table == Some(Table::Lists));
        !is_list || lists.contains(&source) || header.lacking.is_some_and(|column| PLACE.contains(&column))
    })
}

impl Found {
    /// Looks at the plant as a whole; `apply` marks the remedies whose parts are needed.
    ///
    /// # Errors
    /// Where a list can't be read any more, and those of `apply`.
    pub fn of(
        searching: &Searching,
        mut swept: Swept,
        previous: Option<&Previous>,
        apply: Option<&Applying>,
    ) -> Result<Self, RunError> {
        let plant = searching.ground.plant;
        swept.usage.add_stations(plant);
        let mut usage = swept.usage.by_component(plant);
        let successions = successions(searching, &mut swept, &usage)?;
        let of_stations = on_stations(searching, &mut swept, 0..plant.stations.len());
        swept.remedies = gathered(plant, swept.remedies);
        sort_remedies(&mut swept.remedies);
        if let Some(apply) = apply {
            apply(plant, &mut swept.remedies)?;
            let applied = swept.remedies.iter().filter(|row| row.is_applied());
            let needed: Vec<Needed> = applied.flat_map(|row| row.needs.iter().cloned()).collect();
            add_to(plant, &mut usage, &needed);
        }
        let unlisted = swept.usage.unlisted();
        let bill = bill(plant, &usage, unlisted, &successions);
        for row in swept.remedies.iter().filter(|row| !row.is_applied()) {
            if !swept.offered.contains(row.part_to.as_str()) {
                swept.offered.insert(row.part_to.to_string());
            }
        }
        let wants = Wants { causes: &swept.counts.causes, offered: &swept.offered };
        let book = PartBook::of(plant, &usage, unlisted, &bill, Some(&wants));
        let mut elsewhere = on_parts(searching, &book, &successions);
        elsewhere.extend(of_stations);
        elsewhere.extend(order_findings(plant, &usage, unlisted, &bill));
        let buying = BuyingDoubts::of(plant, unlisted, &bill);
        elsewhere.extend(header_findings(plant, |_, _| true));
        swept.matches.merge(searching.ground.waiving.mark(&mut elsewhere));
        elsewhere.extend(waiver_findings(plant, &swept.matches));
        sort(&mut elsewhere);
        mark_states(&mut elsewhere, previous);
        Ok(Self { swept, elsewhere, bill, buying, limit: None })
    }

    /// Looks at a part of the plant: of what stands on no circuit only the findings on which the verdicts of its
    /// circuits hang, those on their parts and stations.
    ///
    /// # Errors
    /// Where a list can't be read any more.
    pub fn of_limit(searching: &Searching, mut swept: Swept, limit: &Limit) -> Result<Self, RunError> {
        let plant = searching.ground.plant;
        // What is asked of a part by any circuit of the plant is what the verdicts were found with.
        let asked = asked_of_parts(plant, searching.roster)?.by_component(plant);
        let mut usage = swept.usage.by_component(plant);
        for (own, asked) in usage.iter_mut().zip(asked) {
            own.force_is_asked |= asked.force_is_asked;
            own.supports |= asked.supports;
        }
        let none = BTreeMap::new();
        let book = PartBook::of(plant, &usage, &none, &[], None);
        let mut elsewhere = Vec::new();
        for ((index, part), usage) in (0_u32..).zip(&plant.components).zip(&usage).filter(|(_, usage)| usage.is_used) {
            elsewhere.extend(book.findings(index, part, usage));
        }
        elsewhere.retain(|finding| family_of(finding.rule).is_none_or(|family| family.letter != BUYING.letter));
        let entries = searching.roster.all().filter(|entry| limit.has(&entry.key));
        let named = entries.filter_map(|entry| plant.station_index.get(&entry.service?.station).copied());
        let stations: BTreeSet<usize> = named.collect();
        elsewhere.extend(on_stations(searching, &mut swept, stations.into_iter()));
        elsewhere.extend(headers_of_limit(searching, limit));
        swept.remedies = gathered(plant, swept.remedies);
        sort_remedies(&mut swept.remedies);
        let _ = searching.ground.waiving.mark(&mut elsewhere);
        sort(&mut elsewhere);
        let buying = BuyingDoubts::default();
        Ok(Self { swept, elsewhere, bill: Vec::new(), buying, limit: Some(limit.clone()) })
    }

    /// The audit as the outputs show it.
    ///
    /// # Errors
    /// Where a list or the earlier run can't be read a second time.
    pub fn into_audit(
        self,
        mut plant: Plant,
        lists: &Lists,
        previous: Option<&Previous>,
        keeps_circuits: bool,
    ) -> Result<Audit, RunError> {
        let Self { mut swept, elsewhere, bill, mut buying, limit } = self;
        for (source, count) in &swept.set_aside {
            if let Some(source) = plant.sources.get_mut(*source as usize) {
                source.rows_set_aside += count;
            }
        }
        let counts = &mut swept.counts;
        let (policy, unasked) = (&plant.policy, &counts.softened.unasked);
        let looked_for = LookedFor { policy, unasked, sureness: counts.sure.is_some() };
        let gone = previous.map(|previous| previous.cleared(looked_for));
        let cleared = gone.transpose()?.unwrap_or_default();
        counts.softened.close(previous, &cleared, &elsewhere);
        counts.add_elsewhere(&plant, &elsewhere);
        counts.sort();
        let of_circuits = swept.set_aside.iter().map(|(_, count)| count).sum::<u64>();
        (counts.lines_read, counts.lines_set_aside) = match &limit {
            None => (lines_read(&plant), of_circuits + stray_count(&plant, lists)),
            Some(limit) => (limit.lines, of_circuits),
        };
        counts.changes.cleared = cleared.len() as u64;
        let (listed, listed_left_out) =
            if keeps_circuits { listed::rows(&plant, lists, &swept.audits)? } else { (Vec::new(), 0) };
        plant.notes.append(&mut swept.notes);
        plant.notes.sort_by_key(|note| note.origin);
        if limit.is_none() {
            super::due::of_plant(&plant, &mut swept.due);
            buying.add_stray_rows(stray_count(&plant, lists));
        }
        swept.due.sort();
        let wanted = wanted_at_once(&plant, &swept.remedies);
        let to_buy = to_buy(&plant, &bill, &wanted, &near_orders(&elsewhere));
        Ok(Audit {
            plant,
            circuits: swept.audits,
            elsewhere,
            purchase: bill,
            to_buy,
            buying,
            due: swept.due,
            remedies: swept.remedies,
            listed,
            listed_left_out,
            counts: swept.counts,
            limit,
            has_previous: previous.is_some(),
            cleared,
            history: Vec::new(),
        })
    }
}

/// Rows of all lists, less those that are none of the table's.
#[must_use]
pub fn lines_read(plant: &Plant) -> u64 {
    let lists = plant.sources.iter().filter(|source| source.table == Some(Table::Lists));
    lists.map(|source| source.rows_read - source.rows_skipped).sum()
}

/// Rows set aside whose circuit can't be told.
fn stray_count(plant: &Plant, lists: &Lists) -> u64 {
    (0..).take(plant.sources.len()).map(|source| lists.stray_rows(source).len() as u64).sum()
}
