//! The policy file: TOML, every key checked.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use toml::{Table as Keys, Value};

use crate::physics::quantity::{Density, KinematicViscosity, Pressure};
use crate::physics::unit::UnitSystem;
use crate::tables::column::Table;
use crate::tables::policy::{Fluid, GasModel, LIMITS, Policy};
use crate::tables::words::{Severity, folded};

use super::error::{Problems, ReadError};
use super::quantity::iso_date;

/// The policy of a file's text, at a date unless the file fixes one.
pub(crate) fn parse(file: &str, text: &str, today: NaiveDate) -> Result<Policy, ReadError> {
    let keys: Keys = text.strip_prefix('\u{feff}').unwrap_or(text).parse().map_err(|error: toml::de::Error| {
        let line =
            error.span().map_or(1, |span| text.get(..span.start).map_or(0, |before| before.matches('\n').count()) + 1);
        ReadError::new(format!(
            "{file}, line {line}: the text is no TOML: {}.",
            error.message().lines().next().unwrap_or_default()
        ))
    })?;
    let mut policy = Policy::at(today);
    let mut reader = PolicyReader { file, problems: Problems::default() };
    reader.whole(&keys, &mut policy);
    reader.problems.finish()?;
    Ok(policy)
}

struct PolicyReader<'a> {
    file: &'a str,
    problems: Problems,
}

const TOP: &[&str] = &["units", "date", "limits", "metal", "gas", "fluids", "rules", "columns", "bounds", "mail"];
const FLUID: &[&str] =
    &["bulk_modulus", "thermal_expansion", "free_air", "density", "viscosity_40", "viscosity_100", "seals"];
const BOUNDS: &[&str] = &[
    "text_file_mib",
    "workbook_mib",
    "inflated_mib",
    "rows",
    "columns",
    "cell_chars",
    "memory_mib",
    "formula_rows",
    "lines_rows",
];
const MAIL: &[&str] = &["host", "port", "security", "from", "user", "ca_file", "tries"];

fn named(value: &Value) -> String {
    let text = value.to_string();
    let text =
        if text.chars().count() > 60 { format!("{}…", text.chars().take(60).collect::<String>()) } else { text };
    text.replace('\n', " ")
}

impl PolicyReader<'_> {
    fn problem(&mut self, key: &str, what: &str) {
        self.problems.add(format!("{}, key {key}: {what}.", self.file));
    }

    fn unknown(&mut self, path: &str, key: &str, known: &[&str]) {
        let folded_key = folded(key);
        let nearest = known.iter().max_by(|a, b| {
            let near = |name: &str| strsim::jaro_winkler(&folded_key, &folded(name));
            near(a).total_cmp(&near(b))
        });
        let dotted = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        let hint = nearest.map_or_else(String::new, |name| format!("; the nearest known key is {}", dotted(name)));
        self.problem(&dotted(key), &format!("the policy has no such key{hint}"));
    }

    fn section<'v>(&mut self, key: &str, value: &'v Value) -> Option<&'v Keys> {
        let section = value.as_table();
        if section.is_none() {
            self.problem(key, &format!("found {}, expected a section [{key}]", named(value)));
        }
        section
    }

    fn number(&mut self, key: &str, value: &Value, least: f64, most: f64) -> Option<f64> {
        #[allow(clippy::cast_precision_loss, reason = "out of every range long before it matters")]
        let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64));
        let number = number.filter(|number| (least..=most).contains(number));
        if number.is_none() {
            self.problem(
                key,
                &format!("found {}, expected a number from {} to {}", named(value), plain(least), plain(most)),
            );
        }
        number
    }

    fn whole_number(&mut self, key: &str, value: &Value, least: u64, most: u64) -> Option<u64> {
        let number = value
            .as_integer()
            .and_then(|number| u64::try_from(number).ok())
            .filter(|number| (least..=most).contains(number));
        if number.is_none() {
            self.problem(key, &format!("found {}, expected a whole number from {least} to {most}", named(value)));
        }
        number
    }

    fn string<'v>(&mut self, key: &str, value: &'v Value) -> Option<&'v str> {
        let text = value.as_str();
        if text.is_none() {
            self.problem(key, &format!("found {}, expected text in quotes", named(value)));
        }
        text
    }

    fn strings(&mut self, key: &str, value: &Value) -> Option<Vec<String>> {
        let list = match value {
            Value::String(text) => Some(vec![text.clone()]),
            Value::Array(items) => items.iter().map(|item| item.as_str().map(str::to_owned)).collect(),
            _ => None,
        };
        if list.is_none() {
            self.problem(key, &format!("found {}, expected a list of texts such as [\"A\", \"B\"]", named(value)));
        }
        list
    }

    fn choice<T>(&mut self, key: &str, value: &Value, find: impl Fn(&str) -> Option<T>, words: &[&str]) -> Option<T> {
        let found = value.as_str().and_then(find);
        if found.is_none() {
            let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            self.problem(key, &format!("found {}, expected one of {}", named(value), words.join(", ")));
        }
        found
    }

    fn whole(&mut self, keys: &Keys, policy: &mut Policy) {
        for (key, value) in keys {
            match key.as_str() {
                "units" => {
                    let system = |word: &str| match folded(word).as_str() {
                        "metric" => Some(UnitSystem::Metric),
                        "us" => Some(UnitSystem::Us),
                        _ => None,
                    };
                    policy.units = self.choice(key, value, system, &["metric", "us"]).unwrap_or_default();
                }
                "date" => self.date(value, policy),
                "limits" => self.limits(value, policy),
                "metal" => self.metal(value, policy),
                "gas" => self.gas(value, policy),
                "fluids" => self.fluids(value, policy),
                "rules" => self.rules(value, policy),
                "columns" => self.columns(value, policy),
                "bounds" => self.bounds(value, policy),
                "mail" => self.mail(value, policy),
                _ => self.unknown("", key, TOP),
            }
        }
    }

    fn date(&mut self, value: &Value, policy: &mut Policy) {
        let text = match value {
            Value::Datetime(date) => date.to_string(),
            other => other.as_str().map_or_else(|| "?".to_owned(), |text| text.trim().to_owned()),
        };
        if text.is_empty() {
            return;
        }
        match iso_date(&text).filter(|_| text.len() == 10) {
            Some(date) => {
                policy.date = date;
                policy.date_is_fixed = true;
            }
            None => self.problem(
                "date",
                &format!("found {}, expected a date such as \"2026-03-31\" or \"\" for today", named(value)),
            ),
        }
    }

    fn limits(&mut self, value: &Value, policy: &mut Policy) {
        let names: Vec<&str> = LIMITS.iter().map(|limit| limit.key).collect();
        for (key, value) in self.section("limits", value).into_iter().flatten() {
            match LIMITS.iter().find(|limit| limit.key == key) {
                Some(limit) => {
                    if let Some(number) = self.number(&format!("limits.{key}"), value, limit.least, limit.most) {
                        (limit.set)(&mut policy.limits, number);
                    }
                }
                None => self.unknown("limits", key, &names),
            }
        }
        let limits = policy.limits;
        for (low, least, high, most) in [
            ("gauge_low", limits.gauge_low, "gauge_high", limits.gauge_high),
            ("precharge_low", limits.precharge_low, "precharge_high", limits.precharge_high),
        ] {
            if least > most {
                self.problem(
                    &format!("limits.{low}"),
                    &format!("found {}, expected at most limits.{high}, which is {}", plain(least), plain(most)),
                );
            }
        }
    }

    fn metal(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("metal", value).into_iter().flatten() {
            if key == "linear_expansion" {
                policy.metal_expansion = self.number("metal.linear_expansion", value, 0.0, 1e-3).unwrap_or_default();
            } else {
                self.unknown("metal", key, &["linear_expansion"]);
            }
        }
    }

    fn gas(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("gas", value).into_iter().flatten() {
            if key == "model" {
                policy.gas = self.choice("gas.model", value, GasModel::find, GasModel::WORDS).unwrap_or(GasModel::Real);
            } else {
                self.unknown("gas", key, &["model"]);
            }
        }
    }

    fn fluids(&mut self, value: &Value, policy: &mut Policy) {
        for (name, value) in self.section("fluids", value).into_iter().flatten() {
            let path = format!("fluids.{name}");
            let mut fluid = Fluid::default();
            for (key, value) in self.section(&path, value).into_iter().flatten() {
                self.fluid_key(&path, key, value, &mut fluid);
            }
            if fluid.viscosity_100 > fluid.viscosity_40 {
                self.problem(
                    &format!("{path}.viscosity_100"),
                    "found a viscosity at 100 °C above that at 40 °C, expected it below",
                );
            }
            policy.fluids.insert(super::cell::clean(name).into_owned(), fluid);
        }
    }

    fn fluid_key(&mut self, path: &str, key: &str, value: &Value, fluid: &mut Fluid) {
        let dotted = format!("{path}.{key}");
        let mut number = |least, most| self.number(&dotted, value, least, most);
        match key {
            "bulk_modulus" => fluid.bulk_modulus = Pressure::new(number(1e8, 1e11).unwrap_or(1e9)),
            "thermal_expansion" => fluid.thermal_expansion = number(0.0, 0.01).unwrap_or_default(),
            "free_air" => fluid.free_air = number(0.0, 0.5).unwrap_or_default(),
            "density" => fluid.density = Density::new(number(100.0, 5000.0).unwrap_or(870.0)),
            "viscosity_40" => fluid.viscosity_40 = KinematicViscosity::from_mm2_per_s(number(0.5, 1e5).unwrap_or(32.0)),
            "viscosity_100" => {
                fluid.viscosity_100 = KinematicViscosity::from_mm2_per_s(number(0.5, 1e5).unwrap_or(0.5));
            }
            "seals" => fluid.seals = self.strings(&dotted, value).unwrap_or_default(),
            _ => self.unknown(path, key, FLUID),
        }
    }

    fn rules(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("rules", value).into_iter().flatten() {
            let path = format!("rules.{key}");
            let Some(code) = rule_code(key) else {
                self.problem(&path, "there is no such rule; rules are named by their code, such as P05");
                continue;
            };
            let severity = |word: &str| if folded(word) == "off" { Some(None) } else { Severity::find(word).map(Some) };
            if let Some(severity) = self.choice(&path, value, severity, &["major", "minor", "observation", "off"]) {
                policy.rules.insert(code, severity);
            }
        }
    }

    fn columns(&mut self, value: &Value, policy: &mut Policy) {
        let mut names: Vec<&'static str> =
            Table::ALL.iter().flat_map(|table| table.columns()).map(|column| column.name).collect();
        names.sort_unstable();
        names.dedup();
        let mut owners: BTreeMap<String, &str> = BTreeMap::new();
        for (key, value) in self.section("columns", value).into_iter().flatten() {
            let path = format!("columns.{key}");
            let Some(name) = names.iter().copied().find(|name| folded(name) == folded(key)) else {
                self.unknown("columns", key, &names);
                continue;
            };
            let aliases = self.strings(&path, value).unwrap_or_default();
            for alias in &aliases {
                let folded_alias = super::names::fold(alias);
                if folded_alias.is_empty() {
                    self.problem(&path, "found an empty alias, expected a header's text");
                }
                if let Some(other) = owners.insert(folded_alias, name).filter(|other| *other != name) {
                    self.problem(&path, &format!("found the alias '{alias}', which columns.{other} has already"));
                }
            }
            policy.aliases.entry(name.to_owned()).or_default().extend(aliases);
        }
    }

    fn bounds(&mut self, value: &Value, policy: &mut Policy) {
        let bounds = &mut policy.bounds;
        for (key, value) in self.section("bounds", value).into_iter().flatten() {
            let (place, least, most) = match key.as_str() {
                "text_file_mib" => (&mut bounds.text_file_mib, 1, 1 << 24),
                "workbook_mib" => (&mut bounds.workbook_mib, 1, 2048),
                "inflated_mib" => (&mut bounds.inflated_mib, 1, 16_384),
                "rows" => (&mut bounds.rows, 1, 4_000_000_000),
                "columns" => (&mut bounds.columns, 1, 16_384),
                "cell_chars" => (&mut bounds.cell_chars, 16, 32_767),
                "memory_mib" => (&mut bounds.memory_mib, 16, 1 << 20),
                "formula_rows" => (&mut bounds.formula_rows, 0, 1_000_000),
                "lines_rows" => (&mut bounds.lines_rows, 0, 1_000_000),
                _ => {
                    self.unknown("bounds", key, BOUNDS);
                    continue;
                }
            };
            *place = self.whole_number(&format!("bounds.{key}"), value, least, most).unwrap_or(*place);
        }
    }

    fn mail(&mut self, value: &Value, policy: &mut Policy) {
        let mail = &mut policy.mail;
        for (key, value) in self.section("mail", value).into_iter().flatten() {
            let path = format!("mail.{key}");
            let text = match key.as_str() {
                "port" => {
                    mail.port = self.whole_number(&path, value, 1, 65_535).and_then(|port| u16::try_from(port).ok());
                    continue;
                }
                "tries" => {
                    mail.tries = self.whole_number(&path, value, 1, 20).and_then(|tries| u32::try_from(tries).ok());
                    continue;
                }
                "security" => {
                    const WORDS: &[&str] = &["starttls", "tls", "none"];
                    let find = |word: &str| {
                        WORDS.iter().find(|known| folded(known) == folded(word)).map(|word| (*word).to_owned())
                    };
                    mail.security = self.choice(&path, value, find, WORDS).unwrap_or_default();
                    continue;
                }
                "host" => &mut mail.host,
                "from" => &mut mail.from,
                "user" => &mut mail.user,
                "ca_file" => &mut mail.ca_file,
                _ => {
                    self.unknown("mail", key, MAIL);
                    continue;
                }
            };
            self.string(&path, value).unwrap_or_default().trim().clone_into(text);
        }
    }
}

/// The code of a rule as the catalogue writes it, where a text is one.
pub(crate) fn rule_code(text: &str) -> Option<String> {
    use crate::rules::catalogue::{CATALOGUE, rule};
    let code = super::cell::clean(text).to_ascii_uppercase();
    let is_code = matches!(code.as_bytes(), [b'L' | b'M' | b'V' | b'P' | b'H' | b'F' | b'T' | b'B' | b'W', tens, ones] if tens.is_ascii_digit() && ones.is_ascii_digit());
    (is_code && (CATALOGUE.is_empty() || rule(&code).is_some())).then_some(code)
}

fn plain(number: f64) -> String {
    if number != 0.0 && !(1e-3..1e6).contains(&number.abs()) { format!("{number:e}") } else { format!("{number}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn errors(text: &str) -> Vec<String> {
        parse("policy.toml", text, NaiveDate::default()).unwrap_err().sentences
    }

    #[test]
    fn a_whole_policy_is_read() {
        let text = "units = 'US'\ndate = '2026-03-31'\n[limits]\nfill = 0.8\nwaiver_notice = 14\n[fluids.water_glycol]\ndensity = 1080\n\
            [rules]\np05 = 'minor'\nM10 = 'off'\n[columns]\npart_no = ['Item', 'Material']\nqty = 'Menge'\n[bounds]\nrows = 1000\n[mail]\nport = 587\n[gas]\nmodel='ideal'\n";
        let policy = parse("policy.toml", text, NaiveDate::default()).unwrap();
        assert_eq!(
            (policy.units, policy.date.to_string().as_str(), policy.date_is_fixed),
            (UnitSystem::Us, "2026-03-31", true)
        );
        assert_eq!(
            (policy.limits.fill.to_bits(), policy.limits.fill_watch.to_bits()),
            (0.8_f64.to_bits(), 0.85_f64.to_bits())
        );
        assert_eq!(policy.fluids.keys().collect::<Vec<_>>(), ["default", "water_glycol"]);
        assert_eq!(policy.rules.get("P05"), Some(&Some(Severity::Minor)));
        assert_eq!(policy.rules.get("M10"), Some(&None));
        assert_eq!(policy.aliases.get("qty"), Some(&vec!["Menge".to_owned()]));
        assert_eq!((policy.bounds.rows, policy.mail.port, policy.gas), (1000, Some(587), GasModel::Ideal));
    }

    #[test]
    fn what_can_not_be_used_is_said() {
        for (text, wanted) in [
            ("unit = 'us'", "policy.toml, key unit: the policy has no such key; the nearest known key is units."),
            (
                "[limits]\nfil = 1",
                "policy.toml, key limits.fil: the policy has no such key; the nearest known key is limits.fill.",
            ),
            ("[limits]\nfill = 90", "policy.toml, key limits.fill: found 90, expected a number from 0.01 to 1."),
            (
                "[limits]\nfill = '0.9'",
                "policy.toml, key limits.fill: found \"0.9\", expected a number from 0.01 to 1.",
            ),
            ("units = 'imperial'", "policy.toml, key units: found \"imperial\", expected one of \"metric\", \"us\"."),
            (
                "date = '31.03.2026'",
                "policy.toml, key date: found \"31.03.2026\", expected a date such as \"2026-03-31\" or \"\" for today.",
            ),
            (
                "[rules]\nX01 = 'off'",
                "policy.toml, key rules.X01: there is no such rule; rules are named by their code, such as P05.",
            ),
            (
                "[fluids.x]\ndensity = 1",
                "policy.toml, key fluids.x.density: found 1, expected a number from 100 to 5000.",
            ),
            (
                "[columns]\npart = 'Item'",
                "policy.toml, key columns.part: the policy has no such key; the nearest known key is columns.part_no.",
            ),
            ("limits = 3", "policy.toml, key limits: found 3, expected a section [limits]."),
            (
                "a = \n",
                "policy.toml, line 1: the text is no TOML: string values must be quoted, expected literal string.",
            ),
        ] {
            assert_eq!(errors(text), [wanted], "{text}");
        }
    }
}
