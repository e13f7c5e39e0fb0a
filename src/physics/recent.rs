//! Results for the arguments that came last: many circuits have the same few pressures and
//! temperatures.

/// So many results are kept; one that is asked for again and again is found among the first.
const ENTRIES: usize = 16;

/// Results by argument, the oldest given up for a new one.
pub(super) struct Recent<K, T> {
    entries: Vec<(K, T)>,
    next: usize,
}

impl<K: PartialEq, T: Clone> Recent<K, T> {
    pub(super) const fn new() -> Self {
        Self { entries: Vec::new(), next: 0 }
    }

    /// The result for an argument, made where it is not at hand.
    pub(super) fn get_or_make(&mut self, key: K, make: impl FnOnce() -> T) -> T {
        if let Some((_, known)) = self.entries.iter().find(|(known, _)| *known == key) {
            return known.clone();
        }
        let made = make();
        let entry = (key, made.clone());
        match self.entries.get_mut(self.next) {
            Some(oldest) => *oldest = entry,
            None => self.entries.push(entry),
        }
        self.next = (self.next + 1) % ENTRIES;
        made
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_result_is_made_once_until_newer_ones_push_it_out() {
        let mut recent = Recent::new();
        let mut made = Vec::new();
        for key in [1, 2, 1, 2, 1].into_iter().chain(3..=17).chain([2, 1]) {
            let result = recent.get_or_make(key, || {
                made.push(key);
                10 * key
            });
            assert_eq!(result, 10 * key);
        }
        // The 17th pushes out the first, and 1 asked for again the second.
        assert_eq!(made, (1..=17).chain([1]).collect::<Vec<i32>>());
    }
}
