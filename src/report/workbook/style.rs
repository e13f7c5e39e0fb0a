//! The few formats of the workbook: weight, borders and number formats, no colour.

use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder};

/// Digits behind the point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Digits {
    Whole,
    One,
    Two,
    Three,
    Six,
    /// Four of them, and a power of ten.
    Scientific,
    /// Two, with thousands apart.
    Money,
    /// As many as the number has and the column has room for.
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
            Self::Six => "0.000000_)",
            Self::Scientific => "0.000E+00_)",
            // With room beside it no digit may be left out, and what does not fit is shown as `###`.
            Self::General => "General",
        }
    }

    /// Those of an amount as it is bought: whole pieces, lengths to a hundredth, and what is too little to be seen so.
    #[must_use]
    pub fn of_amount(amount: f64, unit: &str) -> Self {
        let is_seen = amount == 0.0 || amount.abs() >= 0.005;
        match unit {
            "each" if amount.fract() == 0.0 => Self::Whole,
            _ if is_seen => Self::Two,
            _ => Self::Six,
        }
    }

    /// The number as these digits show it, with the room that keeps it apart; `None` where it depends on the program.
    #[must_use]
    pub fn shown(self, number: f64) -> Option<String> {
        let places = match self {
            Self::Whole => 0,
            Self::One => 1,
            Self::Two | Self::Money => 2,
            Self::Three => 3,
            Self::Six => 6,
            Self::Scientific | Self::General => return None,
        };
        let plain = format!("{number:.places$}");
        let whole = plain.split('.').next().map_or(0, |whole| whole.trim_start_matches('-').len());
        let has_commas = matches!(self, Self::Whole | Self::One | Self::Two | Self::Money);
        let commas = if has_commas { whole.saturating_sub(1) / 3 } else { 0 };
        Some(format!("{plain}{})", ",".repeat(commas)))
    }

    /// The width in digits of a column that shows the widest of some numbers.
    #[must_use]
    pub fn width_for(self, numbers: impl Iterator<Item = f64>) -> f64 {
        numbers.filter_map(|number| self.shown(number)).map(|text| width_for(&text) * BOLD).fold(0.0, f64::max)
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
    /// Over a section of Summary, across the page.
    pub heading: Format,
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
}

/// Height of a line of text in points.
pub const LINE_HEIGHT: f64 = 12.0;

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
            heading: bold.clone().set_border_bottom(FormatBorder::Medium),
            title: bold.clone().set_font_size(14),
            note: top.clone().set_italic(),
            header,
            wrapped: top.clone().set_text_wrap(),
            bold_wrapped: bold.clone().set_text_wrap(),
            offending: bold.clone().set_border(FormatBorder::Thick),
            boxed: top.clone().set_border(FormatBorder::Thin),
            boxed_wrapped: top.clone().set_border(FormatBorder::Thin).set_text_wrap(),
            signed: top.clone().set_border_bottom(FormatBorder::Thin),
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

/// Advance widths of the letters of Arial from the blank to `~`, in thousandths of its size: the font metrics of
/// Helvetica, which Arial and its free twins share.
#[rustfmt::skip]
static ADVANCES: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];
/// Of letters beyond: accented ones are as wide as their letter, those of the Far East as wide as the font is high.
const WIDEST_LATIN: u32 = 722;
const FAR_EAST: u32 = 1000;
/// Bold letters are wider.
const BOLD: f64 = 1.08;
/// Room that a column of one digit's width gives to letters, in the same thousandths: a digit, less what rounding takes.
const ROOM_A_DIGIT: f64 = 545.0;

fn advance(letter: char) -> u32 {
    let at = u32::from(letter).wrapping_sub(u32::from(' ')) as usize;
    match ADVANCES.get(at) {
        Some(advance) => u32::from(*advance),
        None if letter < '\u{2e80}' => WIDEST_LATIN,
        None => FAR_EAST,
    }
}

/// The width in digits of a column in which a text stands in one line.
#[must_use]
pub fn width_for(text: &str) -> f64 {
    f64::from(text.chars().map(advance).sum::<u32>() + 1) / ROOM_A_DIGIT
}

/// Lines that a text takes in a column of a width in digits, broken at blanks as a spreadsheet does.
#[must_use]
pub fn lines_of(text: &str, width: f64) -> u32 {
    let mut lines = 0;
    break_lines(text, width * ROOM_A_DIGIT, |_| lines += 1);
    lines
}

/// The same in bold type.
#[must_use]
pub fn bold_lines_of(text: &str, width: f64) -> u32 {
    lines_of(text, width / BOLD)
}

/// A text in lines that fit a width in digits.
#[must_use]
pub fn broken(text: &str, width: f64) -> Vec<&str> {
    let mut lines = Vec::new();
    break_lines(text, width * ROOM_A_DIGIT, |line| lines.push(line));
    lines
}

fn break_lines<'a>(text: &'a str, room: f64, mut take: impl FnMut(&'a str)) {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a page is a few hundred digits wide")]
    let room = room.max(1.0) as u32;
    for paragraph in text.split('\n') {
        let (mut start, mut used) = (0, 0);
        // The last blank of the line, and what stands up to and with it.
        let mut blank: Option<(usize, u32)> = None;
        for (at, letter) in paragraph.char_indices() {
            let width = advance(letter);
            if letter == ' ' {
                used += width;
                blank = Some((at, used));
                continue;
            }
            if used + width > room && at > start {
                let (end, next, until) = blank.map_or((at, at, used), |(blank, until)| (blank, blank + 1, until));
                take(paragraph.get(start..end).unwrap_or_default());
                (start, used, blank) = (next, used - until, None);
            }
            used += width;
        }
        take(paragraph.get(start..).unwrap_or_default());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A digit is 556 wide, so 9 fit into 10 digits' room of 5450.
    #[test]
    fn text_breaks_at_blanks() {
        for (text, lines) in [
            ("", vec![""]),
            ("012345678", vec!["012345678"]),
            ("0123456789", vec!["012345678", "9"]),
            ("01234 56789", vec!["01234", "56789"]),
            ("0 1 2 3 4 5 6 7", vec!["0 1 2 3 4 5", "6 7"]),
            ("x\ny\nz", vec!["x", "y", "z"]),
            ("iiiiiiiiiiiiiiiiiiiiiii", vec!["iiiiiiiiiiiiiiiiiiiiiii"]),
        ] {
            assert_eq!(broken(text, 10.0), lines);
            assert_eq!(lines_of(text, 10.0) as usize, lines.len());
        }
        assert_eq!((lines_of("012345678", 9.9), bold_lines_of("012345678", 9.9)), (1, 2));
        for text in ["012345678", "GEARBOX HOUSING", "jig"] {
            assert_eq!((lines_of(text, width_for(text)), lines_of(text, width_for(text) - 0.1)), (1, 2), "{text}");
        }
    }

    #[test]
    fn no_letter_is_lost() {
        let text = "Charged to 138 bar at 20 °C, the trapped oil of 日本 reaches 169.3 bar.";
        for width in [1.0, 3.0, 8.0, 21.0, 60.0] {
            assert_eq!(broken(text, width).concat().replace(' ', ""), text.replace(' ', ""));
        }
    }
}
