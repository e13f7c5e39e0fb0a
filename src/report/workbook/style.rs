//! The few formats of the workbook: weight, borders and number formats, no colour.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder};

/// Digits behind the point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Digits {
    Whole,
    One,
    Two,
    Three,
    /// Two, with thousands apart.
    Money,
    /// As many as the number has.
    General,
}

impl Digits {
    /// The number format; its last part keeps the number apart from the next column.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Whole => "#,##0_)",
            Self::One => "#,##0.0_)",
            Self::Two | Self::Money => "#,##0.00_)",
            Self::Three => "0.000_)",
            Self::General => "General_)",
        }
    }
}

/// How a column's cells look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// One line of text.
    Text,
    /// Text that breaks into lines.
    Wrapped,
    Number(Digits),
}

/// All formats.
pub struct Styles {
    /// The workbook's default: Arial 10, automatic colour, at the top of the cell.
    pub base: Format,
    pub title: Format,
    pub note: Format,
    pub header: Format,
    pub bold: Format,
    pub wrapped: Format,
    pub bold_wrapped: Format,
    pub text: Format,
    /// The offending cell on Lines.
    pub offending: Format,
    /// A cell of a bordered table on Summary, Basis and the cards.
    pub boxed: Format,
    pub boxed_wrapped: Format,
    /// A line to write on.
    pub signed: Format,
    pub link: Format,
}

/// Height of a line of text in points.
pub const LINE_HEIGHT: f64 = 12.75;

impl Styles {
    /// Builds them.
    #[must_use]
    pub fn new() -> Self {
        let base = Format::new()
            .set_font_name("Arial")
            .set_font_size(10)
            .set_font_color(Color::Automatic)
            .set_align(FormatAlign::Top);
        let top = base.clone();
        let bold = top.clone().set_bold();
        let header = bold
            .clone()
            .set_text_wrap()
            .set_align(FormatAlign::VerticalCenter)
            .set_border(FormatBorder::Thin)
            .set_border_bottom(FormatBorder::Medium);
        Self {
            title: bold.clone().set_font_size(14),
            note: top.clone().set_italic(),
            header,
            wrapped: top.clone().set_text_wrap(),
            bold_wrapped: bold.clone().set_text_wrap(),
            offending: bold.clone().set_border(FormatBorder::Thick),
            boxed: top.clone().set_border(FormatBorder::Thin),
            boxed_wrapped: top.clone().set_border(FormatBorder::Thin).set_text_wrap(),
            signed: top.clone().set_border_bottom(FormatBorder::Thin),
            link: top.clone(),
            text: top,
            bold,
            base,
        }
    }

    /// The format of a column.
    #[must_use]
    pub fn of(&self, look: Look) -> Format {
        match look {
            Look::Text => self.text.clone(),
            Look::Wrapped => self.wrapped.clone(),
            Look::Number(digits) => self.number(digits),
        }
    }

    /// A number in a column.
    #[must_use]
    pub fn number(&self, digits: Digits) -> Format {
        right(self.text.clone(), digits)
    }

    /// A sum in a column.
    #[must_use]
    pub fn bold_number(&self, digits: Digits) -> Format {
        right(self.bold.clone(), digits)
    }

    /// A number in a bordered table.
    #[must_use]
    pub fn boxed_number(&self, digits: Digits) -> Format {
        right(self.boxed.clone(), digits)
    }
}

fn right(format: Format, digits: Digits) -> Format {
    format.set_num_format(digits.code()).set_align(FormatAlign::Right)
}

impl Default for Styles {
    fn default() -> Self {
        Self::new()
    }
}

/// Letters of running text in the width of a digit: about 1.15 in Arial.
const TEXT_PER_DIGIT: f64 = 1.18;

/// Lines that a text takes in a column of a width, broken at blanks as a spreadsheet does.
///
/// Widths are in digits of the default font, which are wider than most letters; a little less
/// than fits is assumed, so that the last line shows in every program.
#[must_use]
pub fn lines_of(text: &str, width: f64) -> u32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a column is 1 to 255 digits wide")]
    let room = (width * TEXT_PER_DIGIT - 1.0).max(1.0) as usize;
    text.split('\n').map(|paragraph| lines_of_paragraph(paragraph, room)).sum::<u32>().max(1)
}

fn lines_of_paragraph(text: &str, room: usize) -> u32 {
    if text.len() <= room {
        return 1;
    }
    let mut lines = 1_u32;
    let mut used = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if used > 0 && used + 1 + length > room {
            lines += 1;
            used = 0;
        }
        used += length + usize::from(used > 0);
        while used > room {
            lines += 1;
            used -= room;
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_breaks_at_blanks() {
        assert_eq!(lines_of("", 10.0), 1);
        assert_eq!(lines_of("abcdefghi", 10.0), 1);
        assert_eq!(lines_of("abcde fghij", 10.0), 2);
        assert_eq!(lines_of("a b c d e f", 10.0), 2);
        assert_eq!(lines_of("x\ny\nz", 10.0), 3);
        // Ten letters fit: 21 take a third line.
        assert_eq!(lines_of("abcdefghijklmnopqrst", 10.0), 2);
        assert_eq!(lines_of("abcdefghijklmnopqrstu", 10.0), 3);
        assert_eq!(lines_of("abcdefghijklmnopqrst uvwxyz", 20.0), 2);
    }
}
