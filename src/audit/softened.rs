//! What no longer stands against a circuit though nobody put it right: what nothing asks for any more, what is waived
//! since, what another policy judges, what became another rule's finding. And what counts again, its waiver lapsed.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::audit::previous::{ClearedRow, EarlierKey, Previous, became, is_not_cleared};
use crate::audit::unsafe_circuit::{LapsedWaiver, UnsafeCircuit, lapsed_in_words};
use crate::circuit::audited::CircuitAudit;
use crate::circuit::standing::Standing;
use crate::rules::{Rule, force, holding, makeup, pressure, time, upkeep, volume};
use crate::tables::circuit::{Circuit, Service};
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::line::Line;
use crate::tables::plant::Plant;
use crate::tables::words::{Charging, Kind};

/// Places of findings waived since that are named; `waived` counts all.
const NAMED: usize = 1000;
/// As they stand in `findings.csv`.
const SIDES: [&str; 4] = ["", "clamp", "unclamp", "both"];

/// What an earlier run found and this one doesn't hold against a circuit, without a remedy.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Softened {
    /// Keys of earlier findings of which nothing states the demand any more.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub unasked: BTreeSet<String>,
    /// Majors and minors that were open and are waived.
    #[serde(default)]
    pub waived: u64,
    /// Where they stand, the first; all blank for those on a part or a load station.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub waived_on: BTreeSet<UnsafeCircuit>,
    /// Majors and minors that were waived and count again.
    #[serde(default)]
    pub lapsed: u64,
    /// The first of them.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub lapsed_on: BTreeSet<LapsedWaiver>,
    /// Findings that are gone and count as not cleared, those in `became` left out.
    #[serde(default)]
    pub not_cleared: u64,
    /// Findings that another rule has now: both codes, and how many.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub became: BTreeMap<String, u64>,
    /// Whether the earlier run had another policy.
    #[serde(default)]
    pub by_other_policy: bool,
}

impl Softened {
    /// Takes in a circuit whose findings have their states.
    pub fn add_circuit(&mut self, plant: &Plant, audit: &CircuitAudit, previous: &Previous) {
        self.add_waivers(&audit.findings, previous);
        let circuit = &audit.circuit;
        if !previous.has_findings_on(&circuit.key) {
            return;
        }
        let mut note = |code: &'static str, position: &str, part_no: &str| {
            for side in SIDES {
                let key = EarlierKey { code, place: &circuit.key, side, position, part_no };
                self.unasked.extend(previous.gone(key));
            }
        };
        let service = circuit.service();
        OF_CIRCUIT
            .iter()
            .filter(|(_, is_asked)| !is_asked(circuit, &service))
            .for_each(|(rule, _)| note(rule.code, "", ""));
        for line in &circuit.lines {
            let Some(part) = line.component(&plant.components) else { continue };
            let unasked = OF_LINE.iter().filter(|(_, is_asked)| !is_asked(line, part));
            unasked.for_each(|(rule, _)| note(rule.code, &line.position, &part.part_no));
        }
    }

    /// Takes in what is waived, or waived no more, of findings on no circuit, or on one.
    fn add_waivers(&mut self, findings: &[Finding], previous: &Previous) {
        let is_waived = |finding: &&Finding| Standing::of(finding).is_waived;
        for finding in findings.iter().filter(is_waived).filter(|finding| previous.had_open(finding)) {
            self.waived += 1;
            let [plant, pallet, fixture, circuit] = finding.place.names();
            self.waived_on.insert(UnsafeCircuit { plant, pallet, fixture, circuit });
        }
        let counting = findings.iter().filter(|finding| finding.counts());
        for finding in counting.filter(|finding| previous.had_waived(finding)) {
            self.lapsed += 1;
            let [plant, pallet, fixture, circuit] = finding.place.names();
            let (position, part_no) = (finding.position.clone(), finding.part_no.clone());
            let rule = finding.rule.to_owned();
            self.lapsed_on.insert(LapsedWaiver { plant, pallet, fixture, circuit, position, part_no, rule });
        }
        self.keep_named();
    }

    /// Takes in what can only be said of the whole run: what is gone, and findings on no circuit.
    pub fn close(&mut self, previous: Option<&Previous>, gone: &[ClearedRow], elsewhere: &[Finding]) {
        let Some(previous) = previous else { return };
        self.add_waivers(elsewhere, previous);
        for row in gone {
            match became(row) {
                Some((was, now)) => *self.became.entry(format!("{was} to {now}")).or_default() += 1,
                None => self.not_cleared += u64::from(is_not_cleared(row)),
            }
        }
        self.by_other_policy = previous.has_other_policy();
    }

    /// Adds what was found elsewhere.
    pub fn add(&mut self, other: Self) {
        self.unasked.extend(other.unasked);
        self.waived += other.waived;
        self.waived_on.extend(other.waived_on);
        self.lapsed += other.lapsed;
        self.lapsed_on.extend(other.lapsed_on);
        self.keep_named();
    }

    fn keep_named(&mut self) {
        while self.waived_on.len() > NAMED {
            self.waived_on.pop_last();
        }
        while self.lapsed_on.len() > NAMED {
            self.lapsed_on.pop_last();
        }
    }

    /// `3 cleared, 2 that another rule has now (U02 to U01, W02 to W01), 1 gone and not cleared (no longer asked, switched
    /// off, or judged by another policy), 2 waived since`
    #[must_use]
    pub fn in_words(&self, gone: u64) -> String {
        let became: u64 = self.became.values().sum();
        let mut words = format!("{} cleared", gone.saturating_sub(self.not_cleared + became));
        if became > 0 {
            let named = |(codes, count): (&String, &u64)| {
                if *count == 1 { codes.clone() } else { format!("{count} {codes}") }
            };
            let codes: Vec<String> = self.became.iter().map(named).collect();
            words = format!("{words}, {became} that another rule has now ({})", codes.join(", "));
        }
        if self.not_cleared > 0 {
            let why = "no longer asked, switched off or judged by another policy";
            words = format!("{words}, {} gone without being cleared ({why})", self.not_cleared);
        }
        if self.waived > 0 {
            words = format!("{words}, {} waived since", self.waived);
        }
        if let Some(lapsed) = lapsed_in_words(self.lapsed, &self.lapsed_on) {
            words = format!("{words}; {lapsed}");
        }
        if self.by_other_policy {
            words.push_str("; the policy is not that of the earlier run");
        }
        words
    }
}

type OfCircuit = fn(&Circuit, &Service) -> bool;
type OfLine = fn(&Line, &Component) -> bool;

/// Rules on circuits and sides that a datum asks for, and whether it is there; what can't be read asks, too.
static OF_CIRCUIT: &[(&Rule, OfCircuit)] = &[
    (&holding::H02, |_, service| is_held(service)),
    (&holding::H03, |_, service| is_held(service)),
    (&pressure::P03, |_, service| service.pressure_set.is_some() || service.is_unreadable("pressure_set")),
    (&pressure::P11, |_, service| service.pressure_set.is_some() || service.is_unreadable("pressure_set")),
    (&pressure::P13, |_, service| !service.station.is_empty()),
    (&time::T01, |_, service| service.clamp_time_max.is_some() || service.is_unreadable("clamp_time_max")),
    (&time::T02, |_, service| service.unclamp_time_max.is_some() || service.is_unreadable("unclamp_time_max")),
    (&volume::V04, |_, service| {
        let is_stated = service.cycles_per_day.is_some() && service.hold_time.is_some();
        is_stated || service.is_unreadable("cycles_per_day") || service.is_unreadable("hold_time")
    }),
    (&force::F04, |_, service| {
        let is_stated = service.cutting_force.is_some() && service.friction.is_some();
        is_stated || service.is_unreadable("cutting_force") || service.is_unreadable("friction")
    }),
    (&upkeep::U03, |_, service| {
        let is_stated = service.topped_up.is_some() && service.cycles_per_day.is_some();
        is_stated || service.is_unreadable("topped_up") || service.is_unreadable("cycles_per_day")
    }),
    (&makeup::M03, |_, service| service.charging() != Charging::Live),
    (&makeup::M04, |_, service| service.charging() != Charging::Live),
    (&makeup::M12, |_, service| service.charging() != Charging::Live),
];

/// Rules on lines that a datum asks for, and whether it is there.
static OF_LINE: &[(&Rule, OfLine)] = &[
    (&force::F01, |line, _| line.force_required.is_some() || !line.faults.is_empty()),
    (&force::F02, |_, part| part.force_max.is_some() || part.is_spoiled),
    (&force::F03, |line, _| !line.supports.is_empty() || !line.faults.is_empty()),
    (&makeup::M07, |_, part| !part.seal.is_empty() || part.is_spoiled),
    (&pressure::P07, |_, part| part.min_pressure.is_some() || part.is_spoiled),
    (&pressure::P08, |_, part| part.tensile_strength.is_some() || part.is_spoiled),
    (&pressure::P12, |_, part| !part.is(Kind::Gauge) || part.full_scale.is_some() || part.is_spoiled),
    (&time::T03, |_, part| part.time_min.is_some() || part.is_spoiled),
    (&upkeep::U01, |line, part| line.fitted_on.is_some() && (part.service_life.is_some() || part.cycle_life.is_some())),
];

fn is_held(service: &Service) -> bool {
    let is_live = service.charging() == Charging::Live;
    !is_live && (service.pressure_min.is_some() || service.is_unreadable("pressure_min"))
}
