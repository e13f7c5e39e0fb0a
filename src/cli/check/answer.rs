//! What a run came to, for a screen of 24 rows: verdicts, coverage, pallets, worst circuits, causes, what is missing.

use crate::audit::counts::{Counts, VerdictCounts, coverage_in_words};
use crate::audit::limit::Limit;
use crate::cli::screen::Screen;
use crate::report::plain_text::wrapped;
use crate::tables::counted::{counted, counted_or_no, failing};

/// The answer in lines that the screen has room for.
///
/// * `limit` – the part of the plant that was looked at, where it is not all of it
/// * `relaxed` – what the policy takes out of the verdict, in a sentence
/// * `input` – what of the input matters most, a row each
/// * `all` – whether everything is told, however long it gets
#[must_use]
pub fn answer(
    counts: &Counts,
    limit: Option<&Limit>,
    relaxed: Option<&str>,
    input: Vec<String>,
    has_previous: bool,
    screen: Screen,
    all: bool,
) -> Vec<String> {
    let mut totals = totals(counts, has_previous);
    totals.splice(0..0, limit.map(part_in_words));
    totals.extend(relaxed.map(ToOwned::to_owned));
    let input = Section { heading: "Input, what matters most first".to_owned(), rows: input };
    let sections = vec![input, pallets(counts, all), worst(counts), causes(counts), missing(counts)];
    laid_out(&totals, sections, screen, all)
}

/// Sentences, and sections that share the room that these leave.
pub fn laid_out(sentences: &[String], mut sections: Vec<Section>, screen: Screen, all: bool) -> Vec<String> {
    let mut lines: Vec<String> = sentences.iter().flat_map(|line| wrapped(line, screen.columns, 0)).collect();
    sections.retain(|section| !section.rows.is_empty());
    // One row is the prompt's, one what stands before the answer.
    let mut room = screen.rows.saturating_sub(lines.len() + 2);
    for (index, section) in sections.iter().enumerate() {
        // Each section has its share of what is left: a heading, some rows, and how many more there are.
        let share = room / (sections.len() - index);
        let most = if all { usize::MAX } else { share.saturating_sub(1) };
        let told = section.told(most);
        room = room.saturating_sub(told.len());
        lines.extend(told);
    }
    let is_cut = screen.cuts && !all;
    lines.into_iter().map(|line| if is_cut { shortened(&line, screen.columns) } else { line }).collect()
}

/// A heading with rows.
pub struct Section {
    pub heading: String,
    pub rows: Vec<String>,
}

impl Section {
    fn told(&self, most: usize) -> Vec<String> {
        let shown = if self.rows.len() <= most { self.rows.len() } else { most.saturating_sub(1) };
        let mut lines = vec![self.heading.clone()];
        lines.extend(self.rows.iter().take(shown).map(|row| format!("  {row}")));
        if shown < self.rows.len() {
            lines.push(format!("  and {} more, with --all", self.rows.len() - shown));
        }
        lines
    }
}

/// Circuits by verdict; findings, and lines of the lists.
pub fn counts_in_words(counts: &Counts) -> [String; 2] {
    let (circuits, findings) = (&counts.circuits, counts.all_findings());
    [
        format!("{}: {}.", counted(circuits.total, "circuit"), verdicts(circuits)),
        format!(
            "{}, {}, {}, {} waived. {} read, {} set aside.",
            counted(findings.majors, "major"),
            counted(findings.minors, "minor"),
            counted(findings.observations, "observation"),
            findings.waived,
            counted(counts.lines_read, "line"),
            counts.lines_set_aside,
        ),
    ]
}

/// That only a part was looked at, and what that leaves open.
pub fn part_in_words(limit: &Limit) -> String {
    format!(
        "Only a part was looked at: {}, {} of {}. It is no verdict on the plant; purchasing and waivers were left out.",
        limit.words,
        limit.circuits,
        counted(limit.of_circuits, "circuit")
    )
}

fn totals(counts: &Counts, has_previous: bool) -> Vec<String> {
    let mut lines = counts_in_words(counts).to_vec();
    let (now, planned, unknown) = (counts.in_service, counts.planned(), counts.may_be_in_service);
    if unknown.total > 0 {
        lines.insert(
            1,
            format!(
                "Whether they are in service can't be read of {}: {}, {} not assessed.",
                counted(unknown.total, "circuit"),
                failing(unknown.does_not_conform),
                unknown.not_assessed
            ),
        );
    }
    if now.total > 0 && planned.total > 0 {
        let of = |which: &str, circuits: VerdictCounts| {
            let (fail, total) = (circuits.does_not_conform, circuits.total);
            format!("{which} {fail} of {total} do not conform, {} not assessed", circuits.not_assessed)
        };
        lines.insert(1, format!("{}; {}.", of("In service", now), of("planned", planned)));
    }
    lines.extend(coverage_in_words(&counts.coverage));
    if let Some(sure) = &counts.sure {
        let (sure, advice) = sure.summary().in_words();
        lines.push(sure);
        lines.extend(advice);
    }
    if has_previous {
        let changes = &counts.changes;
        lines.push(format!(
            "Since the earlier run: {} new ({}), {} standing, {}.",
            changes.new,
            counted(changes.new_majors, "major"),
            changes.standing,
            counts.softened.in_words(changes.cleared)
        ));
    }
    lines
}

fn verdicts(circuits: &VerdictCounts) -> String {
    let verb = |count: u64, one: &str, many: &str| format!("{count} {}", if count == 1 { one } else { many });
    [
        verb(circuits.conforms, "conforms", "conform"),
        verb(circuits.conforms_with_waivers, "conforms with waivers", "conform with waivers"),
        failing(circuits.does_not_conform),
        format!("{} not assessed", circuits.not_assessed),
    ]
    .join(", ")
}

/// Pallets of which something is to be told; of all of them where everything is.
fn pallets(counts: &Counts, all: bool) -> Section {
    let mut pallets = counts.by_pallet();
    pallets.retain(|pallet| {
        all || pallet.circuits.does_not_conform > 0 || pallet.circuits.not_assessed > 0 || pallet.majors > 0
    });
    pallets.sort_by_key(|pallet| std::cmp::Reverse((pallet.majors, pallet.circuits.not_assessed, pallet.minors)));
    let rows = pallets.iter().map(|pallet| {
        let (now, planned, unknown) = (pallet.in_service, pallet.planned(), pallet.may_be_in_service);
        let named = [pallet.plant.as_str(), &pallet.pallet];
        let named: Vec<&str> = named.into_iter().filter(|name| !name.is_empty()).collect();
        let name = if named.is_empty() { "no pallet named".to_owned() } else { named.join("/") };
        let of = |circuits: VerdictCounts, which: &str| {
            (circuits.total > 0).then(|| format!("{} of {} {which}", circuits.does_not_conform, circuits.total))
        };
        let not_assessed = pallet.circuits.not_assessed;
        let words = [
            of(now, "in service unsafe"),
            of(planned, "planned unsafe"),
            of(unknown, "that may be in service unsafe"),
            (not_assessed > 0).then(|| format!("{not_assessed} not assessed")),
            Some(counted_or_no(pallet.majors, "major")),
        ];
        let words: Vec<String> = words.into_iter().flatten().collect();
        format!("{name:<18} {}", words.join(", "))
    });
    Section { heading: "Pallets, the worst first".to_owned(), rows: rows.collect() }
}

fn worst(counts: &Counts) -> Section {
    let rows = counts.worst().iter().map(|circuit| {
        let mut place = vec![circuit.plant.as_str(), &circuit.pallet, &circuit.fixture, &circuit.circuit];
        place.retain(|name| !name.is_empty());
        let place = place.join("/");
        format!("{place}: {}", circuit.sentence)
    });
    Section { heading: "Worst circuits".to_owned(), rows: rows.collect() }
}

fn causes(counts: &Counts) -> Section {
    let rows = counts.causes.in_order().into_iter().map(|cause| {
        let on = if cause.circuits > 0 { format!(" on {}", counted(cause.circuits, "circuit")) } else { String::new() };
        let subject = if cause.part_no.is_empty() { &cause.station } else { &cause.part_no };
        let subject = if subject.is_empty() { String::new() } else { format!(" {subject}") };
        format!(
            "{} {}{subject}: {}{on}. {}",
            cause.rule,
            cause.severity,
            counted(cause.findings, "finding"),
            cause.reason
        )
    });
    Section { heading: "Causes, the gravest first".to_owned(), rows: rows.collect() }
}

fn missing(counts: &Counts) -> Section {
    let mut all: Vec<_> = counts.missing.iter().collect();
    all.sort_by_key(|(_, datum)| std::cmp::Reverse(datum.circuits));
    let rows = all.into_iter().map(|(cell, datum)| {
        let because = if *cell == datum.because { String::new() } else { format!(": {}", datum.because) };
        format!("{}: {cell}{because}", counted(datum.circuits, "circuit"))
    });
    Section { heading: "Not assessed, by the cell that would settle most".to_owned(), rows: rows.collect() }
}

/// A line in one row of the screen; what is left out is marked.
fn shortened(line: &str, columns: usize) -> String {
    let line = line.replace(['\n', '\r', '\t'], " ");
    if line.chars().count() <= columns {
        return line;
    }
    let mut short: String = line.chars().take(columns.saturating_sub(3)).collect();
    short.push_str("...");
    short
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audit::counts::{PalletCounts, WorstCircuit};

    fn many() -> Counts {
        let circuits = VerdictCounts { total: 60, conforms: 1, does_not_conform: 59, ..VerdictCounts::default() };
        let mut counts = Counts { circuits, ..Counts::default() };
        for pallet in 0..60 {
            let name = format!("P{pallet}");
            let row =
                PalletCounts { plant: "North".to_owned(), pallet: name.clone(), majors: 1, ..PalletCounts::default() };
            counts.pallets.insert(name, row);
        }
        let sentence = "a sentence that is longer than a screen is wide ".repeat(4);
        counts.worst = vec![WorstCircuit { sentence, ..WorstCircuit::default() }; 10];
        counts
    }

    #[test]
    fn a_plant_of_any_size_fits_the_screen_and_all_of_it_is_told_where_asked() {
        let lines = answer(&many(), None, None, Vec::new(), true, Screen::of_columns(80), false);
        assert!(lines.len() < 24, "{lines:#?}");
        assert!(lines.iter().all(|line| line.chars().count() <= 80), "{lines:#?}");
        assert!(lines.iter().any(|line| line.ends_with("more, with --all")), "{lines:#?}");
        let all = answer(&many(), None, Some("The policy relaxes."), Vec::new(), false, Screen::of_columns(80), true);
        assert_eq!(all.iter().filter(|line| line.contains("North/P")).count(), 60);
        assert!(all.contains(&"The policy relaxes.".to_owned()), "{all:#?}");
    }

    #[test]
    fn a_higher_screen_is_told_more_and_a_pipe_whole_rows() {
        let rows = |screen| answer(&many(), None, None, Vec::new(), true, screen, false);
        let usual = rows(Screen::of_columns(80));
        let high = rows(Screen { rows: 60, ..Screen::of_columns(80) });
        assert!(usual.len() < high.len() && high.len() < 60, "{} and {}", usual.len(), high.len());
        let pipe = rows(Screen { cuts: false, ..Screen::of_columns(80) });
        assert_eq!(pipe.len(), usual.len());
        assert!(pipe.iter().any(|row| row.chars().count() > 80), "{pipe:#?}");
    }

    #[test]
    fn one_is_told_in_the_singular() {
        let circuits = VerdictCounts { total: 1, conforms: 1, ..VerdictCounts::default() };
        let counts = Counts { circuits, lines_read: 1, ..Counts::default() };
        let lines = answer(&counts, None, None, Vec::new(), false, Screen::of_columns(80), false);
        assert_eq!(lines[0], "1 circuit: 1 conforms, 0 conform with waivers, 0 do not conform, 0 not assessed.");
        assert!(lines[1].contains("1 line read"), "{}", lines[1]);
    }
}
