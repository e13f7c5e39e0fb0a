//! The starter's policy.toml: every key behind a `#`, with its default and its meaning.

use std::fmt::Write;

use crate::physics::unit::UnitSystem;
use crate::report::policy_keys::{PolicyKey, policy_keys};

const HEAD: &str = "\
# The policy of this plant: units, limits, fluids, severities.
#
# Every key stands here with its default, behind a '#' without a blank. To change one, take the
# '#' away and change the value. Keys that have no default show an example.
#
# The waivers table has its header only: a waiver that matches no finding is a finding itself
# (W02), and the example circuit has none to waive.
";

/// Its text; in the US units of a US starter the key `units` is set.
#[must_use]
pub fn policy_toml(units: UnitSystem) -> String {
    let mut text = HEAD.to_owned();
    let mut section = String::new();
    for key in policy_keys() {
        if key.section != section {
            section.clone_from(&key.section);
            let _ = write!(text, "\n[{section}]\n");
            if section == "rules" {
                text.push_str("# The severity of each rule: \"major\", \"minor\", \"observation\" or \"off\".\n");
            }
            if section == "cards.words" {
                text.push_str(
                    "# Words on load cards, in the operators' language; what stands in braces is filled in. The code of a\n\
                     # rule, such as P05, takes its title.\n",
                );
            }
        }
        push_key(&mut text, &key, units);
    }
    text
}

fn push_key(text: &mut String, key: &PolicyKey, units: UnitSystem) {
    if key.section == "cards.words" {
        let _ = writeln!(text, "#{} = {}", key.key, key.default);
        return;
    }
    if key.section == "rules" {
        let _ = writeln!(text, "#{} = {:<15}# {}", key.key, key.default, key.meaning);
        return;
    }
    let mut asides: Vec<&str> = Vec::new();
    if !key.range.is_empty() {
        asides.push(&key.range);
    }
    if !key.source.is_empty() {
        asides.push(key.source);
    }
    let aside = if asides.is_empty() { String::new() } else { format!(" ({})", asides.join("; ")) };
    let _ = writeln!(text, "\n# {}{aside}.", key.meaning);
    if key.section.is_empty() && key.key == "units" && units == UnitSystem::Us {
        text.push_str("units = \"us\"\n");
    } else {
        let _ = writeln!(text, "#{} = {}", key.key, key.default);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The text with the `#` of every key taken away.
    fn opened(text: &str) -> String {
        text.lines()
            .map(|line| match line.strip_prefix('#') {
                Some(rest) if !rest.is_empty() && !rest.starts_with(' ') => format!("{rest}\n"),
                _ => format!("{line}\n"),
            })
            .collect()
    }

    #[test]
    fn as_written_it_sets_nothing() {
        let table: toml::Table = policy_toml(UnitSystem::Metric).parse().unwrap();
        assert!(table.values().all(|section| {
            section
                .as_table()
                .is_some_and(|keys| keys.values().all(|value| value.as_table().is_some_and(toml::Table::is_empty)))
        }));
        let us: toml::Table = policy_toml(UnitSystem::Us).parse().unwrap();
        assert_eq!(us.get("units").and_then(toml::Value::as_str), Some("us"));
    }

    #[test]
    fn opened_it_holds_every_key() {
        let table: toml::Table = opened(&policy_toml(UnitSystem::Metric)).parse().unwrap();
        for key in policy_keys() {
            let mut at = &table;
            for section in key.section.split('.').filter(|section| !section.is_empty()) {
                at = at.get(section).and_then(toml::Value::as_table).unwrap();
            }
            assert!(at.contains_key(&key.key), "{}.{}", key.section, key.key);
        }
    }
}
