//! The prose of every rule, tested.

use std::collections::BTreeSet;
use std::path::Path;

use super::*;
use crate::rules::test_circuit::Trio;
use crate::tables::policy::LIMITS;

/// Names that every pattern may use.
const SUBJECT_NAMES: [&str; 7] = ["measured", "limit", "place", "position", "part", "side", "the_side"];
/// Facts that come with a proved change, from a later floor.
const FACTS_OF_CHANGES: [&str; 2] = ["smaller", "conforms_in"];
/// Words that blame, alarm or say nothing.
const FORBIDDEN: [&str; 9] = ["invalid", "illegal", "please", "oops", "mistake", "forgot", "wrong", "your", "error"];

fn texts(rule: &Rule) -> [(&'static str, &'static str); 7] {
    [
        ("looks_for", rule.looks_for),
        ("why", rule.why),
        ("remedy", rule.remedy),
        ("message", rule.message),
        ("passing", rule.passing),
        ("failing", rule.failing),
        ("title", rule.title),
    ]
}

/// The names between braces in a pattern.
fn names(pattern: &str) -> Vec<&str> {
    pattern.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(name, _)| name).collect()
}

#[test]
fn codes_and_names_are_unique_and_well_formed() {
    let codes: BTreeSet<_> = CATALOGUE.iter().map(|rule| rule.code).collect();
    let unique: BTreeSet<_> = CATALOGUE.iter().map(|rule| rule.name).collect();
    assert_eq!((codes.len(), unique.len()), (CATALOGUE.len(), CATALOGUE.len()));
    for rule in CATALOGUE {
        let (letter, number) = rule.code.split_at(1);
        assert!("LMVPHFTSBUW".contains(letter), "{}", rule.code);
        assert!(number.len() == 2 && number.bytes().all(|digit| digit.is_ascii_digit()), "{}", rule.code);
        let is_kebab =
            rule.name.split('-').all(|word| !word.is_empty() && word.bytes().all(|c| c.is_ascii_lowercase()));
        assert!(is_kebab, "{} {}", rule.code, rule.name);
        // A check valve is a part; a rule that names itself a check says nothing.
        let condition = rule.name.replace("check-valve", "");
        for word in ["must", "invalid", "check", "should"] {
            assert!(!condition.contains(word), "{} {}: states the condition found", rule.code, rule.name);
        }
    }
}

#[test]
fn rules_stand_in_reading_order() {
    let order = |rule: &&Rule| ("LMVPHFTSBUW".find(&rule.code[..1]), &rule.code[1..]);
    assert!(CATALOGUE.is_sorted_by_key(order));
    assert!(CATALOGUE.len() >= 39);
}

#[test]
fn texts_are_sentences_without_blame() {
    for rule in CATALOGUE {
        for (field, text) in texts(rule) {
            let place = format!("{} {field}: {text}", rule.code);
            assert!(!text.contains('!') && !text.contains("  ") && text == text.trim(), "{place}");
            let lower = text.to_lowercase();
            for word in lower.split(|c: char| !c.is_alphabetic()) {
                assert!(!FORBIDDEN.contains(&word), "{place}: says '{word}'");
            }
            let first = text.trim_start_matches('[').chars().next().unwrap();
            assert!(first.is_uppercase() || first.is_ascii_digit() || first == '{' || first == '`', "{place}");
            let end = text.trim_end_matches(']');
            assert_eq!(end.ends_with('.'), field != "title", "{place}");
        }
        assert!(rule.title.len() <= 72, "{}: the title is one line of a table", rule.code);
        assert!(!rule.basis.is_empty() && !rule.basis.ends_with('.'), "{}", rule.code);
        assert_ne!(rule.passing, rule.failing, "{}", rule.code);
    }
}

#[test]
fn limits_are_keys_of_the_policy() {
    for rule in CATALOGUE {
        for limit in rule.limits {
            assert!(LIMITS.iter().any(|info| info.key == *limit), "{}: no limit {limit}", rule.code);
        }
    }
}

#[test]
fn every_rule_looks_at_something() {
    for rule in CATALOGUE {
        let checks = &rule.checks;
        let looks = checks.circuit.is_some()
            || checks.part.is_some()
            || checks.station.is_some()
            || checks.order.is_some()
            || checks.waiver.is_some()
            || checks.header.is_some();
        assert!(looks, "{}", rule.code);
    }
}

#[test]
fn brackets_and_braces_of_patterns_close() {
    for rule in CATALOGUE {
        let mut is_open = false;
        for letter in rule.message.chars() {
            match letter {
                '[' => assert!(!std::mem::replace(&mut is_open, true), "{}: nested brackets", rule.code),
                ']' => assert!(std::mem::replace(&mut is_open, false), "{}: bracket not opened", rule.code),
                _ => {}
            }
        }
        assert!(!is_open, "{}: bracket not closed", rule.code);
        assert_eq!(rule.message.matches('{').count(), names(rule.message).len(), "{}", rule.code);
        for name in names(rule.message) {
            assert!(name.bytes().all(|c| c.is_ascii_lowercase() || c == b'_'), "{}: {name}", rule.code);
        }
        assert!(!rule.message.contains("{unknown}"), "{}", rule.code);
    }
}

/// Every name of a pattern is one of a finding, or a fact that some rule's function gives.
#[test]
fn names_of_patterns_are_given_by_the_functions() {
    let mut given: BTreeSet<String> = BTreeSet::new();
    given.extend(SUBJECT_NAMES.iter().chain(&FACTS_OF_CHANGES).map(|name| (*name).to_owned()));
    collect_facts(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/rules"), &mut given);
    for rule in CATALOGUE {
        for name in names(rule.message) {
            assert!(given.contains(name), "{}: nothing gives {{{name}}}", rule.code);
        }
    }
}

/// The names of `fact("..."`, `fact_if("..."` and `push(("..."` in the sources below a folder.
fn collect_facts(folder: &Path, given: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect_facts(&path, given);
        } else if path.extension().is_some_and(|ending| ending == "rs") && !path.ends_with("tests.rs") {
            let source = std::fs::read_to_string(&path).unwrap();
            for start in ["fact(", "fact_if(", "push(("] {
                let calls = source.split(start).skip(1);
                let quoted = calls.filter_map(|rest| rest.trim_start().strip_prefix('"')?.split_once('"'));
                given.extend(quoted.map(|(name, _)| name.to_owned()));
            }
        }
    }
}

fn trios() -> Vec<Trio> {
    let families = [
        lists::trios::trios(),
        makeup::trios::trios(),
        volume::trios::trios(),
        pressure::trios::trios(),
        holding::trios::trios(),
        force::trios::trios(),
        time::trios::trios(),
        sureness::trios::trios(),
        buying::trios::trios(),
        upkeep::trios::trios(),
        waivers::trios::trios(),
    ];
    families.into_iter().flatten().collect()
}

#[test]
fn every_rule_fires_stays_quiet_and_keeps_to_its_limit() {
    let trios = trios();
    let mut faults = Vec::new();
    for rule in CATALOGUE {
        let of_rule: Vec<&Trio> = trios.iter().filter(|trio| trio.rule.code == rule.code).collect();
        let found = match of_rule[..] {
            [trio] => trio.faults(),
            [] => vec!["it has no fixtures.".to_owned()],
            _ => vec!["its fixtures stand there twice.".to_owned()],
        };
        let (code, letter) = (rule.code, rule.family.letter);
        faults.extend(found.into_iter().map(|fault| {
            format!("{code}: {fault} They stand in trios.rs beside the rules of family {letter}: one that fires, one that stays quiet, one at the limit.")
        }));
    }
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

/// The statics of the sources are the catalogue's rules: one that its family does not list is never asked.
#[test]
fn every_rule_stands_in_the_list_of_its_family() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/rules");
    let sources = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut written = 0;
    for path in sources.filter(|path| path.extension().is_some_and(|ending| ending == "rs")) {
        let text = std::fs::read_to_string(&path).unwrap();
        for line in text.lines() {
            let Some((name, _)) = line.strip_prefix("pub static ").and_then(|rest| rest.split_once(": Rule =")) else {
                continue;
            };
            written += 1;
            assert!(
                CATALOGUE.iter().any(|rule| rule.code == name),
                "{name} of {} is missing in the rules of its FAMILY there, or has another code",
                path.display()
            );
        }
    }
    assert_eq!(written, CATALOGUE.len());
    for family in FAMILIES {
        for rule in family.rules {
            assert!(std::ptr::eq(*family, rule.family) && rule.code.starts_with(family.letter), "{}", rule.code);
        }
    }
}

#[test]
fn every_rule_has_a_mutant() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/mutants.csv");
    let text = std::fs::read_to_string(path).unwrap();
    // How sure a verdict is is looked at only where a run asks for it, which those of the mutants don't.
    let without: Vec<&str> = CATALOGUE
        .iter()
        .map(|rule| rule.code)
        .filter(|code| *code != sureness::S01.code && !text.contains(&format!("{code};")))
        .collect();
    assert!(
        without.is_empty(),
        "no mutant in tests/oracle/mutants.csv makes these true: {without:?}. Write the rule in tests/oracle/oracle.py and its edits among EDITS of expect.py, which writes that file."
    );
}
