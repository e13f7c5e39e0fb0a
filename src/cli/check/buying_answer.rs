//! What buying came to, for a screen: the verdict, what is to be ordered from whom, what comes late.

use crate::audit::outcome::Audit;
use crate::audit::to_buy::{SupplierTotal, by_supplier};
use crate::cli::screen::Screen;
use crate::report::buying_words::{doubts, held_up, late, overdue, total, totals, unsuited, verdict};

use super::answer::{Rank, Section, laid_out};

/// The answer in lines that the screen has room for.
///
/// * `relaxed` – what the policy takes out of the verdict, in a sentence
/// * `all` – whether everything is told, however long it gets
#[must_use]
pub fn answer(audit: &Audit, relaxed: Option<String>, screen: Screen, all: bool) -> Vec<String> {
    let section = |heading: &str, rows: Vec<(String, String)>| {
        let rows = rows.into_iter().map(|(part, sentence)| format!("{part}: {sentence}"));
        Section::new(heading, rows.collect(), Rank::default())
    };
    let sums = by_supplier(&audit.to_buy);
    let suppliers = Section::new("To order, by supplier", sums.iter().map(supplier).collect(), Rank::default());
    let sections = vec![
        section("Not to be read or counted, or worth a look", doubts(audit)),
        suppliers,
        section("Does not conform where it is needed", unsuited(audit)),
        section("Comes late, the latest first", late(audit)),
        section("Overdue, the longest first", overdue(audit)),
        section("To be decided before it is ordered", held_up(audit)),
    ];
    let sentences: Vec<String> = [verdict(audit), totals(audit)].into_iter().chain(relaxed).collect();
    laid_out(&sentences, sections, screen, all)
}

/// `Lindqvale Supply: 1 part, 328.00 EUR; order by 2027-01-25`.
fn supplier(sum: &SupplierTotal) -> String {
    let name = if sum.supplier.is_empty() { "No supplier given" } else { &sum.supplier };
    let date = sum.order_by.map(|date| format!("; order by {date}")).unwrap_or_default();
    format!("{name}: {}{date}", total(sum))
}
