//! Which parts may come in for another.

use crate::physics::leak::leak_conductance;
use crate::physics::quantity::{Area, Conductance, Flow, Length};
use crate::rules::Cure;
use crate::rules::rating::rating;
use crate::tables::component::Component;
use crate::tables::policy::Limits;
use crate::tables::words::Kind;

/// Where a part stands, as far as that decides which others may come in for it whatever the pressure is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Stand {
    pub from: u32,
    /// How another one has to differ.
    pub cure: Cure,
    pub holds_oil: bool,
}

/// What a part must have at least; what is not asked for is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Least {
    pub area: Option<Area>,
    pub stroke: Option<Length>,
}

impl Stand {
    /// Whether a part may come in for the old one.
    pub(super) fn admits(self, limits: &Limits, old: &Component, (to, new): (u32, &Component)) -> bool {
        let suits = match self.cure {
            // Only the acting may differ.
            Cure::PartActingOtherwise => return to != self.from && stands_in(old, new) && self.keeps_oil(old, new),
            Cure::SmallerCylinder => new.capacity < old.capacity,
            Cure::StrongerWeakest => rating(new, limits) > rating(old, limits),
            Cure::TighterPart => leak_rate(old).zip(leak_rate(new)).is_some_and(|(old, new)| new < old),
            Cure::WiderConductor => new.inner_diameter > old.inner_diameter,
            _ => true,
        };
        to != self.from && suits && fits_in_place(old, new) && self.keeps_oil(old, new)
    }

    /// What all that is admitted has at least: what [`fits_in_place`] asks for, as far as it is a number.
    pub(super) fn least(self, old: &Component) -> Least {
        if old.is(Kind::Clamp) && self.cure != Cure::PartActingOtherwise {
            Least { area: old.area_clamp, stroke: old.stroke }
        } else {
            Least::default()
        }
    }

    fn keeps_oil(self, old: &Component, new: &Component) -> bool {
        !self.holds_oil || leaks_no_more(old, new)
    }
}

fn leak_rate(part: &Component) -> Option<f64> {
    let rated = part.rated_pressure.filter(|rated| rated.si() > 0.0)?;
    Some(part.leak?.si() / rated.si())
}

/// Whether a part may come in for another: of the same family, where the one in place states one, with
/// everything built in, and with its leak stated where that is.
pub(super) fn stands_in(old: &Component, new: &Component) -> bool {
    (old.family.is_empty() || old.family == new.family)
        && old.includes.iter().all(|kind| new.includes.has(kind))
        && (old.leak.is_none() || new.leak.is_some())
}

/// Whether a part leaks at most as much as the one in its place, where that states how much.
fn leaks_no_more(old: &Component, new: &Component) -> bool {
    let Some(was) = conductance(old) else { return true };
    conductance(new).is_some_and(|is| is <= was)
}

/// What a part leaks per pressure; a part that leaks nothing needs no rating for that.
fn conductance(part: &Component) -> Option<Conductance> {
    let leak = part.leak?;
    if leak == Flow::ZERO { Some(Conductance::ZERO) } else { leak_conductance(leak, part.rated_pressure?) }
}

/// Whether a part does at least what the one in its place does: stands in for it, acts the same way, holds
/// as much, goes as far, fits the same tube.
fn fits_in_place(old: &Component, new: &Component) -> bool {
    fn as_much<T: PartialOrd>(old: Option<T>, new: Option<T>) -> bool {
        old.is_none_or(|old| new.is_some_and(|new| new >= old))
    }
    let suits = match old.kind {
        Some(Kind::Clamp) => {
            old.is_double_acting() == new.is_double_acting()
                && as_much(old.area_clamp, new.area_clamp)
                && as_much(old.stroke, new.stroke)
        }
        Some(Kind::WorkSupport) => as_much(old.support_capacity, new.support_capacity),
        Some(Kind::Tube) => {
            old.outer_diameter.is_none() || new.outer_diameter.is_none() || old.outer_diameter == new.outer_diameter
        }
        Some(Kind::Hose) => as_much(old.inner_diameter, new.inner_diameter),
        _ => true,
    };
    stands_in(old, new) && suits
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::Pressure;

    fn clamp(family: &str, leak: Option<f64>) -> Component {
        Component {
            kind: Some(Kind::Clamp),
            family: family.into(),
            leak: leak.map(Flow::from_cm3_per_min),
            rated_pressure: Some(Pressure::from_bar(350.0)),
            ..Component::default()
        }
    }

    /// The words of the contract: the family where one is stated, and a leak where one is stated.
    #[test]
    fn a_part_keeps_the_family_and_states_its_leak() {
        let swing = clamp("swing clamp 25", Some(0.1));
        assert!(fits_in_place(&swing, &clamp("swing clamp 25", Some(0.4))));
        assert!(!fits_in_place(&swing, &clamp("push clamp", Some(0.1))));
        assert!(!fits_in_place(&swing, &clamp("", Some(0.1))));
        assert!(!fits_in_place(&swing, &clamp("swing clamp 25", None)));
        assert!(fits_in_place(&clamp("", None), &clamp("push clamp", Some(0.1))));
    }

    /// By hand: 0.1 cm3/min at 350 bar is more per bar than 0.1 at 400 bar, less than 0.1 at 300 bar.
    #[test]
    fn a_leak_counts_per_pressure() {
        let rated = |bar, leak| Component { rated_pressure: Some(Pressure::from_bar(bar)), ..clamp("", leak) };
        let old = rated(350.0, Some(0.1));
        assert!(leaks_no_more(&old, &rated(400.0, Some(0.1))));
        assert!(leaks_no_more(&old, &rated(350.0, Some(0.1))));
        assert!(!leaks_no_more(&old, &rated(300.0, Some(0.1))));
        assert!(!leaks_no_more(&old, &rated(350.0, None)));
        assert!(leaks_no_more(&rated(350.0, None), &rated(350.0, Some(9.0))));
        assert!(leaks_no_more(&rated(350.0, Some(0.0)), &rated(300.0, Some(0.0))));
        assert!(!leaks_no_more(&rated(350.0, Some(0.0)), &old));
    }
}
