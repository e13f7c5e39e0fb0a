//! Coverage: which families of rules a circuit was asked, and which of them could be assessed.

use crate::tables::component::Component;
use crate::tables::line::Line;

use super::view::CircuitView;
use super::{Family, force, holding, pressure, time, volume};

/// The families of which coverage is told: V, P, H, F and T.
pub static COVERED: [&Family; 5] =
    [&volume::FAMILY, &pressure::FAMILY, &holding::FAMILY, &force::FAMILY, &time::FAMILY];

/// Families that a circuit is asked, by letter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Coverage {
    asked: [bool; COVERED.len()],
    /// Without a line nothing can be assessed.
    is_empty: bool,
    /// A force, or positions of a support, on a part whose kind bears none: asked, and nothing answers it.
    has_idle_force: bool,
}

impl Coverage {
    /// What a circuit is asked: V where it is charged by cylinder, P always, H of an uncoupled one by
    /// `pressure_min`, `hold_time`, `temp_min` or `temp_max`, F by a force or the positions of a support, T
    /// by a time. A cell that can't be read asks, too.
    #[must_use]
    pub fn of(view: &CircuitView) -> Self {
        let service = view.service;
        let states = |columns: &[&str]| columns.iter().any(|column| service.is_unreadable(column));
        let is_forced = service.cutting_force.is_some()
            || states(&["cutting_force"])
            || view.circuit.lines.iter().any(|line| line.force_required.is_some() || !line.supports.is_empty())
            || lines_fault(view, "force_required")
            || any_part(view, |part| part.force_max.is_some());
        let is_timed = service.clamp_time_max.is_some()
            || service.unclamp_time_max.is_some()
            || states(&["clamp_time_max", "unclamp_time_max"])
            || any_part(view, |part| part.time_min.is_some());
        let is_by_cylinder = view.charging() == crate::tables::words::Charging::Cylinder;
        let is_idle = |line: &Line, part: &Component| {
            line.idle_columns(part).any(|column| matches!(column, "force_required" | "supports"))
        };
        let mut lines = view.circuit.lines.iter();
        Self {
            asked: [is_by_cylinder, true, view.hold_is_asked(), is_forced, is_timed],
            is_empty: view.circuit.lines.is_empty(),
            has_idle_force: is_forced
                && lines.any(|line| line.component(&view.plant.components).is_some_and(|part| is_idle(line, part))),
        }
    }

    /// Whether a family is asked.
    #[must_use]
    pub fn is_asked(self, letter: char) -> bool {
        self.with_families().any(|(family, is_asked)| is_asked && family.letter == letter)
    }

    /// Letters of the families that are not asked.
    #[must_use]
    pub fn not_asked(self) -> Vec<char> {
        self.with_families().filter(|(_, is_asked)| !is_asked).map(|(family, _)| family.letter).collect()
    }

    /// Letters of the families that are asked and of which no rule is among those not assessed.
    #[must_use]
    pub fn assessed<'a>(self, not_assessed: &(impl Iterator<Item = &'a str> + Clone)) -> Vec<char> {
        let is_assessed = |letter: char| {
            let is_idle = self.is_empty || letter == force::FAMILY.letter && self.has_idle_force;
            !is_idle && !not_assessed.clone().any(|code| code.starts_with(letter))
        };
        let asked = self.with_families().filter(|(_, is_asked)| *is_asked).map(|(family, _)| family.letter);
        asked.filter(|letter| is_assessed(*letter)).collect()
    }

    fn with_families(self) -> impl Iterator<Item = (&'static Family, bool)> {
        COVERED.into_iter().zip(self.asked)
    }
}

fn any_part(view: &CircuitView, has: impl Fn(&Component) -> bool) -> bool {
    view.fitted().any(|fitted| has(fitted.component))
}

fn lines_fault(view: &CircuitView, column: &str) -> bool {
    view.circuit.lines.iter().any(|line| line.is_unreadable(column))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::{Force, Time};
    use crate::rules::test_circuit::{TestCircuit, bar};
    use crate::tables::words::{Charging, Kind};

    fn not_asked(made: &TestCircuit) -> String {
        made.with_view(|view| Coverage::of(view).not_asked().into_iter().collect())
    }

    #[test]
    fn families_are_asked_by_their_data() {
        let mut made = TestCircuit::single();
        made.fit(Kind::Clamp, "CL-1", 250.0);
        assert_eq!(not_asked(&made), "HFT");
        made.service().pressure_min = Some(bar(60.0));
        assert_eq!(not_asked(&made), "FT");
        made.circuit.lines[0].force_required = Some(Force::new(1.0));
        assert_eq!(not_asked(&made), "T");
        made.plant.components[0].time_min = Some(Time::new(0.5));
        assert_eq!(not_asked(&made), "");
        made.service().charging = Some(Charging::Live);
        assert_eq!(not_asked(&made), "VH");
    }

    #[test]
    fn a_family_with_a_rule_not_assessed_is_not_assessed() {
        let mut made = TestCircuit::single();
        made.fit(Kind::Clamp, "CL-1", 250.0);
        made.service().cutting_force = Some(Force::new(1.0));
        let of = |codes: &[&'static str]| -> String {
            made.with_view(|view| Coverage::of(view).assessed(&codes.iter().copied()).into_iter().collect())
        };
        assert_eq!(of(&[]), "VPF");
        assert_eq!(of(&["P05", "M03"]), "VF");
        assert!(made.with_view(|view| Coverage::of(view).is_asked('F')));
        made.fit(Kind::Fitting, "FT-1", 250.0);
        made.circuit.lines[1].force_required = Some(Force::new(1.0));
        let assessed: String =
            made.with_view(|view| Coverage::of(view).assessed(&[].into_iter()).into_iter().collect());
        assert_eq!(assessed, "VP", "a force on a fitting");
        made.circuit.lines.clear();
        let assessed = made.with_view(|view| Coverage::of(view).assessed(&[].into_iter()));
        assert_eq!(assessed, Vec::<char>::new(), "without lines");
    }
}
