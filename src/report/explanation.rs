//! The calculation of one circuit as an engineer writes it by hand: each figure with its formula, its numbers and the
//! rows that they come from, and what the rules make of it.
//!
//! The figures are those of the audit; what stands here besides are the items of which they are made.

mod budget;
mod chain;
mod doubts;
mod forces;
mod given;
mod holding;
pub mod json;
pub mod judgement;
pub mod text;
mod workings;

use crate::circuit::audited::CircuitAudit;
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::value::Value;
use crate::tables::words::Verdict;

use judgement::Judgement;
use workings::Workings;

/// One figure of the calculation.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WorkStep {
    pub name: String,
    /// As it stands in the books; empty of what is given.
    pub formula: &'static str,
    /// The formula with its numbers.
    pub numbers: String,
    /// `None` is unknown.
    pub value: Option<Value>,
    /// Why it is unknown, or what a reader should know of it.
    pub because: String,
    /// `components.csv, row 12`.
    pub sources: Vec<String>,
    /// The column of `circuits.csv` that holds the same number.
    pub column: Option<String>,
    /// Whether it is one item of a sum that follows.
    pub is_item: bool,
}

/// What stands in a chapter.
#[derive(Clone, Debug, PartialEq)]
pub enum Passage {
    Figure(Box<WorkStep>),
    Sentence(String),
}

/// Figures of one question.
#[derive(Clone, Debug, PartialEq)]
pub struct Chapter {
    pub heading: String,
    pub passages: Vec<Passage>,
}

/// The calculation of one circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    pub place: CircuitKey,
    pub verdict: Verdict,
    pub chapters: Vec<Chapter>,
    pub judgement: Judgement,
    /// How sure the verdict is, for scripts; only where that was asked for.
    sureness: Option<serde_json::Value>,
}

impl Explanation {
    /// Of one circuit of a pallet.
    ///
    /// * `pallet` – all circuits of the pallet, audited: one charging cylinder may fill several
    /// * `elsewhere` – findings on parts and load stations
    #[must_use]
    pub fn of(plant: &Plant, pallet: &[CircuitAudit], circuit: &CircuitAudit, elsewhere: &[Finding]) -> Self {
        let service = circuit.circuit.service();
        let workings = Workings::of(plant, pallet, circuit, &service);
        let mut chapters = vec![given::chapter(&workings)];
        if circuit.circuit.lines.is_empty() {
            let judgement = Judgement::of(&workings, elsewhere);
            let place = circuit.circuit.key.clone();
            return Self { place, verdict: circuit.verdict, chapters, judgement, sureness: None };
        }
        for side in circuit.figures.sides() {
            chapters.push(chain::chapter(&workings, side));
            chapters.push(budget::chapter(&workings, side));
            chapters.push(chain::ratings(&workings, side));
        }
        chapters.push(holding::chapter(&workings));
        chapters.push(forces::chapter(&workings));
        chapters.push(forces::times(&workings));
        chapters.retain(|chapter| !chapter.passages.is_empty());
        let judgement = Judgement::of(&workings, elsewhere);
        Self { place: circuit.circuit.key.clone(), verdict: circuit.verdict, chapters, judgement, sureness: None }
    }

    /// With how sure the verdict is, of the same circuit, audited with that asked for.
    #[must_use]
    pub fn with_sureness(mut self, plant: &Plant, circuit: &CircuitAudit) -> Self {
        self.chapters.push(doubts::chapter(plant, circuit));
        self.sureness = Some(doubts::as_json(circuit));
        self
    }
}

impl Chapter {
    fn new(heading: impl Into<String>) -> Self {
        Self { heading: heading.into(), passages: Vec::new() }
    }

    fn say(&mut self, sentence: impl Into<String>) {
        self.passages.push(Passage::Sentence(sentence.into()));
    }

    fn add(&mut self, step: WorkStep) {
        self.passages.push(Passage::Figure(Box::new(step)));
    }
}

impl WorkStep {
    fn new(name: impl Into<String>, value: Option<Value>) -> Self {
        Self { name: name.into(), value, ..Self::default() }
    }

    fn by(mut self, formula: &'static str, numbers: impl Into<String>) -> Self {
        (self.formula, self.numbers) = (formula, numbers.into());
        self
    }

    fn from(mut self, sources: impl IntoIterator<Item = String>) -> Self {
        self.sources.extend(sources.into_iter().filter(|source| !source.is_empty()));
        self.sources.dedup();
        self
    }

    fn in_column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }

    fn because(mut self, because: impl Into<String>) -> Self {
        self.because = because.into();
        self
    }

    const fn item(mut self) -> Self {
        self.is_item = true;
        self
    }
}
