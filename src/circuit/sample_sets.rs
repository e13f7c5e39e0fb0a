//! The circuits of the sample plant that have to do with each other, audited: what tests of uncertainty look at.

use std::path::Path;

use super::audited::CircuitAudit;
use super::doubt::Doubt;
use super::fixture::{FixtureAudit, Ground, load_fixture};
use super::links::Links;
use super::replica::{Replica, deciding};
use super::roster::Roster;
use super::waiving::Waiving;

/// Calls `look` on each set of circuits; the doubt about it is made only where `look` asks for it.
pub(super) fn with_sample_sets(mut look: impl FnMut(&[CircuitAudit], &[usize], &dyn Fn() -> Doubt)) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let reading = crate::read::open(&folder, None, chrono::NaiveDate::default()).unwrap();
    let (plant, lists) = (reading.plant, reading.lists);
    let waiving = Waiving::new(&plant.waivers, plant.policy.date);
    let roster = Roster::of(&plant, &lists);
    let ground = Ground {
        plant: &plant,
        waiving: &waiving,
        parts: Vec::new(),
        stations: Vec::new(),
        station_lacks: Vec::new(),
        with_curves: false,
    };
    for fixture in roster.fixtures.clone() {
        let FixtureAudit { audits, .. } = load_fixture(&roster, &ground, fixture).unwrap();
        for set in Links::of(&audits).sets() {
            let doubt = || {
                let circuits = set.iter().map(|index| &audits[*index]);
                Doubt::about(Replica::of(&plant, deciding(&plant.policy), circuits), 100)
            };
            look(&audits, set, &doubt);
        }
    }
}
