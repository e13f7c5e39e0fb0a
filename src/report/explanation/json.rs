//! A calculation as JSON: numbers in the units of the data files.

use serde_json::{Value as Json, json};

use crate::rules::Bound;
use crate::tables::value::Value;

use super::judgement::Judgement;
use super::{Chapter, Explanation, Passage, WorkStep};

impl Explanation {
    /// The calculation for scripts.
    #[must_use]
    pub fn as_json(&self) -> Json {
        let key = &self.place;
        let mut all = json!({
            "plant": key.plant, "pallet": key.pallet, "fixture": key.fixture, "circuit": key.circuit,
            "verdict": self.verdict.word(),
            "chapters": self.chapters.iter().map(of_chapter).collect::<Vec<_>>(),
            "rules": of_judgement(&self.judgement),
        });
        if let Some(sureness) = &self.sureness {
            all["sureness"] = sureness.clone();
        }
        all
    }
}

fn of_chapter(chapter: &Chapter) -> Json {
    let passages = chapter.passages.iter().map(|passage| match passage {
        Passage::Sentence(text) => json!({ "text": text }),
        Passage::Figure(step) => of_step(step),
    });
    json!({ "heading": chapter.heading, "steps": passages.collect::<Vec<_>>() })
}

fn of_step(step: &WorkStep) -> Json {
    let (value, unit) = value_and_unit(step.value.as_ref());
    json!({
        "name": step.name,
        "formula": step.formula,
        "numbers": step.numbers,
        "value": value,
        "unit": unit,
        "because": step.because,
        "sources": step.sources,
        "column": step.column,
        "is_item": step.is_item,
    })
}

/// In the units of the data files; text where it is no number.
#[must_use]
pub fn value_and_unit(value: Option<&Value>) -> (Json, String) {
    match value {
        None => (Json::Null, String::new()),
        Some(Value::Text(text)) => (Json::from(text.as_str()), String::new()),
        Some(value) => {
            value.metric().map_or((Json::Null, String::new()), |(number, unit)| (Json::from(number), unit.to_owned()))
        }
    }
}

fn of_judgement(judgement: &Judgement) -> Json {
    let not_met = judgement.not_met.iter().map(|found| {
        json!({
            "rule": found.rule, "name": found.name, "severity": found.severity.word(), "state": found.state.word(),
            "on": found.on, "reason": found.reason, "remedy": found.remedy, "source": found.source,
        })
    });
    let met = judgement.met.iter().map(|met| {
        let (measured, unit) = value_and_unit(Some(&met.nearest.measured()));
        let (limit, _) = value_and_unit(Some(&met.nearest.limit()));
        json!({
            "rule": met.rule, "name": met.name, "measured": measured, "limit": limit, "unit": unit,
            "is_most": met.nearest.bound == Bound::AtMost, "only": met.only,
        })
    });
    let not_assessed = judgement
        .not_assessed
        .iter()
        .map(|lack| json!({ "rule": lack.rule, "name": lack.name, "because": lack.because, "cell": lack.cell }));
    let idle =
        judgement.idle.iter().map(|idle| json!({ "rule": idle.rule, "name": idle.name, "rests_on": idle.rests_on }));
    json!({
        "not_met": not_met.collect::<Vec<_>>(),
        "met": met.collect::<Vec<_>>(),
        "nothing_found": judgement.nothing_found,
        "not_assessed": not_assessed.collect::<Vec<_>>(),
        "not_asked": judgement.not_asked,
        "idle": idle.collect::<Vec<_>>(),
        "switched_off": judgement.switched_off,
        "relaxed": judgement.relaxed,
    })
}
