//! How many verdicts are sure, how many narrow, and which measurements would settle most of those.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::circuit::audited::CircuitAudit;
use crate::rules::is_below;
use crate::tables::sureness::{Certainty, Deciding};

/// Measurements that are named.
const NAMED: usize = 3;

/// A circuit whose verdict is narrow, with what decides it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct NarrowCircuit {
    /// In standard uncertainties, without its sign.
    pub margin: f64,
    /// Data and their shares of the variance.
    pub deciding: Vec<(String, f64)>,
}

/// Circuits with a verdict, by how sure it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SureCounts {
    /// Standard uncertainties from which a verdict is sure.
    pub sure: f64,
    pub surely_conform: u64,
    pub narrowly: u64,
    pub narrowly_not: u64,
    pub surely_not: u64,
    pub narrow: Vec<NarrowCircuit>,
}

/// A datum that is worth being measured.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Measurement {
    pub datum: String,
    /// Narrow circuits of which it decides most.
    pub decides: u64,
    /// Narrow circuits whose verdict would be sure if it and those named before it were known exactly.
    pub settles: u64,
}

/// What `summary.json` says of it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SureSummary {
    pub surely_conform: u64,
    pub narrowly: u64,
    pub narrowly_not: u64,
    pub surely_not: u64,
    pub measure_first: Vec<Measurement>,
}

impl SureCounts {
    /// Nothing counted yet.
    #[must_use]
    pub fn from(sure: f64) -> Self {
        Self { sure, ..Self::default() }
    }

    /// Counts a circuit, where it has a verdict.
    pub fn count(&mut self, audit: &CircuitAudit) {
        let Some(sureness) = &audit.figures.sureness else { return };
        let count = match sureness.certainty {
            Certainty::SurelyConforms => &mut self.surely_conform,
            Certainty::Narrowly => &mut self.narrowly,
            Certainty::NarrowlyNot => &mut self.narrowly_not,
            Certainty::SurelyNot => &mut self.surely_not,
        };
        *count += 1;
        if sureness.certainty.is_narrow() {
            let named = |one: &Deciding| {
                let of = if one.is_own { format!(" in {}", audit.circuit.key) } else { String::new() };
                (format!("{}{of}", one.datum), one.share)
            };
            let deciding = sureness.deciding.iter().map(named).collect();
            self.narrow.push(NarrowCircuit { margin: sureness.margin.abs(), deciding });
        }
    }

    /// Adds what was counted elsewhere, of later circuits.
    pub fn add(&mut self, other: Self) {
        self.surely_conform += other.surely_conform;
        self.narrowly += other.narrowly;
        self.narrowly_not += other.narrowly_not;
        self.surely_not += other.surely_not;
        self.narrow.extend(other.narrow);
    }

    /// With the measurements that would settle most, one after the other.
    #[must_use]
    pub fn summary(&self) -> SureSummary {
        SureSummary {
            surely_conform: self.surely_conform,
            narrowly: self.narrowly,
            narrowly_not: self.narrowly_not,
            surely_not: self.surely_not,
            measure_first: self.measure_first(),
        }
    }

    /// Each takes in the circuits that those before it left narrow: a verdict becomes sure where what is left of its
    /// variance puts the limit far enough away.
    fn measure_first(&self) -> Vec<Measurement> {
        // Share of the variance that is known by then, by circuit.
        let mut known = vec![0.0; self.narrow.len()];
        let is_sure = |circuit: &NarrowCircuit, known: f64| {
            let left = (1.0 - known).max(0.0).sqrt();
            left <= 0.0 || !is_below(circuit.margin / left, self.sure)
        };
        let mut first: Vec<Measurement> = Vec::new();
        let mut settled = 0;
        for _ in 0..NAMED {
            let mut gains: BTreeMap<&str, (u64, f64)> = BTreeMap::new();
            for (circuit, known) in self.narrow.iter().zip(&known) {
                if is_sure(circuit, *known) {
                    continue;
                }
                let is_new = |(datum, _): &&(String, f64)| first.iter().all(|known| known.datum != *datum);
                for (datum, share) in circuit.deciding.iter().filter(is_new) {
                    let gain = gains.entry(datum).or_default();
                    gain.0 += u64::from(is_sure(circuit, known + share));
                    gain.1 += share;
                }
            }
            let better = |a: &(&str, (u64, f64)), b: &(&str, (u64, f64))| {
                a.1.0.cmp(&b.1.0).then(a.1.1.total_cmp(&b.1.1)).then(b.0.cmp(a.0))
            };
            let Some((datum, (settles, _))) = gains.into_iter().max_by(better) else { break };
            settled += settles;
            let decides = self.narrow.iter().filter(|one| one.deciding.first().is_some_and(|(name, _)| name == datum));
            first.push(Measurement { datum: datum.to_owned(), decides: decides.count() as u64, settles: settled });
            for (circuit, known) in self.narrow.iter().zip(&mut known) {
                *known += circuit.deciding.iter().find(|(name, _)| name == datum).map_or(0.0, |(_, share)| *share);
            }
        }
        first
    }
}

impl SureSummary {
    /// Circuits whose verdict could as well be the other one.
    #[must_use]
    pub const fn narrow_ones(&self) -> u64 {
        self.narrowly + self.narrowly_not
    }

    /// The counts in a sentence, and what to measure first in another, where there is something.
    #[must_use]
    pub fn in_words(&self) -> (String, Option<String>) {
        let counts = format!(
            "How sure the verdicts are: {} surely conform, {} narrowly, {} narrowly not, {} surely not.",
            self.surely_conform, self.narrowly, self.narrowly_not, self.surely_not
        );
        let data: Vec<&str> = self.measure_first.iter().map(|one| one.datum.as_str()).collect();
        let listed = match data.as_slice() {
            [] => return (counts, None),
            [only] => (*only).to_owned(),
            [first @ .., last] => format!("{}, then {last}", first.join(", then ")),
        };
        let settled = self.measure_first.last().map_or(0, |last| last.settles);
        let verdicts = match (settled, self.narrow_ones()) {
            (1, 1) => "the one narrow verdict".to_owned(),
            (0, 1) => "not even the one narrow verdict".to_owned(),
            (settled, all) if settled == all => format!("all {all} narrow verdicts"),
            (settled, all) => format!("{settled} of the {all} narrow verdicts"),
        };
        let they = if data.len() == 1 { "it" } else { "they" };
        let advice = format!("Measure first: {listed}. Known exactly, {they} would settle {verdicts}.");
        (counts, Some(advice))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn narrow(margin: f64, deciding: &[(&str, f64)]) -> NarrowCircuit {
        let deciding = deciding.iter().map(|(name, share)| ((*name).to_owned(), *share)).collect();
        NarrowCircuit { margin, deciding }
    }

    /// By hand: 1.2 / √(1 − 0.7) = 2.19 is sure, 1.2 / √(1 − 0.5) = 1.70 is not; with both known 1.2 / √0.1 is.
    #[test]
    fn what_settles_most_comes_first_and_then_what_it_leaves() {
        let counts = SureCounts {
            narrow: vec![
                narrow(1.2, &[("a", 0.7), ("b", 0.2)]),
                narrow(1.2, &[("a", 0.7)]),
                narrow(1.2, &[("b", 0.5), ("c", 0.4)]),
                narrow(0.1, &[("d", 0.9)]),
            ],
            ..SureCounts::from(2.0)
        };
        let first = counts.measure_first();
        let told: Vec<(&str, u64, u64)> =
            first.iter().map(|one| (one.datum.as_str(), one.decides, one.settles)).collect();
        assert_eq!(told, [("a", 2, 2), ("d", 1, 2), ("b", 1, 2)]);
    }

    #[test]
    fn one_verdict_is_not_counted_of_one() {
        let measure_first = |settles| vec![Measurement { datum: "a".to_owned(), decides: 1, settles }];
        let advice = |narrowly, settles| {
            let summary = SureSummary { narrowly, measure_first: measure_first(settles), ..SureSummary::default() };
            summary.in_words().1.unwrap_or_default()
        };
        assert_eq!(advice(1, 1), "Measure first: a. Known exactly, it would settle the one narrow verdict.");
        assert!(advice(3, 3).ends_with("would settle all 3 narrow verdicts."));
        assert!(advice(3, 1).ends_with("would settle 1 of the 3 narrow verdicts."));
    }

    #[test]
    fn nothing_is_measured_where_all_is_sure() {
        assert_eq!(SureCounts::from(2.0).summary().in_words().1, None);
    }
}
