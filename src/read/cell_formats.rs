//! Numbers to be written into cells of a workbook whose formats show units: what is written must read back as what
//! is meant.

use std::io::Cursor;

use calamine::{Reader, SheetType, Xlsx};

use crate::physics::unit::Unit;
use crate::tables::policy::Policy;

use super::collector::number_text;
use super::number::{Form, Numeral, Style};
use super::number_format::ShownBeside;
use super::plant_words::PlantWords;
use super::quietly::quietly;
use super::shown_unit::{Meaning, of_quantity};
use super::style_formats::StyleFormats;

/// What becomes of a number in a cell of a style.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum InCell {
    AsItIs,
    /// This number is to be stored for it.
    Stored(f64),
    /// The style would show it as something else.
    NotInStyle,
}

/// The number formats of an .xlsx workbook, by the styles of its cells.
#[derive(Debug, Default)]
pub struct CellFormats {
    formats: StyleFormats,
    own: PlantWords,
}

impl CellFormats {
    /// Those of a workbook that has been read before.
    #[must_use]
    pub fn of(workbook: &[u8], policy: &Policy) -> Self {
        let read = || {
            let mut workbook = Xlsx::new(Cursor::new(workbook)).ok()?;
            let sheets = workbook.sheets_metadata().iter();
            let first =
                sheets.filter(|sheet| sheet.typ == SheetType::WorkSheet).map(|sheet| sheet.name.clone()).next()?;
            Some(StyleFormats::of(workbook.worksheet_cells_reader(&first).ok()?.styles()))
        };
        Self { formats: quietly(read).flatten().unwrap_or_default(), own: PlantWords::of(policy) }
    }

    /// A number of a unit, or a plain one, in a cell of a style.
    #[must_use]
    pub fn number(&self, style: &str, number: f64, unit: Option<&'static Unit>) -> InCell {
        let Some((_, format)) = style.parse().ok().and_then(|style| self.formats.format(style)) else {
            return InCell::AsItIs;
        };
        let Some((section, beside)) = format.beside(number) else { return InCell::AsItIs };
        match self.stored(beside, number, unit) {
            Some(stored) if format.beside(stored).is_some_and(|(own, _)| own == section) => InCell::Stored(stored),
            _ => InCell::NotInStyle,
        }
    }

    /// The number to be stored; nothing where it can't be shown so.
    fn stored(&self, beside: &ShownBeside, number: f64, unit: Option<&'static Unit>) -> Option<f64> {
        let Some(unit) = unit else {
            let texts = [beside.after.as_str(), beside.before.as_str()];
            let is_other = |text: &&str| !text.is_empty() && (*text == "%" || self.own.any_unit(text).is_some());
            return (!texts.iter().any(is_other)).then_some(number);
        };
        match of_quantity(beside, unit.dimension, &self.own) {
            Meaning::Nothing | Meaning::Doubtful => Some(number),
            Meaning::Unit(name) => {
                let shown = self.own.unit(&name, unit.dimension)?.from_si(unit.to_si(number));
                number_text(beside.stored(shown)).parse().ok()
            }
            Meaning::Other(_) => None,
        }
    }

    /// The number to be stored for a text such as `12.5 kN` where the style shows the unit by itself.
    #[must_use]
    pub fn number_of_text(&self, style: &str, text: &str) -> Option<f64> {
        let (_, format) = self.formats.format(style.parse().ok()?)?;
        let numeral =
            Numeral::scan(text).filter(|own| matches!(own.form, Form::Whole | Form::Decided(Style::Point)))?;
        let number: f64 = numeral.plain(Style::Point).parse().ok()?;
        let unit = self.own.any_unit(numeral.rest)?;
        let (section, beside) = format.beside(number)?;
        let stored = match of_quantity(beside, unit.dimension, &self.own) {
            Meaning::Unit(name) if self.own.unit(&name, unit.dimension) == Some(unit) => beside.stored(number),
            _ => return None,
        };
        format.beside(stored).is_some_and(|(own, _)| own == section).then_some(stored)
    }
}
