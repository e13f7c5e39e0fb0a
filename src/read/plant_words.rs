//! How a plant writes: its own words, units and dates, what its rows of sums say, where it leaves
//! cells blank that mean the one above.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::physics::unit::{self, Dimension, Unit};
use crate::tables::policy::{Policy, ReadingRules, WORD_SETS};
use crate::tables::trade_unit::TradeUnit;
use crate::tables::words::Uom;
use crate::tables::words::folded;

use super::cell::clean;

/// The set of words that units of trade are.
const UNIT_WORDS: &str = "uom";

/// What the policy says of a plant's way of writing.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct PlantWords {
    words: BTreeMap<&'static str, BTreeMap<String, &'static str>>,
    units: BTreeMap<String, String>,
    pub rules: ReadingRules,
    /// The day of the report, where one is known.
    pub today: Option<NaiveDate>,
}

impl PlantWords {
    pub(crate) fn of(policy: &Policy) -> Self {
        Self {
            words: policy.word_aliases.clone(),
            units: policy.unit_aliases.clone(),
            rules: policy.reading.clone(),
            today: Some(policy.date),
        }
    }

    /// The word of a closed set that the plant's own word stands for.
    pub(crate) fn word(&self, text: &str, set: &[&str]) -> Option<&'static str> {
        let name = set_name(set)?;
        let own = self.words.get(name).and_then(|words| words.get(&folded(&clean(text))).copied());
        own.or_else(|| {
            // What a unit is called in one table it is called in all.
            let symbol = self.units.get(&clean(text).to_lowercase()).filter(|_| name == UNIT_WORDS)?;
            Uom::WORDS.iter().copied().find(|word| folded(word) == folded(symbol))
        })
    }

    /// The unit of a quantity on an order, where the plant has its own word for it.
    pub(crate) fn trade_unit(&self, text: &str) -> Option<&'static str> {
        let own = self.units.get(&clean(text).to_lowercase()).map(String::as_str);
        let unit = own.or_else(|| self.word(text, Uom::WORDS)).and_then(TradeUnit::find)?;
        Some(unit.symbol)
    }

    /// The unit that a text names, by itself or in the plant's own way; on a temperature `C` and `F`
    /// are degrees.
    pub(crate) fn unit(&self, text: &str, dimension: Dimension) -> Option<&'static Unit> {
        let own = self.units.get(&clean(text).to_lowercase());
        let found = match (dimension, text) {
            _ if own.is_some() => own.and_then(|symbol| Unit::find(symbol)),
            (Dimension::Temperature, "C") => Some(&unit::DEG_C),
            (Dimension::Temperature, "F") => Some(&unit::DEG_F),
            _ => Unit::find(text),
        };
        found.filter(|unit| unit.dimension == dimension)
    }

    /// The unit that a text names, whatever it measures.
    pub(crate) fn any_unit(&self, text: &str) -> Option<&'static Unit> {
        let own = self.units.get(&clean(text).to_lowercase());
        own.map_or_else(|| Unit::find(text), |symbol| Unit::find(symbol))
    }

    /// Whether a text counts pieces: `pcs`, `each`, or what the plant has for it.
    pub(crate) fn counts_pieces(&self, text: &str) -> bool {
        let text = clean(text).to_lowercase();
        let text = text.trim_end_matches('.');
        let is_each = |symbol: &String| folded(symbol) == "each";
        matches!(text, "pcs" | "each") || self.units.get(text).is_some_and(is_each)
    }

    /// Whether a text is nothing but a word of rows that hold sums, as no part number is: it has no digit.
    pub(crate) fn is_total_word(&self, text: &str) -> bool {
        const LONGEST: usize = 32;
        text.len() <= LONGEST
            && !text.bytes().any(|byte| byte.is_ascii_digit())
            && self.rules.total_words.contains(&folded(clean(text).trim_end_matches(':')))
    }

    /// Whether a text starts with a word of rows that hold sums.
    pub(crate) fn says_total(&self, text: &str) -> bool {
        leading_words(text).iter().any(|start| self.rules.total_words.contains(start))
    }
}

/// The first word of a text, the first two together and the first three, as words are compared.
pub(crate) fn leading_words(text: &str) -> Vec<String> {
    const MOST_WORDS: usize = 3;
    let text = clean(text);
    let words = text.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty());
    let mut start = String::new();
    let add = |word: &str| {
        start.push_str(&folded(word));
        start.clone()
    };
    words.take(MOST_WORDS).map(add).collect()
}

/// The policy's name of a set of words.
pub(crate) fn set_name(set: &[&str]) -> Option<&'static str> {
    WORD_SETS.iter().find(|(_, words)| *words == set).map(|(name, _)| *name)
}
