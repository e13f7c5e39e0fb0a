//! A place as a reader writes it, `plant/pallet/fixture/circuit`, as short as it is unambiguous.

use super::circuit::CircuitKey;
use super::escaped::escaped;

/// Candidates that a sentence names at most.
const MOST: usize = 8;
/// Names that are compared with one that isn't there: a search by distance over very many would take long.
const COMPARED: usize = 200_000;

/// A place that leads to none, or to more than one; the sentence for the user.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct PlaceError(pub String);

impl CircuitKey {
    /// `plant/pallet/fixture/circuit` without what is empty: what a place is written as.
    #[must_use]
    pub fn path(&self) -> String {
        joined(&[&self.plant, &self.pallet, &self.fixture, &self.circuit])
    }

    /// `plant/pallet` without what is empty.
    #[must_use]
    pub fn pallet_path(&self) -> String {
        joined(&[&self.plant, &self.pallet])
    }
}

/// Names of a place as its path, without what is empty.
#[must_use]
pub fn joined(parts: &[&str]) -> String {
    let named: Vec<&str> = parts.iter().copied().filter(|part| !part.is_empty()).collect();
    named.join("/")
}

/// What stands between slashes, without the blanks around it.
fn parts_of(text: &str) -> Vec<String> {
    text.split('/').map(str::trim).filter(|part| !part.is_empty()).map(str::to_owned).collect()
}

/// Whether the wanted parts stand in the path, in their order, others between them or not.
fn is_within(wanted: &[String], path: &[String]) -> bool {
    let mut rest = path.iter();
    wanted.iter().all(|part| rest.any(|own| own == part))
}

/// The one of some paths that a place names, by its index.
///
/// A place that is a whole path names that one; else each part of it must stand in the path, in their order. Case
/// counts where it tells two paths apart.
///
/// # Errors
/// Where none is meant, with the nearest, or more than one, with the candidates.
pub fn named<T: AsRef<str>>(wanted: &str, what: &str, paths: &[T]) -> Result<usize, PlaceError> {
    let spelt = parts_of(wanted);
    let parts: Vec<String> = spelt.iter().map(|part| part.to_lowercase()).collect();
    let shown = escaped(wanted);
    if parts.is_empty() {
        let expected = "Expected a place such as plant/pallet/fixture/circuit, or as much of it as tells it apart.";
        return Err(PlaceError(format!("'{shown}' names no {what}. {expected}")));
    }
    if let Some(whole) = paths.iter().position(|path| parts_of(path.as_ref()) == spelt) {
        return Ok(whole);
    }
    let fitting = |wanted: &[String], in_lower_case: bool| -> Vec<usize> {
        let own = |path: &T| {
            let parts = parts_of(path.as_ref());
            if in_lower_case { parts.iter().map(|part| part.to_lowercase()).collect() } else { parts }
        };
        (0..paths.len()).filter(|index| is_within(wanted, &own(&paths[*index]))).collect()
    };
    let mut found = fitting(&parts, true);
    if found.len() > 1 {
        let exact = fitting(&spelt, false);
        found = if exact.is_empty() { found } else { exact };
    }
    match found.as_slice() {
        [one] => Ok(*one),
        [] => {
            let near = nearest(&parts, paths).map(|near| format!(" The nearest is {}.", escaped(near)));
            Err(PlaceError(format!("There is no {what} '{shown}'.{}", near.unwrap_or_default())))
        }
        several => {
            let first = several.iter().take(MOST).map(|index| escaped(paths[*index].as_ref()));
            let named: Vec<_> = first.collect();
            let more = several.len() - named.len();
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            Err(PlaceError(format!(
                "'{shown}' may be any of {} {what}s: {}{more}. Write as much of it as tells them apart.",
                several.len(),
                named.join(", ")
            )))
        }
    }
}

/// The path with the least changed letters; each part of a place is compared with the part that it is nearest to.
fn nearest<'a, T: AsRef<str>>(parts: &[String], paths: &'a [T]) -> Option<&'a str> {
    let distance = |path: &str| -> usize {
        let own: Vec<String> = parts_of(path).iter().map(|part| part.to_lowercase()).collect();
        let of_part = |part: &String| own.iter().map(|own| strsim::osa_distance(part, own)).min().unwrap_or_default();
        parts.iter().map(of_part).sum()
    };
    paths.iter().take(COMPARED).map(AsRef::as_ref).min_by_key(|path| distance(path))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PATHS: [&str; 6] =
        ["North/P1/left/1", "North/P1/left/2", "North/P2/base/1", "South/P9/a/b/1", "South/p1/base/1", "North/P3/L/2"];

    fn find(place: &str) -> Result<&'static str, String> {
        named(place, "circuit", &PATHS).map(|index| PATHS[index]).map_err(|error| error.to_string())
    }

    #[test]
    fn a_place_may_be_as_short_as_it_is_unambiguous() {
        for (place, path) in [
            ("North/P1/left/2", "North/P1/left/2"),
            ("North / P1 / left / 2", "North/P1/left/2"),
            ("left/2", "North/P1/left/2"),
            ("P2", "North/P2/base/1"),
            ("p2/1", "North/P2/base/1"),
            ("P9/1", "South/P9/a/b/1"),
            ("a/b", "South/P9/a/b/1"),
            // Another case is another pallet where both are there.
            ("p1", "South/p1/base/1"),
        ] {
            assert_eq!(find(place), Ok(path), "{place}");
        }
    }

    #[test]
    fn an_ambiguous_place_lists_the_candidates_and_an_unknown_one_names_the_nearest() {
        let said = find("P1/left").unwrap_err();
        assert!(said.contains("2 circuits: North/P1/left/1, North/P1/left/2."), "{said}");
        assert!(find("P3/LL/2").unwrap_err().ends_with("The nearest is North/P3/L/2."));
        assert!(find(" / ").unwrap_err().contains("names no circuit"));
        // In their order: a circuit 1 has no pallet below it.
        assert!(find("1/P2").is_err());
    }
}
