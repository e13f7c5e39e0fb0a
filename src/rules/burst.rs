//! Which rules tell of a part that sees more pressure than it is rated for: what bursts goes before all else that a
//! reader is told, wherever findings are told by their gravity.

use super::Rule;
use super::holding::H01;
use super::pressure::{P01, P02, P04, P05, P06, P08, P10, P13, P15};

/// Whether a rule's finding says that a part is above its rating.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Burst {
    /// It is, at every charging or on every warm day.
    Does,
    /// It could be: by what the pump can bring, or behind what guards it wrongly.
    Could,
    /// It says something else.
    Other,
}

/// Parts above their rating.
static ABOVE: [&Rule; 7] = [&P01, &P02, &P04, &P05, &P06, &P08, &H01];
/// Parts that could get above it.
static COULD: [&Rule; 3] = [&P10, &P13, &P15];

/// What a rule's finding says of a part's rating.
#[must_use]
pub fn burst(code: &str) -> Burst {
    let is_of = |rules: &[&Rule]| rules.iter().any(|rule| rule.code == code);
    match () {
        () if is_of(&ABOVE) => Burst::Does,
        () if is_of(&COULD) => Burst::Could,
        () => Burst::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::catalogue::CATALOGUE;

    /// Every title that speaks of a rating is of such a rule, but for the one on what is still within it.
    #[test]
    fn no_rule_on_a_rating_is_left_out() {
        let speaks =
            |rule: &&&Rule| rule.title.split_whitespace().any(|word| matches!(word, "rated" | "rating" | "rating,"));
        let all: Vec<&str> = CATALOGUE.iter().filter(speaks).map(|rule| rule.code).collect();
        assert!(all.len() > 6, "{all:?}");
        for code in all {
            assert_eq!(burst(code) == Burst::Other, code == "P14", "{code}");
        }
        // Titles that say it in other words: a wall too thin, a relief valve that opens too late.
        assert_eq!((burst("P08"), burst("P10")), (Burst::Does, Burst::Could));
        assert!(Burst::Does < Burst::Could && Burst::Could < Burst::Other);
    }
}
