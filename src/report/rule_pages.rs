//! The rule catalogue as plain text: a list, and a page for each rule.

use std::fmt::Write;

use crate::rules::Rule;
use crate::rules::catalogue::CATALOGUE;
use crate::tables::counted::counted;
use crate::tables::policy::{LIMITS, Limits};

use super::plain_text::indented;

/// Columns that a page keeps to.
const WIDTH: usize = 92;
const INDENT: &str = "  ";

/// Rules, one a line, with a heading for each family.
#[must_use]
pub fn list(rules: &[&Rule]) -> String {
    let mut text = String::new();
    let mut family = None;
    for rule in rules {
        if family != Some(rule.family.letter) {
            let blank = if family.is_none() { "" } else { "\n" };
            let _ = writeln!(text, "{blank}{}", rule.family.name);
            family = Some(rule.family.letter);
        }
        let _ = writeln!(
            text,
            "{INDENT}{}  {:<11}  {:<7}  {}",
            rule.code,
            rule.severity.word(),
            rule.subject.word(),
            rule.title
        );
    }
    let rules = counted(u64::try_from(rules.len()).unwrap_or(u64::MAX), "rule");
    let _ = writeln!(text, "\n{rules}. `clampbook rules CODE` shows one in full.");
    text
}

/// The rules that a word is about, by code, name, family or any of their texts; empty where there is none.
#[must_use]
pub fn about(word: &str) -> Vec<&'static Rule> {
    let wanted = word.trim().to_lowercase();
    let has = |text: &str| text.to_lowercase().contains(&wanted);
    let is_about = |rule: &&&'static Rule| {
        let texts =
            [rule.code, rule.name, rule.family.name, rule.title, rule.looks_for, rule.why, rule.remedy, rule.basis];
        texts.into_iter().any(has)
    };
    CATALOGUE.iter().filter(is_about).copied().collect()
}

/// Everything about one rule.
#[must_use]
pub fn page(rule: &Rule) -> String {
    let mut text = format!("{} {}\n{}\n", rule.code, rule.name, rule.title);
    let _ = writeln!(text, "Severity: {}. Subject: {}.", rule.severity.word(), rule.subject.word());
    for (title, words) in [
        ("What it looks for", rule.looks_for),
        ("Why it matters", rule.why),
        ("What puts it right", rule.remedy),
        ("Conforms", rule.passing),
        ("Does not conform", rule.failing),
        ("Basis", rule.basis),
    ] {
        let _ = write!(text, "\n{title}\n{}", on_page(words, INDENT.len()));
    }
    if !rule.limits.is_empty() {
        text.push_str("\nPolicy limits\n");
        for limit in LIMITS.iter().filter(|limit| rule.limits.contains(&limit.key)) {
            let default = (limit.get)(&Limits::default());
            let words = format!("limits.{} = {default}: {} ({}).", limit.key, limit.meaning, limit.source);
            text.push_str(&on_page(&words, INDENT.len()));
        }
    }
    text
}

/// The code that is most like a text.
#[must_use]
pub fn nearest_code(text: &str) -> &'static str {
    let wanted = text.trim().to_ascii_uppercase();
    let near = |rule: &Rule| {
        strsim::normalized_damerau_levenshtein(&wanted, rule.code)
            .max(strsim::jaro_winkler(&text.trim().to_lowercase(), rule.name))
    };
    let nearest =
        CATALOGUE.iter().max_by(|one, other| near(one).total_cmp(&near(other)).then_with(|| other.code.cmp(one.code)));
    nearest.map_or("", |rule| rule.code)
}

/// Text in the rows of a page, indented.
pub(super) fn on_page(text: &str, indent: usize) -> String {
    indented(text, WIDTH, indent).join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::catalogue::{FAMILIES, rule};

    #[test]
    fn the_list_has_a_line_for_every_rule() {
        let text = list(CATALOGUE);
        for rule in CATALOGUE {
            let line = text.lines().find(|line| line.trim_start().starts_with(rule.code)).unwrap();
            assert!(line.ends_with(rule.title), "{line}");
        }
        assert_eq!(
            text.lines().filter(|line| !line.is_empty() && !line.starts_with(INDENT)).count(),
            FAMILIES.len() + 1
        );
    }

    #[test]
    fn a_page_says_everything_and_keeps_to_its_width() {
        for rule in CATALOGUE {
            let text = page(rule);
            let flat: Vec<&str> = text.split_whitespace().collect();
            let flat = flat.join(" ");
            for words in [rule.title, rule.looks_for, rule.why, rule.remedy, rule.passing, rule.failing, rule.basis] {
                let words: Vec<&str> = words.split_whitespace().collect();
                assert!(flat.contains(&words.join(" ")), "{}: {words:?}", rule.code);
            }
            for limit in rule.limits {
                assert!(text.contains(&format!("limits.{limit} = ")), "{}: {limit}", rule.code);
            }
            assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        }
    }

    #[test]
    fn a_word_finds_the_rules_that_are_about_it() {
        let codes = |word: &str| about(word).iter().map(|rule| rule.code).collect::<Vec<_>>();
        assert_eq!(codes("p05"), ["P05"]);
        assert!(codes("Accumulator").contains(&"H04"), "{:?}", codes("Accumulator"));
        assert!(codes("fill").contains(&"V01"));
        assert_eq!(codes("zzz"), Vec::<&str>::new());
    }

    #[test]
    fn the_nearest_code_is_named() {
        assert_eq!(nearest_code("P5"), "P05");
        assert_eq!(nearest_code("fill above limit"), rule("V01").unwrap().code);
    }
}
