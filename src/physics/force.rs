//! Forces of clamps and of work supports.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Area, Force, Length, Pressure};

pub static CLAMP_FORCE: Formula = Formula {
    function: "clamp_force",
    figure: "Clamp force",
    unit: "N",
    formula: "F = force_ratio A max(0, p − p_return)",
    symbols: "force_ratio contact force over area × pressure: friction, lever; A clamping piston area; p_return return_pressure, 0 on a double-acting clamp",
    validity: "at rest; the spring in its clamped position",
    source: "pressure acts alike on every area; US Army TM 1-1500-204-23-2, p. 2-3",
};

/// Contact force of a clamp.
///
/// Formula, validity and source: [`CLAMP_FORCE`].
///
/// * `force_ratio` – contact force over area × pressure, 0 to 1 for friction, other with a lever
/// * `area` – clamping piston area A
/// * `pressure` – p
/// * `return_pressure` – what the return spring takes; 0 on a double-acting clamp
///
/// By hand: 0.9 × 10 cm² × (210 − 10) bar = 18 kN.
/// ```
/// use clampbook::physics::{force::clamp_force, quantity::{Area, Pressure}};
/// let force = clamp_force(
///     0.9, Area::from_cm2(10.0), Pressure::from_bar(210.0), Pressure::from_bar(10.0));
/// assert!((force.si() - 18_000.0).abs() < 1e-6);
/// ```
#[must_use]
pub fn clamp_force(force_ratio: f64, area: Area, pressure: Pressure, return_pressure: Pressure) -> Force {
    (pressure - return_pressure).max(Pressure::ZERO) * area * force_ratio
}

/// The arm of a clamp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arm {
    /// From the piston's axis to the contact.
    pub length: Length,
    /// Length up to which rating and force hold.
    pub rated_length: Length,
    /// Loss of force for each metre beyond it.
    pub factor: f64,
}

pub static ARM_FORCE: Formula = Formula {
    function: "Arm::arm_force",
    figure: "Clamp force with an arm",
    unit: "N",
    formula: "F = force_ratio A max(0, p − p_return)/(1 + arm_factor max(0, arm_length − arm_rated))",
    symbols: "arm_length from the piston's axis to the contact; arm_rated up to which rating and force hold",
    validity: "at rest; the loss as the component states it; a negative factor counts as 0",
    source: "balance of moments on piston rod and arm, the guide's friction in proportion to the moment",
};

pub static ARM_RATING: Formula = Formula {
    function: "Arm::arm_rating",
    figure: "Rating of a clamp with an arm",
    unit: "Pa",
    formula: "p = rated_pressure × arm_rated/arm_length where the arm is longer, else rated_pressure",
    symbols: "as for the force",
    validity: "the bending moment at the piston rod decides",
    source: "balance of moments: force × arm stays the same",
};

impl Arm {
    /// Contact force of a clamp with an arm.
    ///
    /// Formula, validity and source: [`ARM_FORCE`].
    ///
    /// * `force` – of [`clamp_force`]
    ///
    /// By hand: 18 kN with an arm 25 mm too long, 0.02/mm: 18/1.5 = 12 kN.
    /// ```
    /// use clampbook::physics::{force::Arm, quantity::{Force, Length}};
    /// let arm = Arm {
    ///     length: Length::from_mm(75.0), rated_length: Length::from_mm(50.0), factor: 20.0 };
    /// assert!((arm.arm_force(Force::from_kn(18.0)).kn() - 12.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn arm_force(&self, force: Force) -> Force {
        let beyond = (self.length - self.rated_length).max(Length::ZERO);
        force / (1.0 + self.factor.max(0.0) * beyond.si())
    }

    /// Rating of a clamp with an arm.
    ///
    /// Formula, validity and source: [`ARM_RATING`].
    ///
    /// * `rated_pressure` – with an arm of the rated length
    ///
    /// By hand: 250 bar × 70 mm/105 mm = 166.7 bar.
    /// ```
    /// use clampbook::physics::{force::Arm, quantity::{Length, Pressure}};
    /// let arm = Arm {
    ///     length: Length::from_mm(105.0), rated_length: Length::from_mm(70.0), factor: 0.0 };
    /// assert!((arm.arm_rating(Pressure::from_bar(250.0)).bar() - 166.667).abs() < 5e-4);
    /// ```
    #[must_use]
    pub fn arm_rating(&self, rated_pressure: Pressure) -> Pressure {
        if self.length > self.rated_length {
            rated_pressure * (self.rated_length / self.length)
        } else {
            rated_pressure
        }
    }
}

pub static SUPPORT_STRENGTH: Formula = Formula {
    function: "support_strength",
    figure: "Work support",
    unit: "N",
    formula: "F = support_capacity max(0, p − capacity_from)/(rated_pressure − capacity_from)",
    symbols: "support_capacity at rated pressure; capacity_from the pressure at which it starts",
    validity: "in proportion to the pressure beyond the start (common practice, no source)",
    source: "proportion",
};

/// Force that a work support bears, from the pressure on at which its capacity starts.
///
/// Formula, validity and source: [`SUPPORT_STRENGTH`].
///
/// * `capacity` – at rated pressure
/// * `pressure` – p
/// * `rated_pressure` – above `capacity_from`, else 0 is returned
/// * `capacity_from` – 0 where none is stated
///
/// By hand: 10 kN at 350 bar from 25 bar: 10 × 75/325 = 2.31 kN at 100 bar.
/// ```
/// use clampbook::physics::{force::support_strength, quantity::{Force, Pressure}};
/// let bar = Pressure::from_bar;
/// let force = support_strength(Force::from_kn(10.0), bar(100.0), bar(350.0), bar(25.0));
/// assert!((force.kn() - 2.3077).abs() < 5e-5);
/// ```
#[must_use]
pub fn support_strength(
    capacity: Force,
    pressure: Pressure,
    rated_pressure: Pressure,
    capacity_from: Pressure,
) -> Force {
    let span = rated_pressure - capacity_from;
    if span <= Pressure::ZERO {
        return Force::ZERO;
    }
    capacity * ((pressure - capacity_from).max(Pressure::ZERO) / span)
}

pub static FRICTION_HOLDING: Formula = Formula {
    function: "friction_holding",
    figure: "Holding by friction",
    unit: "N",
    formula: "R_f = contacts × friction × Σ n F",
    symbols: "contacts friction faces of a clamped part; friction coefficient there; F clamp force",
    validity: "dry friction; the rest carries the clamp's whole force",
    source: "Coulomb's law of friction",
};

/// Pull that clamps hold by friction.
///
/// Formula, validity and source: [`FRICTION_HOLDING`].
///
/// * `contacts` – friction faces of a clamped part
/// * `friction` – coefficient at the contacts
/// * `forces` – Σ n F of the circuit's clamps
///
/// By hand: 4 × 5 kN at 0.15 on two faces hold 6 kN.
/// ```
/// use clampbook::physics::{force::friction_holding, quantity::Force};
/// let held = friction_holding(2.0, 0.15, Force::from_kn(5.0) * 4.0);
/// assert!((held.kn() - 6.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn friction_holding(contacts: f64, friction: f64, forces: Force) -> Force {
    forces * (contacts * friction)
}
