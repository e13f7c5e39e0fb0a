//! A hash of what the policy says of verdicts, by which runs under the same policy are known.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use crate::rules::catalogue::rule;
use crate::tables::policy::{FLUID_NUMBERS, Fluid, LIMITS, METAL_NUMBERS, Policy};
use crate::tables::spread::{SPREADS, Spread};

/// SHA-256 of what the policy says of verdicts: units, limits, metal, gas, fluids, rules and
/// aliases. The date, the bounds and the mail section change none, and are left out; so is
/// a rule set to the severity that it has anyway.
#[must_use]
pub fn policy_hash(policy: &Policy) -> String {
    format!("{:x}", Sha256::digest(rendered(policy).as_bytes()))
}

/// One line a key, in a fixed order; numbers with all the digits that tell them apart.
fn rendered(policy: &Policy) -> String {
    let mut text = format!("units = {:?}\n", policy.units);
    for limit in LIMITS {
        let _ = writeln!(text, "limits.{} = {:?}", limit.key, (limit.get)(&policy.limits));
    }
    // How far data are known decides only where that is asked for: what nobody has set is not in the text.
    let usual = Spread::default();
    for number in SPREADS.iter().filter(|number| (number.get)(&policy.spread).total_cmp(&(number.get)(&usual)).is_ne())
    {
        let _ = writeln!(text, "spread.{} = {:?}", number.key, (number.get)(&policy.spread));
    }
    for number in METAL_NUMBERS {
        let _ = writeln!(text, "metal.{} = {:?}", number.key, (number.get)(&policy.metal));
    }
    let _ = writeln!(text, "gas.model = {}", policy.gas);
    for (name, fluid) in &policy.fluids {
        let _ = writeln!(text, "fluids.{name:?} = {}", rendered_fluid(fluid));
    }
    for (code, severity) in &policy.rules {
        if rule(code).is_none_or(|rule| Some(rule.severity) != *severity) {
            let _ = writeln!(text, "rules.{code:?} = {}", severity.map_or("off", |severity| severity.word()));
        }
    }
    for (column, aliases) in &policy.aliases {
        let _ = writeln!(text, "columns.{column:?} = {aliases:?}");
    }
    let _ = writeln!(text, "asked = {:?}", policy.asked);
    let _ = writeln!(text, "columns by table = {:?}", policy.table_aliases);
    let _ = writeln!(text, "values = {:?} {:?}", policy.word_aliases, policy.unit_aliases);
    let _ = writeln!(text, "files = {:?}", policy.files);
    let _ = writeln!(text, "reading = {:?}", policy.reading);
    if let Some(matrix) = &policy.matrix {
        let _ = writeln!(text, "matrix = {matrix:?}");
    }
    text
}

fn rendered_fluid(fluid: &Fluid) -> String {
    let numbers: Vec<f64> = FLUID_NUMBERS.iter().map(|number| (number.get)(fluid)).collect();
    format!("{numbers:?} {:?}", fluid.seals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::policy::Metal;

    #[test]
    fn the_hash_follows_what_decides_verdicts_and_nothing_else() {
        let policy = Policy::at("2026-11-03".parse().unwrap());
        let usual = policy_hash(&policy);
        assert_eq!(usual.len(), 64);
        let mut other = Policy { date: "2027-01-01".parse().unwrap(), date_is_fixed: true, ..policy.clone() };
        other.mail.host = "mail.example.com".to_owned();
        assert_eq!(policy_hash(&other), usual);
        let mut hashes = vec![usual];
        for limit in LIMITS {
            let mut changed = policy.clone();
            (limit.set)(&mut changed.limits, (limit.get)(&policy.limits) * (1.0 + f64::EPSILON));
            hashes.push(policy_hash(&changed));
        }
        let mut changed = policy.clone();
        changed.rules.insert("P05".to_owned(), None);
        hashes.push(policy_hash(&changed));
        let mut changed = policy.clone();
        changed.fluids.insert("water glycol".to_owned(), Fluid { free_air: 0.01, ..Fluid::default() });
        hashes.push(policy_hash(&changed));
        hashes.push(policy_hash(&Policy { metal: Metal { linear_expansion: 1.2e-5, ..Metal::default() }, ..policy }));
        let count = hashes.len();
        hashes.sort();
        hashes.dedup();
        assert_eq!(hashes.len(), count);
    }
}
