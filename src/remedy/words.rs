//! Remedies in words: the change, and the figures before and after.

use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::Pressure;
use crate::rules::catalogue::rule;
use crate::rules::pressure::P10;
use crate::rules::rating::rating;
use crate::rules::volume::V04;
use crate::rules::{Cure, is_above};
use crate::tables::counted::counted;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::shown::{add_shown, capitalised, listed, shown, shown_apart};
use crate::tables::station::Station;
use crate::tables::told_figures::TOLD_FIGURES;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Side};

use super::answer::Ended;
use super::change::{Change, SettingColumn, StationRole};
use super::nearest::{NearMiss, NearestChange};
use super::trial::{Proved, Trial};

fn pressure(plant: &Plant, pressure: Pressure) -> String {
    shown(&Value::Pressure(pressure), plant.policy.units)
}

fn part(plant: &Plant, index: u32) -> &str {
    plant.component_at(Some(index)).map_or("", |part| part.part_no.as_str())
}

/// The change as a clause: `replace KV-20 by KV-35 at position 30`.
#[must_use]
pub fn clause(plant: &Plant, audit: &CircuitAudit, change: &Change) -> String {
    let lines = &audit.circuit.lines;
    let at = |line: usize| match lines.get(line) {
        Some(line) if !line.position.is_empty() => line.at_position(),
        Some(line) if line.origin.row > 0 => format!(" on row {}", line.origin.row),
        _ => String::new(),
    };
    let from = |line: usize| lines.get(line).map_or("", |line| crate::circuit::findings::part_no(plant, line));
    let station = audit.circuit.service.as_ref().map_or("", |service| service.station.as_str());
    match change {
        Change::Swap { line, to } => ["replace ", from(*line), " by ", part(plant, *to), &at(*line)].concat(),
        Change::Succeed { from, to } => {
            format!("replace {} by {} wherever it is used", part(plant, *from), part(plant, *to))
        }
        Change::Setting { line, column, to } => {
            let of = if *column == SettingColumn::Precharge { "the precharge of " } else { "" };
            format!("set {of}{}{} to {}", from(*line), at(*line), pressure(plant, *to))
        }
        Change::Add { part: added, side, setting } => {
            let side = match (audit.figures.unclamp.is_some(), side) {
                (false, _) => String::new(),
                (true, Side::Both) => " on both sides".to_owned(),
                (true, side) => format!(" on the {} side", side.word()),
            };
            let setting = setting.map(|(column, to)| format!(" with {} {}", column.name(), pressure(plant, to)));
            format!("add {}{side}{}", part(plant, *added), setting.unwrap_or_default())
        }
        Change::StationSetting { to } => format!("set the pump of load station {station} to {}", pressure(plant, *to)),
        Change::StationPart { role, to } => {
            let role = if *role == StationRole::Pump { "pump" } else { "drive ram" };
            format!("use {} as the {role} of load station {station}", part(plant, *to))
        }
        Change::Split { groups, .. } => {
            let groups: Vec<String> = groups
                .iter()
                .map(|group| {
                    let named = group.lines.iter().filter_map(|line| lines.get(*line));
                    let named: Vec<String> = named
                        .map(|line| {
                            if line.position.is_empty() {
                                format!("row {}", line.origin.row)
                            } else {
                                line.position.to_string()
                            }
                        })
                        .collect();
                    format!("{} ({}) on {}", group.name, named.join(" "), part(plant, group.cylinder))
                })
                .collect();
            format!("split the circuit into {} groups of positions: {}", groups.len(), groups.join(", "))
        }
    }
}

/// A proved change as a sentence.
#[must_use]
pub fn sentence(plant: &Plant, audit: &CircuitAudit, proved: &Proved) -> String {
    let mut words = capitalised(clause(plant, audit, &proved.change));
    words.reserve(proved.figures.len() + USUAL_PRICE);
    add_price(plant, &proved.change, &mut words);
    let is_split = matches!(proved.change, Change::Split { .. });
    match (proved.figures.is_empty(), is_split) {
        (true, _) => {}
        (false, true) => {
            let others = others_of_each_group(plant, audit);
            words.extend([". ", SHARED, &others, " ", &capitalised(proved.figures.clone())]);
        }
        (false, false) => words.extend([": ", &proved.figures]),
    }
    words.extend([".", &proved.left]);
    let count = proved.cleared.len();
    if count > 1 {
        words.extend([" It clears ", &count.to_string(), " findings."]);
    }
    words
}

/// What a split takes once more for each group, beside its charging cylinder.
fn others_of_each_group(plant: &Plant, audit: &CircuitAudit) -> String {
    let parts = audit.circuit.lines.iter().filter_map(|line| line.component(&plant.components));
    let others = parts.filter(|part| !part.is_actuator() && !part.is_conductor() && !part.is(Kind::ChargingCylinder));
    let mut names: Vec<&str> = others.map(|part| part.part_no.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    match names.as_slice() {
        [] => String::new(),
        names => format!(" Each group takes its own {}.", listed(names)),
    }
}

/// Letters that most prices take, with what stands around them.
const USUAL_PRICE: usize = 24;

const SHARED: &str = "Conductors and dead volume are shared in proportion to swept volume.";

/// Adds the price of what comes in, where it is known.
fn add_price(plant: &Plant, change: &Change, words: &mut String) {
    let part = plant.component_at(change.part());
    let Some((price, currency)) = part.and_then(|part| Some((part.unit_price?, part.currency.trim_end()))) else {
        return;
    };
    // A line may take several; a station has one, and one is added.
    let each = if matches!(change, Change::Swap { .. }) { " each" } else { "" };
    let space = if currency.is_empty() { "" } else { " " };
    words.extend([" (", &price.to_string(), space, currency, each, ")"]);
}

/// What the reader is told where nothing passes.
///
/// * `ended` – the bound that ended the search, where one did
#[must_use]
pub fn no_change(nearest: &str, ended: Option<Ended>) -> String {
    match ended {
        Some(Ended::Lines { lines, trials: 0 }) => format!(
            "No change was tried for it: what was tried on this pallet before had looked at {lines} lines \
             ([bounds] trial_lines)."
        ),
        Some(Ended::Lines { lines, trials }) => format!(
            "No single change was found that serves; the search ended after {}, since what was tried on this pallet \
             had looked at {lines} lines ([bounds] trial_lines); {nearest}.",
            counted(trials, "trial")
        ),
        Some(Ended::Trials(trials)) => format!(
            "No single change was found that serves; the search ended after {trials} trials ([bounds] trials); {nearest}."
        ),
        None => format!("No single change from the component table serves; {nearest}."),
    }
}

/// Of changes none of which passes the one that comes nearest, in words.
///
/// * `change` – a change of a circuit, by its place, as a clause
#[must_use]
pub fn nearest(nearest: &NearMiss, clause: impl FnOnce(usize, &Change) -> String) -> String {
    match nearest {
        NearMiss::Untried => UNTRIED.to_owned(),
        NearMiss::NoneNearer => "none that was tried comes any nearer".to_owned(),
        NearMiss::Change(NearestChange { circuit, change, failing }) => {
            format!("nearest: {}, {failing}", clause(*circuit, change))
        }
    }
}

/// That a load station whose pump air drives was left as it is; empty where nothing was to be set there.
#[must_use]
pub fn air_untried(plant: &Plant, station: Option<&Station>, finding: &Finding) -> String {
    let sets_pump = |cure: &Cure| matches!(cure, Cure::SettingNeeded | Cure::LowerSetting);
    let is_by_setting = rule(finding.rule).is_some_and(|rule| rule.cures.iter().any(sets_pump));
    match station.filter(|station| is_by_setting && plant.air_ratio_of(station).is_some()) {
        Some(station) => {
            format!(" The pump of load station {} is driven by air: no other air pressure was tried.", station.station)
        }
        None => String::new(),
    }
}

/// There was nothing to try.
pub const UNTRIED: &str =
    "there is none to try: the table has no part that fits by family, size and leak, and no setting bears on it";

/// What a change fails that was tried for a finding: `which fails P05 by 12 bar`.
///
/// * `elsewhere` – what it harms on other circuits of its load station, or there
#[must_use]
pub fn failing(plant: &Plant, trial: &Trial, finding: &Finding, elsewhere: impl FnOnce() -> Option<String>) -> String {
    let gained = trial.gained.first().map(|gained| (gained.rule, (gained.measured.as_ref(), gained.limit.as_ref())));
    match gained.or_else(|| Some((finding.rule, trial.still(finding)?))) {
        Some((rule, (measured, limit))) => {
            let by = off(plant, rule, measured, limit);
            format!("which fails {rule}{}", by.unwrap_or_default())
        }
        None => match trial.unassessed.first() {
            Some(rule) => format!("after which {rule} can't be assessed"),
            None => elsewhere().unwrap_or_else(|| "which harms another circuit of the load station".to_owned()),
        },
    }
}

/// How far a finding is off its limit, and which way where a number alone would mislead.
fn off(plant: &Plant, rule: &str, measured: Option<&Value>, limit: Option<&Value>) -> Option<String> {
    let (measured, limit) = (measured?, limit?);
    // A relief valve that is not set too high is set too low: at the pressure there, that is 0 bar off.
    if let (Value::Pressure(setting), Value::Pressure(there)) = (measured, limit)
        && rule == P10.code
        && !is_above(setting.si(), there.si())
    {
        let there = shown(limit, plant.policy.units);
        return Some(format!(", not above the pressure there, {there}"));
    }
    if let Some(gap) = gap(plant, Some(measured), Some(limit)) {
        return Some(format!(" by {gap}"));
    }
    let (measured, limit) = shown_apart(measured, limit, plant.policy.units);
    let unit = if rule == V04.code { " days" } else { "" };
    Some(format!(": {measured}{unit} against {limit}{unit}"))
}

/// How far a finding is off its limit.
fn gap(plant: &Plant, measured: Option<&Value>, limit: Option<&Value>) -> Option<String> {
    let off = match (measured?, limit?) {
        (Value::Pressure(a), Value::Pressure(b)) => Value::Pressure((*a - *b).abs()),
        (Value::Volume(a), Value::Volume(b)) => Value::Volume((*a - *b).abs()),
        (Value::Force(a), Value::Force(b)) => Value::Force((*a - *b).abs()),
        (Value::Length(a), Value::Length(b)) => Value::Length((*a - *b).abs()),
        (Value::Seconds(a), Value::Seconds(b)) => Value::Seconds((*a - *b).abs()),
        (Value::Ratio(a), Value::Ratio(b)) => Value::Ratio((a - b).abs()),
        _ => return None,
    };
    Some(shown(&off, plant.policy.units))
}

/// Letters that the figures of most changes take.
const USUAL_MOVES: usize = 160;

/// The figures that a change moves: `fill 1.02 → 0.71`.
#[must_use]
pub fn before_and_after(plant: &Plant, before: &CircuitAudit, change: &Change, trial: &Trial) -> String {
    let mut moves = String::with_capacity(USUAL_MOVES);
    if let Change::Swap { line, to } = change {
        let limits = &plant.policy.limits;
        let old = before.circuit.lines.get(*line).and_then(|line| line.component(&plant.components));
        let (old, new) = (
            old.and_then(|part| rating(part, limits)),
            plant.component_at(Some(*to)).and_then(|part| rating(part, limits)),
        );
        push(&mut moves, plant, "rating", old.map(Value::Pressure), new.map(Value::Pressure));
    }
    for after in &trial.after {
        let mut of_group = String::new();
        let is_group = trial.after.len() > 1;
        let own = if is_group { &mut of_group } else { &mut moves };
        for told in TOLD_FIGURES.iter().filter(|told| told.by_remedies) {
            push(own, plant, told.name, (told.read)(&before.figures), (told.read)(&after.figures));
        }
        if is_group {
            let mark = if moves.is_empty() { "" } else { "; " };
            moves.extend([mark, &after.name, ": ", &of_group]);
        }
    }
    moves
}

fn push(moves: &mut String, plant: &Plant, name: &str, before: Option<Value>, after: Option<Value>) {
    if before == after {
        return;
    }
    let put = |value: Option<Value>, words: &mut String| match value {
        Some(value) => add_shown(&value, plant.policy.units, words),
        None => words.push_str("unknown"),
    };
    let so_far = moves.len();
    let mark = if moves.is_empty() { "" } else { ", " };
    moves.extend([mark, name, " "]);
    let was = moves.len();
    put(before, moves);
    let arrow = moves.len();
    moves.push_str(ARROW);
    put(after, moves);
    if moves[was..arrow] == moves[arrow + ARROW.len()..] {
        moves.truncate(so_far);
    }
}

/// Between a figure before a change and after it.
const ARROW: &str = " → ";
