//! One small circuit, its figures worked out by hand beside each test.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/run.rs"]
mod run;

use std::fs;

use run::{Row, check, rows};

const LIST: &str = "fixture,circuit,position,part_no,qty,force_required\n\
    F,1,a,CLAMP,1,\n\
    F,1,b,RAM-100,1,\n\
    F,1,c,CHECK,1,\n\
    F,1,d,RELEASE,1,\n\
    F,1,e,POINT,1,\n";

const PARTS: &str = "part_no,kind,rated_pressure,area_clamp,stroke,capacity,pressure_ratio,leak\n\
    CLAMP,clamp,400,1000,20,,,\n\
    RAM-100,charging_cylinder,400,,,100,0.5,\n\
    RAM-22,charging_cylinder,400,,,22,0.5,\n\
    CHECK,check_valve,400,,,,,0\n\
    RELEASE,isolation_valve,400,,,,,0\n\
    POINT,test_point,400,,,,,\n\
    PUMP,pump,300,,,,,\n\
    DRIVE,drive_ram,400,,,,,\n";

const STATIONS: &str = "station,pump,drive_ram,pump_setting\nS,PUMP,DRIVE,300\n";
const CIRCUITS: &str = "fixture,circuit,station\nF,1,S\n";

/// The circuit's row and the findings of a plant of these tables.
fn audited(tables: &[(&str, &str)]) -> (Row, Vec<Row>) {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    fs::create_dir_all(plant.join("lists")).unwrap();
    let basis = [("lists/F", LIST), ("components", PARTS), ("stations", STATIONS), ("circuits", CIRCUITS)];
    for (name, text) in basis.iter().chain(tables) {
        fs::write(plant.join(format!("{name}.csv")), text).unwrap();
    }
    fs::write(plant.join("policy.toml"), "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n").unwrap();
    check(&plant, &data, &[]);
    (rows(&data.join("circuits.csv")).remove(0), rows(&data.join("findings.csv")))
}

fn is_near(cell: &str, value: f64) {
    assert!((cell.parse::<f64>().unwrap() - value).abs() < 1e-9, "{cell} is not {value}");
}

/// 300 bar x 0.5 - 0 = 150 bar whatever the pump is set to; the check valve bears 140 bar.
#[test]
fn the_potential_pressure_asks_for_no_pump_setting() {
    let unreadable = STATIONS.replace(",300", ",?");
    let weak = PARTS.replace("CHECK,check_valve,400", "CHECK,check_valve,140");
    let (circuit, findings) = audited(&[("stations", &unreadable), ("components", &weak)]);
    assert_eq!(circuit["clamp_charge_bar"], "");
    is_near(&circuit["clamp_potential_bar"], 150.0);
    let found = findings.iter().find(|finding| finding["rule"] == "P13").unwrap();
    is_near(&found["measured"], 150.0);
    is_near(&found["limit"], 140.0);
    assert!(!circuit["not_assessed"].contains("P13"), "{circuit:?}");
}

/// The clamp's leak is blank: a force that suffices is not assessed. Pumped to 150 bar the oil warms by
/// 7e-4/K x 293.15 K x 150e5 Pa / (870 kg/m³ x 1900 J/(kg K)) = 1.862 K, and settling takes 17 500 bar x 7e-4/K x
/// 1.862 K = 22.8 bar: 1000 mm² x 127.2 bar = 12 720 N.
/// To need 0 N is to need nothing.
#[test]
fn a_required_force_of_0_is_a_blank() {
    let verdict = |force: &str| {
        let list = LIST.replace("CLAMP,1,", &format!("CLAMP,1,{force}"));
        let (circuit, _) = audited(&[("lists/F", &list)]);
        (circuit["verdict"].clone(), circuit["not_assessed"].clone())
    };
    let conforms = ("conforms".to_owned(), String::new());
    assert_eq!(verdict(""), conforms);
    assert_eq!(verdict("0"), conforms);
    assert_eq!(verdict("12000"), ("not assessed".to_owned(), "F01".to_owned()));
}

/// Swept 20 cm³. With 100 cm³ of capacity the demand is 20 + 0.995 + 0.497 = 21.49 cm³, a fill of
/// 0.215; with 22 cm³ it is 20 + 0.219 + 0.109 = 20.33 cm³, a fill of 0.924 above the limit of 0.9.
/// With 40 cm³ it is 20 + 0.398 + 0.199 = 20.60 cm³, a fill of 0.515.
#[test]
fn a_cylinder_that_only_a_waiver_allows_is_not_offered() {
    let fitting = format!("{PARTS}RAM-40,charging_cylinder,400,,,40,0.5,\n");
    let waiver = ("waivers", "rule,reason,approved_by,expires\nV01,old pump,Q. Hallet,2027-01-01\n");
    let offered = |tables: &[(&str, &str)]| {
        let (circuit, findings) = audited(tables);
        assert!((circuit["clamp_fill"].parse::<f64>().unwrap() - 0.2149).abs() < 1e-4, "{circuit:?}");
        findings.into_iter().find(|finding| finding["rule"] == "V03").map(|finding| finding["remedy"].clone())
    };
    assert_eq!(offered(&[]), None);
    assert_eq!(offered(&[waiver]), None);
    for tables in [&[("components", fitting.as_str())][..], &[("components", &fitting), waiver]] {
        let remedy = offered(tables).unwrap();
        assert!(remedy.contains("RAM-40"), "{remedy}");
    }
}

/// 9.03 cm² are 903 mm², though the two products of powers of ten differ in their last bit.
#[test]
fn the_same_size_in_another_unit_is_the_same_data() {
    let twice = |cell: &str| {
        let parts = PARTS.replace("CLAMP,clamp,400,1000", "CLAMP,clamp,400,903");
        let (_, findings) = audited(&[("components", &format!("{parts}CLAMP,clamp,400,{cell},20,,,\n"))]);
        findings.iter().filter(|finding| finding["rule"] == "L11").count()
    };
    assert_eq!(twice("9.03 cm2"), 0);
    assert_eq!(twice("9.04 cm2"), 1);
}

/// Behind the reducing valve stand 100 bar of the 150 bar that are wanted: no pump setting lifts them, the valve's does.
#[test]
fn a_reducing_valve_that_holds_the_pressure_down_is_set_higher() {
    let list = format!("{LIST}F,1,f,LESS,1,\n");
    let parts = PARTS
        .replace("leak\n", "leak,set_pressure,includes\n")
        .replace("POINT,", "LESS,reducing_valve,400,,,,,0,100,check_valve\nPOINT,");
    let parts: Vec<String> = parts
        .lines()
        .map(|row| {
            let lacking = 9 - row.matches(',').count();
            format!("{row}{}\n", ",".repeat(lacking))
        })
        .collect();
    let circuits = "fixture,circuit,station,pressure_set\nF,1,S,150\n";
    let (circuit, findings) = audited(&[("lists/F", &list), ("components", &parts.concat()), ("circuits", circuits)]);
    is_near(&circuit["clamp_charge_bar"], 100.0);
    let found = findings.iter().find(|finding| finding["rule"] == "P03").unwrap();
    assert!(!found["reason"].contains("pump setting needed"), "{}", found["reason"]);
    assert!(found["remedy"].contains("150 bar") && found["remedy"].contains("LESS"), "{}", found["remedy"]);
}

/// The clamp is rated for 140 bar and sees 150: with the rule switched off the circuit conforms, and the answer says on what it doesn't rest.
#[test]
fn a_rule_that_is_switched_off_is_named_beside_the_verdict() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    fs::create_dir_all(plant.join("lists")).unwrap();
    let weak = PARTS.replace("CLAMP,clamp,400", "CLAMP,clamp,140");
    for (name, text) in [("lists/F", LIST), ("components", &weak), ("stations", STATIONS), ("circuits", CIRCUITS)] {
        fs::write(plant.join(format!("{name}.csv")), text).unwrap();
    }
    let policy = "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n";
    let verdict = |more: &str| {
        fs::write(plant.join("policy.toml"), format!("{policy}{more}")).unwrap();
        let (_, said) = check(&plant, &data, &[]);
        (rows(&data.join("circuits.csv")).remove(0)["verdict"].clone(), said.replace('\n', " "))
    };
    let (strict, said) = verdict("");
    assert_eq!(strict, "does not conform");
    assert!(!said.contains("The policy switches off"), "{said}");
    // Data that the policy takes out of what it asks for are named, too.
    assert!(said.contains("It is blank on 1 circuit; first F/1."), "{said}");
    let (relaxed, said) = verdict("[rules]\nP05 = \"off\"\nP13 = \"observation\"\n");
    assert_eq!(relaxed, "conforms");
    let sentence = "The policy switches off P05 and counts P13 as an observation only: no verdict here rests on them.";
    assert!(said.contains(sentence), "{said}");
    let summary: serde_json::Value = serde_json::from_slice(&fs::read(data.join("summary.json")).unwrap()).unwrap();
    assert_eq!((&summary["rules_off"][0], &summary["rules_observed"][0]), (&"P05".into(), &"P13".into()));
}

/// What has no kind, or one that is no word of it, may be a clamp: it counts on both sides of a double-acting
/// circuit, so that no volume and no weakest rating of either side is known, as with a part that is not in the table.
#[test]
fn a_part_without_a_kind_may_be_anything_on_either_side() {
    let parts = |kind: &str| {
        format!(
            "part_no,kind,rated_pressure,area_clamp,area_unclamp,stroke,capacity,pressure_ratio,leak\n\
             CLAMP,clamp,400,1000,600,20,,,0\nODD,{kind},90,1000,600,20,,,0\nRAM,charging_cylinder,400,,,,100,0.5,0\n\
             CHECK,check_valve,400,,,,,,0\nRELEASE,isolation_valve,400,,,,,,0\nPOINT,test_point,400,,,,,,0\n\
             PUMP,pump,300,,,,,,\nDRIVE,drive_ram,400,,,,,,\n"
        )
    };
    let list = "fixture,circuit,position,part_no,qty,side\nF,1,a,CLAMP,1,\nF,1,b,ODD,1,clamp\nF,1,c,RAM,1,clamp\n\
        F,1,d,RAM,1,unclamp\nF,1,e,CHECK,1,both\nF,1,f,RELEASE,1,both\nF,1,g,POINT,1,both\n";
    let circuits = "fixture,circuit,station,acting\nF,1,S,double\n";
    let of = |kind: &str| audited(&[("components", &parts(kind)), ("lists/F", list), ("circuits", circuits)]).0;
    // By hand: 2 clamps of 1,000 mm2 and 600 mm2 x 20 mm; ODD is rated for 90 bar and a clamp counts on both sides.
    let clamp = of("clamp");
    is_near(&clamp["clamp_swept_cm3"], 40.0);
    is_near(&clamp["unclamp_swept_cm3"], 24.0);
    is_near(&clamp["unclamp_weakest_bar"], 90.0);
    for kind in ["", "klamp"] {
        let odd = of(kind);
        assert_eq!(odd["verdict"], "does not conform");
        for figure in ["swept_cm3", "demand_cm3", "fill", "reserve_cm3"] {
            for side in ["clamp", "unclamp"] {
                assert_eq!(odd[&*format!("{side}_{figure}")], "", "{kind:?}: {side}_{figure}");
            }
        }
        assert_eq!((odd["unclamp_weakest_bar"].as_str(), odd["clamp_weakest_bar"].as_str()), ("", ""), "{kind:?}");
        for rule in ["V01", "P13"] {
            assert!(odd["not_assessed"].split(' ').any(|code| code == rule), "{kind:?}: {}", odd["not_assessed"]);
        }
    }
}

/// A list of a header alone audits nothing, and what is beside it under an ending that isn't a table's may be a list.
#[test]
fn nothing_that_was_read_is_nothing_that_passed() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("lists/F.csv"), "fixture,part_no,qty\n").unwrap();
    fs::write(plant.join("components.csv"), PARTS).unwrap();
    fs::write(plant.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
    let (status, said) = check(&plant, &data, &[]);
    assert_eq!(status, 1);
    assert!(said.starts_with("The lists name no circuit, so that none was checked.\n"), "{said}");
    fs::write(plant.join("lists/G.csv.bak"), LIST).unwrap();
    fs::write(plant.join("lists/~$F.xlsx"), "").unwrap();
    let said = check(&plant, &data, &[]).1;
    let sentence = "Not read, though it may hold a part of the plant: lists/F.csv (a list without a line), lists/G.csv.bak. Sources says why.";
    assert!(said.lines().any(|line| line == sentence), "{said}");
}

/// Without a circuits table each rule names the first datum that the policy asks for once, and the pressure's cause once.
#[test]
fn what_would_settle_most_is_named_once_and_where_it_belongs() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("lists/F.csv"), LIST).unwrap();
    fs::write(plant.join("components.csv"), PARTS).unwrap();
    fs::write(plant.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
    let said = check(&plant, &data, &["--all"]).1;
    let missing: Vec<&str> = said.lines().skip_while(|line| !line.starts_with("Not assessed")).skip(1).collect();
    for column in ["hold_time", "pressure_min", "temp_max"] {
        let named = format!("  1 circuit, F/1: a circuits table with a row for the circuit, {column}");
        assert_eq!(missing.iter().filter(|line| line.starts_with(&named)).count(), 1, "{missing:#?}");
    }
    assert_eq!(
        missing.iter().filter(|line| line.contains("no load station and no pressure_set")).count(),
        1,
        "{missing:#?}"
    );
    assert!(missing.iter().all(|line| !line.contains("row 0")), "{missing:#?}");
}

/// A circuit that stays connected has neither a coupling nor a check valve: the remedy must not send anybody looking for them.
#[test]
fn a_filter_is_not_asked_for_between_valves_that_are_not_there() {
    let list = "fixture,circuit,position,part_no,qty,force_required\nF,1,a,CLAMP,1,\nF,1,e,POINT,1,\n";
    let circuits = "fixture,circuit,station,charging\nF,1,S,live\n";
    let (_, findings) = audited(&[("lists/F", list), ("circuits", circuits)]);
    let found = findings.iter().find(|finding| finding["rule"] == "M10").unwrap();
    assert!(found["remedy"].starts_with("Fit a filter where the oil comes in, behind the coupling"), "{found:?}");
    assert!(found["remedy"].contains("where there are such"), "{found:?}");
    assert!(!found["reason"].contains("coupling"), "{found:?}");
}

/// 5 days after 2026-03-02 the waiver expires; a hose fitted on 2021-01-01 with a life of 1825 days is 1886 days old. What is
/// counted in days says so, as what is measured in bar does.
#[test]
fn days_have_a_unit_as_other_quantities_do() {
    let parts: String = PARTS
        .lines()
        .map(|line| match line.split(',').next() {
            Some("part_no") => format!("{line},service_life,inner_diameter\n"),
            _ => format!("{line},,\n"),
        })
        .chain(["HOSE,hose,400,,,,,,1825,4\n".to_owned()])
        .collect();
    let list: String = LIST
        .lines()
        .enumerate()
        .map(|(row, line)| format!("{line},{}\n", if row == 0 { "length,fitted_on" } else { "," }))
        .chain(["F,1,h,HOSE,1,,300,2021-01-01\n".to_owned()])
        .collect();
    let waivers = "fixture,circuit,rule,reason,approved_by,expires\nF,1,U01,changed soon,A. Example,2026-03-07\n";
    let (_, findings) = audited(&[("lists/F", &list), ("components", &parts), ("waivers", waivers)]);
    for (rule, measured, limit) in [("W02", "5", "30"), ("U01", "1886", "1825")] {
        let found = findings.iter().find(|finding| finding["rule"] == rule).unwrap();
        let cells = ["measured", "limit", "unit"].map(|name| found[name].as_str());
        assert_eq!(cells, [measured, limit, "d"], "{found:?}");
    }
}
