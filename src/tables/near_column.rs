//! Which known column an unknown header was probably meant to be.

use unicode_normalization::UnicodeNormalization;

use crate::physics::unit::Unit;

use super::column::Table;
use super::words::folded;

/// Letters added, left out, replaced or swapped that a header may differ by.
const MOST_EDITS: usize = 2;

/// Letters and words of a header that is still compared; a longer one is a sentence.
const LONGEST: usize = 64;

/// Words that column names write short.
const SHORT: &[(&str, &str)] = &[("no", "number"), ("no", "nr"), ("no", "num"), ("qty", "quantity")];

/// The nearest of the columns of a table that `is_wanted`, if one is near: at most two letters added, left out,
/// replaced or swapped and at most a third of its name, or the same words shortened, joined or in another order.
///
/// A unit at the end of the header does not count, be it in brackets or behind a slash or a comma.
#[must_use]
pub fn near_column(table: Table, header: &str, is_wanted: impl Fn(&str) -> bool) -> Option<&'static str> {
    near_name(table, header, &is_wanted).or_else(|| near_name(table, &bare_name(header), &is_wanted))
}

/// A header without the unit that stands in brackets of any kind, behind a slash or a comma, or as its last words
/// (`force in kN`), and without what it is counted by (`force per clamp`).
#[must_use]
pub fn bare_name(header: &str) -> String {
    let plain: String = header.nfkc().collect();
    let name = plain.split(['[', '(', '{', '<', '|', ':', ';', '/', ',']).next().unwrap_or_default().trim_end();
    let mut words: Vec<&str> = name.split_whitespace().collect();
    if let Some(per) = words.iter().position(|word| word.eq_ignore_ascii_case("per") || word.eq_ignore_ascii_case("je"))
    {
        words.truncate(per.max(1));
    }
    while words.len() > 1 && words.last().is_some_and(|word| Unit::find(word).is_some()) {
        words.pop();
    }
    words.join(" ")
}

/// The column of a table whose name has the most of its letters as a header has them, near or not, of those that
/// `is_wanted`.
#[must_use]
pub fn least_far_column(table: Table, header: &str, is_wanted: impl Fn(&str) -> bool) -> Option<&'static str> {
    let letters: String = folded(&bare_name(header)).chars().take(LONGEST).collect();
    let wanted = table.columns().iter().map(|column| column.name).filter(|name| is_wanted(name));
    let likeness = |name: &&str| strsim::normalized_damerau_levenshtein(&letters, &folded(name));
    wanted.max_by(|one, other| likeness(one).total_cmp(&likeness(other)))
}

fn near_name(table: Table, header: &str, is_wanted: impl Fn(&str) -> bool) -> Option<&'static str> {
    let name = header.split(['[', '(', '{', '<']).next().unwrap_or_default();
    let (letters, words) = (folded(name), words_of(name));
    if letters.is_empty() || letters.chars().count() > LONGEST {
        return None;
    }
    let wanted = table.columns().iter().map(|column| column.name).filter(|name| is_wanted(name));
    let near = wanted.filter_map(|column| Some((distance(&letters, &words, column)?, column)));
    near.min_by_key(|(distance, _)| *distance).map(|(_, column)| column)
}

/// Letters by which they differ; the same words in other forms count as one.
fn distance(letters: &str, words: &[String], column: &str) -> Option<usize> {
    let plain = folded(column);
    let edits = strsim::osa_distance(letters, &plain);
    if edits <= MOST_EDITS && edits * 3 <= plain.chars().count() {
        return Some(edits);
    }
    let of_column: Vec<&str> = column.split('_').collect();
    let own: Vec<&str> = words.iter().map(String::as_str).collect();
    // Shortened by a word, such as `cycles day`, as long as two words are left to tell it by.
    let is_shortened = own.len() >= 2
        && own.len() + 1 == of_column.len()
        && (0..of_column.len()).any(|left_out| {
            let mut rest = of_column.clone();
            rest.remove(left_out);
            are_the_same(&own, &rest)
        });
    (is_shortened || are_the_same(&own, &of_column) || are_joined(letters, &of_column)).then_some(1)
}

/// The words of a header in lower case: parted by what is no letter, and where a capital follows a small letter.
fn words_of(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut was_small = false;
    for letter in name.chars() {
        let starts = was_small && letter.is_uppercase();
        if starts || !letter.is_alphanumeric() {
            words.push(String::new());
        }
        if letter.is_alphanumeric()
            && let Some(word) = words.last_mut()
        {
            word.extend(letter.to_lowercase());
        }
        was_small = letter.is_lowercase();
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Whether each word is a form of another word of the column, in any order.
fn are_the_same(words: &[&str], of_column: &[&str]) -> bool {
    let Some((first, rest)) = words.split_first() else { return of_column.is_empty() };
    words.len() == of_column.len()
        && (0..of_column.len()).any(|at| {
            let mut others = of_column.to_vec();
            is_form(first, others.remove(at)) && are_the_same(rest, &others)
        })
}

/// Whether the letters are the words of the column, whole or cut short, one behind the other in any order.
fn are_joined(letters: &str, of_column: &[&str]) -> bool {
    if of_column.is_empty() {
        return letters.is_empty();
    }
    (0..of_column.len()).any(|at| {
        let mut others = of_column.to_vec();
        let word = others.remove(at);
        let most = letters.bytes().zip(word.bytes()).take_while(|(one, other)| one == other).count();
        (1..=most).any(|length| {
            let is_whole = length == word.len();
            // Three letters tell a word; a shorter one must be whole.
            (is_whole || length >= 3) && letters.get(length..).is_some_and(|rest| are_joined(rest, &others))
        })
    })
}

/// Whether a word of a header is a word of a column, cut short, drawn together, or in another form.
fn is_form(given: &str, word: &str) -> bool {
    let extra = given.len().abs_diff(word.len());
    let is_short = given.len() >= 3 && word.starts_with(given);
    let is_long = word.len() >= 3 && given.starts_with(word) && (word.len() <= 4 || extra <= 4);
    given == word
        || is_short
        || is_long
        || SHORT.contains(&(word, given))
        || stem(given) == stem(word)
        || is_drawn_together(given, word)
}

/// A word without the ending that makes another form of it.
fn stem(word: &str) -> &str {
    let endings = ["ing", "ed", "es", "s", "e"];
    let mut cut = endings.iter().filter_map(|ending| word.strip_suffix(ending));
    cut.find(|rest| rest.len() >= 3).unwrap_or(word)
}

/// `prssr` for `pressure`: letters of it in their order, the first among them, and no vowel behind that.
fn is_drawn_together(given: &str, word: &str) -> bool {
    let mut left = word.chars();
    given.len() >= 3
        && given.chars().next() == word.chars().next()
        && !given.chars().skip(1).any(|letter| "aeiou".contains(letter))
        && given.chars().all(|letter| left.any(|other| other == letter))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(table: Table, header: &str) -> Option<&'static str> {
        near_column(table, header, |_| true)
    }

    #[test]
    fn a_unit_or_a_count_behind_the_name_does_not_count() {
        for header in
            ["force_required in kN", "force_required （kN）", "Force required per clamp [N]", "force required kN"]
        {
            assert_eq!(near_column(Table::Lists, header, |_| true), Some("force_required"), "{header}");
        }
        assert_eq!(near_column(Table::Circuits, "temp min", |_| true), Some("temp_min"));
        assert_eq!(near_column(Table::Circuits, "cycles per day", |_| true), Some("cycles_per_day"));
        assert_eq!(bare_name("in kN"), "in");
        assert_eq!(bare_name("per clamp"), "per");
    }

    #[test]
    fn two_letters_and_a_third_of_the_name_are_near() {
        for (header, column) in [
            // One letter left out, added, replaced, two swapped.
            ("min_presure", "min_pressure"),
            ("min_presssure", "min_pressure"),
            ("min_prezsure", "min_pressure"),
            ("min_pressuer", "min_pressure"),
            // Two of them.
            ("mn_pressuer [bar]", "min_pressure"),
            // One of three letters is a third.
            ("uon", "uom"),
            // Two of six are a third.
            ("strake", "stroke"),
            ("strakr", "stroke"),
        ] {
            assert_eq!(near(Table::Components, header), Some(column), "{header}");
        }
        // Three letters; two of four; one of two; two of five.
        for header in ["mn_prezsurr", "flaz", "kx", "laakk", "remark", "colour"] {
            assert_eq!(near(Table::Components, header), None, "{header}");
        }
    }

    #[test]
    fn the_same_words_in_another_form_are_near() {
        for (table, header, column) in [
            (Table::Components, "min_press", "min_pressure"),
            (Table::Components, "Press. min", "min_pressure"),
            (Table::Components, "MinPress (bar)", "min_pressure"),
            (Table::Components, "minimum pressure", "min_pressure"),
            (Table::Components, "pressure rating", "rated_pressure"),
            (Table::Components, "pressurerated", "rated_pressure"),
            (Table::Components, "Part number", "part_no"),
            (Table::Components, "dia. inner", "inner_diameter"),
            (Table::Circuits, "max_temp", "temp_max"),
            (Table::Circuits, "max temperature", "temp_max"),
            (Table::Circuits, "maxtemp", "temp_max"),
            (Table::Circuits, "holding_time", "hold_time"),
            (Table::Circuits, "Max. clamping time [s]", "clamp_time_max"),
            (Table::Lists, "Quantity", "qty"),
            (Table::Lists, "force req.", "force_required"),
            (Table::Lists, "Pos.", "position"),
        ] {
            assert_eq!(near(table, header), Some(column), "{header}");
        }
        // Other words, fewer of them, or more.
        for header in ["circuit diagram", "pressure", "pressure set point", "remark", "Zeichnung", "", "[bar]", "42"] {
            assert_eq!(near(Table::Circuits, header), None, "{header}");
        }
    }

    #[test]
    fn the_nearest_of_those_that_are_wanted_is_taken() {
        assert_eq!(near(Table::Circuits, "temp_mim"), Some("temp_min"));
        let lacks_min = near_column(Table::Circuits, "temp_mim", |name| name != "temp_min");
        // Two of seven letters away.
        assert_eq!(lacks_min, Some("temp_max"));
        assert_eq!(near_column(Table::Circuits, "temp_mim", |name| !name.starts_with("temp")), None);
    }

    #[test]
    fn every_column_is_near_to_itself_with_two_letters_swapped() {
        for table in Table::ALL {
            for column in table.columns().iter().map(|column| column.name).filter(|name| name.len() >= 4) {
                let letters = folded(column);
                for at in 1..letters.len() {
                    let mut swapped: Vec<char> = letters.chars().collect();
                    swapped.swap(at - 1, at);
                    let swapped: String = swapped.into_iter().collect();
                    if swapped != letters {
                        let only = |name: &str| name == column;
                        assert_eq!(near_column(*table, &swapped, only), Some(column), "{table}: {swapped}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_name_shortened_by_a_word_is_near() {
        assert_eq!(near(Table::Circuits, "cycles day"), Some("cycles_per_day"));
        assert_eq!(near(Table::Circuits, "clamp max"), Some("clamp_time_max"));
        // One word alone tells nothing.
        assert_eq!(near(Table::Circuits, "cycles"), None);
    }
}
