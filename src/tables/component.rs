//! A row of the component table.

use rust_decimal::Decimal;

use crate::physics::quantity::{Area, Expansion, Flow, Force, Length, Pressure, Stiffness, Volume};

use super::kinds::Kinds;
use super::origin::{CellFault, Origin};
use super::words::{Kind, Status, words};

words! {
    /// The unit that a part is bought in.
    Uom { Each = "each", M = "m", Ft = "ft" }
}

/// What a part number stands for, and its ratings. A figure that is `None`
/// was blank, or 0 where only more makes sense.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Component {
    /// Part number, cleaned (trimmed, NFKC, plain blanks).
    pub part_no: String,
    /// `None` where the cell is blank or can't be read.
    pub kind: Option<Kind>,
    pub description: String,
    pub rated_pressure: Option<Pressure>,
    pub min_pressure: Option<Pressure>,
    pub area_clamp: Option<Area>,
    pub area_unclamp: Option<Area>,
    pub stroke: Option<Length>,
    pub volume_clamp: Option<Volume>,
    pub volume_unclamp: Option<Volume>,
    /// 0 is a value.
    pub dead_volume: Option<Volume>,
    pub capacity: Option<Volume>,
    pub pressure_ratio: Option<f64>,
    /// 0 is a value.
    pub return_loss: Option<Pressure>,
    pub set_pressure: Option<Pressure>,
    pub full_scale: Option<Pressure>,
    pub inner_diameter: Option<Length>,
    pub outer_diameter: Option<Length>,
    pub tensile_strength: Option<Pressure>,
    pub elastic_modulus: Option<Pressure>,
    /// 0 is a value.
    pub poisson: Option<f64>,
    /// 0 is a value.
    pub expansion: Option<Expansion>,
    pub gas_volume: Option<Volume>,
    pub precharge: Option<Pressure>,
    pub flow: Option<Flow>,
    pub flow_high: Option<Flow>,
    /// 0 is a statement, `None` says nothing.
    pub leak: Option<Flow>,
    /// 0 is a value.
    pub return_pressure: Option<Pressure>,
    pub stiffness: Option<Stiffness>,
    pub force_ratio: Option<f64>,
    pub force_max: Option<Force>,
    pub support_capacity: Option<Force>,
    pub includes: Kinds,
    pub seal: String,
    pub status: Option<Status>,
    pub replaced_by: String,
    pub uom: Option<Uom>,
    pub unit_price: Option<Decimal>,
    pub currency: String,
    /// Days.
    pub lead_time: Option<f64>,
    pub supplier: String,
    pub pack_qty: Option<Decimal>,
    /// Its row.
    pub origin: Origin,
    /// Cells that can't be read (L04).
    pub faults: Vec<CellFault>,
    /// Whether one of these is in a physical column: lines of the part are then set aside.
    pub is_spoiled: bool,
}

impl Component {
    /// Whether it is of this kind.
    #[must_use]
    pub fn is(&self, kind: Kind) -> bool {
        self.kind == Some(kind)
    }

    /// Whether it is of this kind or has one built in.
    #[must_use]
    pub fn provides(&self, kind: Kind) -> bool {
        self.is(kind) || self.includes.has(kind)
    }

    /// A clamp with an unclamping area or volume.
    #[must_use]
    pub fn is_double_acting(&self) -> bool {
        self.is(Kind::Clamp) && (self.area_unclamp.is_some() || self.volume_unclamp.is_some())
    }

    /// Tube or hose.
    #[must_use]
    pub fn is_conductor(&self) -> bool {
        self.kind.is_some_and(Kind::is_conductor)
    }

    /// Clamp or work support.
    #[must_use]
    pub fn is_actuator(&self) -> bool {
        self.kind.is_some_and(Kind::is_actuator)
    }

    /// Whether it can still be bought.
    #[must_use]
    pub fn is_obsolete(&self) -> bool {
        self.status == Some(Status::Obsolete)
    }
}

/// A part number that the table has twice with different data (L11).
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatedPart {
    /// Index of the first row's component, the one that counts.
    pub first: u32,
    /// The row that repeats it.
    pub again: Origin,
    /// Names of the columns that differ.
    pub differing: Vec<&'static str>,
}
