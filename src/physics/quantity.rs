//! Physical quantities: a number in SI with its meaning as a type.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

use crate::physics::unit::{self, Unit};

/// Absolute pressure of the standard atmosphere. Every other pressure is gauge.
pub const ATMOSPHERE: Pressure = Pressure::new(101_325.0);

macro_rules! quantities {
    ($($(#[$doc:meta])+ $name:ident, $si:literal;)+) => { $(
        $(#[$doc])+
        ///
        #[doc = concat!("Held in ", $si, ".")]
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            pub const ZERO: Self = Self(0.0);

            #[doc = concat!("From a number in ", $si, ".")]
            #[must_use]
            pub const fn new(si: f64) -> Self {
                Self(si)
            }

            #[doc = concat!("The number in ", $si, ".")]
            #[must_use]
            pub const fn si(self) -> f64 {
                self.0
            }

            #[must_use]
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            #[must_use]
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            #[must_use]
            pub const fn is_finite(self) -> bool {
                self.0.is_finite()
            }

            /// A total order, for sorting: what is not a number comes last.
            #[must_use]
            pub fn total_cmp(self, other: Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }

            /// From a number in a unit of this quantity.
            #[must_use]
            pub fn from_unit(value: f64, unit: &Unit) -> Self {
                Self(unit.to_si(value))
            }

            /// The number in a unit of this quantity.
            #[must_use]
            pub fn in_unit(self, unit: &Unit) -> f64 {
                unit.from_si(self.0)
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl Mul<$name> for f64 {
            type Output = $name;
            fn mul(self, quantity: $name) -> $name {
                $name(self * quantity.0)
            }
        }

        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }

        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self::ZERO, Add::add)
            }
        }

        impl<'a> Sum<&'a $name> for $name {
            fn sum<I: Iterator<Item = &'a Self>>(all: I) -> Self {
                all.copied().sum()
            }
        }
    )+ };
}

quantities! {
    /// A pressure above the atmosphere, unless a name says absolute; also a modulus or a strength.
    Pressure, "Pa";
    /// A volume.
    Volume, "m³";
    /// An area.
    Area, "m²";
    /// A length.
    Length, "m";
    /// A force.
    Force, "N";
    /// A length of time.
    Time, "s";
    /// A volume per time.
    Flow, "m³/s";
    /// An absolute temperature.
    Temperature, "K";
    /// A force per length.
    Stiffness, "N/m";
    /// A volume per length of a conductor.
    Expansion, "m³/m";
    /// A volume per difference of temperature.
    Expansivity, "m³/K";
    /// A mass per volume.
    Density, "kg/m³";
    /// Viscosity divided by density.
    KinematicViscosity, "m²/s";
    /// Viscosity.
    DynamicViscosity, "Pa s";
    /// The volume a container grows by per pressure.
    Compliance, "m³/Pa";
    /// The flow that a pressure drives through a leak.
    Conductance, "m³/(s Pa)";
    /// The pressure that drives a flow through a conductor.
    Resistance, "Pa s/m³";
}

macro_rules! products {
    ($($left:ident * $right:ident = $out:ident;)+) => { $(
        impl Mul<$right> for $left {
            type Output = $out;
            fn mul(self, other: $right) -> $out {
                $out(self.0 * other.0)
            }
        }

        impl Mul<$left> for $right {
            type Output = $out;
            fn mul(self, other: $left) -> $out {
                $out(self.0 * other.0)
            }
        }
    )+ };
}

macro_rules! quotients {
    ($($left:ident / $right:ident = $out:ident;)+) => { $(
        impl Div<$right> for $left {
            type Output = $out;
            fn div(self, other: $right) -> $out {
                $out(self.0 / other.0)
            }
        }
    )+ };
}

products! {
    Area * Length = Volume;
    Pressure * Area = Force;
    Pressure * Compliance = Volume;
    Pressure * Conductance = Flow;
    Flow * Time = Volume;
    Flow * Resistance = Pressure;
    Expansion * Length = Volume;
    Expansivity * Temperature = Volume;
    KinematicViscosity * Density = DynamicViscosity;
}

quotients! {
    Force / Area = Pressure;
    Volume / Area = Length;
    Volume / Flow = Time;
    Volume / Time = Flow;
    Volume / Length = Expansion;
    Volume / Pressure = Compliance;
    Flow / Pressure = Conductance;
    Pressure / Resistance = Flow;
}

/// Readers and constructors in the units that people use, all by the exact factors of
/// [`unit`].
macro_rules! in_units {
    ($($name:ident: $($from:ident $read:ident $unit:ident),+;)+) => { $(
        impl $name { $(
            #[must_use]
            pub fn $from(value: f64) -> Self {
                Self(unit::$unit.to_si(value))
            }

            #[must_use]
            pub fn $read(self) -> f64 {
                unit::$unit.from_si(self.0)
            }
        )+ }
    )+ };
}

in_units! {
    Pressure: from_bar bar BAR, from_psi psi PSI, from_mpa mpa MPA, from_gpa gpa GPA;
    Volume: from_cm3 cm3 CM3, from_in3 in3 IN3, from_litres litres L;
    Area: from_mm2 mm2 MM2, from_cm2 cm2 CM2, from_in2 in2 IN2;
    Length: from_mm mm MM, from_inches inches IN, from_feet feet FT;
    Force: from_lbf lbf LBF, from_kn kn KN;
    Time: from_minutes minutes MIN, from_hours hours H;
    Flow: from_l_per_min l_per_min L_PER_MIN, from_cm3_per_min cm3_per_min CM3_PER_MIN,
        from_gal_per_min gal_per_min GAL_PER_MIN, from_in3_per_min in3_per_min IN3_PER_MIN;
    Temperature: from_celsius celsius DEG_C, from_fahrenheit fahrenheit DEG_F;
    Stiffness: from_n_per_mm n_per_mm N_PER_MM, from_lbf_per_in lbf_per_in LBF_PER_IN;
    Expansion: from_cm3_per_m cm3_per_m CM3_PER_M, from_in3_per_ft in3_per_ft IN3_PER_FT;
}

impl KinematicViscosity {
    /// From mm²/s, which is the same as centistokes.
    #[must_use]
    pub fn from_mm2_per_s(value: f64) -> Self {
        Self(value / 1e6)
    }

    #[must_use]
    pub fn mm2_per_s(self) -> f64 {
        self.0 * 1e6
    }
}

impl Pressure {
    /// The absolute pressure of this gauge pressure.
    #[must_use]
    pub fn absolute(self) -> Pressure {
        self + ATMOSPHERE
    }

    /// The gauge pressure of this absolute pressure.
    #[must_use]
    pub fn gauge(self) -> Pressure {
        self - ATMOSPHERE
    }
}
