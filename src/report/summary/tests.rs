use super::*;
use crate::audit::buying_doubts::BuyingDoubts;
use crate::audit::outcome::Audit;
use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::rules::coverage::Coverage;
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::figures::{CircuitFigures, SideFigures};
use crate::tables::finding::{Finding, Subject};
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::words::{Acting, Severity, Side, State, Verdict};

fn key(plant: &str, pallet: &str, fixture: &str) -> CircuitKey {
    CircuitKey { plant: plant.into(), pallet: pallet.into(), fixture: fixture.into(), circuit: "1".into() }
}

fn finding(rule: &'static str, severity: Severity, state: State, place: CircuitKey) -> Finding {
    Finding {
        state,
        place,
        side: Some(Side::Clamp),
        position: "C3".to_owned(),
        part_no: "4711".to_owned(),
        ..Finding::blank(rule, severity, Subject::Line)
    }
}

fn circuit(key: CircuitKey, verdict: Verdict, findings: Vec<Finding>) -> CircuitAudit {
    let not_assessed: Vec<Unassessed> = Vec::new();
    CircuitAudit {
        circuit: Circuit { key, ..Circuit::default() },
        figures: CircuitFigures::blank(Acting::Single, SideFigures::blank(Side::Clamp)),
        verdict,
        elsewhere: crate::circuit::standing::Standing::default(),
        coverage: Coverage::default(),
        not_assessed,
        findings,
    }
}

/// Three circuits on two pallets of two plants, and a part that is not ordered.
fn audit() -> Audit {
    use Severity::{Major, Minor, Observation};
    let (one, two, three) = (key("North", "P1", "F1"), key("North", "P1", "F2"), key("South", "P9", "F1"));
    let of_one = vec![
        finding("P14", Observation, State::New, one.clone()),
        finding("T01", Minor, State::New, one.clone()),
        finding("P05", Major, State::Waived, one.clone()),
    ];
    let of_two = vec![
        finding("T01", Minor, State::Standing, two.clone()),
        finding("H02", Major, State::New, two.clone()),
        finding("P06", Major, State::Standing, two.clone()),
    ];
    let part = Finding {
        subject: Subject::Part,
        side: None,
        position: String::new(),
        ..finding("B02", Major, State::New, CircuitKey::default())
    };
    Audit {
        plant: Plant::empty(Policy::at("2026-11-03".parse().unwrap())),
        circuits: vec![
            circuit(one, Verdict::DoesNotConform, of_one),
            circuit(two, Verdict::DoesNotConform, of_two),
            circuit(three, Verdict::NotAssessed, Vec::new()),
        ],
        elsewhere: vec![part],
        purchase: Vec::new(),
        to_buy: Vec::new(),
        buying: BuyingDoubts::default(),
        due: Vec::new(),
        remedies: Vec::new(),
        listed: Vec::new(),
        listed_left_out: 0,
        counts: Counts::default(),
        limit: None,
        has_previous: true,
        cleared: vec![vec!["V01".to_owned()]; 4],
        history: Vec::new(),
    }
}

#[test]
fn the_counts_are_those_of_the_findings() {
    let summary = summary_of(&audit());
    let verdicts = VerdictCounts {
        total: 3,
        conforms: 0,
        conforms_with_waivers: 0,
        does_not_conform: 2,
        by_minors: 1,
        not_assessed: 1,
    };
    assert_eq!(summary.circuits, verdicts);
    assert_eq!(summary.findings, SeverityCounts { majors: 2, minors: 2, observations: 1, waived: 1 });
    assert_eq!(summary.purchasing, SeverityCounts { majors: 1, ..SeverityCounts::default() });
    assert_eq!((summary.majors(), summary.minors(), summary.waived()), (3, 2, 1));
    let changes = ChangeCounts { new: 4, standing: 2, cleared: 4, new_majors: 2, standing_majors: 1 };
    assert_eq!(summary.changes, changes);
    let new: Vec<&str> = summary.new_majors.iter().map(|finding| finding.rule.as_str()).collect();
    // As in findings.csv: parts come before circuits.
    assert_eq!(new, ["B02", "H02"]);
    assert_eq!(summary.lines, LineCounts { read: 40, set_aside: 2 });
    assert_eq!(summary.plants, ["North", "South"]);
}

#[test]
fn pallets_add_up_and_the_worst_circuit_comes_first() {
    let summary = summary_of(&audit());
    let pallets: Vec<(&str, u64, u64, u64)> =
        summary.by_pallet.iter().map(|p| (p.pallet.as_str(), p.circuits.total, p.majors, p.minors)).collect();
    assert_eq!(pallets, [("P1", 2, 2, 2), ("P9", 1, 0, 0)]);
    let worst: Vec<(&str, u64, u64)> = summary.worst.iter().map(|c| (c.fixture.as_str(), c.majors, c.minors)).collect();
    assert_eq!(worst, [("F2", 2, 1), ("F1", 0, 1)]);
    assert!(summary.worst[0].sentence.starts_with("2 majors and 1 minor, first P06"), "{}", summary.worst[0].sentence);
    assert!(summary.worst[0].sentence.ends_with("(clamp side, position C3, part 4711)."));
    assert!(summary.worst[1].sentence.starts_with("1 minor, first T01"));
}

#[test]
fn without_an_earlier_run_nothing_is_new() {
    let summary = summary_of(&Audit { has_previous: false, cleared: Vec::new(), ..audit() });
    assert_eq!(summary.changes, ChangeCounts::default());
}

#[test]
fn the_file_reads_back_and_comes_out_the_same_twice() {
    let summary = summary_of(&audit());
    let write = || {
        let mut bytes = Vec::new();
        summary.write(&mut bytes).unwrap();
        bytes
    };
    let bytes = write();
    assert_eq!(bytes, write());
    assert_eq!(serde_json::from_slice::<RunSummary>(&bytes).unwrap(), summary);
}

/// The summary of an audit that was counted in one go: what is on no circuit first, as in a run.
fn summary_of(audit: &Audit) -> RunSummary {
    let mut counts = Counts { lines_read: 40, lines_set_aside: 2, ..Counts::default() };
    counts.add_elsewhere(&audit.plant, &audit.elsewhere);
    audit.circuits.iter().for_each(|circuit| counts.add_circuit(&audit.plant, circuit));
    counts.changes.cleared = audit.cleared.len() as u64;
    let written = serde_json::to_vec(&RunSummary::from_counts(&audit.plant.policy, &counts, audit.has_previous));
    serde_json::from_slice(&written.unwrap()).unwrap()
}
