//! An audit with one circuit of each kind that the workbook tells apart.
//!
//! The figures are computed here in plain numbers, apart from the crate's formulas, so that
//! the workbook's live formulas are compared with something else than themselves.

use chrono::NaiveDate;
use clampbook::assess::audit::{Audit, CircuitAudit, HistoryRow, ListedRow, RemedyRow, Tally, Unassessed};
use clampbook::model::circuit::{Circuit, CircuitKey, Service};
use clampbook::model::column::Table;
use clampbook::model::component::Component;
use clampbook::model::figures::{Chain, CircuitFigures, Holding, Rating, SideFigures, Volumes};
use clampbook::model::finding::{Finding, Subject};
use clampbook::model::kinds::Kinds;
use clampbook::model::line::Line;
use clampbook::model::order::Waiver;
use clampbook::model::origin::{HeaderCell, InputNote, NoteKind, Origin, Source};
use clampbook::model::plant::Plant;
use clampbook::model::policy::{Fluid, Policy};
use clampbook::model::purchase::PurchaseRow;
use clampbook::model::station::{Station, StationPart};
use clampbook::model::value::Value;
use clampbook::model::words::{Acting, Charging, Kind, Severity, Side, State, Verdict};
use clampbook::physics::quantity::{Compliance, Pressure, Time, Volume};
use clampbook::physics::unit::UnitSystem;
use rust_decimal::Decimal;

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
    fill_plant(&mut plant);
    let circuits: Vec<CircuitAudit> = GIVEN.iter().map(|given| audited(&plant, *given)).collect();
    let mut findings: Vec<Finding> = circuits.iter().flat_map(|circuit| circuit.findings.clone()).collect();
    findings.push(part_finding());
    let tally = tally(&circuits);
    Audit {
        counts: Default::default(),
        purchase: purchase(&plant),
        remedies: vec![remedy()],
        listed: listed(),
        listed_left_out: 0,
        tally,
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
        findings,
    }
}

fn component(part_no: &str, kind: Kind, rated: f64) -> Component {
    Component {
        part_no: part_no.to_owned(),
        kind: Some(kind),
        description: format!("{} {part_no}", kind.plain()),
        rated_pressure: Some(Pressure::from_bar(rated)),
        unit_price: Some(Decimal::new(1250, 2)),
        currency: "EUR".to_owned(),
        supplier: "Stores".to_owned(),
        ..Component::default()
    }
}

fn fill_plant(plant: &mut Plant) {
    let mut pump = component("PU-1", Kind::Pump, PUMP_RATING);
    pump.capacity = Some(Volume::from_cm3(5000.0));
    plant.components = vec![
        pump,
        component("RAM-1", Kind::DriveRam, 700.0),
        component("CC-1", Kind::ChargingCylinder, 350.0),
        component("@CL-1", Kind::Clamp, 350.0),
    ];
    plant.components[2].pressure_ratio = Some(0.5);
    plant.components.push(component("CC-2", Kind::ChargingCylinder, 350.0));
    for (index, part) in (0_u32..).zip(&plant.components) {
        plant.part_index.insert(part.part_no.clone(), index);
    }
    plant.has_stations = true;
    plant.stations = vec![Station {
        name: "LS-1".to_owned(),
        pump: StationPart::Known(0),
        drive_ram: StationPart::Known(1),
        pump_setting: Some(Pressure::from_bar(PUMP_SETTING)),
        ..Station::default()
    }];
    plant.station_index.insert("LS-1".into(), 0);
    plant.orders = Some(Vec::new());
    plant.waivers = vec![Waiver {
        fixture: "waived overfull".to_owned(),
        rule: "V01".to_owned(),
        reason: "Filled by hand until the new cylinder comes".to_owned(),
        approved_by: "J. Doe".to_owned(),
        expires: NaiveDate::from_ymd_opt(2027, 1, 31),
        ..Waiver::default()
    }];
    plant.sources = sources();
    plant.notes = vec![InputNote {
        kind: NoteKind::SetAside,
        origin: Origin { source: 0, row: 4 },
        letter: "D".to_owned(),
        column: "length".to_owned(),
        found: "63,5 mn".to_owned(),
        message: "Expected a length such as '63.5 mm'. The line was set aside.".to_owned(),
    }];
}

fn sources() -> Vec<Source> {
    let header = [("Part", Some("part_no")), ("qty", Some("qty")), ("length [mm]", Some("length")), ("colour", None)];
    let cells = |names: &[(&str, Option<&'static str>)]| {
        (0_u32..)
            .zip(names)
            .map(|(index, (text, column))| HeaderCell { index, text: (*text).to_owned(), column: *column })
            .collect()
    };
    vec![
        Source {
            file: "lists/line-1.csv".to_owned(),
            sheet: String::new(),
            table: Some(Table::Lists),
            header: cells(&header),
            sha256: "0123456789abcdef".repeat(4),
            rows_read: 4,
            rows_set_aside: 1,
            rows_skipped: 1,
            remarks: vec!["Semicolons apart.".to_owned()],
        },
        Source {
            file: "lists/line-2.xlsx".to_owned(),
            sheet: "Fixture 12".to_owned(),
            table: Some(Table::Lists),
            header: cells(&[("part_no", Some("part_no")), ("length (in)", Some("length"))]),
            sha256: "fedcba9876543210".repeat(4),
            rows_read: 1,
            rows_set_aside: 0,
            rows_skipped: 0,
            remarks: Vec::new(),
        },
    ]
}

/// Lines with texts that would be something else than text if they could.
fn listed() -> Vec<ListedRow> {
    let row = |source, row, cells: &[&str]| ListedRow {
        origin: Origin { source, row },
        cells: cells.iter().map(|cell| (*cell).to_owned()).collect(),
        place: None,
    };
    vec![
        row(0, 2, &["@CL-1", "1", "12", "=HYPERLINK(\"http://example.org\")"]),
        row(0, 3, &["CC-1", "=1+1", "+12", "http://example.org"]),
        row(0, 4, &["CC-1", "1", "63,5 mn", "tab\there, bell\u{7}"]),
        row(0, 5, &["-5", "1", "", &"long ".repeat(8000)]),
        row(1, 2, &["_x0041_", "1/4"]),
    ]
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

fn side(plant: &Plant, given: Given, which: Side) -> SideFigures {
    let fluid = plant.policy.fluid(given.fluid).expect("a fluid of the policy");
    let (modulus, air_share) = (fluid.bulk_modulus.bar(), fluid.free_air);
    let swept = if which == Side::Unclamp { given.swept.map(|swept| swept - 12.0) } else { given.swept };
    let (line, dead) = (12.5, 4.25);
    let ratio = match given.charging {
        Charging::Cylinder => given.ratio.unwrap_or(plant.policy.limits.pressure_ratio),
        _ => 1.0,
    };
    let pump = PUMP_SETTING.min(PUMP_RATING);
    let full = if given.has_station { Some(pump * ratio - LOSS) } else { given.wanted };
    let charge = full.map(|full| given.reducing.map_or(full, |valve| valve.min(full)));
    let rest = match given.charging {
        Charging::Cylinder => Some(line + dead + given.capacity),
        _ => swept.map(|swept| line + dead + swept),
    };
    let compression = rest.zip(charge).map(|(rest, charge)| match given.charging {
        Charging::Cylinder => -rest * (-charge / modulus).exp_m1(),
        _ => rest * (charge / modulus).exp_m1(),
    });
    let air = rest.zip(charge).map(|(rest, charge)| air_share * rest * (1.0 - 1.01325 / (charge + 1.01325)));
    let (tubes, actuators) = (0.002, 0.0007);
    let dilation = charge.map(|charge| charge * tubes);
    let elastic = charge.map(|charge| charge * actuators);
    let accumulator = Some(3.125);
    let demand = [swept, compression, air, dilation, elastic, accumulator].into_iter().sum::<Option<f64>>();
    let fill = demand.filter(|_| given.capacity > 0.0).map(|demand| demand / given.capacity);
    let usable = plant.policy.limits.fill * given.capacity;
    let volume = |value: Option<f64>| value.map(Volume::from_cm3);
    let pressure = |value: Option<f64>| value.map(Pressure::from_bar);
    let rating = |value: f64| Some(Rating { pressure: Pressure::from_bar(value), line: 0 });
    let kinds = Kinds::NONE.with(Kind::Clamp).with(Kind::ChargingCylinder);
    SideFigures {
        side: which,
        lines: vec![0, 1],
        kinds: if given.has_relief { kinds.with(Kind::ReliefValve) } else { kinds },
        kinds_are_known: true,
        cylinder: (given.charging == Charging::Cylinder).then_some(1),
        cylinder_pieces: 1.0,
        volumes: Volumes {
            swept: volume(swept),
            line: volume(Some(line)),
            dead: volume(Some(dead)),
            capacity: volume(Some(given.capacity)),
            compression: volume(compression),
            air: volume(air),
            dilation: volume(dilation),
            elastic: volume(elastic),
            accumulator: volume(accumulator),
            demand: volume(demand),
        },
        compliance: Some(Compliance::new((tubes + actuators) * 1e-11)),
        fill,
        usable: volume(fill.map(|_| usable)),
        reserve: volume(demand.filter(|_| fill.is_some()).map(|demand| usable - demand)),
        chain: Chain {
            pump: pressure(given.has_station.then_some(pump)),
            ratio: Some(ratio),
            return_loss: Pressure::from_bar(LOSS),
            full: pressure(full),
            reducing: given.reducing.and_then(rating),
            relief: if given.has_relief { rating(155.0) } else { None },
            charge: pressure(charge),
            pump_needed: pressure(given.wanted.map(|wanted| (wanted + LOSS) / ratio)),
            potential: pressure(given.has_station.then_some(PUMP_RATING * ratio - LOSS)),
            weakest: rating(given.weakest),
            tube: None,
        },
        gaps: Vec::new(),
    }
}

fn side_findings(plant: &Plant, given: Given, figures: &SideFigures) -> Vec<Finding> {
    let limits = &plant.policy.limits;
    let mut found = Vec::new();
    let mut add = |rule, severity, measured: Value, limit: Value| {
        let waived = rule == "V01" && given.name == "waived overfull";
        found.push(Finding {
            side: Some(figures.side),
            measured: Some(measured),
            limit: Some(limit),
            state: if waived { State::Waived } else { State::New },
            waiver: waived.then_some(0),
            ..finding(rule, severity, Subject::Side, &key(given))
        });
    };
    if let Some(fill) = figures.fill {
        let pair = |limit| (Value::Ratio(fill), Value::Ratio(limit));
        if fill > limits.fill {
            let (measured, limit) = pair(limits.fill);
            add("V01", Severity::Major, measured, limit);
        } else if fill > limits.fill_watch {
            let (measured, limit) = pair(limits.fill_watch);
            add("V02", Severity::Observation, measured, limit);
        }
    }
    if let (Some(charge), Some(wanted)) = (figures.chain.charge, given.wanted.map(Pressure::from_bar)) {
        let pair = (Value::Pressure(charge), Value::Pressure(wanted));
        if charge < wanted * (1.0 - limits.pressure_tolerance) {
            add("P03", Severity::Major, pair.0, pair.1);
        } else if charge > wanted * (1.0 + limits.pressure_tolerance) {
            add("P11", Severity::Minor, pair.0, pair.1);
        }
    }
    let weakest = Pressure::from_bar(given.weakest);
    if let Some(potential) = figures.chain.potential
        && !given.has_relief
        && potential.bar() > given.weakest + 1e-6
    {
        add("P13", Severity::Major, Value::Pressure(potential), Value::Pressure(weakest));
    }
    if let Some(charge) = figures.chain.charge
        && charge > weakest * limits.pressure_watch
        && charge <= weakest
    {
        add("P14", Severity::Observation, Value::Pressure(charge), Value::Pressure(weakest));
    }
    found
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
        .then(|| Unassessed { rule: "V01", because: "fill: a line was set aside".to_owned() })
        .into_iter()
        .collect();
    CircuitAudit {
        figures: CircuitFigures {
            acting: if given.is_double { Acting::Double } else { Acting::Single },
            holding: holding(given, &clamp),
            clamp,
            unclamp,
            clamp_time: Some(Time::new(4.2)),
            unclamp_time: None,
            reynolds: None,
            gaps: Vec::new(),
        },
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

fn holding(given: Given, clamp: &SideFigures) -> Holding {
    let Some((charge, minutes)) = clamp.chain.charge.zip(given.hold_minutes) else { return Holding::default() };
    let at = |share: f64| charge * (-0.4 * share).exp();
    Holding {
        start: Some(charge),
        hold: Some(at(1.0)),
        reserve: Some(Time::from_minutes(300.0)),
        curve: (0..=12)
            .map(|step| f64::from(step) / 12.0)
            .map(|share| (Time::from_minutes(minutes * share), at(share)))
            .collect(),
        ..Holding::default()
    }
}

fn tally(circuits: &[CircuitAudit]) -> Tally {
    let mut tally =
        Tally { circuits: circuits.len() as u64, lines_read: 5, lines_set_aside: 1, new: 9, ..Tally::default() };
    for circuit in circuits {
        *tally.verdicts.entry(circuit.verdict).or_default() += 1;
        for finding in &circuit.findings {
            match (finding.state, finding.severity) {
                (State::Waived, _) => tally.waived += 1,
                (_, Severity::Major) => tally.majors += 1,
                (_, Severity::Minor) => tally.minors += 1,
                (_, Severity::Observation) => tally.observations += 1,
            }
        }
    }
    tally
}

fn purchase(plant: &Plant) -> Vec<PurchaseRow> {
    let row = |(index, part): (u32, &Component)| PurchaseRow {
        component: Some(index),
        part_no: part.part_no.clone(),
        uom: "each",
        needed: Decimal::from(4),
        ordered: Some(Decimal::from(1)),
        order_qty: Decimal::from(3),
        extended: Some(Decimal::new(3750, 2)),
        circuits: 3,
        plants: vec!["North".to_owned()],
        need_is_bound: index == 3,
    };
    (0_u32..).zip(&plant.components).map(row).collect()
}

fn remedy() -> RemedyRow {
    RemedyRow {
        change: "part",
        part_from: "CC-1".to_owned(),
        part_to: "CC-2".to_owned(),
        setting: Some(Value::Pressure(Pressure::from_bar(360.0))),
        place: CircuitKey::default(),
        position: "10".to_owned(),
        rules: vec!["V01"],
        cleared: 1,
        circuits: GIVEN.iter().map(|given| key(*given)).collect(),
        price: Some(Decimal::new(9900, 2)),
        currency: "EUR".to_owned(),
        words: "CC-2 for CC-1: the fill falls from 0.95 to 0.71.".to_owned(),
        applied: String::new(),
        edit: None,
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
    }
}
