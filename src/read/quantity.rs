//! Cells to values: quantities, plain numbers, shares, money, dates.
//!
//! A blank cell is `Ok(None)`; a cell that can't be read is what was expected instead.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::unit::{self, Dimension, Unit, UnitSystem};
use crate::tables::policy::DateOrder;

use super::cell::{CellRef, Is, trimmed};
use super::collector::number_text;
use super::number::{ColumnStyle, Form, Numeral, Style, quick};
use super::plant_words::PlantWords;

/// A value, nothing, or what was expected.
pub(crate) type CellReading<T> = Result<Option<T>, String>;

/// An example of a quantity, for a sentence: `a length such as '63.5 mm'`.
pub(crate) fn example(dimension: Dimension, unit: &Unit) -> String {
    let (article, number) = match dimension {
        Dimension::Length => ("a", "63.5"),
        Dimension::Area => ("an", "4.9"),
        Dimension::Volume => ("a", "12.5"),
        Dimension::Pressure => ("a", "250"),
        Dimension::Force => ("a", "8000"),
        Dimension::Temperature => ("a", "20"),
        Dimension::Time => ("a", "30"),
        Dimension::Flow | Dimension::Expansion => ("a", "1.5"),
        Dimension::Stiffness => ("a", "900"),
    };
    format!("{article} {} such as '{number} {}'", dimension.name(), unit.name)
}

fn unclear(numeral: &Numeral) -> String {
    if numeral.form == Form::Open(b' ') {
        return format!(
            "a number that can be read in one way only: this may be {} or two numbers, and no other cell of the column or file has thousands parted by blanks",
            numeral.plain(Style::Point)
        );
    }
    let (point, comma) = (numeral.plain(Style::Point), numeral.plain(Style::Comma));
    let (thousands, decimal) = if numeral.form == Form::Open(b',') { (point, comma) } else { (comma, point) };
    format!(
        "a number that can be read in one way only: this may be {thousands} or {decimal}, and no other cell of the column or file decides"
    )
}

/// What is said of a formula without a stored result, behind what was expected.
const NO_RESULT: &str = "; the file holds no result of the formula: open the workbook in a spreadsheet, where it is worked out, and save it";

/// What is said of letters that are struck out or raised.
pub(super) const MARKED: &str =
    "; letters of the cell are struck out or raised, so that nobody can tell what counts: write that alone";

/// What was expected of a cell that is neither text nor a number.
fn expected_of(cell: CellRef, wanted: &str) -> String {
    match cell.is {
        Is::NoResult => format!("{wanted}{NO_RESULT}"),
        Is::Marked => format!("{wanted}{MARKED}"),
        _ => wanted.to_owned(),
    }
}

/// The number of a cell without a unit.
pub(crate) fn number(cell: CellRef, numbers: ColumnStyle) -> CellReading<f64> {
    plain_number(cell, numbers, "a number such as '4'", |_| false)
}

/// A number of pieces, with or without a word that counts them: `4 pcs`.
pub(crate) fn pieces(cell: CellRef, numbers: ColumnStyle, own: &PlantWords) -> CellReading<f64> {
    let expected = if cell.is == Is::Text && Numeral::scan(trimmed(cell.text)).is_some_and(|own| !own.rest.is_empty()) {
        "a number such as '4'; [values.unit] each of the policy takes other words for pieces"
    } else {
        "a number such as '4'"
    };
    plain_number(cell, numbers, expected, |rest| own.counts_pieces(rest))
}

fn plain_number(
    cell: CellRef,
    numbers: ColumnStyle,
    expected: &str,
    may_follow: impl Fn(&str) -> bool,
) -> CellReading<f64> {
    match cell.is {
        Is::Text => {}
        Is::Number(value) | Is::Shown(value, _) => {
            return if value.is_finite() { Ok(Some(value)) } else { Err(expected.to_owned()) };
        }
        _ => return Err(expected_of(cell, expected)),
    }
    let text = trimmed(cell.text);
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(value) = quick(text, numbers) {
        return Ok(Some(value));
    }
    let (value, rest) = numeral_value(text, numbers, false)?.ok_or(expected)?;
    if rest.is_empty() || may_follow(rest) { Ok(Some(value)) } else { Err(expected.to_owned()) }
}

/// A number and what follows it; nothing where the text starts with no number.
fn numeral_value(text: &str, numbers: ColumnStyle, us_unit: bool) -> Result<Option<(f64, &str)>, String> {
    let Some(numeral) = Numeral::scan(text) else { return Ok(None) };
    // Who writes psi or inches writes no decimal comma.
    let numbers =
        if us_unit && numbers.style.is_none() { ColumnStyle { style: Some(Style::Point), ..numbers } } else { numbers };
    let style = numeral.style(numbers).ok_or_else(|| unclear(&numeral))?;
    let value: Option<f64> = numeral.plain(style).parse().ok().filter(|value: &f64| value.is_finite());
    Ok(value.map(|value| (value, numeral.rest)))
}

/// A whole number from 0 up to 1 that must not be below or above.
pub(crate) fn share(cell: CellRef, numbers: ColumnStyle) -> CellReading<f64> {
    const EXPECTED: &str = "a share from 0 to 1";
    match plain_number(cell, numbers, EXPECTED, |_| false)? {
        Some(value) if !(0.0..=1.0).contains(&value) => Err(EXPECTED.to_owned()),
        other => Ok(other),
    }
}

/// A quantity in SI: the cell's own unit goes before the column's.
pub(crate) fn quantity(
    cell: CellRef,
    dimension: Dimension,
    column_unit: &Unit,
    numbers: ColumnStyle,
    own: &PlantWords,
) -> CellReading<f64> {
    let wanted = || example(dimension, column_unit);
    let wanted_unit = || format!("{}; [values.unit] of the policy takes other names of units", wanted());
    match cell.is {
        Is::Text => {}
        Is::Number(value) | Is::Shown(value, _) => return in_range(value, dimension, column_unit),
        Is::Span(days) if dimension == Dimension::Time => {
            return Err(format!("{}; write '{} h'", wanted(), number_text(days * 24.0)));
        }
        _ => return Err(expected_of(cell, &wanted())),
    }
    let text = trimmed(cell.text);
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(value) = quick(text, numbers) {
        return in_range(value, dimension, column_unit);
    }
    if let Some((value, rest)) = fraction(text, dimension) {
        let unit = unit_of(rest, dimension, column_unit, own).ok_or_else(wanted_unit)?;
        if rest.is_empty() && !is_us(unit) {
            return Err(format!("{}; a fraction is one of an inch: write '{text} in' where it is", wanted()));
        }
        return in_range(value, dimension, unit);
    }
    let unit_text = Numeral::scan(text).ok_or_else(wanted)?.rest;
    let unit = unit_of(unit_text, dimension, column_unit, own).ok_or_else(wanted_unit)?;
    let us_unit = !unit_text.is_empty() && is_us(unit);
    let (value, _) = numeral_value(text, numbers, us_unit)?.ok_or_else(wanted)?;
    in_range(value, dimension, unit)
}

fn in_range(value: f64, dimension: Dimension, unit: &Unit) -> CellReading<f64> {
    let si = unit.to_si(value);
    if si.is_finite() && (dimension != Dimension::Temperature || si >= 0.0) {
        Ok(Some(si))
    } else {
        Err(example(dimension, unit))
    }
}

/// The unit of a cell: what its text names, the column's where there is none.
fn unit_of<'a>(text: &str, dimension: Dimension, column_unit: &'a Unit, own: &PlantWords) -> Option<&'a Unit> {
    if text.is_empty() {
        return Some(column_unit);
    }
    let text = text.strip_prefix(['[', '(']).and_then(|inner| inner.strip_suffix([']', ')'])).unwrap_or(text);
    if dimension == Dimension::Length {
        match text {
            "\"" | "″" | "''" | "”" => return Some(&unit::IN),
            "'" | "′" | "’" => return Some(&unit::FT),
            _ => {}
        }
    }
    own.unit(text, dimension)
}

fn is_us(unit: &Unit) -> bool {
    let us = Unit::default_for(unit.dimension, UnitSystem::Us, unit::UnitUse::Usual);
    *unit == *us && unit.dimension != Dimension::Time
        || *unit == unit::FT
        || *unit == unit::GAL
        || *unit == unit::IN3_PER_MIN
}

/// `1/4 in`, `1 1/2 in`, `1-1/2`, `2½`: the value and what follows it. With a stroke only lengths are written so, in halves
/// to sixty-fourths of an inch: `85/110` of anything is two values, and no quotient.
fn fraction(text: &str, dimension: Dimension) -> Option<(f64, &str)> {
    let is_of_inch = |above: f64, below: f64| {
        dimension == Dimension::Length && above < below && PARTS_OF_INCH.iter().any(|part| (below - part).abs() < 0.5)
    };
    if !text.contains(['/', '\u{2044}', '½', '¼', '¾', '⅛', '⅜', '⅝', '⅞']) {
        return None;
    }
    let (first, rest) = digits(text)?;
    if let Some((part, rest)) = vulgar(trimmed(rest)) {
        return Some((first.unwrap_or(0.0) + part, trimmed(rest)));
    }
    let first = first?;
    if let Some(rest) = slash(rest) {
        let (below, rest) = digits(rest)?;
        return below.filter(|below| is_of_inch(first, *below)).map(|below| (first / below, trimmed(rest)));
    }
    let (above, rest) = digits(rest.strip_prefix('-').unwrap_or_else(|| trimmed(rest)))?;
    let (below, rest) = digits(slash(rest)?)?;
    let (above, below) = (above?, below?);
    is_of_inch(above, below).then(|| (first + above / below, trimmed(rest)))
}

const PARTS_OF_INCH: [f64; 6] = [2.0, 4.0, 8.0, 16.0, 32.0, 64.0];

fn slash(text: &str) -> Option<&str> {
    trimmed(text).strip_prefix(['/', '\u{2044}']).map(trimmed)
}

/// Up to nine digits at the start of a text, and what follows them.
fn digits(text: &str) -> Option<(Option<f64>, &str)> {
    let end = text.bytes().take_while(u8::is_ascii_digit).count();
    if end > 9 {
        return None;
    }
    Some((text.get(..end)?.parse().ok(), text.get(end..)?))
}

fn vulgar(text: &str) -> Option<(f64, &str)> {
    let letter = text.chars().next()?;
    let value = match letter {
        '½' => 0.5,
        '¼' => 0.25,
        '¾' => 0.75,
        '⅛' => 0.125,
        '⅜' => 0.375,
        '⅝' => 0.625,
        '⅞' => 0.875,
        _ => return None,
    };
    Some((value, text.get(letter.len_utf8()..)?))
}

/// Exact decimals, for money and pieces in packs; `may_follow` says what may stand behind them.
pub(crate) fn decimal(
    cell: CellRef,
    numbers: ColumnStyle,
    expected: &str,
    may_follow: impl Fn(&str) -> bool,
) -> CellReading<Decimal> {
    let text = trimmed(cell.text);
    match cell.is {
        Is::Text | Is::Number(_) | Is::Shown(..) => {}
        _ => return Err(expected_of(cell, expected)),
    }
    if text.is_empty() {
        return Ok(None);
    }
    let plain = if cell.is.number().is_some() {
        text.to_owned()
    } else {
        let numeral = Numeral::scan(text)
            .filter(|numeral| numeral.rest.is_empty() || may_follow(numeral.rest))
            .ok_or(expected)?;
        numeral.plain(numeral.style(numbers).ok_or_else(|| unclear(&numeral))?)
    };
    let plain = plain.strip_suffix('.').unwrap_or(&plain);
    let value = if plain.contains(['e', 'E']) { Decimal::from_scientific(plain) } else { plain.parse() };
    value.map(Some).map_err(|_| expected.to_owned())
}

/// ISO 8601 or a real date cell, or in the order of day and month that the policy names; never
/// guessed.
pub(crate) fn date(cell: CellRef, order: Option<DateOrder>) -> CellReading<NaiveDate> {
    const EXPECTED: &str = "a date such as '2026-03-31'";
    if let Is::Date(date) = cell.is {
        return Ok(Some(date));
    }
    let text = trimmed(cell.text);
    if text.is_empty() {
        return Ok(None);
    }
    if cell.is != Is::Text {
        return Err(expected_of(cell, EXPECTED));
    }
    if let Some(date) = iso_date(text) {
        return Ok(Some(date));
    }
    match (three_numbers(text), order) {
        (Some(numbers), Some(order)) => ordered(numbers, order).map(Some).ok_or_else(|| {
            format!("{EXPECTED}, or one in the order '{}' that [reading] dates of the policy names", order.word())
        }),
        (Some(_), None) => {
            Err(format!("{EXPECTED}; [reading] dates = \"dmy\" or \"mdy\" of the policy says how such dates are read"))
        }
        (None, _) => Err(EXPECTED.to_owned()),
    }
}

/// `15.03.2027`, `3/15/2027`: three numbers, the last a year in full.
fn three_numbers(text: &str) -> Option<(u32, u32, i32)> {
    let sign = text.chars().find(|letter| !letter.is_ascii_digit()).filter(|sign| matches!(sign, '.' | '/' | '-'))?;
    let mut parts = text.split(sign);
    let (first, second, year) = (parts.next()?, parts.next()?, parts.next()?);
    let is_number =
        |text: &str, most: usize| (1..=most).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    if parts.next().is_some() || !is_number(first, 2) || !is_number(second, 2) || !is_number(year, 4) || year.len() < 4
    {
        return None;
    }
    Some((first.parse().ok()?, second.parse().ok()?, year.parse().ok()?))
}

fn ordered((first, second, year): (u32, u32, i32), order: DateOrder) -> Option<NaiveDate> {
    let (day, month) = if order == DateOrder::DayFirst { (first, second) } else { (second, first) };
    NaiveDate::from_ymd_opt(year, month, day)
}

/// `2026-03-31`, with or without a time after it.
pub(crate) fn iso_date(text: &str) -> Option<NaiveDate> {
    let day = text.get(..10)?;
    let shape =
        day.bytes().enumerate().all(|(at, byte)| if at == 4 || at == 7 { byte == b'-' } else { byte.is_ascii_digit() });
    let after = text.get(10..)?;
    let is_time = after.is_empty()
        || after.starts_with(['T', ' '])
            && after
                .bytes()
                .skip(1)
                .all(|byte| byte.is_ascii_digit() || matches!(byte, b':' | b'.' | b'Z' | b'+' | b'-'));
    if shape && is_time { NaiveDate::parse_from_str(day, "%Y-%m-%d").ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(text: &str) -> CellRef<'_> {
        CellRef { text, is: Is::Text }
    }

    fn length(given: &str) -> Option<f64> {
        quantity(text(given), Dimension::Length, &unit::MM, ColumnStyle::default(), &PlantWords::default())
            .ok()
            .flatten()
    }

    #[test]
    fn the_unit_of_a_cell_goes_before_the_header() {
        for (given, metres) in [
            ("3 m", 3.0),
            ("12 mm", 0.012),
            ("12", 0.012),
            ("12mm", 0.012),
            ("1/4 in", 0.00635),
            ("1 1/2 in", 0.0381),
            ("1-1/2 in", 0.0381),
            ("1½ in", 0.0381),
            ("½\"", 0.0127),
            ("5'", 1.524),
            ("63,5 mm", 0.0635),
            ("1.234,5 mm", 1.2345),
            ("1,234 in", 31.3436),
            ("0.5 [m]", 0.5),
            ("1e3", 1.0),
            ("3\u{a0}m", 3.0),
        ] {
            let read = length(given);
            assert!(read.is_some_and(|value| (value - metres).abs() <= 1e-15 * metres), "{given}: {read:?}");
        }
        for given in [
            "63,5 mn", "1,234", "12 bar", "x", "1/0 in", "5/8", "1 1/2", "½", "3/2/1", "1 5/4 in", "12 34", "--3",
            "1e999",
        ] {
            assert_eq!(length(given), None, "{given}");
        }
    }

    #[test]
    fn temperatures_stop_at_absolute_zero() {
        let read = |given| {
            quantity(text(given), Dimension::Temperature, &unit::DEG_C, ColumnStyle::default(), &PlantWords::default())
        };
        assert_eq!(read("-40"), Ok(Some(233.149_999_999_999_98)).and_then(|_: Option<f64>| read("-40 degF")));
        assert_eq!(read("20"), Ok(Some(293.15)));
        assert_eq!(read("-300"), Err("a temperature such as '20 °C'".to_owned()));
    }

    #[test]
    fn pressures_with_thousands() {
        let read = |given| {
            quantity(text(given), Dimension::Pressure, &unit::BAR, ColumnStyle::default(), &PlantWords::default())
                .ok()
                .flatten()
        };
        assert!(read("3,000 psi").is_some_and(|value| (value - 20_684_271.879_5).abs() < 1e-3));
        assert_eq!(read("3,000"), None);
        assert_eq!(read("250 bar"), Some(25e6));
    }

    #[test]
    fn money_is_exact() {
        let read = |given| {
            decimal(text(given), ColumnStyle::default(), "an amount", |_| false)
                .ok()
                .flatten()
                .map(|value| value.to_string())
        };
        assert_eq!(read("1.234,50").as_deref(), Some("1234.50"));
        assert_eq!(read("0.10").as_deref(), Some("0.10"));
        assert_eq!(read("12 EUR"), None);
        assert_eq!(read("1,234"), None);
    }

    #[test]
    fn dates_are_never_guessed() {
        let read = |given| date(text(given), None).ok().flatten().map(|date| date.to_string());
        assert_eq!(read("2026-03-31").as_deref(), Some("2026-03-31"));
        assert_eq!(read("2026-03-31T00:00:00").as_deref(), Some("2026-03-31"));
        for given in ["31.03.2026", "03/04/2026", "2026-13-01", "2026-3-1", "20260331", "2026-02-30", "2026-03-31x"] {
            assert_eq!(read(given), None, "{given}");
        }
    }
}
