//! Numbers as people write them: separators for thousands and decimals.

/// Which sign stands before the decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Style {
    Point,
    Comma,
}

/// What the clear numbers of a column or file say of its style.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Evidence(u8);

impl Evidence {
    const POINT: u8 = 1;
    const COMMA: u8 = 2;
    /// Blanks part thousands.
    const BLANK: u8 = 4;
    /// An unclear number is whole thousands, or a number with three zeros behind its sign.
    const ROUND: u8 = 8;

    pub(crate) fn add(&mut self, style: Style) {
        self.0 |= if style == Style::Point { Self::POINT } else { Self::COMMA };
    }

    pub(crate) fn join(&mut self, other: Self) {
        self.0 |= other.0;
    }

    pub(crate) const fn is_mixed(self) -> bool {
        self.0 & (Self::POINT | Self::COMMA) == Self::POINT | Self::COMMA
    }

    /// Whether a clear number has thousands parted by a blank.
    pub(crate) const fn has_blanks(self) -> bool {
        self.0 & Self::BLANK != 0
    }

    /// Whether numbers such as `9.000` were seen and none that says what their sign means.
    pub(crate) const fn hangs_on_others(self) -> bool {
        self.0 & Self::ROUND != 0 && self.0 & (Self::POINT | Self::COMMA) == 0
    }

    pub(crate) const fn style(self) -> Option<Style> {
        match self.0 & (Self::POINT | Self::COMMA) {
            Self::POINT => Some(Style::Point),
            Self::COMMA => Some(Style::Comma),
            _ => None,
        }
    }

    /// Takes what a cell's text says, if it says anything.
    pub(crate) fn look_at(&mut self, text: &str) {
        if !text.bytes().any(|byte| matches!(byte, b',' | b'.' | b' ')) || self.is_mixed() && self.has_blanks() {
            return;
        }
        let Some(Numeral { form, body, .. }) = Numeral::scan(text) else { return };
        if let Form::Decided(style) = form {
            self.add(style);
        }
        if matches!(form, Form::Open(b'.' | b',')) && body.ends_with("000") {
            self.0 |= Self::ROUND;
        }
        if form != Form::Open(b' ') && body.contains(' ') {
            self.0 |= Self::BLANK;
        }
    }
}

/// How an unclear number of a column is read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct ColumnStyle {
    /// From the column, else from the file.
    pub style: Option<Style>,
    /// Whether a lone `1.234` is unclear too: clear numbers contradict each other, or the file is
    /// separated by semicolons, as where the comma stands before decimals.
    pub point_is_doubtful: bool,
    /// Whether clear numbers of the file have thousands parted by blanks: a lone `150 250` is one number too.
    pub has_blanks: bool,
}

/// What separators a number has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// None that matters.
    Whole,
    /// They can mean one thing only.
    Decided(Style),
    /// `1,234` or `1.234`: the sign that is unclear; of `150 250`, which may be two numbers, the blank.
    Open(u8),
}

/// A number at the start of a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Numeral<'a> {
    negative: bool,
    body: &'a str,
    exponent: &'a str,
    pub form: Form,
    /// What follows it: a unit, or nothing.
    pub rest: &'a str,
}

/// Blanks and apostrophes that part thousands.
const fn is_gap(letter: char) -> bool {
    matches!(letter, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\u{2007}' | '\'' | '’')
}

impl<'a> Numeral<'a> {
    /// The number that a text starts with, if it starts with one.
    pub(crate) fn scan(text: &'a str) -> Option<Self> {
        let text = super::cell::trimmed(text);
        let (negative, text) = match text.chars().next()? {
            '-' | '\u{2212}' => (true, super::cell::trimmed(text.get(text.chars().next()?.len_utf8()..)?)),
            '+' => (false, text.get(1..)?),
            _ => (false, text),
        };
        let end = body_end(text);
        let (body, rest) = (text.get(..end)?, text.get(end..)?);
        let form = form_of(body)?;
        let exponent_end = exponent_end(rest);
        let (exponent, rest) = (rest.get(..exponent_end)?, rest.get(exponent_end..)?);
        Some(Self { negative, body, exponent, form, rest: super::cell::trimmed(rest) })
    }

    /// The style that a numbers gives it; `None` where it stays unclear.
    pub(crate) fn style(&self, numbers: ColumnStyle) -> Option<Style> {
        match self.form {
            Form::Whole => Some(Style::Point),
            Form::Decided(style) => Some(style),
            Form::Open(b' ') => numbers.has_blanks.then_some(Style::Point),
            Form::Open(_) if numbers.style.is_some() => numbers.style,
            Form::Open(b'.') if !numbers.point_is_doubtful => Some(Style::Point),
            Form::Open(_) => None,
        }
    }

    /// The number with a point before decimals and nothing between thousands.
    pub(crate) fn plain(&self, style: Style) -> String {
        let decimal = if style == Style::Point { '.' } else { ',' };
        let mut plain = String::with_capacity(self.body.len() + 8);
        if self.negative {
            plain.push('-');
        }
        for letter in self.body.chars() {
            if letter.is_ascii_digit() {
                plain.push(letter);
            } else if letter == decimal {
                plain.push('.');
            }
        }
        plain.push_str(self.exponent);
        plain
    }

    /// An unclear number as a numbers reads it, written so that it is clear by itself, with what
    /// follows it; `None` where it is clear already or stays unclear.
    pub(crate) fn cleared(&self, numbers: ColumnStyle) -> Option<String> {
        if !matches!(self.form, Form::Open(_)) || !self.exponent.is_empty() {
            return None;
        }
        let plain = self.plain(self.style(numbers)?);
        let zero = if plain.contains('.') { "0" } else { "" };
        let gap = if self.rest.is_empty() { "" } else { " " };
        Some(format!("{plain}{zero}{gap}{}", self.rest))
    }
}

/// Where the digits and separators of a number end.
fn body_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits_at =
        |from: usize| bytes.get(from..).map_or(0, |rest| rest.iter().take_while(|byte| byte.is_ascii_digit()).count());
    let mut end = 0;
    for (at, letter) in text.char_indices() {
        if at < end {
            continue;
        }
        let next = at + letter.len_utf8();
        if letter.is_ascii_digit() || matches!(letter, '.' | ',') {
            end = next;
        } else if is_gap(letter) && at > 0 && digits_at(next) == 3 {
            end = next + 3;
        } else {
            break;
        }
    }
    end
}

fn exponent_end(rest: &str) -> usize {
    let bytes = rest.as_bytes();
    if !matches!(bytes.first(), Some(b'e' | b'E')) {
        return 0;
    }
    let sign = usize::from(matches!(bytes.get(1), Some(b'+' | b'-')));
    let digits = bytes.get(1 + sign..).map_or(0, |tail| tail.iter().take_while(|byte| byte.is_ascii_digit()).count());
    if digits == 0 { 0 } else { 1 + sign + digits }
}

/// What the separators of digits mean; `None` where they mean nothing.
fn form_of(body: &str) -> Option<Form> {
    if !body.bytes().any(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let mut groups: Vec<usize> = vec![0];
    let mut separators: Vec<u8> = Vec::new();
    for letter in body.chars() {
        if letter.is_ascii_digit() {
            *groups.last_mut()? += 1;
        } else {
            separators.push(if matches!(letter, '.' | ',') { u8::try_from(letter).ok()? } else { b' ' });
            groups.push(0);
        }
    }
    let grouped = |sizes: &[usize]| {
        sizes.first().is_some_and(|size| (1..=3).contains(size)) && sizes.iter().skip(1).all(|size| *size == 3)
    };
    let all_same = |signs: &[u8]| signs.windows(2).all(|pair| pair.first() == pair.last());
    let decimal = |sign: u8| Some(Form::Decided(if sign == b'.' { Style::Point } else { Style::Comma }));
    let Some((&last, earlier)) = separators.split_last() else { return Some(Form::Whole) };
    let (&fraction, whole) = groups.split_last()?;
    if last != b' ' && !earlier.contains(&last) {
        if earlier.is_empty() {
            let is_open = fraction == 3 && grouped(whole) && !body.starts_with('0');
            return match (is_open, fraction, last) {
                (true, ..) => Some(Form::Open(last)),
                (false, 0, b',') => None,
                _ => decimal(last),
            };
        }
        return if all_same(earlier) && grouped(whole) && fraction > 0 { decimal(last) } else { None };
    }
    if !all_same(&separators) || !grouped(&groups) {
        return None;
    }
    if may_be_two(body) {
        return Some(Form::Open(b' '));
    }
    match last {
        b'.' => decimal(b','),
        b',' => decimal(b'.'),
        _ => Some(Form::Whole),
    }
}

/// Whether digits with one plain blank among them may be two numbers as well as thousands: `150 250`, where one value was
/// written behind another. `1 500` and `12 000` are one: of two values of one thing the second is not a hundred times the
/// first, and starts with no zero.
fn may_be_two(body: &str) -> bool {
    let starts_a_number = |digits: &str| matches!(digits.as_bytes().first(), Some(b'1'..=b'9'));
    body.split_once(' ').is_some_and(|(first, second)| {
        matches!(first.len(), 2 | 3) && second.len() == 3 && starts_a_number(first) && starts_a_number(second)
    })
}

const TENS: [f64; 16] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// A plain number without sign, separator of thousands or unit, the usual case.
pub(crate) fn quick(text: &str, numbers: ColumnStyle) -> Option<f64> {
    let bytes = text.as_bytes();
    if bytes.is_empty() || bytes.len() > 15 {
        return None;
    }
    let mut point = None;
    let mut whole: u64 = 0;
    for (at, byte) in bytes.iter().enumerate() {
        match byte {
            b'0'..=b'9' => whole = whole * 10 + u64::from(byte - b'0'),
            b'.' if point.is_none() && at > 0 => point = Some(at),
            _ => return None,
        }
    }
    let Some(point) = point else {
        #[allow(clippy::cast_precision_loss, reason = "at most 15 digits, which a float holds exactly")]
        return Some(whole as f64);
    };
    let decimals = bytes.len() - point - 1;
    let is_open = decimals == 3 && point <= 3 && bytes.first() != Some(&b'0');
    if decimals == 0
        || is_open && (numbers.style == Some(Style::Comma) || numbers.style.is_none() && numbers.point_is_doubtful)
    {
        return None;
    }
    // Both are exact, so that the quotient is the nearest number to the text.
    #[allow(clippy::cast_precision_loss, reason = "at most 14 digits, which a float holds exactly")]
    TENS.get(decimals).map(|ten| whole as f64 / ten)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, numbers: ColumnStyle) -> Option<f64> {
        let numeral = Numeral::scan(text).filter(|numeral| numeral.rest.is_empty())?;
        numeral.plain(numeral.style(numbers)?).parse().ok()
    }

    #[test]
    fn a_cell_that_is_clear_decides_for_itself() {
        let comma = ColumnStyle { style: Some(Style::Comma), ..ColumnStyle::default() };
        for (text, value) in [
            ("63,5", 63.5),
            ("63.5", 63.5),
            ("1.234,5", 1234.5),
            ("1,234.5", 1234.5),
            ("1 234,5", 1234.5),
            ("1\u{a0}234.5", 1234.5),
            ("1'234.50", 1234.5),
            ("1’234’567", 1_234_567.0),
            ("1,234,567", 1_234_567.0),
            ("1.234.567", 1_234_567.0),
            ("0,125", 0.125),
            ("0.125", 0.125),
            ("1234.567", 1234.567),
            ("1234,567", 1234.567),
            (".5", 0.5),
            (",5", 0.5),
            ("5.", 5.0),
            ("12", 12.0),
            ("-3", -3.0),
            ("\u{2212}3", -3.0),
            ("+3", 3.0),
            ("1.2E+05", 120_000.0),
            ("1e3", 1000.0),
            ("1 234", 1234.0),
            ("007", 7.0),
            ("1 234,567", 1234.567),
        ] {
            assert_eq!(read(text, ColumnStyle::default()), Some(value), "{text}");
            assert_eq!(read(text, comma), Some(value), "{text}");
            if let Some(quick) = quick(text, comma) {
                assert_eq!(quick.to_bits(), value.to_bits(), "{text}");
            }
        }
    }

    #[test]
    fn an_unclear_cell_takes_the_style_of_its_column() {
        let of = |style| ColumnStyle { style, point_is_doubtful: true, has_blanks: false };
        for (text, point, comma) in [("1,234", 1234.0, 1.234), ("1.234", 1.234, 1234.0), ("12.345", 12.345, 12345.0)] {
            assert_eq!(read(text, of(Some(Style::Point))), Some(point), "{text}");
            assert_eq!(read(text, of(Some(Style::Comma))), Some(comma), "{text}");
            assert_eq!(read(text, of(None)), None, "{text}");
            assert_eq!(quick(text, of(None)), None, "{text}");
            assert_eq!(quick(text, of(Some(Style::Comma))), None, "{text}");
        }
        assert_eq!(read("1.234", ColumnStyle::default()), Some(1.234));
        assert_eq!(read("1,234", ColumnStyle::default()), None);
    }

    /// ISO 80000-1, 7.3.1: digits in groups of three are parted by a small space; two values with a blank between look the
    /// same where both have three digits, or the first two.
    #[test]
    fn a_lone_blank_before_three_digits_is_clear_where_it_can_part_no_two_values() {
        let shown = ColumnStyle { has_blanks: true, ..ColumnStyle::default() };
        for (text, value) in [("150 250", 150_250.0), ("25 250", 25_250.0), ("-125 400", -125_400.0)] {
            assert_eq!(read(text, ColumnStyle::default()), None, "{text}");
            assert_eq!(read(text, shown), Some(value), "{text}");
        }
        for (text, value) in [
            ("1 500", 1500.0),
            ("12 000", 12_000.0),
            ("150 050", 150_050.0),
            ("150\u{a0}250", 150_250.0),
            ("150\u{202f}250", 150_250.0),
            ("150'250", 150_250.0),
            ("150 250 000", 150_250_000.0),
            ("150 250,5", 150_250.5),
        ] {
            assert_eq!(read(text, ColumnStyle::default()), Some(value), "{text}");
        }
        let of = |text: &str| {
            let mut evidence = Evidence::default();
            evidence.look_at(text);
            evidence.has_blanks()
        };
        assert!(["1 500", "12 000 N", "1 234,5"].into_iter().all(of));
        assert!(!["150 250", "1500", "3 m", "1.5 kN", "x y"].into_iter().any(of));
    }

    #[test]
    fn what_is_no_number_is_none() {
        for text in [
            "",
            "-",
            "x",
            ".",
            ",",
            "1,23,456",
            "12 34",
            "1,2,3",
            "1.2.3",
            "1,234.5.6",
            "NaN",
            "inf",
            "5,",
            "1 1/2",
            "1,2.3,4",
        ] {
            assert_eq!(read(text, ColumnStyle::default()), None, "{text}");
            assert_eq!(quick(text, ColumnStyle::default()), None, "{text}");
        }
    }

    #[test]
    fn quick_numbers_are_the_nearest_ones() {
        for thousandths in (0..2_000_000_u64).step_by(37) {
            let text = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
            let numbers = ColumnStyle { style: Some(Style::Point), ..ColumnStyle::default() };
            assert_eq!(quick(&text, numbers).map(f64::to_bits), text.parse::<f64>().ok().map(f64::to_bits), "{text}");
        }
    }

    #[test]
    fn evidence_comes_from_clear_cells_only() {
        let of = |texts: &[&str]| {
            let mut evidence = Evidence::default();
            for text in texts {
                evidence.look_at(text);
            }
            evidence
        };
        assert_eq!(of(&["1,234", "12", "1.234"]).style(), None);
        assert_eq!(of(&["63,5 mm", "1,234"]).style(), Some(Style::Comma));
        assert_eq!(of(&["1,234,567"]).style(), Some(Style::Point));
        assert!(of(&["63,5", "63.5"]).is_mixed());
        assert!(of(&["9.000", "12"]).hangs_on_others());
        assert!(!of(&["9.000", "0.5"]).hangs_on_others() && !of(&["9.125"]).hangs_on_others());
    }
}
