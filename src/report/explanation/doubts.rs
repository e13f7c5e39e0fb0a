//! How sure the verdict on a circuit is, and what would settle it.

use serde_json::{Value as Json, json};

use crate::circuit::audited::CircuitAudit;
use crate::physics::unit::UnitSystem;
use crate::rules::catalogue;
use crate::tables::plant::Plant;
use crate::tables::shown::capitalised;
use crate::tables::sureness::{Certainty, Sureness, Tipping};
use crate::tables::value::Value;
use crate::tables::words::Verdict;

use super::{Chapter, WorkStep};

/// What the words mean, beside the standard uncertainties from which a verdict is sure.
const fn meaning(certainty: Certainty) -> &'static str {
    match certainty {
        Certainty::SurelyConforms => "the nearest limit is kept by at least",
        Certainty::Narrowly => "the nearest limit is kept by less than",
        Certainty::NarrowlyNot => "the limit is missed by less than",
        Certainty::SurelyNot => "a limit is missed by at least",
    }
}

/// The chapter of a circuit for which it was asked how sure its verdict is.
pub(super) fn chapter(plant: &Plant, circuit: &CircuitAudit) -> Chapter {
    let mut chapter = Chapter::new("How sure the verdict is");
    let Some(sureness) = &circuit.figures.sureness else {
        chapter.say("The circuit is not assessed: there is no verdict that could be sure or not.");
        return chapter;
    };
    let sure = plant.policy.limits.sure;
    if sureness.margin.is_finite() {
        let word = capitalised(sureness.certainty.word().to_owned());
        let uncertainties = if sure.total_cmp(&1.0).is_eq() { "uncertainty" } else { "uncertainties" };
        chapter.say(format!("{word}: {} {sure} standard {uncertainties}.", meaning(sureness.certainty)));
        add_figures(&mut chapter, plant, circuit, sureness);
    } else {
        chapter.say(without_doubt(sureness));
    }
    if circuit.verdict == Verdict::ConformsWithWaivers {
        chapter.say("What a waiver accepts is left out.");
    }
    chapter.say(
        "Data that are wrong altogether, parts that are not listed, and whether two data err together are no part of it.",
    );
    chapter
}

fn without_doubt(sureness: &Sureness) -> String {
    let word = capitalised(sureness.certainty.word().to_owned());
    match sureness.rule {
        "" if sureness.certainty == Certainty::SurelyConforms => {
            format!("{word}: nothing that is compared with a limit here is known to within a spread.")
        }
        "" => format!("{word}: what stands against the circuit does not hang on how far its data are known."),
        rule => format!("{word}: {rule} ({}) does not hang on how far data are known.", sureness.rule_name),
    }
}

fn add_figures(chapter: &mut Chapter, plant: &Plant, circuit: &CircuitAudit, sureness: &Sureness) {
    let by = if sureness.is_drawn {
        "found by draws at random, since the figure bends within its uncertainty"
    } else {
        "found by propagation"
    };
    let step = WorkStep::new("Margin, in standard uncertainties", Some(Value::Number(sureness.margin)));
    let step = step.by("m = (limit - figure)/u, below 0 where the limit is not kept", "");
    chapter.add(step.because(format!("{}; {by}", nearest(circuit, sureness))).in_column("margin"));
    let step = WorkStep::new("Probability that this limit is kept", Some(Value::Ratio(sureness.probability)));
    let formula = if sureness.is_drawn { "share of the draws that keep it" } else { "p = Phi(m)" };
    chapter.add(step.by(formula, "").in_column("p_conforms"));
    for one in &sureness.deciding {
        let step = WorkStep::new(one.datum.as_str(), Some(Value::Ratio(one.share)));
        chapter.add(step.by("share of the variance", "").item());
    }
    let Some(first) = sureness.deciding.first() else { return };
    chapter.say(match sureness.tipping {
        Some(tipping) => {
            let (now, at) = tips(tipping, plant.policy.units);
            format!("The verdict tips where {} is {at} instead of {now}, all other data as they are.", first.datum)
        }
        None => format!("No value of {} near to what is stated tips the verdict by itself.", first.datum),
    });
}

fn tips(tipping: Tipping, units: UnitSystem) -> (String, String) {
    tipping.measure.shown_apart(tipping.now, tipping.at, units)
}

/// The rule, with the position or the side where there is one.
fn nearest(circuit: &CircuitAudit, sureness: &Sureness) -> String {
    let title = catalogue::rule(sureness.rule).map_or("", |rule| rule.title);
    let line = sureness.line.and_then(|line| circuit.circuit.lines.get(line));
    let at = match (line, sureness.side) {
        (Some(line), _) if !line.position.is_empty() => line.at_position(),
        (Some(line), _) => format!(" on row {}", line.origin.row),
        (None, Some(side)) => format!(" on the {side} side"),
        (None, None) => String::new(),
    };
    format!("of {} ({title}){at}", sureness.rule)
}

/// The same for scripts; nothing where there is no verdict.
pub(super) fn as_json(circuit: &CircuitAudit) -> Json {
    let Some(sureness) = &circuit.figures.sureness else { return Json::Null };
    let deciding: Vec<Json> =
        sureness.deciding.iter().map(|one| json!({ "datum": one.datum, "share": one.share })).collect();
    let tips_at = sureness.tipping.map(|tipping| {
        let (now, at) = tips(tipping, UnitSystem::Metric);
        json!({ "now": now, "at": at })
    });
    json!({
        "how_sure": sureness.certainty.word(),
        "margin": sureness.margin.is_finite().then_some(sureness.margin),
        "rule": sureness.rule,
        "name": sureness.rule_name,
        "p_conforms": sureness.probability,
        "drawn": sureness.is_drawn,
        "deciding": deciding,
        "tips": tips_at,
    })
}
