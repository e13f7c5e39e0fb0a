//! Numbers of things in words.

/// `0 circuits`, `1 circuit`, `2 circuits`.
#[must_use]
pub fn counted(number: u64, word: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {word}{plural}")
}

/// `no circuits`, `1 circuit`, `2 circuits`.
#[must_use]
pub fn counted_or_no(number: u64, word: &str) -> String {
    if number == 0 { format!("no {word}s") } else { counted(number, word) }
}

/// `1 does not conform`, `3 do not conform`.
#[must_use]
pub fn failing(number: u64) -> String {
    format!("{number} {}", if number == 1 { "does not conform" } else { "do not conform" })
}
