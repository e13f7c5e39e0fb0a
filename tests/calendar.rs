//! The calendar of what falls due: the file that is written here was read by another program's parser
//! (`tests/calendar/read_back.py`), and what that found is what is due.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/run.rs"]
mod run;

use std::fs;
use std::path::{Path, PathBuf};

use run::{check, rows};

fn kept(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/calendar").join(name)
}

/// Names with all that the format gives a meaning, longer than its lines, in several scripts.
fn write_plant(root: &Path) {
    let odd = "a;b,c\\\"d:é→漢";
    let long = "Ümlaut ".repeat(30);
    fs::create_dir_all(root.join("lists")).unwrap();
    fs::write(root.join("policy.toml"), "date = \"2026-11-25\"\n").unwrap();
    let components = "part_no,kind,service_life,cycle_life,inner_diameter,rated_pressure\nH-1,hose,365,,6,400\nC-1,clamp,,1000,,200\n";
    fs::write(root.join("components.csv"), components).unwrap();
    let mut circuits = csv::Writer::from_path(root.join("circuits.csv")).unwrap();
    circuits.write_record(["plant", "pallet", "fixture", "circuit", "cycles_per_day"]).unwrap();
    circuits.write_record([odd, "P1", &long, "1", "10"]).unwrap();
    circuits.flush().unwrap();
    let mut lists = csv::Writer::from_path(root.join("lists/all.csv")).unwrap();
    lists
        .write_record(["plant", "pallet", "fixture", "circuit", "position", "part_no", "qty", "length", "fitted_on"])
        .unwrap();
    // Two of the same at the same place are two events.
    for (position, part, fitted) in [
        ("L1", "H-1", "2026-01-31"),
        ("L1", "H-1", "2026-02-01"),
        ("C,1", "C-1", "2026-09-01"),
        ("", "C-1", "2026-11-01"),
    ] {
        lists.write_record([odd, "P1", &long, "1", position, part, "1", "500", fitted]).unwrap();
    }
    lists.flush().unwrap();
    let orders =
        "part_no,qty,order_no,promised_date,received\nH-1,4,\"4711, 2nd\",2026-11-01,3\nC-1,1,4712,2026-12-01,\n";
    fs::write(root.join("orders.csv"), orders).unwrap();
    fs::write(root.join("waivers.csv"), "rule,reason,approved_by,expires\nV01,agreed,K. Lind,2028-02-29\n").unwrap();
}

#[test]
fn another_parser_reads_the_calendar_as_the_due_list() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data, file) = (folder.path().join("plant"), folder.path().join("data"), folder.path().join("due.ics"));
    write_plant(&plant);
    check(&plant, &data, &["--quiet", "--ical", file.to_str().unwrap()]);
    let written = fs::read_to_string(&file).unwrap();
    if std::env::var_os("UPDATE_CALENDAR").is_some() {
        fs::write(kept("due.ics"), &written).unwrap();
    }
    assert_eq!(written, fs::read_to_string(kept("due.ics")).unwrap(), "then let read_back.py read it again");
    // RFC 5545, 3.1: lines end in CR LF and are no longer than 75 octets.
    assert!(written.ends_with("\r\n") && written.split("\r\n").all(|line| line.len() <= 75 && !line.contains('\n')));
    let (due, read) = (rows(&data.join("due.csv")), rows(&kept("read_back.csv")));
    assert_eq!(due.len(), read.len());
    let mut uids: Vec<&str> = Vec::new();
    for (due, event) in due.iter().zip(&read) {
        assert_eq!((&due["date"], &due["what"]), (&event["date"], &event["categories"]));
        assert_eq!(event["is_whole_day"], "yes");
        let named = if due["what"] == "waiver" { &due["position"] } else { &due["part_no"] };
        for text in [named, &due["plant"], &due["fixture"]] {
            assert!(event["summary"].contains(text.trim()), "{text}: {event:?}");
        }
        assert!(event["description"].contains("2026-11-25"), "{event:?}");
        uids.push(&event["uid"]);
    }
    uids.sort_unstable();
    uids.dedup();
    assert_eq!(uids.len(), due.len());
}

#[test]
fn a_calendar_takes_the_place_of_no_other_file_and_no_input() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    write_plant(&plant);
    let refused = |file: &Path| {
        let run = std::process::Command::new(env!("CARGO_BIN_EXE_clampbook"))
            .args(["check", "--quiet"])
            .arg(&plant)
            .arg("--ical")
            .arg(file)
            .output()
            .unwrap();
        assert_eq!(run.status.code(), Some(2), "{}", file.display());
        String::from_utf8(run.stderr).unwrap()
    };
    let own = folder.path().join("own.ics");
    let theirs = "BEGIN:VCALENDAR\r\nPRODID:-//somebody//EN\r\nEND:VCALENDAR\r\n";
    fs::write(&own, theirs).unwrap();
    assert!(refused(&own).contains("--replace"));
    assert_eq!(fs::read_to_string(&own).unwrap(), theirs);
    assert!(refused(&folder.path().join("due.txt")).contains(".ics"));
    refused(&plant.join("lists/due.ics"));
    assert!(!plant.join("lists/due.ics").exists());
}
