//! Cells of an .xlsx workbook whose letters are struck out or raised. The reader of workbooks joins the texts of a cell
//! whatever they look like: 250 struck out and 150 behind it would be 250150, 150 with a footnote 1501.
//!
//! Source: ECMA-376 part 1, 18.4.4 (r), 18.4.10 (strike), 18.4.14 (vertAlign), 18.8.22 (font), 18.8.45 (xf), 18.3.1.4 (c).

use std::collections::BTreeSet;
use std::io::BufRead;

use super::error::ReadError;
use super::markup::{Fault, Markup, Tag, each};

/// Cells that are kept.
const MOST_MARKED: usize = 1_000_000;

/// Which styles of cells, and which shared texts, have letters struck out or raised.
#[derive(Debug, Default)]
pub(super) struct Strikes {
    fonts: Fonts,
    styles: BTreeSet<u64>,
    texts: BTreeSet<u64>,
    /// Parts of sheets whose own texts have such letters.
    sheets: BTreeSet<String>,
}

/// Where the styles are read.
#[derive(Debug, Default)]
struct Fonts {
    within: Option<Within>,
    count: u64,
    struck: BTreeSet<u64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Within {
    Fonts,
    CellFormats,
}

fn strikes(tag: &Tag) -> bool {
    tag.name() == "strike" && !matches!(tag.attribute("val").as_deref(), Some("0" | "false" | "off"))
}

/// The runs of a text.
#[derive(Debug, Default)]
pub(super) struct Runs {
    is_struck: bool,
    is_raised: bool,
    /// The last letter so far.
    last: u8,
}

impl Runs {
    /// Sees the next of a text, or the start of another one; whether letters of it are struck out, or raised or lowered.
    /// The power of a unit, `mm²`, may be.
    pub(super) fn see(&mut self, markup: &Markup) -> bool {
        match markup {
            Markup::Start(tag) => match tag.name() {
                "si" | "is" => *self = Self::default(),
                "r" | "rPh" => (self.is_struck, self.is_raised) = (false, false),
                "strike" => self.is_struck = strikes(tag),
                "vertAlign" => self.is_raised = tag.attribute("val").is_some_and(|val| val != "baseline"),
                _ => {}
            },
            Markup::Text(text) => {
                let (before, text) = (self.last, text.trim_ascii());
                self.last = text.last().copied().unwrap_or(before);
                let says_something = (self.is_struck || self.is_raised) && !text.is_empty();
                let is_of_unit = matches!(before.to_ascii_lowercase(), b'm' | b'n' | b't');
                let is_power = matches!(text, b"2" | b"3") && is_of_unit;
                return says_something && (self.is_struck || !is_power);
            }
            // What stands behind a run, or behind the cell's text, has the looks of neither.
            Markup::End("r" | "rPh" | "si" | "is") => (self.is_struck, self.is_raised) = (false, false),
            Markup::End(_) => {}
        }
        false
    }
}

impl Strikes {
    /// Sees a tag of the styles.
    pub(super) fn see_style(&mut self, markup: &Markup) {
        let fonts = &mut self.fonts;
        match markup {
            Markup::Start(tag) => match (tag.name(), fonts.within) {
                ("fonts", None) => (fonts.within, fonts.count) = (Some(Within::Fonts), 0),
                ("cellXfs", None) => (fonts.within, fonts.count) = (Some(Within::CellFormats), 0),
                ("font", Some(Within::Fonts)) => fonts.count += 1,
                ("strike", Some(Within::Fonts)) if strikes(tag) => {
                    fonts.struck.insert(fonts.count.saturating_sub(1));
                }
                ("xf", Some(Within::CellFormats)) => {
                    if !fonts.struck.is_empty() && fonts.struck.contains(&tag.number("fontId").unwrap_or_default()) {
                        self.styles.insert(fonts.count);
                    }
                    fonts.count += 1;
                }
                _ => {}
            },
            Markup::End("fonts" | "cellXfs") => fonts.within = None,
            _ => {}
        }
    }

    /// A shared text has such letters.
    pub(super) fn add_text(&mut self, index: u64) {
        self.texts.insert(index);
    }

    /// The part of a sheet has such letters in a cell's own text.
    pub(super) fn add_sheet(&mut self, part: &str) {
        self.sheets.insert(part.to_owned());
    }

    /// Whether a sheet has to be looked at for them.
    pub(super) fn may_be_on(&self, part: &str) -> bool {
        !self.styles.is_empty() || !self.texts.is_empty() || self.sheets.contains(part)
    }

    /// Looks for them on a sheet.
    pub(super) fn on_sheet(&self, file: &str, part: &mut impl BufRead) -> Result<Struck, Fault> {
        let mut found = Struck::default();
        let mut row = Row::default();
        let mut runs = Runs::default();
        each(part, |markup| {
            row.cell.is_marked |= runs.see(&markup);
            row.see(self, &markup, &mut found);
        })?;
        if found.cells.len() > MOST_MARKED {
            return Err(Fault::Refused(ReadError::new(format!(
                "{file}: more than a million of its cells have letters struck out or raised; clear what does not count."
            ))));
        }
        Ok(found)
    }
}

/// `B7` as row 7 and column 1.
pub(super) fn place_of(text: &str) -> Option<(u32, u32)> {
    let digits = text.find(|letter: char| letter.is_ascii_digit())?;
    let (letters, number) = text.split_at_checked(digits)?;
    let column = letters.bytes().try_fold(0_u32, |sum, letter| {
        let digit = letter.is_ascii_uppercase().then(|| u32::from(letter - b'A') + 1)?;
        sum.checked_mul(26)?.checked_add(digit)
    })?;
    Some((number.parse::<u32>().ok()?, column.checked_sub(1)?))
}

/// What of a sheet is struck out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Struck {
    /// Rows of which every filled cell is.
    pub rows: u64,
    /// Other cells with letters struck out or raised: row as a spreadsheet shows it, column from 0 on.
    pub cells: Vec<(u32, u32)>,
}

#[derive(Default)]
struct Cell {
    /// From 1 on; 0 before the first.
    column: u32,
    is_struck: bool,
    is_shared: bool,
    is_value: bool,
    is_marked: bool,
    is_filled: bool,
}

#[derive(Default)]
struct Row {
    number: u32,
    cell: Cell,
    filled: u64,
    struck: Vec<u32>,
    marked: Vec<u32>,
}

impl Row {
    /// Sees the next of a sheet.
    fn see(&mut self, of: &Strikes, markup: &Markup, found: &mut Struck) {
        match markup {
            Markup::Start(tag) if tag.name() == "row" => {
                let number = tag.number("r").and_then(|number| u32::try_from(number).ok());
                *self = Self { number: number.unwrap_or(self.number.saturating_add(1)), ..Self::default() };
            }
            Markup::End("row") => self.end(found),
            Markup::Start(tag) if tag.name() == "c" => {
                let place = tag.attribute("r").as_deref().and_then(place_of);
                self.cell = Cell {
                    column: place.map_or(self.cell.column, |(_, column)| column).saturating_add(1),
                    is_struck: tag.number("s").is_some_and(|style| of.styles.contains(&style)),
                    is_shared: tag.attribute("t").as_deref() == Some("s"),
                    ..Cell::default()
                };
            }
            Markup::End("c") => self.end_cell(),
            Markup::Start(tag) if tag.name() == "v" => self.cell.is_value = true,
            Markup::End("v") => self.cell.is_value = false,
            Markup::Text(text) => {
                self.cell.is_filled |= text.iter().any(|byte| !byte.is_ascii_whitespace());
                if self.cell.is_value && self.cell.is_shared {
                    let index = std::str::from_utf8(text).ok().and_then(|text| text.trim().parse().ok());
                    self.cell.is_marked |= index.is_some_and(|index: u64| of.texts.contains(&index));
                }
            }
            Markup::Start(_) | Markup::End(_) => {}
        }
    }

    fn end_cell(&mut self) {
        let cell = &self.cell;
        let Some(column) = cell.column.checked_sub(1).filter(|_| cell.is_filled) else { return };
        self.filled += 1;
        if cell.is_struck {
            self.struck.push(column);
        } else if cell.is_marked {
            self.marked.push(column);
        }
    }

    fn end(&mut self, found: &mut Struck) {
        if self.filled > 0 && self.struck.len() as u64 == self.filled {
            found.rows += 1;
        } else if found.cells.len() <= MOST_MARKED {
            let (struck, marked) = (std::mem::take(&mut self.struck), std::mem::take(&mut self.marked));
            found.cells.extend(struck.into_iter().chain(marked).map(|column| (self.number, column)));
        }
        (self.filled, self.cell.column) = (0, 0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strikes(styles: &str) -> Strikes {
        let mut strikes = Strikes::default();
        assert!(each(&mut styles.as_bytes(), |markup| strikes.see_style(&markup)).is_ok());
        strikes
    }

    /// By ECMA-376 part 1, 18.8: fonts are counted from 0, and so are the formats of cells that name them.
    #[test]
    fn struck_and_raised_letters_are_found_where_they_stand() {
        let mut strikes = strikes(
            "<styleSheet><fonts><font/><font><strike/></font><font><strike val=\"0\"/></font></fonts>\
             <cellStyleXfs><xf fontId=\"1\"/></cellStyleXfs><cellXfs><xf fontId=\"0\"/><xf fontId=\"2\"/><xf fontId=\"1\"/></cellXfs>\
             <dxfs><dxf><font><strike/></font></dxf></dxfs></styleSheet>",
        );
        strikes.add_text(4);
        let sheet = "<sheetData><row r=\"1\"><c r=\"A1\" t=\"s\"><v>4</v></c><c r=\"B1\" t=\"s\"><v>3</v></c><c r=\"C1\"><v>4</v></c></row>\
             <row r=\"3\"><c r=\"A3\" s=\"2\"><v>1</v></c><c r=\"B3\"/><c r=\"C3\" s=\"2\" t=\"str\"><v>x</v></c></row>\
             <row r=\"4\"><c r=\"A4\" s=\"2\"><v>1</v></c><c r=\"D4\" s=\"1\"><v>1</v></c>\
             <c t=\"inlineStr\"><is><r><t>150</t></r><r><rPr><vertAlign val=\"superscript\"/></rPr><t>1</t></r></is></c></row></sheetData>";
        let found = strikes.on_sheet("a.xlsx", &mut sheet.as_bytes());
        assert_eq!(found.ok(), Some(Struck { rows: 1, cells: vec![(1, 0), (4, 0), (4, 4)] }));
        // A footnote in one cell says nothing of the cells behind it.
        let note = "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><r><t>clamp</t></r><r><rPr><vertAlign val=\"superscript\"/></rPr><t>1)</t></r></is></c>\
             <c r=\"B1\"><v>250</v></c><c r=\"C1\" t=\"str\"><v>x</v></c></row>";
        assert_eq!(
            strikes.on_sheet("a.xlsx", &mut note.as_bytes()).ok(),
            Some(Struck { rows: 0, cells: vec![(1, 0)] })
        );
        let power = "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><r><t>314 mm</t></r><r><rPr><vertAlign val=\"superscript\"/></rPr><t>2</t></r></is></c></row>";
        assert_eq!(strikes.on_sheet("a.xlsx", &mut power.as_bytes()).ok(), Some(Struck::default()));
        assert!(strikes.may_be_on("x") && !Strikes::default().may_be_on("x"));
    }
}
