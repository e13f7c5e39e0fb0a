//! One circuit, worked by hand, whose findings have a remedy that is no part of the same kind, or none.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::small;

const CIRCUIT: &str = "plant,pallet,fixture,circuit,charging,station,pressure_set,pressure_min,temp_min,temp_max,hold_time,cutting_force,friction
Orrin,P1,A,1,cylinder,S1,160,85,17,25,480,";
const LINES: &str = "plant,pallet,fixture,circuit,position,part_no,qty,length,stroke_used,force_required
Orrin,P1,A,1,CC,CYL,1,,,\nOrrin,P1,A,1,CV,CHK,1,,,\nOrrin,P1,A,1,IV,ISO,1,,,\nOrrin,P1,A,1,G,GAU,1,,,\nOrrin,P1,A,1,L1,TUB,1,1500,,\nOrrin,P1,A,1,C1,CLS,4,,10,";
const PARTS: &str = "part_no,kind,rated_pressure,min_pressure,area_clamp,piston_area,stroke,dead_volume,capacity,return_loss,full_scale,inner_diameter,outer_diameter,tensile_strength,gas_volume,precharge,flow,leak,return_pressure,stiffness,force_ratio,force_max,seal,unit_price,currency
CYL,charging_cylinder,300,,,500,80,2,40,3,,,,,,,,,,,,,NBR,300,EUR
CHK,check_valve,350,,,,,0.3,,,,,,,,,,2e-05,,,,,,40,EUR
ISO,isolation_valve,350,,,,,0.3,,,,,,,,,,2e-05,,,,,,60,EUR
GAU,gauge,,,,,,,,,250,,,,,,,,,,,,,27,EUR
TUB,tube,,,,,,,,,,6,8,3600,,,,,,,,,,5,EUR
PMP,pump,350,,,,,,500,,,,,,,,2,,,,,,,2000,EUR
RAM,drive_ram,400,,,250,100,,,,,,,,,,,,,,,,,700,EUR
";
const ACCUMULATOR: &str = "ACC,accumulator,300,,,,,1,,,,,,,20,60,,,,,,,,150,EUR\n";

/// A clamp of 314 mm² with a spring of 3 bar; of its force_max and its seal.
fn clamp(name: &str, force_max: &str, seal: &str, price: u32) -> String {
    format!("{name},clamp,250,25,314,,12,0.4,,,,,,,,,,2e-05,3,60000,1,{force_max},{seal},{price},EUR\n")
}

/// Rule and remedy of each major of the circuit.
fn majors(parts: &str, force_required: &str, cut: &str) -> Vec<(String, String)> {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    put("circuits.csv", &format!("{CIRCUIT}{cut}\n"));
    put("stations.csv", "station,pump,drive_ram,pump_setting\nS1,PMP,RAM,326\n");
    put("lists/a.csv", &format!("{LINES}{force_required}\n"));
    put("components.csv", &format!("{PARTS}{parts}"));
    let data = folder.path().join("data");
    run(folder.path(), &data);
    let mut rows = csv::Reader::from_path(data.join("findings.csv")).unwrap();
    let header = rows.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|own| own == name).unwrap();
    let rows = rows.records().map(Result::unwrap).filter(|row| &row[column("severity")] == "major");
    rows.map(|row| (row[column("rule")].to_owned(), row[column("remedy")].to_owned())).collect()
}

fn run(plant: &Path, data: &Path) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
    let output = command.arg("check").arg(plant).arg("--quiet").arg("--data").arg(data).output().unwrap();
    assert!(output.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Two circuits that one charging cylinder of 40 cm³ fills, with four clamps each that others replace.
///
/// By hand: a clamp of 314 mm² takes 3.768 cm³ over 12 mm, 4.553 cm³ over 14.5 mm. Eight take 30.1 cm³ of the 40, or 36.4
/// cm³ where all are replaced, more than the 0.9 that may be used; of one circuit alone 33.3 cm³, 0.83 of it.
#[test]
fn a_replacement_is_tried_on_all_circuits_of_a_group_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    let header = CIRCUIT.lines().next().unwrap();
    let row = |circuit: u32| format!("Orrin,P1,A,{circuit},cylinder,S1,160,85,17,25,480,,,one\n");
    put("circuits.csv", &format!("{header},source\n{}{}", row(1), row(2)));
    put("stations.csv", "station,pump,drive_ram,pump_setting\nS1,PMP,RAM,326\n");
    let lines: Vec<&str> = LINES.lines().collect();
    let of_second = lines[2..6].iter().map(|line| line.replace("Orrin,P1,A,1,", "Orrin,P1,A,2,"));
    let second: Vec<String> = of_second.chain(["Orrin,P1,A,2,C1,CLS,4,,,".to_owned()]).collect();
    let first = [&lines[..6], &["Orrin,P1,A,1,C1,CLS,4,,,"]].concat();
    put("lists/a.csv", &format!("{}\n{}\n", first.join("\n"), second.join("\n")));
    let parts: Vec<String> = PARTS.lines().map(|row| format!("{row},,")).collect();
    let [header, parts @ ..] = parts.as_slice() else { panic!("no parts") };
    let old = clamp("CLS", "", "", 118).replace('\n', ",obsolete,CLN\n");
    let new = clamp("CLN", "", "", 118).replace(",12,", ",14.5,").replace('\n', ",,\n");
    let header = header.replace("currency,,", "currency,status,replaced_by");
    put("components.csv", &format!("{header}\n{}\n{old}{new}", parts.join("\n")));
    let data = folder.path().join("data");
    run(folder.path(), &data);
    let findings = fs::read_to_string(data.join("findings.csv")).unwrap();
    let told = findings.lines().find(|row| row.starts_with("B01")).unwrap();
    assert!(told.contains("0 of 2 circuits; not in Orrin / P1 / A / 1: V01, Orrin / P1 / A / 2: V01"), "{told}");
    assert!(!told.contains("Replace CLS by CLN wherever"), "{told}");
}

fn only(found: &[(String, String)], rule: &str) -> String {
    let [(code, remedy)] = found else { panic!("{found:?}") };
    assert_eq!(code, rule);
    remedy.clone()
}

/// At 206.6 bar a clamp of 314 mm² presses with 6.39 kN, at 160 bar with 4.93 kN: gas takes up what warm oil grows by.
#[test]
fn an_accumulator_clears_too_much_force_of_warm_oil() {
    let plain = only(&majors(&clamp("CLS", "6000", "", 118), "", ","), "F02");
    assert!(plain.starts_with("No single change"), "{plain}");
    let parts = clamp("CLS", "6000", "", 118) + ACCUMULATOR;
    let remedy = only(&majors(&parts, "", ","), "F02");
    assert!(remedy.starts_with("Add ACC with precharge 68 bar (150 EUR)"), "{remedy}");
}

/// At 95.7 bar four clamps press with 2.91 kN each: too little for 3.2 kN each, and for 0.15 × 2 × 11.6 kN = 3.5 kN of
/// friction against 2 × 2 kN. Gas gives oil back as it cools.
#[test]
fn an_accumulator_clears_too_little_force_of_cold_oil() {
    let parts = clamp("CLS", "", "", 118) + ACCUMULATOR;
    for (rule, force, cut) in [("F01", "3200", ","), ("F04", "", "2000,0.15")] {
        let remedy = only(&majors(&parts, force, cut), rule);
        assert!(remedy.starts_with("Add ACC with precharge"), "{rule}: {remedy}");
        let plain = only(&majors(&clamp("CLS", "", "", 118), force, cut), rule);
        assert!(!plain.starts_with("Add"), "{rule}: {plain}");
    }
}

fn of_rule(found: &[(String, String)], rule: &str) -> String {
    found
        .iter()
        .find(|(code, _)| code == rule)
        .map_or_else(|| panic!("{rule}: {found:?}"), |(_, remedy)| remedy.clone())
}

/// Charged to 160 bar, warm oil comes to 206.6 bar: a clamp rated for 180 bar bears the charge and not the warmth. What
/// bears both has nothing to be said of.
#[test]
fn what_a_new_part_does_not_bear_is_said() {
    let rated = |name: &str, rating: &str| clamp(name, "", "", 118).replace(",250,25,", &format!(",{rating},25,"));
    let found = majors(&(rated("CLS", "150") + &rated("CLT", "180")), "", ",");
    let remedy = of_rule(&found, "P05");
    assert!(remedy.starts_with("Replace CLS by CLT at position C1"), "{remedy}");
    assert!(remedy.contains(" H01 stays by the rating of CLT: 206"), "{remedy}");
    assert!(remedy.contains(" bar against 180 bar."), "{remedy}");
    let found = majors(&(rated("CLS", "150") + &rated("CLT", "220")), "", ",");
    let remedy = of_rule(&found, "P05");
    assert!(remedy.starts_with("Replace CLS by CLT at position C1") && !remedy.contains("H01"), "{remedy}");
}

/// Four clamps of 980 mm² take 39.2 cm³ of the 40 over 10 mm, more than 0.9 of it: gas to hold them takes still more.
#[test]
fn what_a_change_makes_worse_is_said() {
    let large = clamp("CLS", "", "", 118).replace(",314,", ",980,") + ACCUMULATOR;
    let remedy = of_rule(&majors(&large, "14000", ","), "F01");
    assert!(remedy.starts_with("Add ACC with precharge"), "{remedy}");
    let told = remedy.split(" V01 gets worse by it: ").nth(1).unwrap_or_else(|| panic!("{remedy}"));
    let numbers: Vec<f64> =
        told.split(" against 0.9, before ").map(|text| text.trim_end_matches('.').parse().unwrap()).collect();
    assert!(numbers[0] > numbers[1] && numbers[1] > 0.98, "{told}");
}

/// A relief valve set above what the clamps bear opens too late for warm oil too: its setting costs nothing.
#[test]
fn warm_oil_is_answered_by_the_relief_valve_that_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    let header = small::PARTS.lines().next().unwrap();
    let strong = small::PARTS.lines().find(|row| row.starts_with("CL20,")).unwrap();
    let weak = small::PARTS.replace("CL20,clamp,230,", "CL20,clamp,190,");
    let parts = weak.replace(header, &format!("{header},set_pressure,unit_price"));
    let strong = strong.replace("CL20,", "CL30,") + ",,5\n";
    let valve = "RV,relief_valve,350,,,0,,,,,,,,,,0.1,,220,\n";
    let list = format!("{}A,f,1,R,RV,1,,,,\n", small::LIST);
    let wide: Vec<String> =
        parts.lines().map(|row| if row.starts_with("part_no") { row.to_owned() } else { format!("{row},,") }).collect();
    let wide = format!("{}\n{strong}{valve}", wide.join("\n"));
    // The pump may not be set lower for it.
    let policy = format!("{}[limits]\npressure_tolerance = 0.01\n", small::POLICY);
    small::write(&plant, &[("components.csv", &wide), ("lists/l.csv", &list), ("policy.toml", &policy)]);
    run(&plant, &data);
    let findings = fs::read_to_string(data.join("findings.csv")).unwrap();
    let told = |rule: &str| findings.lines().find(|row| row.starts_with(rule)).unwrap_or_else(|| panic!("{findings}"));
    for rule in ["P10,major", "H01,major"] {
        assert!(told(rule).contains("Set RV at position R to "), "{}", told(rule));
    }
}

/// A part of which nothing is known is no remedy for what is known of another.
#[test]
fn a_blank_clears_nothing() {
    let cheap = |seal: &str, force_max: &str| clamp("CLX", force_max, seal, 5);
    let poor_seal = clamp("CLS", "", "EPDM", 118);
    let remedy = only(&majors(&(poor_seal.clone() + &cheap("", "")), "", ","), "M07");
    assert!(!remedy.starts_with("Replace"), "{remedy}");
    let remedy = only(&majors(&(poor_seal + &cheap("NBR", "")), "", ","), "M07");
    assert!(remedy.starts_with("Replace CLS by CLX"), "{remedy}");
    let weak = clamp("CLS", "6000", "", 118);
    let remedy = only(&majors(&(weak.clone() + &cheap("", "")), "", ","), "F02");
    assert!(!remedy.starts_with("Replace"), "{remedy}");
    let remedy = only(&majors(&(weak + &cheap("", "7000")), "", ","), "F02");
    assert!(remedy.starts_with("Replace CLS by CLX"), "{remedy}");
}
