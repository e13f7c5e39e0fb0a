//! Parts that a change may bring in.

use crate::circuit::findings::Standing;
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

use super::order::sort_parts;

/// Parts by kind that are not obsolete and have no finding of their own that counts, so that a
/// search looks at those alone that could serve.
#[derive(Debug, Default)]
pub struct Stock(Vec<Vec<u32>>);

impl Stock {
    /// * `parts` – by component index: findings on the part
    #[must_use]
    pub fn of(plant: &Plant, parts: &[Standing]) -> Self {
        let components = &plant.components;
        let mut stock = Self(vec![Vec::new(); Kind::ALL.len() + 1]);
        for (index, component) in (0_u32..).zip(components) {
            let counts = parts.get(index as usize).is_some_and(|standing| standing.counts);
            if !component.is_obsolete() && !counts {
                stock.0[shelf(component.kind)].push(index);
            }
        }
        for shelf in &mut stock.0 {
            sort_parts(plant, shelf);
        }
        stock
    }

    /// Indices of the parts of a kind, the first to be offered first where all have a price in one
    /// currency: candidates are then almost in order.
    pub fn of_kind(&self, kind: Option<Kind>) -> impl Iterator<Item = u32> + '_ {
        self.0.get(shelf(kind)).into_iter().flatten().copied()
    }
}

/// Parts without a kind come first.
fn shelf(kind: Option<Kind>) -> usize {
    kind.map_or(0, |kind| kind as usize + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::component::Component;
    use crate::tables::policy::Policy;
    use crate::tables::words::Status;

    #[test]
    fn only_parts_that_may_be_bought_are_offered_by_kind() {
        let part = |kind, status| Component { kind, status, ..Component::default() };
        let mut plant = Plant::empty(Policy::at(chrono::NaiveDate::default()));
        plant.components = vec![
            part(Some(Kind::Clamp), None),
            part(Some(Kind::Other), None),
            part(Some(Kind::Clamp), Some(Status::Obsolete)),
            part(None, None),
            part(Some(Kind::Clamp), None),
            part(Some(Kind::Clamp), Some(Status::Active)),
        ];
        let mut standings = [Standing::default(); 5];
        standings[4].counts = true;
        let stock = Stock::of(&plant, &standings);
        assert_eq!(stock.of_kind(Some(Kind::Clamp)).collect::<Vec<u32>>(), [0, 5]);
        assert_eq!(stock.of_kind(Some(Kind::Other)).collect::<Vec<u32>>(), [1]);
        assert_eq!(stock.of_kind(None).collect::<Vec<u32>>(), [3]);
        assert_eq!(stock.of_kind(Some(Kind::Pump)).count(), 0);
    }
}
