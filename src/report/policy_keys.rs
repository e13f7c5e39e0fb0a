//! Every key of the policy file as data: the starter's policy.toml and the README's table are
//! made from it.

use chrono::NaiveDate;

use crate::rules::catalogue::CATALOGUE;
use crate::tables::policy::{DEFAULT_FLUID, GasModel, LIMITS, Policy};
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
    keys.extend(LIMITS.iter().map(|limit| {
        PolicyKey::new("limits", limit.key, number((limit.get)(&policy.limits)), limit.meaning)
            .within(format!("{} to {}", number(limit.least), number(limit.most)))
            .from(limit.source)
    }));
    keys.extend(matter(&policy));
    keys.extend(fluid(&policy));
    keys.extend(
        CATALOGUE.iter().map(|rule| {
            PolicyKey::new("rules", rule.code, quoted(rule.severity.word()), rule.title).within(severities())
        }),
    );
    keys.push(
        PolicyKey::new(
            "columns",
            "part_no",
            r#"["Item", "Material"]"#,
            "Further headers under which a column may stand; any column's name is a key",
        )
        .within("list of texts")
        .example(),
    );
    keys.extend(bounds(&policy));
    keys.extend(mail());
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

fn matter(policy: &Policy) -> Vec<PolicyKey> {
    vec![
        PolicyKey::new(
            "metal",
            "linear_expansion",
            number(policy.metal_expansion),
            "Linear thermal expansion of the metal around the oil, 1/K",
        )
        .within("0 to 0.001")
        .from("typical of steel"),
        PolicyKey::new("gas", "model", quoted(policy.gas.word()), "Equation of state of the accumulators' nitrogen")
            .within(words(GasModel::WORDS)),
    ]
}

fn fluid(policy: &Policy) -> Vec<PolicyKey> {
    let Some(oil) = policy.fluid(DEFAULT_FLUID) else { return Vec::new() };
    let section = format!("fluids.{DEFAULT_FLUID}");
    let key =
        |name, default: String, meaning, range: &str| PolicyKey::new(&section, name, default, meaning).within(range);
    let seals: Vec<String> = oil.seals.iter().map(|seal| quoted(seal)).collect();
    let typical = "typical of mineral oil, ISO VG 32";
    vec![
        key("bulk_modulus", number(oil.bulk_modulus.si()), "Bulk modulus, isothermal tangent, Pa", "1e8 to 1e11")
            .from(typical),
        key("thermal_expansion", number(oil.thermal_expansion), "Volumetric thermal expansion, 1/K", "0 to 0.01")
            .from(typical),
        key("free_air", number(oil.free_air), "Undissolved air at rest, volume fraction", "0 to 0.5")
            .from("a choice of this policy"),
        key("density", number(oil.density.si()), "Density at 15 °C, kg/m³", "100 to 5000").from(typical),
        key("viscosity_40", number(oil.viscosity_40.mm2_per_s()), "Kinematic viscosity at 40 °C, mm²/s", "0.5 to 1e5")
            .from(typical),
        key(
            "viscosity_100",
            number(oil.viscosity_100.mm2_per_s()),
            "Kinematic viscosity at 100 °C, mm²/s; not above that at 40 °C",
            "0.5 to 1e5",
        )
        .from(typical),
        key("seals", format!("[{}]", seals.join(", ")), "Seal materials that it suits", "list of texts")
            .from("common practice"),
    ]
}

fn bounds(policy: &Policy) -> Vec<PolicyKey> {
    let bounds = policy.bounds;
    let key = |name, default: u64, meaning, range: &str| {
        PolicyKey::new("bounds", name, default.to_string(), meaning).within(range)
    };
    vec![
        key("text_file_mib", bounds.text_file_mib, "Largest text file, MiB", "1 to 16777216"),
        key("workbook_mib", bounds.workbook_mib, "Largest workbook file, MiB", "1 to 2048"),
        key("inflated_mib", bounds.inflated_mib, "Largest workbook when unpacked, MiB", "1 to 16384"),
        key("rows", bounds.rows, "Most rows of a sheet or text file", "1 to 4000000000"),
        key("columns", bounds.columns, "Most columns of a sheet or text file", "1 to 16384"),
        key("cell_chars", bounds.cell_chars, "Most characters of a cell", "16 to 32767"),
        key("memory_mib", bounds.memory_mib, "Memory for the lines of circuits in work, MiB", "16 to 1048576"),
        key(
            "formula_rows",
            bounds.formula_rows,
            "Rows on Circuits above which the workbook holds values and no formulas",
            "0 to 1000000",
        ),
        key("lines_rows", bounds.lines_rows, "Rows above which Lines holds only lines with remarks", "0 to 1000000"),
    ]
}

fn mail() -> Vec<PolicyKey> {
    let key = |name, example: &str, meaning| PolicyKey::new("mail", name, example, meaning).example();
    vec![
        key("host", r#""mail.example.com""#, "Server that takes the mail"),
        key("port", "587", "Port; usual are 587 with starttls, 465 with tls, 25 with none").within("1 to 65535"),
        key("security", r#""starttls""#, "Encryption; none is for a server on this machine only")
            .within(words(&["starttls", "tls", "none"])),
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
        key("tries", "3", "Tries before it is given up").within("1 to 10"),
    ]
}

fn severities() -> String {
    let mut all = Severity::WORDS.to_vec();
    all.push("off");
    words(&all)
}

fn words(words: &[&str]) -> String {
    words.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(", ")
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
