//! What ends a run before anything is checked: one sentence for each thing that is wrong.

use crate::tables::escaped::escaped;
use crate::tables::system_words::system_words;

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

    /// A workbook whose parts don't hold together.
    pub(crate) fn damaged_workbook(file: &str) -> Self {
        Self::new(format!("{file}: the workbook is truncated, damaged or not what its ending says."))
    }

    /// A file that the system does not let us read.
    pub(crate) fn io(file: &str, error: &std::io::Error) -> Self {
        Self::new(format!("{file}: the file can't be read: {}.", system_words(error)))
    }
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
