//! Text of the user's for a sentence or a line of output.

use std::borrow::Cow;

/// Signs that would break a line, steer a terminal or turn the direction of writing, and those that
/// XML can't hold.
fn is_escaped(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{2028}' | '\u{2029}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(letter, '\u{fffe}' | '\u{ffff}')
}

/// The text in one line, control characters shown as escapes: a line feed as `\n`, an escape as
/// `\u{1b}`.
#[must_use]
pub fn escaped(text: &str) -> Cow<'_, str> {
    // Nearly all text is this; it needs no second look.
    if text.bytes().all(|byte| (b' '..0x7f).contains(&byte)) || !text.chars().any(is_escaped) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 8);
    for letter in text.chars() {
        if is_escaped(letter) { out.extend(letter.escape_default()) } else { out.push(letter) }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::escaped;

    #[test]
    fn what_steers_a_terminal_is_shown() {
        for (given, wanted) in [
            ("AB 1", "AB 1"),
            ("Größe ½\"", "Größe ½\""),
            ("a\nb\tc", "a\\nb\\tc"),
            ("\u{1b}[2J\u{7}", "\\u{1b}[2J\\u{7}"),
            ("\u{9b}x\u{202e}y", "\\u{9b}x\\u{202e}y"),
            ("x\u{fffe}", "x\\u{fffe}"),
        ] {
            assert_eq!(escaped(given), wanted);
        }
    }
}
