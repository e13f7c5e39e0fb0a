//! What ends a run before anything is checked: one sentence for each thing that is wrong.

/// The inputs or the policy can't be used (exit status 2).
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", sentences.join("\n"))]
pub struct ReadError {
    /// One sentence for each file or key at fault, in the order of the files.
    pub sentences: Vec<String>,
}

impl ReadError {
    pub(crate) fn new(sentence: impl Into<String>) -> Self {
        Self { sentences: vec![sentence.into()] }
    }

    /// A file that the system does not let us read.
    pub(crate) fn io(file: &str, error: &std::io::Error) -> Self {
        let because = match error.kind() {
            std::io::ErrorKind::NotFound => "it does not exist".to_owned(),
            std::io::ErrorKind::PermissionDenied => "there is no permission to".to_owned(),
            _ => error.to_string(),
        };
        Self::new(format!("{file}: the file can't be read: {because}."))
    }
}

/// Collects sentences, so that all files at fault are named at once.
#[derive(Debug, Default)]
pub(crate) struct Problems(Vec<String>);

impl Problems {
    pub(crate) fn add(&mut self, sentence: impl Into<String>) {
        self.0.push(sentence.into());
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
