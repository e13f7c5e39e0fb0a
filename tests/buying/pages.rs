//! What the buyer reads: what to order by when, against which order, and what goes first. Order numbers, dates and
//! quantities are those of the sample plant's `orders.csv`, as a reader finds them there.

use std::collections::BTreeMap;
use std::path::Path;

use crate::requests::sheets;
use crate::run::{Row, check, rows};

/// What a run says, its workbook as text and its data.
struct Buyer {
    said: String,
    sheets: BTreeMap<String, Vec<Vec<String>>>,
    findings: Vec<Row>,
    purchase: Vec<Row>,
}

fn buyer(more: &[&str]) -> Buyer {
    let folder = tempfile::tempdir().unwrap();
    let (data, out) = (folder.path().join("data"), folder.path().join("buy.xlsx"));
    let plant = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let options = ["--quiet", "--only", "purchase", "--all", "--out", out.to_str().unwrap()];
    let said = check(&plant, &data, &[&options, more].concat()).1;
    let texts = |cells: Vec<Vec<calamine::Data>>| -> Vec<Vec<String>> {
        cells.iter().map(|row| row.iter().map(ToString::to_string).collect()).collect()
    };
    Buyer {
        said: said.split_whitespace().collect::<Vec<_>>().join(" "),
        sheets: sheets(&out).into_iter().map(|(name, cells)| (name, texts(cells))).collect(),
        findings: rows(&data.join("findings.csv")),
        purchase: rows(&data.join("purchase.csv")),
    }
}

impl Buyer {
    /// A part's cell on the sheet Purchase.
    fn cell(&self, part: &str, column: &str) -> &str {
        let sheet = &self.sheets["Purchase"];
        let header = sheet.iter().position(|row| row[1] == "Part").unwrap();
        let at = sheet[header].iter().position(|name| name == column).unwrap();
        &sheet.iter().find(|row| row[1] == part).unwrap()[at]
    }

    /// All of a sheet's text.
    fn text(&self, sheet: &str) -> String {
        self.sheets[sheet].iter().flatten().filter(|cell| !cell.is_empty()).cloned().collect::<Vec<_>>().join(" | ")
    }

    /// Rows of the requests for quotation, by part.
    fn asked(&self) -> BTreeMap<&str, &Vec<String>> {
        let own = ["Summary", "Purchase", "Findings", "Sources"];
        let requests = self.sheets.iter().filter(|(name, _)| !own.contains(&name.as_str()));
        requests.flat_map(|(_, cells)| cells).filter(|row| row.len() > 6).map(|row| (row[1].as_str(), row)).collect()
    }

    fn majors(&self) -> usize {
        let is_one =
            |row: &&Row| row["rule"].starts_with('B') && row["severity"] == "major" && row["state"] != "waived";
        self.findings.iter().filter(is_one).count()
    }
}

#[test]
fn an_order_that_counts_as_0_is_settled_before_anything_is_ordered_anew() {
    // MO-2782 orders 2 pieces of REED-10, a tube that is counted in m: they may be the 9.7 m that are needed.
    let run = buyer(&[]);
    let settle = "Order MO-2782 counts as 0";
    assert!(run.said.contains(&format!("To be settled before it is ordered REED-10: {settle}")), "{}", run.said);
    assert!(run.text("Summary").contains(&format!("To settle first | REED-10 | {settle}")), "{}", run.text("Summary"));
    assert_eq!((run.cell("REED-10", "To order"), run.cell("REED-10", "Extended price")), ("", ""));
    assert!(run.cell("REED-10", "Remarks").starts_with(&format!("not to be ordered yet: {settle}")));
    assert!(run.cell("REED-10", "Orders").ends_with("counts as 0"));
    assert!(!run.asked().contains_key("REED-10") && run.asked().contains_key("KESTREL-28"), "{:?}", run.asked());
    let is_short = |row: &&Row| row["rule"] == "B03" && row["part_no"] == "REED-10";
    let short = run.findings.iter().find(is_short).unwrap();
    assert!(short["remedy"].starts_with("First settle order MO-2782"), "{short:?}");
    // Nobody else's remedy is changed, and the data file holds the arithmetic as it is.
    let other = run.findings.iter().find(|row| row["rule"] == "B03" && row["part_no"] == "KESTREL-28").unwrap();
    assert!(other["remedy"].starts_with("Order the difference"), "{other:?}");
    let row = run.purchase.iter().find(|row| row["part_no"] == "REED-10").unwrap();
    assert_eq!((row["ordered"].as_str(), row["order_qty"].as_str()), ("0", "12"));
}

#[test]
fn an_order_is_told_by_its_number_wherever_it_is_chased_or_changed() {
    let run = buyer(&[]);
    // Promised for 2026-11-13, and the plant's date is 2026-11-25.
    assert!(run.said.contains("SLATE-4: MO-2831, promised for 2026-11-13: 12 days overdue."), "{}", run.said);
    assert!(run.cell("SLATE-4", "Remarks").contains("overdue: MO-2831"), "{}", run.cell("SLATE-4", "Remarks"));
    assert_eq!(run.cell("SLATE-4", "Orders"), "MO-2831 2026-11-13");
    // Needed on 2027-02-15.
    assert!(run.said.contains("POND-13: MO-2768, promised for 2027-03-30: 43 days late"), "{}", run.said);
    // 94 days: LOCK-120 has no order, and comes in 90 days from one of today.
    assert!(run.said.contains("LOCK-120: ordered today: 8 days late"), "{}", run.said);
    // Needed nowhere.
    assert!(run.text("Summary").contains("WEIR-6S | MO-2880: ordered part that is needed nowhere (B05)."));
    assert_eq!(run.cell("FINCH-13", "Orders"), "MO-2670 received;\nMO-2677 2027-01-08");
    assert_eq!(run.cell("OTTER-240", "Orders"), "MO-2747 no date");
}

#[test]
fn what_needs_no_order_has_no_day_to_order_by_and_what_has_come_is_no_promise() {
    let run = buyer(&[]);
    let sheet = &run.sheets["Purchase"];
    let header = sheet.iter().position(|row| row[1] == "Part").unwrap();
    let parts: Vec<&str> = sheet[header + 1..].iter().map(|row| row[1].as_str()).collect();
    let mut blank = 0;
    for part in run.purchase.iter().map(|row| row["part_no"].as_str()).filter(|part| parts.contains(part)) {
        let row = run.purchase.iter().find(|row| row["part_no"] == part).unwrap();
        let shown = run.cell(part, "Order by");
        assert_eq!(shown, if row["order_qty"] == "0" { "" } else { row["order_by"].as_str() }, "{part}");
        blank += u64::from(shown.is_empty() && !row["order_by"].is_empty());
    }
    assert!(blank > 20, "{blank}");
    assert_eq!(run.cell("DIAL-250", "Orders"), "MO-2635 received");
    // What is late of a supplier is counted of what is still to be ordered.
    assert!(run.text("Summary").contains("Parts to order | Without price | Late, of these"));
}

#[test]
fn what_makes_an_unsafe_circuit_safe_is_wanted_at_once_and_told_first() {
    let (without, with) = (buyer(&[]), buyer(&["--with-remedies"]));
    // T03 / drum / 2 is built and does not conform; the 4 ordered ones are for planned circuits, needed on 2027-02-15.
    assert_eq!((with.cell("HAZEL-30", "Needed by"), with.cell("HAZEL-30", "To order")), ("at once", "2"));
    let remarks = with.cell("HAZEL-30", "Remarks");
    assert!(remarks.starts_with("at once for Tarnholm / T03 / drum / 2, unsafe in service"), "{remarks}");
    assert_eq!(with.cell("KESTREL-28", "Needed by"), "2027-02-15");
    assert_eq!(
        (with.asked()["HAZEL-30"][6].as_str(), with.asked()["KESTREL-28"][6].as_str()),
        ("at once", "2027-02-15")
    );
    let at = |words: &str| with.said.find(words).unwrap_or_else(|| panic!("{words}: {}", with.said));
    assert!(at("At once, for circuits that are unsafe in service") < at("To order, by supplier"));
    assert!(with.said.contains("HAZEL-30: 2 pieces, for Tarnholm / T03 / drum / 2, unsafe in service."));
    let order: Vec<&str> = with.sheets["Purchase"].iter().map(|row| row[1].as_str()).collect();
    let place = |part: &str| order.iter().position(|name| *name == part).unwrap();
    assert!(place("SWIFT-22") < place("KESTREL-28") && place("KESTREL-28") < place("ALDER-16"), "{order:?}");
    // What is only proposed is told apart from what was not ordered.
    let more = with.majors() - without.majors();
    assert!(more > 10);
    let apart = format!("{more} majors of these are of what proposed changes need alone.");
    assert!(with.said.contains(&apart) && with.text("Summary").contains(&apart), "{}", with.said);
    assert!(!without.said.contains("proposed changes"), "{}", without.said);
    assert!(without.said.contains("unsafe in service; --with-remedies counts them."), "{}", without.said);
    assert!(!with.said.contains("--with-remedies counts them"), "{}", with.said);
}
