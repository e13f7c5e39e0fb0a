//! The force of a fitted line at a pressure, one and the same for rules, figures and report.

use crate::physics::force::{Arm, clamp_force, support_strength};
use crate::physics::quantity::{Force, Pressure};
use crate::tables::component::Component;
use crate::tables::line::Line;
use crate::tables::words::Kind;

/// Force of one piece: what a clamp exerts at the contact, what a work support bears.
///
/// `None` for other kinds, and where the component lacks a figure that the force needs.
#[must_use]
pub fn piece_force(line: &Line, component: &Component, pressure: Pressure) -> Option<Force> {
    match component.kind? {
        Kind::Clamp => {
            let spring = spring_pressure(component).unwrap_or(Pressure::ZERO);
            let force = clamp_force(force_ratio(component), component.area_clamp?, pressure, spring);
            Some(arm(line, component).map_or(force, |arm| arm.arm_force(force)))
        }
        Kind::WorkSupport => {
            let from = component.capacity_from.unwrap_or(Pressure::ZERO);
            Some(support_strength(component.support_capacity?, pressure, component.rated_pressure?, from))
        }
        _ => None,
    }
}

/// Force of all pieces of a line; `None` also where its quantity is unknown.
#[must_use]
pub fn line_force(line: &Line, component: &Component, pressure: Pressure) -> Option<Force> {
    Some(piece_force(line, component, pressure)? * line.qty.value()?)
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

/// The arm of a clamp, where it is longer than the one for which the clamp is rated.
#[must_use]
pub fn arm(line: &Line, component: &Component) -> Option<Arm> {
    let (length, rated_length) = line.arm_length.filter(|_| component.is(Kind::Clamp)).zip(component.arm_rated)?;
    (length > rated_length).then(|| Arm { length, rated_length, factor: component.arm_factor.unwrap_or(0.0) })
}

/// The column of the component table whose blank makes a clamp's force look better than it may be.
#[must_use]
pub fn flattering_blank(line: &Line, component: &Component) -> Option<&'static str> {
    if !component.is(Kind::Clamp) {
        return None;
    }
    let springs = !component.is_double_acting() && component.return_pressure.is_none();
    let arm = line.arm_length.is_some() && component.arm_rated.is_none();
    let blanks = [("force_ratio", component.force_ratio.is_none()), ("return_pressure", springs), ("arm_rated", arm)];
    blanks.into_iter().find_map(|(column, is_blank)| is_blank.then_some(column))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::{Area, Length, Volume};
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

    fn line() -> Line {
        Line::of_part(0)
    }

    fn newtons(force: Option<Force>) -> f64 {
        force.map_or(f64::NAN, Force::si)
    }

    #[test]
    fn the_return_spring_takes_its_part_of_a_single_acting_clamp_only() {
        // By hand: 0.9 x 10 cm2 x (210 - 10) bar = 0.9 x 1e-3 m2 x 2e7 Pa = 18 000 N.
        assert!((newtons(piece_force(&line(), &clamp(), Pressure::from_bar(210.0))) - 18_000.0).abs() < 1e-6);
        // Double-acting: 0.9 x 1e-3 m2 x 2.1e7 Pa = 18 900 N.
        let double = Component { volume_unclamp: Some(Volume::from_cm3(5.0)), ..clamp() };
        assert!((newtons(piece_force(&line(), &double, Pressure::from_bar(210.0))) - 18_900.0).abs() < 1e-6);
    }

    #[test]
    fn below_the_spring_a_clamp_exerts_nothing() {
        assert!(newtons(piece_force(&line(), &clamp(), Pressure::from_bar(9.0))).abs() < 1e-12);
    }

    #[test]
    fn pieces_count_and_a_missing_figure_is_unknown() {
        let mut four = line();
        four.qty = Cell::Value(3.0);
        assert!((newtons(line_force(&four, &clamp(), Pressure::from_bar(210.0))) - 54_000.0).abs() < 1e-6);
        four.qty = Cell::Unreadable;
        assert_eq!(line_force(&four, &clamp(), Pressure::from_bar(210.0)), None);
        let without_area = Component { area_clamp: None, ..clamp() };
        assert_eq!(piece_force(&line(), &without_area, Pressure::from_bar(210.0)), None);
        let tube = Component { kind: Some(Kind::Tube), ..clamp() };
        assert_eq!(piece_force(&line(), &tube, Pressure::from_bar(210.0)), None);
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
        assert!((newtons(piece_force(&line(), &support, Pressure::from_bar(210.0))) - 6_000.0).abs() < 1e-6);
        let from_25 = Component { capacity_from: Some(Pressure::from_bar(25.0)), ..support.clone() };
        // By hand: 10 kN x 75 / 325 = 2307.7 N.
        assert!((newtons(piece_force(&line(), &from_25, Pressure::from_bar(100.0))) - 2_307.7).abs() < 0.05);
        let unrated = Component { rated_pressure: None, ..support };
        assert_eq!(piece_force(&line(), &unrated, Pressure::from_bar(210.0)), None);
    }

    #[test]
    fn a_long_arm_takes_force() {
        let long = Line { arm_length: Some(Length::from_mm(75.0)), ..line() };
        let arm = Component { arm_rated: Some(Length::from_mm(50.0)), arm_factor: Some(20.0), ..clamp() };
        // By hand: 18 kN / (1 + 0.02/mm x 25 mm) = 12 kN.
        assert!((newtons(piece_force(&long, &arm, Pressure::from_bar(210.0))) - 12_000.0).abs() < 1e-6);
        let rated = Line { arm_length: Some(Length::from_mm(50.0)), ..line() };
        assert!((newtons(piece_force(&rated, &arm, Pressure::from_bar(210.0))) - 18_000.0).abs() < 1e-6);
    }

    #[test]
    fn blanks_that_flatter_are_named() {
        assert_eq!(flattering_blank(&line(), &clamp()), None);
        let frictionless = Component { force_ratio: None, ..clamp() };
        assert_eq!(flattering_blank(&line(), &frictionless), Some("force_ratio"));
        let springless = Component { return_pressure: None, ..clamp() };
        assert_eq!(flattering_blank(&line(), &springless), Some("return_pressure"));
        let double = Component { volume_unclamp: Some(Volume::from_cm3(5.0)), ..springless };
        assert_eq!(flattering_blank(&line(), &double), None);
        let long = Line { arm_length: Some(Length::from_mm(75.0)), ..line() };
        assert_eq!(flattering_blank(&long, &clamp()), Some("arm_rated"));
        assert_eq!(flattering_blank(&line(), &Component { kind: Some(Kind::Tube), ..frictionless }), None);
    }
}
