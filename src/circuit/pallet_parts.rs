//! Which part of a run audits which pallet, where the parts read files of their own.

use crate::read::Lists;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::origin::SourceId;

/// The pallets that lists name, in order, each with the parts that read a list of it.
#[derive(Debug, Default)]
pub struct PalletParts(Vec<PartedPallet>);

/// A pallet that lists name.
#[derive(Debug)]
struct PartedPallet {
    plant: Name,
    pallet: Name,
    /// The part that reads the first list that names it: it audits the pallet.
    owner: u32,
    /// The parts that read the others, where they are not its own.
    others: Vec<u32>,
}

impl PalletParts {
    /// The pallets of some lists; `part_of` gives the part that reads a list.
    #[must_use]
    pub fn of(lists: &Lists, part_of: impl Fn(SourceId) -> u32) -> Self {
        let mut pallets: Vec<PartedPallet> = Vec::new();
        let mut first = SourceId::MAX;
        let mut before = None;
        for (index, ranked) in lists.keys().enumerate() {
            if before.replace(ranked.pallet()) != Some(ranked.pallet()) {
                let CircuitKey { plant, pallet, .. } = lists.names().key(ranked);
                pallets.push(PartedPallet { plant, pallet, owner: 0, others: Vec::new() });
                first = SourceId::MAX;
            }
            let Some(own) = pallets.last_mut() else { continue };
            for source in lists.sources_of(index) {
                let part = part_of(source);
                let before = if source < first { std::mem::replace(&mut own.owner, part) } else { part };
                first = first.min(source);
                if before != own.owner && before != 0 && !own.others.contains(&before) {
                    own.others.push(before);
                }
                own.others.retain(|other| *other != own.owner);
            }
        }
        Self(pallets)
    }

    /// The part that audits the pallet of a circuit; `None` where no list names it.
    #[must_use]
    pub fn owner_of(&self, key: &CircuitKey) -> Option<u32> {
        let at = self.0.binary_search_by(|pallet| (&pallet.plant, &pallet.pallet).cmp(&(&key.plant, &key.pallet)));
        at.ok().and_then(|at| self.0.get(at)).map(|pallet| pallet.owner)
    }

    /// Pallets at the first and the last row of a part's lists: where an export is cut into files, others go on there.
    /// One that is much of the part is not among them.
    #[must_use]
    pub fn at_edges(lists: &Lists) -> Vec<[Name; 2]> {
        /// A pallet may be one in so many circuits of the part.
        const SMALL: usize = 16;
        let Some((first, last)) = lists.outermost() else { return Vec::new() };
        let of_pallet = |index: usize| -> Option<[Name; 2]> {
            let own = lists.key(index)?;
            let from = lists.count_before(|key| key.pallet() < own.pallet());
            let count = lists.count_before(|key| key.pallet() <= own.pallet()) - from;
            let CircuitKey { plant, pallet, .. } = lists.names().key(own);
            (count * SMALL <= lists.circuits().len()).then_some([plant, pallet])
        };
        let mut edges: Vec<[Name; 2]> = [first, last].into_iter().filter_map(of_pallet).collect();
        edges.dedup();
        edges
    }

    /// Whether a list names circuits without saying on which pallet they are.
    #[must_use]
    pub fn have_nameless(&self) -> bool {
        self.0.first().is_some_and(|first| first.plant.is_empty() && first.pallet.is_empty())
    }

    /// Parts that read lists of a pallet of which another part reads lists, too, and did not leave it aside.
    #[must_use]
    pub fn of_spanning(&self, is_left: impl Fn(u32, [&Name; 2]) -> bool) -> Vec<u32> {
        let mut parts: Vec<u32> = Vec::new();
        for pallet in self.0.iter().filter(|pallet| !pallet.others.is_empty()) {
            let all = pallet.others.iter().chain([&pallet.owner]).copied();
            parts.extend(all.filter(|part| !is_left(*part, [&pallet.plant, &pallet.pallet])));
        }
        parts.sort_unstable();
        parts.dedup();
        parts
    }
}
