//! What a run came to, for a screen of 24 rows: verdicts, coverage, pallets, worst circuits, causes, what is missing.

use crate::audit::counts::{Counts, PalletCounts, VerdictCounts, coverage_in_words};
use crate::audit::limit::Limit;
use crate::cli::screen::Screen;
use crate::report::plain_text::wrapped;
use crate::tables::counted::{conforming, counted, counted_or_no, failing};
use crate::tables::shown::capitalised;

/// What is told besides counts.
#[derive(Clone, Copy, Debug, Default)]
pub struct ToldBeside<'a> {
    /// The part of the plant that was looked at, where it is not all of it.
    pub limit: Option<&'a Limit>,
    /// What buying came to.
    pub buying: &'a [String],
    /// What the policy takes out of the verdict, in a sentence.
    pub relaxed: Option<&'a str>,
    pub has_previous: bool,
}

/// The answer in lines that the screen has room for.
///
/// * `input` – what of the input matters most, a row each
/// * `all` – whether everything is told, however long it gets
#[must_use]
pub fn answer(counts: &Counts, told: ToldBeside, input: Vec<String>, screen: Screen, all: bool) -> Vec<String> {
    let mut totals = totals(counts, told);
    totals.splice(0..0, told.limit.map(part_in_words));
    totals.extend(told.relaxed.map(ToOwned::to_owned));
    let input = Section::new("Input, what matters most first", input, Rank::Input);
    let sections = vec![input, pallets(counts, all), worst(counts), causes(counts), missing(counts)];
    laid_out(&totals, sections, screen, all)
}

/// Sentences, and sections that share the room that these leave.
pub fn laid_out(sentences: &[String], mut sections: Vec<Section>, screen: Screen, all: bool) -> Vec<String> {
    let mut lines: Vec<String> = sentences.iter().flat_map(|line| wrapped(line, screen.columns, 0)).collect();
    sections.retain(|section| !section.rows.is_empty());
    // One row is the prompt's, one what stands before the answer.
    let mut room = screen.rows.saturating_sub(lines.len() + 2);
    let left_out = if all { None } else { without_room(&mut sections, &mut room) };
    for (index, section) in sections.iter().enumerate() {
        // Each section has its share of what is left: a heading, some rows, and how many more there are.
        let share = room / (sections.len() - index);
        let most = if all { usize::MAX } else { share.saturating_sub(1) };
        let told = section.told(most);
        room = room.saturating_sub(told.len());
        lines.extend(told);
    }
    lines.extend(left_out);
    let is_cut = screen.cuts && !all;
    lines.into_iter().map(|line| if is_cut { shortened(&line, screen.columns) } else { line }).collect()
}

/// Takes out sections, the last of the lowest rank first, of which there would be room for no entry; a row that names
/// them takes their place.
fn without_room(sections: &mut Vec<Section>, room: &mut usize) -> Option<String> {
    let needed = |sections: &[Section]| sections.iter().map(|section| section.rows.len().min(2) + 1).sum::<usize>();
    if needed(sections) <= *room {
        return None;
    }
    *room = room.saturating_sub(1);
    let mut left_out: Vec<(usize, Section)> = Vec::new();
    // In the order of the page.
    let mut places: Vec<usize> = (0..sections.len()).collect();
    while sections.len() > 1 && needed(sections) > *room {
        let Some((at, _)) = sections.iter().enumerate().max_by_key(|(_, section)| section.rank) else { break };
        left_out.push((places.remove(at), sections.remove(at)));
    }
    left_out.sort_by_key(|(place, _)| *place);
    let named = |(_, section): &(usize, Section)| {
        let name = section.heading.split(',').next().unwrap_or_default().to_lowercase();
        format!("{name}: {}", section.rows.len())
    };
    let named: Vec<String> = left_out.iter().map(named).collect();
    Some(format!("With --all also {}.", named.join("; ")))
}

/// What stays where there is no room for all, the first longest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    #[default]
    Circuits,
    Causes,
    Missing,
    Input,
}

/// A heading with rows.
pub struct Section {
    /// What it lists, then in which order.
    pub heading: String,
    pub rows: Vec<String>,
    pub rank: Rank,
}

impl Section {
    #[must_use]
    pub fn new(heading: &str, rows: Vec<String>, rank: Rank) -> Self {
        Self { heading: heading.to_owned(), rows, rank }
    }

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

fn totals(counts: &Counts, told: ToldBeside) -> Vec<String> {
    let mut lines = counts_in_words(counts).to_vec();
    let (now, planned, unknown) = (counts.in_service, counts.planned(), counts.may_be_in_service);
    if unknown.total > 0 {
        lines.insert(
            1,
            format!(
                "Whether they are in service can't be read of {}: {}, {} not assessed.",
                counted(unknown.total, "circuit"),
                unknown.failing(),
                unknown.not_assessed
            ),
        );
    }
    let of = |which: &str, circuits: VerdictCounts| {
        let words =
            format!("of {} {which} {}, {} not assessed", circuits.total, circuits.failing(), circuits.not_assessed);
        // Where all are of one kind the number stands above, and only majors and minors are to be told apart.
        (circuits.total > 0 && (circuits.total < counts.circuits.total || circuits.by_minors > 0)).then_some(words)
    };
    let by_service: Vec<String> = of("in service", now).into_iter().chain(of("planned", planned)).collect();
    if !by_service.is_empty() {
        lines.insert(1, capitalised(format!("{}.", by_service.join("; "))));
    }
    lines.extend(told.buying.iter().cloned());
    lines.extend(coverage_in_words(&counts.coverage));
    if let Some(sure) = &counts.sure {
        let (sure, advice) = sure.summary().in_words();
        lines.push(sure);
        lines.extend(advice);
    }
    if told.has_previous {
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
    [
        conforming(circuits.conforms, ""),
        conforming(circuits.conforms_with_waivers, " with waivers"),
        failing(circuits.does_not_conform),
        format!("{} not assessed", circuits.not_assessed),
    ]
    .join(", ")
}

/// Pallets of which something is to be told; of all of them where everything is.
fn pallets(counts: &Counts, all: bool) -> Section {
    let is_told = |pallet: &PalletCounts| {
        all || pallet.circuits.does_not_conform > 0 || pallet.circuits.not_assessed > 0 || pallet.majors > 0
    };
    let mut pallets: Vec<PalletCounts> = counts.pallets.iter().filter(is_told).collect();
    pallets.sort_by_key(PalletCounts::gravity);
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
            of(planned, "planned not conforming"),
            of(unknown, "that may be in service not conforming"),
            (not_assessed > 0).then(|| format!("{not_assessed} not assessed")),
            Some(counted_or_no(pallet.majors, "major")),
        ];
        let words: Vec<String> = words.into_iter().flatten().collect();
        format!("{name:<18} {}", words.join(", "))
    });
    Section::new("Pallets, the worst first", rows.collect(), Rank::Circuits)
}

fn worst(counts: &Counts) -> Section {
    let rows = counts.worst().iter().map(|circuit| {
        let mut place = vec![circuit.plant.as_str(), &circuit.pallet, &circuit.fixture, &circuit.circuit];
        place.retain(|name| !name.is_empty());
        let place = place.join("/");
        let planned = match (circuit.in_service || counts.in_service.is_empty(), counts.may_be_in_service.is_empty()) {
            (true, _) => "",
            (false, true) => " (planned)",
            (false, false) => " (not known to be in service)",
        };
        format!("{place}{planned}: {}", circuit.sentence)
    });
    Section::new("Worst circuits, those in service first, then by majors", rows.collect(), Rank::Circuits)
}

fn causes(counts: &Counts) -> Section {
    let rows = counts.causes.in_order().into_iter().map(|cause| {
        let on = if cause.circuits > 0 { format!(" on {}", counted(cause.circuits, "circuit")) } else { String::new() };
        let subject = if cause.part_no.is_empty() { &cause.station } else { &cause.part_no };
        let subject = if subject.is_empty() { String::new() } else { format!(" {subject}") };
        let number = counted(cause.findings, "finding");
        // What is said of one is not said of the others.
        let place = cause.first_place.path();
        let first = match (cause.findings, place.is_empty()) {
            (1, true) => String::new(),
            (1, false) => format!("{place}: "),
            (_, true) => "One of them: ".to_owned(),
            (_, false) => format!("First {place}: "),
        };
        format!("{} {}{subject}: {number}{on}. {first}{}", cause.rule, cause.severity, cause.reason)
    });
    Section::new("Causes, the gravest and most frequent first", rows.collect(), Rank::Causes)
}

fn missing(counts: &Counts) -> Section {
    let rows = counts.missing_first().into_iter().map(|(cell, datum, is_verdict)| {
        let because = if cell == datum.because { String::new() } else { format!(": {}", datum.because) };
        let which = if datum.circuits == 1 { "" } else { "first " };
        // What others lack gives them no verdict: they do not conform as it is.
        let failing = if is_verdict { "" } else { " not conforming as it is" };
        format!("{}{failing}, {which}{}: {cell}{because}", counted(datum.circuits, "circuit"), datum.first)
    });
    Section::new("Not assessed, by the cell that would settle most verdicts", rows.collect(), Rank::Missing)
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
    use crate::audit::counts::WorstCircuit;

    fn many() -> Counts {
        let circuits = VerdictCounts { total: 60, conforms: 1, does_not_conform: 59, ..VerdictCounts::default() };
        let mut counts = Counts { circuits, ..Counts::default() };
        for pallet in 0..60 {
            let name = format!("P{pallet}");
            counts.pallets.count("North", &name, |row| row.majors = 1);
        }
        let sentence = "a sentence that is longer than a screen is wide ".repeat(4);
        counts.worst = vec![WorstCircuit { sentence, ..WorstCircuit::default() }; 10];
        counts
    }

    #[test]
    fn a_plant_of_any_size_fits_the_screen_and_all_of_it_is_told_where_asked() {
        let previous = ToldBeside { has_previous: true, ..ToldBeside::default() };
        let lines = answer(&many(), previous, Vec::new(), Screen::of_columns(80), false);
        assert!(lines.len() < 24, "{lines:#?}");
        assert!(lines.iter().all(|line| line.chars().count() <= 80), "{lines:#?}");
        assert!(lines.iter().any(|line| line.ends_with("more, with --all")), "{lines:#?}");
        let relaxed = ToldBeside { relaxed: Some("The policy relaxes."), ..ToldBeside::default() };
        let all = answer(&many(), relaxed, Vec::new(), Screen::of_columns(80), true);
        assert_eq!(all.iter().filter(|line| line.contains("North/P")).count(), 60);
        assert!(all.contains(&"The policy relaxes.".to_owned()), "{all:#?}");
    }

    #[test]
    fn a_higher_screen_is_told_more_and_a_pipe_whole_rows() {
        let rows = |screen| {
            answer(&many(), ToldBeside { has_previous: true, ..ToldBeside::default() }, Vec::new(), screen, false)
        };
        let usual = rows(Screen::of_columns(80));
        let high = rows(Screen { rows: 60, ..Screen::of_columns(80) });
        assert!(usual.len() < high.len() && high.len() < 60, "{} and {}", usual.len(), high.len());
        let pipe = rows(Screen { cuts: false, ..Screen::of_columns(80) });
        assert_eq!(pipe.len(), usual.len());
        assert!(pipe.iter().any(|row| row.chars().count() > 80), "{pipe:#?}");
    }

    /// A heading without an entry tells nothing: what has no room is named in one row.
    #[test]
    fn no_heading_stands_without_an_entry() {
        let section =
            |name: &str| Section::new(&format!("{name}, in order"), vec!["entry".to_owned(); 9], Rank::Circuits);
        let sentences = vec!["a sentence".to_owned(); 10];
        let sections = ["One", "Two", "Three", "Four", "Five"].map(section);
        let lines = laid_out(&sentences, sections.into(), Screen::of_columns(80), false);
        assert!(lines.len() < 24, "{lines:#?}");
        let told = lines.windows(2).filter(|pair| pair[0].ends_with(", in order"));
        assert!(told.clone().count() > 1 && told.clone().all(|pair| pair[1] == "  entry"), "{lines:#?}");
        assert_eq!(lines.last().map(String::as_str), Some("With --all also four: 9; five: 9."));
        // Rows of the input go before circuits do, wherever they stand.
        let sections = [("In", Rank::Input), ("One", Rank::Circuits), ("Two", Rank::Circuits), ("Lack", Rank::Missing)];
        let sections = sections.map(|(name, rank)| Section { rank, ..section(name) });
        let lines = laid_out(&vec!["a sentence".to_owned(); 13], sections.into(), Screen::of_columns(80), false);
        assert!(
            lines.contains(&"One, in order".to_owned()) && lines.contains(&"Two, in order".to_owned()),
            "{lines:#?}"
        );
        assert_eq!(lines.last().map(String::as_str), Some("With --all also in: 9; lack: 9."));
    }

    /// Thirty wait for one column, each for its own cell: a row. What does not conform as it is comes behind.
    #[test]
    fn what_gives_a_verdict_comes_first_and_a_column_is_one_row() {
        use crate::audit::counts::MissingDatum;
        let of = |circuits, first: &str, rows: std::ops::Range<u32>| MissingDatum {
            circuits,
            rows: rows.collect(),
            because: "not known".to_owned(),
            first: first.to_owned(),
        };
        let mut counts = many();
        counts.missing.insert("circuits.csv, hold_time".to_owned(), of(30, "A/1", 2..32));
        counts.missing_beside.insert("components.csv, row 9, leak".to_owned(), of(40, "B/1", 0..0));
        let lines = answer(&counts, ToldBeside::default(), Vec::new(), Screen::of_columns(200), true);
        let at = lines.iter().position(|line| line.starts_with("Not assessed, by")).unwrap_or_default();
        assert_eq!(
            lines[at + 1..],
            [
                "  30 circuits, first A/1: circuits.csv, hold_time, rows 2 to 31: not known",
                "  40 circuits not conforming as it is, first B/1: components.csv, row 9, leak: not known"
            ]
        );
    }

    #[test]
    fn one_is_told_in_the_singular() {
        let circuits = VerdictCounts { total: 1, conforms: 1, ..VerdictCounts::default() };
        let counts = Counts { circuits, lines_read: 1, ..Counts::default() };
        let lines = answer(&counts, ToldBeside::default(), Vec::new(), Screen::of_columns(80), false);
        assert_eq!(lines[0], "1 circuit: 1 conforms, 0 conform with waivers, 0 do not conform, 0 not assessed.");
        assert!(lines[1].contains("1 line read"), "{}", lines[1]);
    }
}
