//! What once took the square of its input: four times the lines may take at most eight times the processor
//! time (n log n and what the machine does besides), and find four times as much.
//!
//! The time is what the system says of the child processes that have ended, so the sizes run one after the
//! other in a program of their own. What searches for remedies cost is counted, too: lines looked at by what was tried.

#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]
#![allow(clippy::print_stdout, reason = "tells the times case by case")]

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use clampbook::audit::basis::with_searching;
use clampbook::circuit::fixture::load_fixture;
use nix::sys::resource::{UsageWho, getrusage};

const MOST_TIMES: f64 = 8.0;
/// Below this the start of the process outweighs the work.
const LEAST: Duration = Duration::from_millis(40);

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar],area_clamp [mm2],stroke [mm],capacity [cm3],support_capacity [N],leak\n\
C1,clamp,100,500,10,,,0\nC2,clamp,350,500,10,,,0\nW,work_support,350,500,10,,1000,0\nCY,charging_cylinder,350,,,9e6,,0\n\
CV,check_valve,350,,,,,0\nIV,isolation_valve,350,,,,,0\nG,gauge,400,,,,,0\n";
const HEADER: &str = "fixture,circuit,position,part_no,qty,supports,force_required [N]\n";
/// Lines that what is tried on a pallet may look at, where that is bounded.
const BOUND: u64 = 20_000;

/// A plant of a size.
struct Case {
    name: &'static str,
    sizes: [usize; 2],
    options: &'static [&'static str],
    write: fn(&Path, usize),
    /// A rule whose findings grow with the size, and how many there are of a size.
    found: (&'static str, fn(usize) -> usize),
}

fn circuits(plant: &Path, keys: impl Iterator<Item = String>) {
    let columns = "fixture,circuit,charging,pressure_set [bar],pressure_min,hold_time,temp_min,temp_max,source";
    let mut text = format!("{columns}\n");
    keys.for_each(|key| writeln!(text, "{key},cylinder,150,100,60,15,30,").unwrap());
    fs::write(plant.join("circuits.csv"), text).unwrap();
}

fn fittings(list: &mut String, key: &str) {
    for part in ["CY", "CV", "IV", "G"] {
        writeln!(list, "{key},{part},{part},1,,").unwrap();
    }
}

fn list(plant: &Path, text: &str) {
    fs::write(plant.join("lists/a.csv"), format!("{HEADER}{text}")).unwrap();
}

fn failing_lines(plant: &Path, count: usize) {
    circuits(plant, std::iter::once("F,1".to_owned()));
    let mut text = String::new();
    fittings(&mut text, "F,1");
    (0..count).for_each(|line| writeln!(text, "F,1,P{line},C1,1,,").unwrap());
    list(plant, &text);
}

/// No two of them alike.
fn failing_lines_apart(plant: &Path, count: usize) {
    circuits(plant, std::iter::once("F,1".to_owned()));
    let mut text = String::new();
    fittings(&mut text, "F,1");
    (0..count).for_each(|line| writeln!(text, "F,1,P{line},C1,1,,{}", 100 + line).unwrap());
    list(plant, &text);
}

/// Circuits that one charging cylinder fills, each with a line that fails.
fn failing_circuits_of_a_group(plant: &Path, count: usize) {
    failing_circuits(plant, count);
    let table = fs::read_to_string(plant.join("circuits.csv")).unwrap();
    let (header, rows) = table.split_once('\n').unwrap();
    let rows: String = rows.lines().map(|row| format!("{row}one\n")).collect();
    fs::write(plant.join("circuits.csv"), format!("{header}\n{rows}")).unwrap();
}

fn failing_circuits(plant: &Path, count: usize) {
    circuits(plant, (0..count).map(|circuit| format!("F,{circuit}")));
    let mut text = String::new();
    for circuit in 0..count {
        fittings(&mut text, &format!("F,{circuit}"));
        writeln!(text, "F,{circuit},P,C1,1,,").unwrap();
    }
    list(plant, &text);
}

fn supports(plant: &Path, count: usize) {
    circuits(plant, std::iter::once("F,1".to_owned()));
    let mut text = String::new();
    fittings(&mut text, "F,1");
    for line in 0..count {
        writeln!(text, "F,1,P{line},C2,1,,\nF,1,W{line},W,1,P{line},").unwrap();
    }
    list(plant, &text);
}

fn supports_of_one_place(plant: &Path, count: usize) {
    circuits(plant, (0..count).map(|circuit| format!("F,{circuit}")));
    let mut text = String::new();
    for circuit in 0..count {
        fittings(&mut text, &format!("F,{circuit}"));
        writeln!(text, "F,{circuit},P,C2,1,,\nF,{circuit},W,W,1,P,").unwrap();
    }
    list(plant, &text);
}

fn waivers(plant: &Path, count: usize) {
    failing_circuits(plant, count);
    let mut text = "fixture,circuit,position,rule,reason,approved_by,expires\n".to_owned();
    for row in 0..count {
        writeln!(text, "F,{row},Q{row},P05,x,y,2999-01-01\n*,*,*,P05,x,y,2000-01-01").unwrap();
    }
    fs::write(plant.join("waivers.csv"), text).unwrap();
}

fn unknown_parts(plant: &Path, count: usize) {
    let mut components = COMPONENTS.to_owned();
    let mut text = String::new();
    for part in 0..count {
        writeln!(components, "PART-{part:06}-X,other,,,,,,").unwrap();
        writeln!(text, "F,{},,PARTS-{part:06}-Y,1,,", part % 50).unwrap();
    }
    fs::write(plant.join("components.csv"), components).unwrap();
    list(plant, &text);
}

/// Circuits that one charging cylinder fills, each with a clamp that another replaces.
fn obsolete_parts_of_a_group(plant: &Path, count: usize) {
    failing_circuits_of_a_group(plant, count);
    let mut rows = COMPONENTS.lines().map(|row| format!("{row},,"));
    let header = rows.next().unwrap().replace(",,", ",status,replaced_by");
    let rows: Vec<String> =
        rows.map(|row| row.replace("C1,clamp,100,500,10,,,0,,", "C1,clamp,200,500,10,,,0,obsolete,C2")).collect();
    fs::write(plant.join("components.csv"), format!("{header}\n{}\n", rows.join("\n"))).unwrap();
}

/// Rows of the circuits table with a cell more than the last one has, and otherwise alike.
fn rows_of_other_widths(plant: &Path, count: usize) {
    let mut text = "fixture,circuit,charging,pressure_set [bar]\n".to_owned();
    for row in 0..count {
        let more = if row + 1 < count { "," } else { "" };
        writeln!(text, "F,{row},cylinder,150{more}").unwrap();
    }
    fs::write(plant.join("circuits.csv"), text).unwrap();
    let mut text = String::new();
    fittings(&mut text, "F,0");
    list(plant, &text);
}

const CASES: [Case; 8] = [
    Case {
        name: "failing lines of one circuit",
        sizes: [8_000, 32_000],
        options: &[],
        write: failing_lines,
        found: ("P05", |n| n),
    },
    Case {
        name: "obsolete parts of a group",
        sizes: [1_000, 4_000],
        options: &["--no-remedies"],
        write: obsolete_parts_of_a_group,
        found: ("B01", |_| 1),
    },
    Case {
        name: "failing circuits of a fixture",
        sizes: [2_000, 8_000],
        options: &[],
        write: failing_circuits,
        found: ("P05", |n| n),
    },
    Case {
        name: "work supports",
        sizes: [4_000, 16_000],
        options: &["--no-remedies"],
        write: supports,
        found: ("F03", |n| n),
    },
    Case {
        name: "work supports of one place",
        sizes: [1_000, 4_000],
        options: &["--no-remedies"],
        write: supports_of_one_place,
        found: ("F03", |n| n),
    },
    Case { name: "waivers", sizes: [2_000, 8_000], options: &["--no-remedies"], write: waivers, found: ("P05", |n| n) },
    Case {
        name: "unknown parts",
        sizes: [4_000, 16_000],
        options: &["--no-remedies"],
        write: unknown_parts,
        found: ("L01", |n| n),
    },
    Case {
        name: "rows of other widths in the circuits table",
        sizes: [4_000, 16_000],
        options: &["--no-remedies"],
        write: rows_of_other_widths,
        // But one they have no lines.
        found: ("L08", |n| n - 1),
    },
];

/// Processor time of all children so far.
fn used() -> Duration {
    let usage = getrusage(UsageWho::RUSAGE_CHILDREN).unwrap();
    let of = |time: nix::sys::time::TimeVal| {
        Duration::new(u64::try_from(time.tv_sec()).unwrap(), u32::try_from(time.tv_usec()).unwrap() * 1000)
    };
    of(usage.user_time()) + of(usage.system_time())
}

fn ran(case: &Case, size: usize) -> Duration {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("components.csv"), COMPONENTS).unwrap();
    (case.write)(&plant, size);
    let before = used();
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", "plant", "--data", "data", "--quiet"])
        .args(case.options)
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{}: {}", case.name, String::from_utf8_lossy(&output.stderr));
    let took = used().saturating_sub(before);
    let findings = fs::read_to_string(folder.path().join("data/findings.csv")).unwrap();
    let (rule, expected) = case.found;
    let found = findings.lines().filter(|row| row.starts_with(rule)).count();
    assert_eq!(found, expected(size), "{}: {rule}", case.name);
    took
}

#[test]
fn four_times_the_lines_do_not_take_sixteen_times_as_long() {
    let mut faults = Vec::new();
    for case in &CASES {
        let times = case.sizes.map(|size| ran(case, size).max(LEAST));
        let ratio = times[1].as_secs_f64() / times[0].as_secs_f64();
        println!(
            "{}: {:.2} s for {}, {:.2} s for {}, {ratio:.1} times",
            case.name,
            times[0].as_secs_f64(),
            case.sizes[0],
            times[1].as_secs_f64(),
            case.sizes[1]
        );
        if ratio > MOST_TIMES {
            faults.push(format!("{}: {ratio:.1} times", case.name));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Lines of the circuit or of the pallet, lines looked at by what was tried, and what is told of each P05.
fn searched(write: fn(&Path, usize), count: usize, bound: Option<u64>) -> (u64, u64, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path();
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("components.csv"), COMPONENTS).unwrap();
    write(plant, count);
    let lines = fs::read_to_string(plant.join("lists/a.csv")).unwrap().lines().count() as u64 - 1;
    if let Some(bound) = bound {
        fs::write(plant.join("policy.toml"), format!("[bounds]\ntrial_lines = {bound}\n")).unwrap();
    }
    let date = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(plant, None, date).unwrap();
    let (looked_at, told) = with_searching(&reading.plant, &reading.lists, false, |searching| {
        let range = searching.roster.fixtures[0].clone();
        let mut audits = load_fixture(searching.roster, searching.ground, range)?.audits;
        let _ = searching.complete(&mut audits);
        let findings = audits.into_iter().flat_map(|audit| audit.findings).filter(|finding| finding.rule == "P05");
        Ok((searching.lines_looked_at(), findings.map(|finding| finding.remedy.unwrap_or_default()).collect()))
    })
    .unwrap();
    (lines, looked_at, told)
}

fn is_offered(told: &str) -> bool {
    told.contains("Replace C1 by C2")
}

/// Counted, not timed: so many trials for ten lines as for a thousand.
#[test]
fn lines_that_are_alike_take_as_many_trials_however_many_they_are() {
    let trials = |count: usize| {
        let (lines, looked_at, told) = searched(failing_lines, count, None);
        assert_eq!(told.len(), count);
        assert!(told.iter().all(|told| is_offered(told)), "{told:?}");
        looked_at / lines
    };
    assert!(trials(10) > 0, "nothing was tried");
    assert_eq!(trials(10), trials(1000));
}

#[test]
fn what_is_tried_on_a_pallet_is_bounded_and_says_so() {
    for write in [failing_lines_apart, failing_circuits_of_a_group] {
        let (lines, looked_at, told) = searched(write, 500, Some(BOUND));
        // The trial that reaches the bound is the last.
        assert!(looked_at >= BOUND && looked_at < BOUND + lines, "{looked_at} lines looked at");
        let (offered, ended): (Vec<&String>, Vec<&String>) = told.iter().partition(|told| is_offered(told));
        assert!(!offered.is_empty() && !ended.is_empty(), "{} offered, {} ended", offered.len(), ended.len());
        let says_so = |told: &&String| told.contains("20000 lines ([bounds] trial_lines)");
        assert!(ended.iter().all(says_so), "{ended:?}");
        let (_, unbounded, told) = searched(write, 60, None);
        assert!(unbounded > 0 && told.iter().all(|told| is_offered(told)), "{told:?}");
    }
}

/// Pallets of one load station, on each a clamp that is rated for another pressure below what the station brings.
fn weak_clamps_of_one_station(plant: &Path, count: usize) {
    let mut components = "part_no,kind,rated_pressure [bar],area_clamp [mm2],stroke [mm],capacity [cm3],\
        piston_area [mm2]\nCY,charging_cylinder,350,,,100,1000\nCV,check_valve,350,,,,\nIV,isolation_valve,350,,,,\n\
        G,gauge,400,,,,\nPU,pump,350,,,,\nDR,drive_ram,350,,,,2000\n"
        .to_owned();
    let mut circuits = "pallet,fixture,circuit,charging,station\n".to_owned();
    let mut text = "pallet,fixture,circuit,position,part_no,qty\n".to_owned();
    for pallet in 0..count {
        writeln!(components, "C{pallet},clamp,{},500,10,,", 101 + pallet).unwrap();
        writeln!(circuits, "{pallet},F,1,cylinder,S").unwrap();
        for part in ["CY", "CV", "IV", "G"] {
            writeln!(text, "{pallet},F,1,{part},{part},1").unwrap();
        }
        writeln!(text, "{pallet},F,1,C,C{pallet},1").unwrap();
    }
    fs::write(plant.join("components.csv"), components).unwrap();
    fs::write(plant.join("circuits.csv"), circuits).unwrap();
    fs::write(plant.join("stations.csv"), "station,pump,drive_ram,pump_setting [bar]\nS,PU,DR,75\n").unwrap();
    fs::write(plant.join("lists/a.csv"), text).unwrap();
}

/// By hand: the drive ram's 2000 mm2 on the cylinder's 1000 mm2 double the pump's pressure, so that 50.5 bar bring
/// the 101 bar of the weakest clamp; each other clamp would allow a setting of its own, and a pump has one.
#[test]
fn one_setting_of_a_load_station_serves_all_its_circuits() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path();
    fs::create_dir_all(plant.join("lists")).unwrap();
    weak_clamps_of_one_station(plant, 20);
    let date = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(plant, None, date).unwrap();
    with_searching(&reading.plant, &reading.lists, false, |searching| {
        assert_eq!(searching.roster.fixtures.len(), 20);
        for range in searching.roster.fixtures.clone() {
            let mut audits = load_fixture(searching.roster, searching.ground, range)?.audits;
            let _ = searching.complete(&mut audits);
            let weak = audits[0].findings.iter().find(|finding| finding.rule == "P05").unwrap();
            let told = weak.remedy.clone().unwrap_or_default();
            assert!(told.starts_with("Set the pump of load station S to 50.5 bar"), "{told}");
        }
        Ok(())
    })
    .unwrap();
}
