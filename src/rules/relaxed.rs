//! Rules that the policy takes out of the verdict.

use crate::tables::policy::Policy;
use crate::tables::words::Severity;

use super::catalogue::CATALOGUE;

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

    /// One sentence, to stand wherever a verdict does; `None` where nothing is relaxed.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        sentence(&self.off, &self.observed)
    }
}

/// The sentence of [`Relaxed`], from codes.
#[must_use]
pub fn sentence<C: AsRef<str>>(off: &[C], observed: &[C]) -> Option<String> {
    let joined = |codes: &[C]| codes.iter().map(AsRef::as_ref).collect::<Vec<&str>>().join(", ");
    let what = match (off.is_empty(), observed.is_empty()) {
        (true, true) => return None,
        (false, true) => format!("switches off {}", joined(off)),
        (true, false) => format!("counts {} as observations only", joined(observed)),
        (false, false) => format!("switches off {} and counts {} as observations only", joined(off), joined(observed)),
    };
    Some(format!("The policy {what}: no verdict here rests on them."))
}

#[cfg(test)]
mod tests {
    use super::*;

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
            Some("The policy switches off P06 and counts H03 as observations only: no verdict here rests on them.")
        );
    }
}
