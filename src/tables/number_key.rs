//! A number of the policy file, described once.

/// A number of the policy as data: its key, its meaning, its range, in the unit of the file.
#[derive(Clone, Copy, Debug)]
pub struct NumberKey<T: 'static> {
    /// Key in its section.
    pub key: &'static str,
    /// What it is, in words.
    pub meaning: &'static str,
    /// Lowest value that the policy takes.
    pub least: f64,
    /// Highest value that the policy takes.
    pub most: f64,
    /// Where the default comes from.
    pub source: &'static str,
    /// Reads it.
    pub get: fn(&T) -> f64,
    /// Sets it.
    pub set: fn(&mut T, f64),
}
