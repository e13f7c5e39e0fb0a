//! What the mail says of two months that follow each other: what is not looked at any more was put right by nobody.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use mail_parser::MessageParser;

/// Two circuits in service, A and B, each with an isolation valve that is rated below its pressure.
struct Month {
    folder: tempfile::TempDir,
}

fn clampbook(arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    (output.status.code().unwrap(), said)
}

fn change(path: &Path, change: impl Fn(&str) -> String) {
    let text = fs::read_to_string(path).unwrap();
    let changed = change(&text);
    assert_ne!(text, changed, "{}", path.display());
    fs::write(path, changed).unwrap();
}

impl Month {
    fn of(date: &str, edit: impl FnOnce(&Path)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let plant = folder.path().join("plant");
        write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
        fs::remove_file(plant.join("orders.csv")).unwrap();
        fs::write(plant.join("policy.toml"), format!("date = \"{date}\"\n")).unwrap();
        change(&plant.join("components.csv"), |text| {
            let row = text.lines().find(|row| row.starts_with("EX-SHUT-6,")).unwrap();
            format!("{text}{}\n", row.replace("EX-SHUT-6,", "EX-SHUT-W,").replacen(",350,", ",135,", 1))
        });
        for name in ["A", "B"] {
            change(&plant.join("circuits.csv"), |text| {
                let row = text.lines().nth(1).unwrap();
                format!("{text}{}\n", row.replace(",F1,", &format!(",{name},")).replace(",no,", ",yes,"))
            });
            change(&plant.join("lists/example.csv"), |text| {
                let rows = text.lines().filter(|row| row.contains(",F1,"));
                let rows: Vec<String> = rows
                    .map(|row| row.replace(",F1,", &format!(",{name},")).replace("EX-SHUT-6", "EX-SHUT-W"))
                    .collect();
                format!("{text}{}\n", rows.join("\n"))
            });
        }
        edit(&plant);
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn check(&self, more: &[&str]) {
        let (plant, data, out) = (self.path("plant"), self.path("data"), self.path("report.xlsx"));
        let arguments =
            ["check", plant.to_str().unwrap(), "--data", data.to_str().unwrap(), "--out", out.to_str().unwrap()];
        let arguments: Vec<&str> = arguments.iter().chain(more).copied().collect();
        let (status, said) = clampbook(&arguments);
        assert!(status < 2, "{said}");
    }

    /// Subject and text of the mail; what was refused instead.
    fn mail(&self, workbook: &str) -> Result<(String, String), String> {
        let (report, data, eml) = (self.path(workbook), self.path("data"), self.path("month.eml"));
        let (status, said) = clampbook(&[
            "mail",
            report.to_str().unwrap(),
            "--data",
            data.to_str().unwrap(),
            "--to",
            "a@example.com",
            "--from",
            "b@example.com",
            "--eml",
            eml.to_str().unwrap(),
            "--replace",
        ]);
        if status != 0 {
            return Err(said);
        }
        let bytes = fs::read(eml).unwrap();
        let message = MessageParser::default().parse(&bytes).unwrap();
        let text = message.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
        Ok((message.subject().unwrap().to_owned(), text))
    }
}

/// Subject and text of November's mail after an edit since October.
fn november(edit: impl FnOnce(&Path)) -> (String, String) {
    let (october, november) = (Month::of("2026-10-01", |_| ()), Month::of("2026-11-01", edit));
    october.check(&["--history", october.path("history.csv").to_str().unwrap()]);
    let history = november.path("history.csv");
    fs::copy(october.path("history.csv"), &history).unwrap();
    november.check(&["--previous", october.path("data").to_str().unwrap(), "--history", history.to_str().unwrap()]);
    november.mail("report.xlsx").unwrap()
}

fn without_the_list_of_a(plant: &Path) {
    change(&plant.join("lists/example.csv"), |text| {
        text.lines().filter(|row| !row.contains(",A,")).map(|row| format!("{row}\n")).collect()
    });
}

/// Each circuit has three majors: its valve (P06), the pump's pressure (P13), warm oil (H01).
#[test]
fn what_nothing_looks_for_any_more_is_not_cleared() {
    let valve_of_a = |valve: &'static str| {
        move |plant: &Path| {
            change(&plant.join("lists/example.csv"), |text| {
                text.replace(",A,1,IV,EX-SHUT-W,", &format!(",A,1,IV,{valve},"))
            });
        }
    };
    let switched_off = |plant: &Path| {
        change(&plant.join("policy.toml"), |text| format!("{text}[rules]\nP06 = \"off\"\n"));
    };
    let cases: [(&str, Box<dyn FnOnce(&Path)>, &str, &str); 4] = [
        (
            "a list is missing",
            Box::new(without_the_list_of_a),
            "0 cleared, 3 no longer looked for.",
            "Gone: 3 majors, 0 lesser or observed; 3 for a circuit no longer on the lists",
        ),
        ("a rule is off", Box::new(switched_off), "0 cleared, 2 no longer looked for.", "2 for a rule switched off"),
        (
            "the valve's number is mistyped",
            Box::new(valve_of_a("EX-SHUTW")),
            "0 cleared, 3 no longer looked for.",
            "2 for a rule not assessed any more; 1 for a line that can't be read or whose part is not known",
        ),
        // Here they are put right, and no word is said against it.
        ("the valve is replaced", Box::new(valve_of_a("EX-SHUT-6")), "3 standing, 3 cleared.", "Cleared: 3 majors"),
    ];
    for (what, edit, first, heading) in cases {
        let (_, text) = november(edit);
        assert!(text.contains(first), "{what}: {first}\n{text}");
        assert!(text.contains(heading), "{what}: {heading}\n{text}");
        let doubts = ["no longer looked for", "switched off.", "not known"];
        assert_eq!(doubts.iter().any(|doubt| text.contains(doubt)), heading != "Cleared: 3 majors", "{what}\n{text}");
    }
}

/// Two were unsafe. One left the lists: that is not one fewer.
#[test]
fn a_circuit_that_left_the_lists_is_not_one_fewer() {
    let (subject, text) = november(|plant| {
        without_the_list_of_a(plant);
        change(&plant.join("circuits.csv"), |text| {
            text.lines().filter(|row| !row.contains(",A,")).map(|row| format!("{row}\n")).collect()
        });
    });
    assert!(subject.contains("1 circuit unsafe in service (none put right, 1 no longer listed)"), "{subject}");
    let told = "unsafe circuits: none put right, 1 no longer listed (no longer Example plant/P01/A/1);";
    assert!(text.contains(told), "{text}");
}

/// The buyer's workbook and the cards bear the same run.
#[test]
fn only_the_report_is_mailed_as_the_whole_report() {
    let month = Month::of("2026-11-01", |_| ());
    month.check(&["--cards", month.path("cards.xlsx").to_str().unwrap()]);
    assert!(month.mail("report.xlsx").is_ok());
    let said = month.mail("cards.xlsx").unwrap_err();
    assert!(said.contains("not the report on the whole plant") && said.contains("Load cards"), "{said}");
    month.check(&["--only", "purchase"]);
    let said = month.mail("report.xlsx").unwrap_err();
    assert!(said.contains("not the report on the whole plant"), "{said}");
}

/// A waiver that is over since October: what it waived counts again, makes the circuit unsafe and is told with its rule.
#[test]
fn a_waiver_that_lapsed_is_named_with_its_place_and_rule() {
    let waived = |plant: &Path| {
        let rows =
            ["P06", "P13", "H01"].map(|rule| format!("Example plant,P01,A,1,,{rule},as agreed,Q. Body,2026-10-20"));
        let header = "plant,pallet,fixture,circuit,position,rule,reason,approved_by,expires";
        fs::write(plant.join("waivers.csv"), format!("{header}\n{}\n", rows.join("\n"))).unwrap();
    };
    let (october, november) = (Month::of("2026-10-01", waived), Month::of("2026-11-01", waived));
    october.check(&[]);
    november.check(&["--previous", october.path("data").to_str().unwrap()]);
    let (subject, text) = november.mail("report.xlsx").unwrap();
    assert!(subject.contains("2 circuits unsafe in service (1 more)"), "{subject}");
    let place = "Example plant/P01/A/1";
    let told = format!("3 findings count again, their waivers lapsed: {place}, H01; {place}, P13; {place}, P06.");
    assert!(text.contains(&told), "{text}");
    let (plant, data) = (november.path("plant"), october.path("data"));
    let (_, said) = clampbook(&["check", plant.to_str().unwrap(), "--previous", data.to_str().unwrap()]);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(&told), "{said}");
    // Their state is that of findings that were there before, waived or not.
    let findings = fs::read_to_string(november.path("data").join("findings.csv")).unwrap();
    assert_eq!(
        findings.lines().filter(|row| row.starts_with("P06,major,standing,") && row.contains(",A,1,")).count(),
        1
    );
}

/// How sure a verdict is was asked in October alone: nothing of that is cleared.
#[test]
fn what_sure_added_is_not_cleared_by_a_run_without_it() {
    let sample = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    clampbook(&["check", sample, "--sure", "--data", &path("october")]);
    let (_, said) = clampbook(&["check", sample, "--data", &path("november"), "--previous", &path("october")]);
    let cleared = fs::read_to_string(folder.path().join("november/cleared.csv")).unwrap();
    let sure = cleared.lines().filter(|row| row.starts_with("S01,")).count();
    assert!(sure > 3, "{cleared}");
    assert_eq!(cleared.lines().filter(|row| row.starts_with("S01,observation,not asked,")).count(), sure, "{cleared}");
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(&format!("0 cleared, {sure} gone without being cleared")), "{said}");
}
