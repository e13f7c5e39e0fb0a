use rust_decimal::Decimal;

use super::*;
use crate::physics::quantity::{Force, Length, Pressure, Temperature, Time, Volume};
use crate::physics::unit::UnitSystem;
use crate::rules::catalogue::rule;
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Subject;
use crate::tables::policy::Policy;
use crate::tables::value::Value;
use crate::tables::words::{Severity, Side, State};
use chrono::NaiveDate;

fn plant(units: UnitSystem) -> Plant {
    let mut policy = Policy::at(NaiveDate::from_ymd_opt(2026, 1, 31).unwrap());
    policy.units = units;
    Plant::empty(policy)
}

fn finding(code: &'static str) -> Finding {
    Finding {
        rule: code,
        severity: Severity::Major,
        state: State::Open,
        subject: Subject::Line,
        place: CircuitKey { pallet: "7".into(), fixture: "A".into(), circuit: "1".into(), ..CircuitKey::default() },
        side: Some(Side::Clamp),
        position: "C1".into(),
        part_no: "CL-2010".into(),
        measured: None,
        limit: None,
        facts: Vec::new(),
        origin: None,
        column: None,
        line: Some(0),
        waiver: None,
        remedy: None,
        has_change: false,
    }
}

#[test]
fn quantities_have_the_units_of_the_reader() {
    let pressure = Value::Pressure(Pressure::from_bar(250.0));
    assert_eq!(shown(&pressure, UnitSystem::Metric), "250 bar");
    // 250 bar = 25e6 Pa / 6894.757 Pa = 3625.94 psi.
    assert_eq!(shown(&pressure, UnitSystem::Us), "3626 psi");
    let volume = Value::Volume(Volume::from_in3(2.0));
    assert_eq!(shown(&volume, UnitSystem::Us), "2 in³");
    assert_eq!(shown(&volume, UnitSystem::Metric), "32.77 cm³");
    assert_eq!(shown(&Value::Length(Length::from_mm(63.5)), UnitSystem::Us), "2.5 in");
    assert_eq!(shown(&Value::Temperature(Temperature::from_celsius(-5.0)), UnitSystem::Metric), "-5 °C");
    assert_eq!(shown(&Value::Seconds(Time::new(1.5)), UnitSystem::Metric), "1.5 s");
    assert_eq!(shown(&Value::Minutes(Time::from_hours(2.0)), UnitSystem::Metric), "2 h");
}

#[test]
fn other_values_read_like_text() {
    let metric = UnitSystem::Metric;
    assert_eq!(shown(&Value::Amount(Decimal::new(1200, 2), "each"), metric), "12 pieces");
    assert_eq!(shown(&Value::Amount(Decimal::ONE, "each"), metric), "1 piece");
    assert_eq!(shown(&Value::Amount(Decimal::new(350, 2), "m"), metric), "3.5 m");
    assert_eq!(shown(&Value::Money(Decimal::new(1250, 2), "EUR".into()), metric), "12.50 EUR");
    assert_eq!(shown(&Value::Money(Decimal::new(1250, 2), String::new()), metric), "12.50");
    assert_eq!(shown(&Value::Date(NaiveDate::from_ymd_opt(2026, 3, 1).unwrap()), metric), "2026-03-01");
    let list = |items: &[&str]| Value::List(items.iter().map(|item| (*item).to_owned()).collect());
    assert_eq!(shown(&list(&["a"]), metric), "a");
    assert_eq!(shown(&list(&["a", "b"]), metric), "a and b");
    assert_eq!(shown(&list(&["a", "b", "c"]), metric), "a, b and c");
}

#[test]
fn a_value_beyond_its_limit_never_reads_like_it() {
    for beyond in [1e-2, 1e-4, 1e-6, 1e-8] {
        let limit = Value::Pressure(Pressure::from_bar(350.0));
        let value = Value::Pressure(Pressure::from_bar(350.0 * (1.0 + beyond)));
        for units in [UnitSystem::Metric, UnitSystem::Us] {
            let (value, limit) = shown_apart(&value, &limit, units);
            assert_ne!(value, limit, "{beyond}");
        }
    }
    let same = Value::Ratio(0.9);
    assert_eq!(shown_apart(&same, &same, UnitSystem::Metric), ("0.9".to_owned(), "0.9".to_owned()));
}

#[test]
fn a_reason_has_the_arithmetic_and_leaves_out_what_is_missing() {
    let bar = |value: f64| Value::Pressure(Pressure::from_bar(value));
    let mut weak = finding("P05");
    weak.measured = Some(bar(300.0));
    weak.limit = Some(bar(250.0));
    weak.facts = vec![("kind", Value::Text("clamp".into())), ("excess", bar(50.0))];
    let p05 = rule("P05").unwrap();
    assert_eq!(
        reason(&weak, p05, &plant(UnitSystem::Metric)),
        "The clamp CL-2010 at position C1 sees 300 bar on the clamp side and is rated for 250 bar, 50 bar less."
    );
    weak.position = String::new();
    weak.side = None;
    weak.facts.push(("pump", bar(320.0)));
    weak.facts.push(("ratio", Value::Ratio(1.0)));
    weak.facts.push(("return_loss", bar(20.0)));
    weak.facts.push(("full", bar(300.0)));
    assert_eq!(
        reason(&weak, p05, &plant(UnitSystem::Metric)),
        "The clamp CL-2010 sees 300 bar and is rated for 250 bar, 50 bar less. \
         Pump 320 bar × ratio 1 − return loss 20 bar = 300 bar."
    );
}

#[test]
fn values_are_never_read_as_patterns() {
    let mut unknown = finding("L01");
    unknown.facts = vec![("given", Value::Text("[{limit}]".into()))];
    assert_eq!(
        reason(&unknown, rule("L01").unwrap(), &plant(UnitSystem::Metric)),
        "The component table has no part '[{limit}]'. What depends on the part is unknown."
    );
}

#[test]
fn code_and_name_stand_together() {
    let p05 = rule("P05").unwrap();
    assert_eq!(headline(p05), "P05 part-rated-below-charge");
}

/// Who does the printed sum again gets what is printed: 186.2 - 175 is 11.2, not the 11.16 of 186.16 - 175.
#[test]
fn a_difference_is_that_of_the_printed_figures() {
    for (one, other, itself, expected) in [
        ("186.2 bar", "175 bar", "11.16 bar", "11.2 bar"),
        ("55824 N", "38698 N", "17125 N", "17126 N"),
        ("300 bar", "326 bar", "26 bar", "26 bar"),
        ("12.5 bar", "2.5 bar", "10.04 bar", "10 bar"),
        ("1.05", "0.995", "0.0551", "0.055"),
        ("-40 °C", "-42.5 °C", "2.54 °C", "2.5 °C"),
        // Nothing would be left, or it is the difference of other figures.
        ("38.88 cm³", "38.88 cm³", "0.0012 cm³", "0.0012 cm³"),
        ("326 bar", "160 bar", "25 bar", "25 bar"),
        ("326 bar", "160 N", "166 bar", "166 bar"),
        ("beyond any number", "160 bar", "166 bar", "166 bar"),
    ] {
        let mut words = format!("Short by {itself}");
        put_difference(one, other, "Short by ".len(), &mut words);
        assert_eq!(words.strip_prefix("Short by "), Some(expected), "{one} - {other}");
    }
}

/// Each sum worked by hand from the figures as they stand in the sentence: 100 bar are 1450.377 psi.
#[test]
fn sums_come_out_as_they_are_printed() {
    let bar = |value: f64| Value::Pressure(Pressure::from_bar(value));
    let newton = |value: f64| Value::Force(Force::new(value));
    let told = |code: &'static str, units, measured: Value, limit: Value, facts: Vec<(&'static str, Value)>| {
        let one = Finding { measured: Some(measured), limit: Some(limit), facts, ..finding(code) };
        reason(&one, rule(code).unwrap(), &plant(units))
    };
    // 1450.4 - 475.5 = 974.9; with four digits 1450 - 475.5 would be 974.5 and not 974.9.
    let cold = told("H02", UnitSystem::Us, bar(32.786), bar(100.0), vec![("shortfall", bar(100.0 - 32.786))]);
    assert!(cold.contains("1450.4 psi - 475.5 psi = 974.9 psi short"), "{cold}");
    // 0.5 × 1450.38 = 725.19, 0.9 × 1450.38 = 1305.342.
    let share = |share: f64| Value::Number(share);
    let facts = vec![
        ("share", share(0.5)),
        ("pressure_min", bar(100.0)),
        ("other_share", share(0.9)),
        ("other_limit", bar(90.0)),
        ("relation", Value::Text("below".into())),
    ];
    let precharge = told("H04", UnitSystem::Us, bar(40.0), bar(50.0), facts.clone());
    assert!(precharge.contains("0.5 × 1450.38 psi = 725.19 psi"), "{precharge}");
    assert!(precharge.contains("0.9 × 1450.38 psi = 1305.34 psi"), "{precharge}");
    // Where they come out with four digits there are no more.
    let precharge = told("H04", UnitSystem::Metric, bar(40.0), bar(50.0), facts);
    assert!(precharge.contains("0.5 × 100 bar = 50 bar"), "{precharge}");
    // 2 × 24000 × 185.43 / 230 = 38698.4; 1.5 × 37216 = 55824; 55824 - 38698 = 17126.
    let support = 2.0 * 24_000.0 * 185.43 / 230.0;
    let facts = vec![
        ("qty", share(2.0)),
        ("support_capacity", newton(24_000.0)),
        ("pressure", bar(185.43)),
        ("capacity_from", bar(0.0)),
        ("rated_pressure", bar(230.0)),
        ("factor", share(1.5)),
        ("load", newton(37_216.0)),
        ("shortfall", newton(55_824.0 - support)),
    ];
    let support = told("F03", UnitSystem::Metric, newton(support), newton(55_824.0), facts);
    assert!(support.contains("2 × 24000 N × (185.43 bar - 0 bar) / (230 bar - 0 bar) = 38698 N"), "{support}");
    assert!(support.contains("55824 N - 38698 N = 17126 N short"), "{support}");
}

/// 10.20 EUR, not 10.2 EUR.
#[test]
fn money_has_its_hundredths_in_a_difference_too() {
    let money = |cents: i64| Value::Money(Decimal::new(cents, 2), "EUR".into());
    let facts = vec![("list_price", money(23_600)), ("tolerance", Value::Number(0.05)), ("excess", money(1_020))];
    let dear = Finding { measured: Some(money(25_800)), limit: Some(money(24_780)), facts, ..finding("B08") };
    let words = reason(&dear, rule("B08").unwrap(), &plant(UnitSystem::Metric));
    assert!(words.contains("258.00 EUR - 247.80 EUR = 10.20 EUR too much"), "{words}");
}
