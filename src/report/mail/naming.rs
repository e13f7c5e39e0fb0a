//! Majors by rule, each with the circuits that have it, in as few lines as their number allows.

use std::collections::{BTreeMap, BTreeSet};

use crate::audit::causes::reading_order;
use crate::audit::counts::PalletCounts;
use crate::rules::catalogue::rule;
use crate::tables::counted::counted_or_no;
use crate::tables::words::Severity;

use super::digest::{Majors, Place};

/// How circuits are named, from the most to the least room that it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Naming {
    /// Under every rule that they break.
    Every,
    /// Once, under the gravest.
    Gravest,
    /// Counted under the gravest, by pallet; pallets that follow each other as a range.
    Pallets,
    /// Counted under the gravest, by plant.
    Plants,
}

/// Plants that are named where circuits are counted by plant.
const NAMED_PLANTS: usize = 3;

/// How circuits are named and counted.
#[derive(Clone, Copy, Debug)]
pub struct Names<'a> {
    naming: Naming,
    /// All pallets in the order in which ranges run.
    pallets: &'a [PalletCounts],
    /// Whether the plant stands before its pallets.
    names_plants: bool,
}

/// The order in which majors are told.
fn gravity(code: &str) -> impl Ord + use<> {
    reading_order(Severity::Major, code, true)
}

#[must_use]
pub fn title(code: &str) -> &str {
    rule(code).map_or(code, |rule| rule.title)
}

/// Whether pallets of two plants have one name.
fn is_shared_by_plants(pallets: &[PalletCounts]) -> bool {
    let mut plants: BTreeMap<&str, &str> = BTreeMap::new();
    pallets.iter().any(|pallet| plants.insert(&pallet.pallet, &pallet.plant).is_some_and(|plant| plant != pallet.plant))
}

impl<'a> Names<'a> {
    /// Where room is short, plants are named only if a pallet's name doesn't tell its plant.
    #[must_use]
    pub fn new(naming: Naming, pallets: &'a [PalletCounts]) -> Self {
        let has_plants = pallets.windows(2).any(|pair| matches!(pair, [one, other] if one.plant != other.plant));
        let names_plants = has_plants && (naming == Naming::Every || is_shared_by_plants(pallets));
        Self { naming, pallets, names_plants }
    }

    /// A row a rule, the gravest first: `Part is rated below the pressure that it sees (SWG-25): T02 left/2; T08 fan/6`;
    /// the circuits of rules beyond `most` in one row.
    #[must_use]
    pub fn by_rule(self, majors: &Majors, most: usize) -> Vec<String> {
        let mut rules: BTreeMap<&str, (BTreeSet<&Place>, BTreeSet<&str>)> = BTreeMap::new();
        for (place, found) in &majors.by_circuit {
            let gravest = found.iter().map(|major| major.rule.as_str()).min_by_key(|code| gravity(code));
            for major in found.iter().filter(|major| self.naming == Naming::Every || gravest == Some(&major.rule)) {
                let (places, parts) = rules.entry(&major.rule).or_default();
                places.insert(place);
                parts.insert(&major.part_no);
            }
        }
        let mut rules: Vec<_> = rules.into_iter().collect();
        rules.sort_by_key(|(code, _)| gravity(code));
        // The title of a single rule takes no more room than a word that counts it.
        let further = if rules.len() > most.saturating_add(1) { rules.split_off(most) } else { Vec::new() };
        let named = |(code, (places, parts)): (&str, (BTreeSet<&Place>, BTreeSet<&str>))| {
            // The one part that all of them are about is their cause.
            let cause = match parts.first() {
                Some(part) if parts.len() == 1 && !part.is_empty() && places.len() > 1 => format!(" ({part})"),
                _ => String::new(),
            };
            format!("{}{cause}: {}", title(code), self.places(&places))
        };
        let mut rows: Vec<String> = rules.into_iter().map(named).collect();
        if !further.is_empty() {
            let number = if rows.is_empty() {
                counted_or_no(further.len() as u64, "rule")
            } else {
                counted_or_no(further.len() as u64, "further rule")
            };
            let places: BTreeSet<&Place> = further.into_iter().flat_map(|(_, (places, _))| places).collect();
            rows.push(format!("By {number}: {}", self.places(&places)));
        }
        rows
    }

    /// What circuits share: `Part lacks a figure that its kind needs: part SWG-25`.
    #[must_use]
    pub fn shared(self, majors: &Majors) -> Vec<String> {
        let mut rules: Vec<_> = majors.shared.iter().collect();
        rules.sort_by_key(|(code, _)| gravity(code));
        let named = |(code, subjects): (&String, &BTreeSet<String>)| {
            let names: Vec<&str> = subjects.iter().map(String::as_str).collect();
            let names = if self.naming < Naming::Pallets || names.len() == 1 {
                names.join(", ")
            } else {
                format!("{} parts or load stations", names.len())
            };
            format!("{}: {names}", title(code))
        };
        rules.into_iter().map(named).collect()
    }

    /// Circuits in key order: `Tarnholm T02 left/2, left/3; T05 arch/1; Quarrow Flat Q05 shelf/2`.
    #[must_use]
    pub fn places(self, places: &BTreeSet<&Place>) -> String {
        match self.naming {
            // A single one takes no more room than its number.
            _ if places.len() == 1 => self.one_by_one(places),
            Naming::Every | Naming::Gravest => self.one_by_one(places),
            Naming::Pallets => self.by_pallet(places),
            Naming::Plants => Self::by_plant(places),
        }
    }

    /// The plant's name, where a pallet's does not tell it.
    const fn plant<'b>(&self, plant: &'b str) -> &'b str {
        if self.names_plants { plant } else { "" }
    }

    fn one_by_one(self, places: &BTreeSet<&Place>) -> String {
        let mut pallets: Vec<String> = Vec::new();
        let mut last: Option<[&str; 2]> = None;
        for chunk in fixtures(places) {
            let [plant, pallet, ..] = chunk[0];
            let circuits = circuits_in_words(&chunk);
            match (last, pallets.last_mut()) {
                (Some(before), Some(text)) if before == [plant, pallet] => {
                    text.push_str(", ");
                    text.push_str(&circuits);
                }
                (before, _) => {
                    let is_other_plant = before.is_none_or(|[before, _]| before != plant);
                    let plant = if is_other_plant { self.plant(plant) } else { "" };
                    pallets.push(joined(&[plant, pallet, &circuits]));
                }
            }
            last = Some([plant, pallet]);
        }
        pallets.join("; ")
    }

    /// `15 circuits on Tarnholm T01 to T04 (12), T07; Quarrow Flat Q02 (2)`.
    fn by_pallet(self, places: &BTreeSet<&Place>) -> String {
        let mut counts: BTreeMap<[&str; 2], usize> = BTreeMap::new();
        for [plant, pallet, ..] in places {
            *counts.entry([plant, pallet]).or_default() += 1;
        }
        let mut plants: Vec<(&str, Vec<String>)> = Vec::new();
        let mut counts = counts.into_iter().peekable();
        while let Some((from, mut count)) = counts.next() {
            let mut to = from;
            while let Some((next, further)) = counts.next_if(|(next, _)| self.follows(to, *next)) {
                count += further;
                to = next;
            }
            let range =
                if from == to { name(from[1]).to_owned() } else { format!("{} to {}", name(from[1]), name(to[1])) };
            let words = if count == 1 || count == places.len() { range } else { format!("{range} ({count})") };
            match plants.last_mut() {
                Some((plant, pallets)) if *plant == from[0] => pallets.push(words),
                _ => plants.push((from[0], vec![words])),
            }
        }
        let plants: Vec<String> =
            plants.into_iter().map(|(plant, pallets)| joined(&[self.plant(plant), &pallets.join(", ")])).collect();
        format!("{} on {}", counted_or_no(places.len() as u64, "circuit"), plants.join("; "))
    }

    /// Whether a pallet is the very next of the plant.
    fn follows(self, before: [&str; 2], next: [&str; 2]) -> bool {
        before[0] == next[0]
            && self.pallets.windows(2).any(|pair| {
                matches!(pair, [one, other] if [one.plant.as_str(), &one.pallet] == before
                    && [other.plant.as_str(), &other.pallet] == next)
            })
    }

    /// `30 circuits (Tarnholm 20 on 9 pallets, Quarrow Flat 10 on 2 pallets)`.
    fn by_plant(places: &BTreeSet<&Place>) -> String {
        let mut plants: BTreeMap<&str, (usize, BTreeSet<&str>)> = BTreeMap::new();
        for [plant, pallet, ..] in places {
            let (circuits, pallets) = plants.entry(plant).or_default();
            *circuits += 1;
            pallets.insert(pallet);
        }
        if plants.len() > NAMED_PLANTS {
            let pallets: usize = plants.values().map(|(_, pallets)| pallets.len()).sum();
            let circuits = counted_or_no(places.len() as u64, "circuit");
            return format!("{circuits} on {pallets} pallets of {} plants", plants.len());
        }
        let of = |(plant, (circuits, pallets)): (&&str, &(usize, BTreeSet<&str>))| {
            let pallets = counted_or_no(pallets.len() as u64, "pallet");
            match (plants.len(), plant.is_empty()) {
                (1, _) => format!("on {pallets}"),
                (_, true) => format!("({circuits} on {pallets} of no named plant)"),
                (_, false) => format!("({plant} {circuits} on {pallets})"),
            }
        };
        let words: Vec<String> = plants.iter().map(of).collect();
        format!("{} {}", counted_or_no(places.len() as u64, "circuit"), words.join(", ").replace("), (", ", "))
    }
}

/// Circuits of one fixture together.
fn fixtures<'a>(places: &BTreeSet<&'a Place>) -> Vec<Vec<&'a Place>> {
    let mut chunks: Vec<Vec<&Place>> = Vec::new();
    for place in places {
        match chunks.last_mut() {
            Some(chunk) if chunk[0][..3] == place[..3] => chunk.push(place),
            _ => chunks.push(vec![place]),
        }
    }
    chunks
}

/// `left/2`, `left/1, left/3`, and where they are numbered on end `left/1 to 4`.
fn circuits_in_words(chunk: &[&Place]) -> String {
    let numbers: Option<Vec<u64>> = chunk.iter().map(|place| place[3].parse().ok()).collect();
    let mut numbers = numbers.unwrap_or_default();
    numbers.sort_unstable();
    let [_, _, fixture, _] = chunk[0];
    let of = |circuit: &str| if fixture.is_empty() { circuit.to_owned() } else { format!("{fixture}/{circuit}") };
    if let [first, .., last] = numbers.as_slice()
        && numbers.len() > 2
        && numbers.windows(2).all(|pair| matches!(pair, [one, next] if one + 1 == *next))
    {
        return format!("{} to {last}", of(&first.to_string()));
    }
    chunk.iter().map(|place| of(&place[3])).collect::<Vec<_>>().join(", ")
}

/// A pallet that no list names has no name to be told by.
const fn name(pallet: &str) -> &str {
    if pallet.is_empty() { "a pallet without a name" } else { pallet }
}

fn joined(words: &[&str]) -> String {
    words.iter().filter(|word| !word.is_empty()).copied().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::super::digest::Major;
    use super::*;

    fn pallets() -> Vec<PalletCounts> {
        let of = |plant: &str, pallet: &str| PalletCounts {
            plant: plant.to_owned(),
            pallet: pallet.to_owned(),
            ..PalletCounts::default()
        };
        vec![of("East", "P1"), of("East", "P2"), of("East", "P3"), of("East", "P5"), of("West", "Q1")]
    }

    fn majors(found: &[(&str, &[(&str, &str)])]) -> Majors {
        let of = |(place, codes): &(&str, &[(&str, &str)])| {
            let mut names = place.split('/').map(str::to_owned);
            let place: Place = std::array::from_fn(|_| names.next().unwrap_or_default());
            let majors =
                codes.iter().map(|(rule, part)| Major { rule: (*rule).to_owned(), part_no: (*part).to_owned() });
            (place, majors.collect())
        };
        Majors { by_circuit: found.iter().map(of).collect(), ..Majors::default() }
    }

    #[test]
    fn circuits_are_named_once_more_or_less_as_room_allows() {
        let majors = majors(&[
            ("East/P1/OP10/1", &[("P05", "SWG-25"), ("V01", "")]),
            ("East/P1/OP10/2", &[("P05", "SWG-25")]),
            ("East/P1/OP10/3", &[("P05", "SWG-25")]),
            ("East/P2/OP10/1", &[("P05", "SWG-25")]),
            ("East/P3/OP10/1", &[("V01", "")]),
            ("West/Q1/OP20/left", &[("V01", "")]),
        ]);
        let pallets = pallets();
        let told = |naming| Names::new(naming, &pallets).by_rule(&majors, usize::MAX);
        let (rated, fill) = (title("P05"), title("V01"));
        assert_eq!(
            told(Naming::Every),
            [
                format!("{rated} (SWG-25): East P1 OP10/1 to 3; P2 OP10/1"),
                format!("{fill}: East P1 OP10/1; P3 OP10/1; West Q1 OP20/left"),
            ]
        );
        assert_eq!(told(Naming::Gravest).len(), 2);
        assert_eq!(told(Naming::Pallets)[0], format!("{rated} (SWG-25): 4 circuits on P1 to P2"));
        assert_eq!(told(Naming::Pallets)[1], format!("{fill}: 2 circuits on P3; Q1"));
        let one = Names::new(Naming::Gravest, &pallets).by_rule(&majors, 0);
        assert_eq!(one, ["By 2 rules: P1 OP10/1 to 3; P2 OP10/1; P3 OP10/1; Q1 OP20/left"]);
        assert_eq!(told(Naming::Plants)[0], format!("{rated} (SWG-25): 4 circuits on 2 pallets"));
        assert_eq!(told(Naming::Plants)[1], format!("{fill}: 2 circuits (East 1 on 1 pallet, West 1 on 1 pallet)"));
    }

    /// A tube above its rating bursts; a valve without a way back and too little oil do not.
    #[test]
    fn what_bursts_is_named_before_what_does_not_work() {
        let majors = majors(&[
            ("East/P1/tower/1", &[("M11", "SEQ-N"), ("P08", "TUBE-T"), ("V01", "")]),
            ("East/P2/base/1", &[("V01", ""), ("H01", "")]),
            ("East/P3/base/1", &[("V01", ""), ("P13", "")]),
        ]);
        let told = Names::new(Naming::Gravest, &pallets()).by_rule(&majors, 9);
        let rows = [("P08", "East P1 tower/1"), ("H01", "East P2 base/1"), ("P13", "East P3 base/1")];
        let rows = rows.map(|(code, place)| format!("{}: {}", title(code), place.trim_start_matches("East ")));
        assert_eq!(told, rows);
    }

    /// A pallet's name that two plants have does not tell its circuit.
    #[test]
    fn plants_are_named_where_pallets_share_a_name() {
        let mut pallets = pallets();
        pallets[4].pallet = "P1".to_owned();
        let majors = majors(&[("East/P1/OP10/1", &[("V01", "")]), ("West/P1/OP20/left", &[("V01", "")])]);
        for naming in [Naming::Every, Naming::Gravest] {
            let told = Names::new(naming, &pallets).by_rule(&majors, 9);
            assert_eq!(told, [format!("{}: East P1 OP10/1; West P1 OP20/left", title("V01"))]);
        }
    }

    /// A pallet between two that fail ends the range.
    #[test]
    fn a_range_holds_only_what_fails() {
        let all = ["East/P1/a/1", "East/P2/a/1", "East/P5/a/1"].map(|place| (place, [("V01", "")]));
        let found: Vec<(&str, &[(&str, &str)])> = all.iter().map(|(place, codes)| (*place, codes.as_slice())).collect();
        let pallets = pallets();
        let told = Names::new(Naming::Pallets, &pallets).by_rule(&majors(&found), 9);
        assert_eq!(told, [format!("{}: 3 circuits on P1 to P2 (2), P5", title("V01"))]);
    }
}
