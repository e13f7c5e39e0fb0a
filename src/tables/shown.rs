//! Values in words, in the reader's units.

use rust_decimal::Decimal;

use std::borrow::Borrow;
use std::fmt::Display;
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
    shown_apart_to((value, DIGITS), (limit, DIGITS), units)
}

/// The same of a value and its limit that each have so many digits at least.
#[must_use]
pub fn shown_apart_to(
    (value, of_value): (&Value, usize),
    (limit, of_limit): (&Value, usize),
    units: UnitSystem,
) -> (String, String) {
    let at = |more| (shown_to(value, units, of_value + more), shown_to(limit, units, of_limit + more));
    if value == limit {
        return at(0);
    }
    let most = MOST_DIGITS - DIGITS;
    (0..most).map(at).find(|(value, limit)| value != limit).unwrap_or_else(|| at(most))
}

/// A value with its unit, to a number of significant digits.
#[must_use]
pub fn shown_to(value: &Value, units: UnitSystem, digits: usize) -> String {
    let mut words = String::with_capacity(USUAL_LENGTH);
    add_shown_to(value, units, digits, &mut words);
    words
}

/// Letters that most numbers and their units take.
const USUAL_LENGTH: usize = 24;

/// Adds a value with its unit, as a reader of these units writes it.
pub fn add_shown(value: &Value, units: UnitSystem, words: &mut String) {
    add_shown_to(value, units, DIGITS, words);
}

/// Adds a value with its unit, to a number of significant digits.
pub fn add_shown_to(value: &Value, units: UnitSystem, digits: usize, words: &mut String) {
    let unit = |dimension: Dimension| Unit::default_for(dimension, units, UnitUse::Usual);
    let mut add = |number: f64, unit: &str| {
        add_number_to(number, digits, words);
        words.extend([" ", unit]);
    };
    let mut add_quantity = |number: &dyn Fn(&Unit) -> f64, dimension: Dimension| {
        let unit = unit(dimension);
        add(number(unit), unit.name);
    };
    match value {
        Value::Pressure(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Pressure),
        Value::Volume(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Volume),
        Value::Area(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Area),
        Value::Length(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Length),
        Value::Force(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Force),
        Value::Flow(value) => add_quantity(&|unit| value.in_unit(unit), Dimension::Flow),
        Value::Temperature(value) => add_quantity(&|unit| degrees(value.in_unit(unit)), Dimension::Temperature),
        Value::Seconds(value) => add(value.si(), "s"),
        Value::Minutes(value) if value.minutes() < HOURS_FROM => add(value.minutes(), "min"),
        Value::Minutes(value) => add(value.minutes() / 60.0, "h"),
        Value::Days(value) | Value::Ratio(value) | Value::Number(value) => add_number_to(*value, digits, words),
        Value::Amount(amount, unit) => words.push_str(&amount_in(*amount, unit)),
        Value::Money(amount, currency) => words.push_str(format!("{} {currency}", coins(*amount)).trim_end()),
        Value::Count(count) => words.push_str(&count.to_string()),
        Value::Date(date) => words.push_str(&date.to_string()),
        Value::Text(text) => words.push_str(text),
        Value::List(items) => words.push_str(&listed(items)),
    }
}

/// What is left of 0 degrees between two scales whose zeros lie apart is 0.
fn degrees(number: f64) -> f64 {
    const ROUNDED_OFF: f64 = 1e-9;
    if number.abs() < ROUNDED_OFF { 0.0 } else { number }
}

/// A sentence of words that begin without a capital.
#[must_use]
pub fn capitalised(mut text: String) -> String {
    if let Some(first) = text.get_mut(..1) {
        first.make_ascii_uppercase();
        return text;
    }
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default()
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
    let mut words = String::with_capacity(USUAL_LENGTH);
    add_number_to(value, digits, &mut words);
    words
}

fn add_number_to(value: f64, digits: usize, words: &mut String) {
    if !value.is_finite() {
        words.push_str("beyond any number");
    } else if add_rounded(value, digits, words).is_none() {
        words.push_str(&exactly_rounded(value, digits));
    }
}

/// Adds most numbers, by one multiplication, for a tenth of the work; `None` where the digit behind the last comes so near
/// to a half that what the multiplication itself rounds off, less than 2e-7 here, might decide.
fn add_rounded(value: f64, digits: usize, words: &mut String) -> Option<()> {
    const POWERS: [f64; 13] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12];
    const NEAR_HALF: f64 = 1e-6;
    let size = value.abs();
    if !(1e-3..1e9).contains(&size) || !(1..=9).contains(&digits) {
        return None;
    }
    let places_of_whole = POWERS.iter().take_while(|power| size >= **power).count();
    let zeros_behind_point = [1e-1, 1e-2].iter().take_while(|power| size < **power).count();
    let decimals = (digits + zeros_behind_point).saturating_sub(places_of_whole);
    let scaled = size * POWERS.get(decimals)?;
    let beyond = scaled.fract();
    if (beyond - 0.5).abs() < NEAR_HALF {
        return None;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 1e9")]
    let number = scaled as u64 + u64::from(beyond > 0.5);
    if value < 0.0 {
        words.push('-');
    }
    add_decimal(number, decimals, words);
    Some(())
}

/// Adds a number of which the last digits stand behind the point, without trailing zeros there.
pub fn add_decimal(mut number: u64, mut decimals: usize, words: &mut String) {
    while decimals > 0 && number.is_multiple_of(10) {
        number /= 10;
        decimals -= 1;
    }
    // A number has at most 20 digits, and as many decimals at most ahead of which a zero and a point stand.
    let mut text = [b'0'; 24];
    let mut start = text.len();
    let mut put_ahead = |byte: u8| {
        start -= 1;
        text[start] = byte;
    };
    let mut take_digit = || {
        let digit = u8::try_from(number % 10).unwrap_or_default();
        number /= 10;
        (b'0' + digit, number > 0)
    };
    if decimals > 0 {
        (0..decimals).for_each(|_| put_ahead(take_digit().0));
        put_ahead(b'.');
    }
    loop {
        let (digit, goes_on) = take_digit();
        put_ahead(digit);
        if !goes_on {
            break;
        }
    }
    words.push_str(std::str::from_utf8(&text[start..]).unwrap_or_default());
}

/// Any number, by its exact decimal expansion.
fn exactly_rounded(value: f64, digits: usize) -> String {
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
pub fn listed<T: Borrow<str> + Display>(items: &[T]) -> String {
    match items {
        [] => String::new(),
        [only] => only.to_string(),
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
    use crate::physics::quantity::Temperature;

    #[test]
    fn nought_degrees_on_another_scale_are_nought() {
        let freezing = |number: f64, unit: &str| {
            let unit = Unit::find(unit).unwrap();
            shown(&Value::Temperature(Temperature::from_unit(number, unit)), UnitSystem::Metric)
        };
        assert_eq!(freezing(32.0, "degF"), "0 °C");
        assert_eq!(freezing(273.15, "K"), "0 °C");
        assert_eq!(freezing(32.1, "degF"), "0.05556 °C");
    }

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

    fn rounded(value: f64, digits: usize) -> Option<String> {
        let mut words = String::new();
        add_rounded(value, digits, &mut words).map(|()| words)
    }

    proptest::proptest! {
        /// The short way writes what the exact expansion does, numbers beside a half of the last digit among them.
        #[test]
        fn the_short_way_rounds_as_the_exact_one(
            size in -4.0..10.0_f64,
            halves in 0_u32..200_000,
            scale in -6_i32..6,
            is_negative: bool,
            digits in 1_usize..12,
        ) {
            let sign = if is_negative { -1.0 } else { 1.0 };
            let beside_half = (f64::from(halves) + 0.5) * 10_f64.powi(scale);
            for value in [10_f64.powf(size), beside_half, beside_half.next_up(), beside_half * (1.0 + 1e-9)] {
                if let Some(written) = rounded(sign * value, digits) {
                    proptest::prop_assert_eq!(written, exactly_rounded(sign * value, digits));
                }
            }
        }

        /// Nor is it left unused.
        #[test]
        fn the_short_way_is_the_usual_one(value in 0.001..1e6_f64) {
            let is_near_half = |places: i32| ((value * 10_f64.powi(places)).fract() - 0.5).abs() < 2e-6;
            proptest::prop_assert!(rounded(value, DIGITS).is_some() || (0..8).any(is_near_half));
        }
    }
}
