//! The text of a header's cell.

use crate::tables::words::folded;

use super::cell::{clean, trimmed};

/// A header as headers are compared.
pub(crate) fn fold(text: &str) -> String {
    folded(&clean(text))
}

/// `stroke [mm]` is `stroke` and `mm`.
pub(crate) fn bracketed(text: &str) -> Option<(&str, &str)> {
    let (open, close) = if text.ends_with(']') { ('[', ']') } else { ('(', ')') };
    let inner = text.strip_suffix(close)?;
    let (name, unit) = inner.rsplit_once(open)?;
    Some((trimmed(name), trimmed(unit)))
}
