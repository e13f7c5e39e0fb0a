//! Bounds that keep a broken or hostile file from taking the machine.

use super::error::ReadError;

/// A number with a comma between thousands, for a sentence.
pub(crate) fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut grouped = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

/// Refuses what is larger than the policy lets in.
pub(crate) fn at_most(place: &str, what: &str, found: u64, most: u64, unit: &str, key: &str) -> Result<(), ReadError> {
    if found <= most {
        return Ok(());
    }
    Err(ReadError::new(format!(
        "{place}: {what} {}{unit}, more than the {}{unit} that [bounds] {key} of the policy allows.",
        grouped(found),
        grouped(most)
    )))
}

/// Refuses a file that is larger than so many MiB.
pub(crate) fn file_size(file: &str, bytes: u64, most_mib: u64, key: &str) -> Result<(), ReadError> {
    at_most(file, "the file has", bytes.div_ceil(1 << 20), most_mib, " MiB", key)
}
