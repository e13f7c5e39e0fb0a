//! How a text names a place: `fixture/circuit` is a fixture and a circuit with a stroke between.

use crate::tables::words::{PLACE, folded};

/// Names of a place and what stands between them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct PlaceForm {
    pub names: Vec<&'static str>,
    between: Vec<String>,
}

impl PlaceForm {
    /// The form that a policy names.
    ///
    /// # Errors
    /// What was expected instead.
    pub(crate) fn of(text: &str) -> Result<Self, String> {
        let fault = || {
            format!(
                "found \"{text}\", expected names of a place with a sign between, such as \"fixture/circuit\" or \"pallet fixture/circuit\""
            )
        };
        let mut form = Self { names: Vec::new(), between: Vec::new() };
        let mut rest = text.trim();
        while !rest.is_empty() {
            let end = rest.find(|letter: char| !letter.is_alphanumeric()).unwrap_or(rest.len());
            let (word, after) = rest.split_at(end);
            let name = PLACE.into_iter().find(|name| folded(name) == folded(word)).ok_or_else(fault)?;
            let next = after.find(char::is_alphanumeric).unwrap_or(after.len());
            let (between, after) = after.split_at(next);
            if form.names.contains(&name) || after.is_empty() != between.is_empty() {
                return Err(fault());
            }
            form.names.push(name);
            if !between.is_empty() {
                form.between.push(between.to_owned());
            }
            rest = after;
        }
        if form.names.is_empty() { Err(fault()) } else { Ok(form) }
    }

    /// The parts of a text that has this form; `None` for another one. A sign that stands in the text
    /// more often than in the form could part it in two ways, and parts it in none.
    pub(crate) fn parts(&self, text: &str) -> Option<Vec<(&'static str, String)>> {
        let mut rest = text.trim();
        let mut parts = Vec::new();
        for (index, name) in self.names.iter().enumerate() {
            let part = match self.between.get(index) {
                Some(between) => {
                    let sign = if between.trim().is_empty() { between.as_str() } else { between.trim() };
                    let (part, after) = rest.split_once(sign)?;
                    rest = after.trim_start();
                    part
                }
                None => std::mem::take(&mut rest),
            };
            let part = part.trim();
            let is_open = self.between.iter().any(|sign| match sign.trim() {
                "" => part.contains(char::is_whitespace),
                sign => part.contains(sign),
            });
            if part.is_empty() || is_open {
                return None;
            }
            parts.push((*name, part.to_owned()));
        }
        Some(parts)
    }

    /// As the policy writes it.
    pub(crate) fn text(&self) -> String {
        let mut text = String::new();
        for (index, name) in self.names.iter().enumerate() {
            text.push_str(name);
            text.push_str(self.between.get(index).map_or("", String::as_str));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_parted_where_its_form_says() {
        let parts = |form: &str, text: &str| {
            PlaceForm::of(form).unwrap().parts(text).map(|parts| {
                parts.into_iter().map(|(name, part)| format!("{name}={part}")).collect::<Vec<_>>().join(" ")
            })
        };
        assert_eq!(parts("fixture/circuit", "frame/1").as_deref(), Some("fixture=frame circuit=1"));
        assert_eq!(parts("fixture/circuit", " frame / 2 ").as_deref(), Some("fixture=frame circuit=2"));
        assert_eq!(parts("pallet fixture/circuit", "T1 F1/2").as_deref(), Some("pallet=T1 fixture=F1 circuit=2"));
        assert_eq!(parts("circuit", "1").as_deref(), Some("circuit=1"));
        assert_eq!(parts("pallet fixture/circuit", "T 1 F1/2"), None);
        for text in ["Description", "frame/", "/1", "a/b/c", ""] {
            assert_eq!(parts("fixture/circuit", text), None, "{text}");
        }
        for form in ["", "fixture/", "fixture/fixture", "jig/circuit", "/circuit"] {
            assert!(PlaceForm::of(form).is_err(), "{form}");
        }
        assert_eq!(PlaceForm::of("pallet fixture/circuit").unwrap().text(), "pallet fixture/circuit");
    }
}
