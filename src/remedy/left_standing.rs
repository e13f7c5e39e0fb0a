//! What a proved change leaves standing that its reader must know before it is made.
//!
//! A change is proved where it clears its finding and brings no other; what stood before may stand after it. Where it
//! stands worse, or by the rating of the very part that comes in, the remedy says so.

use hashbrown::HashMap;

use crate::circuit::audited::CircuitAudit;
use crate::rules::is_below;
use crate::rules::rating::line_rating;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::shown::{shown, shown_apart};
use crate::tables::value::Value;
use crate::tables::words::{Severity, Zone};

use super::change::Change;
use super::station;
use super::trial::{After, FoundAfter, FoundKey, Problem, Trial, key_of, short_of};

/// Further from a limit by more than a hundredth of what it was: a tube of another bore moves every figure by a hair.
pub(super) const FURTHER: f64 = 1.01;

/// What a proved change leaves.
#[derive(Debug, Default)]
pub struct Left {
    /// Sentences, each after a blank; nothing of a split, whose groups are circuits of their own.
    pub words: String,
    /// Majors that come further from their limit.
    pub worsens: Vec<Problem>,
}

impl Left {
    /// Of a change of a circuit, by its place.
    #[must_use]
    pub fn of(plant: &Plant, circuit: usize, before: &CircuitAudit, change: &Change, trial: &Trial) -> Self {
        let mut worsens = Vec::new();
        let words = in_words(plant, before, change, trial, &mut |worse: &Finding| {
            if worse.severity == Severity::Major && worse.counts() {
                worsens.push(Problem::of(circuit, worse));
            }
        });
        Self { words, worsens }
    }
}

/// Sentences; what comes further from its limit is handed over.
fn in_words(
    plant: &Plant,
    before: &CircuitAudit,
    change: &Change,
    trial: &Trial,
    worsens: &mut dyn FnMut(&Finding),
) -> String {
    let [after] = trial.after.as_slice() else { return String::new() };
    let mut all: Vec<String> = Vec::new();
    // Of several alike the first; a circuit may have thousands.
    let mut stood: HashMap<FoundKey, &Finding> = HashMap::with_capacity(before.findings.len());
    for finding in &before.findings {
        stood.entry(key_of(finding)).or_insert(finding);
    }
    for found in &after.found {
        let Some(old) = stood.get(&found.key()).filter(|old| old.is_major_or_minor()) else { continue };
        let worse = worse(plant, old, found);
        worse.iter().for_each(|_| worsens(old));
        all.extend(worse.or_else(|| by_the_new_part(plant, before, change, after, found)));
    }
    if change.is_of_station()
        && let Some(index) = before.circuit.service.as_ref().and_then(|own| plant.station_index.get(&own.station))
    {
        all.extend(station::left_standing(plant, *index, change));
    }
    all.dedup();
    all.concat()
}

/// A finding that the change drives further from its limit.
fn worse(plant: &Plant, old: &Finding, now: &FoundAfter) -> Option<String> {
    let was = short_of(old.measured.as_ref(), old.limit.as_ref());
    let is = short_of(now.measured.as_ref(), now.limit.as_ref());
    let (measured, limit, before) = (now.measured.as_ref()?, now.limit.as_ref()?, old.measured.as_ref()?);
    if !is.is_finite() || is <= was * FURTHER {
        return None;
    }
    let units = plant.policy.units;
    let (measured, limit) = shown_apart(measured, limit, units);
    Some(format!(" {} gets worse by it: {measured} against {limit}, before {}.", now.rule, shown(before, units)))
}

/// A finding of a pressure that the part that comes in does not bear either, where all that is trapped is one zone.
fn by_the_new_part(
    plant: &Plant,
    before: &CircuitAudit,
    change: &Change,
    after: &After,
    now: &FoundAfter,
) -> Option<String> {
    let Change::Swap { line, to } = change else { return None };
    let (listed, part) = (before.circuit.lines.get(*line)?, plant.component_at(Some(*to))?);
    let rating = line_rating(listed, part, &plant.policy.limits)?;
    let side = after.figures.sides().find(|side| side.lines.binary_search(line).is_ok())?;
    let is_one_zone = side.zone_of(*line) == Zone::Full && side.zone(Zone::Reduced).lines.is_empty();
    let (Value::Pressure(measured), Value::Pressure(limit)) = (now.measured.as_ref()?, now.limit.as_ref()?) else {
        return None;
    };
    let is_of_ratings = now.line.is_none() && now.side.is_none_or(|own| own == side.side) && measured > limit;
    if !is_one_zone || !is_of_ratings || !is_below(rating.si(), measured.si()) {
        return None;
    }
    let units = plant.policy.units;
    let (measured, rating) = shown_apart(&Value::Pressure(*measured), &Value::Pressure(rating), units);
    Some(format!(" {} stays by the rating of {}: {measured} against {rating}.", now.rule, part.part_no))
}
