//! Two runs over a small plant: what is gone though nobody put it right is not told as better.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/run.rs"]
mod run;
#[path = "plants/small.rs"]
mod small;

use clampbook::report::mail::{Digest, body, subject};
use run::{check, rows};
use small::{CIRCUITS, LIST, PARTS, POLICY, write};

/// Files by name.
type Files<'a> = &'a [(&'a str, &'a str)];

struct Compared {
    /// Rule and state of what is gone.
    gone: Vec<[String; 2]>,
    subject: String,
    text: String,
    said: String,
}

/// Runs the plant as it was and as it is, and reads what a mail would say.
fn compared(before: Files, now: Files) -> Compared {
    let folder = tempfile::tempdir().unwrap();
    let [was, is, earlier, data] = ["was", "is", "earlier", "data"].map(|name| folder.path().join(name));
    write(&was, before);
    write(&is, now);
    assert_eq!(check(&was, &earlier, &["--no-remedies"]).0, 1, "the plant as it was");
    let (_, said) = check(&is, &data, &["--no-remedies", "--previous", earlier.to_str().unwrap()]);
    let digest = Digest::load(&data).unwrap();
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let cleared = rows(&data.join("cleared.csv"));
    Compared {
        gone: cleared.iter().map(|row| ["rule", "state"].map(|column| row[column].clone())).collect(),
        subject: subject::subject(&digest),
        text: flat(&body::plain(&body::blocks(&digest))),
        said: flat(&said),
    }
}

/// The circuit in service, with a pressure that it must not fall below and further cells.
fn circuit(pressure_min: &str, more: [&str; 2]) -> String {
    let basis = CIRCUITS.replace("hold_time\n", &format!("hold_time,built,{}\n", more[0]));
    basis.replace(",85,", &format!(",{pressure_min},")).replace("480\n", &format!("480,yes,{}\n", more[1]))
}

/// The component table with a further column, which the clamp alone fills.
fn with_column(name: &str, value: &str) -> String {
    let row = |row: &str| match row.split(',').next() {
        Some("part_no") => format!("{row},{name}\n"),
        Some("CL20") => format!("{row},{value}\n"),
        _ => format!("{row},\n"),
    };
    PARTS.lines().map(row).collect()
}

fn assert_not_better(compared: &Compared, apart: &str) {
    let Compared { subject, text, said, .. } = compared;
    assert!(subject.contains(&format!("(none put right, 1 {apart})")), "{subject}");
    assert!(text.contains(&format!("none put right, 1 {apart}")), "{text}");
    assert!(!text.contains("fewer") && text.contains(" 0 cleared"), "{text}");
    assert!(!text.contains("Cleared:"), "{text}");
    assert!(said.contains(" 0 cleared"), "{said}");
}

/// A fall of the settled oil below 120 bar, 160 bar charged, that is really put right.
#[test]
fn what_is_put_right_is_told_so() {
    let (was, is) = (circuit("120", ["note", ""]), circuit("85", ["note", ""]));
    let compared = compared(&[("circuits.csv", &was)], &[("circuits.csv", &is)]);
    assert!(compared.subject.contains("(1 fewer)"), "{}", compared.subject);
    assert!(compared.text.contains("1 cleared.") && !compared.text.contains("policy is not"), "{}", compared.text);
    assert!(compared.gone.iter().all(|[_, state]| state == "open"), "{:?}", compared.gone);
}

#[test]
fn a_demand_that_was_deleted_is_not_met() {
    let met = circuit("85", ["clamp_time_max", ""]);
    let cases = [
        ("F01", "lists/l.csv", [LIST.replace(",3000,", ",9000,"), LIST.replace(",3000,", ",,")]),
        ("F01", "lists/l.csv", [LIST.replace(",3000,", ",9000,"), LIST.replace("force_required", "Spannkraft")]),
        ("P03", "circuits.csv", {
            let high = circuit("85", ["clamp_time_max", ""]).replace(",160,", ",180,");
            [high.clone(), high.replace(",180,", ",,")]
        }),
        ("P07", "components.csv", [with_column("min_pressure", "170"), with_column("min_pressure", "")]),
        ("F02", "components.csv", [with_column("force_max", "1000"), with_column("force_max", "")]),
    ];
    for (code, file, [was, is]) in &cases {
        let compared = compared(&[("circuits.csv", &met), (file, was)], &[("circuits.csv", &met), (file, is)]);
        assert!(compared.gone.contains(&[(*code).to_owned(), "not asked".to_owned()]), "{code}: {:?}", compared.gone);
        assert_not_better(&compared, "no longer looked for");
        assert!(compared.said.contains("1 gone without being cleared"), "{code}: {}", compared.said);
    }
}

#[test]
fn a_waiver_puts_nothing_right() {
    let low = circuit("120", ["note", ""]);
    let waivers = "fixture,rule,reason,approved_by,expires\nf,H02,later,me,2027-06-01\nf,H03,later,me,2027-06-01\n";
    let compared = compared(&[("circuits.csv", &low)], &[("circuits.csv", &low), ("waivers.csv", waivers)]);
    assert_not_better(&compared, "waived since");
    assert!(compared.text.contains("1 waived since, majors and minors"), "{}", compared.text);
    assert!(compared.said.contains("1 waived since"), "{}", compared.said);
}

#[test]
fn another_policy_and_another_state_put_nothing_right() {
    let low = circuit("120", ["note", ""]);
    let policies = [
        ("[rules]\nH02 = \"off\"\n", "no longer looked for"),
        ("[rules]\nH02 = \"observation\"\n", "judged by another policy"),
        ("[fluids.default]\nthermal_expansion = 0\n", "judged by another policy"),
    ];
    for (policy, apart) in policies {
        let policy = format!("{POLICY}{policy}");
        let compared = compared(&[("circuits.csv", &low)], &[("circuits.csv", &low), ("policy.toml", &policy)]);
        assert_not_better(&compared, apart);
        assert!(compared.text.contains("The policy is not that of the earlier run."), "{}", compared.text);
        assert!(compared.said.contains("the policy is not that of the earlier run"), "{}", compared.said);
    }
    let planned = low.replace(",yes,", ",no,");
    let compared = compared(&[("circuits.csv", &low)], &[("circuits.csv", &planned)]);
    assert!(compared.gone.is_empty(), "{:?}", compared.gone);
    assert_not_better(&compared, "no longer stated in service");
}
