//! A number or text of a finding, with its dimension.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::quantity::{Area, Flow, Force, Length, Pressure, Temperature, Time, Volume};

/// What a finding measured, its limit, or a fact of its reason.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    Pressure(Pressure),
    Volume(Volume),
    Area(Area),
    Length(Length),
    Force(Force),
    Flow(Flow),
    Temperature(Temperature),
    /// Shown in seconds.
    Seconds(Time),
    /// Shown in minutes.
    Minutes(Time),
    /// Whole or begun days; shown as a plain number, since the words beside it name them.
    Days(f64),
    /// A share, ratio or factor.
    Ratio(f64),
    /// A quantity of a part in its unit: `each`, `m`, `ft`.
    Amount(Decimal, &'static str),
    /// Money in a currency.
    Money(Decimal, String),
    /// Whole things.
    Count(u64),
    /// A plain number.
    Number(f64),
    Date(NaiveDate),
    Text(String),
    List(Vec<String>),
}

impl Value {
    /// Its number and unit in the fixed units of the data files (bar, cm3, mm2, mm, N,
    /// L/min, degC, s, min, d); `None` for text.
    #[must_use]
    pub fn metric(&self) -> Option<(f64, &str)> {
        use rust_decimal::prelude::ToPrimitive;
        Some(match self {
            Self::Pressure(value) => (value.bar(), "bar"),
            Self::Volume(value) => (value.cm3(), "cm3"),
            Self::Area(value) => (value.mm2(), "mm2"),
            Self::Length(value) => (value.mm(), "mm"),
            Self::Force(value) => (value.si(), "N"),
            Self::Flow(value) => (value.l_per_min(), "L/min"),
            Self::Temperature(value) => (value.celsius(), "degC"),
            Self::Seconds(value) => (value.si(), "s"),
            Self::Minutes(value) => (value.minutes(), "min"),
            Self::Days(value) => (*value, "d"),
            Self::Ratio(value) | Self::Number(value) => (*value, ""),
            Self::Amount(value, unit) => (value.to_f64()?, unit),
            Self::Money(value, currency) => (value.to_f64()?, currency),
            #[allow(clippy::cast_precision_loss, reason = "a count of things in a plant is far below 2^53")]
            Self::Count(value) => (*value as f64, ""),
            Self::Date(_) | Self::Text(_) | Self::List(_) => return None,
        })
    }
}

/// A quantity that a rule compares with a limit of its kind.
pub trait Comparable: Copy {
    /// In SI.
    fn number(self) -> f64;
    /// What readers see of such a number.
    fn value(number: f64) -> Value;
}

macro_rules! comparable {
    ($($quantity:ident as $value:ident),+) => {
        $(impl Comparable for $quantity {
            fn number(self) -> f64 {
                self.si()
            }

            fn value(number: f64) -> Value {
                Value::$value(Self::new(number))
            }
        })+
    };
}

comparable! {
    Pressure as Pressure,
    Volume as Volume,
    Area as Area,
    Length as Length,
    Force as Force,
    Flow as Flow,
    Temperature as Temperature,
    Time as Seconds
}

/// A share, a ratio or days.
impl Comparable for f64 {
    fn number(self) -> f64 {
        self
    }

    fn value(number: f64) -> Value {
        Value::Number(number)
    }
}
