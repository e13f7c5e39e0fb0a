//! What a formula is, for everybody who reads of it.

/// A formula with everything of it that a reader may ever see; README and Basis are made from it.
///
/// It stands beside the function that works it out, and nowhere else.
#[derive(Debug, PartialEq, Eq)]
pub struct Formula {
    /// The function, with the type that it belongs to: `Demand::total`.
    pub function: &'static str,
    /// What it gives: `Swept volume`.
    pub figure: &'static str,
    /// Of the result, in SI.
    pub unit: &'static str,
    /// In symbols, as its source writes it.
    pub formula: &'static str,
    /// What the symbols mean that the formulas before it don't have.
    pub symbols: &'static str,
    /// Where it holds.
    pub validity: &'static str,
    /// Author, title, section; or `common practice, no source`.
    pub source: &'static str,
}
