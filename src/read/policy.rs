//! The policy file: TOML, every key checked.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use toml::{Table as Keys, Value};

use crate::physics::unit::{Unit, UnitSystem};
use crate::tables::card_words::CARD_WORDS;
use crate::tables::column::Table;
use crate::tables::number_key::NumberKey;
use crate::tables::policy::{
    AskedDatum, BOUNDS, DateOrder, FLUID_NUMBERS, Fluid, GasModel, LIMITS, MAIL_SECURITY, MAIL_TRIES, METAL_NUMBERS,
    Matrix, NamedFile, Policy, WORD_SETS,
};
use crate::tables::spread::SPREADS;
use crate::tables::words::{Severity, folded};

use super::error::{Problems, ReadError};
use super::place_form::PlaceForm;
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

const TOP: &[&str] = &[
    "units", "date", "limits", "metal", "gas", "fluids", "rules", "columns", "bounds", "mail", "asked", "values",
    "files", "reading", "cards", "spread",
];
const UNIT_SYSTEMS: &[&str] = &["metric", "us"];
const MAIL: &[&str] = &["host", "port", "security", "from", "user", "ca_file", "tries"];

fn named_value(value: &Value) -> String {
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
            self.problem(key, &format!("found {}, expected a section [{key}]", named_value(value)));
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
                &format!("found {}, expected a number from {} to {}", named_value(value), plain(least), plain(most)),
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
            self.problem(key, &format!("found {}, expected a whole number from {least} to {most}", named_value(value)));
        }
        number
    }

    fn string<'v>(&mut self, key: &str, value: &'v Value) -> Option<&'v str> {
        let text = value.as_str();
        if text.is_none() {
            self.problem(key, &format!("found {}, expected text in quotes", named_value(value)));
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
            self.problem(
                key,
                &format!("found {}, expected a list of texts such as [\"A\", \"B\"]", named_value(value)),
            );
        }
        list
    }

    fn choice<T>(&mut self, key: &str, value: &Value, find: impl Fn(&str) -> Option<T>, words: &[&str]) -> Option<T> {
        let found = value.as_str().and_then(find);
        if found.is_none() {
            let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            self.problem(key, &format!("found {}, expected one of {}", named_value(value), words.join(", ")));
        }
        found
    }

    fn whole(&mut self, keys: &Keys, policy: &mut Policy) {
        for (key, value) in keys {
            match key.as_str() {
                "units" => {
                    policy.units = self.choice(key, value, unit_system, UNIT_SYSTEMS).unwrap_or_default();
                }
                "date" => self.date(value, policy),
                "limits" => self.limits(value, policy),
                "spread" => self.spread(value, policy),
                "metal" => self.metal(value, policy),
                "gas" => self.gas(value, policy),
                "fluids" => self.fluids(value, policy),
                "rules" => self.rules(value, policy),
                "columns" => self.columns(value, policy),
                "bounds" => self.bounds(value, policy),
                "mail" => self.mail(value, policy),
                "cards" => self.cards(value, policy),
                "asked" => self.asked(value, policy),
                "values" => self.values(value, policy),
                "files" => self.files(value, policy),
                "reading" => self.reading(value, policy),
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
                &format!("found {}, expected a date such as \"2026-03-31\" or \"\" for today", named_value(value)),
            ),
        }
    }

    fn limits(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("limits", value).into_iter().flatten() {
            self.number_key("limits", key, value, LIMITS, &mut policy.limits, &[]);
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

    fn spread(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("spread", value).into_iter().flatten() {
            self.number_key("spread", key, value, SPREADS, &mut policy.spread, &[]);
        }
    }

    fn metal(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("metal", value).into_iter().flatten() {
            self.number_key("metal", key, value, METAL_NUMBERS, &mut policy.metal, &[]);
        }
    }

    /// Takes a number that a list of keys describes; `others` are keys of the section that are none.
    fn number_key<T>(
        &mut self,
        section: &str,
        key: &str,
        value: &Value,
        known: &[NumberKey<T>],
        into: &mut T,
        others: &[&str],
    ) {
        if let Some(number) = known.iter().find(|number| number.key == key) {
            if let Some(value) = self.number(&format!("{section}.{key}"), value, number.least, number.most) {
                (number.set)(into, value);
            }
        } else {
            let names: Vec<&str> = known.iter().map(|number| number.key).chain(others.iter().copied()).collect();
            self.unknown(section, key, &names);
        }
    }

    fn asked(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("asked", value).into_iter().flatten() {
            let path = format!("asked.{key}");
            let into = match key.as_str() {
                "uncoupled" => &mut policy.asked.uncoupled,
                "live" => &mut policy.asked.live,
                _ => {
                    self.unknown("asked", key, &["uncoupled", "live"]);
                    continue;
                }
            };
            into.clear();
            for word in self.strings(&path, value).unwrap_or_default() {
                match AskedDatum::find(&word) {
                    Some(datum) => into.push(datum),
                    None => {
                        let words = AskedDatum::WORDS.join(", ");
                        self.problem(&path, &format!("found \"{word}\", expected some of {words}"));
                    }
                }
            }
        }
    }

    fn values(&mut self, value: &Value, policy: &mut Policy) {
        for (set, value) in self.section("values", value).into_iter().flatten() {
            let path = format!("values.{set}");
            if set == "unit" {
                self.unit_aliases(value, policy);
                continue;
            }
            let Some((name, words)) = WORD_SETS.iter().find(|(name, _)| *name == set) else {
                let mut names: Vec<&str> = WORD_SETS.iter().map(|(name, _)| *name).collect();
                names.push("unit");
                self.unknown("values", set, &names);
                continue;
            };
            for (word, aliases) in self.section(&path, value).into_iter().flatten() {
                let Some(known) = words.iter().copied().find(|known| folded(known) == folded(word)) else {
                    self.unknown(&path, word, words);
                    continue;
                };
                let dotted = format!("{path}.{word}");
                for alias in self.strings(&dotted, aliases).unwrap_or_default() {
                    let of_set = policy.word_aliases.entry(name).or_default();
                    if let Some(other) = of_set.insert(folded(&alias), known).filter(|other| *other != known) {
                        self.problem(&dotted, &format!("found the word '{alias}', which {path}.{other} has already"));
                    }
                }
            }
        }
    }

    fn unit_aliases(&mut self, value: &Value, policy: &mut Policy) {
        for (unit, aliases) in self.section("values.unit", value).into_iter().flatten() {
            let dotted = format!("values.unit.{unit}");
            if Unit::find(unit).is_none() && folded(unit) != "each" {
                self.problem(&dotted, "there is no such unit; expected one such as bar, mm or each");
                continue;
            }
            for alias in self.strings(&dotted, aliases).unwrap_or_default() {
                let alias_key = super::cell::clean(&alias).to_lowercase();
                if let Some(known) =
                    Unit::find(&alias).filter(|known| Unit::find(unit).is_none_or(|unit| unit.symbol != known.symbol))
                {
                    let symbol = known.symbol;
                    self.problem(
                        &dotted,
                        &format!(
                            "found '{alias}', which is the unit {symbol} already, expected a word of the plant's own"
                        ),
                    );
                    continue;
                }
                if let Some(other) = policy.unit_aliases.insert(alias_key, unit.clone()).filter(|other| other != unit) {
                    self.problem(&dotted, &format!("found the unit '{alias}', which values.unit.{other} has already"));
                }
            }
        }
    }

    fn files(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("files", value).into_iter().flatten() {
            let path = format!("files.{key}");
            if key == "matrix" {
                policy.matrix = self.matrix(value);
                continue;
            }
            let Some(table) = Table::find(key) else {
                let names: Vec<&str> = Table::WORDS.iter().copied().chain(["matrix"]).collect();
                self.unknown("files", key, &names);
                continue;
            };
            let several = match value {
                Value::Array(items) if table == Table::Lists => items.as_slice(),
                one => std::slice::from_ref(one),
            };
            let named = several.iter().map(|value| self.named_file(&path, value)).collect();
            policy.files.insert(table, named);
        }
    }

    /// A file's name, or file and sheet.
    fn named_file(&mut self, path: &str, value: &Value) -> NamedFile {
        let mut named = NamedFile::default();
        match value {
            Value::String(file) => file.trim().clone_into(&mut named.file),
            Value::Table(keys) => {
                for (key, value) in keys {
                    let dotted = format!("{path}.{key}");
                    match key.as_str() {
                        "file" => self.string(&dotted, value).unwrap_or_default().trim().clone_into(&mut named.file),
                        "sheet" => self.string(&dotted, value).unwrap_or_default().trim().clone_into(&mut named.sheet),
                        _ => self.unknown(path, key, &["file", "sheet"]),
                    }
                }
            }
            other => {
                let found = named_value(other);
                self.problem(path, &format!("found {found}, expected a file's name in quotes, or file and sheet"));
            }
        }
        named
    }

    /// Which sheet holds quantities by part and circuit, and how its header names the circuits.
    fn matrix(&mut self, value: &Value) -> Option<Matrix> {
        const KEYS: &[&str] = &["file", "sheet", "row", "place"];
        let mut matrix = Matrix { places: vec!["fixture/circuit".to_owned()], ..Matrix::default() };
        let keys = self.section("files.matrix", value).filter(|keys| !keys.is_empty())?;
        for (key, value) in keys {
            let path = format!("files.matrix.{key}");
            match key.as_str() {
                "file" => self.string(&path, value).unwrap_or_default().trim().clone_into(&mut matrix.file),
                "sheet" => self.string(&path, value).unwrap_or_default().trim().clone_into(&mut matrix.sheet),
                "row" => {
                    let rows = value.as_array().map_or_else(|| std::slice::from_ref(value), Vec::as_slice);
                    let rows = rows.iter().filter_map(|row| self.whole_number(&path, row, 1, u64::from(u32::MAX)));
                    matrix.rows = rows.filter_map(|row| u32::try_from(row).ok()).collect();
                }
                "place" => matrix.places = self.strings(&path, value).unwrap_or_default(),
                _ => self.unknown("files.matrix", key, KEYS),
            }
        }
        if matrix.rows.is_empty() || matrix.rows.len() != matrix.places.len() || !matrix.rows.is_sorted() {
            self.problem(
                "files.matrix",
                "found rows and places that don't go together, expected row = 3 and place = \"fixture/circuit\", or as many rows as places, the lowest last",
            );
        }
        for place in &matrix.places {
            if let Err(fault) = PlaceForm::of(place) {
                self.problem("files.matrix.place", &fault);
            }
        }
        Some(matrix)
    }

    fn reading(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("reading", value).into_iter().flatten() {
            let path = format!("reading.{key}");
            match key.as_str() {
                "fill_down" => {
                    for column in self.strings(&path, value).unwrap_or_default() {
                        let known = Table::ALL.iter().flat_map(|table| table.columns());
                        match known.map(|known| known.name).find(|name| folded(name) == folded(&column)) {
                            Some(name) => policy.reading.fill_down.push(name.to_owned()),
                            None => self.problem(&path, &format!("found \"{column}\", which is no column's name")),
                        }
                    }
                }
                "total_words" => {
                    let words = self.strings(&path, value).unwrap_or_default();
                    policy.reading.total_words = words.iter().map(|word| folded(word)).collect();
                }
                "dates" => policy.reading.dates = self.choice(&path, value, DateOrder::find, DateOrder::WORDS),
                _ => self.unknown("reading", key, &["fill_down", "total_words", "dates"]),
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
            // Where it isn't stated, the run says so beside its verdicts.
            let states_stiffest = value.get("bulk_modulus_high").is_some();
            if states_stiffest && fluid.bulk_modulus_high < fluid.bulk_modulus {
                self.problem(
                    &format!("{path}.bulk_modulus_high"),
                    "found a bulk modulus of the oil at its stiffest below bulk_modulus, expected it at or above",
                );
            }
            if fluid.viscosity_100 > fluid.viscosity_40 {
                self.problem(
                    &format!("{path}.viscosity_100"),
                    "found a viscosity at 100 °C above that at 40 °C, expected it below",
                );
            }
            let name = super::cell::clean(name).into_owned();
            let is_alike = |other: &&String| **other != name && other.to_lowercase() == name.to_lowercase();
            if let Some(other) = policy.fluids.keys().find(is_alike) {
                let sentence = format!(
                    "found a name that differs from [fluids.{other}] in the case of its letters alone, so that circuits use one of the two and not the other; expected '{other}' or a name of its own"
                );
                self.problem(&path, &sentence);
            }
            policy.fluids.insert(name, fluid);
        }
    }

    fn fluid_key(&mut self, path: &str, key: &str, value: &Value, fluid: &mut Fluid) {
        if key == "seals" {
            fluid.seals = self.strings(&format!("{path}.{key}"), value).unwrap_or_default();
        } else {
            self.number_key(path, key, value, FLUID_NUMBERS, fluid, &["seals"]);
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
        let everywhere: Vec<&'static str> = Table::ALL.iter().flat_map(|table| names_of(*table)).collect();
        let Some(keys) = self.section("columns", value) else { return };
        let (tables, plain): (Vec<_>, Vec<_>) = keys.iter().partition(|(_, value)| value.is_table());
        self.aliases_of("columns", plain.into_iter(), &everywhere, &mut policy.aliases);
        for (key, value) in tables {
            let Some(table) = Table::find(key) else {
                self.unknown("columns", key, Table::WORDS);
                continue;
            };
            let path = format!("columns.{key}");
            let keys = self.section(&path, value).into_iter().flatten();
            self.aliases_of(&path, keys, &names_of(table), policy.table_aliases.entry(table).or_default());
        }
    }

    fn aliases_of<'v>(
        &mut self,
        section: &str,
        keys: impl Iterator<Item = (&'v String, &'v Value)>,
        names: &[&'static str],
        into: &mut BTreeMap<String, Vec<String>>,
    ) {
        let mut owners: BTreeMap<String, &str> = BTreeMap::new();
        for (key, value) in keys {
            let path = format!("{section}.{key}");
            let Some(name) = names.iter().copied().find(|name| folded(name) == folded(key)) else {
                self.unknown(section, key, names);
                continue;
            };
            let aliases = self.strings(&path, value).unwrap_or_default();
            for alias in &aliases {
                let folded_alias = super::header_text::fold(alias);
                if folded_alias.is_empty() {
                    self.problem(&path, "found an empty alias, expected a header's text");
                }
                // One word may stand for different columns of different tables, not of one.
                let owner = owners.insert(folded_alias, name).filter(|other| *other != name);
                if let Some(other) = owner.filter(|other| share_a_table(name, other)) {
                    self.problem(&path, &format!("found the alias '{alias}', which {section}.{other} has already"));
                }
            }
            into.entry(name.to_owned()).or_default().extend(aliases);
        }
    }

    fn bounds(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("bounds", value).into_iter().flatten() {
            let Some(bound) = BOUNDS.iter().find(|bound| bound.key == key) else {
                let names: Vec<&str> = BOUNDS.iter().map(|bound| bound.key).collect();
                self.unknown("bounds", key, &names);
                continue;
            };
            if let Some(number) = self.whole_number(&format!("bounds.{key}"), value, bound.least, bound.most) {
                (bound.set)(&mut policy.bounds, number);
            }
        }
    }

    fn cards(&mut self, value: &Value, policy: &mut Policy) {
        for (key, value) in self.section("cards", value).into_iter().flatten() {
            let path = format!("cards.{key}");
            match key.as_str() {
                "units" => {
                    for (plant, value) in self.section(&path, value).into_iter().flatten() {
                        let path = format!("{path}.{plant}");
                        if let Some(system) = self.choice(&path, value, unit_system, UNIT_SYSTEMS) {
                            policy.cards.units.insert(plant.clone(), system);
                        }
                    }
                }
                "words" => {
                    for (key, value) in self.section(&path, value).into_iter().flatten() {
                        self.card_word(&path, key, value, policy);
                    }
                }
                _ => self.unknown("cards", key, &["units", "words"]),
            }
        }
    }

    /// The words of one label, or of a rule's title.
    fn card_word(&mut self, section: &str, key: &str, value: &Value, policy: &mut Policy) {
        let path = format!("{section}.{key}");
        let Some(text) = self.string(&path, value) else { return };
        if let Some(code) = rule_code(key) {
            policy.cards.words.insert(code, text.to_owned());
            return;
        }
        let Some(word) = CARD_WORDS.iter().find(|word| word.key == key) else {
            let keys: Vec<&str> = CARD_WORDS.iter().map(|word| word.key).collect();
            return self.unknown(section, key, &keys);
        };
        match word.accept(text) {
            Ok(()) => _ = policy.cards.words.insert(key.to_owned(), text.to_owned()),
            Err(sentence) => self.problem(&path, &sentence),
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
                    mail.tries = self
                        .whole_number(&path, value, MAIL_TRIES.0.into(), MAIL_TRIES.1.into())
                        .and_then(|tries| u32::try_from(tries).ok());
                    continue;
                }
                "security" => {
                    let find = |word: &str| {
                        MAIL_SECURITY.iter().find(|known| folded(known) == folded(word)).map(|word| (*word).to_owned())
                    };
                    mail.security = self.choice(&path, value, find, MAIL_SECURITY).unwrap_or_default();
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

fn unit_system(word: &str) -> Option<UnitSystem> {
    match folded(word).as_str() {
        "metric" => Some(UnitSystem::Metric),
        "us" => Some(UnitSystem::Us),
        _ => None,
    }
}

fn names_of(table: Table) -> Vec<&'static str> {
    table.columns().iter().map(|column| column.name).collect()
}

fn share_a_table(one: &str, other: &str) -> bool {
    Table::ALL.iter().any(|table| table.column(one).is_some() && table.column(other).is_some())
}

/// The code of a rule as the catalogue writes it, where a text is one.
pub(crate) fn rule_code(text: &str) -> Option<String> {
    use crate::rules::catalogue::{CATALOGUE, rule};
    let code = super::cell::clean(text).to_ascii_uppercase();
    let is_code =
        matches!(code.as_bytes(), [b'A'..=b'Z', tens, ones] if tens.is_ascii_digit() && ones.is_ascii_digit());
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

    /// 250 psi are 17 bar, whatever a policy says.
    #[test]
    fn a_known_unit_is_no_alias_of_another() {
        for (unit, alias) in [("bar", "psi"), ("min", "h"), ("bar", "PSI"), ("each", "mm")] {
            let errors = errors(&format!("[values.unit]\n{unit} = [\"{alias}\"]\n"));
            assert_eq!(errors.len(), 1, "{errors:?}");
            assert!(errors[0].contains(&format!("found '{alias}', which is the unit")), "{errors:?}");
        }
        let policy =
            parse("policy.toml", "[values.unit]\nbar = [\"BAR\", \"Bar(g)\"]\n", NaiveDate::default()).unwrap();
        assert_eq!(policy.unit_aliases.len(), 2);
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
