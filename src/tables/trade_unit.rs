//! The units that parts are bought in, converted exactly.

use rust_decimal::Decimal;

use crate::physics::unit::{Dimension, Unit, UnitSystem};

use super::component::Component;
use super::words::Uom;
use super::words::folded;

/// A unit of a quantity on an order or in the component table: pieces, or a length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TradeUnit {
    /// As written in output.
    pub symbol: &'static str,
    /// Length of one in 1e-4 m, a whole number for every unit of length; `None` for pieces.
    tenths: Option<i64>,
}

/// Pieces.
pub const EACH: TradeUnit = TradeUnit { symbol: "each", tenths: None };
/// Metres.
pub const METRE: TradeUnit = TradeUnit { symbol: "m", tenths: Some(10_000) };
/// Feet, 0.3048 m (NIST SP 811, appendix B).
pub const FOOT: TradeUnit = TradeUnit { symbol: "ft", tenths: Some(3_048) };

/// Every one of them; 1 in = 0.0254 m.
static TRADE_UNITS: &[TradeUnit] = &[
    EACH,
    METRE,
    FOOT,
    TradeUnit { symbol: "mm", tenths: Some(10) },
    TradeUnit { symbol: "cm", tenths: Some(100) },
    TradeUnit { symbol: "in", tenths: Some(254) },
];

/// Ways to write pieces, folded as words of a closed set are.
const PIECES: [&str; 6] = ["each", "ea", "pc", "pcs", "piece", "pieces"];

impl TradeUnit {
    /// The unit that a text names, if there is one.
    #[must_use]
    pub fn find(text: &str) -> Option<Self> {
        if PIECES.contains(&folded(text).as_str()) {
            return Some(EACH);
        }
        let unit = Unit::find(text.trim().trim_end_matches('.')).filter(|unit| unit.dimension == Dimension::Length)?;
        TRADE_UNITS.iter().copied().find(|trade| trade.symbol == unit.symbol)
    }

    /// The unit that a component is bought in: as stated, else as usual for its kind.
    #[must_use]
    pub fn of(component: &Component, system: UnitSystem) -> Self {
        match component.uom {
            Some(Uom::Each) => EACH,
            Some(Uom::Ft) => FOOT,
            Some(Uom::M) => METRE,
            None => Self::usual(component, system),
        }
    }

    /// What a blank means: a length for tube and hose, else pieces.
    #[must_use]
    pub fn usual(component: &Component, system: UnitSystem) -> Self {
        match system {
            _ if !component.is_conductor() => EACH,
            UnitSystem::Us => FOOT,
            UnitSystem::Metric => METRE,
        }
    }

    /// Whether it is a length.
    #[must_use]
    pub const fn is_length(self) -> bool {
        self.tenths.is_some()
    }

    /// Whether the two measure the same.
    #[must_use]
    pub const fn measures_the_same_as(self, other: Self) -> bool {
        self.is_length() == other.is_length()
    }

    /// An amount of this unit in pieces or metres, exact; `None` where it is too large to hold.
    #[must_use]
    pub fn to_base(self, amount: Decimal) -> Option<Decimal> {
        let Some(tenths) = self.tenths else { return Some(amount) };
        amount.checked_mul(Decimal::new(tenths, 4))
    }

    /// Pieces or metres in this unit; `None` where it is too large to hold.
    ///
    /// Exact where the quotient has an end, else rounded at the 28th digit.
    #[must_use]
    pub fn from_base(self, base: Decimal) -> Option<Decimal> {
        let Some(tenths) = self.tenths else { return Some(base) };
        base.checked_div(Decimal::new(tenths, 4)).map(|amount| amount.normalize())
    }

    /// An amount of this unit in another; `None` where the two don't measure the same.
    #[must_use]
    pub fn convert(self, amount: Decimal, to: Self) -> Option<Decimal> {
        if self == to {
            return Some(amount);
        }
        if !self.measures_the_same_as(to) {
            return None;
        }
        to.from_base(self.to_base(amount)?)
    }
}

/// The part of itself beyond which an amount counts as more than another.
fn leeway(amount: Decimal) -> Decimal {
    // 1e-9, as for every limit.
    (amount.abs() * Decimal::new(1, 9)).normalize()
}

/// Whether `amount` is above `limit` by more than 1e-9 of it.
#[must_use]
pub fn is_more(amount: Decimal, limit: Decimal) -> bool {
    amount.saturating_sub(limit) > leeway(limit)
}

/// Whether `amount` is below `limit` by more than 1e-9 of it.
#[must_use]
pub fn is_less(amount: Decimal, limit: Decimal) -> bool {
    limit.saturating_sub(amount) > leeway(limit)
}

/// An amount rounded up to whole packs; as it is where there is no pack.
#[must_use]
pub fn in_packs(amount: Decimal, pack: Option<Decimal>) -> Decimal {
    let Some(pack) = pack.filter(|pack| *pack > Decimal::ZERO) else { return amount };
    let Some(packs) = amount.checked_div(pack) else { return amount };
    let whole = packs.floor();
    let packs = if is_more(packs, whole) { whole.saturating_add(Decimal::ONE) } else { whole };
    packs.checked_mul(pack).map_or(amount, |rounded| rounded.normalize())
}

/// Decimals to which a length without a pack is ordered.
const ORDERED_TO: u32 = 2;

/// An amount of a unit as a supplier is asked for it: in whole packs, and a length without one rounded up to a hundredth.
#[must_use]
pub fn to_order(amount: Decimal, unit: TradeUnit, pack: Option<Decimal>) -> Decimal {
    if !unit.is_length() || pack.is_some_and(|pack| pack > Decimal::ZERO) {
        return in_packs(amount, pack);
    }
    in_packs(amount, Some(Decimal::new(1, ORDERED_TO)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::words::Kind;

    fn dec(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    fn unit(text: &str) -> TradeUnit {
        TradeUnit::find(text).unwrap()
    }

    #[test]
    fn lengths_convert_by_the_exact_factors() {
        // NIST SP 811, appendix B: 1 ft = 0.3048 m, 1 in = 0.0254 m, both exact.
        for (amount, from, to, expected) in [
            ("10", "ft", "m", "3.048"),
            ("3.048", "m", "ft", "10"),
            ("1", "m", "mm", "1000"),
            ("1", "in", "mm", "25.4"),
            ("12", "in", "ft", "1"),
            ("250", "cm", "m", "2.5"),
            ("0.1", "m", "m", "0.1"),
            ("7", "pcs", "each", "7"),
        ] {
            assert_eq!(unit(from).convert(dec(amount), unit(to)), Some(dec(expected)), "{amount} {from} in {to}");
        }
    }

    #[test]
    fn pieces_and_lengths_do_not_mix_and_other_words_are_no_unit() {
        assert_eq!(unit("each").convert(dec("1"), unit("m")), None);
        assert_eq!(unit("ft").convert(dec("1"), unit("each")), None);
        for text in ["box", "kg", "bar", "m2", "", "roll"] {
            assert_eq!(TradeUnit::find(text), None, "{text}");
        }
        for text in ["EA", "Pcs.", "each", "piece"] {
            assert_eq!(TradeUnit::find(text), Some(EACH), "{text}");
        }
        assert_eq!(TradeUnit::find("FT"), Some(FOOT));
    }

    #[test]
    fn a_blank_unit_is_that_of_the_kind() {
        let hose = Component { kind: Some(Kind::Hose), ..Component::default() };
        assert_eq!(TradeUnit::of(&hose, UnitSystem::Metric), METRE);
        assert_eq!(TradeUnit::of(&hose, UnitSystem::Us), FOOT);
        let cut = Component { uom: Some(Uom::Each), ..hose };
        assert_eq!(TradeUnit::of(&cut, UnitSystem::Us), EACH);
        let clamp = Component { kind: Some(Kind::Clamp), ..Component::default() };
        assert_eq!(TradeUnit::of(&clamp, UnitSystem::Us), EACH);
    }

    #[test]
    fn packs_round_up_and_whole_packs_stay() {
        for (amount, pack, expected) in [
            ("11", "10", "20"),
            ("10", "10", "10"),
            ("0", "10", "0"),
            ("0.1", "6", "6"),
            ("7.5", "2.5", "7.5"),
            // Three lengths of 2/3 m, each rounded to 1e-12 m, are still one pack of 2 m.
            ("2.000000000001", "2", "2"),
            ("2.00000001", "2", "4"),
        ] {
            assert_eq!(in_packs(dec(amount), Some(dec(pack))), dec(expected), "{amount} in packs of {pack}");
        }
        assert_eq!(in_packs(dec("1.25"), None), dec("1.25"));
        assert_eq!(in_packs(dec("1.25"), Some(Decimal::ZERO)), dec("1.25"));
    }

    /// By hand: 23 ft in three lengths is 7 2/3 ft each; nobody orders a thirteenth decimal.
    #[test]
    fn a_length_without_a_pack_is_ordered_to_a_hundredth() {
        for (amount, unit, pack, expected) in [
            ("7.6666666666666667", FOOT, None, "7.67"),
            ("28.47476", METRE, None, "28.48"),
            ("28.47", METRE, None, "28.47"),
            ("0.001", METRE, None, "0.01"),
            ("28.47476", METRE, Some(dec("6")), "30"),
            ("2.5", EACH, None, "2.5"),
        ] {
            assert_eq!(to_order(dec(amount), unit, pack), dec(expected), "{amount} {}", unit.symbol);
        }
    }

    #[test]
    fn an_absurd_amount_is_no_panic() {
        assert_eq!(unit("ft").convert(Decimal::MAX, unit("mm")), None);
        assert_eq!(in_packs(Decimal::MAX, Some(dec("0.0000001"))), Decimal::MAX);
        assert!(is_more(Decimal::MAX, Decimal::MIN));
    }
}
