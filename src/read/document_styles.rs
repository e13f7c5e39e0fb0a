//! The number formats of an open document workbook (.ods), by the styles of its cells.
//!
//! Source: OpenDocument 1.3 part 3, 16.29 (data styles), 19.469 and 19.513 (styles of cells and their data styles).

use std::collections::BTreeMap;
use std::sync::Arc;

use super::markup::{Markup, Tag};
use super::number_format::{Condition, NumberFormat, ShownBeside, WholePattern};

/// Styles of a document that are kept.
const MOST_STYLES: usize = 100_000;
/// Bytes of the name of a style, and of a text beside a number.
const LONGEST_NAME: usize = 255;
/// Styles that a style stands on, one on the other.
const MOST_PARENTS: usize = 8;

/// What a data style shows beside a number, and the styles that stand for it where a condition holds.
#[derive(Debug, Default)]
struct DataStyle {
    beside: ShownBeside,
    has_number: bool,
    /// Digits at least of a whole number; 0 where it shows decimals or a fraction.
    digits: usize,
    is_scientific: bool,
    instead: Vec<(Condition, String)>,
}

/// The style of cells: its data style, and the style that it stands on.
#[derive(Debug, Default)]
struct CellStyle {
    data: Option<String>,
    parent: Option<String>,
}

#[derive(Debug, Default)]
pub(super) struct DocumentStyles {
    data: BTreeMap<String, DataStyle>,
    cells: BTreeMap<String, CellStyle>,
    /// The data style in work, and whether a text of it is.
    open: Option<(String, DataStyle)>,
    is_text: bool,
    /// Formats by the styles of cells that were asked for.
    known: BTreeMap<String, Option<u32>>,
    formats: Vec<NumberFormat>,
    shows_something: bool,
    pub(super) has_too_many: bool,
}

fn named(tag: &Tag, name: &str) -> Option<String> {
    tag.attribute(name).filter(|text| text.len() <= LONGEST_NAME).map(std::borrow::Cow::into_owned)
}

/// How a style shows whole numbers.
fn whole(style: &DataStyle) -> WholePattern {
    WholePattern::of(style.digits, &style.beside, style.is_scientific)
}

impl DocumentStyles {
    pub(super) fn see(&mut self, markup: &Markup) {
        match markup {
            Markup::Start(tag) => self.begin(tag),
            Markup::Text(text) => {
                let Some((_, style)) = self.open.as_mut().filter(|_| self.is_text) else { return };
                let into = if style.has_number { &mut style.beside.after } else { &mut style.beside.before };
                if into.len() + text.len() <= LONGEST_NAME {
                    into.push_str(&String::from_utf8_lossy(text));
                }
            }
            Markup::End("text" | "currency-symbol") => self.is_text = false,
            Markup::End("number-style" | "percentage-style" | "currency-style") => {
                let Some((name, mut style)) = self.open.take() else { return };
                let trimmed = |text: &str| text.trim().to_owned();
                let percent = if style.beside.is_percent { "%" } else { "" };
                style.beside.after = trimmed(style.beside.after.replacen(percent, "", 1).as_str());
                style.beside.before = trimmed(&style.beside.before);
                if !style.has_number {
                    style.beside = ShownBeside::default();
                }
                self.shows_something |= !style.beside.is_bare() || style.digits > 1 || style.is_scientific;
                self.data.insert(name, style);
            }
            Markup::End(_) => {}
        }
        self.has_too_many |= self.data.len() + self.cells.len() > MOST_STYLES;
    }

    fn begin(&mut self, tag: &Tag) {
        match tag.name() {
            own @ ("number-style" | "percentage-style" | "currency-style") if !self.has_too_many => {
                let beside = ShownBeside { is_percent: own == "percentage-style", ..ShownBeside::default() };
                let style = DataStyle { beside, ..DataStyle::default() };
                self.open = named(tag, "style:name").map(|name| (name, style));
            }
            "style" if !self.has_too_many && tag.attribute("style:family").as_deref() == Some("table-cell") => {
                let of = |name: &str| named(tag, name);
                let style = CellStyle { data: of("style:data-style-name"), parent: of("style:parent-style-name") };
                self.cells.extend(of("style:name").map(|name| (name, style)));
            }
            own => {
                let Some((_, style)) = &mut self.open else { return };
                match own {
                    "number" | "scientific-number" | "fraction" => {
                        style.has_number = true;
                        style.is_scientific = own == "scientific-number";
                        let has_decimals = tag.number("number:decimal-places").is_some_and(|places| places > 0);
                        let digits =
                            tag.number("number:min-integer-digits").filter(|_| own == "number" && !has_decimals);
                        style.digits = usize::try_from(digits.unwrap_or_default().min(20)).unwrap_or_default();
                        style.beside.thousands = match tag.number("number:display-factor") {
                            Some(1_000) => 1,
                            Some(1_000_000) => 2,
                            _ => 0,
                        };
                    }
                    "text" | "currency-symbol" => self.is_text = true,
                    "map" => {
                        let condition = tag.attribute("style:condition");
                        let condition = condition.as_deref().and_then(|text| text.trim().strip_prefix("value()"));
                        let condition = condition.and_then(|text| Condition::read(text.trim()));
                        style.instead.extend(condition.zip(named(tag, "style:apply-style-name")));
                    }
                    _ => {}
                }
            }
        }
    }

    /// Whether no style shows a text beside a number.
    pub(super) const fn are_plain(&self) -> bool {
        !self.shows_something
    }

    /// The number of the format of a style of cells; nothing where it shows no text beside a number.
    pub(super) fn format_of(&mut self, cell_style: &str) -> Option<u32> {
        if let Some(known) = self.known.get(cell_style) {
            return *known;
        }
        let format = self.data_style(cell_style).and_then(|style| self.format(style));
        let number = format.and_then(|format| {
            self.formats.push(format);
            u32::try_from(self.formats.len() - 1).ok()
        });
        if cell_style.len() <= LONGEST_NAME {
            self.known.insert(cell_style.to_owned(), number);
        }
        number
    }

    fn data_style(&self, cell_style: &str) -> Option<&DataStyle> {
        let mut style = self.cells.get(cell_style)?;
        for _ in 0..MOST_PARENTS {
            if let Some(data) = &style.data {
                return self.data.get(data);
            }
            style = self.cells.get(style.parent.as_ref()?)?;
        }
        None
    }

    fn format(&self, style: &DataStyle) -> Option<NumberFormat> {
        let instead = style.instead.iter().filter_map(|(condition, name)| {
            let other = self.data.get(name)?;
            Some((Some(*condition), other.beside.clone(), whole(other)))
        });
        NumberFormat::of(instead.chain([(None, style.beside.clone(), whole(style))]).collect())
    }

    /// The formats, by the numbers that cells have of them.
    pub(super) fn finish(self) -> Arc<[NumberFormat]> {
        self.formats.into()
    }
}
