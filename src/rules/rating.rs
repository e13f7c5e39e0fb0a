//! The highest pressure that a component may see.

use crate::physics::quantity::Pressure;
use crate::physics::tube_rating;
use crate::tables::component::Component;
use crate::tables::figures::Rating;
use crate::tables::line::Line;
use crate::tables::policy::Limits;
use crate::tables::words::Kind;

use super::contact_force::arm;

/// The columns of which a tube's rating by wall stress is made.
const TUBE_COLUMNS: [&str; 3] = ["inner_diameter", "outer_diameter", "tensile_strength"];

/// The rating that counts for the weakest rating of a side: `rated_pressure`, a gauge's full scale
/// where it states none, a tube's lower one of `rated_pressure` and the rating by wall stress.
///
/// `None` where none is stated, or where a cell that enters it can't be read.
#[must_use]
pub fn rating(component: &Component, limits: &Limits) -> Option<Pressure> {
    if !component.is(Kind::Tube) {
        return stated_rating(component);
    }
    if is_unreadable(component, "rated_pressure") || wall_rating_is_unreadable(component) {
        return None;
    }
    match (component.rated_pressure, wall_rating(component, limits)) {
        (Some(stated), Some(wall)) => Some(stated.min(wall)),
        (stated, wall) => stated.or(wall),
    }
}

/// The rating as stated: `rated_pressure`, or a gauge's full scale where it states none.
#[must_use]
pub fn stated_rating(component: &Component) -> Option<Pressure> {
    if is_unreadable(component, "rated_pressure") {
        return None;
    }
    let full_scale = if component.is(Kind::Gauge) { component.full_scale } else { None };
    component.rated_pressure.or(full_scale)
}

/// The rating that counts for the weakest rating of a side, of a line: a clamp's falls with its arm.
#[must_use]
pub fn line_rating(line: &Line, component: &Component, limits: &Limits) -> Option<Pressure> {
    Some(with_arm(line, component, rating(component, limits)?))
}

/// A clamp's rating with the arm of its line.
#[must_use]
pub fn with_arm(line: &Line, component: &Component, rating: Pressure) -> Pressure {
    arm(line, component).map_or(rating, |arm| arm.arm_rating(rating))
}

/// The ratings of a line of which the lower counts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineRatings {
    /// As stated, which is known exactly.
    exact: Option<Pressure>,
    /// What spreads by itself.
    spread: Option<Pressure>,
}

impl LineRatings {
    /// A tube whose wall counts and a clamp with an arm have one of each; where a row states how far it is known, all of
    /// its rating spreads.
    #[must_use]
    pub fn of(line: &Line, component: &Component, limits: &Limits) -> Self {
        if matches!(component.kind, Some(Kind::Pump | Kind::DriveRam)) {
            return Self::default();
        }
        if !component.spreads.is_empty() || !line.spreads.is_empty() {
            return Self { exact: None, spread: line_rating(line, component, limits) };
        }
        let exact = stated_rating(component);
        let lengths = line.arm_length.filter(|_| component.is(Kind::Clamp)).zip(component.arm_rated);
        // Below the length that it is rated for the arm counts for nothing, and what is stated is lower.
        let armed = exact.zip(lengths).map(|(stated, (length, rated_length))| stated * (rated_length / length));
        Self { exact, spread: wall_rating(component, limits).or(armed) }
    }
}

/// Of lines that see a pressure: the lowest of the ratings that are known exactly, and each that spreads by itself. The
/// weakest rating is the lowest of them.
#[must_use]
pub fn ratings_apart(lines: impl Iterator<Item = (usize, LineRatings)>) -> Vec<Rating> {
    let mut exact: Option<Rating> = None;
    let mut apart = Vec::new();
    for (line, ratings) in lines {
        apart.extend(ratings.spread.map(|pressure| Rating { pressure, line }));
        if let Some(pressure) = ratings.exact.filter(|stated| exact.is_none_or(|known| *stated < known.pressure)) {
            exact = Some(Rating { pressure, line });
        }
    }
    exact.into_iter().chain(apart).collect()
}

/// What the wall of a tube bears; `None` for what is no tube or states no strength.
#[must_use]
pub fn wall_rating(component: &Component, limits: &Limits) -> Option<Pressure> {
    if !component.is(Kind::Tube) || TUBE_COLUMNS.iter().any(|column| is_unreadable(component, column)) {
        return None;
    }
    let (inner, outer) = (component.inner_diameter?, component.outer_diameter?);
    Some(tube_rating::tube_rating(inner, outer, component.tensile_strength?, limits.design_factor))
}

/// Whether a tube states what its wall bears, in a cell that can't be read.
#[must_use]
pub fn wall_rating_is_unreadable(component: &Component) -> bool {
    if !component.is(Kind::Tube) {
        return false;
    }
    let is_given =
        [component.inner_diameter.is_some(), component.outer_diameter.is_some(), component.tensile_strength.is_some()];
    let is_lost = TUBE_COLUMNS.map(|column| is_unreadable(component, column));
    is_lost.contains(&true) && is_given.iter().zip(is_lost).all(|(given, lost)| *given || lost)
}

/// Whether a cell of this column can't be read.
#[must_use]
pub fn is_unreadable(component: &Component, column: &str) -> bool {
    component.faults.iter().any(|fault| fault.column == column)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::Length;
    use crate::tables::origin::CellFault;

    fn tube() -> Component {
        Component {
            kind: Some(Kind::Tube),
            rated_pressure: Some(Pressure::from_bar(400.0)),
            inner_diameter: Some(Length::from_mm(6.0)),
            outer_diameter: Some(Length::from_mm(8.0)),
            tensile_strength: Some(Pressure::from_mpa(400.0)),
            ..Component::default()
        }
    }

    /// By hand: 4000 bar / 4 × (64 − 36)/(64 + 36) = 280 bar.
    #[test]
    fn a_tube_has_the_lower_of_both_ratings() {
        let limits = Limits::default();
        let by_wall = rating(&tube(), &limits).unwrap();
        assert!((by_wall.bar() - 280.0).abs() < 1e-6, "{}", by_wall.bar());
        let thick = Component { rated_pressure: Some(Pressure::from_bar(250.0)), ..tube() };
        assert_eq!(rating(&thick, &limits), Some(Pressure::from_bar(250.0)));
        let plain = Component { tensile_strength: None, ..tube() };
        assert_eq!(rating(&plain, &limits), Some(Pressure::from_bar(400.0)));
    }

    #[test]
    fn a_cell_that_cannot_be_read_leaves_no_rating() {
        let limits = Limits::default();
        for column in ["rated_pressure", "outer_diameter"] {
            let fault = CellFault { column, letter: "D".into(), found: "x".into(), expected: "a number".into() };
            let spoiled = Component { faults: vec![fault], is_spoiled: true, ..tube() };
            assert_eq!(rating(&spoiled, &limits), None, "{column}");
        }
    }

    #[test]
    fn only_a_gauge_is_rated_at_its_full_scale() {
        let gauge =
            Component { kind: Some(Kind::Gauge), full_scale: Some(Pressure::from_bar(400.0)), ..Component::default() };
        assert_eq!(stated_rating(&gauge), Some(Pressure::from_bar(400.0)));
        assert_eq!(stated_rating(&Component { kind: Some(Kind::Other), ..gauge }), None);
    }
}
