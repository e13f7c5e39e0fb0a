//! Text from the user's files, made fit for a cell and never more than text.

use std::borrow::Cow;
use std::fmt::Write;

/// Characters that a cell holds, counted as Excel counts them.
pub const CELL_LIMIT: usize = 32_767;

/// What a text that was cut ends with.
pub const CUT: &str = " … (cut: too long for a cell)";

/// The text for a cell: control characters as escapes, what is too long cut and said so.
#[must_use]
pub fn cell_text(text: &str) -> Cow<'_, str> {
    // Nearly all text is this; it needs no second look.
    if text.len() <= CELL_LIMIT && text.bytes().all(|byte| (b' '..0x7f).contains(&byte)) {
        return Cow::Borrowed(text);
    }
    let plain = if text.chars().any(is_escaped) { Cow::Owned(escaped(text)) } else { Cow::Borrowed(text) };
    // A character takes at most three bytes for each UTF-16 unit, never fewer than one.
    if plain.len() <= CELL_LIMIT || plain.encode_utf16().count() <= CELL_LIMIT {
        return plain;
    }
    Cow::Owned(cut(&plain))
}

/// Control characters, and what XML can't hold. A line feed is a line break in the cell.
fn is_escaped(letter: char) -> bool {
    (letter.is_control() && letter != '\n') || matches!(letter, '\u{fffe}' | '\u{ffff}')
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for letter in text.chars() {
        match letter {
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            other if is_escaped(other) => {
                let _ = write!(out, "\\u{{{:x}}}", u32::from(other));
            }
            other => out.push(other),
        }
    }
    out
}

fn cut(text: &str) -> String {
    let room = CELL_LIMIT - CUT.encode_utf16().count();
    let mut units = 0;
    let mut out = String::with_capacity(room + CUT.len());
    for letter in text.chars() {
        units += letter.len_utf16();
        if units > room {
            break;
        }
        out.push(letter);
    }
    out.push_str(CUT);
    out
}

/// A name that a sheet may have: no characters that Excel forbids, at most 31, never empty.
#[must_use]
pub fn sheet_name(wanted: &str, otherwise: &str) -> String {
    let plain: String = wanted
        .chars()
        .map(|letter| if letter == '\n' || is_escaped(letter) || "[]:*?/\\'".contains(letter) { ' ' } else { letter })
        .collect();
    let mut units = 0;
    let short: String = plain
        .trim()
        .chars()
        .take_while(|letter| {
            units += letter.len_utf16();
            units <= 26
        })
        .collect();
    let short = short.trim();
    if short.is_empty() || short.eq_ignore_ascii_case("history") { otherwise.to_owned() } else { short.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_text_stays_as_it_is() {
        for text in ["", "=1+1", "http://example.org", "@x", "a\nb", "ÄÖ €"] {
            assert_eq!(cell_text(text), text);
        }
    }

    #[test]
    fn control_characters_are_shown() {
        assert_eq!(cell_text("a\tb\r\u{1}\u{0}"), "a\\tb\\r\\u{1}\\u{0}");
    }

    #[test]
    fn what_is_too_long_is_cut_and_says_so() {
        let long = "ü".repeat(40_000);
        let cell = cell_text(&long);
        assert_eq!(cell.encode_utf16().count(), CELL_LIMIT);
        assert!(cell.ends_with(CUT));
        let exact = "x".repeat(CELL_LIMIT);
        assert_eq!(cell_text(&exact), exact);
        let wide = "\u{1f600}".repeat(20_000);
        assert!(cell_text(&wide).encode_utf16().count() <= CELL_LIMIT);
    }

    #[test]
    fn sheet_names_are_allowed_ones() {
        assert_eq!(sheet_name("P/1 [a]:*?", "Pallet"), "P 1  a");
        assert_eq!(sheet_name("'''", "Pallet"), "Pallet");
        assert_eq!(sheet_name("P\u{1}1\u{fffe}\u{ffff}\n2", "Pallet"), "P 1   2");
        assert_eq!(sheet_name(&"x".repeat(60), "Pallet").len(), 26);
    }
}
