//! Numbers of things, and sums of money, in words.

use rust_decimal::{Decimal, RoundingStrategy};

/// `0 circuits`, `1 circuit`, `2 circuits`.
#[must_use]
pub fn counted(number: u64, word: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {word}{plural}")
}

/// `no circuits`, `1 circuit`, `2 circuits`.
#[must_use]
pub fn counted_or_no(number: u64, word: &str) -> String {
    if number == 0 { format!("no {word}s") } else { counted(number, word) }
}

/// `3250.00 EUR`, to the nearest hundredth; without a currency the number alone.
#[must_use]
pub fn money(sum: Decimal, currency: &str) -> String {
    let sum = sum.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero);
    format!("{sum:.2} {currency}").trim_end().to_owned()
}

/// `1 conforms`, `3 conform`; of waivers `1 conforms with waivers`.
#[must_use]
pub fn conforming(number: u64, how: &str) -> String {
    format!("{number} {}{how}", if number == 1 { "conforms" } else { "conform" })
}

/// `1 does not conform`, `3 do not conform`.
#[must_use]
pub fn failing(number: u64) -> String {
    format!("{number} {}", if number == 1 { "does not conform" } else { "do not conform" })
}
