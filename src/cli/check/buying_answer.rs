//! What buying came to, for a screen: the verdict, what is to be ordered from whom, what comes late.

use crate::audit::outcome::Audit;
use crate::audit::to_buy::{SupplierTotal, by_supplier};
use crate::cli::screen::Screen;
use crate::report::buying_words::{
    at_once, doubts, held_up, late, order_by, overdue, to_change, total, totals, uncounted, unsuited, verdict,
};

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
        section("At once, for circuits that are unsafe in service", at_once(audit)),
        section("Not to be read or counted, or worth a look", doubts(audit)),
        section("To be settled before it is ordered", held_up(audit)),
        suppliers,
        section("Does not conform where it is needed", unsuited(audit)),
        section("Comes late, the latest first", late(audit)),
        section("Overdue, the longest first", overdue(audit)),
        section("Orders to ask about or to change", to_change(audit)),
    ];
    let sentences = [verdict(audit), totals(audit)].into_iter().chain(uncounted(audit)).chain(relaxed);
    let sentences: Vec<String> = sentences.collect();
    laid_out(&sentences, sections, screen, all)
}

/// `Lindqvale Supply: 3 parts, 328.00 EUR; order 1 at once, the rest by 2027-01-25`.
fn supplier(sum: &SupplierTotal) -> String {
    let name = if sum.supplier.is_empty() { "No supplier given" } else { &sum.supplier };
    let order = order_by(sum).map(|when| format!("; order {when}")).unwrap_or_default();
    format!("{name}: {}{order}", total(sum))
}
