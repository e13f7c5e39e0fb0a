//! Figures to findings: every rule as data, with a pure function that finds where it isn't met.

pub mod burst;
pub mod buying;
pub mod catalogue;
pub mod contact_force;
pub mod coverage;
pub mod force;
pub mod holding;
pub mod lists;
pub mod makeup;
pub mod pressure;
pub mod rating;
pub mod relaxed;
pub mod sureness;
#[cfg(test)]
mod test_circuit;
pub mod time;
pub mod upkeep;
pub mod view;
pub mod volume;
pub mod waivers;
pub mod wording;

use crate::physics::quantity::Pressure;
use crate::tables::figures::{Figure, Rating};
use crate::tables::finding::Subject;
use crate::tables::origin::Origin;
use crate::tables::policy::Policy;
use crate::tables::value::{Comparable, Value};
use crate::tables::words::{Kind, Severity, Side};

use view::{CircuitView, HeaderView, OrderView, PartView, StationView, WaiverView};

/// Rules of one letter.
pub struct Family {
    /// The first letter of its rules' codes.
    pub letter: char,
    pub name: &'static str,
    /// Whether its findings count for the verdict on a circuit.
    pub weighs: bool,
    /// Its rules in reading order.
    pub rules: &'static [&'static Rule],
}

/// A rule, with everything of it that a reader may ever see.
pub struct Rule {
    pub family: &'static Family,
    /// `P05`.
    pub code: &'static str,
    /// The condition found, in kebab case: `part-rated-below-charge`.
    pub name: &'static str,
    /// One line for tables.
    pub title: &'static str,
    /// Severity unless the policy says otherwise.
    pub severity: Severity,
    /// What a finding of it is about.
    pub subject: Subject,
    /// What it looks for, a sentence.
    pub looks_for: &'static str,
    /// Why it matters, a sentence or two.
    pub why: &'static str,
    /// What usually puts it right, a sentence.
    pub remedy: &'static str,
    /// The reason's pattern: `{measured}`, `{limit}`, `{place}`, `{position}`, `{part}`, `{side}`, `{the_side}` and
    /// the hit's facts by name; what stands between `[` and `]` is left out where a value
    /// in it is missing.
    pub message: &'static str,
    /// Keys of `[limits]` that it uses.
    pub limits: &'static [&'static str],
    /// Standard, or `common practice`.
    pub basis: &'static str,
    /// An example that conforms, in words and numbers.
    pub passing: &'static str,
    /// An example that doesn't.
    pub failing: &'static str,
    /// The functions that look.
    pub checks: Checks,
    /// Data of a circuit that ask for it; where the policy's `[asked]` names one that is missing, it is not
    /// assessed.
    pub asked_by: &'static [&'static str],
    /// Data of a circuit, its lines and its station without which it looks at nothing.
    pub rests_on: Option<RestsOn>,
    /// Figures of a circuit, besides those of its sides, that it looks at.
    pub figures: Asked,
    /// What its hits and lacks on a circuit follow from.
    pub reach: Reach,
    /// Changes that may clear it; where there are none, none is searched.
    pub cures: &'static [Cure],
    /// The heading of its live formula in the workbook, where it has one.
    pub live: Option<&'static str>,
    /// Whether it looks at circuits without lines too.
    pub runs_on_empty: bool,
    /// Whether its hits stand only where a later floor bears them out.
    pub is_provisional: bool,
    /// Whether its findings count for the verdict on a circuit, as far as those of its family do.
    pub weighs: bool,
}

impl Rule {
    /// What most rules have in common; the texts are each rule's own.
    pub const USUAL: Self = Self {
        family: &Family { letter: ' ', name: "", weighs: true, rules: &[] },
        code: "",
        name: "",
        title: "",
        severity: Severity::Major,
        subject: Subject::Circuit,
        looks_for: "",
        why: "",
        remedy: "",
        message: "",
        limits: &[],
        basis: "",
        passing: "",
        failing: "",
        checks: Checks::NONE,
        asked_by: &[],
        rests_on: None,
        figures: Asked::SIDES,
        reach: Reach::Circuit,
        cures: &[],
        live: None,
        runs_on_empty: false,
        is_provisional: false,
        weighs: true,
    };

    /// Whether its findings count for the verdict on a circuit: purchasing and waivers have verdicts of their own.
    #[must_use]
    pub const fn weighs_on_circuits(&self) -> bool {
        self.weighs && self.family.weighs
    }

    /// Whether its findings are major or minor under a policy.
    #[must_use]
    pub fn is_major_or_minor(&self, policy: &Policy) -> bool {
        matches!(policy.severity(self.code, self.severity), Some(Severity::Major | Severity::Minor))
    }

    /// Every figure of a circuit that it compares with a limit.
    #[must_use]
    pub fn weighed(&self, view: &CircuitView) -> Vec<Weighed> {
        let mut outcome = Outcome::weighing();
        if let Some(check) = self.checks.circuit {
            check(view, &mut outcome);
        }
        outcome.weighed.unwrap_or_default()
    }

    /// Looks at a circuit; data that the policy asks for and that aren't given are lacking.
    pub fn look(&self, view: &CircuitView, outcome: &mut Outcome) {
        let Some(check) = self.checks.circuit else { return };
        check(view, outcome);
        if self.asked_by.is_empty() {
            return;
        }
        for column in view.missing_data().filter(|column| self.asked_by.contains(column)) {
            outcome.lack_cell(None, None, Figure::Datum, view.service.origin, column);
        }
    }
}

/// Data without which a rule looks at nothing: where nobody states them it has found nothing, and nobody was told that it
/// looked.
#[derive(Clone, Copy)]
pub struct RestsOn {
    /// In words: `cutting_force with friction`.
    pub data: &'static str,
    pub are_stated: fn(&CircuitView) -> bool,
}

/// A kind of change that may clear a rule's findings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cure {
    /// Another charging cylinder in the place of the side's only one.
    OtherCylinder,
    /// The same with less capacity.
    SmallerCylinder,
    /// Several circuits out of one.
    Split,
    OtherPump,
    OtherDriveRam,
    /// A part of a kind that the side lacks.
    Addition(Kind),
    /// The pump setting that brings the pressure wanted.
    SettingNeeded,
    /// The reducing valve set to the pressure wanted.
    ReducingSetting,
    /// A lower pump setting.
    LowerSetting,
    /// A part of the same kind on the line.
    OtherPart,
    /// The same, acting otherwise than the one in its place.
    PartActingOtherwise,
    /// A stronger part in the place of the weakest.
    StrongerWeakest,
    /// A relief valve where there is none.
    ReliefValve,
    ReliefSetting,
    SequenceSetting,
    /// A further accumulator.
    Accumulator,
    Precharge,
    /// Parts that leak less.
    TighterPart,
    /// Tubes and hoses with a larger bore.
    WiderConductor,
}

/// What a rule's hits and lacks on a circuit follow from, as far as it tells which of them a change leaves as they are.
///
/// Less than it says stands here never; what is not sure is [`Reach::Circuit`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// From what is listed, how the circuit acts, the kinds that sides and zones have, their pressures and settings: no
    /// figure of a part, nor what the pump is or could bring.
    Makeup,
    /// Those on a line from the same and its own part, as if the circuit had no other line: nothing from volumes, the
    /// weakest rating, trapped oil or times.
    Line,
    /// From anything.
    Circuit,
}

/// Figures of a circuit that are asked for; those of its sides always are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    pub hot: bool,
    /// Pressure at the lowest temperature, where the leak starts.
    pub cold: bool,
    /// Holding pressure.
    pub hold: bool,
    /// Hold reserve, and where figures lie outside a formula's validity.
    pub reserve: bool,
    /// Oil lost in a cycle, and how long a filling lasts.
    pub topup: bool,
    /// Pressure over time, sampled.
    pub curve: bool,
    /// Clamp and unclamp time.
    pub times: bool,
}

impl Asked {
    /// The sides alone.
    pub const SIDES: Self =
        Self { hot: false, cold: false, hold: false, reserve: false, topup: false, curve: false, times: false };
    /// What is asked here or there.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            hot: self.hot || other.hot,
            cold: self.cold || other.cold,
            hold: self.hold || other.hold,
            reserve: self.reserve || other.reserve,
            topup: self.topup || other.topup,
            curve: self.curve || other.curve,
            times: self.times || other.times,
        }
    }

    /// What some rules look at.
    #[must_use]
    pub fn by(rules: &[&Rule]) -> Self {
        rules.iter().fold(Self::SIDES, |asked, rule| asked.and(rule.figures))
    }

    /// All that the data files show.
    pub const ALL: Self =
        Self { hot: true, cold: true, hold: true, reserve: true, topup: true, curve: false, times: true };
}

/// The functions of a rule, one for each kind of thing that it looks at.
#[derive(Clone, Copy)]
pub struct Checks {
    pub circuit: Option<fn(&CircuitView, &mut Outcome)>,
    pub part: Option<fn(&PartView, &mut Outcome)>,
    pub station: Option<fn(&StationView, &mut Outcome)>,
    pub order: Option<fn(&OrderView, &mut Outcome)>,
    pub waiver: Option<fn(&WaiverView, &mut Outcome)>,
    pub header: Option<fn(&HeaderView, &mut Outcome)>,
}

impl Checks {
    /// Nothing to look at.
    pub const NONE: Self = Self { circuit: None, part: None, station: None, order: None, waiver: None, header: None };

    /// A rule of circuits, their sides and lines.
    #[must_use]
    pub const fn circuit(check: fn(&CircuitView, &mut Outcome)) -> Self {
        Self { circuit: Some(check), ..Self::NONE }
    }

    /// A rule of parts.
    #[must_use]
    pub const fn part(check: fn(&PartView, &mut Outcome)) -> Self {
        Self { part: Some(check), ..Self::NONE }
    }

    /// A rule of load stations.
    #[must_use]
    pub const fn station(check: fn(&StationView, &mut Outcome)) -> Self {
        Self { station: Some(check), ..Self::NONE }
    }

    /// A rule of orders.
    #[must_use]
    pub const fn order(check: fn(&OrderView, &mut Outcome)) -> Self {
        Self { order: Some(check), ..Self::NONE }
    }

    /// A rule of tables' headers.
    #[must_use]
    pub const fn header(check: fn(&HeaderView, &mut Outcome)) -> Self {
        Self { header: Some(check), ..Self::NONE }
    }

    /// A rule of waivers.
    #[must_use]
    pub const fn waiver(check: fn(&WaiverView, &mut Outcome)) -> Self {
        Self { waiver: Some(check), ..Self::NONE }
    }
}

/// One place where a rule isn't met: numbers and facts, no prose.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hit {
    /// For subject side, and for a line that is at fault on one side.
    pub side: Option<Side>,
    /// Index into the circuit's lines, for subject line.
    pub line: Option<usize>,
    /// The offending column, where there is one.
    pub column: Option<&'static str>,
    /// The row, where it isn't the line's, the part's, the station's, the order's or the waiver's.
    pub origin: Option<Origin>,
    pub measured: Option<Value>,
    pub limit: Option<Value>,
    /// Named values for the message's pattern.
    pub facts: Vec<(&'static str, Value)>,
}

impl Hit {
    /// On the circuit as a whole.
    #[must_use]
    pub fn here() -> Self {
        Self::default()
    }

    /// On a side.
    #[must_use]
    pub fn on_side(side: Side) -> Self {
        Self { side: Some(side), ..Self::default() }
    }

    /// On a line.
    #[must_use]
    pub fn on_line(line: usize) -> Self {
        Self { line: Some(line), ..Self::default() }
    }

    /// With the value found and its limit.
    #[must_use]
    pub fn against(mut self, measured: Value, limit: Value) -> Self {
        self.measured = Some(measured);
        self.limit = Some(limit);
        self
    }

    /// With the value found.
    #[must_use]
    pub fn measuring(mut self, measured: Value) -> Self {
        self.measured = Some(measured);
        self
    }

    /// With the offending column.
    #[must_use]
    pub const fn in_column(mut self, column: &'static str) -> Self {
        self.column = Some(column);
        self
    }

    /// With the row.
    #[must_use]
    pub const fn at(mut self, origin: Origin) -> Self {
        self.origin = Some(origin);
        self
    }

    /// With a fact for the message.
    #[must_use]
    pub fn fact(mut self, name: &'static str, value: Value) -> Self {
        if self.facts.is_empty() {
            self.facts.reserve(USUAL_FACTS);
        }
        self.facts.push((name, value));
        self
    }

    /// With a fact, where it is known.
    #[must_use]
    pub fn fact_if(self, name: &'static str, value: Option<Value>) -> Self {
        match value {
            Some(value) => self.fact(name, value),
            None => self,
        }
    }
}

/// As many facts as most hits have: room for them is made once.
const USUAL_FACTS: usize = 8;

/// A rule that could not be assessed on a circuit, and the figure it lacks.
#[derive(Clone, Debug, PartialEq)]
pub struct Lack {
    pub side: Option<Side>,
    pub line: Option<usize>,
    pub figure: Figure,
    /// The row and column of the one cell that would settle it, where the rule can tell.
    pub cell: Option<(Origin, &'static str)>,
}

/// What a figure is of, where it stands beside its limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct At {
    pub side: Option<Side>,
    /// Index into the circuit's lines.
    pub line: Option<usize>,
    /// Which of several figures of one subject: a zone, a moment, the lower or the upper bound.
    pub aspect: u8,
}

impl At {
    /// The circuit, or the station.
    pub const HERE: Self = Self { side: None, line: None, aspect: 0 };

    /// A side.
    #[must_use]
    pub const fn side(side: Side) -> Self {
        Self { side: Some(side), ..Self::HERE }
    }

    /// A line.
    #[must_use]
    pub const fn line(line: usize) -> Self {
        Self { line: Some(line), ..Self::HERE }
    }

    /// The same subject in another aspect.
    #[must_use]
    pub const fn aspect(self, aspect: u8) -> Self {
        Self { aspect, ..self }
    }
}

/// To which side of a limit a figure belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    AtMost,
    AtLeast,
    Above,
}

impl Bound {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AtMost => "at most",
            Self::AtLeast => "at least",
            Self::Above => "above",
        }
    }
}

/// A figure beside its limit, kept or not.
#[derive(Clone, Copy, Debug)]
pub struct Weighed {
    pub at: At,
    /// From the figure to its limit: below 0 exactly where the rule isn't met.
    pub slack: f64,
    pub bound: Bound,
    /// The line whose rating the limit is, where the figure isn't that line's.
    pub rated: Option<usize>,
    figure: f64,
    limit: f64,
    value: fn(f64) -> Value,
}

impl PartialEq for Weighed {
    fn eq(&self, other: &Self) -> bool {
        let place = |one: &Self| (one.at, one.bound, one.rated);
        place(self) == place(other) && self.slack == other.slack && self.measured() == other.measured()
    }
}

impl Weighed {
    /// The figure.
    #[must_use]
    pub fn measured(&self) -> Value {
        (self.value)(self.figure)
    }

    /// Its limit.
    #[must_use]
    pub fn limit(&self) -> Value {
        (self.value)(self.limit)
    }

    /// The distance to the limit as a share of it, below 0 beyond it; `None` of a limit of 0.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.limit != 0.0).then(|| self.slack / self.limit.abs())
    }

    /// Of several the one that is nearest to its limit, or farthest beyond it.
    #[must_use]
    pub fn nearest(all: Vec<Self>) -> Option<Self> {
        let share = |one: &Self| one.share().unwrap_or(f64::MAX);
        all.into_iter().min_by(|one, other| share(one).total_cmp(&share(other)))
    }
}

/// What a rule's function found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    pub hits: Vec<Hit>,
    pub lacks: Vec<Lack>,
    /// Every figure that was compared with a limit, where that is wanted.
    pub weighed: Option<Vec<Weighed>>,
    /// Whether ratings that may be the weakest are compared one by one.
    apart: bool,
}

impl Outcome {
    /// One that keeps what is compared.
    #[must_use]
    pub fn weighing() -> Self {
        Self { weighed: Some(Vec::new()), ..Self::default() }
    }

    /// The same, of the weakest rating each that may be it by itself: the lowest of several has a bend where two of them
    /// meet, each of them has none.
    #[must_use]
    pub fn weighing_apart() -> Self {
        Self { apart: true, ..Self::weighing() }
    }

    /// Whether it keeps what is compared: nothing may then be passed over since it is surely kept.
    #[must_use]
    pub const fn weighs(&self) -> bool {
        self.weighed.is_some()
    }

    /// Whether a figure is above the most that it may be.
    pub fn is_above<Q: Comparable>(&mut self, at: At, figure: Q, limit: Q) -> bool {
        !self.keeps(at, figure, limit, Bound::AtMost, None)
    }

    /// The same of a pressure and the weakest rating of lines that see it.
    ///
    /// * `apart` – the ratings that may be the weakest, as [`rating::ratings_apart`] gives them; the weakest is the
    ///   lowest of them
    pub fn is_above_weakest(
        &mut self,
        at: At,
        figure: Pressure,
        weakest: Rating,
        apart: impl FnOnce() -> Vec<Rating>,
    ) -> bool {
        if !self.apart {
            return !self.keeps(at, figure, weakest.pressure, Bound::AtMost, Some(weakest.line));
        }
        for rating in apart() {
            self.keeps(at, figure, rating.pressure, Bound::AtMost, Some(rating.line));
        }
        is_above(figure.si(), weakest.pressure.si())
    }

    /// Whether a figure is below the least that it may be.
    pub fn is_below<Q: Comparable>(&mut self, at: At, figure: Q, limit: Q) -> bool {
        !self.keeps(at, figure, limit, Bound::AtLeast, None)
    }

    /// Whether a figure clears what it must be above.
    pub fn clears<Q: Comparable>(&mut self, at: At, figure: Q, limit: Q) -> bool {
        self.keeps(at, figure, limit, Bound::Above, None)
    }

    /// Whether a figure keeps a limit, which is noted where that is wanted.
    fn keeps<Q: Comparable>(&mut self, at: At, figure: Q, limit: Q, bound: Bound, rated: Option<usize>) -> bool {
        let (figure, limit) = (figure.number(), limit.number());
        let (is_kept, slack) = match bound {
            Bound::AtMost => (!is_above(figure, limit), limit - figure),
            Bound::AtLeast => (!is_below(figure, limit), figure - limit),
            Bound::Above => (is_above(figure, limit), figure - limit),
        };
        if let Some(weighed) = &mut self.weighed {
            // What stands at its limit as far as the rule is concerned has no slack, to either side.
            let slack = if is_kept { slack.max(0.0) } else { slack.min(-f64::MIN_POSITIVE) };
            weighed.push(Weighed { at, slack, bound, rated, figure, limit, value: Q::value });
        }
        is_kept
    }

    /// The rule isn't met.
    pub fn hit(&mut self, hit: Hit) {
        self.hits.push(hit);
    }

    /// The rule is asked for, and a figure is unknown.
    pub fn lack(&mut self, side: Option<Side>, line: Option<usize>, figure: Figure) {
        self.lacks.push(Lack { side, line, figure, cell: None });
    }

    /// The same, of a figure that one cell would give.
    pub fn lack_cell(
        &mut self,
        side: Option<Side>,
        line: Option<usize>,
        figure: Figure,
        origin: Origin,
        column: &'static str,
    ) {
        self.lacks.push(Lack { side, line, figure, cell: Some((origin, column)) });
    }
}

pub use crate::physics::limit::{AT_THE_LIMIT, is_above, is_below};
