//! How much there is room for where the answer goes.

/// Columns and rows that a terminal is taken to have where it does not say.
const COLUMNS: usize = 80;
const ROWS: usize = 24;

/// A terminal, or what stands in its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    pub columns: usize,
    /// One of them is the prompt's.
    pub rows: usize,
    /// Whether rows that are too long are cut; who reads a file or a pipe has room for them.
    pub cuts: bool,
}

impl Screen {
    /// Of standard output: `COLUMNS` and `LINES` where they are set, else what the terminal says of itself.
    #[must_use]
    pub fn of_output() -> Self {
        let terminal = terminal_size::terminal_size_of(std::io::stdout());
        let set = |name: &str| std::env::var(name).ok().and_then(|number| number.parse().ok()).filter(|size| *size > 0);
        let (columns, rows) = (set("COLUMNS"), set("LINES"));
        let is_known = terminal.is_some() || columns.is_some();
        let (wide, high) =
            terminal.map_or((COLUMNS, ROWS), |(wide, high)| (usize::from(wide.0).max(1), usize::from(high.0)));
        // What does not fit so few rows is worth scrolling for.
        Self { columns: columns.unwrap_or(wide), rows: rows.unwrap_or(high).max(ROWS), cuts: is_known }
    }

    /// A terminal of the usual height.
    #[must_use]
    pub const fn of_columns(columns: usize) -> Self {
        Self { columns, rows: ROWS, cuts: true }
    }
}
