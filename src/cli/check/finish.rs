//! What can only be said when every circuit is audited: findings on parts, stations, orders and
//! waivers, the bill, what is gone since the last run.

use std::collections::BTreeMap;

use anyhow::Result;

use crate::audit::harvest::{Harvest, mark_states};
use crate::audit::outcome::{Audit, Tally};
use crate::audit::plant_wide::{PartBook, order_findings, station_findings, waiver_findings};
use crate::audit::previous::Previous;
use crate::audit::purchase::bill;
use crate::read::Lists;
use crate::remedy::change::Change;
use crate::remedy::search::Searching;
use crate::remedy::station;
use crate::remedy::succession::{Succession, succession, successor};
use crate::remedy::trial::is_searched;
use crate::report::remedy_rows::{station_row, succession_row};
use crate::rules::buying::B01;
use crate::tables::column::Table;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::usage::Usage;
use crate::tables::words::{State, Verdict};

use super::listed;

/// Everything found, free of the tables that it was found in.
pub struct Found {
    harvest: Harvest,
    /// On parts, stations, orders and waivers.
    elsewhere: Vec<Finding>,
    bill: Vec<PurchaseRow>,
}

/// Looks at the plant as a whole.
///
/// # Errors
/// Where a list can't be read any more.
pub fn found(searching: &Searching, mut harvest: Harvest, previous: Option<&Previous>) -> Result<Found> {
    let plant = searching.ground.plant;
    harvest.usage.add_stations(plant);
    let usage = harvest.usage.by_component(plant);
    let bill = bill(plant, &usage, harvest.usage.strangers());
    let mut elsewhere = on_parts(searching, &mut harvest, &usage, &bill)?;
    elsewhere.extend(on_stations(searching, &mut harvest));
    elsewhere.extend(order_findings(plant, &usage, harvest.usage.strangers()));
    harvest.matches.merge(searching.ground.waiving.mark(&mut elsewhere));
    elsewhere.extend(waiver_findings(plant, &harvest.matches));
    sort(&mut elsewhere);
    let marker = previous.map(|previous| move |finding: &Finding| previous.state_of(finding));
    mark_states(&mut elsewhere, marker.as_ref().map(|marker| marker as &(dyn Fn(&Finding) -> State + Sync)));
    Ok(Found { harvest, elsewhere, bill })
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

fn on_parts(
    searching: &Searching,
    harvest: &mut Harvest,
    usage: &[Usage],
    bill: &[PurchaseRow],
) -> Result<Vec<Finding>> {
    let plant = searching.ground.plant;
    let mut findings = PartBook::of(plant, usage, harvest.usage.strangers(), bill).all();
    let mut fixtures: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (part, fixture) in &harvest.obsolete {
        fixtures.entry(*part).or_default().push(*fixture);
    }
    for finding in findings.iter_mut().filter(|finding| finding.rule == B01.code) {
        let Some(from) = plant.part_index.get(&finding.part_no).copied() else { continue };
        let Some(to) = plant.component_at(Some(from)).and_then(|part| successor(searching.ground, part)) else {
            continue;
        };
        let mut of_part = fixtures.get(&from).cloned().unwrap_or_default();
        of_part.extend(searching.fixtures_of_station_part(from));
        of_part.sort_unstable();
        of_part.dedup();
        let result: Succession = succession(searching.roster, searching.ground, from, to, &of_part)?;
        result.complete(searching.ground, finding);
        if result.is_proved() {
            harvest.remedies.push(succession_row(plant, &result));
        }
    }
    Ok(findings)
}

fn on_stations(searching: &Searching, harvest: &mut Harvest) -> Vec<Finding> {
    let plant = searching.ground.plant;
    let mut all = Vec::new();
    for index in 0..plant.stations.len() {
        let mut findings = station_findings(plant, index).0;
        for finding in findings.iter_mut().filter(|finding| is_searched(finding)) {
            let change = searching.station_remedy(index, finding);
            let (text, change): (String, Option<Change>) = station::in_words(plant, index, change);
            finding.remedy = Some(text);
            if let Some(change) = change {
                harvest.remedies.push(station_row(plant, index, finding.rule, &change));
            }
        }
        all.extend(findings);
    }
    all
}

impl Found {
    /// Puts what was set aside into the sources' totals.
    pub fn complete_sources(&self, plant: &mut Plant) {
        for (source, count) in &self.harvest.set_aside {
            if let Some(source) = plant.sources.get_mut(*source as usize) {
                source.rows_set_aside += count;
            }
        }
    }

    /// The audit as the outputs show it.
    ///
    /// # Errors
    /// Where the earlier run can't be read a second time.
    pub fn into_audit(
        self,
        mut plant: Plant,
        previous: Option<&Previous>,
        lists: &Lists,
        keeps: bool,
    ) -> Result<Audit> {
        let Self { mut harvest, elsewhere, bill } = self;
        harvest.counts.add_findings(&elsewhere);
        harvest.counts.sort();
        harvest.counts.lines_set_aside =
            harvest.set_aside.iter().map(|(_, count)| count).sum::<u64>() + stray_count(&plant, lists);
        let cleared = previous.map(Previous::cleared).transpose()?.unwrap_or_default();
        let tally = tally(&harvest, lines_read(&plant), cleared.len() as u64);
        let (listed, listed_left_out) =
            if keeps { listed::rows(&plant, lists, &harvest.audits)? } else { (Vec::new(), 0) };
        plant.notes.extend(std::mem::take(&mut harvest.notes));
        plant.notes.sort_by_key(|note| note.origin);
        let mut findings = elsewhere;
        if keeps {
            findings.extend(harvest.audits.iter().flat_map(|audit| audit.findings.iter().cloned()));
        }
        crate::report::remedy_rows::sort(&mut harvest.remedies);
        Ok(Audit {
            plant,
            circuits: harvest.audits,
            findings,
            purchase: bill,
            remedies: harvest.remedies,
            listed,
            listed_left_out,
            tally,
            counts: harvest.counts,
            has_previous: previous.is_some(),
            cleared,
            history: Vec::new(),
        })
    }
}

fn tally(harvest: &Harvest, lines_read: u64, cleared: u64) -> Tally {
    let counts = &harvest.counts;
    let circuits = &counts.circuits;
    let verdicts = BTreeMap::from([
        (Verdict::DoesNotConform, circuits.does_not_conform),
        (Verdict::NotAssessed, circuits.not_assessed),
        (Verdict::ConformsWithWaivers, circuits.conforms_with_waivers),
        (Verdict::Conforms, circuits.conforms),
    ]);
    Tally {
        circuits: circuits.total,
        lines_read,
        lines_set_aside: counts.lines_set_aside,
        verdicts,
        majors: counts.findings.majors,
        minors: counts.findings.minors,
        observations: counts.findings.observations + counts.purchasing.observations + counts.waivers.observations,
        waived: counts.findings.waived + counts.purchasing.waived + counts.waivers.waived,
        purchase_majors: counts.purchasing.majors,
        purchase_minors: counts.purchasing.minors,
        waiver_majors: counts.waivers.majors + counts.waivers.minors,
        new: counts.changes.new,
        standing: counts.changes.standing,
        cleared,
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
