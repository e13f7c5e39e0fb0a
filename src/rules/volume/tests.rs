use super::*;
use crate::rules::test_circuit::TestCircuit;
use crate::tables::words::Kind;

/// A cylinder of 100 cm³ that gives up so many cm³.
fn filled(demand: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::ChargingCylinder, "CC-1", 350.0);
    let cm3 = |value| Some(Volume::from_cm3(value));
    let side = &mut bench.figures.clamp;
    side.volumes.demand = cm3(demand);
    side.volumes.capacity = cm3(100.0);
    side.volumes.swept = cm3(demand - 3.0);
    side.volumes.compression = cm3(2.0);
    side.volumes.air = cm3(1.0);
    side.volumes.dilation = cm3(0.0);
    side.fill = Some(demand / 100.0);
    side.usable = cm3(90.0);
    side.reserve = cm3(90.0 - demand);
    bench
}

#[test]
fn fills_are_told_apart_at_their_limits() {
    for (demand, fired) in [
        (24.9, vec!["V03"]),
        (25.0, vec![]),
        (60.0, vec![]),
        (85.0, vec![]),
        (85.1, vec!["V02"]),
        (90.0, vec!["V02"]),
        (90.0 * (1.0 + 1e-10), vec!["V02"]),
        (90.1, vec!["V01"]),
        (140.0, vec!["V01"]),
    ] {
        let bench = filled(demand);
        let rules = [&V01, &V02, &V03];
        let found: Vec<_> =
            rules.into_iter().filter(|rule| !bench.outcome(rule).hits.is_empty()).map(|rule| rule.code).collect();
        assert_eq!(found, fired, "{demand}");
    }
}

#[test]
fn a_hit_has_what_the_demand_is_made_of() {
    let hit = filled(95.0).outcome(&V01).hits.remove(0);
    assert_eq!((hit.measured.clone(), hit.limit.clone()), (Some(Value::Ratio(0.95)), Some(Value::Ratio(0.9))));
    let names: Vec<_> = hit.facts.iter().map(|(name, _)| *name).collect();
    assert!(names.contains(&"swept") && names.contains(&"compression") && names.contains(&"air"));
    assert!(!names.contains(&"dilation"), "what is 0 is left out");
    let (_, excess) = hit.facts.iter().find(|(name, _)| *name == "excess").unwrap();
    assert!((excess.metric().unwrap().0 - 5.0).abs() < 1e-9);
}

#[test]
fn an_unknown_fill_is_lacking() {
    let mut bench = filled(50.0);
    bench.figures.clamp.fill = None;
    for rule in [&V01, &V02, &V03] {
        let outcome = bench.outcome(rule);
        assert_eq!((outcome.hits.len(), outcome.lacks[0].figure), (0, Figure::Fill), "{}", rule.code);
    }
    for charging in [Charging::Coupler, Charging::Live] {
        bench.service().charging = Some(charging);
        for rule in [&V01, &V02, &V03] {
            assert_eq!(bench.outcome(rule), Outcome::default(), "{} {charging}", rule.code);
        }
    }
}
