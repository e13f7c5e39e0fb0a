//! What ends a run before anything is checked: one sentence for each thing that is wrong.

use crate::tables::escaped::escaped;

/// The inputs or the policy can't be used (exit status 2).
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", sentences.join("\n"))]
pub struct ReadError {
    /// One sentence for each file or key at fault, in the order of the files.
    pub sentences: Vec<String>,
}

impl ReadError {
    pub(crate) fn new(sentence: impl AsRef<str>) -> Self {
        // Names, headers and cells stand in it as given.
        Self { sentences: vec![escaped(sentence.as_ref()).into_owned()] }
    }

    /// A file that the system does not let us read.
    pub(crate) fn io(file: &str, error: &std::io::Error) -> Self {
        let because = match error.kind() {
            std::io::ErrorKind::NotFound => "it does not exist".to_owned(),
            std::io::ErrorKind::PermissionDenied => "there is no permission to".to_owned(),
            std::io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
            std::io::ErrorKind::NotADirectory => "it is no folder".to_owned(),
            std::io::ErrorKind::OutOfMemory => "there is not enough memory".to_owned(),
            _ => plain_words(error),
        };
        Self::new(format!("{file}: the file can't be read: {because}."))
    }
}

/// What the system says, without its number.
fn plain_words(error: &std::io::Error) -> String {
    let said = error.to_string();
    let words = said.split(" (os error").next().unwrap_or_default().trim_end_matches('.');
    format!("the system says '{words}'")
}

/// Collects sentences, so that all files at fault are named at once.
#[derive(Debug, Default)]
pub(crate) struct Problems(Vec<String>);

impl Problems {
    pub(crate) fn add(&mut self, sentence: impl AsRef<str>) {
        self.0.push(escaped(sentence.as_ref()).into_owned());
    }

    /// The value, or nothing and the sentences kept.
    pub(crate) fn take<T>(&mut self, result: Result<T, ReadError>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(error) => {
                self.0.extend(error.sentences);
                None
            }
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(crate) fn finish(self) -> Result<(), ReadError> {
        if self.0.is_empty() { Ok(()) } else { Err(ReadError { sentences: self.0 }) }
    }
}
