//! Buying on a plant with one thing wrong in it that would cost money, or a date: what is told of it, and to whom.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "buying_doubts/scene.rs"]
mod scene;

use scene::Scene;

const CLAMP: &str = "EX-CLAMP-20";

/// The orders of a part have other cells.
fn ordered(scene: &Scene, part: &str, cells: &[(&str, &str)]) {
    scene.set("orders.csv", &[("part_no", part)], cells);
}

/// A part is obsolete, and a copy of it replaces it.
fn replaced(scene: &Scene, part: &str, by: &str, cells: &[(&str, &str)]) {
    scene.add("components.csv", &[("part_no", part)], &[("part_no", by)]);
    scene.set("components.csv", &[("part_no", by)], cells);
    scene.set("components.csv", &[("part_no", part)], &[("status", "obsolete"), ("replaced_by", by)]);
}

#[test]
fn the_plant_as_it_stands_conforms() {
    let scene = Scene::new();
    let run = scene.buy();
    assert_eq!(run.status, 0, "{}", run.said);
    assert!(run.said.contains("Purchasing: conforms. Nothing is to be ordered."), "{}", run.said);
}

/// Each is a reason why nobody can say that all is ordered: no run of any kind passes over it.
#[test]
fn what_buying_rests_on_and_can_not_be_read_is_no_pass() {
    type Change = Box<dyn Fn(&Scene)>;
    let of_order = |cells: &'static [(&'static str, &'static str)]| -> Change {
        Box::new(move |scene| ordered(scene, CLAMP, cells))
    };
    let of_table = |table: &'static str, cells: &'static [(&'static str, &'static str)]| -> Change {
        Box::new(move |scene| scene.set(table, &[], cells))
    };
    let of_line = |cells: &'static [(&'static str, &'static str)]| -> Change {
        Box::new(move |scene| scene.set("lists/example.csv", &[("part_no", CLAMP)], cells))
    };
    // What is wrong, and what is told of it. Each plant had been told to conform.
    let cases: Vec<(Change, &str)> = vec![
        (of_order(&[("promised_date", "15.09.2026")]), "promised_date '15.09.2026'"),
        (of_order(&[("received", "most"), ("promised_date", "2026-12-30")]), "received 'most'"),
        (of_order(&[("unit_price", "118.00 or so")]), "unit_price '118.00 or so'"),
        (of_table("circuits.csv", &[("need_date", "10.01.2027")]), "need_date '10.01.2027'"),
        (of_table("circuits.csv", &[("built", "ja")]), "built 'ja'"),
        (of_table("stations.csv", &[("built", "ja")]), "built 'ja'"),
        (
            Box::new(|scene| scene.set("components.csv", &[("part_no", CLAMP)], &[("lead_time", "three weeks")])),
            "lead_time 'three weeks'",
        ),
        (
            Box::new(|scene| scene.set("components.csv", &[("part_no", CLAMP)], &[("status", "obsolet")])),
            "status 'obsolet'",
        ),
        // A part that is needed under another number, or by a number that can't be read.
        (of_line(&[("part_no", "EX-CLAMP20")]), "EX-CLAMP20"),
        (of_line(&[("part_no", "WHATEVER")]), "WHATEVER"),
        (of_line(&[("qty", "four")]), "lower bound"),
        // More is ordered than is needed, and by how much can't be told.
        (
            Box::new(|scene| scene.add("orders.csv", &[("part_no", CLAMP)], &[("qty", ""), ("order_no", "A1")])),
            "A1: it has no quantity",
        ),
        (
            Box::new(|scene| scene.add("orders.csv", &[("part_no", CLAMP)], &[("part_no", ""), ("order_no", "A1")])),
            "1 row of orders names no part",
        ),
        // The column is there, under a name that nobody reads.
        (Box::new(|scene| scene.rename("orders.csv", "promised_date", "promised_dat")), "promised_dat"),
    ];
    for (change, told) in cases {
        let scene = Scene::new();
        change(&scene);
        let buy = scene.buy();
        assert_eq!(buy.status, 1, "{told}: {}", buy.said);
        assert!(buy.said.contains("Purchasing: not assessed."), "{told}: {}", buy.said);
        assert!(!buy.said.contains("Purchasing: conforms"), "{told}: {}", buy.said);
        for (where_told, text) in [
            ("the terminal of buying", &buy.said),
            ("Summary of buying", &buy.sheet("Summary")),
            ("Purchase", &buy.sheet("Purchase")),
            ("Summary", &scene.check(&[]).sheet("Summary")),
        ] {
            assert!(text.contains(told), "{where_told} does not tell {told}: {text}");
        }
        let mail = scene.mail();
        assert!(mail.contains("Purchasing: not assessed."), "{told}: {mail}");
    }
}

/// What makes buying uncertain and is a finding stands on the buyer's Findings, with file and row.
#[test]
fn findings_on_what_buying_rests_on_reach_the_buyer() {
    for (table, key, cells, rule) in [
        ("orders.csv", vec![("part_no", CLAMP)], [("qty", "4 approx")], "L04"),
        ("circuits.csv", vec![], [("need_date", "10.01.2027")], "L04"),
        ("components.csv", vec![("part_no", CLAMP)], [("unit_price", "dear")], "L04"),
        ("lists/example.csv", vec![("part_no", CLAMP)], [("part_no", "EX-CLAMP20")], "L01"),
        ("lists/example.csv", vec![("part_no", CLAMP)], [("qty", "four")], "L02"),
    ] {
        let scene = Scene::new();
        scene.set(table, &key, &cells);
        let buy = scene.buy();
        let findings = buy.sheet("Findings");
        assert!(findings.contains(rule), "{cells:?}: {findings}");
        assert!(findings.contains(cells[0].1), "{cells:?}: {findings}");
    }
    // What is no matter of buying does not.
    let scene = Scene::new();
    scene.set("circuits.csv", &[], &[("temp_max", "hot")]);
    let buy = scene.buy();
    assert!(!buy.sheet("Findings").contains("hot"));
    assert!(buy.said.contains("Purchasing: conforms."), "{}", buy.said);
}

/// An order whose quantity can't be read counts as 0: the request for the missing pieces says why.
#[test]
fn a_quantity_that_can_not_be_read_stands_beside_what_is_short() {
    for (cell, told) in [("4 approx", "4 approx"), ("", "it has no quantity")] {
        let scene = Scene::new();
        ordered(&scene, CLAMP, &[("qty", cell)]);
        let run = scene.buy();
        let short = run.finding("B03", CLAMP);
        assert!(short["reason"].contains("blank or can't be read, and counts as 0: EX-005"), "{short:?}");
        assert!(run.said.contains("Purchasing: does not conform"), "{}", run.said);
        assert!(run.said.contains(told), "{}", run.said);
        assert!(run.sheet("Purchase").contains(told));
    }
}

/// Whoever reads that an order is for nothing must not cancel the part that a mistyped line means.
#[test]
fn nothing_is_cancelled_that_a_line_may_mean() {
    let scene = Scene::new();
    scene.set("lists/example.csv", &[("part_no", CLAMP)], &[("part_no", "EX-CLAMP20")]);
    let run = scene.buy();
    let found = run.finding("B05", CLAMP);
    assert!(found["reason"].contains("EX-CLAMP20"), "{found:?}");
    assert!(!found["remedy"].to_lowercase().contains("cancel"), "{found:?}");

    // The same where more is ordered than the lines that can be read need.
    let scene = Scene::new();
    scene.add("lists/example.csv", &[("part_no", CLAMP)], &[("part_no", "EX-CLAMP20"), ("position", "C2")]);
    ordered(&scene, CLAMP, &[("qty", "8")]);
    let found = scene.buy().finding("B04", CLAMP);
    assert!(found["reason"].contains("EX-CLAMP20"), "{found:?}");
    assert!(!found["remedy"].to_lowercase().contains("cancel"), "{found:?}");

    // Without such a line the order may go.
    let scene = Scene::new();
    scene.remove("lists/example.csv", &[("part_no", CLAMP)]);
    let found = scene.buy().finding("B05", CLAMP);
    assert!(found["remedy"].contains("Cancel"), "{found:?}");
}

#[test]
fn an_order_row_that_stands_twice_is_said() {
    let scene = Scene::new();
    ordered(&scene, CLAMP, &[("qty", "2")]);
    scene.add("orders.csv", &[("part_no", CLAMP)], &[]);
    let run = scene.buy();
    let told = "EX-005";
    assert!(run.said.contains("stands twice"), "{}", run.said);
    assert!(run.sheet("Summary").contains(told));
    let input = scene.data("input.csv");
    assert!(input.iter().any(|row| row["message"].contains("the same as row 6")), "{input:?}");
    // Two rows that differ in their date are two deliveries.
    let scene = Scene::new();
    ordered(&scene, CLAMP, &[("qty", "2")]);
    scene.add("orders.csv", &[("part_no", CLAMP)], &[("promised_date", "2027-03-01")]);
    assert!(!scene.buy().said.contains("stands twice"));
}

/// A circuit of which it can't be read whether it is in service is neither safe nor planned.
#[test]
fn a_circuit_that_may_be_in_service_is_not_counted_as_planned() {
    let scene = Scene::new();
    scene.set("circuits.csv", &[], &[("built", "ja")]);
    scene.set("components.csv", &[("part_no", "EX-SHUT-6")], &[("rated_pressure", "135")]);
    let run = scene.check(&[]);
    let told = "can't be read";
    let summary = run.sheet("Summary");
    assert!(summary.contains("In service or planned, which can't be read: 1 circuit, 1 does not conform"), "{summary}");
    assert!(!summary.contains("Planned: 1"), "{summary}");
    assert!(run.said.contains(told), "{}", run.said);
    assert!(run.sheet("Circuits").contains("unknown"));
    let mail = scene.mail();
    let (subject, body) = mail.split_once("\n\n").unwrap();
    assert!(subject.contains("of 1 that may be in service 1 does not conform"), "{subject}");
    assert!(!subject.contains("planned"), "{subject}");
    assert!(body.contains("of 1 circuit it can't be read whether it is in service"), "{body}");
    let buy = scene.buy();
    assert!(buy.sheet("Purchase").contains("may be built already"));
}

#[test]
fn need_of_replaced_parts_is_added_in_one_unit() {
    // 1 x 1.5 m + 2 x 0.4 m = 2.3 m are 2.3 / 0.3048 = 7.546 ft.
    for (own, other, ordered, expected) in [("m", "ft", "8", 8.0 - 2.3 / 0.3048), ("ft", "m", "6", 6.0 - 2.3)] {
        let scene = Scene::new();
        replaced(&scene, "EX-TUBE-8", "EX-TUBE-8N", &[("uom", other), ("pack_qty", "")]);
        scene.set("components.csv", &[("part_no", "EX-TUBE-8")], &[("uom", own), ("pack_qty", "")]);
        let cells = [("part_no", "EX-TUBE-8N"), ("qty", ordered), ("uom", other), ("unit_price", "")];
        scene.set("orders.csv", &[("part_no", "EX-TUBE-8")], &cells);
        let found = scene.buy().finding("B04", "EX-TUBE-8N");
        let [measured, limit] = ["measured", "limit"].map(|name| found[name].parse::<f64>().unwrap());
        assert!((measured - limit - expected).abs() < 1e-6, "{found:?}");
    }
}

/// What an obsolete part's own orders cover is not needed of its replacement.
#[test]
fn a_part_ordered_under_both_numbers_is_ordered_twice() {
    let scene = Scene::new();
    replaced(&scene, CLAMP, "EX-CLAMP-21", &[]);
    scene.add("orders.csv", &[("part_no", CLAMP)], &[("part_no", "EX-CLAMP-21"), ("order_no", "X1")]);
    let found = scene.buy().finding("B05", "EX-CLAMP-21");
    assert_eq!((found["measured"].as_str(), found["limit"].as_str()), ("4", "0"));
}

#[test]
fn an_obsolete_replacement_is_not_ordered() {
    let scene = Scene::new();
    replaced(&scene, CLAMP, "EX-CLAMP-21", &[]);
    replaced(&scene, "EX-CLAMP-21", "EX-CLAMP-22", &[]);
    scene.remove("orders.csv", &[("part_no", CLAMP)]);
    let run = scene.buy();
    assert!(run.said.contains("To be settled before it is ordered"), "{}", run.said);
    assert!(run.said.contains("EX-CLAMP-21, which replaces it, is obsolete too"), "{}", run.said);
    assert!(run.said.contains("Nothing is to be ordered"), "{}", run.said);
    assert!(!run.sheets().contains(&"Example supplier".to_owned()), "{:?}", run.sheets());
    let found = scene.buy_with_remedies().finding("B01", CLAMP);
    assert!(!found["remedy"].starts_with("Replace"), "{found:?}");
}

/// A second circuit with a valve that is obsolete, needed before the first.
fn with_old_valve() -> Scene {
    let scene = Scene::new();
    scene.add(
        "components.csv",
        &[("part_no", "EX-SHUT-6")],
        &[
            ("part_no", "EX-SHUT-OLD"),
            ("status", "obsolete"),
            ("replaced_by", "EX-SHUT-6"),
            ("pack_qty", "5"),
            ("unit_price", "50"),
        ],
    );
    scene.circuit("F2", &[("need_date", "2027-01-10")]);
    scene.set("lists/example.csv", &[("fixture", "F2"), ("position", "IV")], &[("part_no", "EX-SHUT-OLD")]);
    scene
}

#[test]
fn the_row_of_a_replacement_has_the_dates_and_the_packs_of_what_is_ordered() {
    let scene = with_old_valve();
    let run = scene.buy();
    let row = run.row("Purchase", 1, "EX-SHUT-6");
    // Needed on 2027-01-10, 21 days before is 2026-12-20.
    assert_eq!((row[11].as_str(), row[12].as_str(), row[6].as_str()), ("2027-01-10", "2026-12-20", "1"), "{row:?}");
    let found = run.finding("B03", "EX-SHUT-OLD");
    assert!(found["reason"].contains("to order: 1 piece of EX-SHUT-6"), "{found:?}");
    // The data file has the obsolete part's own pack and price.
    let rows = scene.data("purchase.csv");
    let bill = rows.iter().find(|row| row["part_no"] == "EX-SHUT-OLD").unwrap();
    assert_eq!(["order_qty", "extended", "order_part"].map(|name| bill[name].as_str()), ["5", "250", "EX-SHUT-6"]);
}

#[test]
fn a_late_order_of_a_replacement_is_late() {
    let scene = Scene::new();
    replaced(&scene, CLAMP, "EX-CLAMP-21", &[]);
    ordered(&scene, CLAMP, &[("part_no", "EX-CLAMP-21"), ("promised_date", "2027-06-30")]);
    let run = scene.buy();
    // From 2027-03-31 to 2027-06-30 are 91 days.
    let found = run.finding("B06", "EX-CLAMP-21");
    assert!(found["reason"].contains("days late: 91") && found["reason"].contains(CLAMP), "{found:?}");
    assert!(run.said.contains("91 days late"), "{}", run.said);
    // In time it isn't.
    ordered(&scene, "EX-CLAMP-21", &[("promised_date", "2027-03-31")]);
    assert!(!scene.buy().said.contains("days late"));
}

#[test]
fn received_is_read_as_the_quantity_beside_it() {
    let scene = Scene::new();
    ordered(&scene, CLAMP, &[("qty", "4 pcs"), ("received", "4 pcs"), ("promised_date", "2026-01-01")]);
    let run = scene.buy();
    assert!(run.said.contains("Purchasing: conforms."), "{}", run.said);
    ordered(&scene, CLAMP, &[("received", "all")]);
    let found = scene.buy().finding("B09", CLAMP);
    assert!(found["reason"].contains("can't be read"), "{found:?}");
    assert!(!found["reason"].contains("0 of 4"), "{found:?}");
}

#[test]
fn an_order_under_a_nearly_equal_number_is_named_before_more_is_ordered() {
    let scene = Scene::new();
    ordered(&scene, CLAMP, &[("qty", "3")]);
    scene.add("orders.csv", &[("part_no", CLAMP)], &[("part_no", "ex-clamp-20"), ("qty", "1"), ("order_no", "A3")]);
    let run = scene.buy();
    let found = run.finding("B03", CLAMP);
    assert!(found["reason"].contains("ex-clamp-20"), "{found:?}");
    // The order may be the very piece that is short: who orders it anew orders it twice.
    assert!(found["remedy"].starts_with("First settle whether ex-clamp-20 on the orders is meant"), "{found:?}");
    let told = "Orders name ex-clamp-20, which may be meant for it. First settle that, then order what is still short";
    assert!(run.said.contains("To be settled before it is ordered"), "{}", run.said);
    assert!(run.said.contains(&format!("{told}, 1 piece at most.")), "{}", run.said);
    let row = run.row("Purchase", 1, CLAMP);
    assert!(row[14].contains(told) && !row[14].contains(".;") && row[6].is_empty(), "{row:?}");
    assert!(!run.sheets().contains(&"Example supplier".to_owned()), "{:?}", run.sheets());

    // Both stand in the component table.
    let scene = Scene::new();
    scene.add("components.csv", &[("part_no", CLAMP)], &[("part_no", "ex-clamp-20")]);
    ordered(&scene, CLAMP, &[("part_no", "ex-clamp-20")]);
    let run = scene.buy();
    assert!(run.finding("B02", CLAMP)["reason"].contains("ex-clamp-20"), "{:?}", run.finding("B02", CLAMP));
    let found = run.finding("B05", "ex-clamp-20");
    assert!(found["reason"].contains(CLAMP), "{found:?}");
    assert!(!found["remedy"].to_lowercase().contains("cancel"), "{found:?}");
}

#[test]
fn nothing_is_cancelled_that_upkeep_or_a_remedy_wants() {
    let scene = Scene::new();
    scene.set("components.csv", &[("part_no", CLAMP)], &[("service_life", "300")]);
    scene.set("circuits.csv", &[], &[("built", "yes")]);
    scene.set("stations.csv", &[], &[("built", "yes")]);
    scene.set("lists/example.csv", &[("part_no", CLAMP)], &[("fitted_on", "2026-01-31")]);
    let run = scene.buy();
    let found = run.finding("B05", CLAMP);
    assert!(found["reason"].contains("life is at its end"), "{found:?}");
    assert!(!found["remedy"].to_lowercase().contains("cancel"), "{found:?}");
    assert!(run.finding("B05", "EX-SHUT-6")["remedy"].contains("Cancel"));

    // The valve that would serve is ordered, for the one that fails in service.
    let scene = Scene::new();
    scene.add("components.csv", &[("part_no", "EX-SHUT-6")], &[("part_no", "EX-SHUT-W"), ("rated_pressure", "135")]);
    scene.set("circuits.csv", &[], &[("built", "yes")]);
    scene.set("lists/example.csv", &[("position", "IV")], &[("part_no", "EX-SHUT-W")]);
    let found = scene.buy_with_remedies().finding("B05", "EX-SHUT-6");
    assert!(found["reason"].contains("emed"), "{found:?}");
    assert!(!found["remedy"].to_lowercase().contains("cancel"), "{found:?}");
}

#[test]
fn what_fails_where_it_is_needed_is_said_before_it_is_ordered() {
    let scene = Scene::new();
    scene.set("components.csv", &[("part_no", "EX-SHUT-6")], &[("rated_pressure", "135")]);
    scene.remove("orders.csv", &[("part_no", "EX-SHUT-6")]);
    let run = scene.buy();
    let told = "does not conform where it is needed (P06)";
    assert!(run.row("Purchase", 1, "EX-SHUT-6")[14].contains(told), "{}", run.sheet("Purchase"));
    assert!(run.said.contains("Does not conform where it is needed"), "{}", run.said);
}

/// A waiver that waives nothing is no date to wait for.
#[test]
fn waivers_that_do_not_count_are_not_due() {
    let scene = Scene::new();
    let row = |rule: &str, reason: &str| format!("Example plant,P01,F1,1,,{rule},{reason},K. Lind,2027-12-29\n");
    let head = "plant,pallet,fixture,circuit,position,rule,reason,approved_by,expires\n";
    let rows = [row("*", "all"), row("XYZ", "agreed"), row("P13", ""), row("P06", "agreed")];
    scene.write("waivers.csv", &format!("{head}{}", rows.concat()));
    scene.buy();
    let due = scene.data("due.csv");
    let waivers: Vec<&str> = due.iter().map(|row| row["position"].as_str()).collect();
    assert_eq!(waivers, ["P06"]);
}

/// The second of two orders of one number and part keeps its name in the calendar once the first has come.
#[test]
fn an_order_keeps_its_name_in_the_calendar() {
    let entries = |received: &str| {
        let scene = Scene::new();
        ordered(&scene, CLAMP, &[("qty", "2"), ("promised_date", "2026-11-01"), ("received", received)]);
        scene.add("orders.csv", &[("part_no", CLAMP)], &[("promised_date", "2026-11-20"), ("received", "")]);
        scene.calendar()
    };
    let (both, second) = (entries(""), entries("2"));
    assert_eq!((both.len(), second.len()), (2, 1));
    assert_eq!(both["20261120"], second["20261120"]);
    assert_ne!(both["20261101"], both["20261120"]);
}

#[test]
fn money_and_numbers_read_as_sentences_do() {
    let scene = Scene::new();
    scene.set("components.csv", &[("part_no", CLAMP)], &[("currency", "eur")]);
    scene.remove("orders.csv", &[("part_no", CLAMP)]);
    scene.remove("orders.csv", &[("part_no", "EX-SHUT-6")]);
    // 4 x 118.00 + 62.00.
    let run = scene.buy();
    assert!(run.said.contains("To order: 2 parts, 534.00 EUR."), "{}", run.said);
    scene.set("components.csv", &[("part_no", CLAMP)], &[("currency", "")]);
    let run = scene.buy();
    assert!(run.said.contains("1 part, 472.00 without a currency"), "{}", run.said);
    scene.set("components.csv", &[("part_no", "EX-SHUT-6")], &[("lead_time", "300")]);
    let found = scene.buy().finding("B10", "EX-SHUT-6");
    assert!(found["reason"].starts_with("Short: 1 piece."), "{found:?}");
}

/// B02 is waived: nobody has ordered the clamps, and a plain pass would say that somebody has.
#[test]
fn purchasing_that_rests_on_a_waiver_says_so() {
    let scene = Scene::new();
    scene.remove("orders.csv", &[("part_no", CLAMP)]);
    let waiver = |until: &str| {
        let head = "pallet,fixture,circuit,position,rule,reason,approved_by,expires";
        scene.write("waivers.csv", &format!("{head}\n*,*,*,*,B02,from stock,A. Example,{until}\n"));
    };
    waiver("2027-06-30");
    let run = scene.buy();
    let told = format!("Purchasing: conforms with waivers (1: B02 {CLAMP}).");
    assert_eq!(run.status, 0, "{}", run.said);
    assert!(run.said.contains(&told), "{}", run.said);
    assert!(run.sheet("Summary").contains(&told), "{}", run.sheet("Summary"));
    assert!(scene.mail().replace("\n  ", " ").contains(&told), "{}", scene.mail());
    waiver("2026-11-28");
    assert!(scene.buy().said.contains("Purchasing: does not conform, 1 major"));
}

/// Circuit F1 is in service and its clamps are rated for 150 bar at 160; the change to the ordered clamps needs 4 of them. The 4 of
/// F2 are planned. With 10 on one order 2 are too many; nothing has to be ordered, and F1 can't wait for the date of the order.
#[test]
fn what_an_unsafe_circuit_waits_for_is_asked_for_earlier() {
    let scene = Scene::new();
    scene.circuit("F2", &[("need_date", "2027-01-15")]);
    scene.set("circuits.csv", &[("fixture", "F1")], &[("built", "yes")]);
    scene.set("stations.csv", &[], &[("built", "yes")]);
    scene.add("components.csv", &[("part_no", CLAMP)], &[("part_no", "EX-CLAMP-20L"), ("rated_pressure", "150")]);
    scene.set("lists/example.csv", &[("fixture", "F1"), ("part_no", CLAMP)], &[("part_no", "EX-CLAMP-20L")]);
    ordered(&scene, CLAMP, &[("qty", "10"), ("promised_date", "2027-02-10")]);
    let run = scene.buy_applied();
    let circuits = &run.said;
    let at = |words: &str| circuits.find(words).unwrap_or_else(|| panic!("{words}: {circuits}"));
    let told = "4 pieces wait for EX-005, promised for 2027-02-10; ask for an earlier part delivery";
    assert!(at("At once, for circuits that are unsafe in service") < at("Comes late"));
    assert!(at(&format!("unsafe in service: {told}.")) < at("Comes late"));
    // From 2027-01-15 to 2027-02-10 are 26 days.
    at("26 days late for 2027-01-15, and 4 pieces are wanted at once.");
    at("ordered more than needed (B04): 2 pieces at most may be cancelled, the rest is waited for at once.");
    let summary = run.sheet("Summary");
    assert!(summary.contains("At once") && summary.contains(told), "{summary}");
    let row = run.row("Purchase", 1, CLAMP);
    assert!(row[14].starts_with("at once for ") && row[14].contains(told), "{row:?}");
    assert!(row[14].contains("26 days late for 2027-01-15"), "{row:?}");
    assert_eq!((row[6].as_str(), row[11].as_str()), ("0", "4 at once, the rest 2027-01-15"), "{row:?}");
    // First of its supplier, though it is not to be ordered.
    let first = run.row("Purchase", 0, "Example supplier");
    assert_eq!(first[1], CLAMP, "{first:?}");
    assert!(run.sheet("Purchase").contains("With what 1 applied remedy needs."));
    // What has come may be fitted today.
    ordered(&scene, CLAMP, &[("received", "3")]);
    let run = scene.buy_applied();
    let told = "3 pieces have come and may be fitted, 1 piece waits for EX-005, promised for 2027-02-10";
    assert!(run.said.contains(told), "{}", run.said);
    // 8 are needed and 6 ordered. What has come is not ordered at once again: of 4 one is left.
    ordered(&scene, CLAMP, &[("qty", "6")]);
    let run = scene.buy_applied();
    let told = format!("{CLAMP}: 1 piece, for Example plant / P01 / F1 / 1, unsafe in service.");
    assert!(run.said.contains(&told), "{}", run.said);
    assert!(run.said.contains("unsafe in service: 3 pieces have come and may be fitted."), "{}", run.said);
    let row = run.row("Purchase", 1, CLAMP);
    assert_eq!((row[6].as_str(), row[11].as_str()), ("2", "1 at once, the rest 2027-01-15"), "{row:?}");
}
