//! What the mail tells, read from a `--data` folder.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::audit::causes::reading_order;
use crate::audit::counts::UnsafeCircuit;
use crate::audit::previous::{NOT_ASKED, OTHER_POLICY, now_found_by};
use crate::report::remedy_rows::REMEDY_COLUMNS;
use crate::report::run_folder::{RunFolder, RunFolderError};
use crate::report::summary::RunSummary;
use crate::report::whole_file::shown;
use crate::rules::catalogue::rule;
use crate::rules::{Rule, lists};
use crate::tables::counted::{counted, money};
use crate::tables::finding::Subject;
use crate::tables::place;
use crate::tables::words::{PLACE, Severity, Verdict};

/// Findings that one part of the mail lists; the rest is counted.
pub const LISTED: usize = 40;

/// Why a data folder can't be used.
#[derive(Debug, thiserror::Error)]
pub enum DigestError {
    #[error("{}: there is no such file. --data names the --data folder of the run.", shown(.0))]
    Missing(PathBuf),
    #[error("{}: it can't be read: {why}.", shown(.path))]
    Unreadable { path: PathBuf, why: String },
    #[error(transparent)]
    Folder(#[from] RunFolderError),
    #[error("{}: the column '{column}' is missing.", shown(.path))]
    Column { path: PathBuf, column: &'static str },
    #[error(
        "{}: summary.json speaks of {expected} {what}, {file} holds {found}. The folder holds files of different runs; \
         run the check again.", shown(.folder)
    )]
    Mixed { folder: PathBuf, what: &'static str, file: &'static str, expected: u64, found: u64 },
}

/// A row of findings.csv or cleared.csv in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Item {
    pub is_in_service: bool,
    pub rule: String,
    pub place: String,
    pub text: String,
}

/// The first items of a list, the gravest where they are majors, and how many there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Items {
    pub first: Vec<Item>,
    pub total: u64,
}

/// A circuit: plant, pallet, fixture, circuit.
pub type Place = [String; 4];

/// Majors on circuits in service, by circuit, and those on parts and load stations, which circuits share.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Majors {
    pub by_circuit: BTreeMap<Place, Vec<Major>>,
    /// By rule: `part SWG-25`, `load station TH-1`.
    pub shared: BTreeMap<String, BTreeSet<String>>,
}

/// A major with the part that it is about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Major {
    pub rule: String,
    pub part_no: String,
}

impl Items {
    fn add(&mut self, item: impl FnOnce() -> Item) {
        self.total += 1;
        if self.first.len() < LISTED {
            self.first.push(item());
        }
    }

    /// Keeps the gravest, those on circuits in service before others; of equal ones the first that came.
    fn add_by_gravity(&mut self, is_in_service: bool, item: Item) {
        self.total += 1;
        let key = |is_in_service: bool, rule: &str| reading_order(Severity::Major, rule, is_in_service);
        let item = Item { is_in_service, ..item };
        let own = key(item.is_in_service, &item.rule);
        let at = self.first.partition_point(|other| key(other.is_in_service, &other.rule) <= own);
        self.first.insert(at, item);
        self.first.truncate(LISTED);
    }
}

impl Majors {
    fn add(&mut self, row: &Row, place: Place) {
        // A waiver's row repeats the waiver's place: the circuit has what it waived, and that counts.
        if !weighs(row) {
            return;
        }
        let part_no = row.cell("part_no").to_owned();
        self.by_circuit.entry(place).or_default().push(Major { rule: row.cell("rule").to_owned(), part_no });
    }

    fn add_shared(&mut self, row: &Row) {
        let Some(rule) = rule(row.cell("rule")).filter(|_| weighs(row)) else { return };
        let subject = match rule.subject {
            Subject::Part => format!("part {}", row.cell("part_no")),
            Subject::Station => format!("load station {}", row.cell("position")),
            _ => return,
        };
        self.shared.entry(rule.code.to_owned()).or_default().insert(subject);
    }

    /// `load station TH-3 (2 rules), part SWG-25`; of more than so many, the rest counted.
    #[must_use]
    pub fn subjects_in_words(&self, most: usize) -> String {
        let mut rules: BTreeMap<&str, usize> = BTreeMap::new();
        for subject in self.shared.values().flatten() {
            *rules.entry(subject).or_default() += 1;
        }
        let named = |(subject, rules): (&&str, &usize)| match rules {
            1 => (*subject).to_owned(),
            rules => format!("{subject} ({rules} rules)"),
        };
        let mut words: Vec<String> = rules.iter().take(most).map(named).collect();
        if rules.len() > most {
            words.push(format!("{} more, on Findings", rules.len() - most));
        }
        words.join(", ")
    }

    /// Majors on circuits.
    #[must_use]
    pub fn on_circuits(&self) -> usize {
        self.by_circuit.values().map(Vec::len).sum()
    }
}

/// Buying and waivers make no circuit unsafe.
fn weighs(row: &Row) -> bool {
    rule(row.cell("rule")).is_none_or(Rule::weighs_on_circuits)
}

/// Majors that are gone, and how many of all that is gone may be so only because nothing looked for it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cleared {
    pub majors: Items,
    pub total: u64,
    /// Majors that may be gone only because nothing looked for them, or another policy judges them.
    pub unlooked_majors: u64,
    /// Of these, those that another policy judges.
    pub other_policy_majors: u64,
    /// Majors that another rule has now; they are not among those.
    pub became_majors: u64,
    /// Circuits of which something is gone that nobody put right, and whether only another policy judges it.
    softened: BTreeMap<Place, bool>,
    /// What is gone, by why nothing looked for it.
    pub unlooked: BTreeMap<Unlooked, u64>,
}

impl Cleared {
    /// `, 2 no longer looked for, 1 judged by another policy`; empty where all were put right.
    #[must_use]
    pub fn unlooked_in_words(&self) -> String {
        let unlooked = self.unlooked_majors.saturating_sub(self.other_policy_majors);
        let counts = [
            (self.became_majors, "that another rule has now"),
            (unlooked, "no longer looked for"),
            (self.other_policy_majors, "judged by another policy"),
        ];
        counts.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!(", {count} {what}")).collect()
    }
}

/// Why a finding is gone that nobody put right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unlooked {
    Became,
    OffTheLists,
    NotAssessed,
    NotAsked,
    SwitchedOff,
    LineUnread,
    OtherPolicy,
}

impl Unlooked {
    /// Behind the finding.
    const fn sentence(self) -> &'static str {
        match self {
            Self::Became => "Another rule has it now.",
            Self::OffTheLists => "The circuit is no longer on the lists.",
            Self::NotAssessed => "The rule is not assessed on this circuit any more.",
            Self::NotAsked => "Nothing asks for it on this circuit any more.",
            Self::SwitchedOff => "The policy switches the rule off.",
            Self::LineUnread => "A line there can't be read, or its part is not known.",
            Self::OtherPolicy => "Another policy judges it.",
        }
    }

    /// Behind the number of what is gone.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Became => "that another rule has now",
            Self::OffTheLists => "for a circuit no longer on the lists",
            Self::NotAssessed => "for a rule not assessed any more",
            Self::NotAsked => "for a rule that nothing asks for any more",
            Self::SwitchedOff => "for a rule switched off",
            Self::LineUnread => "for a line that can't be read or whose part is not known",
            Self::OtherPolicy => "by another policy",
        }
    }
}

/// A proved change to decide on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decision {
    /// `Tarnholm/T02/left/2: PLOVER-20 becomes GULL-20 (226.00 EUR)`
    pub change: String,
    /// Titles of the rules that it clears.
    pub clears: String,
}

/// Proved changes to decide on: those that make circuits safe.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decisions {
    /// The same change at several places is one decision.
    pub count: u64,
    /// The changes that they come to, a row of Remedies each.
    pub changes: u64,
    /// Those that clear majors, and most of them, first.
    pub first: Vec<Decision>,
    /// By currency.
    pub costs: BTreeMap<String, Decimal>,
    /// Changes without a price.
    pub unpriced: u64,
    /// Obsolete parts that are still to be bought and whose replacement is proved: no circuit is the safer for it.
    pub replacements: u64,
    /// Whether changes were looked for.
    pub were_searched: bool,
    /// Whether those that count are what a changed copy bears out together.
    pub are_together: bool,
}

impl Decisions {
    /// `3250.00 EUR, 2610.00 USD`; empty where nothing has a price.
    #[must_use]
    pub fn cost_in_words(&self) -> String {
        let sums: Vec<String> = self.costs.iter().map(|(currency, sum)| money(*sum, currency)).collect();
        sums.join(" + ")
    }
}

/// More or fewer circuits that are unsafe in service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SafetyChange {
    pub before: u64,
    pub now: u64,
    /// Of those before, the ones that no list or table names any more.
    pub unlisted: u64,
    /// Of those before, the ones of which it is not known now.
    pub not_assessed: u64,
    /// Of those before, the ones against which less is held now.
    pub eased: Eased,
}

/// Circuits that were unsafe in service and are not counted so now, though nobody put them right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Eased {
    /// No longer stated to be in service.
    pub out_of_service: u64,
    /// By a waiver that is new.
    pub waived: u64,
    /// Nothing looks for what stood against them.
    pub unlooked: u64,
    pub other_policy: u64,
}

impl Eased {
    const fn total(self) -> u64 {
        self.out_of_service + self.waived + self.unlooked + self.other_policy
    }

    /// Counts a circuit that was unsafe in service, is listed and is assessed.
    fn count(&mut self, place: &Place, now: &Asked, summary: &RunSummary, cleared: &Cleared) {
        let is_named = |circuit: &UnsafeCircuit| *place == place_of(circuit);
        let is_waived = |circuit: &UnsafeCircuit| is_named(circuit) || *circuit == UnsafeCircuit::default();
        let is_capped = summary.in_service.does_not_conform > summary.unsafe_in_service.len() as u64;
        let softened = cleared.softened.get(place);
        if now.verdict == "does not conform" {
            let is_in_service = is_capped || summary.unsafe_in_service.iter().any(is_named);
            self.out_of_service += u64::from(!is_in_service);
        } else if now.verdict == "conforms with waivers" && summary.waived_since_on.iter().any(is_waived) {
            self.waived += 1;
        } else if softened == Some(&false) {
            self.unlooked += 1;
        } else if softened.is_some() || summary.has_other_policy() {
            self.other_policy += 1;
        }
    }
}

impl SafetyChange {
    /// `3 more`, `2 fewer`, `as many as before`, `1 fewer, 1 no longer listed`: nobody has put right what is
    /// not looked at.
    #[must_use]
    pub fn in_words(self) -> String {
        let now = self.now + self.unlisted + self.not_assessed + self.eased.total();
        let mut words = match (now.checked_sub(self.before), self.before.checked_sub(now)) {
            (Some(0), _) if now > self.now => "none put right".to_owned(),
            (Some(0), _) => "as many as before".to_owned(),
            (Some(more), _) => format!("{more} more"),
            (None, fewer) => format!("{} fewer", fewer.unwrap_or_default()),
        };
        let apart = [
            (self.unlisted, "no longer listed"),
            (self.not_assessed, "not assessed any more"),
            (self.eased.out_of_service, "no longer stated in service"),
            (self.eased.waived, "waived since"),
            (self.eased.unlooked, "no longer looked for"),
            (self.eased.other_policy, "judged by another policy"),
        ];
        for (count, why) in apart {
            if count > 0 {
                words = format!("{words}, {count} {why}");
            }
        }
        words
    }
}

/// All that the mail says of a run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Digest {
    pub summary: RunSummary,
    /// New ones where there was an earlier run.
    pub new_majors: Items,
    /// New majors that make circuits in service unsafe.
    pub new_in_service: Majors,
    /// Those that are not new.
    pub standing: Majors,
    /// Circuits in service that are unsafe by minors, or by a part or load station alone.
    pub unsafe_without_major: BTreeSet<Place>,
    /// Majors on circuits not in service that do not conform, and those of them without one.
    pub planned: Majors,
    pub planned_without_major: BTreeSet<Place>,
    /// Circuits that are unsafe in service and were not, and the reverse, where all of both runs are known.
    pub came: Vec<Place>,
    pub went: Vec<Place>,
    pub cleared: Cleared,
    /// Circuits that were unsafe in service in the earlier run and that nothing lists now.
    pub unsafe_unlisted: u64,
    /// Circuits that were unsafe in service in the earlier run and are not assessed now.
    pub unsafe_not_assessed: u64,
    /// Circuits that were unsafe in service in the earlier run and against which less is held now.
    pub eased: Eased,
    pub not_assessed: Items,
    pub decisions: Decisions,
}

impl Digest {
    /// Reads `summary.json`, `findings.csv`, `circuits.csv`, `remedies.csv` where remedies were searched, and, where
    /// there was an earlier run, `cleared.csv`.
    ///
    /// # Errors
    /// Where one is missing, damaged or of another run: a sentence.
    pub fn load(folder: &Path) -> Result<Self, DigestError> {
        let summary = load_summary(&folder.join("summary.json"))?;
        let in_service: BTreeSet<Place> = summary.unsafe_in_service.iter().map(place_of).collect();
        let run = RunFolder::open(folder)?;
        let mut new_majors = Items::default();
        let mut new_in_service = Majors::default();
        let (mut standing, mut planned) = (Majors::default(), Majors::default());
        let mut majors = 0;
        let mut circuits = Circuits { off: summary.rules_off.clone(), ..Circuits::default() };
        each_row(folder, "findings.csv", &run, &FINDING, |row| {
            circuits.add_finding(row);
            if row.cell("severity") != "major" || row.cell("state") == "waived" {
                return;
            }
            majors += 1;
            let place = row.place();
            let is_new = row.cell("state") == "new";
            let is_in_service = in_service.contains(&place);
            let majors = if is_new { &mut new_in_service } else { &mut standing };
            if is_in_service {
                majors.add(row, place);
            } else {
                majors.add_shared(row);
                planned.add(row, place);
            }
            if is_new {
                new_majors.add_by_gravity(is_in_service, finding(row));
            }
        })?;
        agree(folder, "majors to tell of", "findings.csv", summary.majors(), majors)?;
        if summary.has_previous {
            agree(folder, "new majors to tell of", "findings.csv", summary.changes.new_majors, new_majors.total)?;
        }
        let has_major =
            |place: &&Place| new_in_service.by_circuit.contains_key(*place) || standing.by_circuit.contains_key(*place);
        let unsafe_without_major = in_service.iter().filter(|place| !has_major(place)).cloned().collect();
        circuits.load(folder, &run)?;
        agree(folder, "circuits", "circuits.csv", summary.circuits.total, circuits.codes.len() as u64)?;
        // Where not every unsafe circuit is listed, the others are not to be told from planned ones.
        let knows_all = in_service.len() as u64 == summary.in_service.does_not_conform;
        let mut failing = if knows_all { circuits.failing() } else { BTreeSet::new() };
        failing.retain(|place| !in_service.contains(place));
        planned.by_circuit.retain(|place, _| failing.contains(place));
        let planned_without_major =
            failing.iter().filter(|place| !planned.by_circuit.contains_key(*place)).cloned().collect();
        let mut cleared = Cleared::default();
        if summary.has_previous {
            each_row(folder, "cleared.csv", &run, &FINDING, |row| circuits.add_cleared(&mut cleared, row))?;
            agree(folder, "cleared findings", "cleared.csv", summary.changes.cleared, cleared.total)?;
        }
        let before: BTreeSet<Place> =
            summary.earlier.iter().flat_map(|earlier| &earlier.unsafe_in_service).map(place_of).collect();
        let knew_all =
            summary.earlier.as_ref().is_some_and(|earlier| before.len() as u64 == earlier.in_service.does_not_conform);
        let (mut came, mut went) = (Vec::new(), Vec::new());
        if knows_all && knew_all {
            came.extend(in_service.difference(&before).cloned());
            went.extend(before.difference(&in_service).cloned());
        }
        let (mut unsafe_unlisted, mut unsafe_not_assessed, mut eased) = (0, 0, Eased::default());
        for place in &before {
            match circuits.codes.get(place) {
                None => unsafe_unlisted += 1,
                Some(asked) if asked.is_not_assessed() => unsafe_not_assessed += 1,
                Some(asked) => eased.count(place, asked, &summary, &cleared),
            }
        }
        // Where nothing is in service, what is planned is to be decided on.
        let wanted = if summary.in_service.total == 0 { &failing } else { &in_service };
        let decisions = decisions(folder, &run, &summary, wanted, &circuits.majors)?;
        let not_assessed = circuits.not_assessed;
        Ok(Self {
            summary,
            new_majors,
            new_in_service,
            standing,
            unsafe_without_major,
            planned,
            planned_without_major,
            came,
            went,
            cleared,
            unsafe_unlisted,
            unsafe_not_assessed,
            eased,
            not_assessed,
            decisions,
        })
    }

    /// How many circuits in service are unsafe now and were before; `None` where that is not known.
    #[must_use]
    pub fn change(&self) -> Option<SafetyChange> {
        let earlier = self.summary.earlier.as_ref().filter(|earlier| earlier.in_service.total > 0)?;
        Some(SafetyChange {
            before: earlier.in_service.does_not_conform,
            now: self.summary.in_service.does_not_conform,
            unlisted: self.unsafe_unlisted,
            not_assessed: self.unsafe_not_assessed,
            eased: self.eased,
        })
    }
}

/// What is to be decided of these circuits, of parts and of load stations.
fn decisions(
    folder: &Path,
    run: &RunFolder,
    summary: &RunSummary,
    wanted: &BTreeSet<Place>,
    majors: &BTreeSet<String>,
) -> Result<Decisions, DigestError> {
    let mut decisions = Decisions::default();
    if !summary.files.contains_key("remedies.csv") {
        return Ok(decisions);
    }
    decisions.were_searched = true;
    // Of several that clear the same the run says which one counts, as the sheet Remedies does.
    let apart: BTreeSet<u64> = summary.changes_apart.iter().copied().collect();
    let (mut offered, mut index) = (Vec::new(), 0);
    each_row(folder, "remedies.csv", run, REMEDY_COLUMNS, |row| {
        decisions.are_together |= !row.cell("applied").is_empty();
        offered.extend(Offer::of(row, wanted).filter(|_| !apart.contains(&index)));
        index += 1;
    })?;
    // Of changes of one place that clear equally much the cheapest comes first.
    offered.sort_by(|one, other| one.in_order().cmp(&other.in_order()));
    let bought = if offered.iter().all(Offer::is_for_safety) { BTreeSet::new() } else { bought(folder, run, summary)? };
    let mut taken = Taken::default();
    for offer in &offered {
        if offer.is_for_safety() {
            taken.add(offer);
        } else {
            decisions.replacements += u64::from(bought.contains(&offer.part_from));
        }
    }
    taken.tell(&mut decisions, majors);
    Ok(decisions)
}

/// A remedy that may be wanted: of one of these circuits, or of a part or a station.
struct Offer {
    place: Place,
    subject: String,
    part_from: String,
    change: String,
    rules: Vec<String>,
    cleared: u64,
    price: Option<Decimal>,
    currency: String,
    needs_no_part: bool,
}

impl Offer {
    fn of(row: &Row, wanted: &BTreeSet<Place>) -> Option<Self> {
        let place = row.place();
        // A change of a part or a station stands on no single circuit.
        let is_shared = place.iter().all(String::is_empty);
        if !is_shared && !wanted.contains(&place) {
            return None;
        }
        let part_from = row.cell("part_from").to_owned();
        let subject =
            if is_shared { [row.cell("position"), &part_from].join(" ").trim().to_owned() } else { joined(&place) };
        Some(Self {
            place,
            subject,
            part_from,
            change: change(row),
            rules: row.cell("rules").split_whitespace().map(str::to_owned).collect(),
            cleared: row.cell("cleared").parse().unwrap_or_default(),
            price: row.cell("price").parse().ok(),
            currency: row.cell("currency").to_owned(),
            needs_no_part: row.cell("change") == "setting",
        })
    }

    /// Whether it clears what makes a circuit unsafe; what is bought instead of an obsolete part does not.
    fn is_for_safety(&self) -> bool {
        self.rules.iter().any(|code| rule(code).is_none_or(Rule::weighs_on_circuits))
    }

    /// What clears most first, then by place, and what costs nothing, little, or nobody knows what.
    fn in_order(&self) -> (Reverse<u64>, &Place, &str, bool, Option<Decimal>) {
        let is_unpriced = self.price.is_none() && !self.needs_no_part;
        (Reverse(self.cleared), &self.place, &self.subject, is_unpriced, self.price)
    }
}

/// Parts of which more is needed: what stands on built circuits is not bought again.
fn bought(folder: &Path, run: &RunFolder, summary: &RunSummary) -> Result<BTreeSet<String>, DigestError> {
    const PURCHASE: &str = "purchase.csv";
    let mut parts = BTreeSet::new();
    if summary.files.contains_key(PURCHASE) {
        each_row(folder, PURCHASE, run, &["part_no", "needed"], |row| {
            let needed = row.cell("needed").parse::<Decimal>().unwrap_or_default();
            if needed > Decimal::ZERO {
                parts.insert(row.cell("part_no").to_owned());
            }
        })?;
    }
    Ok(parts)
}

/// Remedies of which each is to be decided.
#[derive(Default)]
struct Taken<'a> {
    /// The same change of circuits is one decision; one of a part or a load station stands by itself.
    decisions: BTreeMap<(&'a str, &'a str), Wanted<'a>>,
}

/// A change at one place, or the same at several.
#[derive(Default)]
struct Wanted<'a> {
    /// In key order.
    subjects: BTreeSet<&'a str>,
    changes: u64,
    rules: Vec<&'a str>,
    cleared: u64,
    costs: BTreeMap<&'a str, Decimal>,
    unpriced: u64,
}

impl<'a> Taken<'a> {
    fn add(&mut self, offer: &'a Offer) {
        let is_shared = offer.place.iter().all(String::is_empty);
        let shared = if is_shared { offer.subject.as_str() } else { "" };
        let wanted = self.decisions.entry((shared, &offer.change)).or_default();
        wanted.subjects.insert(&offer.subject);
        wanted.changes += 1;
        wanted.cleared += offer.cleared;
        let new: Vec<&str> =
            offer.rules.iter().map(String::as_str).filter(|code| !wanted.rules.contains(code)).collect();
        wanted.rules.extend(new);
        match offer.price {
            Some(price) => *wanted.costs.entry(&offer.currency).or_default() += price,
            None => wanted.unpriced += u64::from(!offer.needs_no_part),
        }
    }

    /// Counts the decisions and puts those first that clear majors, then those that clear most.
    fn tell(self, decisions: &mut Decisions, majors: &BTreeSet<String>) {
        let mut all: Vec<((&str, &str), Wanted)> = self.decisions.into_iter().collect();
        let clears_major = |wanted: &Wanted| wanted.rules.iter().any(|code| majors.contains(*code));
        all.sort_by(|((_, one_change), one), ((_, other_change), other)| {
            let key = |wanted: &Wanted| Reverse((clears_major(wanted), wanted.cleared));
            key(one).cmp(&key(other)).then_with(|| (&one.subjects, one_change).cmp(&(&other.subjects, other_change)))
        });
        decisions.count = all.len() as u64;
        for ((_, change), wanted) in all {
            decisions.changes += wanted.changes;
            decisions.unpriced += wanted.unpriced;
            for (currency, price) in &wanted.costs {
                *decisions.costs.entry((*currency).to_owned()).or_default() += price;
            }
            if decisions.first.len() < LISTED {
                decisions.first.push(wanted.in_words(change));
            }
        }
    }
}

impl Wanted<'_> {
    /// Circuits that are named; of more, the first.
    const NAMED: usize = 2;

    fn in_words(&self, change: &str) -> Decision {
        let titles = self.rules.iter().filter_map(|code| rule(code)).map(|rule| rule.title);
        let clears = titles.collect::<Vec<_>>().join("; ");
        let subjects: Vec<&str> = self.subjects.iter().copied().collect();
        let price = self.price_in_words();
        let change = match subjects.as_slice() {
            [one] => format!("{one}: {change} ({price})"),
            all if all.len() <= Self::NAMED => format!("{}: {change} ({price})", all.join(" and ")),
            [first, ..] => {
                format!("{change} on {}, first {first} ({price})", counted(subjects.len() as u64, "circuit"))
            }
            [] => format!("{change} ({price})"),
        };
        Decision { change, clears }
    }

    fn price_in_words(&self) -> String {
        let mut words: Vec<String> = self.costs.iter().map(|(currency, sum)| money(*sum, currency)).collect();
        match (words.is_empty(), self.unpriced) {
            (true, 0) => return "no part to buy".to_owned(),
            (_, 0) => {}
            (true, _) => return "no price stated".to_owned(),
            (false, unpriced) => words.push(format!("{unpriced} without price")),
        }
        words.join(" + ")
    }
}

/// A remedy in a few words.
fn change(row: &Row) -> String {
    let (from, to) = (row.cell("part_from"), row.cell("part_to"));
    let setting = [row.cell("setting"), row.cell("unit")].join(" ");
    let setting = setting.trim();
    match row.cell("change") {
        "part" => format!("{from} becomes {to}"),
        "setting" => format!("{} set to {setting}", if from.is_empty() { "the pump" } else { from }),
        "accumulator" => format!("add {to}, precharge {setting}"),
        "addition" => format!("add {to}"),
        "split" => format!("split into circuits with {}", to.replace(' ', " and ")),
        other => format!("{other} {from} {to} {setting}"),
    }
}

fn agree(folder: &Path, what: &'static str, file: &'static str, expected: u64, found: u64) -> Result<(), DigestError> {
    if expected == found {
        return Ok(());
    }
    Err(DigestError::Mixed { folder: folder.to_owned(), what, file, expected, found })
}

fn load_summary(path: &Path) -> Result<RunSummary, DigestError> {
    let unreadable = |why: String| DigestError::Unreadable { path: path.to_owned(), why };
    if std::fs::metadata(path).is_ok_and(|found| !found.is_file()) {
        return Err(unreadable("this is not a file".to_owned()));
    }
    let file = open(path)?;
    let summary: RunSummary =
        serde_json::from_reader(BufReader::new(file)).map_err(|error| unreadable(error.to_string()))?;
    if summary.date.len() != 10 || summary.date.parse::<NaiveDate>().is_err() {
        return Err(unreadable(format!(
            "its date is '{}'. Expected a date such as '2026-11-03'",
            summary.date.escape_debug()
        )));
    }
    Ok(summary)
}

fn open(path: &Path) -> Result<File, DigestError> {
    File::open(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => DigestError::Missing(path.to_owned()),
        _ => DigestError::Unreadable { path: path.to_owned(), why: error.to_string() },
    })
}

const FINDING: [&str; 10] =
    ["rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no"];
const CIRCUIT: [&str; 6] = ["plant", "pallet", "fixture", "circuit", "verdict", "not_assessed"];

/// A row, with its cells by column name.
struct Row<'a> {
    columns: &'a BTreeMap<String, usize>,
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    fn cell(&self, column: &str) -> &str {
        self.columns.get(column).and_then(|at| self.record.get(*at)).unwrap_or_default()
    }

    fn place(&self) -> Place {
        PLACE.map(|column| self.cell(column).to_owned())
    }

    /// Whether a figure of a circuit's row is known; also where the row has no column for one.
    fn has_figure(&self) -> bool {
        let is_figure = |name: &str| ["clamp_", "unclamp_", "p_"].iter().any(|start| name.starts_with(start));
        let mut figures = self.columns.keys().filter(|name| is_figure(name)).peekable();
        figures.peek().is_none() || figures.any(|name| !self.cell(name).is_empty())
    }
}

fn each_row(
    folder: &Path,
    name: &str,
    run: &RunFolder,
    needed: &[&'static str],
    mut take: impl FnMut(&Row),
) -> Result<(), DigestError> {
    let path = folder.join(name);
    let unreadable = |error: csv::Error| DigestError::Unreadable { path: path.clone(), why: error.to_string() };
    let mut reader = csv::Reader::from_reader(run.file(name)?);
    let header = reader.headers().map_err(unreadable)?;
    let columns: BTreeMap<String, usize> = header.iter().enumerate().map(|(at, name)| (name.to_owned(), at)).collect();
    if let Some(column) = needed.iter().find(|column| !columns.contains_key(**column)) {
        return Err(DigestError::Column { path, column });
    }
    let mut record = csv::StringRecord::new();
    while reader.read_record(&mut record).map_err(unreadable)? {
        take(&Row { columns: &columns, record: &record });
    }
    Ok(())
}

/// What the run looked for, circuit by circuit.
#[derive(Default)]
struct Circuits {
    codes: BTreeMap<Place, Asked>,
    /// Positions of lines that can't be read or whose part is not known, by circuit.
    unread: BTreeMap<Place, BTreeSet<String>>,
    /// Rules that the policy switches off.
    off: Vec<String>,
    /// Rules by which a major stands.
    majors: BTreeSet<String>,
    not_assessed: Items,
}

/// What was looked for on a circuit.
struct Asked {
    verdict: String,
    /// Codes not assessed.
    codes: String,
    /// Letters of families that nothing asks for.
    not_asked: String,
    /// Whether it has a line, as far as the figures tell.
    has_lines: bool,
}

impl Asked {
    fn is_not_assessed(&self) -> bool {
        self.verdict == Verdict::NotAssessed.word()
    }

    fn does_not_conform(&self) -> bool {
        self.verdict == Verdict::DoesNotConform.word()
    }
}

impl Circuits {
    fn load(&mut self, folder: &Path, run: &RunFolder) -> Result<(), DigestError> {
        each_row(folder, "circuits.csv", run, &CIRCUIT, |row| {
            let codes = row.cell("not_assessed").to_owned();
            let verdict = row.cell("verdict").to_owned();
            // The circuits table may name a circuit of which no list has a line: it has no figure, and lacks none.
            let has_lines = !codes.is_empty() || row.has_figure();
            let asked = Asked { verdict, codes, not_asked: row.cell("not_asked").to_owned(), has_lines };
            if asked.is_not_assessed() {
                let codes = &asked.codes;
                let text = if codes.is_empty() { "see the workbook".to_owned() } else { format!("rules {codes}") };
                self.not_assessed.add(|| Item { place: joined(&row.place()), text, ..Item::default() });
            }
            self.codes.insert(row.place(), asked);
        })
    }

    /// Circuits that do not conform.
    fn failing(&self) -> BTreeSet<Place> {
        self.codes.iter().filter(|(_, asked)| asked.does_not_conform()).map(|(place, _)| place.clone()).collect()
    }

    /// Keeps where a line can't be read or has a part that nobody knows: rules of its kind don't look at it.
    fn add_finding(&mut self, row: &Row) {
        if row.cell("severity") == Severity::Major.word() && !self.majors.contains(row.cell("rule")) {
            self.majors.insert(row.cell("rule").to_owned());
        }
        let is_unread =
            [&lists::L01, &lists::L02, &lists::L04, &lists::L05].iter().any(|rule| rule.code == row.cell("rule"));
        if is_unread && !row.cell("fixture").is_empty() {
            self.unread.entry(row.place()).or_default().insert(row.cell("position").to_owned());
        }
    }

    /// Why nothing looked for a finding that is gone; `None` where something did. What stood on no circuit (a waiver, a
    /// part, a station, an order, a header) left no list.
    fn unlooked(&self, row: &Row) -> Option<Unlooked> {
        let (place, code) = (row.place(), row.cell("rule"));
        if now_found_by(row.cell("state")).is_some() {
            return Some(Unlooked::Became);
        }
        if self.off.iter().any(|off| off == code) {
            return Some(Unlooked::SwitchedOff);
        }
        let rule = rule(code);
        let is_of_circuit = rule.is_none_or(|rule| {
            matches!(rule.subject, Subject::Circuit | Subject::Side | Subject::Line)
                && place.iter().any(|name| !name.is_empty())
        });
        let is_other_policy = row.cell("state") == OTHER_POLICY;
        if !is_of_circuit {
            return is_other_policy.then_some(Unlooked::OtherPolicy);
        }
        let Some(asked) = self.codes.get(&place).filter(|asked| asked.has_lines) else {
            return Some(Unlooked::OffTheLists);
        };
        if asked.codes.split_whitespace().any(|known| known == code) {
            return Some(Unlooked::NotAssessed);
        }
        if row.cell("state") == NOT_ASKED || asked.not_asked.split_whitespace().any(|letter| code.starts_with(letter)) {
            return Some(Unlooked::NotAsked);
        }
        let is_line = rule.is_some_and(|rule| rule.subject == Subject::Line);
        let is_unread = |unread: &BTreeSet<String>| !is_line || unread.contains(row.cell("position"));
        if self.unread.get(&place).is_some_and(is_unread) {
            return Some(Unlooked::LineUnread);
        }
        is_other_policy.then_some(Unlooked::OtherPolicy)
    }

    /// Counts what is gone, with a word where it may be so because nothing looked for it.
    fn add_cleared(&self, cleared: &mut Cleared, row: &Row) {
        let unlooked = self.unlooked(row);
        if let Some(why) = unlooked {
            *cleared.unlooked.entry(why).or_default() += 1;
        }
        cleared.total += 1;
        let weighs = rule(row.cell("rule")).is_some_and(Rule::weighs_on_circuits);
        let is_open = row.cell("severity") != "observation" && row.cell("state") != "waived";
        if let Some(why) = unlooked.filter(|_| weighs && is_open) {
            let only_policy = cleared.softened.entry(row.place()).or_insert(true);
            *only_policy &= why == Unlooked::OtherPolicy;
        }
        if row.cell("severity") != "major" {
            return;
        }
        cleared.became_majors += u64::from(unlooked == Some(Unlooked::Became));
        cleared.unlooked_majors += u64::from(unlooked.is_some_and(|why| why != Unlooked::Became));
        cleared.other_policy_majors += u64::from(unlooked == Some(Unlooked::OtherPolicy));
        cleared.majors.add(|| {
            let mut item = finding(row);
            let now = now_found_by(row.cell("state")).map(|code| format!("It became {code}."));
            if let Some(doubt) = now.or_else(|| unlooked.map(|why| why.sentence().to_owned())) {
                item.text = if item.text.is_empty() { doubt } else { format!("{} {doubt}", item.text) };
            }
            item
        });
    }
}

fn finding(row: &Row) -> Item {
    let mut place = vec![joined(&row.place())];
    place.retain(|text| !text.is_empty());
    for (column, word) in [("side", "side"), ("position", "position"), ("part_no", "part")] {
        if !row.cell(column).is_empty() {
            place.push(format!("{word} {}", row.cell(column)));
        }
    }
    let (rule, text) = (row.cell("rule").to_owned(), row.cell("reason").to_owned());
    Item { is_in_service: false, rule, place: place.join(", "), text }
}

fn place_of(circuit: &UnsafeCircuit) -> Place {
    [&circuit.plant, &circuit.pallet, &circuit.fixture, &circuit.circuit].map(String::clone)
}

pub(super) fn joined(names: &Place) -> String {
    place::joined(&names.each_ref().map(String::as_str))
}
