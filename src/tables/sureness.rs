//! How sure the verdict on a circuit is, and what would settle it.

use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};

use super::shown::{DIGITS, MOST_DIGITS, number_to};
use super::words::{Side, words};

words! {
    /// How sure a verdict is: by two standard uncertainties (`limits.sure`) and more, or by less.
    Certainty {
        SurelyConforms = "surely conforms",
        Narrowly = "narrowly",
        NarrowlyNot = "narrowly not",
        SurelyNot = "surely not",
    }
}

impl Certainty {
    /// Whether the verdict could as well be the other one.
    #[must_use]
    pub const fn is_narrow(self) -> bool {
        matches!(self, Self::Narrowly | Self::NarrowlyNot)
    }
}

/// What a datum is measured in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// A quantity in SI.
    Quantity(Dimension, UnitUse),
    /// A number in the unit of the policy file, which is named where there is one.
    Plain(&'static str),
}

impl Measure {
    /// Two values of it with their unit, as a reader of these units writes them, with as many digits as it takes to
    /// tell them apart.
    #[must_use]
    pub fn shown_apart(self, one: f64, other: f64, units: UnitSystem) -> (String, String) {
        let in_unit = |value: f64| match self {
            Self::Quantity(dimension, usage) => {
                let unit = Unit::default_for(dimension, units, usage);
                (unit.from_si(value), unit.name)
            }
            Self::Plain(unit) => (value, unit),
        };
        let at = |digits: usize| {
            let text = |value: f64| {
                let (value, unit) = in_unit(value);
                format!("{} {unit}", number_to(value, digits)).trim_end().to_owned()
            };
            (text(one), text(other))
        };
        (DIGITS..MOST_DIGITS).map(at).find(|(one, other)| one != other).unwrap_or_else(|| at(MOST_DIGITS))
    }
}

/// A datum that decides, and how much of the doubt is its.
#[derive(Clone, Debug, PartialEq)]
pub struct Deciding {
    /// In words: `leak of HERON-20`.
    pub datum: String,
    /// Whether it is of this circuit alone: other circuits have another one of the same name.
    pub is_own: bool,
    /// Of the variance.
    pub share: f64,
}

/// The value of the first deciding datum at which the verdict tips, all others as they are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tipping {
    pub measure: Measure,
    /// As it is now.
    pub now: f64,
    pub at: f64,
}

/// How sure a verdict is.
#[derive(Clone, Debug, PartialEq)]
pub struct Sureness {
    pub certainty: Certainty,
    /// From the limit, in standard uncertainties; below 0 where it is not kept; without bound where nothing spreads.
    pub margin: f64,
    /// The rule with the least margin.
    pub rule: &'static str,
    pub rule_name: &'static str,
    pub side: Option<Side>,
    pub line: Option<usize>,
    /// That the limit of this rule is kept.
    pub probability: f64,
    /// Whether the figure bends, so that it was drawn at random many times instead of propagated.
    pub is_drawn: bool,
    /// Those that decide most, at most three.
    pub deciding: Vec<Deciding>,
    pub tipping: Option<Tipping>,
}
