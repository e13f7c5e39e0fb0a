//! The text of the mail: the same blocks as plain text and as HTML without colour.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use crate::audit::counts::{ReachCounts, VerdictCounts, coverage_in_words};
use crate::audit::unsafe_circuit::lapsed_in_words;
use crate::report::cautions::CAUTIONS;
use crate::report::plain_text::wrapped;
use crate::report::summary::{MissingCell, RunSummary};
use crate::rules::relaxed::sentence;
use crate::tables::counted::{counted, counted_or_no, failing};
use crate::tables::plant::not_read_in_words;

use super::digest::{Decision, Digest, Item, Place, joined};
use super::naming::{Names, Naming, title};
use super::trend;

/// Width of the plain text; a mail's lines have at most 78 characters (RFC 5322, 2.1.1).
const WIDTH: usize = 76;
/// Lines of the plain text.
const LINES: usize = 40;
/// How the page and its picture are set: letters that screens show well, nothing wider than the page, no colour.
pub const BODY: &str = "font-family:sans-serif";
pub const WITHIN: &str = "max-width:100%;height:auto";
/// Rules of parts and load stations that are told one by one.
const SHARED: usize = 6;
/// The picture's content id.
pub const PICTURE: &str = "trend";

/// A piece of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    Heading(String),
    Paragraph(String),
    /// Sentences, each on a line of its own.
    Lines(Vec<String>),
    List(Vec<String>),
    /// A list under its heading that the plain text runs on, sentence after sentence, where lines are short.
    Run {
        heading: String,
        items: Vec<String>,
    },
    Table {
        head: Vec<&'static str>,
        rows: Vec<Vec<String>>,
    },
    /// A picture that says what the paragraph before it says; HTML alone shows it.
    Picture {
        words: String,
    },
}

/// How much is told one by one; the rest is counted.
#[derive(Clone, Copy, Debug)]
struct Room {
    plants: usize,
    majors: usize,
    /// Characters of a reason.
    reason: usize,
    /// How circuits with standing majors are named.
    naming: Naming,
    /// Rules that are told by title; the circuits of further ones stand together.
    rules: usize,
    /// The same of what is planned.
    planned_rules: usize,
    /// How planned circuits are named.
    planned_naming: Option<Naming>,
    /// Whether those rows run on as one paragraph of the plain text.
    does_run: bool,
    /// Whether rules of parts and load stations are told by title; else the parts and stations stand alone.
    shared_by_title: bool,
    decisions: usize,
    cleared: usize,
    /// Whether it is told what to measure first.
    advises: bool,
    /// Sentences on what no verdict rests on; all of them stand on Summary.
    beside: usize,
    /// Whether it is told how far changes reach.
    has_reach: bool,
    /// Cautions repeated; all of them stand on Summary.
    cautions: usize,
}

const MOST: Room = Room {
    plants: 8,
    majors: 8,
    reason: 400,
    naming: Naming::Every,
    rules: usize::MAX,
    planned_rules: usize::MAX,
    planned_naming: None,
    does_run: false,
    shared_by_title: true,
    decisions: 8,
    cleared: 5,
    advises: true,
    beside: usize::MAX,
    has_reach: true,
    cautions: 3,
};
const MUCH: Room = Room { plants: 6, majors: 5, reason: 220, decisions: 5, cleared: 3, ..MOST };
const SOME: Room = Room { plants: 5, majors: 4, reason: 120, decisions: 3, cleared: 2, cautions: 2, ..MOST };
const LITTLE: Room = Room { plants: 4, majors: 3, reason: 90, decisions: 2, cleared: 1, cautions: 1, ..MOST };
const LEAST: Room = Room { plants: 3, majors: 2, reason: 60, decisions: 0, cleared: 0, cautions: 1, ..MOST };

/// Every unsafe circuit once, under its gravest rule.
const ONCE: Room = Room { naming: Naming::Gravest, ..LEAST };
const SHORT: Room =
    Room { does_run: true, shared_by_title: false, majors: 1, reason: 0, decisions: 3, advises: false, ..ONCE };
/// The same without changes to decide on but their number and cost.
const SHORTER: Room = Room { decisions: 0, ..SHORT };

/// What is planned gives way to what is unsafe in service.
const BRIEF: Room = Room { planned_rules: 0, planned_naming: Some(Naming::Plants), ..SHORTER };
/// So does what stands beside the verdict: it is counted.
const TIGHT: Room = Room { beside: 1, has_reach: false, ..BRIEF };
/// Rules by their titles, circuits counted: the cause is told before the last circuit's name.
const COUNTED: Room = Room { naming: Naming::Pallets, shared_by_title: true, decisions: 3, ..BRIEF };
const COUNTED_SHORTER: Room = Room { shared_by_title: false, decisions: 0, ..COUNTED };
const BY_PLANT: Room = Room { naming: Naming::Plants, plants: 2, beside: 1, has_reach: false, ..COUNTED_SHORTER };

/// From the most to the least that is told. That every rule has its title, and every unsafe circuit its name, goes before
/// all else, so other things are counted first; then the lesser rules together; then names, and titles last.
const ROOMS: [Room; 37] = [
    MOST,
    MUCH,
    SOME,
    LITTLE,
    Room { naming: Naming::Gravest, ..MUCH },
    Room { naming: Naming::Gravest, ..SOME },
    Room { naming: Naming::Gravest, ..LITTLE },
    ONCE,
    Room { planned_rules: 0, ..ONCE },
    Room { does_run: true, decisions: 3, ..ONCE },
    SHORT,
    Room { decisions: 2, ..SHORT },
    Room { decisions: 1, ..SHORT },
    SHORTER,
    Room { planned_naming: None, ..BRIEF },
    BRIEF,
    Room { beside: 3, ..TIGHT },
    TIGHT,
    Room { rules: 12, ..TIGHT },
    Room { rules: 9, ..TIGHT },
    Room { rules: 7, ..TIGHT },
    Room { rules: 5, ..TIGHT },
    Room { rules: 3, ..TIGHT },
    Room { rules: 3, beside: 0, ..TIGHT },
    Room { naming: Naming::Pallets, planned_rules: 0, ..SOME },
    Room { naming: Naming::Pallets, planned_rules: 0, ..LITTLE },
    Room { naming: Naming::Pallets, planned_rules: 0, ..LEAST },
    COUNTED,
    Room { decisions: 1, ..COUNTED },
    COUNTED_SHORTER,
    Room { beside: 1, has_reach: false, ..COUNTED_SHORTER },
    BY_PLANT,
    Room { majors: 0, beside: 0, ..BY_PLANT },
    Room { majors: 0, beside: 0, rules: 12, ..BY_PLANT },
    Room { majors: 0, beside: 0, rules: 6, ..BY_PLANT },
    Room { majors: 0, beside: 0, rules: 3, plants: 1, ..BY_PLANT },
    Room { majors: 0, beside: 0, rules: 0, plants: 1, ..BY_PLANT },
];

/// The text of the mail, block by block, at most 40 lines of plain text.
#[must_use]
pub fn blocks(digest: &Digest) -> Vec<Block> {
    let mut least = Vec::new();
    for room in ROOMS {
        least = blocks_in(digest, room);
        if plain(&least).lines().count() <= LINES {
            break;
        }
    }
    least
}

fn blocks_in(digest: &Digest, room: Room) -> Vec<Block> {
    let summary = &digest.summary;
    let mut blocks = vec![Block::Lines(first_lines(digest, room))];
    let relaxed = sentence(&summary.rules_off, &summary.rules_observed);
    let not_read = not_read_in_words(&summary.not_read);
    let beside = summary.beside.iter().take(room.beside).cloned().chain(beside_in_number(summary, room));
    let rests_on: Vec<String> = not_read.into_iter().chain(relaxed).chain(beside).collect();
    if !rests_on.is_empty() {
        blocks.push(Block::Lines(rests_on));
    }
    plants(&mut blocks, summary, room);
    if summary.has_previous {
        new_majors(&mut blocks, digest, room);
    }
    standing(&mut blocks, digest, room);
    planned(&mut blocks, digest, room);
    decided(&mut blocks, digest, room);
    if summary.has_previous {
        cleared(&mut blocks, digest, room);
    }
    let mut further = Vec::new();
    if let Some(sure) = &summary.sure {
        let (counts, advice) = sure.in_words();
        further.extend(std::iter::once(counts).chain(advice.filter(|_| room.advises)));
    }
    further.extend(coverage_in_words(&summary.coverage));
    if digest.not_assessed.total > 0 {
        let places: Vec<&str> = digest.not_assessed.first.iter().take(3).map(|item| item.place.as_str()).collect();
        let more = match digest.not_assessed.total - places.len() as u64 {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let total = counted_or_no(digest.not_assessed.total, "circuit");
        let settles = settles(summary);
        further.push(format!("Not assessed, so not passed: {total}, {}{more}.{settles}", places.join(", ")));
    }
    // The verdict, and what is past its day.
    further.extend(summary.buying.iter().take(if room.advises { usize::MAX } else { 1 }).cloned());
    let trend = trend::in_words(&summary.history);
    further.extend(trend.as_ref().map(|words| match digest.cleared.unlooked_majors {
        0 => words.clone(),
        1 => format!("{words} 1 major less is one that is no longer looked for."),
        unlooked => format!("{words} {unlooked} majors less are those that are no longer looked for."),
    }));
    if !further.is_empty() {
        blocks.push(Block::Lines(further));
    }
    blocks.extend(trend.map(|words| Block::Picture { words }));
    let policy = summary.policy_hash.get(..12).unwrap_or(&summary.policy_hash);
    let mut last: Vec<String> = CAUTIONS.iter().take(room.cautions).map(|caution| (*caution).to_owned()).collect();
    last.push(format!("Sent by {}, policy {policy}; the whole report is attached.", summary.tool));
    blocks.push(Block::Lines(last));
    blocks
}

/// How many sentences on what no verdict rests on are told on Summary alone.
fn beside_in_number(summary: &RunSummary, room: Room) -> Option<String> {
    let more = summary.beside.len().saturating_sub(room.beside) as u64;
    (more > 0).then(|| format!("What else no verdict rests on stands on Summary, in {}.", counted(more, "sentence")))
}

/// What is to be stated of the circuits not assessed: of these alone, since what others lack gives them no verdict.
fn settles(summary: &RunSummary) -> String {
    const NAMED: usize = 2;
    let waiting: Vec<&MissingCell> = summary.missing.iter().filter(|missing| missing.verdicts > 0).collect();
    if waiting.len() < 2 && summary.circuits.not_assessed == 1 {
        let cell = summary.not_assessed.first().map_or("", |circuit| &circuit.cell);
        return if cell.is_empty() { String::new() } else { format!(" Settles it: {cell}.") };
    }
    let of = |missing: &&MissingCell| match summary.circuits.not_assessed {
        1 => missing.cell.clone(),
        all => format!("{} ({} of {all})", missing.cell, missing.verdicts),
    };
    let mut words: Vec<String> = waiting.iter().take(NAMED).map(of).collect();
    if waiting.len() > NAMED {
        words.push("more on Circuits".to_owned());
    }
    if words.is_empty() { String::new() } else { format!(" To be stated: {}.", words.join("; ")) }
}

fn decided(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let decisions = &digest.decisions;
    if room.decisions == 0 || decisions.first.is_empty() {
        return;
    }
    let told = |decision: &Decision| {
        if room.does_run {
            decision.change.clone()
        } else {
            format!("{}. Clears: {}.", decision.change, decision.clears)
        }
    };
    let mut items: Vec<String> = decisions.first.iter().take(room.decisions).map(told).collect();
    let more = decisions.count - items.len() as u64;
    if more > 0 {
        items.push(format!("{more} more on Remedies"));
    }
    listed(blocks, "Decisions, what clears majors, and most of them, first".to_owned(), items, room);
}

/// What is unsafe, how that changed, what is to be decided.
fn first_lines(digest: &Digest, room: Room) -> Vec<String> {
    let summary = &digest.summary;
    let mut lines = vec![unsafe_now(summary)];
    lines.push(if summary.has_previous {
        let since = summary.earlier.as_ref().map_or_else(|| "the previous run".to_owned(), |run| run.date.clone());
        let change = digest.change().map_or_else(String::new, |change| {
            format!("unsafe circuits: {}{}; ", change.in_words(), came_and_went(digest))
        });
        let (changes, cleared) = (&summary.changes, &digest.cleared);
        // What nothing looks for any more, is waived or is judged otherwise was put right by nobody.
        let waived = match summary.waived_since {
            0 => String::new(),
            waived => format!(", {waived} waived since, majors and minors"),
        };
        let policy = if summary.has_other_policy() { " The policy is not that of the earlier run." } else { "" };
        format!(
            "Since {since}: {change}{}, {} standing, {} cleared{}{waived}.{policy}",
            counted_or_no(changes.new_majors, "new major"),
            changes.standing_majors,
            cleared.majors.total.saturating_sub(cleared.unlooked_majors + cleared.became_majors),
            cleared.unlooked_in_words()
        )
    } else {
        "There is no previous run to compare with.".to_owned()
    });
    // It counts again, so it may be what makes a circuit unsafe that was not.
    lines.extend(lapsed_in_words(summary.waivers_lapsed, &summary.waivers_lapsed_on).map(|words| format!("{words}.")));
    lines.push(decisions(digest, room));
    lines
}

fn unsafe_now(summary: &RunSummary) -> String {
    let now = summary.in_service;
    let unread = match summary.may_be_in_service.total {
        0 => String::new(),
        total => format!(
            "; of {} it can't be read whether {} in service, of which {}",
            counted_or_no(total, "circuit"),
            if total == 1 { "it is" } else { "they are" },
            failing(summary.may_be_in_service.does_not_conform)
        ),
    };
    if now.total == 0 {
        let planned = summary.planned();
        let of_planned = match planned.total {
            0 => String::new(),
            total => format!("; of {total} planned {}, {} not assessed", planned.failing(), planned.not_assessed),
        };
        return format!("Unsafe in service now: no circuit is stated to be in service{unread}{of_planned}.");
    }
    let mut by_plant: BTreeMap<&str, u64> = BTreeMap::new();
    for pallet in summary.by_pallet.iter().filter(|pallet| pallet.in_service.does_not_conform > 0) {
        *by_plant.entry(&pallet.plant).or_default() += pallet.in_service.does_not_conform;
    }
    let plants: Vec<String> =
        by_plant.iter().map(|(plant, count)| format!("{} {count}", named_plant(plant))).take(4).collect();
    let is_of_one = by_plant.keys().all(|plant| plant.is_empty());
    let plants = if is_of_one { String::new() } else { format!(" ({})", plants.join(", ")) };
    let by = match (now.by_majors(), now.by_minors) {
        (_, 0) => String::new(),
        (0, _) => ", by minors alone".to_owned(),
        (majors, minors) => format!(", {majors} by majors, {minors} by minors alone"),
    };
    let all = counted(now.total, "circuit");
    let number = now.does_not_conform;
    let known = match (number, now.not_assessed) {
        (0, 0) => format!("none of {all}"),
        (0, 1) if now.total == 1 => format!("not known, {all} could not be assessed"),
        (0, unknown) if unknown == now.total => format!("not known, none of {all} could be assessed"),
        (0, unknown) => {
            format!("none of the {} of {all} that could be assessed; {unknown} may be", now.total - unknown)
        }
        (_, 0) => format!("{number} of {all}{plants}{by}"),
        (_, unknown) => format!("{number} of {all}{plants}{by}; {unknown} more could not be assessed and may be"),
    };
    format!("Unsafe in service now: {known}{unread}.")
}

/// A plant that no list names has no name to be told by.
const fn named_plant(plant: &str) -> &str {
    if plant.is_empty() { "not named" } else { plant }
}

/// ` (new North/P1/F2/1; no longer North/P1/F1/1)`: the net figure alone tells neither.
fn came_and_went(digest: &Digest) -> String {
    const NAMED: usize = 4;
    let of = |word: &str, places: &[Place]| {
        let mut names: Vec<String> = places.iter().take(NAMED).map(joined).collect();
        if places.len() > NAMED {
            names.push(format!("{} more", places.len() - NAMED));
        }
        (!names.is_empty()).then(|| format!("{word} {}", names.join(", ")))
    };
    let words: Vec<String> = of("new", &digest.came).into_iter().chain(of("no longer", &digest.went)).collect();
    if words.is_empty() { String::new() } else { format!(" ({})", words.join("; ")) }
}

fn decisions(digest: &Digest, room: Room) -> String {
    let decisions = &digest.decisions;
    // No circuit is the safer for these.
    let replaced = match decisions.replacements {
        0 => String::new(),
        number => format!(" {} still to be bought, see Remedies.", counted(number, "obsolete part")),
    };
    if decisions.count == 0 {
        let searched = if decisions.were_searched { "no proved change" } else { "changes were not looked for" };
        return format!("Decide: {searched}.{replaced}");
    }
    let cost = decisions.cost_in_words();
    let cost = if cost.is_empty() { String::new() } else { format!(", {cost}") };
    let unpriced =
        if decisions.unpriced > 0 { format!(", {} without price", decisions.unpriced) } else { String::new() };
    let mut changes = counted_or_no(decisions.changes, "change");
    if decisions.count != decisions.changes {
        changes = format!("{}, {changes}", counted(decisions.count, "decision"));
    }
    let each = match (decisions.are_together, decisions.changes) {
        (true, _) => "proved together in a changed copy",
        (false, 0 | 1) => "proved",
        (false, _) => "each proved by itself, not together",
    };
    let reach = if room.has_reach { reach(&digest.summary) } else { String::new() };
    format!("Decide: {changes} on Remedies{cost}{unpriced}, {each}{reach}.{replaced}")
}

/// What changes come to: a circuit stays unsafe while one finding stands.
fn reach(summary: &RunSummary) -> String {
    let is_planned = summary.in_service.total == 0;
    let ReachCounts { all, some, none, elsewhere } =
        if is_planned { summary.reach_planned } else { summary.reach_in_service };
    let circuits = |number: u64| match (is_planned, number) {
        (false, _) => counted(number, "unsafe circuit"),
        (true, 1) => "1 planned circuit that does not conform".to_owned(),
        (true, _) => format!("{number} planned circuits that do not conform"),
    };
    let mut words: Vec<String> = Vec::new();
    for (count, what) in [(all, "all findings"), (some, "some findings"), (none, "no finding")] {
        if count > 0 {
            let of = if words.is_empty() { circuits(count) } else { count.to_string() };
            words.push(format!("{what} of {of}"));
        }
    }
    let mut text = match words.as_slice() {
        [] => String::new(),
        words => format!("; offered for {}", words.join(", for ")),
    };
    if elsewhere > 0 {
        text =
            format!("{text}; {elsewhere} {} by a part or load station", if elsewhere == 1 { "fails" } else { "fail" });
    }
    text
}

/// In service and planned apart, by plant.
fn plants(blocks: &mut Vec<Block>, summary: &RunSummary, room: Room) {
    let mut by_plant: BTreeMap<&str, (VerdictCounts, VerdictCounts, u64)> = BTreeMap::new();
    for pallet in &summary.by_pallet {
        let (in_service, planned, majors) = by_plant.entry(&pallet.plant).or_default();
        in_service.add(pallet.in_service);
        planned.add(pallet.planned());
        *majors += pallet.majors;
    }
    if by_plant.is_empty() {
        return;
    }
    let mut all: Vec<_> = by_plant.into_iter().collect();
    all.sort_by_key(|(_, (in_service, _, majors))| std::cmp::Reverse((in_service.does_not_conform, *majors)));
    // A single one takes no more room than a word that counts it.
    let most = if all.len() == room.plants + 1 { all.len() } else { room.plants };
    let mut rows: Vec<(String, _)> =
        all.iter().take(most).map(|(plant, counts)| (named_plant(plant).to_owned(), *counts)).collect();
    if all.len() > most {
        let mut rest = (VerdictCounts::default(), VerdictCounts::default(), 0);
        for (_, (in_service, planned, majors)) in all.iter().skip(most) {
            rest.0.add(*in_service);
            rest.1.add(*planned);
            rest.2 += majors;
        }
        let more = counted_or_no((all.len() - most) as u64, "more plant");
        rows.push((more, rest));
    }
    let head = vec!["Plant", "In service", "unsafe", "not assessed", "Planned", "do not conform", "Majors"];
    let rows = rows.into_iter().map(|(plant, (in_service, planned, majors))| {
        let numbers = [
            in_service.total,
            in_service.does_not_conform,
            in_service.not_assessed,
            planned.total,
            planned.does_not_conform,
            majors,
        ];
        std::iter::once(plant).chain(numbers.map(|number| number.to_string())).collect()
    });
    let mut rows: Vec<Vec<String>> = rows.collect();
    let on_circuits: u64 = summary.by_pallet.iter().map(|pallet| pallet.majors).sum();
    if summary.majors() > on_circuits {
        let mut row = vec![String::new(); head.len()];
        "Parts, orders etc.".clone_into(&mut row[0]);
        row[head.len() - 1] = (summary.majors() - on_circuits).to_string();
        rows.push(row);
    }
    blocks.push(Block::Table { head, rows });
}

/// One by one with their reasons; where there are too many, those on circuits in service by rule.
fn new_majors(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let (majors, heading) = (&digest.new_majors, counted_or_no(digest.new_majors.total, "new major"));
    let is_room_for_all = majors.total <= room.majors as u64;
    let names = names(digest, room);
    let mut items = if is_room_for_all { Vec::new() } else { names.by_rule(&digest.new_in_service, room.rules) };
    let mut named = if is_room_for_all { 0 } else { digest.new_in_service.on_circuits() as u64 };
    let first = majors.first.iter().filter(|item| is_room_for_all || !item.is_in_service);
    for item in first.take(room.majors.saturating_sub(items.len()).max(1)) {
        items.push(line(item, room.reason));
        named += 1;
    }
    // That there is none stands in the first lines.
    if majors.total == 0 {
        return;
    }
    if majors.total > named {
        items.push(format!("{} more on Findings", majors.total - named));
    }
    listed(blocks, heading, items, room);
}

fn names(digest: &Digest, room: Room) -> Names<'_> {
    Names::new(room.naming, &digest.summary.by_pallet)
}

/// What makes circuits in service unsafe and isn't new: every circuit by its name, as far as there is room.
fn standing(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let majors = &digest.standing;
    let names = names(digest, room);
    let mut items = names.by_rule(majors, room.rules);
    if !digest.unsafe_without_major.is_empty() {
        let places: BTreeSet<_> = digest.unsafe_without_major.iter().collect();
        items.push(format!("{LESSER}: {}", names.places(&places)));
    }
    if room.shared_by_title {
        let mut shared = names.shared(majors);
        let further = shared.split_off(room.rules.clamp(1, SHARED).min(shared.len()));
        items.extend(shared.into_iter().map(|row| format!("Shared by circuits: {row}")));
        if !further.is_empty() {
            let number = counted_or_no(further.len() as u64, "further rule");
            items.push(format!("Shared by circuits: {number}, on Findings"));
        }
    } else if !majors.shared.is_empty() {
        items.push(format!("Shared by circuits: {}", majors.subjects_in_words(SHARED)));
    }
    if items.is_empty() {
        return;
    }
    let which = if digest.summary.has_previous { "standing major" } else { "major" };
    let summary = &digest.summary;
    let mut heading = if majors.on_circuits() > 0 {
        let circuits = counted_or_no(majors.by_circuit.len() as u64, "circuit");
        let number = majors.on_circuits() as u64;
        // The others are on planned circuits, and on no circuit.
        let all = if summary.has_previous { summary.changes.standing_majors } else { summary.majors() };
        let number = if all > number { format!("{number} of {}", counted(all, which)) } else { counted(number, which) };
        format!("{number} on {circuits} in service")
    } else if summary.in_service.does_not_conform > 0 {
        "What makes circuits in service unsafe".to_owned()
    } else {
        "Majors on parts and load stations".to_owned()
    };
    heading.push_str(match room.naming {
        Naming::Every => "",
        Naming::Gravest => ", each under its gravest",
        Naming::Pallets | Naming::Plants => ", each counted under its gravest; each is named on Findings",
    });
    let left = digest.summary.in_service.does_not_conform.saturating_sub(digest.summary.unsafe_in_service.len() as u64);
    if left > 0 {
        items.push(format!("{} on Findings", counted_or_no(left, "further unsafe circuit")));
    }
    listed(blocks, heading, items, room);
}

/// Circuits not in service that do not conform, as those in service are named.
fn planned(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let (majors, lesser) = (&digest.planned, &digest.planned_without_major);
    let number = majors.by_circuit.len() + lesser.len();
    if number == 0 {
        return;
    }
    let naming = room.planned_naming.unwrap_or(room.naming).max(room.naming);
    let names = names(digest, Room { naming, ..room });
    let mut items = names.by_rule(majors, room.planned_rules.min(room.rules));
    if !lesser.is_empty() {
        items.push(format!("{LESSER}: {}", names.places(&lesser.iter().collect())));
    }
    let which = if digest.summary.may_be_in_service.does_not_conform > 0 {
        "Planned, or in service as far as can be read"
    } else {
        "Planned"
    };
    listed(blocks, format!("{which}, {}", failing(number as u64)), items, room);
}

/// By what circuits do not conform that have no major of their own.
const LESSER: &str = "By minors, part or load station";

fn cleared(blocks: &mut Vec<Block>, digest: &Digest, room: Room) {
    let cleared = &digest.cleared;
    if cleared.total == 0 {
        return;
    }
    let others = cleared.total - cleared.majors.total;
    let majors = counted_or_no(cleared.majors.total, "major");
    // What nothing looks for any more is gone, and nobody knows that it was cleared.
    let word = if cleared.unlooked.is_empty() { "Cleared" } else { "Gone" };
    let mut heading = format!("{word}: {majors}, {others} lesser or observed");
    for (why, count) in &cleared.unlooked {
        heading = format!("{heading}; {count} {}", why.words());
    }
    // How many majors are cleared, and how many nobody cleared, stands in the first lines.
    let is_told = cleared.unlooked_majors + cleared.became_majors == 0;
    if room.cleared == 0 && (is_told || room.decisions == 0 && room.does_run) {
        return;
    }
    let mut items: Vec<String> =
        cleared.majors.first.iter().take(room.cleared).map(|item| line(item, room.reason)).collect();
    if items.is_empty() {
        blocks.push(Block::Paragraph(format!("{heading}.")));
        return;
    }
    let more = cleared.majors.total - items.len() as u64;
    if more > 0 {
        items.push(format!("{more} more on Changes"));
    }
    listed(blocks, heading, items, room);
}

fn listed(blocks: &mut Vec<Block>, heading: String, items: Vec<String>, room: Room) {
    if room.does_run {
        blocks.push(Block::Run { heading, items });
        return;
    }
    blocks.push(Block::Heading(heading));
    blocks.push(Block::List(items));
}

/// `Part rated below charge pressure: North / P1 / F1 / 1, position C3: the reason.`; a reason longer than there is
/// room for is left to the workbook.
fn line(item: &Item, room: usize) -> String {
    let what =
        [title(&item.rule), &item.place].into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(": ");
    if item.text.is_empty() || item.text.chars().count() > room { what } else { format!("{what}. {}", item.text) }
}

/// The plain text, in lines of at most 76 characters where words allow.
#[must_use]
pub fn plain(blocks: &[Block]) -> String {
    let mut text = String::new();
    let mut before: Option<&Block> = None;
    for block in blocks {
        let is_joined = matches!(
            (before, block),
            (None | Some(Block::Heading(_)), _)
                | (_, Block::Picture { .. })
                | (Some(Block::Run { .. }), Block::Run { .. })
        );
        if !is_joined {
            text.push('\n');
        }
        before = Some(block);
        match block {
            Block::Heading(words) => {
                wrap(&mut text, "", "", &if words.contains(':') { words.clone() } else { format!("{words}:") });
            }
            Block::Paragraph(words) => wrap(&mut text, "", "", words),
            Block::Lines(lines) => lines.iter().for_each(|line| wrap(&mut text, "", "  ", line)),
            Block::List(items) => items.iter().for_each(|item| wrap(&mut text, "- ", "  ", item)),
            Block::Run { heading, items } => wrap(&mut text, "- ", "", &format!("{heading}: {}.", items.join(". "))),
            Block::Table { head, rows } => plain_table(&mut text, head, rows),
            Block::Picture { .. } => {}
        }
    }
    text
}

fn wrap(text: &mut String, first: &str, further: &str, content: &str) {
    let words = single_line(content);
    let words: Vec<&str> = words.split_whitespace().collect();
    for row in wrapped(&format!("{first}{}", words.join(" ")), WIDTH, further.len()) {
        let _ = writeln!(text, "{row}");
    }
}

fn plain_table(text: &mut String, head: &[&str], rows: &[Vec<String>]) {
    let head: Vec<String> = head.iter().map(|cell| (*cell).to_owned()).collect();
    let rows: Vec<Vec<String>> =
        std::iter::once(&head).chain(rows).map(|row| row.iter().map(|cell| single_line(cell)).collect()).collect();
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..head.len()).map(|column| width(column).unwrap_or(0)).collect();
    for row in &rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        let _ = writeln!(text, "{}", cells.join("  ").trim_end());
    }
}

/// The HTML alternative: structure and borders, no colour and nothing to fetch.
#[must_use]
pub fn html(title: &str, blocks: &[Block]) -> String {
    let mut text = String::from("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    // A telephone shows the page as wide as itself.
    text.push_str("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    let _ = writeln!(text, "<title>{}</title>\n</head>\n<body style=\"{BODY}\">", escaped(title));
    for block in blocks {
        match block {
            Block::Heading(heading) => _ = writeln!(text, "<h3>{}</h3>", escaped(heading)),
            Block::Paragraph(paragraph) => _ = writeln!(text, "<p>{}</p>", escaped(paragraph)),
            Block::Lines(lines) => {
                let lines: Vec<String> = lines.iter().map(|line| escaped(line)).collect();
                _ = writeln!(text, "<p>{}</p>", lines.join("<br>\n"));
            }
            Block::Picture { words } => {
                _ = writeln!(text, "<p><img src=\"cid:{PICTURE}\" style=\"{WITHIN}\" alt=\"{}\"></p>", escaped(words));
            }
            Block::List(items) => html_list(&mut text, items),
            Block::Run { heading, items } => {
                _ = writeln!(text, "<h3>{}</h3>", escaped(heading));
                html_list(&mut text, items);
            }
            Block::Table { head, rows } => html_table(&mut text, head, rows),
        }
    }
    text.push_str("</body>\n</html>\n");
    text
}

fn html_list(text: &mut String, items: &[String]) {
    text.push_str("<ul>\n");
    for item in items {
        _ = writeln!(text, "<li>{}</li>", escaped(item));
    }
    text.push_str("</ul>\n");
}

fn html_table(text: &mut String, head: &[&str], rows: &[Vec<String>]) {
    text.push_str("<table border=\"1\" cellspacing=\"0\" cellpadding=\"3\" style=\"font-size:small\">\n<tr>");
    // Numbers stand at the right, below each other.
    let align = |column: usize| if column == 0 { "left" } else { "right" };
    for (column, cell) in head.iter().enumerate() {
        _ = write!(text, "<th align=\"{}\">{}</th>", align(column), escaped(cell));
    }
    text.push_str("</tr>\n");
    for row in rows {
        text.push_str("<tr>");
        for (column, cell) in row.iter().enumerate() {
            _ = write!(text, "<td align=\"{}\">{}</td>", align(column), escaped(cell));
        }
        text.push_str("</tr>\n");
    }
    text.push_str("</table>\n");
}

/// Text from the user's files without what could break out of its line.
fn single_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in single_line(text).chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            _ => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::super::digest::{Items, Major, Majors};
    use super::*;
    use crate::audit::counts::PalletCounts;

    #[test]
    fn text_of_the_user_can_not_become_markup() {
        let blocks = [Block::Paragraph("<b onload=\"x\">F&1\r\n.\r\n</b>".to_owned())];
        assert!(html("<t>", &blocks).contains("<p>&lt;b onload=&quot;x&quot;&gt;F&amp;1  .  &lt;/b&gt;</p>"));
        assert!(html("<t>", &blocks).contains("<title>&lt;t&gt;</title>"));
        assert_eq!(plain(&blocks), "<b onload=\"x\">F&1 . </b>\n");
    }

    #[test]
    fn lines_wrap_between_words_and_keep_every_word() {
        let words: Vec<String> = (0..60).map(|number| format!("word{number}")).collect();
        let text = plain(&[Block::List(vec![words.join(" ")])]);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().skip(1).filter(|line| !line.is_empty()).all(|line| line.starts_with("  word")));
        let back: Vec<&str> = text.trim_start_matches("- ").split_whitespace().collect();
        assert_eq!(back, words);
    }

    #[test]
    fn what_is_not_listed_is_counted() {
        let mut digest = Digest::default();
        digest.decisions.first =
            vec![Decision { change: "F1: valve set to 5 bar".to_owned(), clears: "Too high".to_owned() }; 3];
        (digest.decisions.count, digest.decisions.changes) = (3, 3);
        let said = |room| {
            let mut blocks = Vec::new();
            decided(&mut blocks, &digest, room);
            plain(&blocks)
        };
        assert_eq!(
            said(Room { decisions: 1, ..MOST }),
            "Decisions, what clears majors, and most of them, first:\n- F1: valve set to 5 bar. Clears: Too high.\n- 2 more on Remedies\n"
        );
        assert_eq!(
            said(Room { decisions: 1, ..SHORT }),
            "- Decisions, what clears majors, and most of them, first: F1: valve set to 5\nbar. 2 more on Remedies.\n"
        );
    }

    /// A run with so many circuits on pallets of five, all of them unsafe in service by so many of four rules, and much
    /// else to tell.
    fn unsafe_run(circuits: usize, rules: usize, place: impl Fn(usize) -> Place) -> Digest {
        let item = |number: usize| Item {
            rule: "P05".to_owned(),
            place: format!("A plant with a long name / pallet {number} / fixture / 1"),
            text: "a reason that is long enough to be broken into lines ".repeat(4),
            ..Item::default()
        };
        let items = Items { first: (0..40).map(item).collect(), total: 900 };
        let major = |rule: &str| Major { rule: rule.to_owned(), part_no: String::new() };
        let of = |number: usize| {
            let codes = ["P05", "V01", "H02", "M03"].into_iter().cycle().skip(number % 4).take(rules);
            (place(number), codes.map(major).collect())
        };
        let standing = Majors { by_circuit: (0..circuits).map(of).collect(), ..Majors::default() };
        let mut digest =
            Digest { new_majors: items.clone(), standing, not_assessed: items.clone(), ..Digest::default() };
        let mut pallets: Vec<[String; 2]> =
            digest.standing.by_circuit.keys().map(|[plant, pallet, ..]| [plant.clone(), pallet.clone()]).collect();
        pallets.dedup();
        let pallets =
            pallets.into_iter().map(|[plant, pallet]| PalletCounts { plant, pallet, ..PalletCounts::default() });
        digest.summary.by_pallet = pallets.collect();
        let number = circuits as u64;
        let in_service = VerdictCounts { total: number, does_not_conform: number, ..VerdictCounts::default() };
        digest.summary.in_service = in_service;
        digest.summary.has_previous = true;
        digest.summary.unsafe_in_service = vec![crate::audit::counts::UnsafeCircuit::default(); circuits];
        digest.cleared.majors = items.clone();
        digest.cleared.total = 2000;
        (digest.decisions.count, digest.decisions.changes) = (900, 900);
        digest.decisions.first =
            items.first.iter().map(|item| Decision { change: item.place.clone(), clears: item.text.clone() }).collect();
        digest
    }

    fn text_of(digest: &Digest) -> String {
        let text = plain(&blocks(digest));
        assert!(text.lines().count() <= LINES, "{} lines:\n{text}", text.lines().count());
        text
    }

    fn unwrapped(text: &str) -> String {
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// However much there is to tell.
    #[test]
    fn the_text_has_at_most_forty_lines() {
        for circuits in [0, 1, 7, 40, 150, 400, 3000] {
            for rules in 1..=4 {
                for plants in [1, 3, 60] {
                    let place = |number: usize| {
                        let pallet = number / 5;
                        [
                            format!("A plant of a name {}", pallet % plants),
                            format!("{pallet:03}"),
                            "F".into(),
                            number.to_string(),
                        ]
                    };
                    let text = text_of(&unsafe_run(circuits, rules, place));
                    assert!(text.lines().count() > LINES / 3, "{text}");
                }
            }
        }
    }

    /// Sixty circuits on twelve pallets, each with four majors: everything else gives way to their names.
    #[test]
    fn every_unsafe_circuit_of_sixty_has_its_name() {
        let place = |number: usize| {
            ["East".to_owned(), format!("P{:02}", number / 5), format!("OP{}", number % 5), "1".to_owned()]
        };
        let text = unwrapped(&text_of(&unsafe_run(60, 4, place)));
        assert!(text.contains("240 standing majors on 60 circuits in service"), "{text}");
        for pallet in 0..12 {
            let start = text.find(&format!(" P{pallet:02} OP")).unwrap_or_else(|| panic!("P{pallet:02}: {text}"));
            assert!(text[start..].starts_with(&format!(" P{pallet:02} OP0/1, OP")), "{text}");
        }
    }

    /// Twenty-six circuits of thirteen rules: each under the title of its gravest.
    #[test]
    fn every_rule_of_thirteen_has_its_title() {
        let codes = ["M01", "M03", "M04", "M06", "M07", "M09", "M11", "V01", "P01", "P05", "P07", "H02", "F01"];
        let place = |number: usize| {
            ["East".to_owned(), format!("P{:02}", number / 5), format!("OP{}", number % 5), "1".to_owned()]
        };
        let mut digest = unsafe_run(26, 1, place);
        for (number, found) in digest.standing.by_circuit.values_mut().enumerate() {
            *found = vec![Major { rule: codes[number % codes.len()].to_owned(), part_no: String::new() }];
        }
        let text = unwrapped(&text_of(&digest));
        for code in codes {
            assert!(text.contains(&format!("{}: P", title(code))), "{code}: {text}");
        }
        assert_eq!(text.matches("OP").count(), 26, "{text}");
    }

    /// Three hundred circuits by two rules, and many planned ones: no cause goes without its title.
    #[test]
    fn causes_are_named_before_the_last_circuit() {
        let place = |number: usize| {
            ["East".to_owned(), format!("P{:03}", number / 5), format!("OP{}", number % 5), "1".to_owned()]
        };
        let mut digest = unsafe_run(300, 1, place);
        for (number, found) in digest.standing.by_circuit.values_mut().enumerate() {
            let (rule, part) = [("P05", "SWG-25"), ("V01", "")][number % 2];
            *found = vec![Major { rule: rule.to_owned(), part_no: part.to_owned() }];
        }
        digest.planned = unsafe_run(60, 4, |number| place(number + 300)).standing;
        let text = unwrapped(&text_of(&digest));
        assert!(text.contains(&format!("{} (SWG-25): 150 circuits on P000 to P059", title("P05"))), "{text}");
        assert!(text.contains(&format!("{}: 150 circuits on P000 to P059", title("V01"))), "{text}");
        // Two that are unsafe keep their names, however many planned ones there are.
        let mut digest = unsafe_run(2, 1, place);
        digest.planned = unsafe_run(200, 4, |number| place(number * 7 + 300)).standing;
        let text = unwrapped(&text_of(&digest));
        for (code, name) in [("P05", "P000 OP0/1"), ("V01", "P000 OP1/1")] {
            assert!(text.contains(&format!("{}: {name}", title(code))), "{code}: {text}");
        }
        assert!(!text.contains("By 1 rule"), "{text}");
    }

    /// Three hundred: by rule and pallet, and the numbers add up to all of them.
    #[test]
    fn three_hundred_are_counted_by_pallet_and_none_is_lost() {
        let place = |number: usize| {
            ["East".to_owned(), format!("P{:02}", number / 5), format!("OP{}", number % 5), "left".to_owned()]
        };
        let text = unwrapped(&text_of(&unsafe_run(300, 4, place)));
        assert!(
            text.contains("1200 standing majors on 300 circuits in service, each counted under its gravest; each is named on Findings"),
            "{text}"
        );
        assert!(text.contains("300 circuits on P00 to P59"), "{text}");
        let text = unwrapped(&text_of(&unsafe_run(300, 1, place)));
        let counted: u64 = text
            .match_indices(" circuits on P")
            .filter_map(|(at, _)| text[..at].rsplit(' ').next()?.parse::<u64>().ok())
            .sum();
        assert_eq!(counted, 300, "{text}");
    }
}
