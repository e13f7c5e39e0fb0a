use super::*;
use crate::rules::hand_made::{assert_is_told, today};
use crate::tables::order::Order;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::usage::Usage;
use crate::tables::words::Status;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn each(text: &str) -> Value {
    Value::Amount(dec(text), "each")
}

/// A part with its need and its orders.
struct Case {
    component: Option<Component>,
    usage: Usage,
    row: PurchaseRow,
    orders: Vec<(Order, Option<Decimal>)>,
    others: Vec<Component>,
}

/// So many needed, and one order row for each quantity; `?` is one that can't be converted.
fn case(needed: &str, ordered: &[&str]) -> Case {
    let orders: Vec<(Order, Option<Decimal>)> = ordered
        .iter()
        .map(|text| (Order { origin: Origin { source: 4, row: 7 }, ..Order::default() }, text.parse().ok()))
        .collect();
    let sum: Decimal = orders.iter().filter_map(|(_, converted)| *converted).sum();
    let needed = dec(needed);
    let row = PurchaseRow {
        component: Some(0),
        part_no: "C-1".to_owned(),
        uom: "each",
        needed,
        ordered: Some(sum),
        order_qty: (needed - sum).max(Decimal::ZERO),
        extended: None,
        circuits: 1,
        plants: Vec::new(),
        need_is_bound: false,
    };
    let component = Component { part_no: "C-1".to_owned(), ..Component::default() };
    let usage = Usage { is_used: true, circuits: 2, ..Usage::default() };
    Case { component: Some(component), usage, row, orders, others: Vec::new() }
}

impl Case {
    fn run(&self, rule: &Rule) -> Outcome {
        self.run_with(rule, Some(&self.row))
    }

    fn run_with(&self, rule: &Rule, purchase: Option<&PurchaseRow>) -> Outcome {
        let mut plant = Plant::empty(Policy::at(today()));
        for (index, other) in self.others.iter().enumerate() {
            plant.part_index.insert(other.part_no.clone(), u32::try_from(index).unwrap());
            plant.components.push(other.clone());
        }
        let orders: Vec<(&Order, Option<Decimal>)> =
            self.orders.iter().map(|(order, amount)| (order, *amount)).collect();
        let view = PartView {
            plant: &plant,
            component: self.component.as_ref(),
            part_no: "C-1",
            usage: &self.usage,
            repeats: &[],
            purchase,
            orders: &orders,
        };
        let mut outcome = Outcome::default();
        rule.checks.part.unwrap()(&view, &mut outcome);
        assert_is_told(rule, &outcome);
        outcome
    }
}

fn obsolete(replaced_by: &str) -> Case {
    let mut case = case("4", &[]);
    let part = case.component.as_mut().unwrap();
    part.status = Some(Status::Obsolete);
    part.replaced_by = replaced_by.to_owned();
    case
}

fn fact_names(outcome: &Outcome) -> Vec<&'static str> {
    outcome.hits.iter().flat_map(|hit| hit.facts.iter().map(|(name, _)| *name)).collect()
}

#[test]
fn b01_fires_on_obsolete_parts_in_use_without_any_orders_table() {
    let outcome = obsolete("C-2").run_with(&B01, None);
    assert_eq!(fact_names(&outcome), ["circuits", "replaced_by", "replacement_unknown"]);
    assert_eq!(fact_names(&obsolete("").run(&B01)), ["circuits", "without_replacement"]);
    let mut known = obsolete("C-2");
    known.others.push(Component { part_no: "C-2".to_owned(), ..Component::default() });
    assert_eq!(fact_names(&known.run(&B01)), ["circuits", "replaced_by"]);
    known.others[0].status = Some(Status::Obsolete);
    assert_eq!(fact_names(&known.run(&B01)), ["circuits", "replaced_by", "replacement_obsolete"]);
}

#[test]
fn b01_stays_quiet_on_active_parts_and_on_those_not_in_use() {
    let mut unused = obsolete("C-2");
    unused.usage.is_used = false;
    assert_eq!(unused.run(&B01), Outcome::default());
    let mut active = obsolete("C-2");
    active.component.as_mut().unwrap().status = Some(Status::Active);
    assert_eq!(active.run(&B01), Outcome::default());
    assert_eq!(case("4", &[]).run(&B01), Outcome::default());
}

#[test]
fn b02_fires_where_no_row_names_a_needed_part() {
    let outcome = case("4", &[]).run(&B02);
    assert_eq!((outcome.hits[0].measured.clone(), outcome.hits[0].limit.clone()), (Some(each("0")), Some(each("4"))));
    // A row that counts as 0 is a row: that is B03.
    assert_eq!(case("4", &["0"]).run(&B02), Outcome::default());
    assert_eq!(case("4", &["?"]).run(&B02), Outcome::default());
    assert_eq!(case("0", &[]).run(&B02), Outcome::default());
    assert_eq!(case("4", &[]).run_with(&B02, None), Outcome::default());
    let mut bound = case("0", &[]);
    bound.row.need_is_bound = true;
    assert!(fact_names(&bound.run(&B02)).contains(&"at_least"));
}

#[test]
fn b03_adds_order_rows_and_stays_quiet_at_the_need() {
    let outcome = case("12.6", &["6", "6"]).run(&B03);
    assert_eq!(
        (outcome.hits[0].measured.clone(), outcome.hits[0].limit.clone()),
        (Some(each("12")), Some(each("12.6")))
    );
    assert!(outcome.hits[0].facts.contains(&("shortfall", Value::Amount(dec("0.6"), "each"))));
    assert_eq!(case("12.6", &["6", "6.6"]).run(&B03), Outcome::default());
    assert_eq!(case("12.6", &["20"]).run(&B03), Outcome::default());
    // Within 1e-9 of the need.
    assert_eq!(case("10", &["9.999999995"]).run(&B03), Outcome::default());
    assert_eq!(case("10", &["9.9999"]).run(&B03).hits.len(), 1);
    assert_eq!(case("10", &[]).run(&B03), Outcome::default());
}

#[test]
fn b03_says_how_many_rows_count_as_nothing() {
    let outcome = case("4", &["?", "1", "?"]).run(&B03);
    assert!(outcome.hits[0].facts.contains(&("uncounted", Value::Count(2))));
    assert_eq!(case("4", &["?"]).run(&B03).hits[0].measured, Some(each("0")));
}

#[test]
fn b04_compares_with_whole_packs() {
    let packed = |needed: &str, ordered: &str| {
        let mut case = case(needed, &[ordered]);
        case.component.as_mut().unwrap().pack_qty = Some(dec("10"));
        case.run(&B04)
    };
    assert_eq!(packed("13", "20"), Outcome::default());
    let outcome = packed("13", "30");
    assert_eq!((outcome.hits[0].measured.clone(), outcome.hits[0].limit.clone()), (Some(each("30")), Some(each("20"))));
    assert_eq!(case("13", &["13"]).run(&B04), Outcome::default());
    assert_eq!(case("13", &["14"]).run(&B04).hits.len(), 1);
    assert_eq!(case("13", &["12"]).run(&B04), Outcome::default());
    // Needed nowhere is B05.
    assert_eq!(case("0", &["14"]).run(&B04), Outcome::default());
}

#[test]
fn b05_fires_on_orders_that_nothing_needs() {
    let outcome = case("0", &["2"]).run(&B05);
    assert_eq!((outcome.hits[0].measured.clone(), outcome.hits[0].limit.clone()), (Some(each("2")), Some(each("0"))));
    assert_eq!(fact_names(&outcome), ["built_with"]);
    assert_eq!(case("0", &["?"]).run(&B05).hits.len(), 1);
    assert_eq!(case("0", &[]).run(&B05), Outcome::default());
    assert_eq!(case("1", &["2"]).run(&B05), Outcome::default());
}

#[test]
fn b05_of_a_part_without_a_row_stands_on_its_order() {
    let mut unlisted = case("0", &["2"]);
    unlisted.component = None;
    // A line names it too: nobody can count what it needs.
    assert_eq!(unlisted.run(&B05), Outcome::default());
    unlisted.usage.is_used = false;
    let outcome = unlisted.run(&B05);
    assert_eq!(outcome.hits[0].origin, Some(Origin { source: 4, row: 7 }));
    assert_eq!(fact_names(&outcome), ["unlisted"]);
}

#[test]
fn an_unknown_need_leaves_amounts_alone() {
    for rule in [&B03, &B04, &B05] {
        for (needed, ordered) in [("4", "1"), ("4", "9"), ("0", "2")] {
            let mut bound = case(needed, &[ordered]);
            bound.row.need_is_bound = true;
            assert_eq!(bound.run(rule), Outcome::default(), "{} {needed} {ordered}", rule.code);
        }
    }
}
