//! The part numbers of the component table, and which are nearest to one that it lacks.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;
use std::sync::{Mutex, OnceLock, PoisonError};

use hashbrown::HashMap;

/// How many names are given at most.
const MOST: usize = 3;

/// Names that are all compared with one that the table lacks. In a larger table those are that share its
/// rarest letters in a row: else unknown parts times parts would be compared.
const ALL_COMPARED: usize = 2_000;

/// Names of a larger table that are compared.
const SOME_COMPARED: usize = 500;

/// Answers that are kept; a table that lacks more names than that is searched again.
const KEPT: usize = 100_000;

/// Clean part numbers to their places in the component table.
#[derive(Debug, Default)]
pub struct PartNames {
    index: BTreeMap<String, u32>,
    /// Of each name in order, made when it is first asked for.
    shapes: OnceLock<Vec<Shape>>,
    /// Of a large table.
    triples: OnceLock<Triples>,
    /// What was asked for before: lists repeat the same unknown part.
    asked: Mutex<HashMap<Box<str>, Nearest>>,
}

impl Deref for PartNames {
    type Target = BTreeMap<String, u32>;

    fn deref(&self) -> &Self::Target {
        &self.index
    }
}

impl Clone for PartNames {
    fn clone(&self) -> Self {
        Self::from(self.index.clone())
    }
}

impl From<BTreeMap<String, u32>> for PartNames {
    fn from(index: BTreeMap<String, u32>) -> Self {
        Self { index, ..Self::default() }
    }
}

/// In what alone a name differs from the nearest one of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Difference {
    Case,
    LookAlike,
    Punctuation,
}

impl Difference {
    /// The words after "differs only in".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Case => "upper and lower case",
            Self::LookAlike => "a character that looks alike",
            Self::Punctuation => "blanks or punctuation",
        }
    }
}

/// The nearest names, best first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Nearest {
    pub names: Vec<String>,
    /// Where the first name differs in nothing that counts.
    pub difference: Option<Difference>,
}

impl PartNames {
    /// Adds a name; gives the place that it had before.
    pub fn insert(&mut self, name: String, place: u32) -> Option<u32> {
        (self.shapes, self.triples, self.asked) = Default::default();
        self.index.insert(name, place)
    }

    /// Finds the names nearest to `wanted`: first those that differ in case, in look-alike
    /// characters (O and 0, l, 1 and I, Cyrillic and Greek letters) or in punctuation alone, then
    /// those within an edit distance of 2 or a quarter of the length, whichever is more.
    #[must_use]
    pub fn nearest(&self, wanted: &str) -> Nearest {
        let asked = || self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = asked().get(wanted) {
            return known.clone();
        }
        let found = self.search(wanted);
        let mut asked = asked();
        if asked.len() < KEPT {
            asked.insert(wanted.into(), found.clone());
        }
        found
    }

    fn search(&self, wanted: &str) -> Nearest {
        let target = Target::of(wanted);
        if target.shape.plain.is_empty() {
            return Nearest::default();
        }
        let shapes = self.shapes.get_or_init(|| self.index.keys().map(|name| Shape::of(name)).collect());
        let names = || self.index.keys().map(String::as_str);
        let compared = |(name, shape): (&'_ str, &Shape)| {
            target.compare(name, shape).map(|(rank, distance)| (rank, distance, name.to_owned()))
        };
        let mut found: Vec<(u8, usize, String)> = if shapes.len() <= ALL_COMPARED {
            names().zip(shapes).filter_map(compared).collect()
        } else {
            let triples = self.triples.get_or_init(|| Triples::of(names(), shapes));
            let near = triples.near(&target.shape.plain);
            near.filter_map(|place| Some((triples.names.get(place)?.as_ref(), shapes.get(place)?)))
                .filter_map(compared)
                .collect()
        };
        found.sort_unstable();
        let difference = found.first().and_then(|(rank, ..)| match rank {
            0 => Some(Difference::Case),
            1 => Some(Difference::LookAlike),
            2 => Some(Difference::Punctuation),
            _ => None,
        });
        Nearest { names: found.into_iter().take(MOST).map(|(.., name)| name).collect(), difference }
    }
}

/// The names of a large table by three letters in a row.
#[derive(Debug, Default)]
struct Triples {
    names: Vec<Box<str>>,
    /// Places of the names, in order.
    of_triple: HashMap<[char; 3], Vec<u32>>,
    /// Of names that differ in nothing that counts.
    of_plain: HashMap<Box<str>, Vec<u32>>,
}

impl Triples {
    fn of<'a>(names: impl Iterator<Item = &'a str>, shapes: &[Shape]) -> Self {
        let mut all = Self { names: names.map(Box::from).collect(), ..Self::default() };
        for (place, shape) in (0_u32..).zip(shapes) {
            all.of_plain.entry_ref(shape.plain.as_str()).or_default().push(place);
            for triple in triples(&shape.plain) {
                let places = all.of_triple.entry(triple).or_default();
                if places.last() != Some(&place) {
                    places.push(place);
                }
            }
        }
        all
    }

    /// Places of names that may be near, each once, in order.
    fn near(&self, plain: &str) -> impl Iterator<Item = usize> {
        let mut of_triples: Vec<&Vec<u32>> = triples(plain).filter_map(|triple| self.of_triple.get(&triple)).collect();
        of_triples.sort_by_key(|places| places.len());
        let same = self.of_plain.get(plain).into_iter().flatten();
        let mut near: BTreeSet<u32> = same.copied().take(SOME_COMPARED).collect();
        for place in of_triples.into_iter().flatten() {
            if near.len() >= SOME_COMPARED {
                break;
            }
            near.insert(*place);
        }
        near.into_iter().map(|place| place as usize)
    }
}

fn triples(plain: &str) -> impl Iterator<Item = [char; 3]> {
    let letters: Vec<char> = plain.chars().collect();
    (2..letters.len()).map(move |last| [letters[last - 2], letters[last - 1], letters[last]])
}

/// What names are compared by.
#[derive(Debug)]
struct Shape {
    /// Lower case, look-alikes as one, without blanks and punctuation.
    plain: String,
    /// Characters of it.
    length: usize,
    /// One bit for each character of it; several may share one.
    occurring: u64,
}

impl Shape {
    fn of(name: &str) -> Self {
        let plain = folded(name);
        let occurring = plain.chars().fold(0, |bits, letter| bits | 1 << (u32::from(letter) % 64));
        Self { length: plain.chars().count(), occurring, plain }
    }

    /// An edit distance that the names have at least: one edit changes the length by one, and takes
    /// at most one character away and brings one in.
    fn least_distance(&self, other: &Self) -> usize {
        let changed = (self.occurring ^ other.occurring).count_ones() as usize;
        self.length.abs_diff(other.length).max(changed.div_ceil(2))
    }
}

/// A name taken apart once, to be compared with many.
struct Target {
    lower: String,
    alike: String,
    shape: Shape,
    reach: usize,
}

impl Target {
    fn of(wanted: &str) -> Self {
        let shape = Shape::of(wanted);
        Self {
            lower: wanted.to_lowercase(),
            alike: wanted.chars().map(look_alike).collect(),
            reach: (shape.length / 4).max(2),
            shape,
        }
    }

    /// Rank (case, look-alike, punctuation, other) and edit distance, where it is near.
    fn compare(&self, name: &str, shape: &Shape) -> Option<(u8, usize)> {
        if self.shape.least_distance(shape) > self.reach {
            return None;
        }
        if shape.plain == self.shape.plain {
            let rank = if name.to_lowercase() == self.lower {
                0
            } else if name.chars().map(look_alike).eq(self.alike.chars()) {
                1
            } else {
                2
            };
            return Some((rank, 0));
        }
        let distance = strsim::levenshtein(&shape.plain, &self.shape.plain);
        // Names of which nothing is left are no neighbours of a short one.
        (distance <= self.reach && distance < self.shape.length).then_some((3, distance))
    }
}

/// Lower case, look-alikes as one, without blanks and punctuation.
fn folded(text: &str) -> String {
    text.chars().filter(|letter| letter.is_alphanumeric()).map(look_alike).collect()
}

/// One character for all that look like it, in lower case.
fn look_alike(letter: char) -> char {
    let lower = letter.to_lowercase().next().unwrap_or(letter);
    match lower {
        '0' | 'о' | 'ο' | 'ø' => 'o',
        // Small L and capital i; `|` reads like both.
        'l' | '1' | '|' | 'і' | 'ι' | 'ӏ' | 'ı' => 'i',
        'а' | 'α' => 'a',
        'в' | 'β' => 'b',
        'с' | 'ϲ' => 'c',
        'е' | 'ε' => 'e',
        'н' | 'η' => 'h',
        'ј' => 'j',
        'к' | 'κ' => 'k',
        'м' | 'μ' | 'µ' => 'm',
        'ν' => 'n',
        'р' | 'ρ' => 'p',
        'ѕ' => 's',
        'т' | 'τ' => 't',
        'х' | 'χ' => 'x',
        'у' | 'υ' => 'y',
        'ζ' => 'z',
        '‐' | '‑' | '–' | '—' | '−' => '-',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(names: &[&str]) -> PartNames {
        PartNames::from(
            names.iter().zip(0..).map(|(name, index)| ((*name).to_owned(), index)).collect::<BTreeMap<_, _>>(),
        )
    }

    fn nearest(wanted: &str, names: &PartNames) -> Nearest {
        let found = names.nearest(wanted);
        assert_eq!(names.nearest(wanted), found, "the second answer");
        found
    }

    #[test]
    fn a_name_that_comes_later_is_found_too() {
        let mut names = table(&["CL-2010"]);
        assert_eq!(nearest("CL-2099", &names).names, ["CL-2010"]);
        assert_eq!(names.insert("CL-2098".to_owned(), 1), None);
        assert_eq!(nearest("CL-2099", &names).names, ["CL-2098", "CL-2010"]);
    }

    #[test]
    fn what_differs_only_in_looks_comes_first_and_is_said() {
        let names = table(&["CL-2010", "CL-2011", "CL-2O10", "cl-2012"]);
        let found = nearest("cl-2010", &names);
        assert_eq!(found.names.first().map(String::as_str), Some("CL-2010"));
        assert_eq!(found.difference, Some(Difference::Case));
        // A Cyrillic letter in the first place.
        let found = nearest("\u{421}L-2011", &names);
        assert_eq!(found.names.first().map(String::as_str), Some("CL-2011"));
        assert_eq!(found.difference, Some(Difference::LookAlike));
        let found = nearest("CL 2011", &names);
        assert_eq!((found.names[0].as_str(), found.difference), ("CL-2011", Some(Difference::Punctuation)));
    }

    #[test]
    fn at_most_three_names_and_none_from_far_away() {
        let names = table(&["CL-2010", "CL-2011", "CL-2012", "CL-2013", "HOSE-6"]);
        let found = nearest("CL-2019", &names);
        assert_eq!((found.names.len(), found.difference), (3, None));
        assert_eq!(nearest("ZZ-9999-Q", &names), Nearest::default());
        assert_eq!(nearest("", &names), Nearest::default());
        // Two letters have no neighbour in which nothing of them is left.
        assert_eq!(nearest("XY", &table(&["AB", "Q"])), Nearest::default());
    }

    #[test]
    fn the_edit_distance_reaches_a_quarter_of_the_length() {
        // 16 characters that count: a distance of 4 is near, 5 is not.
        let names = table(&["ABCDEFGHJKMNPQRS"]);
        assert_eq!(nearest("ABCDEFGHJKMN2345", &names).names.len(), 1);
        assert_eq!(nearest("ABCDEFGHJKM23456", &names).names.len(), 0);
    }

    #[test]
    fn a_large_table_is_not_compared_name_by_name() {
        let all: BTreeMap<String, u32> = (0..20_000_u32).map(|n| (format!("PART-{:06}-X", n * 49), n)).collect();
        let names = PartNames::from(all);
        // One letter too many, one other, two swapped, one missing, another case.
        for (wanted, nearest) in [
            ("PARTS-004900-X", "PART-004900-X"),
            ("PART-004900-Y", "PART-004900-X"),
            ("PART-979951-X", "PART-979951-X"),
            ("PRAT-004900-X", "PART-004900-X"),
            ("PAT-004900-X", "PART-004900-X"),
            ("part-004900-x", "PART-004900-X"),
        ] {
            let nearest_of_all = names.nearest(wanted).names;
            assert!(nearest_of_all.iter().any(|name| name == nearest), "{wanted}: {nearest_of_all:?}");
        }
        let triples = Triples::of(names.keys().map(String::as_str), names.shapes.get().unwrap());
        for wanted in ["partooooooox", "zzz", "", "ab"] {
            assert!(triples.near(wanted).count() <= SOME_COMPARED);
        }
    }

    #[test]
    fn the_quick_way_finds_what_the_slow_way_finds() {
        let names: BTreeMap<String, u32> =
            (0..3000_u32).map(|n| (format!("P{}-{:03}", n % 7, n * 37 % 1000), n)).collect();
        let names = PartNames::from(names);
        for wanted in ["P3-12", "P3-1234", "q3-100", "P-999", "7-00"] {
            let plain = folded(wanted);
            let reach = (plain.chars().count() / 4).max(2);
            let slow = names.keys().map(|name| strsim::levenshtein(&folded(name), &plain)).min();
            let best = nearest(wanted, &names).names.first().map(|name| strsim::levenshtein(&folded(name), &plain));
            assert_eq!(best, slow.filter(|distance| *distance <= reach), "{wanted}");
        }
    }
}
