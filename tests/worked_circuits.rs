//! Circuits that were worked out apart from the program, read from tables and audited as a user's would be. The oil has
//! 1.5 GPa and 0.5 % of air, settles at once and has one viscosity; `tests/published/make_hand.py` finds the roots.
#![allow(clippy::unwrap_used)]

#[path = "plants/run.rs"]
mod run;

use std::fs;

use run::{Row, check, rows};

const POLICY: &str = "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n[limits]\ndwell_settled = 0\n[fluids.default]\n\
    bulk_modulus = 1.5e9\nbulk_modulus_high = 1.5e9\nfree_air = 0.005\nfree_air_low = 0.005\n\
    viscosity_40 = 32\nviscosity_100 = 32\n";

/// The clamp sweeps 20 cm³ and yields (1000 mm²)²/(841,043 N/mm) = 1.189e-15 m³/Pa; with the block it is 64.43 cm³. The
/// hose has a bore of 1 mm², so 1.5 m hold 1.5 cm³ and yield 1.5 m x 2.42783 cm³/m / 350 bar = 1.0405e-13 m³/Pa.
const PARTS: &str = "part_no,kind,rated_pressure,area_clamp,stroke,stiffness,volume_clamp,arm_rated,dead_volume,capacity,set_pressure,inner_diameter,expansion,return_pressure,force_ratio,leak,includes\n\
    CLAMP,clamp,250,1000,20,841043,,,,,,,,0,1,0,\n\
    WEEPS,clamp,350,1000,20,841043,,,,,,,,0,1,0.004625,\n\
    SWING,clamp,250,1000,20,,,70,,,,,,0,1,0,\n\
    FACE,clamp,400,1000,,,53.44,,,,,,,0,1,0,\n\
    JAW,clamp,400,312.5,20,,,,,,,,,0,1,0,\n\
    BLOCK,manifold,400,,,,,,44.43,,,,,,,,\n\
    CUBE,manifold,400,,,,,,10,,,,,,,,\n\
    HOSE,hose,350,,,,,,,,,1.1283791671,2.42783,,,,\n\
    RAM,charging_cylinder,400,,,,,,,180,,,,,,,\n\
    CHECK,check_valve,400,,,,,,,,,,,,,0,\n\
    RELEASE,isolation_valve,400,,,,,,,,,,,,,0,\n\
    POINT,test_point,400,,,,,,,,,,,,,,\n\
    OPENS-200,relief_valve,400,,,,,,,,200,,,,,0,\n\
    OPENS-165,relief_valve,400,,,,,,,,165,,,,,0,\n\
    LESS,reducing_valve,400,,,,,,,,120,,,,,0,check_valve\n";

/// Ahead of every circuit's own lines: what makes it one.
const USUAL: [&str; 4] = ["RAM,1,,,", "CHECK,1,,,", "RELEASE,1,,,", "POINT,1,,,"];

/// The circuits' rows by name, and all findings. Lines are part_no, qty, length, zone, arm_length.
fn audited(circuits: &str, lists: &[(&str, &[&str])]) -> (impl Fn(&str) -> Row + use<>, Vec<Row>) {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    fs::create_dir_all(plant.join("lists")).unwrap();
    let mut list = "pallet,fixture,circuit,part_no,qty,length,zone,arm_length\n".to_owned();
    for (name, own) in lists {
        let usual =
            USUAL.iter().filter(|line| *name == "face-1" || !name.starts_with("face") || !line.starts_with("RAM"));
        for line in usual.chain(*own) {
            list.extend(["P,F,", name, ",", line, "\n"]);
        }
    }
    for (name, text) in
        [("lists/F.csv", list.as_str()), ("components.csv", PARTS), ("circuits.csv", circuits), ("policy.toml", POLICY)]
    {
        fs::write(plant.join(name), text).unwrap();
    }
    check(&plant, &data, &["--no-remedies"]);
    let found = rows(&data.join("circuits.csv"));
    (
        move |name: &str| found.iter().find(|row| row["circuit"] == name).unwrap().clone(),
        rows(&data.join("findings.csv")),
    )
}

#[track_caller]
fn is_near(row: &Row, column: &str, value: f64, tolerance: f64) {
    let found: f64 = row[column].parse().unwrap_or_else(|_| panic!("{column} is '{}': {row:?}", row[column]));
    assert!((found - value).abs() <= tolerance, "{column} is {found}, not {value}");
}

#[track_caller]
fn finding<'a>(findings: &'a [Row], rule: &str, circuit: &str) -> &'a Row {
    let of_circuit = |found: &&Row| found["rule"] == rule && found["circuit"] == circuit;
    findings.iter().find(of_circuit).unwrap_or_else(|| panic!("no {rule} on {circuit}"))
}

/// Hand: 6.65e-3 of oil in 10 K over 1/K + C/V; 29.4 bar with the hose behind the check valve, 97.0 with it ahead, a
/// little less for the air. 20 K warmer it is 194 bar more, whatever the relief valve ahead of the check valve is set to.
#[test]
fn what_stands_ahead_of_the_check_valve_holds_nothing_and_guards_nothing() {
    let circuits = "pallet,fixture,circuit,pressure_set,pressure_min,temp_min,temp_max,hold_time\n\
        P,F,behind,160,50,10,40,60\nP,F,ahead,160,80,10,40,60\nP,F,guarded,160,50,10,40,60\n";
    let own: [&[&str]; 3] = [
        &["CLAMP,1,,,", "BLOCK,1,,,", "HOSE,1,1500,,"],
        &["CLAMP,1,,,", "BLOCK,1,,,", "HOSE,1,1500,charge,", "OPENS-200,1,,charge,"],
        &["CLAMP,1,,,", "BLOCK,1,,,", "HOSE,1,1500,charge,", "OPENS-200,1,,,"],
    ];
    let (circuit, findings) = audited(circuits, &[("behind", own[0]), ("ahead", own[1]), ("guarded", own[2])]);
    is_near(&circuit("behind"), "p_cold_bar", 130.6992, 1e-3);
    is_near(&circuit("ahead"), "p_cold_bar", 63.6002, 1e-3);
    is_near(&circuit("ahead"), "p_hot_bar", 353.8684, 1e-3);
    is_near(&circuit("guarded"), "p_hot_bar", 200.0, 1e-9);
    is_near(finding(&findings, "H01", "ahead"), "measured", 353.8684, 1e-3);
    is_near(finding(&findings, "H01", "ahead"), "limit", 250.0, 1e-9);
    is_near(finding(&findings, "H02", "ahead"), "measured", 63.6002, 1e-3);
    for quiet in [("H01", "guarded"), ("H02", "behind")] {
        assert!(
            !findings.iter().any(|found| (found["rule"].as_str(), found["circuit"].as_str()) == quiet),
            "{quiet:?}"
        );
    }
}

/// Hand: 6.65e-4/K x 12 K x 15,000 bar = 119.7 bar more than 242, a little less for the air; behind the valve no more
/// than 120 + 119.7.
#[test]
fn oil_ahead_of_a_reducing_valve_gets_hot_by_itself() {
    let circuits = "pallet,fixture,circuit,pressure_set,temp_max\nP,F,ahead,242,32\n";
    let (circuit, findings) = audited(circuits, &[("ahead", &["JAW,1,,,", "LESS,1,,,", "CUBE,1,,full,"])]);
    let ahead = circuit("ahead");
    is_near(&ahead, "p_hot_full_bar", 361.5887, 1e-3);
    is_near(&ahead, "p_hot_bar", 239.0, 1.0);
    assert!(!findings.iter().any(|found| found["rule"] == "H01"), "all is rated 400 bar");
}

/// Hand: 2 K colder 160 bar are 154.1; G t/C = 0.425 leaves 100.7. Held at 20 °C and cooled then it is 98.7. 15 K warmer
/// 160 bar are 204.2; as much of it is 133.5, and 17 K colder 83.4. A relief valve of 165 bar
/// over 150 opens at 35 °C, closes at 148.5, and 23 K colder are 81.3.
#[test]
fn heat_takes_its_share_of_what_is_held() {
    let circuits = "pallet,fixture,circuit,pressure_set,pressure_min,temp_charge,temp_min,temp_max,hold_time\n\
        P,F,leaks,160,50,20,18,35,480\nP,F,cools,160,50,20,18,,480\nP,F,cold,154.1,50,18,18,,480\n\
        P,F,reseats,150,50,20,12,35,480\n";
    let weeps: &[&str] = &["WEEPS,1,,,", "BLOCK,1,,,", "HOSE,1,1500,,"];
    let reseats: &[&str] = &["CLAMP,1,,,", "BLOCK,1,,,", "HOSE,1,1500,,", "OPENS-165,1,,,"];
    let (circuit, _) = audited(circuits, &[("leaks", weeps), ("cools", weeps), ("cold", weeps), ("reseats", reseats)]);
    is_near(&circuit("cold"), "p_hold_bar", 100.654, 1e-3);
    is_near(&circuit("cools"), "p_hold_bar", 98.6739, 1e-3);
    is_near(&circuit("leaks"), "p_hold_bar", 83.4089, 1e-3);
    is_near(&circuit("reseats"), "p_hot_bar", 165.0, 1e-9);
    is_near(&circuit("reseats"), "p_cold_bar", 81.3111, 1e-3);
}

/// Hand: the cylinder's own oil is 180 x (1 - exp(-160/15000)) + 0.9 x (1 - 1.01325/161.01325) = 2.8042 cm³, so that
/// 4 x 53.44 + 2.8042 = 216.5642 cm³ are asked of 180.
#[test]
fn four_faces_ask_one_cylinder_for_more_than_it_has() {
    let circuits = "pallet,fixture,circuit,pressure_set,source\n\
        P,F,face-1,160,left\nP,F,face-2,160,left\nP,F,face-3,160,left\nP,F,face-4,160,left\nP,F,alone,160,\n";
    let face: &[&str] = &["FACE,1,,,"];
    let lists = [("face-1", face), ("face-2", face), ("face-3", face), ("face-4", face), ("alone", face)];
    let (circuit, findings) = audited(circuits, &lists);
    for name in ["face-1", "face-2", "face-3", "face-4"] {
        is_near(&circuit(name), "clamp_fill", 216.5642 / 180.0, 1e-6);
        is_near(finding(&findings, "V01", name), "measured", 1.2031, 1e-4);
    }
    is_near(&circuit("face-1"), "clamp_demand_cm3", 56.2442, 1e-4);
    is_near(&circuit("face-2"), "clamp_demand_cm3", 53.44, 1e-9);
    is_near(&circuit("alone"), "clamp_fill", 56.2442 / 180.0, 1e-6);
}

/// Hand: 4 x 312.5 mm² x 160 bar x 0.15 on two faces hold 6 kN, and so 3 kN of cutting force by half. An arm of 105 mm
/// on a clamp rated 250 bar with 70 mm: 250 x 70/105.
#[test]
fn friction_and_arms_are_limits_of_their_own() {
    let circuits = "pallet,fixture,circuit,pressure_set,cutting_force,friction\n\
        P,F,enough,160,3000,0.15\nP,F,short,160,3001,0.15\nP,F,arm,160,,\n";
    let jaws: &[&str] = &["JAW,4,,,"];
    let (circuit, findings) = audited(circuits, &[("enough", jaws), ("short", jaws), ("arm", &["SWING,1,,,105"])]);
    is_near(&circuit("enough"), "friction_N", 6000.0, 1e-6);
    is_near(finding(&findings, "F04", "short"), "measured", 6000.0, 1e-6);
    assert!(!findings.iter().any(|found| found["rule"] == "F04" && found["circuit"] == "enough"));
    is_near(&circuit("arm"), "clamp_weakest_bar", 250.0 * 70.0 / 105.0, 1e-9);
}
