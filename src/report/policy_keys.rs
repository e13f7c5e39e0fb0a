//! Every key of the policy file as data: the starter's policy.toml and the README's table are
//! made from it.

use chrono::NaiveDate;

use crate::rules::catalogue::CATALOGUE;
use crate::tables::card_words::{CARD_WORDS, CardWord};
use crate::tables::number_key::NumberKey;
use crate::tables::policy::{
    AskedDatum, BOUNDS, Bounds, DEFAULT_FLUID, DateOrder, FLUID_NUMBERS, GasModel, LIMITS, MAIL_SECURITY, MAIL_TRIES,
    METAL_NUMBERS, Policy, TOTAL_WORDS,
};
use crate::tables::spread::SPREADS;
use crate::tables::words::Severity;

/// A key with its default.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PolicyKey {
    /// Its section as in the file: `limits`, `fluids.default`; empty at the top.
    pub section: String,
    pub key: String,
    /// The default as TOML; an example where there is none.
    pub default: String,
    /// Whether [`PolicyKey::default`] is an example: the key has no default.
    pub is_example: bool,
    /// What it says, without a full stop.
    pub meaning: String,
    /// What it takes; empty where any text will do.
    pub range: String,
    /// Where the default comes from; empty where there is nothing to say.
    pub source: &'static str,
}

impl PolicyKey {
    fn new(section: &str, key: &str, default: impl Into<String>, meaning: impl Into<String>) -> Self {
        Self {
            section: section.to_owned(),
            key: key.to_owned(),
            default: default.into(),
            is_example: false,
            meaning: meaning.into(),
            range: String::new(),
            source: "",
        }
    }

    fn within(mut self, range: impl Into<String>) -> Self {
        self.range = range.into();
        self
    }

    const fn from(mut self, source: &'static str) -> Self {
        self.source = source;
        self
    }

    const fn example(mut self) -> Self {
        self.is_example = true;
        self
    }
}

/// Every key in the order of the file.
#[must_use]
pub fn policy_keys() -> Vec<PolicyKey> {
    let policy = Policy::at(NaiveDate::default());
    let mut keys = general();
    keys.extend(numbers("limits", LIMITS, &policy.limits));
    keys.extend(numbers("spread", SPREADS, &policy.spread));
    keys.extend(numbers("metal", METAL_NUMBERS, &policy.metal));
    keys.push(gas(&policy));
    keys.extend(fluid(&policy));
    keys.extend(asked(&policy));
    keys.extend(
        CATALOGUE.iter().map(|rule| {
            PolicyKey::new("rules", rule.code, quoted(rule.severity.word()), rule.title).within(severities())
        }),
    );
    keys.extend(reading());
    keys.extend(bounds(&policy));
    keys.extend(mail());
    keys.extend(cards());
    keys
}

fn general() -> Vec<PolicyKey> {
    vec![
        PolicyKey::new("", "units", quoted("metric"), "Units of the output, and of input without a unit")
            .within(words(&["metric", "us"])),
        PolicyKey::new(
            "",
            "date",
            quoted(""),
            "Today for expiry and delivery; empty is the day of the run, a fixed date makes a report reproducible",
        )
        .within("ISO 8601 date"),
    ]
}

/// Numbers of a section, as they stand by default.
fn numbers<T>(section: &str, known: &[NumberKey<T>], defaults: &T) -> Vec<PolicyKey> {
    let key = |one: &NumberKey<T>| {
        PolicyKey::new(section, one.key, number((one.get)(defaults)), one.meaning)
            .within(format!("{} to {}", number(one.least), number(one.most)))
            .from(one.source)
    };
    known.iter().map(key).collect()
}

fn gas(policy: &Policy) -> PolicyKey {
    PolicyKey::new("gas", "model", quoted(policy.gas.word()), "Equation of state of the accumulators' nitrogen")
        .within(words(GasModel::WORDS))
}

fn fluid(policy: &Policy) -> Vec<PolicyKey> {
    let Some(oil) = policy.fluid(DEFAULT_FLUID) else { return Vec::new() };
    let section = format!("fluids.{DEFAULT_FLUID}");
    let mut keys = numbers(&section, FLUID_NUMBERS, oil);
    let seals =
        PolicyKey::new(&section, "seals", list(oil.seals.iter().map(String::as_str)), "Seal materials that it suits");
    keys.push(seals.within("list of texts").from("common practice"));
    keys
}

fn asked(policy: &Policy) -> Vec<PolicyKey> {
    let data = words(AskedDatum::WORDS);
    let key = |key, default: &[AskedDatum], meaning| {
        PolicyKey::new("asked", key, list(default.iter().map(|datum| datum.word())), meaning)
            .within(format!("list of {data}"))
    };
    vec![
        key(
            "uncoupled",
            &policy.asked.uncoupled,
            "Data that circuits which are uncoupled must state; what is missing makes a circuit not assessed",
        ),
        key("live", &policy.asked.live, "The same of circuits that stay connected"),
    ]
}

fn reading() -> Vec<PolicyKey> {
    let columns = |table: &str, column: &str, words: &str, meaning: &str| {
        PolicyKey::new(table, column, words, meaning).within("list of texts").example()
    };
    vec![
        columns(
            "columns",
            "part_no",
            r#"["Item", "Material"]"#,
            "Further headers under which a column may stand; any column's name is a key",
        ),
        columns(
            "columns.lists",
            "position",
            r#"["Place"]"#,
            "The same in one table, looked at first; also components, circuits, stations, orders, waivers",
        ),
        columns(
            "values.kind",
            "clamp",
            r#"["Spanner"]"#,
            "Further words for a word of a closed set; also uom, side, zone, acting, charging, status, yes_no",
        ),
        columns("values.unit", "each", r#"["ST", "pcs"]"#, "Further words for a unit, or for a count of pieces"),
        PolicyKey::new(
            "files",
            "components",
            r#""Parts 2026.xlsx""#,
            "Which file is a table, or { file = \"...\", sheet = \"...\" }; any table's name is a key",
        )
        .example(),
        PolicyKey::new(
            "files.matrix",
            "file",
            r#""Matrix.xlsx""#,
            "A file whose sheet has part numbers down, circuits across, quantities where they meet",
        ).example(),
        PolicyKey::new("files.matrix", "sheet", r#""Hall 2""#, "Its sheet; every sheet of the file where none is named").example(),
        PolicyKey::new(
            "files.matrix",
            "row",
            "3",
            "The row of its header, which names the circuits; or some rows such as [2, 3]",
        ).example(),
        PolicyKey::new(
            "files.matrix",
            "place",
            r#""fixture/circuit""#,
            "How a header such as frame/1 names a circuit: plant, pallet, fixture, circuit and the signs between them; one for each row",
        ).example(),
        columns(
            "reading",
            "fill_down",
            r#"["pallet", "fixture"]"#,
            "Columns in which a blank cell under a filled one says the same",
        ),
        PolicyKey::new(
            "reading",
            "total_words",
            list(TOTAL_WORDS.iter().copied()),
            "First words of a row of sums, which is skipped",
        )
        .within("list of texts"),
        PolicyKey::new(
            "reading",
            "dates",
            quoted("dmy"),
            "How dates such as 15.03.2027 or 3/15/2027 are read; without it they are not",
        )
        .within(words(DateOrder::WORDS))
        .example(),
    ]
}

fn bounds(policy: &Policy) -> Vec<PolicyKey> {
    let key = |bound: &NumberKey<Bounds, u64>| {
        PolicyKey::new("bounds", bound.key, (bound.get)(&policy.bounds).to_string(), bound.meaning)
            .within(format!("{} to {}", bound.least, bound.most))
    };
    BOUNDS.iter().map(key).collect()
}

fn mail() -> Vec<PolicyKey> {
    let key = |name, example: &str, meaning| PolicyKey::new("mail", name, example, meaning).example();
    vec![
        key("host", r#""mail.example.com""#, "Server that takes the mail"),
        key("port", "587", "Port; usual are 587 with starttls, 465 with tls, 25 with none").within("1 to 65535"),
        key("security", r#""starttls""#, "Encryption; none is for a server on this machine only")
            .within(words(MAIL_SECURITY)),
        key("from", r#""Clamping audit <audit@example.com>""#, "Sender"),
        key(
            "user",
            r#""audit""#,
            "Name to sign in with; left out where the server takes mail without. The password stands in the environment alone",
        ),
        key(
            "ca_file",
            r#""company-root.pem""#,
            "PEM file with a root certificate of a company's own, beside the policy",
        ),
        key("tries", "3", "Tries before it is given up").within(format!("{} to {}", MAIL_TRIES.0, MAIL_TRIES.1)),
    ]
}

fn cards() -> Vec<PolicyKey> {
    let units =
        PolicyKey::new("cards.units", "Plant", quoted("us"), "Units on the load cards of the plant of this name")
            .within(words(&["metric", "us"]))
            .example();
    let label = |word: &CardWord| PolicyKey::new("cards.words", word.key, quoted(word.text), "Words on load cards");
    std::iter::once(units).chain(CARD_WORDS.iter().map(label)).collect()
}

fn severities() -> String {
    let mut all = Severity::WORDS.to_vec();
    all.push("off");
    words(&all)
}

fn words(words: &[&str]) -> String {
    words.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(", ")
}

fn list<'a>(texts: impl Iterator<Item = &'a str>) -> String {
    let quoted: Vec<String> = texts.map(quoted).collect();
    format!("[{}]", quoted.join(", "))
}

fn quoted(text: &str) -> String {
    format!("\"{text}\"")
}

/// A number as TOML, short: `0.9`, `1.17e-5`, `870`. Nine digits, so that a change of unit leaves no trace.
fn number(value: f64) -> String {
    let short = format!("{value:.8e}").parse().unwrap_or(value);
    if short != 0.0 && !(1e-3..1e6).contains(&short.abs()) { format!("{short:e}") } else { format!("{short}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_toml() {
        for (value, text) in [
            (0.9, "0.9"),
            (4.0, "4"),
            (11.7e-6, "1.17e-5"),
            (1.5e9, "1.5e9"),
            (5.36e-6 * 1e6, "5.36"),
            (0.0, "0"),
            (7.0e-4, "7e-4"),
        ] {
            assert_eq!(number(value), text);
            assert!(toml::from_str::<toml::Table>(&format!("a = {text}")).is_ok(), "{text}");
        }
    }

    #[test]
    fn every_limit_and_rule_has_its_key_and_none_comes_twice() {
        let mut names: Vec<String> = policy_keys().iter().map(|key| format!("{}.{}", key.section, key.key)).collect();
        for limit in LIMITS {
            assert!(names.contains(&format!("limits.{}", limit.key)));
        }
        for rule in CATALOGUE {
            assert!(names.contains(&format!("rules.{}", rule.code)));
        }
        names.sort();
        let all = names.len();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}
