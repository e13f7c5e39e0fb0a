//! Values in words, in the reader's units.

use rust_decimal::Decimal;

use std::path::Path;

use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};

use super::value::Value;

/// Significant digits of a number in a sentence.
pub const DIGITS: usize = 4;
/// Digits beyond which two numbers are not told apart any more.
pub const MOST_DIGITS: usize = 15;
/// Powers of ten between which a number is written out.
const WRITTEN_OUT: std::ops::RangeInclusive<i32> = -9..=15;

/// Minutes from which a time is told in hours.
pub const HOURS_FROM: f64 = 120.0;

/// A value with its unit, as a reader of these units writes it.
#[must_use]
pub fn shown(value: &Value, units: UnitSystem) -> String {
    shown_to(value, units, DIGITS)
}

/// A value and its limit with as many digits as it takes to tell them apart.
#[must_use]
pub fn shown_apart(value: &Value, limit: &Value, units: UnitSystem) -> (String, String) {
    let at = |digits| (shown_to(value, units, digits), shown_to(limit, units, digits));
    if value == limit {
        return at(DIGITS);
    }
    (DIGITS..MOST_DIGITS).map(at).find(|(value, limit)| value != limit).unwrap_or_else(|| at(MOST_DIGITS))
}

/// A value with its unit, to a number of significant digits.
fn shown_to(value: &Value, units: UnitSystem, digits: usize) -> String {
    let quantity = |number: &dyn Fn(&Unit) -> f64, dimension: Dimension| {
        let unit = Unit::default_for(dimension, units, UnitUse::Usual);
        format!("{} {}", number_to(number(unit), digits), unit.name)
    };
    match value {
        Value::Pressure(value) => quantity(&|unit| value.in_unit(unit), Dimension::Pressure),
        Value::Volume(value) => quantity(&|unit| value.in_unit(unit), Dimension::Volume),
        Value::Area(value) => quantity(&|unit| value.in_unit(unit), Dimension::Area),
        Value::Length(value) => quantity(&|unit| value.in_unit(unit), Dimension::Length),
        Value::Force(value) => quantity(&|unit| value.in_unit(unit), Dimension::Force),
        Value::Flow(value) => quantity(&|unit| value.in_unit(unit), Dimension::Flow),
        Value::Temperature(value) => quantity(&|unit| value.in_unit(unit), Dimension::Temperature),
        Value::Seconds(value) => format!("{} s", number_to(value.si(), digits)),
        Value::Minutes(value) if value.minutes() < HOURS_FROM => format!("{} min", number_to(value.minutes(), digits)),
        Value::Minutes(value) => format!("{} h", number_to(value.minutes() / 60.0, digits)),
        Value::Ratio(value) | Value::Number(value) => number_to(*value, digits),
        Value::Amount(amount, unit) => amount_in(*amount, unit),
        Value::Money(amount, currency) => format!("{} {currency}", coins(*amount)).trim_end().to_owned(),
        Value::Count(count) => count.to_string(),
        Value::Date(date) => date.to_string(),
        Value::Text(text) => text.clone(),
        Value::List(items) => listed(items),
    }
}

/// Money with at least two decimals and no zeros beyond.
fn coins(amount: Decimal) -> String {
    let mut least = amount.round_dp(4).normalize();
    if least.scale() < 2 {
        least.rescale(2);
    }
    least.to_string()
}

/// A quantity of a part; what is bought by the piece is counted in pieces.
fn amount_in(amount: Decimal, unit: &str) -> String {
    let number = amount.round_dp(6).normalize();
    match unit {
        "each" if number == Decimal::ONE => format!("{number} piece"),
        "each" => format!("{number} pieces"),
        _ => format!("{number} {unit}"),
    }
}

/// A number as it stands in sentences.
#[must_use]
pub fn number(value: f64) -> String {
    number_to(value, DIGITS)
}

/// A number to so many significant digits, without trailing zeros; whole places are never rounded.
#[must_use]
pub fn number_to(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "beyond any number".to_owned();
    }
    let scientific = format!("{value:.*e}", digits.saturating_sub(1));
    let exponent: i32 = scientific.split_once('e').and_then(|(_, power)| power.parse().ok()).unwrap_or(0);
    if value != 0.0 && !WRITTEN_OUT.contains(&exponent) {
        return scientific;
    }
    let decimals = usize::try_from(exponent).map_or_else(
        |_| digits.saturating_sub(1) + exponent.unsigned_abs() as usize,
        |places| digits.saturating_sub(places + 1),
    );
    let mut written = pointed(&scientific, exponent, digits).unwrap_or_else(|| format!("{value:.decimals$}"));
    if written.contains('.') {
        written.truncate(written.trim_end_matches('0').trim_end_matches('.').len());
    }
    if written == "-0" { "0".to_owned() } else { written }
}

/// The digits of `1.234e2` with their point in its place, where all stand at or behind it: rounding a number
/// twice costs more than it does.
fn pointed(scientific: &str, exponent: i32, digits: usize) -> Option<String> {
    let places = usize::try_from(exponent).ok().filter(|places| places + 1 < digits)?;
    let (sign, rest) = scientific.strip_prefix('-').map_or(("", scientific), |rest| ("-", rest));
    let (first, behind) = rest.split_once('e')?.0.split_once('.')?;
    let (whole, decimals) = behind.split_at_checked(places)?;
    Some([sign, first, whole, ".", decimals].concat())
}

/// `a`, `a and b`, `a, b and c`.
fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A path for a sentence: characters that would break the line are escaped.
#[must_use]
pub fn path_shown(path: &Path) -> String {
    super::escaped::escaped(&path.to_string_lossy()).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_four_digits_and_no_exponent() {
        for (value, expected) in [
            (0.0, "0"),
            (-0.0, "0"),
            (250.0, "250"),
            (0.934_251, "0.9343"),
            (1.0 / 3.0, "0.3333"),
            (99.996, "100"),
            (12_345.67, "12346"),
            (1_234_567.0, "1234567"),
            (0.000_012_346, "0.00001235"),
            (-12.5, "-12.5"),
            (9.9996, "10"),
            (999.96, "1000"),
            (-1.0, "-1"),
            (120.05, "120"),
            (1e-12, "1.000e-12"),
            (f64::INFINITY, "beyond any number"),
        ] {
            assert_eq!(number_to(value, DIGITS), expected, "{value}");
        }
    }
}
