//! What a change of a load station harms elsewhere, in words.

use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::shown::shown_apart;

/// What a change of a load station brings on another circuit there, or on the station itself.
#[must_use]
pub fn in_words(plant: &Plant, finding: &Finding) -> String {
    let place = if finding.place == CircuitKey::default() {
        format!("load station {}", finding.position)
    } else {
        let position =
            if finding.position.is_empty() { String::new() } else { format!(", position {}", finding.position) };
        format!("{}{position}", finding.place)
    };
    let against = finding.measured.as_ref().zip(finding.limit.as_ref()).map(|(measured, limit)| {
        let (measured, limit) = shown_apart(measured, limit, plant.policy.units);
        format!(": {measured} against {limit}")
    });
    format!("which brings {} on {place}{}", finding.rule, against.unwrap_or_default())
}
