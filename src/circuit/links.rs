//! Which circuits of a pallet have to do with each other.

use std::collections::HashMap;

use super::audited::CircuitAudit;

/// Circuits of a pallet in sets that have nothing to do with each other: one charging cylinder fills them, or
/// in a fixture they share a position under which a work support stands.
#[derive(Debug)]
pub struct Links {
    /// By circuit: its set.
    set: Vec<usize>,
    /// By set: its circuits, in order.
    circuits: Vec<Vec<usize>>,
}

impl Links {
    /// Of the circuits of a pallet, in key order.
    #[must_use]
    pub fn of(audits: &[CircuitAudit]) -> Self {
        let mut parents: Vec<usize> = (0..audits.len()).collect();
        let mut by_source: HashMap<&str, usize> = HashMap::new();
        for (index, audit) in audits.iter().enumerate() {
            let source = audit.circuit.service.as_ref().map_or("", |service| service.source.as_str());
            if !source.is_empty() {
                join(&mut parents, *by_source.entry(source).or_insert(index), index);
            }
        }
        let mut first = 0;
        for of_fixture in audits.chunk_by(|a, b| a.circuit.key.fixture == b.circuit.key.fixture) {
            let lines = of_fixture
                .iter()
                .enumerate()
                .flat_map(|(circuit, audit)| audit.circuit.lines.iter().map(move |line| (first + circuit, line)));
            let mut by_position: HashMap<&str, usize> = HashMap::new();
            for (index, line) in lines.clone() {
                for position in &line.supports {
                    join(&mut parents, *by_position.entry(position).or_insert(index), index);
                }
            }
            if !by_position.is_empty() {
                for (index, line) in lines {
                    if let Some(other) = by_position.get(line.position.as_str()) {
                        join(&mut parents, *other, index);
                    }
                }
            }
            first += of_fixture.len();
        }
        let mut circuits: Vec<Vec<usize>> = vec![Vec::new(); audits.len()];
        let set: Vec<usize> = (0..audits.len()).map(|index| root(&mut parents, index)).collect();
        for (index, set) in set.iter().enumerate() {
            circuits[*set].push(index);
        }
        Self { set, circuits }
    }

    /// The sets, each in order.
    pub fn sets(&self) -> impl Iterator<Item = &[usize]> {
        self.circuits.iter().map(Vec::as_slice).filter(|set| !set.is_empty())
    }

    /// The circuits of one's set, itself among them.
    #[must_use]
    pub fn beside(&self, index: usize) -> &[usize] {
        self.set.get(index).and_then(|set| self.circuits.get(*set)).map_or(&[], Vec::as_slice)
    }
}

fn root(parents: &mut [usize], mut index: usize) -> usize {
    while parents[index] != index {
        parents[index] = parents[parents[index]];
        index = parents[index];
    }
    index
}

fn join(parents: &mut [usize], one: usize, other: usize) {
    let (one, other) = (root(parents, one), root(parents, other));
    parents[one.max(other)] = one.min(other);
}
