use super::*;
use crate::audit::at_once::WantedAtOnce;
use crate::audit::to_buy::{by_currency, to_buy};
use crate::tables::policy::Policy;
use crate::tables::words::Kind;
use crate::tables::words::Uom;

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn plant() -> Plant {
    Plant::empty(Policy::at(chrono::NaiveDate::from_ymd_opt(2026, 3, 10).unwrap()))
}

fn add(plant: &mut Plant, kind: Kind, part_no: &str, price: &str, currency: &str, pack: &str) -> usize {
    let index = plant.components.len();
    plant.part_index.insert(part_no.to_owned(), u32::try_from(index).unwrap());
    plant.components.push(Component {
        kind: Some(kind),
        part_no: part_no.to_owned(),
        unit_price: price.parse().ok(),
        currency: currency.to_owned(),
        pack_qty: pack.parse().ok(),
        ..Component::default()
    });
    index
}

fn order(plant: &mut Plant, part_no: &str, qty: &str, uom: &str) {
    let component = plant.part_index.get(part_no).copied();
    let order = Order {
        part_no: part_no.to_owned(),
        component,
        qty: qty.parse().ok(),
        uom: uom.to_owned(),
        ..Order::default()
    };
    plant.orders.get_or_insert_default().push(order);
}

fn bill(plant: &Plant, usage: &[Usage]) -> Vec<PurchaseRow> {
    super::bill(plant, usage, &BTreeMap::new(), &BTreeMap::new())
}

fn pieces(pieces: i128) -> Usage {
    Usage { pieces, is_used: true, ..Usage::default() }
}

fn metres(millimetres: i128) -> Usage {
    Usage { pieces: 3, picometres: millimetres * 1_000_000_000, is_used: true, ..Usage::default() }
}

/// Part, unit, needed, ordered, to order, price of it.
fn columns(row: &PurchaseRow) -> (&str, &str, String, Option<String>, String, Option<String>) {
    let text = |amount: Decimal| amount.normalize().to_string();
    (&row.part_no, row.uom, text(row.needed), row.ordered.map(text), text(row.order_qty), row.extended.map(text))
}

fn line<'a>(
    part: &'a str,
    uom: &'a str,
    needed: &str,
    ordered: &str,
    to_order: &str,
    extended: &str,
) -> (&'a str, &'a str, String, Option<String>, String, Option<String>) {
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    (part, uom, needed.to_owned(), some(ordered), to_order.to_owned(), some(extended))
}

#[test]
fn the_bill_is_that_of_a_table_made_by_hand() {
    let mut plant = plant();
    let mut usage = Vec::new();
    add(&mut plant, Kind::Clamp, "C-1", "119.95", "EUR", "");
    usage.push(pieces(14)); // ordered 4 + 6: 4 to buy, 4 x 119.95 = 479.80
    add(&mut plant, Kind::Fitting, "F-1", "0.10", "EUR", "25");
    usage.push(pieces(113)); // ordered 30: 83, packs of 25: 100, 10.00
    add(&mut plant, Kind::Tube, "T-1", "7.35", "USD", "6");
    usage.push(metres(12_600)); // ordered 10 ft + 500 mm = 3.548 m: 9.052 m, packs of 6 m: 12 m, 88.20
    add(&mut plant, Kind::Gauge, "G-1", "", "EUR", "");
    usage.push(pieces(2)); // none ordered, no price
    add(&mut plant, Kind::CheckValve, "V-1", "50", "USD", "");
    usage.push(pieces(0)); // ordered and needed nowhere
    add(&mut plant, Kind::Hose, "H-1", "3", "", "");
    usage.push(metres(2_500)); // ordered in rolls, which count as 0: 2.5 m, 7.50 without a currency
    add(&mut plant, Kind::Pump, "P-1", "900", "EUR", "");
    usage.push(pieces(0)); // neither needed nor ordered: no row
    for (part, qty, uom) in [
        ("C-1", "4", ""),
        ("T-1", "10", "ft"),
        ("C-1", "6", "pcs"),
        ("F-1", "30", "each"),
        ("T-1", "500", "mm"),
        ("V-1", "2", ""),
        ("H-1", "9", "roll"),
        ("X-1", "5", ""),
    ] {
        order(&mut plant, part, qty, uom);
    }
    usage[0].circuits = 3;
    [1, 0].into_iter().for_each(|rank| usage[0].plants.insert(rank));
    let bill = bill(&plant, &usage);
    let rows: Vec<_> = bill.iter().map(columns).collect();
    assert_eq!(
        rows,
        [
            line("C-1", "each", "14", "10", "4", "479.8"),
            line("F-1", "each", "113", "30", "100", "10"),
            line("G-1", "each", "2", "0", "2", ""),
            line("H-1", "m", "2.5", "0", "2.5", "7.5"),
            line("T-1", "m", "12.6", "3.548", "12", "88.2"),
            line("V-1", "each", "0", "2", "0", "0"),
            line("X-1", "each", "0", "5", "0", ""),
        ]
    );
    assert_eq!((bill[0].circuits, &bill[0].plants), (3, &usage[0].plants));
    assert_eq!(bill[4].component, Some(2));

    // 479.80 + 10.00 = 489.80 EUR; 88.20 USD; never one sum. The hose waits until it is known what 9 rolls are.
    let totals = by_currency(&to_buy(&plant, &bill, &WantedAtOnce::new(), &crate::audit::to_buy::NearOrders::new()));
    let sums: Vec<(&str, Decimal, u64, u64)> =
        totals.iter().map(|total| (total.currency.as_str(), total.sum, total.parts, total.unpriced)).collect();
    assert_eq!(sums, [("EUR", dec("489.80"), 3, 1), ("USD", dec("88.20"), 1, 0)]);
}

#[test]
fn without_an_orders_table_everything_needed_is_to_be_bought() {
    let mut plant = plant();
    add(&mut plant, Kind::Clamp, "C-1", "2", "EUR", "");
    let bill = bill(&plant, &[pieces(3)]);
    assert_eq!(bill.iter().map(columns).collect::<Vec<_>>(), [line("C-1", "each", "3", "", "3", "6")]);
}

#[test]
fn money_keeps_its_cents() {
    let mut plant = plant();
    add(&mut plant, Kind::Fitting, "F-1", "0.1", "EUR", "");
    add(&mut plant, Kind::Fitting, "F-2", "0.2", "EUR", "");
    let bill = bill(&plant, &[pieces(1), pieces(1)]);
    assert_eq!(
        by_currency(&to_buy(&plant, &bill, &WantedAtOnce::new(), &crate::audit::to_buy::NearOrders::new()))[0].sum,
        dec("0.3")
    );
}

#[test]
fn a_length_in_feet_is_exact_where_feet_can_be() {
    let mut plant = plant();
    let tube = add(&mut plant, Kind::Tube, "T-1", "1", "USD", "");
    plant.components[tube].uom = Some(Uom::Ft);
    order(&mut plant, "T-1", "1", "m");
    order(&mut plant, "T-1", "2.048", "m");
    // 3.048 m are 10 ft, and 1 m + 2.048 m of orders are all of it, though 1 m has no end in feet.
    let usage = Usage { picometres: 3_048_000_000_000, ..Usage::default() };
    let bill = bill(&plant, &[usage]);
    assert_eq!(bill.iter().map(columns).collect::<Vec<_>>(), [line("T-1", "ft", "10", "10", "0", "0")]);
}

#[test]
fn a_tube_bought_by_the_piece_is_counted_in_pieces() {
    let mut plant = plant();
    let tube = add(&mut plant, Kind::Tube, "T-1", "1", "EUR", "");
    plant.components[tube].uom = Some(Uom::Each);
    let bill = bill(&plant, &[metres(900)]);
    assert_eq!(columns(&bill[0]), line("T-1", "each", "3", "", "3", "3"));
}

#[test]
fn more_than_can_be_written_is_a_lower_bound() {
    let mut plant = plant();
    add(&mut plant, Kind::Clamp, "C-1", "2", "EUR", "7");
    let bill = bill(&plant, &[pieces(i128::MAX)]);
    assert!(bill[0].need_is_bound);
}

#[test]
fn a_need_that_is_a_lower_bound_has_a_row_even_at_zero() {
    let mut plant = plant();
    add(&mut plant, Kind::Clamp, "C-1", "2", "EUR", "");
    let usage = Usage { need_is_bound: true, ..Usage::default() };
    assert_eq!(bill(&plant, &[usage]).len(), 1);
}
