//! Rules on the waivers themselves.

use chrono::NaiveDate;

use crate::tables::finding::Subject;
use crate::tables::order::Waiver;
use crate::tables::value::Value;
use crate::tables::words::{Severity, folded};

use super::view::WaiverView;
use super::{Checks, Family, Hit, Outcome, Rule};

/// The family.
pub static FAMILY: Family = Family { letter: 'W', name: "Waivers", weighs: false, rules: &[&W01, &W02] };

pub static W01: Rule = Rule {
    family: &FAMILY,
    code: "W01",
    name: "waiver-not-in-force",
    title: "Waiver expired or incomplete",
    severity: Severity::Major,
    subject: Subject::Waiver,
    looks_for: "A waiver is past the day it expires on, or its rule, reason, approved_by or expires is empty; in reason and \
                approved_by a placeholder such as '-', '?', 'n/a' or 'tbd', or a refusal, counts as empty.",
    why: "A nonconformity is accepted by somebody, for a reason, up to a day. Without these it is merely overlooked, \
          so what the waiver covered counts again.",
    remedy: "Put the nonconformity right, or have it accepted anew with a reason, a name and a date.",
    message: "[Empty cells: {missing}. ][Cells that say nothing, which counts as empty: {idle}. ][It was valid through {expires}, and this report is of {today}; days past: {days}. ]\
              Findings that it would cover, and that count where no other waiver covers them: {matches}[, on {examples}].",
    limits: &[],
    basis: "ISO 9001, 8.7 (a concession is recorded with who decided it)",
    passing: "The waiver states a rule, a reason, who approved it, and expires today: it is valid through its day.",
    failing: "The waiver expired yesterday.",
    checks: Checks::waiver(not_in_force),
    ..Rule::USUAL
};

fn not_in_force(view: &WaiverView, outcome: &mut Outcome) {
    let waiver = view.waiver;
    if !waiver.faults.is_empty() {
        return;
    }
    let (idle, missing): (Vec<&str>, Vec<&str>) =
        missing_cells(waiver).into_iter().partition(|column| holds_placeholder(waiver, column));
    let today = view.policy.date;
    let expired = waiver.expires.filter(|expires| *expires < today);
    let Some(column) = missing.first().or(idle.first()).copied().or(expired.map(|_| "expires")) else { return };
    let names = |columns: &[&str]| {
        let names: Vec<String> = columns.iter().map(ToString::to_string).collect();
        (!names.is_empty()).then_some(Value::List(names))
    };
    let mut hit = Hit::here()
        .in_column(column)
        .fact_if("missing", names(&missing))
        .fact_if("idle", names(&idle))
        .fact("matches", Value::Count(view.matches))
        .fact_if("examples", examples(view));
    if let Some(expires) = expired {
        hit = hit
            .against(Value::Date(today), Value::Date(expires))
            .fact("expires", Value::Date(expires))
            .fact("today", Value::Date(today))
            .fact_if("days", u64::try_from((today - expires).num_days()).ok().map(Value::Count));
    }
    outcome.hit(hit);
}

pub static W02: Rule = Rule {
    family: &FAMILY,
    code: "W02",
    name: "waiver-idle-or-about-to-expire",
    title: "Waiver that matches nothing or expires soon",
    severity: Severity::Observation,
    subject: Subject::Waiver,
    looks_for: "A waiver in force matches no finding, or expires within waiver_notice days.",
    why: "A waiver that covers nothing today may cover something unwanted tomorrow. \
          One that is about to expire takes its circuits' verdict with it.",
    remedy: "Delete the waiver where its cause is gone, correct its place or rule, or see to its renewal in time.",
    message: "[No finding of rule {idle_rule} stands in its place. ]\
              [It expires on {expires}; days left: {days}, notice is given {notice} days before. ]Findings that it waives: {matches}.",
    limits: &["waiver_notice"],
    basis: "common practice",
    passing: "The waiver covers one finding and expires in 31 days; notice is given 30 days before.",
    failing: "The waiver covers one finding and expires in 30 days; notice is given 30 days before.",
    checks: Checks::waiver(idle_or_expiring),
    ..Rule::USUAL
};

fn idle_or_expiring(view: &WaiverView, outcome: &mut Outcome) {
    let Some(expires) = view.waiver.expires.filter(|_| is_in_force(view.waiver, view.policy.date)) else { return };
    let notice = view.policy.limits.waiver_notice;
    let is_idle = view.matches == 0;
    #[allow(clippy::cast_precision_loss, reason = "days between two dates")]
    let days = (expires - view.policy.date).num_days() as f64;
    let is_expiring = days <= notice;
    if !is_idle && !is_expiring {
        return;
    }
    let idle_rule = is_idle.then(|| Value::Text(view.waiver.rule.clone()));
    let mut hit = Hit::here()
        .in_column(if is_expiring { "expires" } else { "rule" })
        .fact_if("idle_rule", idle_rule)
        .fact("matches", Value::Count(view.matches));
    if is_expiring {
        hit = hit
            .against(Value::Days(days), Value::Days(notice))
            .fact("expires", Value::Date(expires))
            .fact("days", Value::Number(days))
            .fact("notice", Value::Number(notice));
    }
    outcome.hit(hit);
}

/// What stands in a cell for which nobody has the words or the name yet, or instead of an approval, folded (common
/// practice, no source).
const PLACEHOLDERS: [&str; 32] = [
    "na",
    "n/a",
    "tbd",
    "tba",
    "tbc",
    "tbn",
    "todo",
    "pending",
    "open",
    "offen",
    "none",
    "nobody",
    "niemand",
    "keine",
    "keiner",
    "no",
    "nein",
    "not",
    "nil",
    "null",
    "unknown",
    "unbekannt",
    "rejected",
    "abgelehnt",
    "refused",
    "declined",
    "denied",
    "notapproved",
    "nichtgenehmigt",
    "x",
    "xx",
    "xxx",
];

/// Whether a text says nothing: no letter or digit stands in it, or a word that keeps the place of others.
fn is_placeholder(text: &str) -> bool {
    // `N. A.` are somebody's initials, `n.a.` is none.
    let is_initials = text.trim().starts_with(char::is_uppercase) && text.contains(". ");
    !is_initials && is_word_for_none(text)
}

fn is_word_for_none(text: &str) -> bool {
    !text.chars().any(char::is_alphanumeric) || PLACEHOLDERS.contains(&folded(text).trim_end_matches(['?', '!', ':']))
}

/// Whether a cell of a waiver is filled and says nothing.
fn holds_placeholder(waiver: &Waiver, column: &str) -> bool {
    match column {
        "reason" => !waiver.reason.trim().is_empty(),
        "approved_by" => !waiver.approved_by.trim().is_empty(),
        _ => false,
    }
}

/// The required cells of a waiver that are empty, or say as much.
#[must_use]
pub fn missing_cells(waiver: &Waiver) -> Vec<&'static str> {
    [
        ("rule", waiver.rule.trim().is_empty()),
        ("reason", is_placeholder(&waiver.reason)),
        ("approved_by", is_placeholder(&waiver.approved_by)),
        ("expires", waiver.expires.is_none()),
    ]
    .into_iter()
    .filter_map(|(column, is_missing)| is_missing.then_some(column))
    .collect()
}

/// Whether a waiver can be read and says all that it has to.
#[must_use]
pub fn is_complete(waiver: &Waiver) -> bool {
    waiver.faults.is_empty() && missing_cells(waiver).is_empty()
}

/// Whether a waiver waives: readable, complete, and not past its day.
#[must_use]
pub fn is_in_force(waiver: &Waiver, today: NaiveDate) -> bool {
    let is_valid = waiver.expires.is_some_and(|expires| expires >= today);
    is_complete(waiver) && is_valid
}

fn examples(view: &WaiverView) -> Option<Value> {
    let places: Vec<String> = view.examples.iter().map(ToString::to_string).filter(|place| !place.is_empty()).collect();
    (!places.is_empty()).then_some(Value::List(places))
}

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;
