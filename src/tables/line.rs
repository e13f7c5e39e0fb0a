//! A line of a list: one part, so many pieces, at a place on a circuit.

use chrono::NaiveDate;

use crate::physics::quantity::{Force, Length, Pressure};

use super::circuit_key::Name;
use super::component::Component;
use super::origin::{CellFault, Origin};
use super::spread::OwnSpread;
use super::words::{Kind, Side, Zone};

/// A cell of which it matters whether it is blank or can't be read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Cell<T> {
    /// Nothing in it.
    #[default]
    Blank,
    /// Read.
    Value(T),
    /// There is something that can't be read as the column's quantity.
    Unreadable,
}

impl<T: Copy> Cell<T> {
    /// The value, where there is one.
    pub fn value(&self) -> Option<T> {
        if let Self::Value(value) = self { Some(*value) } else { None }
    }
}

/// What a line's part number leads to.
#[derive(Clone, Debug, PartialEq)]
pub enum PartRef {
    /// A row of the component table, by index.
    Known(u32),
    /// Nothing in the table (L01), as given, cleaned.
    Unknown(String),
    /// Not in the table, and it looks altered by a spreadsheet (L05).
    Altered(Box<Alteration>),
}

/// A part number that a spreadsheet seems to have changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Alteration {
    /// As given.
    pub text: String,
    /// What it looks like: `a number in scientific notation`, `a date`, `a number that lost its leading zeros`.
    pub looks_like: &'static str,
    /// The part number of the table that it may have been.
    pub likely: Option<String>,
}

/// One line of a list.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub origin: Origin,
    pub part: PartRef,
    pub position: Name,
    /// Pieces; `Unreadable` is L02 here, not L04.
    pub qty: Cell<f64>,
    /// The quantity cell's text where it can't be read.
    pub qty_text: String,
    /// Length of each piece; 0 reads as blank.
    pub length: Cell<Length>,
    pub stroke_used: Option<Length>,
    /// As listed; `clamp` where the cell is blank.
    pub side: Side,
    /// 1 where the cell is blank.
    pub share: f64,
    pub force_required: Option<Force>,
    pub set_pressure: Option<Pressure>,
    pub precharge: Option<Pressure>,
    /// As listed.
    pub zone: Option<Zone>,
    /// Step of the clamping sequence, as listed.
    pub step: Option<f64>,
    pub arm_length: Option<Length>,
    pub grip_length: Option<Length>,
    pub fitted_on: Option<NaiveDate>,
    /// Positions that a work support stands under.
    pub supports: Vec<String>,
    /// Cells that can't be read (L04); also a row with too many or too few cells.
    pub faults: Vec<CellFault>,
    /// An identical line of another file or sheet, which came earlier (L12).
    pub repeats: Option<Origin>,
    /// Standard uncertainties that the line states itself.
    pub spreads: Vec<OwnSpread>,
}

/// Whether a number counts pieces: whole and above 0.
#[must_use]
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::float_cmp,
    reason = "only numbers that 64 bits hold exactly make the way there and back"
)]
pub fn is_count(number: f64) -> bool {
    // Quicker than taking the fraction; from 2^53 on every number is whole.
    let is_whole = if number < 9_007_199_254_740_992.0 { (number as i64) as f64 == number } else { number.is_finite() };
    number > 0.0 && is_whole
}

impl Line {
    /// ` at position C1`; nothing where it has none.
    #[must_use]
    pub fn at_position(&self) -> String {
        if self.position.is_empty() { String::new() } else { [" at position ", &self.position].concat() }
    }

    /// The first cell for want of which the line is set aside, its own or its part's.
    #[must_use]
    pub fn awaited_cell(&self, component: &Component) -> Option<(Origin, &'static str)> {
        let first = |faults: &[CellFault]| faults.iter().map(|fault| fault.column).find(|column| !column.is_empty());
        let whole_row = || (!self.faults.is_empty()).then_some("part_no");
        let own = first(&self.faults)
            .or_else(whole_row)
            .or_else(|| (!self.has_quantity()).then_some("qty"))
            .or_else(|| self.lacks_length(component).then_some("length"));
        let of_part =
            || first(&component.faults).filter(|_| component.is_spoiled).map(|column| (component.origin, column));
        own.map(|column| (self.origin, column)).or_else(of_part)
    }

    /// Whether a cell of this column can't be read.
    #[must_use]
    pub fn is_unreadable(&self, column: &str) -> bool {
        self.faults.iter().any(|fault| fault.column == column)
    }

    /// The setting that holds for a piece: the line's before the component's.
    #[must_use]
    pub fn setting_with(&self, component: &Component) -> Option<Pressure> {
        self.set_pressure.or(component.set_pressure)
    }

    /// A line with nothing but its part.
    #[must_use]
    pub fn of_part(part: u32) -> Self {
        Self {
            origin: Origin::default(),
            part: PartRef::Known(part),
            position: Name::default(),
            qty: Cell::Value(1.0),
            qty_text: String::new(),
            length: Cell::Blank,
            stroke_used: None,
            side: Side::Clamp,
            share: 1.0,
            force_required: None,
            set_pressure: None,
            precharge: None,
            zone: None,
            step: None,
            arm_length: None,
            grip_length: None,
            fitted_on: None,
            supports: Vec::new(),
            faults: Vec::new(),
            repeats: None,
            spreads: Vec::new(),
        }
    }

    /// The number in a column of quantities, in SI.
    #[must_use]
    pub fn number(&self, column: &str) -> Option<f64> {
        match column {
            "length" => self.length.value().map(Length::si),
            "stroke_used" => self.stroke_used.map(Length::si),
            "set_pressure" => self.set_pressure.map(Pressure::si),
            "precharge" => self.precharge.map(Pressure::si),
            "arm_length" => self.arm_length.map(Length::si),
            "grip_length" => self.grip_length.map(Length::si),
            "force_required" => self.force_required.map(Force::si),
            _ => None,
        }
    }

    /// Puts another number into a column of quantities.
    pub fn put_number(&mut self, column: &str, number: f64) {
        match column {
            "length" => self.length = Cell::Value(Length::new(number)),
            "stroke_used" => self.stroke_used = Some(Length::new(number)),
            "set_pressure" => self.set_pressure = Some(Pressure::new(number)),
            "precharge" => self.precharge = Some(Pressure::new(number)),
            "arm_length" => self.arm_length = Some(Length::new(number)),
            "grip_length" => self.grip_length = Some(Length::new(number)),
            "force_required" => self.force_required = Some(Force::new(number)),
            _ => {}
        }
    }

    /// Columns with a cell on this line that a part of its kind does not use: whoever filled them meant something.
    pub fn idle_columns(&self, component: &Component) -> impl Iterator<Item = &'static str> {
        use Kind::{Accumulator, Clamp, ReducingValve, ReliefValve, SequenceValve, WorkSupport};
        let is = |kinds: &[Kind]| kinds.iter().any(|kind| component.is(*kind));
        let columns = [
            ("length", self.length.value().is_some() && !component.is_conductor()),
            ("stroke_used", self.stroke_used.is_some() && !component.is_actuator()),
            ("share", self.share < 1.0 && !component.is_conductor()),
            ("force_required", self.force_required.is_some() && !component.is_actuator()),
            ("set_pressure", self.set_pressure.is_some() && !is(&[ReliefValve, ReducingValve, SequenceValve])),
            ("precharge", self.precharge.is_some() && !is(&[Accumulator])),
            ("step", self.step.is_some() && !is(&[Clamp, WorkSupport, SequenceValve])),
            ("arm_length", self.arm_length.is_some() && !is(&[Clamp])),
            ("grip_length", self.grip_length.is_some() && !is(&[Clamp])),
            ("supports", !self.supports.is_empty() && !is(&[WorkSupport])),
        ];
        // What the kind of a part is that states none can't be told; it has its L09 or L04.
        let is_told = component.kind.is_some();
        columns.into_iter().filter(move |(_, is_idle)| is_told && *is_idle).map(|(column, _)| column)
    }

    /// The component of the table, where the part number leads to one.
    #[must_use]
    pub fn component<'a>(&self, components: &'a [Component]) -> Option<&'a Component> {
        match self.part {
            PartRef::Known(index) => components.get(index as usize),
            PartRef::Unknown(_) | PartRef::Altered(_) => None,
        }
    }

    /// Whether the quantity is there, a whole number and above 0 (else L02).
    #[must_use]
    pub fn has_quantity(&self) -> bool {
        self.qty.value().is_some_and(is_count)
    }

    /// Whether it needs a length and has none (L06).
    #[must_use]
    pub fn lacks_length(&self, component: &Component) -> bool {
        component.is_conductor() && self.length == Cell::Blank
    }

    /// The zone that it sits in, on a side with a reducing valve or without one.
    ///
    /// `reduced` without a reducing valve is `full`.
    #[must_use]
    pub fn zone_on(&self, component: &Component, has_reducing_valve: bool) -> Zone {
        let ahead = match component.kind {
            Some(Kind::ChargingCylinder | Kind::Filter) => true,
            Some(Kind::Coupling) => !component.includes.has(Kind::CheckValve),
            _ => false,
        };
        let zone = self.zone.unwrap_or(match component.kind {
            _ if ahead => Zone::Charge,
            Some(Kind::Clamp | Kind::WorkSupport) => Zone::Reduced,
            _ => Zone::Full,
        });
        if zone == Zone::Reduced && !has_reducing_valve { Zone::Full } else { zone }
    }

    /// The step in which a clamp (2) or work support (1) moves, or which a sequence valve (2) opens: as
    /// listed, else as usual.
    #[must_use]
    pub fn step_with(&self, component: &Component) -> f64 {
        self.step.unwrap_or(if component.is(Kind::WorkSupport) { 1.0 } else { 2.0 })
    }

    /// [`Line::is_set_aside`] for a line whose part is known.
    #[must_use]
    pub fn is_set_aside_with(&self, component: &Component) -> bool {
        !self.faults.is_empty() || !self.has_quantity() || self.lacks_length(component) || component.is_spoiled
    }

    /// Whether the line does not count in volumes: an L01, L02, L04, L05 or L06
    /// on it, or a part with an L04 in a physical column.
    #[must_use]
    pub fn is_set_aside(&self, components: &[Component]) -> bool {
        self.component(components).is_none_or(|component| self.is_set_aside_with(component))
    }
}

#[cfg(test)]
mod tests {
    use super::is_count;

    #[test]
    fn whole_numbers_above_0_count_pieces() {
        for number in [1.0, 4.0, 1e6, 9_007_199_254_740_991.0, 9_007_199_254_740_992.0, 1e300, f64::MAX] {
            assert!(is_count(number), "{number}");
        }
        for number in [0.0, -0.0, -1.0, 0.5, 2.000_000_1, 4_503_599_627_370_495.5, f64::INFINITY, f64::NAN, 5e-324] {
            assert!(!is_count(number), "{number}");
        }
    }
}
