//! Facts of the trade, end to end and in the units they are told in. Common practice, no source.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where something is amiss")]

#[path = "plants/run.rs"]
mod run;

use std::collections::BTreeSet;
use std::fs;

use run::Row;

/// What a case sets; pressures in psi, the demand in in³.
struct Case {
    demand: f64,
    cylinder: &'static str,
    pressure_set: f64,
    pump_rated: f64,
    pump_setting: f64,
    valve_rated: f64,
    policy: &'static str,
}

/// 6 in³ from an 8 in³ cylinder at 2,500 psi, half of what a 5,000 psi pump gives.
const SOUND: Case = Case {
    demand: 6.0,
    cylinder: "CC8",
    pressure_set: 2500.0,
    pump_rated: 5000.0,
    pump_setting: 5000.0,
    valve_rated: 6000.0,
    policy: "",
};

/// The bulk modulus of the policy below, in psi.
const BULK_MODULUS_PSI: f64 = 1.5e9 / 6_894.757_293_168_361;

/// Findings without observations and purchasing, as `rule position`, and the remedies by rule.
fn check(case: &Case) -> (BTreeSet<String>, Vec<Row>, Row) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    // Swept volume: the wanted demand less the compression of the cylinder's 8 in³, by hand.
    let charge = case.pump_setting.min(case.pump_rated) * 0.5;
    let swept = case.demand - 8.0 * (1.0 - (-charge / BULK_MODULUS_PSI).exp());
    let components = format!(
        "part_no,kind,rated_pressure [psi],volume_clamp [in3],capacity [in3],pressure_ratio,unit_price,currency\n\
         CL,clamp,6000,{swept:.13},,,10,USD\nCC8,charging_cylinder,5000,,8,0.5,10,USD\n\
         CC17,charging_cylinder,5000,,17,0.5,20,USD\nCV,check_valve,6000,,,,10,USD\n\
         IV,isolation_valve,{},,,,10,USD\nTP,test_point,6000,,,,10,USD\nPU,pump,{},,,,10,USD\n",
        case.valve_rated, case.pump_rated
    );
    let lines = ["CL", case.cylinder, "CV", "IV", "TP"].map(|part| format!("F,{part},{part},1\n")).concat();
    let circuits = format!("fixture,circuit,station,pressure_set [psi]\nF,1,S,{}\n", case.pressure_set);
    let stations = format!("station,pump,pump_setting [psi]\nS,PU,{}\n", case.pump_setting);
    let policy = format!(
        "units = \"us\"\ndate = \"2026-01-15\"\n{}\n[asked]\nuncoupled = []\n[fluids.default]\nfree_air = 0.0\n",
        case.policy
    );
    fs::write(plant.join("components.csv"), components).unwrap();
    fs::write(plant.join("lists/a.csv"), format!("fixture,position,part_no,qty\n{lines}")).unwrap();
    fs::write(plant.join("circuits.csv"), circuits).unwrap();
    fs::write(plant.join("stations.csv"), stations).unwrap();
    fs::write(plant.join("policy.toml"), policy).unwrap();
    let data = folder.path().join("data");
    run::check(&plant, &data, &["--quiet"]);
    let found = run::rows(&data.join("findings.csv"));
    let names = found
        .iter()
        .filter(|row| row["severity"] != "observation")
        .map(|row| format!("{} {}", row["rule"], row["position"]));
    let circuit = run::rows(&data.join("circuits.csv")).remove(0);
    assert_eq!(circuit["not_assessed"], "");
    (names.map(|name| name.trim().to_owned()).collect(), found, circuit)
}

fn rules(case: &Case) -> BTreeSet<String> {
    check(case).0
}

fn these<const N: usize>(names: [&str; N]) -> BTreeSet<String> {
    names.map(str::to_owned).into()
}

#[test]
fn a_circuit_takes_at_most_nine_tenths_of_its_cylinder() {
    let (none, _, circuit) = check(&Case { demand: 7.2, ..SOUND });
    assert_eq!(none, these([]), "7.2 of 8 in³ is exactly the limit");
    let demand: f64 = circuit["clamp_demand_cm3"].parse().unwrap();
    assert!((demand / 16.387_064 - 7.2).abs() < 1e-9, "{demand}");

    let (found, rows, _) = check(&Case { demand: 7.21, ..SOUND });
    assert_eq!(found, these(["V01"]));
    let remedy = &rows.iter().find(|row| row["rule"] == "V01").unwrap()["remedy"];
    assert!(remedy.contains("CC17"), "{remedy}");
    assert_eq!(rules(&Case { demand: 7.21, cylinder: "CC17", ..SOUND }), these([]));
}

#[test]
fn a_circuit_works_at_half_the_pumps_pressure() {
    let (none, _, circuit) = check(&SOUND);
    assert_eq!(none, these([]));
    let charge: f64 = circuit["clamp_charge_bar"].parse().unwrap();
    assert!((charge / 0.068_947_572_931_683_6 - 2500.0).abs() < 1e-6, "{charge}");
    // 2,501 psi asks for a setting of 5,002, beyond the small pump.
    let beyond = Case { pressure_set: 2501.0, pump_setting: 5002.0, ..SOUND };
    assert_eq!(rules(&beyond), these(["P04 S"]));
    assert_eq!(rules(&Case { pump_rated: 10_000.0, valve_rated: 6000.0, ..beyond }), these([]));
    // Without a tolerance, 2,500 psi is not 2,501 psi.
    let policy = "[limits]\npressure_tolerance = 0.0";
    assert_eq!(rules(&Case { policy, ..SOUND }), these([]));
    assert_eq!(rules(&Case { policy, pressure_set: 2501.0, ..SOUND }), these(["P03"]));
}

#[test]
fn a_valve_for_3000_psi_serves_up_to_that() {
    let at = Case { pressure_set: 3000.0, pump_rated: 6000.0, pump_setting: 6000.0, valve_rated: 3000.0, ..SOUND };
    assert_eq!(rules(&at), these([]));
    let beyond = Case { pressure_set: 3001.0, pump_rated: 6002.0, pump_setting: 6002.0, ..at };
    assert_eq!(rules(&beyond), these(["P06 IV", "P13"]));
}

#[test]
fn five_thousand_psi_at_the_cylinder_is_ten_thousand_at_the_pump() {
    let at = Case { pressure_set: 5000.0, pump_rated: 10_000.0, pump_setting: 10_000.0, ..SOUND };
    assert_eq!(rules(&at), these([]));
    let beyond = Case { pressure_set: 5000.5, pump_rated: 10_001.0, pump_setting: 10_001.0, ..SOUND };
    assert_eq!(rules(&beyond), these(["P01 CC8", "P13"]));
}
