//! What is known of a plant before its circuits are audited.

use crate::audit::plant_wide::part_standings;
use crate::audit::sweep::RunError;
use crate::audit::usage_book::UsageBook;
use crate::circuit::fixture::Ground;
use crate::circuit::off_circuit::station_findings;
use crate::circuit::roster::Roster;
use crate::circuit::standing::Standing;
use crate::circuit::waiving::Waiving;
use crate::read::{Lists, ReadError};
use crate::remedy::search::Searching;
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

/// Lays the ground for audits of a plant, and calls `work` on it.
///
/// # Errors
/// Where a list can't be read any more, and those of `work`.
pub fn with_searching<T>(
    plant: &Plant,
    lists: &Lists,
    with_curves: bool,
    work: impl FnOnce(&mut Searching) -> Result<T, RunError>,
) -> Result<T, RunError> {
    let waiving = Waiving::new(&plant.waivers, plant.policy.date);
    let roster = Roster::of(plant, lists);
    let usage = asked_of_parts(plant, &roster)?;
    let of_stations = (0..plant.stations.len()).map(|index| station_findings(plant, index));
    let (findings, station_lacks): (Vec<_>, Vec<_>) = of_stations.unzip();
    let stations = findings
        .into_iter()
        .map(|mut findings| {
            let _ = waiving.mark(&mut findings);
            findings.iter().map(Standing::of).fold(Standing::default(), Standing::and)
        })
        .collect();
    let ground = Ground {
        plant,
        waiving: &waiving,
        parts: part_standings(plant, &usage.by_component(plant), &waiving),
        stations,
        station_lacks,
        with_curves,
    };
    work(&mut Searching::over(&roster, &ground))
}

/// Whether the table has parts of which it must be known what all circuits of the plant ask of them.
#[must_use]
pub fn hangs_on_usage(plant: &Plant) -> bool {
    plant.components.iter().any(|part| {
        (part.is(Kind::Clamp) && part.area_clamp.is_none())
            || (part.is(Kind::WorkSupport) && part.support_capacity.is_none())
    })
}

/// What is asked of parts as far as verdicts hang on it: only where the table has parts that
/// could lack an area or a support capacity that only some circuits ask for.
///
/// # Errors
/// Where a list can't be read any more.
pub fn asked_of_parts(plant: &Plant, roster: &Roster) -> Result<UsageBook, ReadError> {
    let mut usage = UsageBook::default();
    if hangs_on_usage(plant) {
        for fixture in &roster.fixtures {
            let mut circuits = Vec::with_capacity(fixture.len());
            for entry in roster.entries(fixture.clone()) {
                circuits.push(roster.circuit(&entry)?.0);
            }
            usage.add_fixture(plant, circuits.iter());
        }
    }
    Ok(usage)
}
