//! Each rule of make-up where it fires, where it stays quiet, and at its limit.

use super::*;
use crate::physics::quantity::Length;
use crate::rules::test_circuit::{AtLimit, TestCircuit, Trio};
use crate::tables::kinds::Kinds;
use crate::tables::line::Cell;
use crate::tables::station::{Station, StationPart};

fn fitted(kinds: &[Kind]) -> TestCircuit {
    let mut made = TestCircuit::single();
    for (index, kind) in kinds.iter().enumerate() {
        made.fit(*kind, &format!("P-{index}"), 400.0);
    }
    made
}

fn cylinders(pieces: f64) -> Outcome {
    let mut made = fitted(&[Kind::ChargingCylinder]);
    made.circuit.lines[0].qty = Cell::Value(pieces);
    made.outcome(&M02)
}

fn at_station(made: &mut TestCircuit, pump: StationPart, drive_ram: StationPart) {
    made.service().station = "LS".into();
    made.plant.station_index.insert("LS".into(), 0);
    made.plant.stations.push(Station { station: "LS".to_owned(), pump, drive_ram, ..Station::default() });
}

fn strokes(cylinder: f64, ram: f64) -> Outcome {
    let mut made = fitted(&[Kind::ChargingCylinder]);
    made.plant.components[0].stroke = Some(Length::from_mm(cylinder));
    made.part(Kind::DriveRam, "DR-1").stroke = Some(Length::from_mm(ram));
    at_station(&mut made, StationPart::Blank, StationPart::Known(1));
    made.outcome(&M08)
}

fn pumped(demand: f64) -> Outcome {
    let mut made = fitted(&[Kind::Clamp]);
    made.part(Kind::Pump, "PU-1").capacity = Some(Volume::from_cm3(250.0));
    at_station(&mut made, StationPart::Known(1), StationPart::Blank);
    made.figures.clamp.chain.ratio = Some(2.0);
    made.figures.clamp.group.demand = Some(Volume::from_cm3(demand));
    made.outcome(&M09)
}

fn clamp_in(acting: Acting) -> Outcome {
    let mut made = fitted(&[Kind::Clamp]);
    made.service().acting = Some(acting);
    made.figures.acting = acting;
    made.outcome(&M06)
}

fn sealed(seal: &str) -> Outcome {
    let mut made = fitted(&[Kind::Clamp]);
    seal.clone_into(&mut made.plant.components[0].seal);
    made.outcome(&M07)
}

fn coupled(kinds: &[Kind]) -> Outcome {
    let mut made = fitted(kinds);
    made.service().charging = Some(Charging::Coupler);
    made.outcome(&M10)
}

fn sequence(includes: Kinds) -> Outcome {
    let mut made = fitted(&[Kind::SequenceValve]);
    made.plant.components[0].includes = includes;
    made.outcome(&M11)
}

fn rod_side(kinds: &[Kind]) -> Outcome {
    let mut made = TestCircuit::double();
    made.fit(Kind::IsolationValve, "IV", 400.0);
    for (index, kind) in kinds.iter().enumerate() {
        made.fit(*kind, &format!("U-{index}"), 400.0).side = Side::Unclamp;
    }
    made.outcome(&M04)
}

fn reduced(gauge_in: Zone) -> Outcome {
    let mut made = fitted(&[Kind::ReducingValve, Kind::Clamp, Kind::Gauge]);
    made.circuit.lines[2].zone = Some(gauge_in);
    made.outcome(&M12)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(
            &M01,
            || fitted(&[Kind::Clamp]).outcome(&M01),
            || fitted(&[Kind::ChargingCylinder]).outcome(&M01),
            AtLimit::None,
        ),
        trio(&M02, || cylinders(2.0), || cylinders(1.0), AtLimit::Quiet(cylinders)),
        trio(
            &M03,
            || fitted(&[Kind::Clamp]).outcome(&M03),
            || fitted(&[Kind::CheckValve]).outcome(&M03),
            AtLimit::None,
        ),
        trio(
            &M04,
            || rod_side(&[Kind::CheckValve]),
            || rod_side(&[Kind::CheckValve, Kind::IsolationValve]),
            AtLimit::None,
        ),
        trio(&M05, || fitted(&[Kind::Clamp]).outcome(&M05), || fitted(&[Kind::TestPoint]).outcome(&M05), AtLimit::None),
        trio(&M06, || clamp_in(Acting::Double), || clamp_in(Acting::Single), AtLimit::None),
        trio(&M07, || sealed("EPDM"), || sealed("NBR"), AtLimit::None),
        trio(&M08, || strokes(80.0, 60.0), || strokes(50.0, 60.0), AtLimit::Quiet(|times| strokes(60.0 * times, 60.0))),
        // By hand: 250 cm³ / 2 = 125 cm³.
        trio(&M09, || pumped(150.0), || pumped(100.0), AtLimit::Quiet(|times| pumped(125.0 * times))),
        trio(&M10, || coupled(&[Kind::Coupling]), || coupled(&[Kind::Coupling, Kind::Filter]), AtLimit::None),
        trio(&M11, || sequence(Kinds::NONE), || sequence(Kinds::NONE.with(Kind::CheckValve)), AtLimit::None),
        trio(&M12, || reduced(Zone::Full), || reduced(Zone::Reduced), AtLimit::None),
    ]
}
