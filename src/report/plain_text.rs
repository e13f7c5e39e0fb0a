//! Sentences and rows of figures on a terminal of so many columns.

/// A sentence in as many rows as it takes, broken between words; rows after the first begin with blanks.
#[must_use]
pub fn wrapped(sentence: &str, columns: usize, indent: usize) -> Vec<String> {
    let text = sentence.trim_start_matches(' ');
    let mut length = sentence.len() - text.len();
    let mut rows = vec![" ".repeat(length)];
    let mut is_begun = false;
    for word in text.split(' ') {
        let Some(row) = rows.last_mut() else { break };
        let of_word = word.chars().count();
        if is_begun && length + 1 + of_word > columns {
            length = indent + of_word;
            rows.push(" ".repeat(indent) + word);
            continue;
        }
        if is_begun {
            row.push(' ');
        }
        row.push_str(word);
        length += of_word + usize::from(is_begun);
        is_begun = true;
    }
    rows
}

/// A sentence whose rows all begin with blanks.
#[must_use]
pub fn indented(sentence: &str, columns: usize, indent: usize) -> Vec<String> {
    let rows = wrapped(sentence, columns.saturating_sub(indent).max(20), 0);
    rows.into_iter().map(|row| " ".repeat(indent) + &row).collect()
}

/// A name at the left and a value at the right end of a row; in two rows where one is too narrow.
#[must_use]
pub fn left_and_right(left: &str, right: &str, columns: usize) -> Vec<String> {
    let (own, other) = (left.chars().count(), right.chars().count());
    if right.is_empty() {
        return wrapped(left, columns, 4);
    }
    if own + 2 + other <= columns {
        return vec![format!("{left}{}{right}", " ".repeat(columns - own - other))];
    }
    let mut rows = wrapped(left, columns, 4);
    rows.push(" ".repeat(columns.saturating_sub(other)) + right);
    rows
}

/// Rows of cells in columns as wide as their widest cell; what has no room goes on below, indented.
#[must_use]
pub fn aligned(rows: &[Vec<String>], columns: usize) -> Vec<String> {
    let count = rows.iter().map(Vec::len).max().unwrap_or_default();
    let width = |at: usize| rows.iter().filter_map(|row| row.get(at)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..count).map(|at| width(at).unwrap_or_default()).collect();
    let mut lines = Vec::new();
    for row in rows {
        let mut line = String::new();
        for (at, (cell, width)) in row.iter().zip(&widths).enumerate() {
            let is_last = at + 1 == row.len();
            if !line.trim().is_empty() && line.chars().count() + cell.chars().count() > columns {
                lines.push(line.trim_end().to_owned());
                line.replace_range(.., "    ");
            }
            line.push_str(cell);
            if !is_last {
                line.push_str(&" ".repeat(width - cell.chars().count() + 2));
            }
        }
        lines.push(line.trim_end().to_owned());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_is_broken_between_words_and_nothing_of_it_is_lost() {
        let rows = wrapped("one two three four", 9, 2);
        assert_eq!(rows, ["one two", "  three", "  four"]);
        assert_eq!(wrapped("  one two", 6, 4), ["  one", "    two"]);
        assert_eq!(indented("one two three", 25, 4), ["    one two three"]);
    }

    #[test]
    fn a_value_stands_at_the_right_end() {
        assert_eq!(left_and_right("fill", "0.8", 10), ["fill   0.8"]);
        assert_eq!(left_and_right("a long name", "0.8", 10), ["a long", "    name", "       0.8"]);
    }

    #[test]
    fn cells_stand_one_below_the_other_and_go_on_below_where_there_is_no_room() {
        let row = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        let rows = [row(["a", "bb", "c"]), row(["aaa", "b", "a cell that is long"])];
        assert_eq!(aligned(&rows, 16), ["a    bb  c", "aaa  b", "    a cell that is long"]);
    }
}
