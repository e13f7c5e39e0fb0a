//! What the contract says of a plant, in whole numbers: pieces and metres in millionths.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::plant::{Circuit, Line, Part, Plant, TODAY};
use crate::run::Row;

/// Millionths of a piece or of a metre in one of the unit, and whether it is a length. Exact by NIST SP 811.
fn unit(word: &str) -> Option<(i128, bool)> {
    Some(match word {
        "each" | "pcs" | "ST" => (1_000_000, false),
        "m" | "Mtr" => (1_000_000, true),
        "cm" => (10_000, true),
        "mm" => (1_000, true),
        "in" => (25_400, true),
        "ft" => (304_800, true),
        _ => return None,
    })
}

/// A decimal as millionths.
fn millionths(text: &str) -> Option<i128> {
    if text.is_empty() {
        return None;
    }
    let (whole, rest) = text.split_once('.').unwrap_or((text, ""));
    Some(whole.parse::<i128>().unwrap() * 1_000_000 + format!("{rest:0<6}").parse::<i128>().unwrap())
}

fn is_conductor(part: &Part) -> bool {
    matches!(part.kind.as_str(), "tube" | "hose")
}

/// The unit that a part is bought in, as it stands in the file.
fn uom(part: &Part) -> &str {
    match part.uom.as_str() {
        "" if is_conductor(part) => "m",
        "" | "ST" => "each",
        "Mtr" => "m",
        other => other,
    }
}

/// Need in millionths of a piece or metre; `None` where a line can't be counted.
fn line_need(part: &Part, line: &Line) -> Option<i128> {
    let pieces = millionths(&line.qty)?;
    if is_conductor(part) && unit(uom(part))?.1 {
        // Millimetres are thousandths of a metre.
        return Some(pieces / 1_000_000 * millionths(&line.length)? / 1_000);
    }
    Some(pieces)
}

#[derive(Default)]
struct Need {
    amount: i128,
    is_bound: bool,
    circuits: BTreeSet<usize>,
    date: Option<NaiveDate>,
}

fn date(text: &str) -> Option<NaiveDate> {
    text.parse().ok()
}

/// Circuits not built that use a part on a line or through their station.
fn need(plant: &Plant, part: &Part) -> Need {
    let mut need = Need::default();
    for (index, circuit) in plant.circuits.iter().enumerate().filter(|(_, circuit)| !circuit.built) {
        let mine = || plant.lines.iter().filter(|line| line.circuit == index && line.part == part.part_no);
        for line in mine() {
            match line_need(part, line) {
                Some(amount) => need.amount += amount,
                None => need.is_bound = true,
            }
        }
        if mine().next().is_some() || uses_through_station(plant, circuit, part) {
            need.circuits.insert(index);
            need.date = need.date.into_iter().chain(date(&circuit.need_date)).min();
        }
    }
    for (_, pump, ram, built) in &plant.stations {
        let count = i128::from(*pump == part.part_no) + i128::from(*ram == part.part_no);
        need.amount += if *built { 0 } else { count * 1_000_000 };
    }
    need
}

fn uses_through_station(plant: &Plant, circuit: &Circuit, part: &Part) -> bool {
    plant
        .stations
        .iter()
        .any(|(name, pump, ram, _)| *name == circuit.station && (*pump == part.part_no || *ram == part.part_no))
}

/// What the orders of a part come to, in millionths of a piece or metre.
fn ordered(plant: &Plant, part_no: &str, part_unit: &str) -> i128 {
    let is_length = unit(part_unit).unwrap().1;
    let usual = |part: &Part| if is_conductor(part) { "m" } else { "each" };
    let usual = plant.parts.iter().find(|part| part.part_no == part_no).map_or("each", usual);
    let mine = plant.orders.iter().flatten().filter(|order| order.part == part_no);
    mine.filter_map(|order| {
        let word = if order.uom.is_empty() { usual } else { &order.uom };
        let (factor, of_length) = unit(word)?;
        (of_length == is_length).then(|| millionths(&order.qty).unwrap() * factor / 1_000_000)
    })
    .sum()
}

/// An amount in its unit, as text.
#[allow(clippy::cast_precision_loss, reason = "compared to nine digits")]
fn shown(millionths: i128, word: &str) -> String {
    (millionths as f64 / unit(word).unwrap().0 as f64).to_string()
}

/// The whole packs that hold an amount: their number and the amount in units of the part, in millionths.
fn in_packs(amount: i128, pack: &str, word: &str) -> i128 {
    let Some(pack) = millionths(pack) else { return amount };
    let pack = pack * unit(word).unwrap().0 / 1_000_000;
    (amount + pack - 1) / pack * pack
}

fn days_before(date: NaiveDate, lead_time: &str) -> Option<NaiveDate> {
    let days = millionths(lead_time)?;
    date.checked_sub_days(Days::new(u64::try_from((days + 999_999) / 1_000_000).unwrap()))
}

/// Rows of `purchase.csv` by part number.
pub fn purchase(plant: &Plant) -> BTreeMap<String, Row> {
    let part = |name: &str| plant.parts.iter().find(|part| part.part_no == name);
    let needs: BTreeMap<&str, Need> =
        plant.parts.iter().map(|part| (part.part_no.as_str(), need(plant, part))).collect();
    let mut orders: BTreeMap<&str, i128> =
        plant.parts.iter().map(|part| (part.part_no.as_str(), ordered(plant, &part.part_no, uom(part)))).collect();
    let own = orders.clone();
    for part in plant.parts.iter().filter(|part| part.status == "obsolete") {
        // What is ordered of the other beyond its own need; each has one that it alone is replaced by.
        let (mine, other) = (&needs[part.part_no.as_str()], &needs[part.replaced_by.as_str()]);
        let other_part = plant.parts.iter().find(|other| other.part_no == part.replaced_by).unwrap();
        let alike = unit(uom(part)).unwrap().1 == unit(uom(other_part)).unwrap().1;
        if !mine.is_bound && !other.is_bound && alike {
            let spare = (own[part.replaced_by.as_str()] - other.amount).max(0);
            let short = (mine.amount - own[part.part_no.as_str()]).max(0);
            *orders.get_mut(part.part_no.as_str()).unwrap() += spare.min(short);
        }
    }
    let mut rows = BTreeMap::new();
    for (name, need) in &needs {
        let part = part(name).unwrap();
        let named = plant.orders.iter().flatten().any(|order| order.part == *name);
        if need.amount == 0 && !need.is_bound && !named {
            continue;
        }
        let got = if plant.orders.is_some() { orders[name] } else { 0 };
        rows.insert((*name).to_owned(), row(plant, part, need, got));
    }
    if let Some(first) = plant.orders.iter().flatten().find(|order| order.part == "X99") {
        let words =
            || plant.orders.iter().flatten().filter(|order| order.part == "X99").map(|order| order.uom.as_str());
        let word = words().map(|word| if word.is_empty() { "each" } else { word }).find(|word| unit(word).is_some());
        let word = match word.unwrap_or("each") {
            "ST" | "pcs" => "each",
            "Mtr" => "m",
            other => other,
        };
        let mut row = Row::new();
        row.insert("part_no".to_owned(), first.part.clone());
        row.insert("uom".to_owned(), word.to_owned());
        row.insert("ordered".to_owned(), shown(ordered(plant, "X99", word), word));
        row.insert("needed".to_owned(), "0".to_owned());
        row.insert("order_qty".to_owned(), "0".to_owned());
        // What is needed of it can't be counted, but by whom and when it is needed can.
        let users = need(plant, &Part { part_no: first.part.clone(), ..Part::default() });
        row.insert("circuits".to_owned(), users.circuits.len().to_string());
        row.insert("need_date".to_owned(), users.date.map(|date| date.to_string()).unwrap_or_default());
        row.insert("order_by".to_owned(), String::new());
        row.insert("order_part".to_owned(), first.part.clone());
        rows.insert(first.part.clone(), row);
    }
    rows
}

fn row(plant: &Plant, part: &Part, need: &Need, got: i128) -> Row {
    let word = uom(part);
    let order = in_packs((need.amount - got).max(0), &part.pack, word);
    let is_obsolete = part.status == "obsolete";
    let order_part = if is_obsolete { &part.replaced_by } else { &part.part_no };
    let buy = plant.parts.iter().find(|part| part.part_no == *order_part).unwrap();
    let known = |text: String| if need.is_bound { String::new() } else { text };
    let promised = plant.orders.iter().flatten().filter(|order| order.part == part.part_no);
    let promised = promised.filter_map(|order| date(&order.promised)).max();
    let iso = |date: Option<NaiveDate>| date.map(|date| date.to_string()).unwrap_or_default();
    #[allow(clippy::cast_precision_loss, reason = "compared to nine digits")]
    let extended = millionths(&part.price)
        .map(|price| (order as f64 / unit(word).unwrap().0 as f64 * price as f64 / 1e6).to_string());
    [
        ("uom", word.to_owned()),
        ("needed", known(shown(need.amount, word))),
        ("ordered", shown(got, word)),
        ("order_qty", known(shown(order, word))),
        ("unit_price", part.price.clone()),
        ("currency", part.currency.clone()),
        ("extended", known(extended.unwrap_or_default())),
        ("circuits", need.circuits.len().to_string()),
        ("supplier", part.supplier.clone()),
        ("lead_time_days", part.lead_time.clone()),
        ("status", part.status.clone()),
        ("replaced_by", part.replaced_by.clone()),
        ("need_date", iso(need.date)),
        ("order_by", iso(need.date.and_then(|date| days_before(date, &buy.lead_time)))),
        ("promised_date", iso(promised)),
        ("order_part", order_part.clone()),
    ]
    .into_iter()
    .map(|(column, cell)| (column.to_owned(), cell))
    .collect()
}

/// Rows of `due.csv`. How long a filling lasts is taken from the circuits.
pub fn due_list(plant: &Plant, circuits: &[Row]) -> Vec<Row> {
    let mut all = Vec::new();
    let place = |circuit: &Circuit| {
        let name = circuit.name.as_str();
        [("plant", "N"), ("pallet", name), ("fixture", "F"), ("circuit", name)]
            .map(|(column, cell)| (column, cell.to_owned()))
    };
    let nowhere = ["plant", "pallet", "fixture", "circuit"].map(|column| (column, String::new()));
    let after = |since: &str, days: f64| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "days that a life lasts")]
        date(since).unwrap().checked_add_days(Days::new(days.floor() as u64))
    };
    for line in plant.lines.iter().filter(|line| !line.fitted_on.is_empty()) {
        let Some(part) = plant.parts.iter().find(|part| part.part_no == line.part) else { continue };
        let circuit = &plant.circuits[line.circuit];
        let a_day: f64 = circuit.cycles_per_day.parse().unwrap_or(0.0);
        let cycles = part.cycle_life.parse::<f64>().ok().filter(|_| a_day > 0.0).map(|life| life / a_day);
        for (what, days) in [("service life", part.service_life.parse().ok()), ("cycle life", cycles)] {
            let until = days.and_then(|days| after(&line.fitted_on, days));
            all.extend(until.map(|until| due(what, &line.part, place(circuit), &line.position, until)));
        }
    }
    for circuit in &plant.circuits {
        let found = circuits.iter().find(|row| row["circuit"] == circuit.name).unwrap();
        if let (Ok(days), false) = (found["topup_days"].parse(), circuit.topped_up.is_empty()) {
            let until = after(&circuit.topped_up, days);
            all.extend(until.map(|until| due("top-up", "", place(circuit), "", until)));
        }
    }
    for (rule, expires) in &plant.waivers {
        all.push(due("waiver", "", nowhere.clone(), rule, date(expires).unwrap()));
    }
    for order in plant.orders.iter().flatten() {
        let came = millionths(&order.received).unwrap_or(0) >= millionths(&order.qty).unwrap();
        let late = date(&order.promised).filter(|promised| *promised < date(TODAY).unwrap() && !came);
        all.extend(late.map(|promised| due("order", &order.part, nowhere.clone(), &order.order_no, promised)));
    }
    all
}

fn due(what: &str, part: &str, place: [(&str, String); 4], position: &str, until: NaiveDate) -> Row {
    let days = (until - date(TODAY).unwrap()).num_days();
    let cells = [
        ("what", what.to_owned()),
        ("part_no", part.to_owned()),
        ("position", position.to_owned()),
        ("date", until.to_string()),
        ("days", days.to_string()),
    ];
    cells.into_iter().chain(place).map(|(column, cell)| (column.to_owned(), cell)).collect()
}
