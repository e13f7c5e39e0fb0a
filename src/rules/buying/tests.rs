use super::*;
use crate::rules::test_circuit::{assert_is_told, day, today};
use crate::rules::view::{PartAround, PartSuccession};
use crate::tables::circuit::CircuitKey;
use crate::tables::order::Order;
use crate::tables::origin::CellFault;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::usage::Usage;
use crate::tables::words::Kind;
use crate::tables::words::Status;
use crate::tables::words::Uom;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn each(text: &str) -> Value {
    Value::Amount(dec(text), "each")
}

/// A part with its need and its orders.
pub(super) struct Case {
    pub component: Option<Component>,
    pub usage: Usage,
    pub row: PurchaseRow,
    orders: Vec<(Order, Option<Decimal>)>,
    others: Vec<Component>,
    around: PartAround,
    /// Days from an order of it.
    pub lead_time: Option<f64>,
}

/// So many needed, and one order row for each quantity; `?` is one that can't be converted.
pub(super) fn case(needed: &str, ordered: &[&str]) -> Case {
    let orders: Vec<(Order, Option<Decimal>)> = ordered
        .iter()
        .map(|text| {
            let qty = text.parse().ok().or(Some(Decimal::ONE));
            (Order { origin: Origin { source: 4, row: 7 }, qty, ..Order::default() }, text.parse().ok())
        })
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
        circuits: 1,
        order_part: "C-1".to_owned(),
        ..PurchaseRow::default()
    };
    let component = Component { part_no: "C-1".to_owned(), ..Component::default() };
    let usage = Usage { is_used: true, circuits: 2, ..Usage::default() };
    Case {
        component: Some(component),
        usage,
        row,
        orders,
        others: Vec::new(),
        around: PartAround::default(),
        lead_time: None,
    }
}

impl Case {
    pub fn run(&self, rule: &Rule) -> Outcome {
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
            around: &self.around,
            succession: PartSuccession { lead_time: self.lead_time, ..PartSuccession::default() },
        };
        let mut outcome = Outcome::default();
        rule.checks.part.unwrap()(&view, &mut outcome);
        assert_is_told(rule, &outcome);
        outcome
    }
}

pub(super) fn obsolete(replaced_by: &str) -> Case {
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
fn b03_names_the_rows_that_count_as_nothing() {
    let outcome = case("4", &["?", "1", "?"]).run(&B03);
    let uncounted = outcome.hits[0].facts.iter().find(|(name, _)| *name == "uncounted").unwrap();
    assert!(matches!(&uncounted.1, Value::List(names) if names.len() == 2), "{uncounted:?}");
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
    assert_eq!(fact_names(&outcome), ["given"]);
    // What the table has instead is told as it is of lists.
    for (near, names) in [("c-1", vec!["given", "twin", "difference"]), ("C-12", vec!["given", "nearest"])] {
        unlisted.others = vec![Component { part_no: near.to_owned(), ..Component::default() }];
        assert_eq!(fact_names(&unlisted.run(&B05)), names, "{near}");
    }
}

#[test]
fn b02_names_what_orders_may_have_meant() {
    let mut meant = case("4", &[]);
    assert_eq!(fact_names(&meant.run(&B02)), ["circuits"]);
    meant.around.near_orders = vec!["c-1".to_owned()];
    assert_eq!(fact_names(&meant.run(&B02)), ["near", "circuits"]);
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

pub(super) fn run_order(rule: &Rule, order: &Order, component: Option<&Component>, usage: Option<&Usage>) -> Outcome {
    let plant = Plant::empty(Policy::at(today()));
    let needed_by = usage.and_then(|usage| usage.earliest_need.as_ref());
    let view =
        OrderView { plant: &plant, order, component, needed_by, in_place_of: None, converted: None, today: today() };
    let mut outcome = Outcome::default();
    rule.checks.order.unwrap()(&view, &mut outcome);
    assert_is_told(rule, &outcome);
    outcome
}

pub(super) fn needed(date: NaiveDate) -> Usage {
    let circuit = CircuitKey { fixture: "F1".into(), circuit: "1".into(), ..CircuitKey::default() };
    Usage { earliest_need: Some((date, circuit)), ..Usage::default() }
}

pub(super) fn promised(date: Option<NaiveDate>) -> Order {
    Order { part_no: "C-1".to_owned(), order_no: "4711".to_owned(), promised_date: date, ..Order::default() }
}

#[test]
fn b06_fires_after_the_day_and_not_on_it() {
    let usage = needed(day(2026, 4, 1));
    assert_eq!(run_order(&B06, &promised(Some(day(2026, 4, 1))), None, Some(&usage)), Outcome::default());
    assert_eq!(run_order(&B06, &promised(Some(day(2026, 3, 1))), None, Some(&usage)), Outcome::default());
    let outcome = run_order(&B06, &promised(Some(day(2026, 4, 3))), None, Some(&usage));
    assert_eq!(outcome.hits[0].measured, Some(Value::Date(day(2026, 4, 3))));
    assert_eq!(outcome.hits[0].limit, Some(Value::Date(day(2026, 4, 1))));
    assert!(outcome.hits[0].facts.contains(&("days", Value::Count(2))));
    assert_eq!(run_order(&B06, &promised(Some(day(2026, 4, 3))), None, None), Outcome::default());
}

#[test]
fn b06_without_a_date_counts_the_lead_time_from_today() {
    let slow = Component { lead_time: Some(21.5), ..Component::default() };
    // 22 days after 2026-03-10 is 2026-04-01.
    assert_eq!(run_order(&B06, &promised(None), Some(&slow), Some(&needed(day(2026, 4, 1)))), Outcome::default());
    let outcome = run_order(&B06, &promised(None), Some(&slow), Some(&needed(day(2026, 3, 31))));
    assert!(outcome.hits[0].facts.contains(&("expected", Value::Date(day(2026, 4, 1)))));
    assert_eq!(
        run_order(&B06, &promised(None), Some(&Component::default()), Some(&needed(today()))),
        Outcome::default()
    );
    let endless = Component { lead_time: Some(1e300), ..Component::default() };
    assert_eq!(run_order(&B06, &promised(None), Some(&endless), Some(&needed(today()))).hits.len(), 1);
}

#[test]
fn b06_does_not_guess_a_date_that_can_not_be_read() {
    let slow = Component { lead_time: Some(300.0), ..Component::default() };
    let mut order = promised(None);
    order.faults.push(CellFault {
        column: "promised_date",
        letter: "H".to_owned(),
        found: "03/04/26".to_owned(),
        expected: "a date such as 2026-03-10".to_owned(),
    });
    assert_eq!(run_order(&B06, &order, Some(&slow), Some(&needed(today()))), Outcome::default());
}

#[test]
fn b07_fires_where_the_units_do_not_measure_the_same() {
    let tube = Component { kind: Some(Kind::Tube), ..Component::default() };
    let order = |uom: &str| Order { uom: uom.to_owned(), qty: Some(Decimal::new(3, 0)), ..promised(None) };
    for uom in ["", "m", "ft", "mm", "IN"] {
        assert_eq!(run_order(&B07, &order(uom), Some(&tube), None), Outcome::default(), "{uom}");
    }
    for uom in ["roll", "each", "kg"] {
        let outcome = run_order(&B07, &order(uom), Some(&tube), None);
        assert_eq!(outcome.hits.len(), 1, "{uom}");
        assert!(outcome.hits[0].facts.contains(&("part_uom", Value::Text("m".to_owned()))));
    }
    // Nothing to convert to, where the component table lacks the part.
    assert_eq!(run_order(&B07, &order("roll"), None, None), Outcome::default());
    // A quantity that can't be read is no matter of the unit.
    let unread = Order { qty: None, ..order("m") };
    assert_eq!(run_order(&B07, &unread, Some(&tube), None), Outcome::default());
}

fn priced(price: &str, currency: &str) -> (Option<Decimal>, String) {
    (Some(price.parse().unwrap()), currency.to_owned())
}

pub(super) fn run_price(order: &str, currency: &str, uom: &str) -> Outcome {
    let (unit_price, own) = priced("40.00", "EUR");
    let component =
        Component { kind: Some(Kind::Tube), unit_price, currency: own, uom: Some(Uom::M), ..Component::default() };
    let (unit_price, currency) = priced(order, currency);
    let order = Order { unit_price, currency, uom: uom.to_owned(), ..promised(None) };
    run_order(&B08, &order, Some(&component), None)
}

#[test]
fn b08_compares_in_one_currency_and_unit_alone() {
    // 40.00 x 1.05 = 42.00.
    for (price, currency, uom) in
        [("42.00", "EUR", "m"), ("39.00", "EUR", ""), ("90.00", "USD", "m"), ("90.00", "", "m"), ("90.00", "EUR", "ft")]
    {
        assert_eq!(run_price(price, currency, uom), Outcome::default(), "{price} {currency} per {uom}");
    }
    let hit = &run_price("42.01", "EUR", "").hits[0];
    let euros = |text: &str| Value::Money(text.parse().unwrap(), "EUR".to_owned());
    assert_eq!((hit.measured.clone(), hit.limit.clone()), (Some(euros("42.01")), Some(euros("42.00"))));
    assert!(hit.facts.contains(&("excess", euros("0.01"))));
}
