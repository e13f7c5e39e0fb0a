//! What reaches the terminal: no sign that steers it, and no failure of it that matters to the run.

use std::borrow::Cow;
use std::io::{self, Write};

use crate::tables::escaped::escaped;
use crate::tables::system_words::without_numbers;

/// Writes text for the user. Control characters from names, headers and cells are shown escaped; a
/// closed pipe or a full disk behind it changes neither the files nor the exit status.
pub struct Told<'a>(pub &'a mut dyn Write);

impl Write for Told<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let _ = self.0.write_all(plain(&String::from_utf8_lossy(bytes)).as_bytes());
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let _ = self.0.flush();
        Ok(())
    }
}

/// A text with its lines and tabs, everything else that steers a terminal escaped.
fn plain(text: &str) -> Cow<'_, str> {
    let is_layout = |letter: char| matches!(letter, '\n' | '\t');
    if !text.contains(is_layout) {
        return escaped(text);
    }
    let pieces = text.split_inclusive(is_layout).map(|piece| {
        let (words, end) = match piece.strip_suffix(is_layout) {
            Some(words) => piece.split_at(words.len()),
            None => (piece, ""),
        };
        format!("{}{end}", escaped(words))
    });
    Cow::Owned(pieces.collect())
}

/// Tells on the standard error output what went wrong, in sentences.
pub fn complain(text: &str) {
    let sentences: Vec<String> = text.lines().map(sentence).collect();
    let _ = writeln!(Told(&mut io::stderr()), "{}", sentences.join("\n"));
}

/// A line without the system's numbers, ended as a sentence.
fn sentence(line: &str) -> String {
    let words = without_numbers(line);
    let is_ended = words.is_empty() || words.ends_with(['.', '?', ':', ',', ')', '\'', '"']);
    if is_ended { words } else { format!("{words}.") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stay_and_what_steers_is_shown() {
        let mut out = Vec::new();
        write!(Told(&mut out), "a\u{1b}[2J\r\n\tb\u{202e}\n").unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "a\\u{1b}[2J\\r\n\tb\\u{202e}\n");
    }

    #[test]
    fn a_library_error_ends_as_a_sentence() {
        assert_eq!(
            sentence("x: it can't be made: No such file or directory (os error 2)"),
            "x: it can't be made: No such file or directory."
        );
        assert_eq!(sentence("Done."), "Done.");
    }
}
