//! How sure the verdicts on the circuits of a pallet are, by the spread of all data that enter them.

#[cfg(test)]
mod tests;

use crate::physics::propagation::margin as distance;
use crate::rules::sureness::S01;
use crate::rules::view::CircuitView;
use crate::rules::{Outcome, is_below};
use crate::tables::circuit::Service;
use crate::tables::finding::Finding;
use crate::tables::sureness::{Certainty, Deciding, Sureness, Tipping};
use crate::tables::words::{State, Verdict};

use super::audited::CircuitAudit;
use super::doubt::Doubt;
use super::findings::{run_rule, verdict};
use super::fixture::{Ground, elsewhere, sort_findings};
use super::links::Links;
use super::replica::{Compared, Replica, deciding};
use super::waiving::Matches;

/// Data that are named for each circuit.
const NAMED: usize = 3;

/// Works out how sure the verdicts on the circuits of a pallet are; `tips` asks for the values at which they tip.
///
/// A circuit that is not assessed has no verdict that could be sure.
pub fn add_sureness(ground: &Ground, audits: &mut [CircuitAudit], matches: &mut Matches, tips: bool) {
    let policy = deciding(&ground.plant.policy);
    let links = Links::of(audits);
    for set in links.sets() {
        if set.iter().all(|index| audits[*index].verdict == Verdict::NotAssessed) {
            continue;
        }
        let replica = Replica::of(ground.plant, policy.clone(), set.iter().map(|index| &audits[*index]));
        let mut doubt = Doubt::about(replica, ground.plant.policy.bounds.draws);
        let mut asked: Vec<Vec<usize>> = Vec::with_capacity(set.len());
        for (circuit, index) in set.iter().enumerate() {
            let audit = &mut audits[*index];
            let wanted = wanted(&doubt, circuit, audit);
            let certain = certainly_not(&doubt, &wanted, audit);
            asked.push(if certain.is_some() || audit.verdict == Verdict::NotAssessed { Vec::new() } else { wanted });
            audit.figures.sureness = certain.map(Box::new);
        }
        doubt.propagate(&asked);
        for ((circuit, index), wanted) in set.iter().enumerate().zip(&asked) {
            let audit = &mut audits[*index];
            if audit.figures.sureness.is_none() {
                let sureness = sureness_of(&mut doubt, circuit, audit, wanted, tips);
                audit.figures.sureness = sureness.map(Box::new);
            }
        }
    }
    for audit in audits.iter_mut().filter(|audit| audit.figures.sureness.is_some()) {
        find_narrow(ground, audit, matches);
    }
}

/// The rule of narrow verdicts, run now that it is known how sure they are.
fn find_narrow(ground: &Ground, audit: &mut CircuitAudit, matches: &mut Matches) {
    let blank = Service::default();
    let service = audit.circuit.service.as_ref().unwrap_or(&blank);
    let view = CircuitView::of(ground.plant, &audit.circuit, service, &audit.figures);
    let mut found = Vec::new();
    let _ = run_rule(&S01, &view, &mut Outcome::default(), &mut found);
    if found.is_empty() {
        return;
    }
    matches.merge(ground.waiving.mark(&mut found));
    let elsewhere = elsewhere(ground, &audit.circuit, service);
    audit.findings.append(&mut found);
    sort_findings(&mut audit.findings);
    // A plant may let what conforms narrowly count against conformity.
    audit.verdict = verdict(&audit.findings, &audit.not_assessed, elsewhere);
}

/// Whether a finding is of a comparison.
fn is_of(finding: &Finding, compared: &Compared) -> bool {
    finding.rule == compared.rule.code && finding.line == compared.at.line
}

/// Everything of a circuit that would have to be kept for it to conform: what a waiver accepts need not be.
fn wanted(doubt: &Doubt, circuit: usize, audit: &CircuitAudit) -> Vec<usize> {
    let is_waived = |compared: &Compared| {
        audit.findings.iter().any(|finding| finding.state == State::Waived && is_of(finding, compared))
    };
    let own = doubt.compared.iter().enumerate().filter(|(_, compared)| compared.circuit == circuit);
    own.filter(|(_, compared)| !is_waived(compared)).map(|(place, _)| place).collect()
}

fn sureness_of(
    doubt: &mut Doubt,
    circuit: usize,
    audit: &CircuitAudit,
    wanted: &[usize],
    tips: bool,
) -> Option<Sureness> {
    let conforms = match audit.verdict {
        Verdict::NotAssessed => return None,
        Verdict::Conforms | Verdict::ConformsWithWaivers => true,
        Verdict::DoesNotConform => false,
    };
    let counts = |place: &usize| (doubt.compared[*place].slack >= 0.0) == conforms;
    let candidates: Vec<usize> = wanted.iter().copied().filter(counts).collect();
    let Some(least) = doubt.least(&candidates) else { return Some(beyond_doubt(conforms)) };
    let compared = doubt.compared[least];
    let margin = doubt.margin(least);
    let sure = doubt.replica().plant.policy.limits.sure;
    let certainty = match (conforms, is_below(margin.abs(), sure)) {
        (true, false) => Certainty::SurelyConforms,
        (true, true) => Certainty::Narrowly,
        (false, true) => Certainty::NarrowlyNot,
        (false, false) => Certainty::SurelyNot,
    };
    let ranked = ranked(doubt, least);
    let kept = if conforms { &candidates } else { wanted };
    let tipping = ranked.first().filter(|_| tips).and_then(|(datum, _)| tipping(doubt, *datum, least, kept));
    Some(Sureness {
        certainty,
        margin,
        rule: compared.rule.code,
        rule_name: compared.rule.name,
        side: compared.at.side,
        line: compared.at.line,
        probability: doubt.probability(least),
        is_drawn: doubt.judged[least].drawn.is_some(),
        deciding: named(doubt, circuit, &ranked),
        tipping,
    })
}

/// No figure of the circuit is compared with a limit, or none spreads.
const fn beyond_doubt(conforms: bool) -> Sureness {
    let (certainty, margin, probability) = if conforms {
        (Certainty::SurelyConforms, f64::INFINITY, 1.0)
    } else {
        (Certainty::SurelyNot, f64::NEG_INFINITY, 0.0)
    };
    Sureness {
        certainty,
        margin,
        rule: "",
        rule_name: "",
        side: None,
        line: None,
        probability,
        is_drawn: false,
        deciding: Vec::new(),
        tipping: None,
    }
}

/// What stands against the circuit and is no figure beside a limit: a part that is missing does not spread.
fn certainly_not(doubt: &Doubt, wanted: &[usize], audit: &CircuitAudit) -> Option<Sureness> {
    if audit.verdict != Verdict::DoesNotConform {
        return None;
    }
    let missed = |finding: &&Finding| {
        let is_missed = |place: &usize| doubt.compared[*place].slack < 0.0 && is_of(finding, &doubt.compared[*place]);
        !wanted.iter().any(is_missed)
    };
    let against = audit
        .findings
        .iter()
        .filter(|finding| finding.counts() && crate::rules::catalogue::weighs_on_circuits(finding));
    let first = against.clone().filter(missed).min_by_key(|finding| finding.severity);
    if let Some(finding) = first {
        let name = crate::rules::catalogue::rule(finding.rule).map_or("", |rule| rule.name);
        let (side, line) = (finding.side, finding.line);
        return Some(Sureness { rule: finding.rule, rule_name: name, side, line, ..beyond_doubt(false) });
    }
    // Only a part that it uses stands against it.
    let is_own = against.count() > 0 || wanted.iter().any(|place| doubt.compared[*place].slack < 0.0);
    (!is_own).then(|| beyond_doubt(false))
}

/// The data that add most to the doubt about a comparison, with their shares of the variance.
fn ranked(doubt: &Doubt, place: usize) -> Vec<(usize, f64)> {
    let parts: Vec<f64> = doubt.contributions(place).collect();
    let variance: f64 = parts.iter().map(|part| part * part).sum();
    let shares = parts.iter().enumerate().map(|(datum, part)| (datum, part * part / variance));
    let mut shares: Vec<(usize, f64)> = shares.filter(|(_, share)| *share > 0.0).collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    shares.truncate(NAMED);
    shares
}

fn named(doubt: &Doubt, circuit: usize, ranked: &[(usize, f64)]) -> Vec<Deciding> {
    let replica = doubt.replica();
    let name = |datum: usize| {
        let datum = &doubt.data[datum];
        let name = datum.name(replica);
        match datum.circuit().filter(|of| *of != circuit).and_then(|of| replica.circuits.get(of)) {
            Some(other) => (format!("{name} in {}", other.key), false),
            None => (name, datum.circuit().is_some()),
        }
    };
    let deciding = |(datum, share): &(usize, f64)| {
        let (datum, is_own) = name(*datum);
        Deciding { datum, is_own, share: *share }
    };
    ranked.iter().map(deciding).collect()
}

/// Steps towards the value at which a verdict tips, as parts of the way by the straight line.
const STEPS: [f64; 12] = [0.25, 0.5, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0, 3.0, 5.0, 8.0];
/// Standard uncertainties beyond which no tipping is looked for.
const FARTHEST: f64 = 12.0;

/// The value of a datum at which the circuit conforms where it did not, or the reverse, all other data as they are.
fn tipping(doubt: &mut Doubt, datum: usize, place: usize, wanted: &[usize]) -> Option<Tipping> {
    let mut slacks = Vec::new();
    let subject = doubt.data[datum];
    let conforms = |doubt: &mut Doubt, slacks: &mut Vec<f64>, value: f64| {
        doubt.slacks_with(datum, value, slacks);
        wanted.iter().all(|place| slacks[*place] >= 0.0)
    };
    let now = conforms(doubt, &mut slacks, subject.value);
    let (slack, part) = (doubt.compared[place].slack, doubt.contribution(datum, place));
    let way = -distance(slack, part.abs()) * part.signum();
    if !way.is_finite() {
        return None;
    }
    // Where it does not tip on the way to the limit it may on the way back: another limit is there.
    let (mut near, mut far) = [way, -way].into_iter().find_map(|way| {
        let mut near = subject.value;
        let steps = STEPS.iter().map(|step| step * way).filter(|deviates| deviates.abs() < FARTHEST);
        for step in steps.chain([FARTHEST * way.signum()]) {
            let value = subject.away(step);
            if conforms(doubt, &mut slacks, value) != now {
                return Some((near, value));
            }
            near = value;
        }
        None
    })?;
    let is_same = |a: f64, b: f64| a.total_cmp(&b).is_eq();
    // Down to neighbours among the numbers that a computer holds, or nearly so.
    for _ in 0..64 {
        let middle = near + 0.5 * (far - near);
        if (far - near).abs() <= 4.0 * f64::EPSILON * far.abs() || is_same(middle, near) || is_same(middle, far) {
            break;
        }
        if conforms(doubt, &mut slacks, middle) == now {
            near = middle;
        } else {
            far = middle;
        }
    }
    Some(Tipping { measure: subject.measure(), now: subject.value, at: far })
}
