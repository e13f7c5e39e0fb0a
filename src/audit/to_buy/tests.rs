use super::*;
use crate::tables::policy::Policy;

fn item(supplier: &str, currency: &str, cents: Option<i64>) -> ToBuy {
    ToBuy {
        supplier: supplier.to_owned(),
        currency: currency.to_owned(),
        extended: cents.map(|cents| Decimal::new(cents, 2)),
        ..ToBuy::default()
    }
}

#[test]
fn sums_are_exact_to_the_cent_over_a_million_rows() {
    // Cents as whole numbers, added without a decimal: prices of 1 cent to some millions, none of them a binary fraction.
    let (suppliers, currencies) = (["Ash", "Birch", "Cedar", ""], ["EUR", "USD", "JPY"]);
    let mut expected: BTreeMap<(usize, usize), i128> = BTreeMap::new();
    let mut items = Vec::with_capacity(1_000_000);
    let mut state = 1_u64;
    for _ in 0..1_000_000 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let (cents, supplier, currency) = ((state >> 33) % 999_999_999 + 1, (state >> 10) % 4, (state >> 20) % 3);
        let cents = i64::try_from(cents).unwrap();
        let (supplier, currency) = (usize::try_from(supplier).unwrap(), usize::try_from(currency).unwrap());
        *expected.entry((supplier, currency)).or_default() += i128::from(cents);
        items.push(item(suppliers[supplier], currencies[currency], Some(cents)));
    }
    let totals = by_supplier(&items);
    assert_eq!(totals.len(), 12);
    for total in &totals {
        let supplier = suppliers.iter().position(|name| *name == total.supplier).unwrap();
        let currency = currencies.iter().position(|name| *name == total.currency).unwrap();
        assert_eq!(total.sum, Decimal::from_i128_with_scale(expected[&(supplier, currency)], 2));
    }
    for total in by_currency(&items) {
        let currency = currencies.iter().position(|name| *name == total.currency).unwrap();
        let sum: i128 = expected.iter().filter(|((_, of), _)| *of == currency).map(|(_, sum)| sum).sum();
        assert_eq!(total.sum, Decimal::from_i128_with_scale(sum, 2));
    }
}

#[test]
fn currencies_are_never_added_and_parts_without_a_price_are_counted() {
    let held = ToBuy { held_up: Some("It is obsolete.".to_owned()), ..item("Ash", "EUR", Some(900)) };
    let items = [item("Ash", "EUR", Some(100)), item("Ash", "USD", Some(200)), item("Ash", "EUR", None), held];
    let sums: Vec<(String, Decimal, u64, u64)> =
        by_supplier(&items).into_iter().map(|total| (total.currency, total.sum, total.parts, total.unpriced)).collect();
    let cents = |cents| Decimal::new(cents, 2);
    assert_eq!(sums, [("EUR".to_owned(), cents(100), 2, 1), ("USD".to_owned(), cents(200), 1, 0)]);
}

#[test]
fn an_obsolete_part_is_ordered_as_what_is_proved_to_replace_it_in_packs_of_that() {
    let mut plant = Plant::empty(Policy::at(NaiveDate::from_ymd_opt(2026, 3, 10).unwrap()));
    for (index, (name, pack)) in (0_u32..).zip([("OLD", 1), ("NEW", 10), ("GONE", 1)]) {
        plant.part_index.insert(name.to_owned(), index);
        plant.components.push(Component {
            part_no: name.to_owned(),
            unit_price: Some(Decimal::from(3)),
            pack_qty: Some(Decimal::from(pack)),
            ..Component::default()
        });
    }
    let row = |index: u32, name: &str, order_part: &str, replacement| PurchaseRow {
        component: Some(index),
        part_no: name.to_owned(),
        uom: "each",
        needed: Decimal::from(4),
        order_qty: Decimal::from(4),
        order_part: order_part.to_owned(),
        replacement,
        ..PurchaseRow::default()
    };
    let rows = [
        row(2, "GONE", "GONE", Replacement::Unproved("it conforms in 0 of 1 circuit".to_owned())),
        row(1, "NEW", "NEW", Replacement::None),
        row(0, "OLD", "NEW", Replacement::Proved("1 of 1 circuit".to_owned())),
    ];
    let items = to_buy(&plant, &rows, &WantedAtOnce::new(), &NearOrders::new());
    let shown: Vec<_> =
        items.iter().map(|item| (item.part_no.as_str(), item.quantity, item.held_up.is_some())).collect();
    // 4 + 4 pieces are one pack of 10; what is not proved waits.
    assert_eq!(shown, [("GONE", Decimal::from(4), true), ("NEW", Decimal::from(10), false)]);
    assert_eq!(items[1].in_place_of, ["OLD"]);
    assert_eq!(items[1].extended, Some(Decimal::from(30)));
}
