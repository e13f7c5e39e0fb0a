//! Rules that the policy takes out of the verdict.

use crate::tables::policy::{AskedDatum, Fluid, Limits, METAL_NUMBERS, Policy};
use crate::tables::words::Severity;

use super::catalogue::{CATALOGUE, rule};
use super::{Rule, buying};

/// Codes, in reading order, of rules that would make a circuit fail and by the policy don't.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Relaxed {
    /// Switched off.
    pub off: Vec<&'static str>,
    /// Found, but counted as an observation.
    pub observed: Vec<&'static str>,
}

impl Relaxed {
    /// What the policy relaxes.
    #[must_use]
    pub fn of(policy: &Policy) -> Self {
        let mut relaxed = Self::default();
        for rule in CATALOGUE.iter().filter(|rule| rule.severity != Severity::Observation) {
            match policy.severity(rule.code, rule.severity) {
                None => relaxed.off.push(rule.code),
                Some(Severity::Observation) => relaxed.observed.push(rule.code),
                Some(_) => {}
            }
        }
        relaxed
    }

    /// Sentences to stand wherever a verdict does; `None` where nothing is relaxed.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        sentence(&self.off, &self.observed)
    }

    /// The same of what bears on the verdict on a circuit alone.
    #[must_use]
    pub fn of_circuits(&self) -> Option<String> {
        one(&self.off, &self.observed, Bearing::Circuit)
    }

    /// The same of what bears on the verdict on purchasing alone.
    #[must_use]
    pub fn of_purchasing(&self) -> Option<String> {
        one(&self.off, &self.observed, Bearing::Purchasing)
    }
}

/// What a rule's findings bear on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Bearing {
    Circuit,
    Purchasing,
    /// Waivers, lives, headers.
    Neither,
}

impl Bearing {
    fn of(code: &str) -> Self {
        match rule(code) {
            Some(rule) if rule.family.letter == buying::FAMILY.letter => Self::Purchasing,
            Some(rule) if !rule.weighs_on_circuits() => Self::Neither,
            _ => Self::Circuit,
        }
    }

    const fn consequence(self, is_one: bool) -> &'static str {
        match (self, is_one) {
            (Self::Circuit, true) => "no verdict here rests on it",
            (Self::Circuit, false) => "no verdict here rests on them",
            (Self::Purchasing, true) => "the verdict on purchasing does not rest on it",
            (Self::Purchasing, false) => "the verdict on purchasing does not rest on them",
            (Self::Neither, true) => "it fails nothing",
            (Self::Neither, false) => "they fail nothing",
        }
    }
}

/// The sentences of [`Relaxed`], from codes.
#[must_use]
pub fn sentence<C: AsRef<str>>(off: &[C], observed: &[C]) -> Option<String> {
    let all = [Bearing::Circuit, Bearing::Purchasing, Bearing::Neither];
    let sentences: Vec<String> = all.into_iter().filter_map(|bearing| one(off, observed, bearing)).collect();
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

fn one<C: AsRef<str>>(off: &[C], observed: &[C], bearing: Bearing) -> Option<String> {
    let of = |codes: &[C]| -> Vec<String> {
        codes.iter().map(AsRef::as_ref).filter(|code| Bearing::of(code) == bearing).map(str::to_owned).collect()
    };
    let (off, observed) = (of(off), of(observed));
    let observation = if observed.len() == 1 { "an observation" } else { "observations" };
    let what = match (off.is_empty(), observed.is_empty()) {
        (true, true) => return None,
        (false, true) => format!("switches off {}", off.join(", ")),
        (true, false) => format!("counts {} as {observation} only", observed.join(", ")),
        (false, false) => {
            format!("switches off {} and counts {} as {observation} only", off.join(", "), observed.join(", "))
        }
    };
    Some(format!("The policy {what}: {}.", bearing.consequence(off.len() + observed.len() == 1)))
}

/// Limits, and from which value on a rule that can fail a circuit finds little or nothing by them.
type Neutral = (&'static str, fn(&Limits) -> f64, fn(f64) -> bool, &'static str);

static NEUTRAL: &[Neutral] = &[
    // A support, or friction, that is weaker than what it has to hold would pass.
    ("support_factor", |limits| limits.support_factor, |factor| factor < 1.0, "F03"),
    ("cutting_factor", |limits| limits.cutting_factor, |factor| factor <= 1.0, "F04"),
    ("pressure_tolerance", |limits| limits.pressure_tolerance, |share| share >= 0.5, "P03, P11"),
    ("catalogue_tolerance", |limits| limits.catalogue_tolerance, |share| share >= 0.5, "P16"),
    ("fill", |limits| limits.fill, |share| share >= 1.0, "V01"),
    ("gauge_low", |limits| limits.gauge_low, |share| share <= 0.0, "P12"),
    ("gauge_high", |limits| limits.gauge_high, |share| share >= 1.0, "P12"),
    ("design_factor", |limits| limits.design_factor, |factor| factor <= 1.0, "P08"),
    ("sequence_high", |limits| limits.sequence_high, |share| share >= 1.0, "P09"),
    ("precharge_low", |limits| limits.precharge_low, |share| share <= 0.0, "H04"),
    ("precharge_high", |limits| limits.precharge_high, |share| share >= 1.0, "H04"),
    // A clamped part has a clamp and a rest on either side of it.
    ("contacts", |limits| limits.contacts, |faces| faces > 4.0, "F04"),
    ("sequence_low", |limits| limits.sequence_low, |factor| factor < 1.0, "P09"),
    ("relief_margin", |limits| limits.relief_margin, |share| share <= 0.0, "P17"),
    ("topup_days", |limits| limits.topup_days, |days| days <= 0.0, "V04"),
    // Oil that counts as settled at once loses no pressure by settling.
    ("dwell_settled", |limits| limits.dwell_settled, |seconds| seconds <= 0.0, "H02, H03"),
];

/// One sentence on the limits by which rules are off in effect; `None` where there is none.
#[must_use]
pub fn limits_in_words(policy: &Policy) -> Option<String> {
    let limits = NEUTRAL.iter().filter_map(|(key, value, is_neutral, codes)| {
        let value = value(&policy.limits);
        is_neutral(value).then(|| format!("{key} = {value} ({codes})"))
    });
    let named: Vec<String> = limits.collect();
    (!named.is_empty()).then(|| {
        format!(
            "By the policy's limits these rules find little or nothing, and no verdict here rests on them: {}.",
            named.join(", ")
        )
    })
}

/// Data that circuits which are uncoupled must state and that the policy does not ask for.
pub fn unasked(policy: &Policy) -> impl Iterator<Item = &'static str> + use<'_> {
    let all = AskedDatum::ALL.iter().copied();
    all.filter(|datum| !policy.asked.uncoupled.contains(datum)).map(AskedDatum::word)
}

/// One sentence on data that the policy takes out of `[asked]`; `None` where it asks for all.
#[must_use]
pub fn unasked_in_words(policy: &Policy) -> Option<String> {
    let unasked: Vec<&str> = unasked(policy).collect();
    let asked_by = |rule: &&&Rule| rule.asked_by.iter().any(|column| unasked.contains(column));
    let codes: Vec<&str> = CATALOGUE.iter().filter(asked_by).map(|rule| rule.code).collect();
    (!unasked.is_empty()).then(|| {
        format!(
            "The policy does not ask for {} of circuits that are uncoupled ([asked]): where that is blank, no verdict here \
             rests on it ({}).",
            unasked.join(", "),
            codes.join(", ")
        )
    })
}

/// Numbers of a fluid, least and most that an oil for clamping has, well apart: by what lies beyond them pressures come
/// out as no oil's.
type OfFluid = (&'static str, fn(&Fluid) -> f64, f64, f64);

static OIL: &[OfFluid] = &[
    ("thermal_expansion", |fluid| fluid.thermal_expansion, 1e-4, 2e-3),
    ("bulk_modulus_high", |fluid| fluid.bulk_modulus_high.si(), 5e8, 5e9),
    ("free_air_low", |fluid| fluid.free_air_low, 0.0, 0.1),
    ("specific_heat", |fluid| fluid.specific_heat, 1000.0, 5000.0),
    ("density", |fluid| fluid.density.si(), 600.0, 2000.0),
    ("leak_viscosity", |fluid| fluid.leak_viscosity.mm2_per_s(), 1.0, 10_000.0),
];

/// One sentence on numbers of metal and fluids that no metal or oil has; `None` where there is none.
#[must_use]
pub fn unusual_in_words(policy: &Policy) -> Option<String> {
    let mut named = Vec::new();
    for number in METAL_NUMBERS {
        let value = (number.get)(&policy.metal);
        // Beyond any metal that fixtures are made of.
        if value > 1e-4 {
            named.push(format!("{} = {value}", number.key));
        }
    }
    for (name, fluid) in &policy.fluids {
        for (key, value, least, most) in OIL {
            let value = value(fluid);
            let is_own = *key == "leak_viscosity" && value == 0.0;
            let is_told = *key == "thermal_expansion" && value < *least;
            if !is_own && !is_told && !(*least..=*most).contains(&value) {
                named.push(format!("{key} = {value} of the fluid {name}"));
            }
        }
    }
    (!named.is_empty()).then(|| {
        format!(
            "The policy has numbers that no usual metal or oil has, and figures rest on them: {}.",
            named.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_by_which_rules_are_off_in_effect_are_named() {
        let mut policy = Policy::at("2026-03-02".parse().unwrap_or_default());
        assert_eq!(limits_in_words(&policy), None);
        policy.limits.support_factor = 1.0;
        assert_eq!(limits_in_words(&policy), None, "a support as strong as what it holds");
        policy.limits.support_factor = 0.0;
        policy.limits.pressure_tolerance = 1.0;
        let said = limits_in_words(&policy).unwrap_or_default();
        assert!(said.ends_with(": support_factor = 0 (F03), pressure_tolerance = 1 (P03, P11)."), "{said}");
    }

    #[test]
    fn data_that_the_policy_does_not_ask_for_are_named() {
        let mut policy = Policy::at("2026-03-02".parse().unwrap_or_default());
        assert_eq!(unasked_in_words(&policy), None);
        policy.asked.uncoupled.retain(|datum| !["temp_max", "hold_time"].contains(&datum.word()));
        let said = unasked_in_words(&policy).unwrap_or_default();
        assert!(said.starts_with("The policy does not ask for hold_time, temp_max of circuits"), "{said}");
        assert!(said.ends_with("rests on it (H01, H03)."), "{said}");
    }

    #[test]
    fn only_what_no_longer_fails_a_circuit_is_named() {
        let mut policy = Policy::at("2026-03-02".parse().unwrap_or_default());
        assert_eq!(Relaxed::of(&policy).sentence(), None);
        policy.rules.insert("V02".into(), None);
        policy.rules.insert("P12".into(), Some(Severity::Major));
        policy.rules.insert("P05".into(), Some(Severity::Minor));
        assert_eq!(
            Relaxed::of(&policy),
            Relaxed::default(),
            "an observation, one made graver, and one that still fails"
        );
        policy.rules.insert("P06".into(), None);
        policy.rules.insert("H03".into(), Some(Severity::Observation));
        let sentence = Relaxed::of(&policy).sentence();
        assert_eq!(
            sentence.as_deref(),
            Some("The policy switches off P06 and counts H03 as an observation only: no verdict here rests on them.")
        );
        // No verdict on a circuit rests on what is bought, whatever the policy says.
        policy.rules.clear();
        policy.rules.insert("B10".into(), None);
        policy.rules.insert("W01".into(), None);
        let relaxed = Relaxed::of(&policy);
        assert_eq!(relaxed.of_circuits(), None);
        let of_purchasing = "The policy switches off B10: the verdict on purchasing does not rest on it.";
        assert_eq!(relaxed.of_purchasing().as_deref(), Some(of_purchasing));
        let all = format!("{of_purchasing} The policy switches off W01: it fails nothing.");
        assert_eq!(relaxed.sentence(), Some(all));
    }
}
