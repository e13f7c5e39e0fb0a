//! What a number format shows beside a number: `0.0" kN"` shows 12.5 as `12.5 kN`.
//!
//! Source: ECMA-376 part 1, 18.8.30 (numFmt) and 18.8.31 (numFmts, the codes of formats): up to four sections parted by
//! semicolons, for positive numbers, negative ones, zeros and texts, or for what a condition in brackets says; text in
//! quotes or behind a backslash stands as it is, `_` leaves the width of the sign behind it, `*` fills with it, a comma
//! behind the last digit shows thousands, `%` hundredths. That a last section with `@` is the one of texts is common
//! practice, no source.

/// What is shown around a number, and how far the number is moved for it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct ShownBeside {
    /// Text in front of the number, without what leaves room.
    pub before: String,
    /// Text behind it.
    pub after: String,
    /// How many times a thousandth of the number is shown.
    pub thousands: u8,
    /// Whether hundredths are shown, with the sign of per cent.
    pub is_percent: bool,
}

impl ShownBeside {
    /// Whether the number stands alone.
    pub(crate) fn is_bare(&self) -> bool {
        !self.is_percent && !says_something(&self.before) && !says_something(&self.after)
    }

    /// The number as it is shown.
    pub(crate) fn shown(&self, stored: f64) -> f64 {
        stored / self.factor()
    }

    /// The number to be stored for one to be shown.
    pub(crate) fn stored(&self, shown: f64) -> f64 {
        shown * self.factor()
    }

    fn factor(&self) -> f64 {
        if self.is_percent { 0.01 } else { 1000_f64.powi(i32::from(self.thousands)) }
    }

    /// A code that shows the same.
    pub(crate) fn code(&self) -> String {
        let literal = |text: &str| text.chars().flat_map(|letter| ['\\', letter]).collect::<String>();
        let digits = match (self.thousands, self.is_percent) {
            (0, false) => "General".to_owned(),
            (0, true) => "0.##########%".to_owned(),
            (many, _) => format!("0.##########{}", ",".repeat(usize::from(many))),
        };
        let gap = |text: &str| if text.is_empty() { "" } else { "\\ " };
        let (before, after) = (&self.before, &self.after);
        format!("{}{}{digits}{}{}", literal(before), gap(before), gap(after), literal(after))
    }
}

/// Whether a text beside a number may be more than decoration: signs and brackets are none.
fn says_something(text: &str) -> bool {
    text.chars().any(|letter| !letter.is_whitespace() && !matches!(letter, '-' | '+' | '(' | ')' | '\u{2212}' | '='))
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Compared {
    Less,
    AtMost,
    Equal,
    Other,
    AtLeast,
    More,
}

/// Which numbers a section is for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Condition {
    compared: Compared,
    with: f64,
}

impl Condition {
    /// `<=100`; nothing where it is none.
    pub(crate) fn read(text: &str) -> Option<Self> {
        const SIGNS: [(&str, Compared); 7] = [
            ("<=", Compared::AtMost),
            (">=", Compared::AtLeast),
            ("<>", Compared::Other),
            ("!=", Compared::Other),
            ("<", Compared::Less),
            (">", Compared::More),
            ("=", Compared::Equal),
        ];
        let (rest, compared) = SIGNS.iter().find_map(|(sign, compared)| Some((text.strip_prefix(sign)?, *compared)))?;
        Some(Self { compared, with: rest.trim().parse().ok()? })
    }

    fn holds(self, number: f64) -> bool {
        match self.compared {
            Compared::Less => number < self.with,
            Compared::AtMost => number <= self.with,
            #[allow(clippy::float_cmp, reason = "the code names the very number")]
            Compared::Equal => number == self.with,
            #[allow(clippy::float_cmp, reason = "the code names the very number")]
            Compared::Other => number != self.with,
            Compared::AtLeast => number >= self.with,
            Compared::More => number > self.with,
        }
    }
}

/// What stands in a section, in its order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Piece {
    /// A place for a digit, and whether a zero fills it where there is none.
    Digit {
        is_filled: bool,
    },
    Letter(char),
}

/// How a section shows a whole number.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct WholePattern {
    pieces: Vec<Piece>,
    is_scientific: bool,
    /// Decimals in front of the power.
    decimals: usize,
    /// Whether it shows another number than the whole one: decimals, thousands, hundredths, a fraction.
    is_other: bool,
}

impl WholePattern {
    /// A pattern of so many digits with texts around them.
    pub(crate) fn of(digits: usize, beside: &ShownBeside, is_scientific: bool) -> Self {
        let letters = |text: &str| text.chars().map(Piece::Letter).collect::<Vec<_>>();
        let digits = vec![Piece::Digit { is_filled: true }; digits.max(1)];
        let is_other = beside.is_percent || beside.thousands > 0;
        Self {
            pieces: [letters(&beside.before), digits, letters(&beside.after)].concat(),
            is_scientific,
            decimals: 1,
            is_other,
        }
    }

    /// Whether some whole number reads otherwise in it than by itself.
    fn changes_numbers(&self) -> bool {
        let is_digit = |piece: &Piece| matches!(piece, Piece::Digit { .. });
        let filled = self.pieces.iter().filter(|piece| **piece == Piece::Digit { is_filled: true }).count();
        let between = self.pieces.iter().skip_while(|piece| !is_digit(piece)).skip_while(|piece| is_digit(piece));
        self.is_scientific || !self.is_other && (filled > 1 || between.clone().any(is_digit))
    }

    /// A whole number as it is shown; nothing where that is not told.
    fn shown(&self, number: f64) -> Option<String> {
        if self.is_scientific {
            let text = format!("{number:.*E}", self.decimals);
            let (digits, power) = text.split_once('E')?;
            let power: i32 = power.parse().ok()?;
            return Some(format!("{digits}E{}{:02}", if power < 0 { '-' } else { '+' }, power.abs()));
        }
        if self.is_other || number.fract() != 0.0 || !(0.0..1e15).contains(&number) {
            return None;
        }
        let digits = format!("{number:.0}");
        let mut left = digits.chars().rev();
        let mut shown: Vec<char> = Vec::new();
        let first = self.pieces.iter().position(|piece| matches!(piece, Piece::Digit { .. }))?;
        for (at, piece) in self.pieces.iter().enumerate().rev() {
            match piece {
                Piece::Letter(letter) => shown.push(*letter),
                Piece::Digit { is_filled } => {
                    shown.extend(left.next().or(is_filled.then_some('0')));
                    if at == first {
                        shown.extend(left.by_ref());
                    }
                }
            }
        }
        Some(shown.iter().rev().collect::<String>().trim().to_owned())
    }
}

/// A section: which numbers it is for, what it shows beside them, and how it shows whole ones.
type ForNumbers = (Option<Condition>, ShownBeside, WholePattern);

/// A format: its sections for numbers.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct NumberFormat {
    /// Tried in their order; one without a condition is for what is left.
    sections: Vec<ForNumbers>,
}

/// A section as it is read.
#[derive(Default)]
struct Section {
    condition: Option<Condition>,
    beside: ShownBeside,
    has_digits: bool,
    /// Whether it is made for texts.
    has_text: bool,
    /// Commas since the last digit.
    commas: u8,
    /// Text since the last digit.
    literal: String,
    /// What stands in it, but for what leaves room.
    whole: WholePattern,
}

impl Section {
    fn digit(&mut self) {
        if self.has_digits {
            // Between digits stands no unit.
            self.literal.clear();
        } else {
            self.beside.before = std::mem::take(&mut self.literal);
        }
        (self.has_digits, self.commas) = (true, 0);
    }

    fn letters(&mut self, text: &str) {
        self.literal.push_str(text);
        self.whole.pieces.extend(text.chars().map(Piece::Letter));
    }

    fn finish(mut self) -> Self {
        if self.has_digits {
            self.beside.after = self.literal.trim().to_owned();
        }
        self.beside.before = self.beside.before.trim().to_owned();
        if !self.has_digits {
            // A dash for 0 and the like: no number is shown that it could stand beside.
            self.beside = ShownBeside::default();
        }
        self.beside.thousands = self.commas;
        self.whole.is_other |= self.commas > 0 || self.beside.is_percent;
        self
    }

    /// What stands in brackets: a condition, a currency or any other text with a language, a colour.
    fn bracket(&mut self, inner: &str) {
        if let Some(text) = inner.strip_prefix('$') {
            self.letters(text.rsplit_once('-').map_or(text, |(text, _)| text));
        } else if let Some(condition) = Condition::read(inner) {
            self.condition = Some(condition);
        }
    }
}

/// Sections at most that are not for texts.
const FOR_NUMBERS: usize = 3;

/// Bytes of a code that are read; a spreadsheet takes 255 letters.
const LONGEST_CODE: usize = 4096;

impl NumberFormat {
    /// A format by its code; nothing where it shows no text beside a number, nor a number otherwise than it is.
    pub(crate) fn read(code: &str) -> Option<Self> {
        if code.len() > LONGEST_CODE || code == "General" {
            return None;
        }
        let mut sections = sections(code);
        if sections.last().is_some_and(|last| last.has_text) {
            sections.pop();
        }
        sections.truncate(FOR_NUMBERS);
        let count = sections.len();
        let condition = |at: usize, own: Option<Condition>| {
            let compared = match (at, count) {
                (0, 2) => Compared::AtLeast,
                (0, 3) => Compared::More,
                (1, 3) => Compared::Less,
                _ => return own,
            };
            own.or(Some(Condition { compared, with: 0.0 }))
        };
        let mut own = Vec::with_capacity(count);
        let sections = sections.into_iter().enumerate();
        own.extend(sections.map(|(at, own)| (condition(at, own.condition), own.beside, own.whole)));
        Self::of(own)
    }

    /// A format of sections; nothing where none shows a text beside a number, nor a number otherwise than it is.
    pub(crate) fn of(sections: Vec<ForNumbers>) -> Option<Self> {
        let says_something = sections.iter().any(|(_, beside, whole)| !beside.is_bare() || whole.changes_numbers());
        says_something.then_some(Self { sections })
    }

    fn section(&self, number: f64) -> Option<(usize, &ForNumbers)> {
        let holds = |condition: &Option<Condition>| condition.is_none_or(|condition| condition.holds(number));
        self.sections.iter().enumerate().find(|(_, (condition, ..))| holds(condition))
    }

    /// Whether a number is shown with a text beside it, or otherwise than it is.
    pub(crate) fn shows_more(&self, number: f64) -> bool {
        self.section(number).is_some_and(|(_, (_, beside, whole))| !beside.is_bare() || whole.changes_numbers())
    }

    /// A whole number with all that the cell shows, where that is not the number by itself: `004711`, `4711-A`, and
    /// whether it is shown in powers of ten.
    pub(crate) fn shown_whole(&self, number: f64) -> Option<(String, bool)> {
        let (_, (_, beside, whole)) = self.section(number)?;
        if beside.is_bare() && !whole.changes_numbers() {
            return None;
        }
        whole.shown(number).map(|shown| (shown, whole.is_scientific))
    }

    /// What is shown beside a number, and which section says so; nothing where it stands alone.
    pub(crate) fn beside(&self, number: f64) -> Option<(usize, &ShownBeside)> {
        let (at, (_, beside, _)) = self.section(number)?;
        (!beside.is_bare()).then_some((at, beside))
    }
}

fn sections(code: &str) -> Vec<Section> {
    let mut all = Vec::new();
    let mut section = Section::default();
    let mut rest = code;
    while let Some(letter) = rest.chars().next() {
        let after = rest.get(letter.len_utf8()..).unwrap_or_default();
        let general = "General";
        if rest.get(..general.len()).is_some_and(|start| start.eq_ignore_ascii_case(general)) {
            section.digit();
            section.whole.pieces.push(Piece::Digit { is_filled: true });
            rest = rest.get(general.len()..).unwrap_or_default();
            continue;
        }
        rest = after;
        let mut next = || {
            let letter = rest.chars().next();
            rest = rest.get(letter.map_or(0, char::len_utf8)..).unwrap_or_default();
            letter
        };
        match letter {
            ';' if all.len() == FOR_NUMBERS => break,
            ';' => all.push(std::mem::take(&mut section).finish()),
            '"' => {
                let (text, behind) = rest.split_once('"').unwrap_or((rest, ""));
                section.letters(text);
                rest = behind;
            }
            '\\' | '!' => {
                let letter = next().map(String::from).unwrap_or_default();
                section.letters(&letter);
            }
            '_' | '*' => {
                next();
                section.literal.push(' ');
            }
            '[' => {
                let (inner, behind) = rest.split_once(']').unwrap_or((rest, ""));
                section.bracket(inner);
                rest = behind;
            }
            '0' | '#' | '?' => {
                section.digit();
                section.whole.pieces.push(Piece::Digit { is_filled: letter == '0' });
                section.whole.decimals += usize::from(section.whole.is_other && !section.whole.is_scientific);
            }
            // The point may be the last of the digits.
            '.' if section.has_digits && section.literal.is_empty() => {
                section.whole.is_other = true;
                section.digit();
            }
            ',' if section.has_digits && section.literal.is_empty() => {
                section.commas = section.commas.saturating_add(1);
            }
            '%' => section.beside.is_percent = true,
            'E' | 'e' if section.has_digits && after.starts_with(['+', '-']) => {
                next();
                section.whole.is_scientific = true;
                section.digit();
            }
            '@' => section.has_text = true,
            other => {
                section.whole.is_other |= other == '/';
                section.letters(&String::from(other));
            }
        }
    }
    all.push(section.finish());
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(code: &str, number: f64) -> Option<(String, String)> {
        let format = NumberFormat::read(code)?;
        format.beside(number).map(|(_, beside)| (beside.before.clone(), beside.after.clone()))
    }

    fn after(code: &str, number: f64) -> Option<String> {
        shown(code, number).map(|(before, after)| {
            assert_eq!(before, "", "{code}");
            after
        })
    }

    /// By the rules of ECMA-376 part 1, 18.8.31, read by hand.
    #[test]
    fn text_behind_a_number_is_found_however_it_is_written() {
        for (code, unit) in [
            ("0.0\" kN\"", "kN"),
            ("0 \"psi\"", "psi"),
            ("#,##0\\ \"mm\"", "mm"),
            ("0.00\" in\"", "in"),
            ("[$-409]0.0\" bar\"", "bar"),
            ("0.0\\ \\k\\N", "kN"),
            ("General\" bar\"", "bar"),
            ("0.0 [$bar]", "bar"),
            ("0.0 [$psi-409]", "psi"),
            ("[Red]0.0\" bar\"", "bar"),
            ("[Color 12]0.0_)\"N/mm²\"", "N/mm²"),
            ("0.00E+00\" Pa\"", "Pa"),
            ("# ?/?\" in\"", "in"),
            ("#\" \"##0\" N\"", "N"),
            ("0.00\\\"", "\""),
            ("0.0* \" kN\"", "kN"),
            ("0\" kN", "kN"),
            ("0 kN", "kN"),
            ("#,##0.00\\ [$€-407]", "€"),
            ("0.\" mm\"", "mm"),
        ] {
            assert_eq!(after(code, 5.0).as_deref(), Some(unit), "{code}");
        }
        assert_eq!(shown("\"F = \"0.0\" kN\"", 5.0), Some(("F =".to_owned(), "kN".to_owned())));
    }

    #[test]
    fn a_number_alone_has_nothing_beside_it() {
        for code in [
            "General",
            "0.00",
            "#,##0",
            "0_ ;[Red]\\-0\\ ",
            "#,##0.00_);\\(#,##0.00\\)",
            "0.0,",
            "@",
            "",
            "0;0;\"none\"",
            "[Red]0;[Blue]-0",
            "\"hidden\"",
            "[>=100][Magenta]General",
            "0.0;-0.0;0;@\" kN\"",
        ] {
            assert_eq!(shown(code, 5.0), None, "{code}");
        }
    }

    /// By the same rules: a zero fills a place where there is no digit, what stands between places stays there.
    #[test]
    fn whole_numbers_are_shown_as_a_spreadsheet_shows_them() {
        let shown = |code: &str, number: f64| {
            NumberFormat::read(code).and_then(|format| format.shown_whole(number)).map(|(text, _)| text)
        };
        for (code, number, text) in [
            ("000000", 4711.0, "004711"),
            ("000000", 1_234_567.0, "1234567"),
            ("0\"-A\"", 4711.0, "4711-A"),
            ("\"K\"0", 4711.0, "K4711"),
            ("0000-0000", 12_345_678.0, "1234-5678"),
            ("0000-0000", 12.0, "0000-0012"),
            ("000\\ 000", 4711.0, "004 711"),
            ("0.0E+00", 120_000.0, "1.2E+05"),
            ("0.00E+00", 120_000.0, "1.20E+05"),
            ("General\"-A\"", 4711.0, "4711-A"),
            ("[>9999]000000;0000", 4711.0, "4711"),
            ("000;-000;\"none\"", 7.0, "007"),
        ] {
            assert_eq!(shown(code, number).as_deref(), Some(text), "{code}");
        }
        for code in
            ["General", "0", "#,##0", "0.00", "0_ ;[Red]\\-0\\ ", "#,##0.00_);\\(#,##0.00\\)", "@", "# ?/?", "0%"]
        {
            assert_eq!(shown(code, 4711.0), None, "{code}");
        }
        assert_eq!(shown("000000", 4711.5), None);
    }

    #[test]
    fn each_section_is_for_its_numbers() {
        let three = "0.0\" kN\";-0.0\" N\";\"-\"";
        assert_eq!(after(three, 1.0).as_deref(), Some("kN"));
        assert_eq!(shown(three, -1.0), Some(("-".to_owned(), "N".to_owned())));
        assert_eq!(shown(three, 0.0), None);
        let two = "0\" bar\";[Red]0\" psi\"";
        assert_eq!(after(two, 0.0).as_deref(), Some("bar"));
        assert_eq!(after(two, -1.0).as_deref(), Some("psi"));
        let by_size = "[>=1000]0.0,\" kN\";[<0]\"none\";0\" N\"";
        assert_eq!(after(by_size, 1000.0).as_deref(), Some("kN"));
        assert_eq!(after(by_size, 999.0).as_deref(), Some("N"));
        assert_eq!(after("[<1]0.0\" mm\";0.0\" in\"", 0.5).as_deref(), Some("mm"));
        assert_eq!(after("[<1]0.0\" mm\";0.0\" in\"", 1.0).as_deref(), Some("in"));
        assert_eq!(after("0\" bar\";;;", 1.0).as_deref(), Some("bar"));
    }

    #[test]
    fn thousands_and_hundredths_are_moved() {
        let beside = |code: &str| {
            NumberFormat::read(code).and_then(|format| format.beside(5.0).map(|(_, beside)| beside.clone())).unwrap()
        };
        let kn = beside("#,##0.0,\" kN\"");
        assert_eq!((kn.thousands, kn.shown(12_500.0), kn.stored(12.5)), (1, 12.5, 12_500.0));
        let mega = beside("0.0,,\" MN\"");
        assert_eq!((mega.thousands, mega.shown(2.5e6)), (2, 2.5));
        let share = beside("0.0%");
        assert!(share.is_percent && share.after.is_empty());
        assert!((share.shown(0.05) - 5.0).abs() < 1e-12);
        assert!(!beside("0.0\"%\"").is_percent);
    }

    #[test]
    fn a_code_of_its_own_shows_the_same() {
        for code in ["0.0\" kN\"", "0.0,\" kN\"", "0.0%", "0.00\\\"", "\"p = \"0\" \\bar\"", "0\" 5\"\\\"\" x\""] {
            let first = NumberFormat::read(code)
                .and_then(|format| format.beside(5.0).map(|(_, beside)| beside.clone()))
                .unwrap();
            let again = NumberFormat::read(&first.code())
                .and_then(|format| format.beside(5.0).map(|(_, beside)| beside.clone()));
            assert_eq!(again, Some(first), "{code}");
        }
    }
}
