//! A rule not met, with its subject and its numbers.

use super::circuit_key::CircuitKey;
use super::origin::Origin;
use super::value::Value;
use super::words::{Severity, Side, State};

/// What a finding is about; tells which place columns are filled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    Part,
    Station,
    Order,
    Waiver,
    Circuit,
    Side,
    Line,
    /// A table's header.
    Table,
}

impl Subject {
    /// The word in documents.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Part => "part",
            Self::Station => "station",
            Self::Order => "order",
            Self::Waiver => "waiver",
            Self::Circuit => "circuit",
            Self::Side => "side",
            Self::Line => "line",
            Self::Table => "table",
        }
    }
}

/// A finding, without prose: its words come from the rule's pattern and these facts.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The rule's code.
    pub rule: &'static str,
    pub severity: Severity,
    pub state: State,
    pub subject: Subject,
    /// Empty for a part, a station and an order.
    pub place: CircuitKey,
    /// As listed for a line; the side for a side.
    pub side: Option<Side>,
    /// The line's position, the station's name or the order's number.
    pub position: String,
    pub part_no: String,
    pub measured: Option<Value>,
    pub limit: Option<Value>,
    /// Named values of the reason's pattern.
    pub facts: Vec<(&'static str, Value)>,
    /// The row it is found on, where there is one.
    pub origin: Option<Origin>,
    /// The offending column, where there is one.
    pub column: Option<&'static str>,
    /// Index of the line in its circuit, for subject `Line`.
    pub line: Option<usize>,
    /// Index of the waiver that waives it.
    pub waiver: Option<usize>,
    /// What puts it right, proved; `None` where no remedy was searched.
    pub remedy: Option<String>,
    /// Whether that is a change which clears it.
    pub has_change: bool,
}

/// What two runs must share to speak of the same finding.
pub type FindingKey = (String, CircuitKey, String, String, String);

impl Finding {
    /// A finding of a rule with nothing said of it yet: no place, no numbers, open.
    #[must_use]
    pub fn blank(rule: &'static str, severity: Severity, subject: Subject) -> Self {
        Self {
            rule,
            severity,
            state: State::Open,
            subject,
            place: CircuitKey::default(),
            side: None,
            position: String::new(),
            part_no: String::new(),
            measured: None,
            limit: None,
            facts: Vec::new(),
            origin: None,
            column: None,
            line: None,
            waiver: None,
            remedy: None,
            has_change: false,
        }
    }

    /// Rule, place, side, position and part.
    #[must_use]
    pub fn key(&self) -> FindingKey {
        let side = self.side.map_or("", Side::word).to_owned();
        (self.rule.to_owned(), self.place.clone(), side, self.position.clone(), self.part_no.clone())
    }

    /// Whether it stands against conformity: major or minor, and not waived.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.is_major_or_minor() && self.state != State::Waived
    }

    /// Major or minor, waived or not.
    #[must_use]
    pub fn is_major_or_minor(&self) -> bool {
        self.severity != Severity::Observation
    }
}
