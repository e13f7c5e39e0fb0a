//! A calculation for the terminal.

use crate::physics::unit::UnitSystem;
use crate::report::cautions::CAUTIONS;
use crate::report::plain_text::{indented, left_and_right, wrapped};
use crate::tables::escaped::escaped;
use crate::tables::shown::shown;
use crate::tables::words::State;

use super::judgement::{Judgement, NotMet};
use super::{Explanation, Passage, WorkStep};

impl Explanation {
    /// The rows of the calculation, at most so wide.
    #[must_use]
    pub fn as_text(&self, units: UnitSystem, columns: usize) -> Vec<String> {
        let mut lines = left_and_right(&format!("Circuit {}", self.place.path()), self.verdict.word(), columns);
        if let Some(relaxed) = &self.judgement.relaxed {
            lines.extend(wrapped(relaxed, columns, 0));
        }
        for chapter in &self.chapters {
            heading(&mut lines, &chapter.heading);
            for passage in &chapter.passages {
                match passage {
                    Passage::Sentence(text) => lines.extend(indented(text, columns, 2)),
                    Passage::Figure(step) => tell(&mut lines, step, units, columns),
                }
            }
        }
        judge(&mut lines, &self.judgement, columns);
        heading(&mut lines, "Before anybody relies on it");
        CAUTIONS.iter().for_each(|caution| lines.extend(indented(caution, columns, 2)));
        lines.iter().map(|line| escaped(line).into_owned()).collect()
    }
}

fn heading(lines: &mut Vec<String>, text: &str) {
    lines.push(String::new());
    lines.push(text.to_owned());
    lines.push("-".repeat(text.chars().count()));
}

/// The figure with its value at the right end; its formula, why it is unknown and its rows below.
fn tell(lines: &mut Vec<String>, step: &WorkStep, units: UnitSystem, columns: usize) {
    let value = step.value.as_ref().map_or_else(|| "unknown".to_owned(), |value| shown(value, units));
    let indent = if step.is_item { "    " } else { "  " };
    lines.extend(left_and_right(&format!("{indent}{}", step.name), &value, columns));
    let formula = match (step.formula.is_empty(), step.numbers.is_empty()) {
        (false, false) => format!("{}: {}", step.formula, step.numbers),
        (false, true) => step.formula.to_owned(),
        (true, _) => step.numbers.clone(),
    };
    let below = [formula, step.because.clone(), step.sources.join("; ")];
    for text in below.iter().filter(|text| !text.is_empty()) {
        lines.extend(indented(text, columns, indent.len() + 4));
    }
}

fn judge(lines: &mut Vec<String>, judgement: &Judgement, columns: usize) {
    let (waived, counting): (Vec<&NotMet>, Vec<&NotMet>) =
        judgement.not_met.iter().partition(|found| found.state == State::Waived);
    for (title, found) in [("Rules not met", counting), ("Waived", waived)] {
        if found.is_empty() {
            continue;
        }
        heading(lines, title);
        for one in found {
            let on = if one.on.is_empty() { String::new() } else { format!(", {}", one.on) };
            lines.extend(wrapped(&format!("  {} {}, {}{on}", one.rule, one.name, one.severity), columns, 6));
            lines.extend(indented(&one.reason, columns, 6));
            lines.extend(indented(&format!("Remedy: {}", one.remedy), columns, 6));
            if !one.source.is_empty() {
                lines.extend(indented(&one.source, columns, 6));
            }
        }
    }
    if !judgement.not_assessed.is_empty() {
        heading(lines, "Not assessed");
        for lack in &judgement.not_assessed {
            let cell =
                if lack.cell.is_empty() { String::new() } else { format!(" It would be settled by {}.", lack.cell) };
            let text = format!("  {} {}: {}.{cell}", lack.rule, lack.name, lack.because.trim_end_matches('.'));
            lines.extend(wrapped(&text, columns, 6));
        }
    }
    if !judgement.met.is_empty() {
        heading(lines, "Rules met, with the nearest figure and its limit");
        for met in &judgement.met {
            lines.extend(wrapped(&format!("  {} {}: {}", met.rule, met.name, met.words), columns, 6));
        }
    }
    if !judgement.nothing_found.is_empty() {
        let text = format!(
            "Rules that looked and found nothing, without a figure to compare here or because another rule tells it: {}.",
            judgement.nothing_found.join(" ")
        );
        lines.push(String::new());
        lines.extend(wrapped(&text, columns, 2));
    }
    let unasked = judgement.unasked_in_words();
    if !unasked.is_empty() {
        heading(lines, "Not asked: nothing was found because nothing asks for it");
        unasked.iter().for_each(|text| lines.extend(wrapped(&format!("  {text}"), columns, 6)));
    }
    if !judgement.switched_off.is_empty() {
        let text = format!("Switched off by the policy: {}.", judgement.switched_off.join(" "));
        lines.extend(wrapped(&text, columns, 2));
    }
}
