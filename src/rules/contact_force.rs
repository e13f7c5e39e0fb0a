//! The force of a fitted line at a pressure, one and the same for rules, figures and report.

use crate::physics::force::{clamp_force, support_force};
use crate::physics::quantity::{Force, Pressure};
use crate::tables::component::Component;
use crate::tables::line::Line;
use crate::tables::words::Kind;

/// Force of one piece: what a clamp exerts at the contact, what a work support bears.
///
/// `None` for other kinds, and where the component lacks a figure that the force needs.
#[must_use]
pub fn piece_force(component: &Component, pressure: Pressure) -> Option<Force> {
    match component.kind? {
        Kind::Clamp => {
            let spring = spring_pressure(component).unwrap_or(Pressure::ZERO);
            Some(clamp_force(force_ratio(component), component.area_clamp?, pressure, spring))
        }
        Kind::WorkSupport => Some(support_force(component.support_capacity?, pressure, component.rated_pressure?)),
        _ => None,
    }
}

/// Force of all pieces of a line; `None` also where its quantity is unknown.
#[must_use]
pub fn line_force(line: &Line, component: &Component, pressure: Pressure) -> Option<Force> {
    Some(piece_force(component, pressure)? * line.qty.value()?)
}

/// Support capacity of all pieces of a work support at its rated pressure.
#[must_use]
pub fn line_support_capacity(line: &Line, component: &Component) -> Option<Force> {
    Some(component.support_capacity? * line.qty.value()?)
}

/// Contact force over area times pressure: 1 where nothing is stated.
#[must_use]
pub fn force_ratio(component: &Component) -> f64 {
    component.force_ratio.unwrap_or(1.0)
}

/// What the return spring takes; oil, not a spring, returns a double-acting clamp.
#[must_use]
pub fn spring_pressure(component: &Component) -> Option<Pressure> {
    component.return_pressure.filter(|_| !component.is_double_acting())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::{Area, Volume};
    use crate::tables::line::Cell;

    fn clamp() -> Component {
        Component {
            kind: Some(Kind::Clamp),
            area_clamp: Some(Area::from_cm2(10.0)),
            return_pressure: Some(Pressure::from_bar(10.0)),
            force_ratio: Some(0.9),
            ..Component::default()
        }
    }

    fn newtons(force: Option<Force>) -> f64 {
        force.map_or(f64::NAN, Force::si)
    }

    #[test]
    fn the_return_spring_takes_its_part_of_a_single_acting_clamp_only() {
        // By hand: 0.9 x 10 cm2 x (210 - 10) bar = 0.9 x 1e-3 m2 x 2e7 Pa = 18 000 N.
        assert!((newtons(piece_force(&clamp(), Pressure::from_bar(210.0))) - 18_000.0).abs() < 1e-6);
        // Double-acting: 0.9 x 1e-3 m2 x 2.1e7 Pa = 18 900 N.
        let double = Component { volume_unclamp: Some(Volume::from_cm3(5.0)), ..clamp() };
        assert!((newtons(piece_force(&double, Pressure::from_bar(210.0))) - 18_900.0).abs() < 1e-6);
    }

    #[test]
    fn below_the_spring_a_clamp_exerts_nothing() {
        assert!(newtons(piece_force(&clamp(), Pressure::from_bar(9.0))).abs() < 1e-12);
    }

    #[test]
    fn pieces_count_and_a_missing_figure_is_unknown() {
        let mut line = Line::of_part(0);
        line.qty = Cell::Value(3.0);
        assert!((newtons(line_force(&line, &clamp(), Pressure::from_bar(210.0))) - 54_000.0).abs() < 1e-6);
        line.qty = Cell::Unreadable;
        assert_eq!(line_force(&line, &clamp(), Pressure::from_bar(210.0)), None);
        let without_area = Component { area_clamp: None, ..clamp() };
        assert_eq!(piece_force(&without_area, Pressure::from_bar(210.0)), None);
        let tube = Component { kind: Some(Kind::Tube), ..clamp() };
        assert_eq!(piece_force(&tube, Pressure::from_bar(210.0)), None);
    }

    #[test]
    fn a_work_support_bears_in_proportion_to_pressure() {
        // By hand: 10 kN x 210 / 350 = 6 kN.
        let support = Component {
            kind: Some(Kind::WorkSupport),
            support_capacity: Some(Force::from_kn(10.0)),
            rated_pressure: Some(Pressure::from_bar(350.0)),
            ..Component::default()
        };
        assert!((newtons(piece_force(&support, Pressure::from_bar(210.0))) - 6_000.0).abs() < 1e-6);
        let unrated = Component { rated_pressure: None, ..support };
        assert_eq!(piece_force(&unrated, Pressure::from_bar(210.0)), None);
    }
}
