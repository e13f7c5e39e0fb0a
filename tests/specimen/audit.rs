//! An audit with one circuit of each kind that the workbook tells apart.
//!
//! The figures are computed here in plain numbers, apart from the crate's formulas, so that
//! the workbook's live formulas are compared with something else than themselves.

mod plant;
mod side;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;
use clampbook::audit::counts::Counts;
use clampbook::audit::outcome::{Audit, HistoryRow};
use clampbook::audit::to_buy::to_buy;
use clampbook::circuit::audited::{CircuitAudit, Unassessed};
use clampbook::circuit::standing::Standing;
use clampbook::physics::quantity::{Pressure, Time};
use clampbook::physics::unit::UnitSystem;
use clampbook::remedy::remedy_row::RemedyRow;
use clampbook::rules::coverage::Coverage;
use clampbook::tables::circuit::{Circuit, CircuitKey, Service};
use clampbook::tables::component::Component;
use clampbook::tables::figures::CircuitFigures;
use clampbook::tables::finding::{Finding, Subject};
use clampbook::tables::line::Line;
use clampbook::tables::origin::Origin;
use clampbook::tables::place_names::{RankedNames, SeenNames};
use clampbook::tables::plant::Plant;
use clampbook::tables::policy::{Fluid, Policy};
use clampbook::tables::purchase::PurchaseRow;
use clampbook::tables::services::Services;
use clampbook::tables::value::Value;
use clampbook::tables::words::{Acting, Charging, Severity, Side, State, Verdict};
use rust_decimal::Decimal;

use plant::{fill_plant, listed};
use side::{holding, side, side_findings};

/// What a circuit of the specimen is given, in cm³ and bar.
#[derive(Clone, Copy)]
pub struct Given {
    pub name: &'static str,
    pub charging: Charging,
    pub swept: Option<f64>,
    pub capacity: f64,
    pub wanted: Option<f64>,
    pub has_station: bool,
    pub ratio: Option<f64>,
    pub reducing: Option<f64>,
    pub has_relief: bool,
    pub weakest: f64,
    pub fluid: &'static str,
    pub is_double: bool,
    pub hold_minutes: Option<f64>,
    pub others: &'static [&'static str],
}

const PLAIN: Given = Given {
    name: "conforms",
    charging: Charging::Cylinder,
    swept: Some(60.0),
    capacity: 100.0,
    wanted: Some(200.0),
    has_station: true,
    ratio: Some(0.5),
    reducing: None,
    has_relief: false,
    weakest: 350.0,
    fluid: "",
    is_double: false,
    hold_minutes: Some(240.0),
    others: &[],
};

pub const GIVEN: &[Given] = &[
    PLAIN,
    Given { name: "overfull", swept: Some(93.0), ..PLAIN },
    Given { name: "waived overfull", swept: Some(92.0), ..PLAIN },
    Given { name: "close", swept: Some(82.0), ..PLAIN },
    Given { name: "double", swept: Some(81.0), is_double: true, ..PLAIN },
    Given { name: "unknown", swept: None, hold_minutes: None, ..PLAIN },
    Given { name: "coupler", charging: Charging::Coupler, capacity: 0.0, wanted: Some(400.0), weakest: 500.0, ..PLAIN },
    Given { name: "policy ratio", ratio: None, weakest: 205.0, ..PLAIN },
    Given { name: "reducing", reducing: Some(150.0), wanted: Some(150.0), has_relief: true, weakest: 160.0, ..PLAIN },
    Given { name: "no station", has_station: false, ..PLAIN },
    Given { name: "too low", wanted: Some(230.0), ..PLAIN },
    Given { name: "too high", wanted: Some(180.0), ..PLAIN },
    Given { name: "no relief", weakest: 220.0, ..PLAIN },
    Given { name: "missing valve", others: &["M03", "M04"], ..PLAIN },
    Given { name: "=1+1", fluid: "water glycol", ..PLAIN },
];

const PUMP_SETTING: f64 = 400.0;
const PUMP_RATING: f64 = 700.0;
const LOSS: f64 = 0.0;

/// The audit of the specimen's circuits with a fill limit.
pub fn audit(fill_limit: f64, units: UnitSystem) -> Audit {
    let mut policy = Policy::at(NaiveDate::from_ymd_opt(2026, 11, 25).expect("a date"));
    policy.units = units;
    policy.limits.fill = fill_limit;
    let glycol = Fluid { bulk_modulus: Pressure::new(3.1e9), free_air: 0.008, ..Fluid::default() };
    policy.fluids.insert("water glycol".to_owned(), glycol);
    let mut plant = Plant::empty(policy);
    let mut names = SeenNames::default();
    names.number_of("North");
    plant.services = Services::of(0, Arc::new(names.in_order().0), Vec::new(), Vec::new());
    fill_plant(&mut plant);
    let circuits: Vec<CircuitAudit> = GIVEN.iter().map(|given| audited(&plant, *given)).collect();
    Audit {
        counts: counts(&plant, &circuits),
        elsewhere: vec![part_finding()],
        to_buy: to_buy(&plant, &purchase(&plant), &BTreeMap::new(), &BTreeMap::new()),
        buying: clampbook::audit::buying_doubts::BuyingDoubts::default(),
        purchase: purchase(&plant),
        due: Vec::new(),
        remedies: vec![remedy()],
        listed: listed(),
        listed_left_out: 0,
        limit: None,
        has_previous: true,
        cleared: vec![
            "V01,major,cleared,P,1,F,1,clamp,,,0.95,0.9,,The fill was too high.,A larger cylinder.,lists/a.csv,,3,"
                .split(',')
                .map(str::to_owned)
                .collect(),
        ],
        history: (1..=5).map(history).collect(),
        plant,
        circuits,
    }
}

fn finding(rule: &'static str, severity: Severity, subject: Subject, place: &CircuitKey) -> Finding {
    Finding { state: State::New, place: place.clone(), ..Finding::blank(rule, severity, subject) }
}

/// An L09 on the cylinder that only the circuit with the policy's ratio uses.
fn part_finding() -> Finding {
    Finding {
        part_no: "CC-2".to_owned(),
        remedy: Some("State the capacity in the component table.".to_owned()),
        ..finding("L09", Severity::Major, Subject::Part, &CircuitKey::default())
    }
}

fn key(given: Given) -> CircuitKey {
    CircuitKey {
        plant: "North".into(),
        pallet: format!("P{}", given.name.len() % 4).into(),
        fixture: given.name.into(),
        circuit: "1".into(),
    }
}

fn audited(plant: &Plant, given: Given) -> CircuitAudit {
    let clamp = side(plant, given, Side::Clamp);
    let unclamp = given.is_double.then(|| side(plant, given, Side::Unclamp));
    let mut findings = side_findings(plant, given, &clamp);
    if let Some(unclamp) = &unclamp {
        findings.extend(side_findings(plant, given, unclamp));
    }
    for rule in given.others {
        findings.push(finding(rule, Severity::Major, Subject::Circuit, &key(given)));
    }
    if given.name == "conforms" {
        findings.push(Finding {
            part_no: "CC-1".to_owned(),
            origin: Some(Origin { source: 0, row: 4 }),
            column: Some("length"),
            ..finding("L03", Severity::Observation, Subject::Line, &key(given))
        });
    }
    let is_unknown = given.charging == Charging::Cylinder && clamp.fill.is_none();
    let uses_bad_part = given.ratio.is_none();
    let verdict = if uses_bad_part || findings.iter().any(Finding::counts) {
        Verdict::DoesNotConform
    } else if is_unknown {
        Verdict::NotAssessed
    } else if findings.iter().any(|finding| finding.state == State::Waived) {
        Verdict::ConformsWithWaivers
    } else {
        Verdict::Conforms
    };
    let not_assessed = is_unknown
        .then(|| Unassessed { rule: "V01", because: "fill: a line was set aside".to_owned(), cell: None })
        .into_iter()
        .collect();
    CircuitAudit {
        figures: CircuitFigures {
            holding: holding(given, &clamp),
            unclamp,
            clamp_time: Some(Time::new(4.2)),
            ..CircuitFigures::blank(if given.is_double { Acting::Double } else { Acting::Single }, clamp)
        },
        elsewhere: Standing::default(),
        coverage: Coverage::default(),
        circuit: circuit(given),
        verdict,
        not_assessed,
        findings,
    }
}

fn circuit(given: Given) -> Circuit {
    let cylinder = if given.ratio.is_none() { 4 } else { 2 };
    Circuit {
        trial_share: None,
        trial_station: None,
        key: key(given),
        service: Some(Service {
            charging: Some(given.charging),
            station: if given.has_station { "LS-1" } else { "" }.into(),
            pressure_set: given.wanted.map(Pressure::from_bar),
            pressure_min: Some(Pressure::from_bar(120.0)),
            hold_time: given.hold_minutes.map(Time::from_minutes),
            fluid: given.fluid.into(),
            ..Service::default()
        }),
        lines: vec![Line::of_part(3), Line::of_part(cylinder)],
        stray_rows: Vec::new(),
    }
}

fn counts(plant: &Plant, circuits: &[CircuitAudit]) -> Counts {
    let mut counts = Counts { lines_read: 5, lines_set_aside: 1, ..Counts::default() };
    circuits.iter().for_each(|circuit| counts.add_circuit(plant, circuit));
    counts.changes.new = 9;
    counts
}

fn purchase(plant: &Plant) -> Vec<PurchaseRow> {
    let mut of_north = RankedNames::default();
    of_north.insert(plant.services.names().rank_of(&"North".into()).expect("the plant's name"));
    let row = |(index, part): (u32, &Component)| PurchaseRow {
        component: Some(index),
        part_no: part.part_no.clone(),
        uom: "each",
        needed: Decimal::from(4),
        ordered: Some(Decimal::from(1)),
        order_qty: Decimal::from(3),
        extended: Some(Decimal::new(3750, 2)),
        circuits: 3,
        plants: of_north.clone(),
        need_is_bound: index == 3,
        order_part: part.part_no.clone(),
        ..PurchaseRow::default()
    };
    (0_u32..).zip(&plant.components).map(row).collect()
}

fn remedy() -> RemedyRow {
    RemedyRow {
        change: "part",
        part_from: "CC-1".into(),
        part_to: "CC-2".into(),
        setting: Some(Value::Pressure(Pressure::from_bar(360.0))),
        place: CircuitKey::default().into(),
        position: "10".into(),
        rules: vec!["V01"],
        cleared: 1,
        circuits: GIVEN.iter().map(|given| key(*given).into()).collect(),
        price: Some(Decimal::new(9900, 2)),
        currency: "EUR".into(),
        words: "CC-2 for CC-1: the fill falls from 0.95 to 0.71.".to_owned(),
        applied: String::new(),
        needs: Vec::new(),
        edit: None,
        majors: 0,
        worsens: Vec::new(),
        claims: Vec::new(),
    }
}

fn history(month: u64) -> HistoryRow {
    HistoryRow {
        date: format!("2026-{month:02}-25"),
        circuits: 15,
        conforming: 5 + month,
        majors: 9 - month,
        minors: 2,
        waived: 1,
        not_assessed: 1,
        tool: "0.1.0".to_owned(),
        policy_hash: "0".to_owned(),
        in_service: Some(12),
        unsafe_in_service: Some(9 - month),
    }
}
