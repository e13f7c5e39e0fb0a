//! The columns of Circuits.

use crate::physics::unit::Dimension;
use crate::rules::Rule;
use crate::rules::makeup::M09;
use crate::rules::pressure::{P03, P11, P13, P14};
use crate::rules::volume::{V01, V02};
use crate::tables::origin::column_letter;

use crate::report::workbook::grid::{LINK_WIDTH, SheetColumn};
use crate::report::workbook::style::{Digits, Look};
use crate::report::workbook::units::Units;
use crate::report::workbook::widths::Widths;

macro_rules! columns {
    ($($name:ident),+ $(,)?) => {
        /// A column, in the order of the sheet.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Col { $($name),+ }

        impl Col {
            pub const ALL: &'static [Self] = &[$(Self::$name),+];
        }
    };
}

columns! {
    Plant, Pallet, Fixture, Circuit, Side, Verdict,
    Fill, Reserve, Charge, Weakest, WeakestPart, Hot, Hold, Least, HoldReserve, InService, Lacks,
    First, NotAssessed, Demand, Capacity, Usable,
    Wanted, PumpNeeded, Potential, Cold, ClampTime, UnclampTime,
    Swept, Line, Dead, Rest, Compression, Air, Dilation, Elastic, Accumulator,
    M09, V01, V02, P03, P11, P13, P14, Current,
    Charging, PumpSetting, PumpRating, Pump, Ratio, ReturnLoss, Full, Reducing, Relief, TubeRating, PumpOil,
    Modulus, FreeAir, DilationPer, ElasticPer,
    Others, Waived, Unassessed, FullAtRun, ChargeAtRun, DemandAtRun,
}

/// The rules that answer on the sheet.
pub static LIVE: &[(Col, &Rule)] = &[
    (Col::M09, &M09),
    (Col::V01, &V01),
    (Col::V02, &V02),
    (Col::P03, &P03),
    (Col::P11, &P11),
    (Col::P13, &P13),
    (Col::P14, &P14),
];

/// Columns that are printed, from the left.
pub const PRINTED: u16 = Col::Lacks as u16 + 1;

impl Col {
    #[must_use]
    pub const fn index(self) -> u16 {
        self as u16
    }

    /// `F`.
    #[must_use]
    pub fn letter(self) -> String {
        column_letter(u32::from(self.index()))
    }

    /// Header, width and look.
    #[must_use]
    pub fn spec(self, units: Units, widths: Widths) -> SheetColumn {
        match self {
            Self::Plant => text("Plant", widths.plant),
            Self::Pallet => text("Pallet", widths.pallet),
            Self::Fixture => text("Fixture", widths.fixture),
            Self::Circuit => text("Circuit", widths.circuit),
            Self::Side => text("Side", 8.5),
            Self::Verdict => SheetColumn::new("Verdict", 15.0, Look::Wrapped),
            Self::WeakestPart => SheetColumn::new("Weakest part", widths.part.clamp(12.0, 18.0), Look::Wrapped),
            Self::Lacks => SheetColumn::new("What could not be assessed, and why", 38.0, Look::Wrapped),
            Self::First => text("Finding (link)", LINK_WIDTH),
            Self::InService => text("In service", 8.5),
            Self::NotAssessed => text("Rules not assessed", 30.0),
            Self::Charging => text("Charging", 9.5),
            Self::Current => text("Same inputs as in the run", 10.0),
            Self::M09 | Self::V01 | Self::V02 | Self::P03 | Self::P11 | Self::P13 | Self::P14 => self.rule_spec(),
            Self::Others | Self::Waived | Self::Unassessed => self.count_spec(),
            Self::Fill => SheetColumn::new(self.title(), 7.5, Look::Number(Digits::Three)),
            Self::Ratio | Self::FreeAir => SheetColumn::new(self.title(), 10.0, Look::Number(Digits::Three)),
            Self::HoldReserve | Self::ClampTime | Self::UnclampTime => {
                SheetColumn::new(self.title(), 9.0, Look::Number(Digits::One))
            }
            Self::Modulus | Self::DilationPer | Self::ElasticPer => self.property_spec(units),
            _ => self.quantity_spec(units),
        }
    }

    fn quantity_spec(self, units: Units) -> SheetColumn {
        let (dimension, digits) = if self.is_volume() {
            (Dimension::Volume, units.volume_digits())
        } else {
            (Dimension::Pressure, units.pressure_digits())
        };
        let width = if self.index() < PRINTED { 9.5 } else { 12.5 };
        SheetColumn::new(units.header(self.title(), dimension), width, Look::Number(digits))
    }

    fn property_spec(self, units: Units) -> SheetColumn {
        let per = format!("{}/{}", units.name(Dimension::Volume), units.name(Dimension::Pressure));
        let unit = if self == Self::Modulus { "Pa" } else { &per };
        SheetColumn::new(format!("{} [{unit}]", self.title()), 13.0, Look::Number(Digits::General))
    }

    fn rule_spec(self) -> SheetColumn {
        let rule = LIVE.iter().find(|(column, _)| *column == self);
        SheetColumn::new(rule.and_then(|(_, rule)| rule.live).unwrap_or_default(), 12.0, Look::Text)
    }

    fn count_spec(self) -> SheetColumn {
        SheetColumn::new(self.title(), 11.0, Look::Number(Digits::Whole))
    }

    const fn is_volume(self) -> bool {
        matches!(
            self,
            Self::Demand
                | Self::Capacity
                | Self::Usable
                | Self::Reserve
                | Self::Swept
                | Self::Line
                | Self::Dead
                | Self::Rest
                | Self::Compression
                | Self::Air
                | Self::Dilation
                | Self::Elastic
                | Self::Accumulator
                | Self::PumpOil
                | Self::DemandAtRun
        )
    }

    const fn title(self) -> &'static str {
        match self {
            Self::Fill => "Fill",
            Self::Demand => "Demand",
            Self::Capacity => "Capacity (input)",
            Self::Usable => "Usable oil",
            Self::Reserve => "Reserve",
            Self::Charge => "Charge pressure",
            Self::Wanted => "Pressure set (input)",
            Self::Weakest => "Weakest rating",
            Self::PumpNeeded => "Pump pressure needed",
            Self::Potential => "Potential pressure",
            Self::Cold => "At lowest temperature (solved)",
            Self::Hot => "At highest temp.",
            Self::Hold => "Holding pressure",
            Self::Least => "Lowest asked (input)",
            Self::HoldReserve => "Hold reserve [h]",
            Self::ClampTime => "Clamp time [s] (solved)",
            Self::UnclampTime => "Unclamp time [s] (solved)",
            Self::Swept => "Swept volume (input)",
            Self::Line => "Line volume (input)",
            Self::Dead => "Dead volume (input)",
            Self::Rest => "Oil compressed",
            Self::Compression => "Compression",
            Self::Air => "Free air",
            Self::Dilation => "Dilation",
            Self::Elastic => "Clamp elasticity",
            Self::Accumulator => "Accumulator (solved)",
            Self::PumpSetting => "Pump setting (input)",
            Self::PumpRating => "Pump rating (input)",
            Self::Pump => "Pump pressure",
            Self::Ratio => "Pressure ratio (input)",
            Self::ReturnLoss => "Return loss (input)",
            Self::Full => "Before the reducing valve",
            Self::Reducing => "Reducing valve setting (input)",
            Self::Relief => "Relief valve setting (input)",
            Self::TubeRating => "Lowest tube rating by stress (input)",
            Self::PumpOil => "Pump's usable oil (input)",
            Self::Modulus => "Bulk modulus",
            Self::FreeAir => "Free air fraction",
            Self::DilationPer => "Dilation of tubes and hoses (input)",
            Self::ElasticPer => "Elasticity of clamps (input)",
            Self::Others => "Other majors and minors (input)",
            Self::Waived => "Other waived ones (input)",
            Self::Unassessed => "Rules not assessed (input)",
            Self::FullAtRun => "In the run: before the reducing valve",
            Self::ChargeAtRun => "In the run: charge pressure",
            Self::DemandAtRun => "In the run: demand",
            _ => "",
        }
    }
}

fn text(header: &str, width: f64) -> SheetColumn {
    SheetColumn::new(header, width, Look::Text)
}
