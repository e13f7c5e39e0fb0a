//! Part numbers: what they lead to, and what a spreadsheet may have made of them.

use chrono::{Datelike, NaiveDate};
use hashbrown::HashMap;

use crate::tables::circuit::Name;
use crate::tables::component::Component;
use crate::tables::line::{Alteration, PartRef};

use super::cell::{CellRef, Is, clean};
use super::quantity::iso_date;

/// The part numbers of the component table, ready to be looked up.
#[derive(Debug, Default)]
pub(crate) struct PartIndex {
    exact: HashMap<Name, u32>,
    /// Part numbers made of digits, without the zeros that a spreadsheet drops.
    bare: HashMap<Box<str>, Box<str>>,
    /// Part numbers that a spreadsheet takes for a number, with that number.
    numeric: Vec<(f64, Box<str>)>,
}

impl PartIndex {
    pub(crate) fn new(components: &[Component]) -> Self {
        let mut index = Self::default();
        for (number, component) in (0_u32..).zip(components) {
            let part_no = component.part_no.as_str();
            index.exact.entry(part_no.into()).or_insert(number);
            if let Some(bare) = without_idle_zeros(part_no) {
                index.bare.entry(bare.into()).or_insert_with(|| part_no.into());
            }
            if is_number_like(part_no)
                && let Ok(value) = part_no.parse()
            {
                index.numeric.push((value, part_no.into()));
            }
        }
        index
    }

    /// The row of a clean part number.
    pub(crate) fn get(&self, part_no: &str) -> Option<u32> {
        self.exact.get(part_no).copied()
    }

    /// What a cell leads to.
    pub(crate) fn lead(&self, cell: CellRef) -> PartRef {
        // Most cells hold a part number as it is.
        if let Some(index) = self.get(cell.text) {
            return PartRef::Known(index);
        }
        let text = clean(cell.text);
        if let Some(index) = self.get(&text) {
            return PartRef::Known(index);
        }
        match self.altered(cell, &text) {
            Some(alteration) => PartRef::Altered(Box::new(alteration)),
            None => PartRef::Unknown(text.into_owned()),
        }
    }

    fn altered(&self, cell: CellRef, text: &str) -> Option<Alteration> {
        let made = |looks_like, likely: Option<String>| Some(Alteration { text: text.to_owned(), looks_like, likely });
        if let Some((month, day)) = day_of(cell, text) {
            return made("a date", self.before_date(month, day));
        }
        if is_scientific(text) {
            return made("a number in scientific notation", self.before_scientific(text));
        }
        if text.is_empty() || !text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') {
            return None;
        }
        if let Some(likely) = without_idle_zeros(text).and_then(|bare| self.bare.get(bare)) {
            return made("a number that lost its zeros", Some(likely.to_string()));
        }
        // 12E4 that was read as a number and written in full.
        let value: f64 = text.parse().ok()?;
        let likely = self
            .numeric
            .iter()
            .find(|(other, part_no)| other.total_cmp(&value).is_eq() && part_no.contains(['e', 'E']))?;
        made("a number in scientific notation", Some(likely.1.to_string()))
    }

    /// The part number that a date may have been: `1-2`, `02/01`, `JAN2`.
    fn before_date(&self, month: u32, day: u32) -> Option<String> {
        let short = MONTHS.get(usize::try_from(month).ok()?.checked_sub(1)?)?.first()?.to_ascii_uppercase();
        let mut tries = Vec::new();
        for sign in ["-", "/", "."] {
            for (first, second) in [(day, month), (month, day)] {
                tries.push(format!("{first}{sign}{second}"));
                tries.push(format!("{first:02}{sign}{second:02}"));
                tries.push(format!("{first}{sign}{second:02}"));
                tries.push(format!("{first:02}{sign}{second}"));
            }
        }
        for sign in ["", "-", " "] {
            tries.push(format!("{short}{sign}{day}"));
            tries.push(format!("{short}{sign}{day:02}"));
            tries.push(format!("{day}{sign}{short}"));
            tries.push(format!("{day:02}{sign}{short}"));
        }
        tries.into_iter().find(|text| self.exact.contains_key(text.as_str()))
    }

    fn before_scientific(&self, text: &str) -> Option<String> {
        let shown = text.replace(',', ".").to_ascii_uppercase();
        let (mantissa, _) = shown.split_once('E')?;
        let decimals = mantissa.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let value: f64 = shown.parse().ok()?;
        let same = |other: f64| format!("{other:.decimals$e}") == format!("{value:.decimals$e}");
        self.numeric.iter().find(|(other, _)| same(*other)).map(|(_, part_no)| part_no.to_string())
    }
}

/// Digits with at most one point: what a spreadsheet makes a number of.
fn without_idle_zeros(text: &str) -> Option<&str> {
    let is_number = text.bytes().any(|byte| byte.is_ascii_digit())
        && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        && text.bytes().filter(|byte| *byte == b'.').count() <= 1;
    if !is_number {
        return None;
    }
    let text = text.trim_start_matches('0');
    Some(if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text })
}

fn is_number_like(text: &str) -> bool {
    let mut letters = text.bytes().filter(u8::is_ascii_alphabetic);
    let exponent = letters.next().is_none_or(|letter| letter.eq_ignore_ascii_case(&b'e')) && letters.next().is_none();
    exponent
        && text.as_bytes().first().is_some_and(u8::is_ascii_digit)
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'.')
}

/// `1.2E+05`, as spreadsheets write large numbers.
fn is_scientific(text: &str) -> bool {
    let Some((mantissa, exponent)) = text.split_once(['E', 'e']) else { return false };
    let mut parts = mantissa.split(['.', ',']);
    let whole = parts.next().unwrap_or_default();
    let decimals = parts.next();
    let is_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    whole.len() == 1
        && is_digits(whole)
        && decimals.is_none_or(is_digits)
        && parts.next().is_none()
        && exponent.strip_prefix(['+', '-']).is_some_and(|digits| is_digits(digits) && digits.len() >= 2)
}

/// Short names of months, in English and German, as spreadsheets show them.
const MONTHS: [&[&str]; 12] = [
    &["jan"],
    &["feb"],
    &["mar", "mrz", "mär"],
    &["apr"],
    &["may", "mai"],
    &["jun"],
    &["jul"],
    &["aug"],
    &["sep"],
    &["oct", "okt"],
    &["nov"],
    &["dec", "dez"],
];

/// Month and day, where the cell is a date or reads like one.
fn day_of(cell: CellRef, text: &str) -> Option<(u32, u32)> {
    if let Is::Date(date) = cell.is {
        return Some((date.month(), date.day()));
    }
    if let Some(date) = iso_date(text) {
        return Some((date.month(), date.day()));
    }
    named_month(text).or_else(|| three_numbers(text))
}

/// `2-Jan`, `Jan-02`, `02-Jan-26`, `2. Jan`.
fn named_month(text: &str) -> Option<(u32, u32)> {
    let parts: Vec<&str> = text.split(['-', ' ', '.', '/']).filter(|part| !part.is_empty()).collect();
    let month_of = |part: &str| {
        let lower = part.to_lowercase();
        (1_u32..).zip(MONTHS).find(|(_, names)| names.contains(&lower.as_str())).map(|(month, _)| month)
    };
    let number = |part: &str| part.parse::<u32>().ok().filter(|_| part.len() <= 4);
    match parts.as_slice() {
        [first, second] | [first, second, _] if text.contains(['-', ' ', '.', '/']) => {
            let (month, day) = match (month_of(first), month_of(second)) {
                (Some(month), None) => (month, number(second)?),
                (None, Some(month)) => (month, number(first)?),
                _ => return None,
            };
            let year_fits = parts.get(2).is_none_or(|year| number(year).is_some());
            (year_fits && day <= 99).then_some((month, day))
        }
        _ => None,
    }
}

/// `01/02/2026`, `1/2/26`, `01.02.2026`.
fn three_numbers(text: &str) -> Option<(u32, u32)> {
    let sign = if text.contains('/') { '/' } else { '.' };
    let parts: Vec<&str> = text.split(sign).collect();
    let [first, second, year] = parts.as_slice() else { return None };
    let number = |part: &str| part.parse::<u32>().ok().filter(|_| part.len() <= 2);
    let years = year.len() == 4 || sign == '/' && year.len() == 2;
    let (first, second, year) = (number(first)?, number(second)?, year.parse::<i32>().ok().filter(|_| years)?);
    let year = if year < 100 { 2000 + year } else { year };
    NaiveDate::from_ymd_opt(year, second, first)
        .or_else(|| NaiveDate::from_ymd_opt(year, first, second))
        .map(|date| (date.month(), date.day()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn index(part_numbers: &[&str]) -> PartIndex {
        let component = |part_no: &&str| Component { part_no: (*part_no).to_owned(), ..Component::default() };
        PartIndex::new(&part_numbers.iter().map(component).collect::<Vec<_>>())
    }

    #[test]
    fn spreadsheet_damage_is_seen_where_the_table_lacks_the_part() {
        let parts = index(&["AB-1", "000123", "12E4", "1-2", "12.50", "MAR7", "123456789012345678", "7"]);
        for (text, looks_like, likely) in [
            ("123", "a number that lost its zeros", Some("000123")),
            ("12.5", "a number that lost its zeros", Some("12.50")),
            ("1.2E+05", "a number in scientific notation", Some("12E4")),
            ("120000", "a number in scientific notation", Some("12E4")),
            ("1.23457E+17", "a number in scientific notation", Some("123456789012345678")),
            ("9,9E+07", "a number in scientific notation", None),
            ("2-Jan", "a date", Some("1-2")),
            ("Jan-02", "a date", Some("1-2")),
            ("02. Jan", "a date", Some("1-2")),
            ("01/02/2026", "a date", Some("1-2")),
            ("2026-02-01", "a date", Some("1-2")),
            ("1.2.2026", "a date", Some("1-2")),
            ("7-Mar", "a date", Some("MAR7")),
            ("31.12.2026", "a date", None),
        ] {
            let PartRef::Altered(alteration) = parts.lead(CellRef { text, is: Is::Text }) else { panic!("{text}") };
            assert_eq!((alteration.looks_like, alteration.likely.as_deref()), (looks_like, likely), "{text}");
        }
        for text in ["XY-9", "12E5", "999", "AB-2", "ab-1", "1/4", "A-JAN", "JAN", "1.2.3", ""] {
            assert_eq!(parts.lead(CellRef { text, is: Is::Text }), PartRef::Unknown(text.to_owned()));
        }
        assert_eq!(parts.lead(CellRef { text: "\u{a0}AB-1 ", is: Is::Text }), PartRef::Known(0));
    }
}
