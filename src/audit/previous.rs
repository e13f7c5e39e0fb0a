//! What an earlier run found, to tell what is new and what is gone.
//!
//! Two runs speak of the same finding where rule, place, side, position and part agree; a part
//! number or circuit renamed is not guessed. Of the earlier rows only a hash stays in memory:
//! a plant can have millions.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::fs::File;
use std::io::{Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};

use csv::{Reader, ReaderBuilder, StringRecord};
use sha2::{Digest, Sha256};

use crate::rules::catalogue::rule;
use crate::rules::{Rule, buying, holding, pressure, sureness, upkeep, volume, waivers};
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::policy::Policy;
use crate::tables::shown::path_shown as shown;
use crate::tables::words::{Side, State};

/// The columns of `findings.csv` and `cleared.csv`.
pub const FINDING_COLUMNS: &[&str] = &[
    "rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no", "measured",
    "limit", "unit", "reason", "remedy", "file", "sheet", "row", "column",
];

/// Indices of the columns that make a finding the same in two runs.
const KEY: [usize; 8] = [0, 3, 4, 5, 6, 7, 8, 9];
/// Index of the state.
const STATE: usize = 2;

/// The state of a row of `cleared.csv` that nobody put right: nothing states the demand any more, the policy switches
/// the rule off, or is not the one that the earlier run judged by.
pub const NOT_ASKED: &str = "not asked";
pub const RULE_OFF: &str = "rule off";
pub const OTHER_POLICY: &str = "other policy";
/// What stands before the code of the rule in the state of a row that another rule finds now.
const BECAME: &str = "became ";

/// How near another rule's finding must be to one that is gone, for the one to be what became of the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Near {
    /// Place, side, position and part are the same.
    Same,
    /// Circuit and side are; the one that is gone names no line.
    Side,
}

/// A rule that finds nothing any more where another, no less grave, has taken its place: first, then second. Where the
/// second is the lesser one, the first was put right.
static TAKEN_OVER: &[(&Rule, &Rule, Near)] = &[
    (&upkeep::U02, &upkeep::U01, Near::Same),
    (&waivers::W02, &waivers::W01, Near::Same),
    (&volume::V02, &volume::V01, Near::Same),
    (&holding::H03, &holding::H02, Near::Same),
    (&holding::H02, &holding::H03, Near::Same),
    (&pressure::P17, &pressure::P10, Near::Same),
    (&pressure::P14, &pressure::P05, Near::Side),
    (&pressure::P14, &pressure::P06, Near::Side),
    (&pressure::P14, &pressure::P01, Near::Side),
    (&buying::B02, &buying::B03, Near::Same),
    (&buying::B03, &buying::B02, Near::Same),
];

/// A finding of the previous run that is gone: the row of its `findings.csv`, by column.
pub type ClearedRow = Vec<String>;

/// Whether a row of `cleared.csv` is gone though nobody put it right.
#[must_use]
pub fn is_not_cleared(row: &[String]) -> bool {
    let is_so = |state: &String| [NOT_ASKED, RULE_OFF, OTHER_POLICY].contains(&state.as_str());
    row.get(STATE).is_some_and(is_so) || became(row).is_some()
}

/// The rule that a row of `cleared.csv` was found by, and the one that finds its place now; `None` where none does.
#[must_use]
pub fn became(row: &[String]) -> Option<(&str, &str)> {
    Some((row.first()?, now_found_by(row.get(STATE)?)?))
}

/// The code in the state of a row of `cleared.csv` that another rule finds now.
#[must_use]
pub fn now_found_by(state: &str) -> Option<&str> {
    state.strip_prefix(BECAME)
}

/// What this run looked for.
#[derive(Clone, Copy, Debug)]
pub struct LookedFor<'a> {
    pub policy: &'a Policy,
    /// Names of earlier findings of which nothing states the demand any more.
    pub unasked: &'a BTreeSet<String>,
    /// Whether it was asked how sure the verdicts are.
    pub sureness: bool,
}

/// Why an earlier run can't be compared with.
#[derive(Debug, thiserror::Error)]
pub enum PreviousError {
    #[error("{}: there is no folder of this name. --previous names the --data folder of an earlier run.", shown(.0))]
    NoFolder(PathBuf),
    #[error("{}: the folder holds no findings.csv. --previous names the --data folder of an earlier run.", shown(.0))]
    NoFindings(PathBuf),
    #[error("{}: column {at} is {found}. Expected '{expected}', as in the findings.csv of --data.", shown(.path))]
    Columns { path: PathBuf, at: usize, found: String, expected: &'static str },
    #[error("{}: it can't be read: {why}.", shown(.path))]
    Unreadable { path: PathBuf, why: String },
}

/// An earlier run's findings. Findings may be shown to it from several threads at once.
#[derive(Debug)]
pub struct Previous {
    path: PathBuf,
    /// Kept open: the file may be replaced by this run's before the cleared ones are asked for.
    file: File,
    /// By hash of the key.
    seen: HashMap<u128, Earlier>,
    /// Hashes of the circuits on which something was found.
    places: HashSet<u128>,
    /// Whether it was judged by another policy.
    has_other_policy: bool,
}

/// A finding of the earlier run.
#[derive(Debug)]
struct Earlier {
    was_waived: bool,
    /// Whether this run has the finding too.
    is_seen: AtomicBool,
    /// One more than the place in [`TAKEN_OVER`] of what this run finds instead; 0 where it finds nothing there.
    became: AtomicU8,
}

impl Earlier {
    /// The code of the rule that finds its place now.
    fn became(&self) -> Option<&'static str> {
        let at = usize::from(self.became.load(Ordering::Relaxed)).checked_sub(1)?;
        TAKEN_OVER.get(at).map(|(_, now, _)| now.code)
    }
}

/// What makes a finding on a circuit the same in two runs.
#[derive(Clone, Copy, Debug)]
pub struct EarlierKey<'a> {
    pub code: &'a str,
    pub place: &'a CircuitKey,
    pub side: &'a str,
    pub position: &'a str,
    pub part_no: &'a str,
}

impl Previous {
    /// Reads `findings.csv` of an earlier `--data` folder.
    ///
    /// # Errors
    /// Where there is none, or it has other columns: a sentence.
    pub fn load(folder: &Path) -> Result<Self, PreviousError> {
        if !folder.is_dir() {
            return Err(PreviousError::NoFolder(folder.to_owned()));
        }
        let path = folder.join("findings.csv");
        let file = File::open(&path).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => PreviousError::NoFindings(folder.to_owned()),
            _ => PreviousError::Unreadable { path: path.clone(), why: error.to_string() },
        })?;
        Self::of(path, file)
    }

    /// The same from a `findings.csv` that is open; `path` names it in sentences.
    ///
    /// # Errors
    /// Where it has other columns or can't be read: a sentence.
    pub fn of(path: PathBuf, file: File) -> Result<Self, PreviousError> {
        let mut previous = Self { path, file, seen: HashMap::new(), places: HashSet::new(), has_other_policy: false };
        let (mut seen, mut places) = (HashMap::new(), HashSet::new());
        previous.each_row(|row| {
            let key = KEY.map(|column| row.get(column).unwrap_or_default());
            let was_waived = row.get(STATE) == Some(State::Waived.word());
            places.insert(hash_of_place(key));
            let (is_seen, became) = (AtomicBool::new(false), AtomicU8::new(0));
            seen.insert(hash(key), Earlier { was_waived, is_seen, became });
        })?;
        (previous.seen, previous.places) = (seen, places);
        Ok(previous)
    }

    /// The same where its policy may be another than this run's.
    #[must_use]
    pub fn judged_by(self, has_other_policy: bool) -> Self {
        Self { has_other_policy, ..self }
    }

    /// Whether it was judged by another policy.
    #[must_use]
    pub const fn has_other_policy(&self) -> bool {
        self.has_other_policy
    }

    /// Whether it found anything on a circuit.
    #[must_use]
    pub fn has_findings_on(&self, place: &CircuitKey) -> bool {
        self.places.contains(&hash_of_place(of_place("", place, ["", "", ""])))
    }

    /// The name of an earlier finding that this run has not; `None` where there was none.
    #[must_use]
    pub fn gone(&self, key: EarlierKey) -> Option<String> {
        let EarlierKey { code, place, side, position, part_no } = key;
        let hash = hash(of_place(code, place, [side, position, part_no]));
        let earlier = self.seen.get(&hash).filter(|earlier| !earlier.is_seen.load(Ordering::Relaxed))?;
        (!earlier.was_waived).then(|| name(hash))
    }

    /// Whether it had a finding of this run, and not waived.
    #[must_use]
    pub fn had_open(&self, finding: &Finding) -> bool {
        self.earlier(finding).is_some_and(|earlier| !earlier.was_waived)
    }

    /// Whether it had a finding of this run waived that is waived no more.
    #[must_use]
    pub fn had_waived(&self, finding: &Finding) -> bool {
        finding.state != State::Waived && self.earlier(finding).is_some_and(|earlier| earlier.was_waived)
    }

    fn earlier(&self, finding: &Finding) -> Option<&Earlier> {
        let (rule, place, side, position, part_no) = finding.key();
        self.seen.get(&hash(of_place(&rule, &place, [&side, &position, &part_no])))
    }

    /// The state of a finding of this run: `waived` stays, else `standing` where the earlier run
    /// has it, else `new`. Remembers that it was seen.
    #[must_use]
    pub fn state_of(&self, finding: &Finding) -> State {
        let earlier = self.earlier(finding);
        match earlier {
            Some(earlier) => earlier.is_seen.store(true, Ordering::Relaxed),
            None => {
                let (rule, place, side, position, part_no) = finding.key();
                self.take_over(of_place(&rule, &place, [&side, &position, &part_no]));
            }
        }
        match (finding.state, earlier) {
            (State::Waived, _) => State::Waived,
            (_, Some(_)) => State::Standing,
            (_, None) => State::New,
        }
    }

    /// Remembers that a row of this run's `findings.csv`, written elsewhere, was seen.
    pub fn see_row(&self, row: &csv::ByteRecord) {
        let text = |column: usize| std::str::from_utf8(row.get(column).unwrap_or_default()).unwrap_or_default();
        let key = KEY.map(text);
        match self.seen.get(&hash(key)) {
            Some(earlier) => earlier.is_seen.store(true, Ordering::Relaxed),
            None => self.take_over(key),
        }
    }

    /// Remembers what became of earlier findings of the place of a new one.
    fn take_over(&self, key: [&str; 8]) {
        for (number, (gone, now, near)) in (1..).zip(TAKEN_OVER) {
            if now.code != key[0] {
                continue;
            }
            let [_, plant, pallet, fixture, circuit, side, position, part_no] = key;
            let found = |[side, position, part_no]: [&str; 3]| {
                let key = [gone.code, plant, pallet, fixture, circuit, side, position, part_no];
                if let Some(earlier) = self.seen.get(&hash(key)) {
                    earlier.became.store(number, Ordering::Relaxed);
                }
            };
            match near {
                Near::Same => found([side, position, part_no]),
                // A line of both sides stands on either.
                Near::Side => [Side::Clamp, Side::Unclamp]
                    .map(Side::word)
                    .into_iter()
                    .filter(|one| side == *one || side == Side::Both.word())
                    .for_each(|one| found([one, "", ""])),
            }
        }
    }

    /// The earlier rows whose finding is gone, in their order; to be asked for when every finding
    /// of this run was shown to [`Previous::state_of`]. Waived ones that are gone are among them. Those that nobody put
    /// right have another state.
    ///
    /// # Errors
    /// Where the file can't be read a second time.
    pub fn cleared(&self, looked_for: LookedFor) -> Result<Vec<ClearedRow>, PreviousError> {
        let mut cleared = Vec::new();
        self.each_row(|row| {
            let key = hash(KEY.map(|column| row.get(column).unwrap_or_default()));
            let earlier = self.seen.get(&key).filter(|earlier| !earlier.is_seen.load(Ordering::Relaxed));
            if let Some(earlier) = earlier {
                let mut gone: ClearedRow = row.iter().map(str::to_owned).collect();
                let state = match earlier.became() {
                    Some(code) => Some(format!("{BECAME}{code}")),
                    None => self.state_of_gone(looked_for, row, &name(key)).map(str::to_owned),
                };
                if let Some((cell, state)) = gone.get_mut(STATE).zip(state).filter(|_| !earlier.was_waived) {
                    *cell = state;
                }
                cleared.push(gone);
            }
        })?;
        Ok(cleared)
    }

    /// Why a finding that is gone counts as not cleared; `None` where it does.
    fn state_of_gone(&self, looked_for: LookedFor, row: &StringRecord, name: &str) -> Option<&'static str> {
        let LookedFor { policy, unasked, sureness } = looked_for;
        let rule = rule(row.get(KEY[0]).unwrap_or_default());
        let is_of_sureness = rule.is_some_and(|rule| rule.family.letter == sureness::FAMILY.letter);
        if unasked.contains(name) || (is_of_sureness && !sureness) {
            return Some(NOT_ASKED);
        }
        let rule = rule?;
        if policy.severity(rule.code, rule.severity).is_none() {
            return Some(RULE_OFF);
        }
        // Orders and waivers are judged by their dates and quantities.
        (self.has_other_policy && rule.weighs_on_circuits()).then_some(OTHER_POLICY)
    }

    fn each_row(&self, mut take: impl FnMut(&StringRecord)) -> Result<(), PreviousError> {
        let unreadable = |why: String| PreviousError::Unreadable { path: self.path.clone(), why };
        let mut file = &self.file;
        file.seek(SeekFrom::Start(0)).map_err(|error| unreadable(error.to_string()))?;
        let mut reader = ReaderBuilder::new().from_reader(file);
        self.check_columns(&mut reader)?;
        let mut row = StringRecord::new();
        while reader.read_record(&mut row).map_err(|error| unreadable(error.to_string()))? {
            take(&row);
        }
        Ok(())
    }

    fn check_columns(&self, reader: &mut Reader<&File>) -> Result<(), PreviousError> {
        let unreadable =
            |error: csv::Error| PreviousError::Unreadable { path: self.path.clone(), why: error.to_string() };
        let header = reader.headers().map_err(unreadable)?;
        for at in 0..FINDING_COLUMNS.len().max(header.len()) {
            let (found, expected) = (header.get(at), FINDING_COLUMNS.get(at).copied());
            if found != expected {
                let found = found.map_or_else(|| "missing".to_owned(), |text| format!("'{text}'"));
                let expected = expected.unwrap_or("no further column");
                return Err(PreviousError::Columns { path: self.path.clone(), at: at + 1, found, expected });
            }
        }
        Ok(())
    }
}

/// The name of a finding by the hash of its key.
fn name(hash: u128) -> String {
    format!("{hash:032x}")
}

fn of_place<'a>(code: &'a str, place: &'a CircuitKey, [side, position, part_no]: [&'a str; 3]) -> [&'a str; 8] {
    let CircuitKey { plant, pallet, fixture, circuit } = place;
    [code, plant, pallet, fixture, circuit, side, position, part_no]
}

/// Hash of the circuit in a key.
fn hash_of_place([_, plant, pallet, fixture, circuit, ..]: [&str; 8]) -> u128 {
    hash(["", plant, pallet, fixture, circuit, "", "", ""])
}

/// Hash of a key's texts; a byte that no text can hold stands between them.
fn hash(key: [&str; 8]) -> u128 {
    let mut hasher = Sha256::new();
    for text in key {
        hasher.update(text.as_bytes());
        hasher.update([0xff]);
    }
    let digest = hasher.finalize();
    digest.iter().take(16).fold(0, |hash, byte| hash << 8 | u128::from(*byte))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::tables::circuit::CircuitKey;
    use crate::tables::finding::Subject;
    use crate::tables::words::{Severity, Side};

    fn finding(rule: &'static str, fixture: &str, position: &str) -> Finding {
        Finding {
            place: CircuitKey {
                plant: "North".into(),
                pallet: "P1".into(),
                fixture: fixture.into(),
                circuit: "1".into(),
            },
            side: Some(Side::Clamp),
            position: position.to_owned(),
            part_no: "47, \"11\"\nB".to_owned(),
            ..Finding::blank(rule, Severity::Major, Subject::Line)
        }
    }

    fn row(finding: &Finding, state: &str) -> Vec<String> {
        let place = &finding.place;
        let start =
            [finding.rule, "major", state, &place.plant, &place.pallet, &place.fixture, &place.circuit, "clamp"];
        let mut row: Vec<String> = start.map(str::to_owned).to_vec();
        row.extend([finding.position.clone(), finding.part_no.clone()]);
        row.resize(FINDING_COLUMNS.len(), String::new());
        row
    }

    fn folder(header: &[&str], rows: &[Vec<String>]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = csv::Writer::from_path(folder.path().join("findings.csv")).unwrap();
        writer.write_record(header).unwrap();
        for row in rows {
            writer.write_record(row).unwrap();
        }
        writer.flush().unwrap();
        folder
    }

    fn cleared(previous: &Previous) -> Vec<ClearedRow> {
        let policy = Policy::at("2026-11-03".parse().unwrap());
        previous.cleared(LookedFor { policy: &policy, unasked: &BTreeSet::new(), sureness: true }).unwrap()
    }

    fn states(previous: &Previous) -> Vec<String> {
        cleared(previous).into_iter().map(|row| row[STATE].clone()).collect()
    }

    /// A part that was near the end of its life and is past it, a fill that was high and is too high: nothing of that was
    /// put right. The other way about it was.
    #[test]
    fn what_another_rule_finds_in_its_place_is_told_as_what_it_became() {
        let side = |rule: &'static str| Finding { part_no: String::new(), ..finding(rule, "F1", "") };
        let rows = [
            row(&finding("U02", "F1", "C1"), "open"),
            row(&finding("U02", "F1", "C2"), "open"),
            row(&side("V02"), "standing"),
            row(&side("P14"), "open"),
            row(&finding("P10", "F1", "R"), "open"),
            row(&finding("W02", "F1", "C1"), "waived"),
        ];
        let folder = folder(FINDING_COLUMNS, &rows);
        let previous = Previous::load(folder.path()).unwrap();
        assert_eq!(states(&previous), ["open", "open", "standing", "open", "open", "waived"]);
        // On both sides, so on the clamp side too.
        let weak = Finding { side: Some(Side::Both), ..finding("P05", "F1", "C9") };
        for found in [&finding("U01", "F1", "C1"), &side("V01"), &weak, &finding("P17", "F1", "R")] {
            assert_eq!(previous.state_of(found), State::New);
        }
        assert_eq!(previous.state_of(&finding("W01", "F1", "C1")), State::New);
        assert_eq!(states(&previous), ["became U01", "open", "became V01", "became P05", "open", "waived"]);
        let cleared = cleared(&previous);
        assert_eq!(
            cleared.iter().map(|row| is_not_cleared(row)).collect::<Vec<_>>(),
            [true, false, true, true, false, false]
        );
        assert_eq!(became(&cleared[0]), Some(("U02", "U01")));
        // Rows that a part of the plant was written with are taken in alike.
        let merged = Previous::load(folder.path()).unwrap();
        merged.see_row(&csv::ByteRecord::from(row(&finding("U01", "F1", "C2"), "new")));
        assert_eq!(states(&merged)[..2], ["open", "became U01"]);
    }

    #[test]
    fn how_sure_a_verdict_was_is_not_cleared_by_a_run_that_does_not_look() {
        let folder = folder(FINDING_COLUMNS, &[row(&finding("S01", "F1", ""), "open")]);
        let previous = Previous::load(folder.path()).unwrap();
        let policy = Policy::at("2026-11-03".parse().unwrap());
        for (sureness, state) in [(false, NOT_ASKED), (true, "open")] {
            let looked_for = LookedFor { policy: &policy, unasked: &BTreeSet::new(), sureness };
            assert_eq!(previous.cleared(looked_for).unwrap()[0][STATE], state);
        }
    }

    #[test]
    fn what_nobody_put_right_has_a_state_of_its_own() {
        let (unasked, off, other, order) =
            (finding("H02", "F1", ""), finding("P05", "F1", "C1"), finding("P06", "F1", "V"), finding("B02", "", ""));
        let rows = [&unasked, &off, &other, &order].map(|found| row(found, "standing"));
        let folder = folder(FINDING_COLUMNS, &[rows.as_slice(), &[row(&finding("H02", "F2", ""), "waived")]].concat());
        let previous = Previous::load(folder.path()).unwrap().judged_by(true);
        let mut policy = Policy::at("2026-11-03".parse().unwrap());
        policy.rules.insert("P05".to_owned(), None);
        let key =
            EarlierKey { code: "H02", place: &unasked.place, side: "clamp", position: "", part_no: &unasked.part_no };
        let names: BTreeSet<String> = previous.gone(key).into_iter().collect();
        assert_eq!(names.len(), 1);
        assert_eq!(previous.gone(EarlierKey { code: "H03", ..key }), None);
        let looked_for = LookedFor { policy: &policy, unasked: &names, sureness: true };
        let states: Vec<String> =
            previous.cleared(looked_for).unwrap().into_iter().map(|row| row[STATE].clone()).collect();
        assert_eq!(states, [NOT_ASKED, RULE_OFF, OTHER_POLICY, "standing", "waived"]);
        let same = Previous::load(folder.path()).unwrap();
        assert_eq!(same.cleared(looked_for).unwrap()[2][STATE], "standing");
        let waived = finding("H02", "F2", "");
        assert!(previous.had_open(&unasked) && !previous.had_open(&waived));
        assert!(previous.had_waived(&waived) && !previous.had_waived(&unasked));
        assert!(!previous.had_waived(&Finding { state: State::Waived, ..waived }));
    }

    #[test]
    fn findings_are_new_or_standing_and_what_is_gone_is_cleared() {
        let (stands, gone) = (finding("P05", "F1", "C1"), finding("P05", "F1", "C2"));
        let waived = finding("H02", "F1", "");
        let rows = [
            row(&stands, "open"),
            row(&gone, "open"),
            row(&waived, "waived"),
            row(&finding("V01", "F9", ""), "waived"),
        ];
        let folder = folder(FINDING_COLUMNS, &rows);
        let previous = Previous::load(folder.path()).unwrap();
        assert_eq!(previous.state_of(&stands), State::Standing);
        assert_eq!(previous.state_of(&finding("P05", "F2", "C1")), State::New);
        assert_eq!(previous.state_of(&finding("P06", "F1", "C1")), State::New);
        assert_eq!(previous.state_of(&Finding { state: State::Waived, ..waived }), State::Waived);
        assert_eq!(cleared(&previous), [rows[1].clone(), rows[3].clone()]);
    }

    #[test]
    fn every_part_of_the_key_tells_findings_apart() {
        let one = finding("P05", "F1", "C1");
        let folder = folder(FINDING_COLUMNS, &[row(&one, "open")]);
        let previous = Previous::load(folder.path()).unwrap();
        let place = |change: fn(&mut CircuitKey)| {
            let mut other = one.clone();
            change(&mut other.place);
            other
        };
        let others = [
            place(|key| key.plant = "South".into()),
            place(|key| key.pallet = "P2".into()),
            place(|key| key.circuit = "2".into()),
            Finding { side: Some(Side::Unclamp), ..one.clone() },
            Finding { part_no: "4711".into(), ..one.clone() },
            // Texts that only together read the same.
            Finding { position: "C".into(), part_no: format!("1{}", one.part_no), ..one.clone() },
        ];
        for other in others {
            assert_eq!(previous.state_of(&other), State::New, "{:?}", other.key());
        }
        assert_eq!(cleared(&previous).len(), 1);
    }

    #[test]
    fn the_earlier_rows_are_read_even_when_the_file_is_replaced_meanwhile() {
        let gone = finding("P05", "F1", "C1");
        let folder = folder(FINDING_COLUMNS, &[row(&gone, "open")]);
        let previous = Previous::load(folder.path()).unwrap();
        fs::write(folder.path().join("next"), FINDING_COLUMNS.join(",")).unwrap();
        fs::rename(folder.path().join("next"), folder.path().join("findings.csv")).unwrap();
        assert_eq!(cleared(&previous), [row(&gone, "open")]);
    }

    #[test]
    fn a_folder_of_something_else_gets_a_sentence() {
        let empty = tempfile::tempdir().unwrap();
        let sentence = |folder: &Path| Previous::load(folder).unwrap_err().to_string();
        assert!(sentence(empty.path()).contains("holds no findings.csv"));
        assert!(sentence(&empty.path().join("none")).contains("there is no folder of this name"));
        let renamed = folder(&["rule", "class"], &[]);
        assert!(sentence(renamed.path()).contains("column 2 is 'class'. Expected 'severity'"));
        let short = folder(&FINDING_COLUMNS[..18], &[]);
        assert!(sentence(short.path()).contains("column 19 is missing. Expected 'column'"));
        let mut longer = FINDING_COLUMNS.to_vec();
        longer.push("more");
        assert!(sentence(folder(&longer, &[]).path()).contains("column 20 is 'more'"));
    }

    #[test]
    fn a_row_with_too_few_cells_gets_a_sentence() {
        let folder = folder(FINDING_COLUMNS, &[]);
        let path = folder.path().join("findings.csv");
        fs::write(&path, format!("{}\nP05,major\n", FINDING_COLUMNS.join(","))).unwrap();
        assert!(Previous::load(folder.path()).unwrap_err().to_string().contains("it can't be read"));
    }
}
