//! The number formats of a workbook by the styles of its cells.

use std::collections::HashMap;
use std::sync::Arc;

use calamine::Style;

use super::cell::Is;
use super::number_format::NumberFormat;

/// The formats that show a text beside a number, or a number otherwise than it is, by style.
#[derive(Debug, Default)]
pub(crate) struct StyleFormats {
    by_style: Vec<Option<u32>>,
    formats: Vec<NumberFormat>,
}

impl StyleFormats {
    /// Those of an .xlsx workbook.
    pub(super) fn of(styles: &[Style]) -> Self {
        let code = |style: &'_ Style| style.number_format.as_ref().map(|format| format.format_code.clone());
        Self::of_codes(styles.iter().map(code))
    }

    /// Those of styles with these codes, in the order of the styles.
    pub(super) fn of_codes(codes: impl Iterator<Item = Option<String>>) -> Self {
        let mut own = Self::default();
        let mut known: HashMap<String, Option<u32>> = HashMap::new();
        for code in codes {
            let number = code.and_then(|code| {
                if let Some(number) = known.get(&code) {
                    return *number;
                }
                let number = NumberFormat::read(&code).and_then(|format| own.add(format));
                known.insert(code, number);
                number
            });
            own.by_style.push(number);
        }
        own
    }

    fn add(&mut self, format: NumberFormat) -> Option<u32> {
        self.formats.push(format);
        u32::try_from(self.formats.len() - 1).ok()
    }

    pub(super) const fn show_something(&self) -> bool {
        !self.formats.is_empty()
    }

    /// The format of a style and its number.
    pub(super) fn format(&self, style: usize) -> Option<(u32, &NumberFormat)> {
        let number = self.by_style.get(style).copied().flatten()?;
        Some((number, self.formats.get(number as usize)?))
    }

    /// What a number of a style is.
    pub(super) fn is(&self, number: f64, style: usize) -> Is {
        let shown = self.format(style).filter(|(_, format)| format.shows_more(number));
        shown.map_or(Is::Number(number), |(format, _)| Is::Shown(number, format))
    }

    /// The formats, by the numbers that cells have of them.
    pub(super) fn finish(self) -> Arc<[NumberFormat]> {
        self.formats.into()
    }
}
