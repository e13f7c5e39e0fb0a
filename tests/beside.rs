//! Plants that conform by what nobody looked at: either they don't, or what no verdict rests on stands beside it.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/run.rs"]
mod run;
#[path = "plants/small.rs"]
mod small;

use std::fs;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use run::{Row, check, rows};
use serde_json::Value;
use small::{CIRCUITS, LIST, PARTS, POLICY, STATIONS, write};

const BLANKS: &str = "Blank ";

/// What a run of the plant with some files written otherwise gives.
struct Ran {
    status: u8,
    /// On one line.
    said: String,
    circuits: Vec<Row>,
    findings: Vec<Row>,
    input: Vec<Row>,
    summary: Value,
    /// The text of Summary.
    sheet: String,
}

impl Ran {
    /// The sentences beside the verdict, which stand on the terminal and on Summary, too.
    fn beside(&self) -> Vec<String> {
        let said: Vec<String> = self.summary["beside"]
            .as_array()
            .into_iter()
            .flatten()
            .map(|one| one.as_str().unwrap().to_owned())
            .collect();
        for sentence in &said {
            assert!(self.said.contains(sentence.as_str()), "{sentence}: {}", self.said);
            assert!(self.sheet.contains(sentence.as_str()), "{sentence}: {}", self.sheet);
        }
        said.into_iter().filter(|sentence| !sentence.starts_with(BLANKS)).collect()
    }

    /// The sentence on blank data that count as nothing, which stands beside nearly every verdict.
    fn blanks(&self) -> &str {
        let mut all = self.summary["beside"].as_array().into_iter().flatten().filter_map(Value::as_str);
        all.find(|one| one.starts_with(BLANKS)).unwrap_or_default()
    }

    fn verdict(&self, row: usize) -> &str {
        &self.circuits[row]["verdict"]
    }
}

fn run(files: &[(&str, &str)]) -> Ran {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data, out) = (folder.path().join("plant"), folder.path().join("data"), folder.path().join("out.xlsx"));
    write(&plant, files);
    let (status, said) = check(&plant, &data, &["--out", out.to_str().unwrap(), "--all"]);
    let mut workbook: Xlsx<_> = open_workbook(&out).unwrap();
    let range = workbook.worksheet_range("Summary").unwrap();
    let texts =
        range.cells().filter_map(
            |(_, column, cell)| if let (0, Data::String(text)) = (column, cell) { Some(text.as_str()) } else { None },
        );
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    Ran {
        status,
        said: flat(&said),
        circuits: rows(&data.join("circuits.csv")),
        findings: rows(&data.join("findings.csv")),
        input: rows(&data.join("input.csv")),
        summary: serde_json::from_str(&fs::read_to_string(data.join("summary.json")).unwrap()).unwrap(),
        sheet: flat(&texts.collect::<Vec<_>>().join(" ")),
    }
}

#[test]
fn the_plant_itself_conforms_and_nothing_stands_beside() {
    let ran = run(&[]);
    assert_eq!((ran.status, ran.verdict(0)), (0, "conforms"), "{}", ran.said);
    assert_eq!(ran.beside(), Vec::<String>::new());
}

/// Nothing asks for what `[asked]` leaves out: the circuit conforms, whatever cold or an hour do to it.
#[test]
fn data_that_the_policy_no_longer_asks_for_stand_beside() {
    // Without a leak there is nothing that an hour does.
    let blank = CIRCUITS.replace("85,21,18,25,480", ",21,,,");
    let tight = PARTS.replace("3.333e-05", "0").replace("6.67e-06", "0").replace("1e-05", "0");
    let lines = LIST.replace("C1,CL20,4,3000", "C1,CL20,4,");
    let asked_for = run(&[("circuits.csv", &blank), ("components.csv", &tight), ("lists/l.csv", &lines)]);
    assert_eq!((asked_for.status, asked_for.verdict(0)), (1, "not assessed"), "{}", asked_for.said);
    let policy = format!("{POLICY}[asked]\nuncoupled = []\n");
    let files = [("circuits.csv", blank.as_str()), ("components.csv", &tight), ("lists/l.csv", &lines)];
    let ran = run(&[files.as_slice(), &[("policy.toml", policy.as_str())]].concat());
    assert_eq!((ran.status, ran.verdict(0)), (0, "conforms"), "{}", ran.said);
    let [said] = &ran.beside()[..] else { panic!("{}", ran.said) };
    assert!(said.starts_with("The policy does not ask for pressure_min, hold_time, temp_min, temp_max of"), "{said}");
    assert!(said.ends_with("It is blank on 1 circuit; first A/f/1."), "{said}");
    let stated = run(&[("policy.toml", &policy)]);
    assert!(stated.beside()[0].ends_with("It is blank on none."), "{}", stated.said);
}

/// Figures of a part of another kind are not those of a pump or a ram: 326 bar x 625/1250 - 3 bar = 160 bar is told of neither.
#[test]
fn a_station_has_a_pump_and_a_drive_ram_or_no_pressure() {
    for (pump, ram, lacking) in [("BO", "OT", "P04"), ("CV", "BO", "P04"), ("OT", "CV", "P02"), ("OT", "OT", "P02")] {
        let ran = run(&[("stations.csv", &STATIONS.replace("OT,BO", &format!("{pump},{ram}")))]);
        assert_eq!((ran.status, ran.verdict(0)), (1, "not assessed"), "{pump} {ram}: {}", ran.said);
        assert_eq!(ran.circuits[0]["clamp_charge_bar"], "", "{pump} {ram}");
        assert!(ran.circuits[0]["not_assessed"].contains(lacking), "{pump} {ram}: {}", ran.circuits[0]["not_assessed"]);
        assert!(ran.said.contains("stations.csv"), "the cell that settles it: {}", ran.said);
    }
    let without_kind = run(&[("components.csv", &PARTS.replace("OT,pump", "OT,"))]);
    assert_eq!(without_kind.status, 1, "{}", without_kind.said);
    assert_eq!(without_kind.circuits[0]["clamp_charge_bar"], "");
    // Built into another part it is one.
    let unit = PARTS.replace("OT,pump,345,,,,,,400,,,,,,,,", "OT,manifold,345,,,,,,400,,,,,,pump,,");
    let ran = run(&[("components.csv", &unit)]);
    assert_eq!((ran.status, ran.circuits[0]["clamp_charge_bar"].as_str()), (0, "160"), "{}", ran.said);
}

#[test]
fn a_circuit_without_lines_never_conforms() {
    let circuits = format!("{CIRCUITS}A,f,2,S1,160,85,21,18,25,480\n");
    let off = format!("{POLICY}[rules]\nL08 = \"off\"\n");
    let seen = format!("{POLICY}[rules]\nL08 = \"observation\"\n");
    let waiver = "pallet,fixture,circuit,rule,reason,approved_by,expires\nA,f,2,L08,later,me,2027-01-01\n";
    for files in [("policy.toml", off.as_str()), ("policy.toml", &seen), ("waivers.csv", waiver)] {
        let ran = run(&[("circuits.csv", &circuits), files]);
        assert_eq!((ran.status, ran.verdict(0), ran.verdict(1)), (1, "conforms", "not assessed"), "{}", ran.said);
        assert_eq!(ran.circuits[1]["not_assessed"], "V01 P05");
    }
    let ran = run(&[("circuits.csv", &circuits)]);
    assert_eq!((ran.verdict(1), ran.circuits[1]["not_assessed"].as_str()), ("does not conform", ""));
    for letter in ["V", "P", "H"] {
        let family = &ran.summary["coverage"][letter];
        assert_eq!((&family["asked"], &family["assessed"]), (&2.into(), &1.into()), "{letter}");
    }
}

#[test]
fn cells_that_a_kind_does_not_use_are_told() {
    let fitting = LIST.replace("C1,CL20,4,3000,", "C1,CL20,4,3000,,,\nA,f,1,F,FT,1,9000,");
    let ran = run(&[("lists/l.csv", &fitting)]);
    assert_eq!(ran.verdict(0), "conforms");
    let beside = ran.beside();
    assert_eq!(beside.len(), 1, "{beside:?}");
    assert!(beside[0].contains("first force_required of fitting FT at position F on A"), "{beside:?}");
    assert_eq!(
        (&ran.summary["coverage"]["F"]["asked"], &ran.summary["coverage"]["F"]["assessed"]),
        (&1.into(), &0.into())
    );
    let told = |ran: &Ran, column: &str, row: &str| {
        let is_told = |note: &&Row| note["header"] == column && note["row"] == row;
        assert!(
            ran.input.iter().any(|note| is_told(&note) && note["what"].contains("suspected")),
            "{column}: {:?}",
            ran.input
        );
    };
    told(&ran, "force_required", "7");
    let shifted = run(&[("lists/l.csv", &LIST.replace("CL20,4,3000,,", "CL20,4,,9000,"))]);
    told(&shifted, "length", "6");
    assert_eq!(shifted.beside().len(), 1);
    let under = run(&[("lists/l.csv", &LIST.replace("CL20,4,3000,,,", "CL20,4,3000,,,C1"))]);
    told(&under, "supports", "6");
    assert_eq!(under.summary["coverage"]["F"]["assessed"], 0);
}

/// A check valve has no setting, a relief valve has.
#[test]
fn settings_of_parts_that_have_none_are_told() {
    let parts = |of: &str| -> String {
        let cell = |line: &str| match line.split(',').next() {
            Some("part_no") => "set_pressure",
            Some(number) if number == of => "250",
            _ => "",
        };
        PARTS
            .lines()
            .map(|line| format!("{line},{}\n", cell(line)))
            .chain(["RE,relief_valve,350,,,0,,,,,,,,,,0.2,,240\n".to_owned()])
            .collect()
    };
    let told = |of: &str| -> Vec<String> {
        let ran = run(&[("components.csv", &parts(of))]);
        assert_eq!(ran.verdict(0), "conforms");
        ran.input.iter().map(|note| format!("{} {} {}", note["header"], note["found"], note["message"])).collect()
    };
    assert_eq!(told(""), Vec::<String>::new());
    let [note] = &told("CV")[..] else { panic!("{:?}", told("CV")) };
    assert!(note.starts_with("set_pressure CV A check valve has no use for set_pressure"), "{note}");
}

#[test]
fn what_is_listed_where_nothing_holds_is_told() {
    let charge = LIST.replace("CV,CV,1,,,", "CV,CV,1,,,charge").replace("CL20,4,3000,,", "CL20,4,3000,,charge");
    let beside = run(&[("lists/l.csv", &charge)]).beside();
    assert_eq!(beside.len(), 1, "{beside:?}");
    assert!(beside[0].starts_with("2 lines stand") && beside[0].contains("charge"), "{beside:?}");
    assert!(beside[0].contains("first check valve CV at position CV on A"), "{beside:?}");
    // While it stays connected the zone is under pressure.
    let live = CIRCUITS.replace("hold_time\n", "hold_time,charging\n").replace("480\n", "480,live\n");
    assert!(run(&[("lists/l.csv", &charge), ("circuits.csv", &live)]).beside().is_empty());
    let bare: String = LIST.lines().filter(|line| !line.contains("CL20")).map(|line| format!("{line}\n")).collect();
    let beside = run(&[("lists/l.csv", &bare)]).beside();
    assert!(beside.len() == 1 && beside[0].starts_with("1 circuit lists no clamp"), "{beside:?}");
}

#[test]
fn limits_and_fluids_by_which_nothing_is_found_are_told() {
    let policy = format!(
        "{POLICY}[limits]\nsupport_factor = 0\ncutting_factor = 0\npressure_tolerance = 1\n[fluids.default]\nthermal_expansion = 7e-6\n\
         [fluids.unused]\nthermal_expansion = 0\nbulk_modulus_high = 2e9\n"
    );
    let ran = run(&[("policy.toml", &policy)]);
    let beside = ran.beside();
    assert_eq!(beside.len(), 2, "{beside:?}");
    for named in ["support_factor = 0 (F03)", "cutting_factor = 0 (F04)", "pressure_tolerance = 1 (P03, P11)"] {
        assert!(beside[0].contains(named), "{named}: {beside:?}");
    }
    assert!(beside[1].contains("the fluid default (thermal_expansion = 0.000007 1/K)"), "{beside:?}");
    assert!(!beside[1].contains("unused"), "{beside:?}");
}

#[test]
fn a_charging_cylinder_that_is_built_in_is_not_said_to_be_there() {
    let list: String = LIST.lines().filter(|line| !line.contains("CC96")).map(|line| format!("{line}\n")).collect();
    let parts = PARTS.replace(
        "IV,isolation_valve,350,,,1e-05,,,,,,,,,,0.6,",
        "IV,isolation_valve,350,,,1e-05,,,,,,,,,charging_cylinder,0.6,",
    );
    let ran = run(&[("lists/l.csv", &list), ("components.csv", &parts)]);
    let found = ran.findings.iter().find(|finding| finding["rule"] == "M01").unwrap();
    let reason = &found["reason"];
    assert!(reason.contains("built into another part does not count") && !reason.contains("What is there"), "{reason}");
}

/// The component table with another kind of row, of as many cells.
fn with_part(number: &str, row: &str) -> String {
    let is_other = |line: &&str| !line.starts_with(&format!("{number},"));
    PARTS.lines().filter(is_other).chain([row]).map(|line| format!("{line}\n")).collect()
}

fn without(text: &str, start: &str) -> String {
    text.lines().filter(|line| !line.starts_with(start)).map(|line| format!("{line}\n")).collect()
}

/// Fails unless the plant conforms and one sentence alone stands beside that.
fn assert_beside(files: &[(&str, &str)], expected: &[&str]) {
    let ran = run(files);
    assert_eq!((ran.status, ran.verdict(0)), (0, "conforms"), "{}", ran.said);
    let beside = ran.beside();
    assert_eq!(beside.len(), 1, "{expected:?}: {beside:?}");
    for part in expected {
        assert!(beside[0].contains(part), "{part}: {beside:?}");
    }
}

/// The valve's check valve opens from the clamps to the source.
#[test]
fn a_check_valve_round_another_valve_is_told() {
    let list = without(LIST, "A,f,1,CV,");
    for kind in ["flow_control", "filter"] {
        let bypass = with_part(
            "IV",
            &format!("IV,isolation_valve,350,,,1e-05,,,,,,,,,,0.6,\nFC,{kind},350,,,0,,,,,,,,,check_valve,0.5,"),
        );
        let list = list.replace("A,f,1,G,", "A,f,1,FC,FC,1,,,full,\nA,f,1,G,");
        let files = [("lists/l.csv", list.as_str()), ("components.csv", &bypass)];
        if kind == "flow_control" {
            assert_beside(&files, &["1 circuit has no check valve but one built into", "first A/f/1"]);
        } else {
            assert_eq!(run(&files).beside(), Vec::<String>::new(), "a check valve in the line");
        }
    }
}

#[test]
fn what_is_built_in_ahead_of_the_check_valve_is_told() {
    let parts = with_part("CC96", "CC96,charging_cylinder,250,,,,,,120,1250,3,0.5,,,gauge,2,");
    let list = without(LIST, "A,f,1,G,");
    let files = [("lists/l.csv", list.as_str()), ("components.csv", &parts)];
    assert_beside(
        &files,
        &[
            "1 line has a check valve, isolation valve, gauge or test point built in",
            "first CC96 at position CC on A/f/1",
        ],
    );
}

#[test]
fn a_built_in_valve_whose_pressure_acts_on_nothing_is_told() {
    let parts = with_part("IV", "IV,isolation_valve,350,,,1e-05,,,,,,,,,relief_valve,0.6,");
    assert_beside(
        &[("components.csv", &parts)],
        &["1 line has a relief, reducing or sequence valve built in", "first IV at position IV"],
    );
}

#[test]
fn a_circuit_without_a_station_is_told() {
    let circuits = CIRCUITS.replace("A,f,1,S1,", "A,f,1,,");
    assert_beside(&[("circuits.csv", &circuits)], &["1 cylinder circuit without a load station", "first A/f/1"]);
}

#[test]
fn a_top_up_that_nothing_makes_due_is_told() {
    let circuits = CIRCUITS.replace("hold_time\n", "hold_time,topped_up\n").replace("480\n", "480,2001-01-01\n");
    assert_beside(&[("circuits.csv", &circuits)], &["no cycles_per_day", "first A/f/1"]);
}

/// 130 bar asked by the second row, 85 by the first; a second row that says the same is nothing to tell.
#[test]
fn a_second_row_of_a_circuit_or_station_is_told() {
    let row = "A,f,1,S1,160,85,21,18,25,480\n";
    let circuits = format!("{CIRCUITS}{}", row.replace(",85,", ",130,"));
    assert_beside(&[("circuits.csv", &circuits)], &["the first counts", "circuits.csv row 3 is not looked at"]);
    assert_eq!(run(&[("circuits.csv", &format!("{CIRCUITS}{row}"))]).beside(), Vec::<String>::new());
    let stations = format!("{STATIONS}S1,OT,BO,340\n");
    assert_beside(&[("stations.csv", &stations)], &["stations.csv row 3 is not looked at"]);
}

#[test]
fn a_date_of_the_policy_is_told_where_waivers_hang_on_it() {
    let waiver = "rule,reason,approved_by,expires\nT01,later,me,2021-01-01\n";
    let old = "date = \"2020-01-01\"\n";
    let said = ["The audit is of 2020-01-01, the date in the policy", "the first waiver expires on 2021-01-01."];
    assert_beside(&[("waivers.csv", waiver), ("policy.toml", old)], &said);
}

#[test]
fn limits_that_disarm_a_rule_and_numbers_of_no_oil_are_told() {
    for (limit, codes) in [
        ("fill = 1", "V01"),
        ("gauge_low = 0", "P12"),
        ("gauge_high = 1", "P12"),
        ("design_factor = 1", "P08"),
        ("sequence_high = 1", "P09"),
        ("precharge_low = 0", "H04"),
        ("precharge_high = 1", "H04"),
        ("contacts = 100", "F04"),
        ("cutting_factor = 1", "F04"),
    ] {
        let policy = format!("{POLICY}[limits]\n{limit}\n");
        assert_beside(&[("policy.toml", &policy)], &[&format!("{limit} ({codes})")]);
    }
    for (section, number) in [
        ("metal", "linear_expansion = 0.00024"),
        ("fluids.default", "leak_viscosity = 0.1"),
        ("fluids.default", "specific_heat = 10000"),
        ("fluids.default", "density = 5000"),
        ("fluids.default", "free_air_low = 0.5"),
    ] {
        let policy = format!("{POLICY}[{section}]\n{number}\n");
        let beside = run(&[("policy.toml", &policy)]).beside();
        assert!(
            beside.iter().any(|said| said.contains("no usual metal or oil has") && said.contains(number)),
            "{number}: {beside:?}"
        );
    }
}

#[test]
fn friction_of_nothing_is_friction_not_stated() {
    for friction in ["", "0"] {
        let circuits = CIRCUITS.replace("hold_time\n", "hold_time,cutting_force,friction\n");
        let circuits = circuits.replace("480\n", &format!("480,99999,{friction}\n"));
        let ran = run(&[("circuits.csv", &circuits)]);
        let is_told = |note: &Row| note["what"].contains("suspected") && note["header"] == "cutting_force";
        assert!(ran.input.iter().any(is_told), "'{friction}': {:?}", ran.input);
    }
}

/// Behind the reducing valve a relief valve guards what is there alone; without it the pump could bring 345 bar x 0.5 -
/// 3 bar = 169.5 bar to a clamp rated for 165 bar ahead of it.
#[test]
fn a_relief_valve_in_another_zone_is_told() {
    let rated = PARTS.replace("CL20,clamp,230,", "CL20,clamp,165,");
    let part = |kind: &str, bar: &str| format!("{kind},{kind},350,,,0,,,,,,,,,,0.2,,{bar}");
    let more: String = rated
        .lines()
        .map(|row| if row.starts_with("part_no") { format!("{row},set_pressure\n") } else { format!("{row},\n") })
        .collect();
    let parts = format!("{more}{}\n{}\n", part("reducing_valve", "150"), part("relief_valve", "164"));
    let list = LIST
        .replace("C1,CL20,4,3000,,", "C1,CL20,4,3000,,full")
        .replace("A,f,1,G,", "A,f,1,RD,reducing_valve,1,,,full,\nA,f,1,RV,relief_valve,1,,,reduced,\nA,f,1,G,");
    let ran = run(&[("lists/l.csv", &list), ("components.csv", &parts)]);
    assert!(ran.findings.iter().all(|finding| finding["rule"] != "P13"), "{:?}", ran.findings);
    let said = ran.beside();
    assert!(said.iter().any(|said| said.contains("by a relief valve that sits in another zone")), "{said:?}");
    let ran = run(&[
        ("lists/l.csv", &list.replace("RV,relief_valve,1,,,reduced", "RV,relief_valve,1,,,full")),
        ("components.csv", &parts),
    ]);
    assert!(ran.beside().iter().all(|said| !said.contains("relief valve that sits")), "{:?}", ran.beside());
}

/// The card says that a circuit may not hold, and what is past its day: 2026-11-25 less 400 days, of a life of 300.
#[test]
fn a_card_tells_what_may_not_hold_and_what_is_past_its_day() {
    let folder = tempfile::tempdir().unwrap();
    let [plant, data, cards] = ["plant", "data", "cards.xlsx"].map(|name| folder.path().join(name));
    let rows = with_part("CL20", "CL20,clamp,230,420,10,3.333e-05,3,0.9,,,,,,,relief_valve,0.4,70000");
    let parts: String = rows
        .lines()
        .map(|row| match row.split(',').next() {
            Some("part_no") => format!("{row},service_life\n"),
            Some("CL20") => format!("{row},300\n"),
            _ => format!("{row},\n"),
        })
        .collect();
    let list = LIST.replace("supports\n", "supports,fitted_on\n").replace(",3000,,,", ",3000,,,,2025-10-21");
    let list: String = list
        .lines()
        .map(|row| if row.matches(',').count() < 10 { format!("{row},\n") } else { format!("{row}\n") })
        .collect();
    let circuits =
        CIRCUITS.replace("hold_time\n", "hold_time,topped_up,cycles_per_day\n").replace("480\n", "480,2001-01-01,10\n");
    write(&plant, &[("components.csv", &parts), ("lists/l.csv", &list), ("circuits.csv", &circuits)]);
    check(&plant, &data, &["--cards", cards.to_str().unwrap()]);
    let mut workbook: Xlsx<_> = open_workbook(&cards).unwrap();
    let range = workbook.worksheet_range_at(0).unwrap().unwrap();
    let texts: Vec<String> = range.used_cells().filter_map(|(_, _, cell)| cell.as_string()).collect();
    let text = texts.join(" ");
    for said in [
        "1 line has a relief, reducing or sequence valve built in",
        "PAST ITS LIFE: CL20 C1 (2026-08-17).",
        "OIL OVERDUE since 20",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
}

/// By the contract a blank closing_volume counts as 0 and a blank temp_charge as 20 °C; a zero is a statement.
#[test]
fn blank_data_that_flatter_stand_beside() {
    let closing = "closing_volume of check valves or couplings on 1 line (first CV)";
    let whole = run(&[]);
    assert!(whole.blanks().ends_with(&format!("{closing}.")), "{}", whole.blanks());
    assert!(whole.said.contains(whole.blanks()) && whole.sheet.contains(whole.blanks()), "{}", whole.said);
    let warm = CIRCUITS.replace("85,21,18,25,480", "85,,18,25,480");
    let ran = run(&[("circuits.csv", &warm)]);
    let usual = "Blank temp_charge is taken as 20 °C on 1 circuit (first A/f/1)";
    assert!(ran.blanks().contains(closing) && ran.blanks().ends_with(&format!("{usual}.")), "{}", ran.blanks());
    let stated = PARTS.replacen("stiffness\n", "stiffness,closing_volume\n", 1).replace(",\n", ",,\n");
    let stated = stated.replace("70000\n", "70000,\n").replace("0.5,,\n", "0.5,,0\n");
    let ran = run(&[("components.csv", &stated)]);
    assert_eq!((ran.verdict(0), ran.blanks()), ("conforms", ""), "{}", ran.said);
}

/// A plant whose one circuit is live, so that no rule asks for volumes.
const LIVE: &str = "pallet,fixture,circuit,charging,pressure_set\nA,f,1,live,160\n";

/// By hand a clamp holds 0.9 × 420 mm² × (160 - 3) bar = 5935 N: nothing passes of 1 MN whatever is waived.
#[test]
fn what_a_line_set_aside_asks_for_is_not_passed() {
    let lines = LIST.replace("C1,CL20,4,3000", "C1,CL20,,1000000");
    let waiver = "pallet,fixture,circuit,rule,reason,approved_by,expires\nA,f,1,L02,later,me,2027-01-01\n";
    let off = format!("{POLICY}[rules]\nL02 = \"observation\"\n");
    for softened in [("waivers.csv", waiver), ("policy.toml", &off)] {
        let ran = run(&[("circuits.csv", LIVE), ("lists/l.csv", &lines), softened]);
        assert_eq!((ran.status, ran.verdict(0)), (1, "not assessed"), "{}", ran.said);
        assert!(ran.circuits[0]["not_assessed"].split(' ').any(|code| code == "F01"), "{}", ran.said);
        assert_eq!(ran.summary["coverage"]["F"]["assessed"], 0, "{}", ran.said);
    }
}

/// A row whose circuit can't be told may be one of each circuit's: what it lists may be rated too low, and what is missing
/// may be what it lists.
#[test]
fn a_row_whose_circuit_can_not_be_told_leaves_nothing_passed_and_nothing_missing() {
    let clampless = LIST.replace("A,f,1,C1,CL20,4,3000,,,", "A,f,1,C1,CL20,4,3000,,,,,7");
    let ran = run(&[("circuits.csv", LIVE), ("lists/l.csv", &clampless)]);
    assert_eq!((ran.status, ran.verdict(0)), (1, "not assessed"), "{}", ran.said);
    assert!(ran.circuits[0]["not_assessed"].contains("P05"), "{}", ran.circuits[0]["not_assessed"]);
    let without_check = LIST.replace("A,f,1,CV,CV,1,,,,", "A,f,1,CV,CV,1,,,,,,7");
    let ran = run(&[("lists/l.csv", &without_check)]);
    assert_eq!((ran.status, ran.verdict(0)), (1, "not assessed"), "{}", ran.said);
    assert!(ran.findings.iter().all(|finding| finding["rule"] != "M03"), "{}", ran.said);
    assert!(ran.circuits[0]["not_assessed"].contains("M03"), "{}", ran.circuits[0]["not_assessed"]);
}

/// A single-acting clamp whose spring is stated as 0 pushes no oil back, whatever the spring of another does.
#[test]
fn a_clamp_without_a_spring_has_no_unclamp_time() {
    let two = PARTS.replace("CC96,", "CL21,clamp,230,420,10,3.333e-05,0,0.9,,,,,,,,0.4,70000\nCC96,");
    let lines = format!("{LIST}A,f,1,C2,CL21,1,3000,,,\n");
    let timed = CIRCUITS.replace("hold_time\n", "hold_time,unclamp_time_max\n").replace("25,480", "25,480,9000");
    let ran = run(&[("components.csv", &two), ("lists/l.csv", &lines), ("circuits.csv", &timed)]);
    assert_eq!(ran.circuits[0]["unclamp_time_s"], "", "{}", ran.said);
    assert_eq!((ran.status, ran.verdict(0)), (1, "not assessed"), "{}", ran.said);
    assert!(ran.said.contains("CL21 states a return_pressure of 0"), "{}", ran.said);
    let sprung = two.replace("3.333e-05,0,0.9", "3.333e-05,3,0.9");
    let ran = run(&[("components.csv", &sprung), ("lists/l.csv", &lines), ("circuits.csv", &timed)]);
    assert_eq!((ran.status, ran.verdict(0)), (0, "conforms"), "{}", ran.said);
}
