//! Purchase: the bill against the orders, by supplier, with the sums of what is to be ordered.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::Worksheet;

use crate::audit::at_once::{AtOnce, WantedAtOnce, wanted_at_once};
use crate::audit::buying_doubts::Doubt;
use crate::audit::outcome::Audit;
use crate::audit::purchase::{PlacedOrder, orders_by_part};
use crate::audit::to_buy::{SupplierTotal, ToBuy, by_currency, by_supplier};
use crate::audit::waiting::Waiting;
use crate::report::buying_words::{
    failing_where_needed, on_order_at_once, received_in_words, totals, unsafe_in, used_in, waits_for,
};
use crate::rules::buying;
use crate::rules::catalogue;
use crate::tables::component::Component;
use crate::tables::counted::counted;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::purchase::{PurchaseRow, Replacement};
use crate::tables::words::{Kind, State, Status};

use super::findings::title;
use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Where the sums stand: of what, in which currency, how much.
const TOTAL: (u16, u16, u16) = (1, 9, 10);
const ORDERS: u16 = 13;
const REMARKS: u16 = 14;
/// Least width of a column of amounts.
const AMOUNT: f64 = 8.0;
/// Columns that are printed; what is right of Remarks is for the screen.
const PRINTED: u16 = 15;

/// A row of the table: a part of the bill, and what is to be ordered of it.
struct Shown<'a> {
    part_no: &'a str,
    /// None for a part that is ordered in the place of obsolete ones alone.
    row: Option<&'a PurchaseRow>,
    item: Option<&'a ToBuy>,
    /// Of what would be ordered.
    component: Option<&'a Component>,
    /// What circuits that are unsafe in service wait for, ordered already or not.
    at_once: Option<&'a AtOnce>,
    /// What of that need not be ordered.
    waiting: Option<&'a Waiting<'a>>,
}

impl<'a> Shown<'a> {
    fn supplier(&self) -> &'a str {
        self.component.map_or("", |part| part.supplier.trim())
    }

    /// When it is needed: what is ordered in the place of other parts may be needed before its own.
    fn needed_by(&self) -> String {
        if let Some(item) = self.item {
            return item.wanted();
        }
        let date = self.row.and_then(|row| row.need_date).map(|date| date.to_string());
        let is_all = |one: &&Waiting| one.row.needed <= one.to_come.saturating_add(one.has_come);
        if let Some(one) = self.waiting.filter(|one| !is_all(one)) {
            let amount = one.to_come.saturating_add(one.has_come).normalize();
            let rest = date.map_or_else(|| "the rest later".to_owned(), |date| format!("the rest {date}"));
            return format!("{amount} at once, {rest}");
        }
        let at_once = self.at_once.map(|_| "at once".to_owned());
        at_once.into_iter().chain(date).collect::<Vec<String>>().join(", ")
    }

    /// The last day to order it, where it is still to be ordered and is not wanted at once.
    fn order_by(&self) -> Option<NaiveDate> {
        self.item.filter(|item| !item.is_all_at_once()).and_then(|item| item.order_by)
    }

    /// What its amounts are counted in.
    fn unit(&self) -> &'static str {
        self.row.map(|row| row.uom).or(self.item.map(|item| item.uom)).unwrap_or_default()
    }

    fn pack(&self) -> Option<Decimal> {
        self.component?.pack_qty
    }

    /// As suppliers are told everywhere: by name, parts without one last; of each first what is to be ordered at once,
    /// then what is to be ordered.
    fn rank(&self) -> (bool, &'a str, u8, &'a str) {
        let urgency = match self.item {
            Some(item) if item.at_once > Decimal::ZERO => 0,
            _ if self.waiting.is_some() => 0,
            Some(_) => 1,
            None => 2,
        };
        (self.supplier().is_empty(), self.supplier(), urgency, self.part_no)
    }
}

fn all_shown<'a>(audit: &'a Audit, wanted: &'a WantedAtOnce, waiting: &'a BTreeMap<&str, Waiting>) -> Vec<Shown<'a>> {
    let plant = &audit.plant;
    let items: BTreeMap<&str, &ToBuy> = audit.to_buy.iter().map(|item| (item.part_no.as_str(), item)).collect();
    let mut named: BTreeSet<&str> = BTreeSet::new();
    let mut all: Vec<Shown> = Vec::with_capacity(audit.purchase.len());
    for row in &audit.purchase {
        named.insert(&row.part_no);
        let other = plant.component(&row.order_part).filter(|_| row.replacement.is_proved());
        let component = other.or_else(|| plant.component_at(row.component));
        let item = items.get(row.part_no.as_str()).copied();
        let at_once = row.component.and_then(|part| wanted.get(&part));
        let waiting = waiting.get(row.part_no.as_str());
        all.push(Shown { part_no: &row.part_no, row: Some(row), item, component, at_once, waiting });
    }
    for item in audit.to_buy.iter().filter(|item| !named.contains(item.part_no.as_str())) {
        let component = plant.component_at(item.component);
        let (part_no, item) = (item.part_no.as_str(), Some(item));
        all.push(Shown { part_no, row: None, item, component, at_once: None, waiting: None });
    }
    all.sort_by(|a, b| a.rank().cmp(&b.rank()));
    all
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let wanted = wanted_at_once(&audit.plant, &audit.remedies);
    let waiting = on_order_at_once(audit);
    let shown = all_shown(audit, &wanted, &waiting);
    let layout = layout(audit, &shown);
    let mut remarks: HashMap<&str, Vec<&Finding>> = HashMap::new();
    for finding in audit.elsewhere.iter().filter(|finding| finding.rule.starts_with(buying::FAMILY.letter)) {
        remarks.entry(&finding.part_no).or_default().push(finding);
    }
    let mut doubts: HashMap<&str, Vec<&Doubt>> = HashMap::new();
    for doubt in audit.buying.lacks.iter().chain(&audit.buying.notes) {
        doubts.entry(&doubt.part_no).or_default().push(doubt);
    }
    let failing = failing_where_needed(audit);
    let placed = orders_by_part(&audit.plant);
    let sums = by_supplier(&audit.to_buy);
    let mut grid = Grid::new(setup, &layout)?;
    for (index, one) in shown.iter().enumerate() {
        grid.begin_row()?;
        write_row(&mut grid, audit, one)?;
        grid.text(ORDERS, &orders_in_words(placed.get(one.part_no).map_or(&[][..], Vec::as_slice)))?;
        let findings = remarks.get(one.part_no).map_or(&[][..], Vec::as_slice);
        let of_part = doubts.get(one.part_no).map_or(&[][..], Vec::as_slice);
        let today = audit.plant.policy.date;
        grid.text(REMARKS, &remarks_of(one, findings, of_part, failing.get(one.part_no), today))?;
        let supplier = one.supplier();
        if shown.get(index + 1).is_none_or(|next| next.supplier() != supplier) {
            for sum in sums.iter().filter(|sum| sum.supplier == supplier) {
                let of = if supplier.is_empty() { "Total without supplier" } else { "Total of the supplier" };
                write_sum(&mut grid, supplier, of, sum)?;
            }
        }
    }
    for sum in by_currency(&audit.to_buy) {
        write_sum(&mut grid, "", "Total of all suppliers", &sum)?;
    }
    // What is about no part that has a row.
    let named: BTreeSet<&str> = shown.iter().map(|one| one.part_no).collect();
    for doubt in audit.buying.lacks.iter().chain(&audit.buying.notes) {
        if !named.contains(doubt.part_no.as_str()) {
            grid.begin_row()?;
            grid.text(1, &doubt.part_no)?;
            grid.text(REMARKS, &doubt.sentence)?;
        }
    }
    grid.finish()
}

fn layout(audit: &Audit, shown: &[Shown]) -> Layout {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let days = |header: &str| SheetColumn::new(header, 6.5, Look::Number(Digits::Whole));
    let amount = |header: &str, least: f64, of: &dyn Fn(&Shown) -> Option<Decimal>| {
        let numbers = shown.iter().filter_map(|one| Some((of(one).and_then(number)?, one.unit())));
        let widest = numbers.map(|(number, unit)| Digits::of_amount(number, unit).width_for([number].into_iter()));
        SheetColumn::new(header, widest.fold(least, f64::max), Look::Number(Digits::Two))
    };
    let money = |header: &str, amounts: &mut dyn Iterator<Item = Decimal>| {
        let widest = Digits::Money.width_for(amounts.filter_map(number));
        SheetColumn::new(header, widest.max(10.0), Look::Number(Digits::Money))
    };
    let sums = by_currency(&audit.to_buy);
    let remedies = audit.remedies.iter().filter(|row| row.is_applied()).count();
    let with = match remedies {
        0 => String::new(),
        1 => " With what 1 applied remedy needs.".to_owned(),
        many => format!(" With what {many} applied remedies need."),
    };
    let without = if audit.plant.orders.is_none() {
        " There is no orders table, so that nothing counts as ordered or in stock: purchasing was not assessed."
    } else {
        ""
    };
    Layout {
        name: "Purchase",
        note: format!(
            "Purchase, by supplier: the need of all circuits and stations that are not built.{with}{without} {}",
            totals(audit)
        ),
        columns: vec![
            wrapped("Supplier", 11.5),
            wrapped("Part", 15.0),
            wrapped("Description", 16.0),
            text("Unit", 5.5),
            amount("Needed", AMOUNT, &|one| one.row.map(|row| row.needed)),
            amount("Ordered", AMOUNT, &|one| one.row?.ordered),
            amount("To order", AMOUNT, &|one| Some(one.item?.quantity)),
            amount("Pack", 6.5, &|one| one.pack()),
            money("Unit price", &mut shown.iter().filter_map(|one| one.component?.unit_price)),
            wrapped("Cur- rency", 7.0),
            money("Extended price", &mut sums.iter().map(|sum| sum.sum)),
            wrapped("Needed by", 10.5),
            text("Order by", 10.5),
            wrapped("Orders", 19.0),
            wrapped("Remarks", 22.0),
            days("Late [days]"),
            days("Over- due [days]"),
            wrapped("Used in", 26.0),
            amount("Received", AMOUNT, &|one| Some(one.row?.received)),
            amount("For remedies", AMOUNT, &|one| Some(one.row?.of_remedies)),
            days("Circuits"),
            SheetColumn::new("Lead time [days]", 9.0, Look::Number(Digits::General)),
            wrapped("Plants", 12.0),
            text("Kind", 16.5),
            text("Status", 9.5),
            wrapped("Replaced by", 16.0),
            text("Promised", 10.5),
        ],
        frozen: 2,
        printed: PRINTED,
        pages_wide: 1,
    }
}

fn number(value: Decimal) -> Option<f64> {
    value.to_f64()
}

/// An amount, with the decimals of its unit.
fn write_amount(grid: &mut Grid, column: u16, amount: Option<Decimal>, unit: &str) -> Result<(), WorkbookError> {
    let Some(amount) = amount.and_then(number) else { return Ok(()) };
    let format = grid.setup.styles.number(Digits::of_amount(amount, unit));
    grid.number_as(column, amount, &format)
}

fn write_row(grid: &mut Grid, audit: &Audit, shown: &Shown) -> Result<(), WorkbookError> {
    grid.text(0, shown.supplier())?;
    grid.text(1, shown.part_no)?;
    if let Some(row) = shown.row {
        write_need(grid, &audit.plant, row)?;
    }
    write_order(grid, shown)?;
    grid.text(11, &shown.needed_by())?;
    if is_past(shown, audit.plant.policy.date)
        && let Some(date) = shown.order_by()
    {
        let bold = grid.setup.styles.bold.clone();
        grid.text_as(12, &date.to_string(), &bold)?;
    } else {
        write_date(grid, 12, shown.order_by())?;
    }
    if let Some(part) = shown.component {
        write_amount(grid, 7, shown.pack(), shown.unit())?;
        grid.optional(8, part.unit_price.and_then(number))?;
        grid.text(9, &part.currency)?;
        grid.optional(21, part.lead_time)?;
    }
    let own = shown.row.map_or(shown.component, |row| audit.plant.component_at(row.component));
    let Some(own) = own else { return Ok(()) };
    grid.text(2, &own.description)?;
    grid.text(23, own.kind.map_or("", Kind::word))?;
    grid.text(24, own.status.unwrap_or(Status::Active).word())?;
    grid.text(25, &own.replaced_by)
}

fn write_need(grid: &mut Grid, plant: &Plant, row: &PurchaseRow) -> Result<(), WorkbookError> {
    grid.text(3, row.uom)?;
    write_amount(grid, 4, Some(row.needed).filter(|_| !row.need_is_bound), row.uom)?;
    write_amount(grid, 5, row.ordered, row.uom)?;
    write_date(grid, 26, row.promised_date)?;
    #[allow(clippy::cast_precision_loss, reason = "days and counts of circuits are far below 2^53")]
    for (column, count) in [(15, row.days_late), (16, row.days_overdue)] {
        grid.optional(column, count.map(|count| count as f64))?;
    }
    grid.text(17, &used_in(&row.first_circuits, row.circuits))?;
    write_amount(grid, 18, Some(row.received).filter(|amount| *amount > Decimal::ZERO), row.uom)?;
    write_amount(grid, 19, Some(row.of_remedies).filter(|amount| *amount > Decimal::ZERO), row.uom)?;
    #[allow(clippy::cast_precision_loss, reason = "a count of circuits is far below 2^53")]
    grid.number(20, row.circuits as f64)?;
    let plants: Vec<&str> = row.plants.names(plant.services.names()).collect();
    grid.text(22, &plants.join("\n"))
}

/// What is to be ordered: in the row of the part that is ordered, obsolete ones that it replaces included.
fn write_order(grid: &mut Grid, shown: &Shown) -> Result<(), WorkbookError> {
    let Some(item) = shown.item else {
        let is_elsewhere = shown.row.is_some_and(|row| row.replacement.is_proved());
        let is_known = shown.row.is_none_or(|row| !row.need_is_bound);
        return if is_elsewhere || !is_known {
            Ok(())
        } else {
            write_amount(grid, 6, Some(Decimal::ZERO), shown.unit())
        };
    };
    // What is bought of a part is counted in its own unit. What may not be ordered yet is in the remarks alone: who orders
    // by this column would order it.
    if item.held_up.is_none() {
        write_amount(grid, 6, Some(item.quantity).filter(|_| !item.need_is_bound), item.uom)?;
        grid.optional(10, item.extended.and_then(number))?;
    }
    if shown.row.is_none() {
        grid.text(3, item.uom)?;
    }
    Ok(())
}

fn write_date(grid: &mut Grid, column: u16, date: Option<NaiveDate>) -> Result<(), WorkbookError> {
    grid.text(column, &date.map(|date| date.to_string()).unwrap_or_default())
}

/// A sum in a row of its own, where the supplier's rows end.
fn write_sum(grid: &mut Grid, supplier: &str, of: &str, sum: &SupplierTotal) -> Result<(), WorkbookError> {
    grid.begin_row()?;
    grid.text(0, supplier)?;
    let bold = &grid.setup.styles.bold_wrapped;
    grid.text_as(TOTAL.0, of, bold)?;
    grid.text_as(TOTAL.1, &sum.currency, bold)?;
    if sum.unpriced < sum.parts {
        let format = grid.setup.styles.bold_number(Digits::Money);
        grid.number_as(TOTAL.2, number(sum.sum).unwrap_or(f64::NAN), &format)?;
    }
    let unpriced =
        if sum.unpriced > 0 { format!("{} of {} parts have no price", sum.unpriced, sum.parts) } else { String::new() };
    grid.text(REMARKS, &unpriced)
}

/// Whether it is to be ordered, and the last day on which it would come in time is past.
fn is_past(shown: &Shown, today: NaiveDate) -> bool {
    let is_to_order = shown.item.is_some_and(|item| item.held_up.is_none());
    is_to_order && shown.order_by().is_some_and(|day| day < today)
}

fn remarks_of(
    shown: &Shown,
    findings: &[&Finding],
    doubts: &[&Doubt],
    failing: Option<&BTreeSet<&str>>,
    today: NaiveDate,
) -> String {
    let mut words: Vec<String> = findings
        .iter()
        .map(|finding| {
            let waived = if finding.state == State::Waived { " (waived)" } else { "" };
            // Of an order its number, by which the supplier is asked.
            let order = if finding.position.is_empty() { String::new() } else { format!(": {}", finding.position) };
            let title = title(catalogue::rule(finding.rule));
            format!("{} {} {title}{order}{waived}", finding.rule, finding.severity.word())
        })
        .collect();
    words.dedup();
    if let Some(row) = shown.row {
        if let Replacement::Proved(conforms_in) = &row.replacement {
            words.push(format!("obsolete: order {}, which conforms in {conforms_in}", row.order_part));
        }
        let days = |count: Option<i64>, what: &str| {
            count.map(|days| format!("{} {what}", counted(days.unsigned_abs(), "day")))
        };
        let to_come = shown.waiting.is_some_and(|one| one.to_come > Decimal::ZERO);
        match row.need_date.filter(|_| to_come) {
            Some(date) => words.extend(days(row.days_late, &format!("late for {date}"))),
            None => words.extend(days(row.days_late, "late")),
        }
        words.extend(days(row.days_overdue, "overdue"));
        if row.may_be_built {
            words.push("the need counts what may be built already: its built can't be read".to_owned());
        }
    }
    if is_past(shown, today) {
        words.insert(0, "the last day to order is past".to_owned());
    }
    if let Some(rules) = failing.filter(|_| shown.item.is_some()) {
        let rules: Vec<&str> = rules.iter().copied().collect();
        words.push(format!("does not conform where it is needed ({})", rules.join(", ")));
    }
    words.extend(doubts.iter().map(|doubt| doubt.sentence.clone()));
    if let Some(item) = shown.item {
        if !item.in_place_of.is_empty() {
            words.push(format!("in the place of {}", item.in_place_of.join(", ")));
        }
        if let Some(why) = &item.held_up {
            words.insert(0, format!("not to be ordered yet: {}", why.trim_end_matches('.')));
        }
    }
    let at_once = shown.item.map(|item| &item.at_once_for).or(shown.at_once.map(|at_once| &at_once.circuits));
    if let Some(circuits) = at_once.filter(|circuits| !circuits.is_empty()) {
        let waits = shown.waiting.map(|one| format!(": {}", waits_for(one))).unwrap_or_default();
        words.insert(0, format!("at once for {}{waits}", unsafe_in(circuits)));
    }
    words.join(";\n")
}

/// The orders of a part, each with what is to be expected of it: `MO-2677 2027-01-08`.
fn orders_in_words(orders: &[PlacedOrder]) -> String {
    const NAMED: usize = 8;
    let words = |(order, converted): &PlacedOrder| {
        let name = buying::order_name(order);
        let when = match order.promised_date {
            _ if buying::is_received(order) => "received".to_owned(),
            Some(date) => date.to_string(),
            None => "no date".to_owned(),
        };
        let part = received_in_words(order).map(|part| format!(", {part}")).unwrap_or_default();
        let counts = if order.qty.is_none() || converted.is_none() { ", counts as 0" } else { "" };
        format!("{name} {when}{part}{counts}")
    };
    let mut all: Vec<String> = orders.iter().take(NAMED).map(words).collect();
    if orders.len() > NAMED {
        all.push(format!("and {} more", orders.len() - NAMED));
    }
    all.join(";\n")
}
