use super::*;
use crate::tables::origin::CellFault;
use crate::tables::words::Severity;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 10).unwrap()
}

fn key(plant: &str, fixture: &str, circuit: &str) -> CircuitKey {
    CircuitKey { plant: plant.into(), pallet: "".into(), fixture: fixture.into(), circuit: circuit.into() }
}

fn finding(rule: &'static str, subject: Subject, place: CircuitKey, position: &str) -> Finding {
    Finding { place, position: position.to_owned(), ..Finding::blank(rule, Severity::Major, subject) }
}

fn waiver(rule: &str, place: &CircuitKey, position: &str) -> Waiver {
    Waiver {
        plant: place.plant.to_string(),
        pallet: place.pallet.to_string(),
        fixture: place.fixture.to_string(),
        circuit: place.circuit.to_string(),
        position: position.to_owned(),
        rule: rule.to_owned(),
        reason: "Tested".to_owned(),
        approved_by: "J. Doe".to_owned(),
        expires: Some(today()),
        ..Waiver::default()
    }
}

fn everywhere(rule: &str) -> Waiver {
    waiver(rule, &CircuitKey::default(), "")
}

fn states(findings: &[Finding]) -> Vec<Option<usize>> {
    for finding in findings {
        assert_eq!(finding.waiver.is_some(), finding.state == State::Waived);
    }
    findings.iter().map(|finding| finding.waiver).collect()
}

#[test]
fn a_waiver_matches_its_rule_and_place_and_nothing_else() {
    let place = key("North", "F1", "1");
    let waivers = [waiver("P05", &place, "A1")];
    let mut findings = [
        finding("P05", Subject::Line, place.clone(), "A1"),
        finding("P05", Subject::Line, place.clone(), "A2"),
        finding("P06", Subject::Line, place.clone(), "A1"),
        finding("P05", Subject::Line, key("North", "F1", "2"), "A1"),
        finding("P05", Subject::Line, key("North", "f1", "1"), "A1"),
    ];
    let matches = Waiving::new(&waivers, today()).mark(&mut findings);
    assert_eq!(states(&findings), [Some(0), None, None, None, None]);
    assert_eq!(matches.findings(0), 1);
    assert_eq!(matches.examples(0), [place]);
}

#[test]
fn empty_and_star_match_everything_and_a_rule_matches_as_words_do() {
    for star in ["*", "", " * "] {
        let mut all = everywhere("p05 ");
        for cell in [&mut all.plant, &mut all.pallet, &mut all.fixture, &mut all.circuit, &mut all.position] {
            star.clone_into(cell);
        }
        let waivers = [all];
        let mut findings = [
            finding("P05", Subject::Line, key("North", "F1", "1"), "A1"),
            finding("P05", Subject::Line, key("South", "F2", "2"), ""),
        ];
        let _ = Waiving::new(&waivers, today()).mark(&mut findings);
        assert_eq!(states(&findings), [Some(0), Some(0)]);
    }
}

#[test]
fn parts_stations_and_orders_have_no_place_but_a_position() {
    let waivers = [
        waiver("L09", &key("North", "", ""), ""),
        waiver("P04", &CircuitKey::default(), "S1"),
        waiver("B06", &CircuitKey::default(), "4711"),
    ];
    let mut findings = [
        finding("L09", Subject::Part, CircuitKey::default(), ""),
        finding("P04", Subject::Station, CircuitKey::default(), "S1"),
        finding("P04", Subject::Station, CircuitKey::default(), "S2"),
        finding("B06", Subject::Order, CircuitKey::default(), "4711"),
    ];
    let _ = Waiving::new(&waivers, today()).mark(&mut findings);
    assert_eq!(states(&findings), [None, Some(1), None, Some(2)]);
}

#[test]
fn expired_and_incomplete_waivers_count_matches_and_do_not_waive() {
    let expired = Waiver { expires: today().pred_opt(), ..everywhere("P05") };
    let unapproved = Waiver { approved_by: String::new(), ..everywhere("P05") };
    let waivers = [expired, unapproved];
    let mut findings = [finding("P05", Subject::Circuit, key("North", "F1", "1"), "")];
    let waiving = Waiving::new(&waivers, today());
    let matches = waiving.mark(&mut findings);
    assert_eq!(states(&findings), [None]);
    // Waivers of one place count where the first of them stands.
    assert_eq!(first_alike(&waivers), [0, 0]);
    assert_eq!((matches.findings(0), matches.findings(1)), (1, 0));
    // A third one in force waives, and it is the one that is named.
    let waivers = [waivers.to_vec(), vec![everywhere("P05"), everywhere("P05")]].concat();
    let matches = Waiving::new(&waivers, today()).mark(&mut findings);
    assert_eq!(states(&findings), [Some(2)]);
    assert_eq!(first_alike(&waivers), [0; 4]);
    assert_eq!(matches.findings(0), 1);
}

#[test]
fn a_row_that_can_not_be_read_matches_nothing() {
    let fault = CellFault {
        column: "expires",
        letter: "I".to_owned(),
        found: "spring".to_owned(),
        expected: "a date such as 2026-03-10".to_owned(),
    };
    let waivers = [Waiver { faults: vec![fault], expires: None, ..everywhere("P05") }];
    let mut findings = [finding("P05", Subject::Circuit, key("North", "F1", "1"), "")];
    let matches = Waiving::new(&waivers, today()).mark(&mut findings);
    assert_eq!(states(&findings), [None]);
    assert_eq!(matches, Matches::default());
}

#[test]
fn findings_on_waivers_are_never_waived() {
    let waivers = [everywhere("W02"), everywhere("L04")];
    let mut findings = [
        finding("W02", Subject::Waiver, CircuitKey::default(), ""),
        finding("L04", Subject::Waiver, CircuitKey::default(), ""),
        finding("L04", Subject::Part, CircuitKey::default(), ""),
    ];
    let matches = Waiving::new(&waivers, today()).mark(&mut findings);
    assert_eq!(states(&findings), [None, None, Some(1)]);
    assert_eq!((matches.findings(0), matches.findings(1)), (0, 1));
}

#[test]
fn merging_does_not_depend_on_the_order() {
    let waivers = [everywhere("P05")];
    let waiving = Waiving::new(&waivers, today());
    let parts: Vec<Matches> = ["F4", "F2", "F5", "F1", "F2"]
        .iter()
        .map(|fixture| waiving.mark(&mut [finding("P05", Subject::Circuit, key("North", fixture, "1"), "")]))
        .collect();
    let merged = |parts: &mut dyn Iterator<Item = &Matches>| {
        let mut all = Matches::default();
        parts.for_each(|part| all.merge(part.clone()));
        all
    };
    let forth = merged(&mut parts.iter());
    assert_eq!(forth, merged(&mut parts.iter().rev()));
    assert_eq!(forth.findings(0), 5);
    let fixtures: Vec<String> = forth.examples(0).into_iter().map(|place| place.fixture.to_string()).collect();
    assert_eq!(fixtures, ["F1", "F2", "F4"]);
}
