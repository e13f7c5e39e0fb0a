use super::*;
use crate::physics::quantity::{Flow, Volume};
use crate::rules::Lack;
use crate::rules::test_circuit::{TestCircuit, bar};
use crate::tables::origin::CellFault;
use crate::tables::station::{Station, StationPart};

fn seconds(value: f64) -> Time {
    Time::new(value)
}

/// 2 x 60 cm³ / 2 L/min + 2 x 12 cm³ / 0.5 L/min = 3.6 s + 2.88 s = 6.48 s, by hand.
fn filled_in(time: Option<f64>) -> TestCircuit {
    let mut bench = TestCircuit::single();
    let pump = bench.part(Kind::Pump, "PU-1");
    pump.flow = Some(Flow::from_l_per_min(2.0));
    pump.flow_high = Some(Flow::from_l_per_min(0.5));
    bench.plant.stations.push(Station { name: "S1".to_owned(), pump: StationPart::Known(0), ..Station::default() });
    bench.plant.station_index.insert("S1".into(), 0);
    bench.service().station = "S1".into();
    bench.service().clamp_time_max = Some(seconds(6.48));
    bench.figures.clamp.chain.ratio = Some(2.0);
    bench.figures.clamp.volumes.swept = Some(Volume::from_cm3(60.0));
    bench.figures.clamp.volumes.demand = Some(Volume::from_cm3(72.0));
    bench.figures.clamp_time = time.map(seconds);
    bench
}

#[test]
fn t01_fires_above_its_limit_and_shows_its_figures() {
    let outcome = filled_in(Some(7.0)).outcome(&T01);
    let hit = &outcome.hits[0];
    assert_eq!(hit.measured, Some(Value::Seconds(seconds(7.0))));
    assert_eq!(hit.limit, Some(Value::Seconds(seconds(6.48))));
    assert!(hit.facts.contains(&("flow_high", Value::Flow(Flow::from_l_per_min(0.5)))));
    assert!(hit.facts.contains(&("rest", Value::Volume(Volume::from_cm3(72.0) - Volume::from_cm3(60.0)))));
}

#[test]
fn t01_stays_quiet_at_the_limit_and_below() {
    for time in [2.0, 6.48, 6.480_000_001] {
        assert_eq!(filled_in(Some(time)).outcome(&T01), Outcome::default(), "{time} s");
    }
}

#[test]
fn t01_lacks_an_unknown_time_or_a_limit_that_can_not_be_read() {
    let mut bench = filled_in(None);
    assert_eq!(bench.outcome(&T01).lacks, [Lack { side: None, line: None, figure: Figure::ClampTime }]);
    bench.service().clamp_time_max = None;
    assert_eq!(bench.outcome(&T01), Outcome::default());
    bench.service().faults.push(CellFault {
        column: "clamp_time_max",
        letter: "M".to_owned(),
        found: "soon".to_owned(),
        expected: "a time such as '8 s'".to_owned(),
    });
    assert_eq!(bench.outcome(&T01).lacks, [Lack { side: None, line: None, figure: Figure::Cell }]);
    assert_eq!(bench.outcome(&T02), Outcome::default());
}

fn returned_in(time: Option<f64>) -> TestCircuit {
    let mut bench = TestCircuit::single();
    for (name, spring) in [("C-1", 4.0), ("C-2", 1.5)] {
        bench.part(Kind::Clamp, name).return_pressure = Some(bar(spring));
        bench.line(name);
    }
    bench.service().unclamp_time_max = Some(seconds(3.0));
    bench.figures.clamp.volumes.swept = Some(Volume::from_cm3(60.0));
    bench.figures.unclamp_time = time.map(seconds);
    bench
}

#[test]
fn t02_fires_above_its_limit_and_names_the_weakest_spring() {
    let mut bench = returned_in(Some(5.6));
    let hit = &bench.outcome(&T02).hits[0];
    assert!(hit.facts.contains(&("return_pressure", Value::Pressure(bar(1.5)))));
    assert!(!hit.facts.iter().any(|(name, _)| *name == "reynolds"));
    bench.figures.reynolds = Some(2300.0);
    assert!(!bench.outcome(&T02).hits[0].facts.iter().any(|(name, _)| *name == "reynolds"));
    bench.figures.reynolds = Some(2500.4);
    assert!(bench.outcome(&T02).hits[0].facts.contains(&("reynolds", Value::Number(2500.0))));
}

#[test]
fn t02_stays_quiet_at_the_limit_and_lacks_an_unknown_time() {
    for time in [2.1, 3.0, 3.000_000_001] {
        assert_eq!(returned_in(Some(time)).outcome(&T02), Outcome::default(), "{time} s");
    }
    assert_eq!(returned_in(None).outcome(&T02).lacks, [Lack { side: None, line: None, figure: Figure::UnclampTime }]);
}
