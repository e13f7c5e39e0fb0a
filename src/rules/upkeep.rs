//! U: what wears, and oil that has to be added.

#[cfg(test)]
pub(crate) mod trios;

use chrono::NaiveDate;

use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::Severity;

use super::view::{CircuitView, Fitted};
use super::volume::lasting;
use super::{Asked, Checks, Family, Hit, Outcome, Reach, RestsOn, Rule, is_above};

/// The family.
pub static FAMILY: Family = Family { letter: 'U', name: "Upkeep", weighs: false, rules: &[&U01, &U02, &U03] };

pub static U01: Rule = Rule {
    family: &FAMILY,
    code: "U01",
    name: "part-past-its-life",
    title: "Part is past its life",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A piece whose fitted_on + service_life is past, or that has made more cycles since than its cycle_life.",
    why: "Hoses age, seals wear and gas escapes, whether they look it or not. What is past its life fails without notice.",
    remedy: "Replace the piece and enter the new fitted_on.",
    message: "{part}[ at position {position}] was fitted on {fitted_on}.[ Its life of {service_life} days ended on {ended}; days past: {days_past}.][ {days} days × {cycles_per_day} cycles a day = {cycles}, above its life of {cycle_life} cycles.]",
    limits: &[],
    basis: "common practice",
    passing: "A hose fitted 730 days ago with a service life of 730 days.",
    failing: "A hose fitted 731 days ago with a service life of 730 days.",
    checks: Checks::circuit(past_its_life),
    rests_on: Some(RestsOn {
        data: "fitted_on with service_life, or with cycle_life and cycles_per_day",
        are_stated: is_aged,
    }),
    ..Rule::USUAL
};

fn past_its_life(view: &CircuitView, outcome: &mut Outcome) {
    for wear in worn(view).filter(Wear::is_past) {
        let (fitted, elapsed) = (wear.fitted, wear.elapsed);
        let days = wear.days.filter(|life| is_above(elapsed, *life));
        let cycles = wear.cycles.filter(|(life, a_day)| is_above(elapsed * a_day, *life));
        let hit = Hit::on_line(fitted.index).in_column("fitted_on").fact("fitted_on", Value::Date(wear.since));
        let hit = match (days, cycles) {
            (Some(life), _) => hit.against(Value::Days(elapsed), Value::Days(life)),
            (None, Some((life, a_day))) => hit.against(Value::Number(elapsed * a_day), Value::Number(life)),
            (None, None) => continue,
        };
        let hit = hit
            .fact_if("service_life", days.map(Value::Number))
            .fact_if("ended", days.and_then(|life| later(wear.since, life)).map(Value::Date))
            .fact_if("days_past", days.map(|life| Value::Number((elapsed - life.floor()).max(1.0))));
        outcome.hit(with_cycles(hit, elapsed, cycles));
    }
}

pub static U02: Rule = Rule {
    family: &FAMILY,
    code: "U02",
    name: "life-ends-soon",
    title: "Part's life ends soon",
    severity: Severity::Observation,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A piece whose service_life or cycle_life ends within waiver_notice days.",
    why: "A hose with a lead time is ordered before the old one is past its life.",
    remedy: "Order the piece and plan its change.",
    message: "{part}[ at position {position}] was fitted on {fitted_on}.[ Its life of {service_life} days ends on {ended}.][ {days} days × {cycles_per_day} cycles a day = {cycles} of its life of {cycle_life} cycles.] Days left: {measured}; notice is given {limit} days before.",
    limits: &["waiver_notice"],
    basis: "common practice",
    passing: "A hose with 31 days left; notice is given 30 days before.",
    failing: "A hose with 30 days left; notice is given 30 days before.",
    checks: Checks::circuit(ends_soon),
    rests_on: Some(RestsOn {
        data: "fitted_on with service_life, or with cycle_life and cycles_per_day",
        are_stated: is_aged,
    }),
    ..Rule::USUAL
};

fn ends_soon(view: &CircuitView, outcome: &mut Outcome) {
    let notice = view.limits().waiver_notice;
    for wear in worn(view).filter(|wear| !wear.is_past()) {
        let by_days = wear.days.map(|life| life.floor() - wear.elapsed);
        let by_cycles = wear.cycles.map(|(life, a_day)| life / a_day - wear.elapsed);
        let Some(left) = by_days.into_iter().chain(by_cycles).reduce(f64::min) else { continue };
        if is_above(left, notice) {
            continue;
        }
        let is_first = |days: Option<f64>| days.is_some_and(|days| days <= left);
        let days = wear.days.filter(|_| is_first(by_days));
        let cycles = wear.cycles.filter(|_| !is_first(by_days));
        let hit = Hit::on_line(wear.fitted.index)
            .in_column("fitted_on")
            .against(Value::Days(left), Value::Days(notice))
            .fact("fitted_on", Value::Date(wear.since))
            .fact_if("service_life", days.map(Value::Number))
            .fact_if("ended", days.and_then(|life| later(wear.since, life)).map(Value::Date));
        outcome.hit(with_cycles(hit, wear.elapsed, cycles));
    }
}

fn with_cycles(hit: Hit, elapsed: f64, cycles: Option<(f64, f64)>) -> Hit {
    let Some((life, a_day)) = cycles else { return hit };
    hit.fact("days", Value::Number(elapsed))
        .fact("cycles_per_day", Value::Number(a_day))
        .fact("cycles", Value::Number(elapsed * a_day))
        .fact("cycle_life", Value::Number(life))
}

/// How long a piece has been fitted, and for how long it may be.
struct Wear<'a> {
    fitted: Fitted<'a>,
    since: NaiveDate,
    /// Days since.
    elapsed: f64,
    /// Service life in days.
    days: Option<f64>,
    /// Cycle life, and cycles a day.
    cycles: Option<(f64, f64)>,
}

impl Wear<'_> {
    /// Valid through its last day and its last cycle.
    fn is_past(&self) -> bool {
        self.days.is_some_and(|life| is_above(self.elapsed, life))
            || self.cycles.is_some_and(|(life, a_day)| is_above(self.elapsed * a_day, life))
    }
}

/// The pieces whose age is known.
fn worn<'a>(view: &'a CircuitView<'a>) -> impl Iterator<Item = Wear<'a>> {
    let today = view.plant.policy.date;
    let a_day = view.service.cycles_per_day.filter(|a_day| *a_day > 0.0);
    view.fitted().filter_map(move |fitted| {
        let since = fitted.line.fitted_on?;
        #[allow(clippy::cast_precision_loss, reason = "days between two dates")]
        let elapsed = (today - since).num_days() as f64;
        let cycles = fitted.component.cycle_life.zip(a_day);
        Some(Wear { fitted, since, elapsed, days: fitted.component.service_life, cycles })
    })
}

/// Whether the life of a piece is known, and its age.
fn is_aged(view: &CircuitView) -> bool {
    worn(view).any(|wear| wear.days.is_some() || wear.cycles.is_some())
}

/// The day so many whole days later.
#[must_use]
pub fn later(since: NaiveDate, days: f64) -> Option<NaiveDate> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and a million")]
    let days = days.clamp(0.0, 1e6).floor() as u64;
    since.checked_add_days(chrono::Days::new(days))
}

pub static U03: Rule = Rule {
    family: &FAMILY,
    code: "U03",
    name: "top-up-overdue",
    title: "Oil should have been added",
    severity: Severity::Minor,
    subject: Subject::Side,
    looks_for: "A circuit charged by cylinder whose topped_up + the days that a filling lasts is past.",
    why: "By now leaks have taken the reserve: one stroke may no longer fill the side.",
    remedy: "Add oil, and enter the new topped_up.",
    message: "Oil was last added on {topped_up}, and a filling lasts {limit} days: it was due on {due}, and {measured} days have passed.",
    limits: &[],
    basis: "common practice",
    passing: "Oil was added 20 days ago, and a filling lasts 45 days.",
    failing: "Oil was added 60 days ago, and a filling lasts 45 days.",
    figures: Asked { hot: true, cold: true, topup: true, ..Asked::SIDES },
    checks: Checks::circuit(top_up_overdue),
    rests_on: Some(RestsOn {
        data: "topped_up, with cycles_per_day and, where anything leaks, hold_time",
        are_stated: |view| {
            let group = &view.figures.clamp.group;
            let is_held = view.service.hold_time.is_some() || group.topup_days.is_some();
            view.service.topped_up.is_some() && is_held && group.cycles_per_day.is_some()
        },
    }),
    ..Rule::USUAL
};

fn top_up_overdue(view: &CircuitView, outcome: &mut Outcome) {
    let Some(topped_up) = view.service.topped_up else { return };
    // What is unknown of the days is told by the rule on how long a filling lasts.
    let Some((side, days)) = lasting(view, false, &mut Outcome::default()) else { return };
    #[allow(clippy::cast_precision_loss, reason = "days between two dates")]
    let elapsed = (view.plant.policy.date - topped_up).num_days() as f64;
    // Good through the day on which it falls due.
    if is_above(elapsed, days.floor()) {
        outcome.hit(
            Hit::on_side(side.side)
                .against(Value::Days(elapsed), Value::Days(days))
                .fact("topped_up", Value::Date(topped_up))
                .fact_if("due", later(topped_up, days).map(Value::Date)),
        );
    }
}
