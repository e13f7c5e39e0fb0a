//! The columns of every table, as data: the reader, the README, the starter
//! folder and the workbook are all made from them.

use crate::physics::unit::Dimension;

use super::words::{Acting, Charging, Kind, Side, Status, YesNo, words};

words! {
    /// The tables of a plant folder.
    Table {
        Lists = "lists",
        Components = "components",
        Circuits = "circuits",
        Stations = "stations",
        Orders = "orders",
        Waivers = "waivers",
    }
}

/// The default unit of a flow or time column where it isn't the plain one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DefaultUnit {
    /// The unit system's own.
    Plain,
    /// Seconds in both systems.
    Seconds,
    /// cm³/min or in³/min: small flows.
    LeakFlow,
    /// Square millimetres per second, days or another fixed unit that has no choice.
    Fixed(&'static str),
}

/// What a column's cells hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Holds {
    /// Any text.
    Text,
    /// A part number.
    PartNo,
    /// A plain number; negative ones can't be read.
    Number,
    /// A quantity with a unit; negative ones can't be read.
    Quantity(Dimension, DefaultUnit),
    /// A temperature: may be negative.
    Temperature,
    /// A share from 0 to 1.
    Share,
    /// Decimal money.
    Money,
    /// ISO 8601 or a real date cell.
    Date,
    /// One word of a closed set.
    Word(&'static [&'static str]),
    /// Words of a closed set, separated by blanks.
    Words(&'static [&'static str]),
}

/// One known column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Its name in the contract.
    pub name: &'static str,
    /// What its cells hold.
    pub holds: Holds,
    /// Whether the table can't be read without it.
    pub required: bool,
    /// Whether a cell that can't be read spoils the part's lines (components only).
    pub physical: bool,
    /// Meaning and default, for the README and the starter.
    pub meaning: &'static str,
}

const fn column(name: &'static str, holds: Holds, meaning: &'static str) -> Column {
    let physical = matches!(holds, Holds::Quantity(..) | Holds::Words(_));
    Column { name, holds, required: false, physical, meaning }
}

const fn required(mut column: Column) -> Column {
    column.required = true;
    column
}

const fn physical(mut column: Column) -> Column {
    column.physical = true;
    column
}

const fn pressure(name: &'static str, meaning: &'static str) -> Column {
    column(name, Holds::Quantity(Dimension::Pressure, DefaultUnit::Plain), meaning)
}

const fn quantity(name: &'static str, dimension: Dimension, meaning: &'static str) -> Column {
    column(name, Holds::Quantity(dimension, DefaultUnit::Plain), meaning)
}

const fn text(name: &'static str, meaning: &'static str) -> Column {
    column(name, Holds::Text, meaning)
}

const fn seconds(name: &'static str, meaning: &'static str) -> Column {
    column(name, Holds::Quantity(Dimension::Time, DefaultUnit::Seconds), meaning)
}

/// Columns of the lists.
pub static LISTS: &[Column] = &[
    text("plant", "Plant; empty where not given"),
    text("pallet", "Pallet; empty where not given"),
    text("fixture", "Fixture; the file's stem where not given"),
    text("circuit", "Circuit of the fixture; `1` where not given"),
    text("position", "The place on the fixture"),
    required(column("part_no", Holds::PartNo, "Key into the component table")),
    required(column("qty", Holds::Number, "Pieces, above 0")),
    quantity("length", Dimension::Length, "Length of each piece (tube, hose)"),
    quantity("stroke_used", Dimension::Length, "Stroke used of each clamp; the component's stroke where not given"),
    column(
        "side",
        Holds::Word(Side::WORDS),
        "`clamp`, `unclamp` or `both`; `clamp` where not given. In a double-acting circuit clamps and work supports count on both, in a single-acting one every line counts on the clamp side",
    ),
    column(
        "share",
        Holds::Share,
        "Part of the circuit's oil that flows through each piece of this conductor; 1 where not given",
    ),
    quantity("force_required", Dimension::Force, "Force per piece, at the contact"),
    pressure("set_pressure", "The setting of this piece; the component's where not given"),
    pressure("precharge", "The precharge of this piece; the component's where not given"),
    column(
        "reduced",
        Holds::Word(YesNo::WORDS),
        "`yes` where it sits behind the circuit's reducing valve; `yes` for clamps and work supports, else `no`, where not given",
    ),
    text(
        "supports",
        "On a work support: the positions it stands under, in any circuit of the fixture, separated by blanks",
    ),
    text("note", "Any text"),
];

/// Columns of the component table.
pub static COMPONENTS: &[Column] = &[
    required(column("part_no", Holds::PartNo, "The key")),
    required(physical(column("kind", Holds::Word(Kind::WORDS), "What it is"))),
    text("description", "Any text"),
    pressure("rated_pressure", "Highest pressure it is rated for"),
    pressure("min_pressure", "Lowest pressure it works at"),
    quantity("area_clamp", Dimension::Area, "Effective piston area, clamping"),
    quantity("area_unclamp", Dimension::Area, "Effective piston area, unclamping; makes a clamp double-acting"),
    quantity("stroke", Dimension::Length, "Full stroke of a clamp, work support, charging cylinder or drive ram"),
    quantity("volume_clamp", Dimension::Volume, "Volume swept at full stroke, clamping"),
    quantity(
        "volume_unclamp",
        Dimension::Volume,
        "Volume swept at full stroke, unclamping; makes a clamp double-acting",
    ),
    quantity("dead_volume", Dimension::Volume, "Oil inside it at rest"),
    quantity("capacity", Dimension::Volume, "Oil that a charging cylinder displaces; usable oil of a pump"),
    physical(column(
        "pressure_ratio",
        Holds::Number,
        "Circuit pressure / pump pressure of a charging cylinder; the policy's where not given",
    )),
    pressure("return_loss", "Pressure that a charging cylinder's spring and friction take"),
    pressure("set_pressure", "Setting of a relief, reducing or sequence valve"),
    pressure("full_scale", "Full scale of a gauge"),
    quantity("inner_diameter", Dimension::Length, "Bore of a tube or hose"),
    quantity("outer_diameter", Dimension::Length, "Outside diameter of a tube"),
    pressure("tensile_strength", "Tensile strength of a tube's material"),
    pressure("elastic_modulus", "Elastic modulus of a tube's material; 205 GPa where not given"),
    physical(column("poisson", Holds::Number, "Poisson ratio of a tube's material; 0.3 where not given")),
    quantity("expansion", Dimension::Expansion, "Volume per length that a hose expands at rated pressure"),
    quantity("gas_volume", Dimension::Volume, "Gas volume of an accumulator"),
    pressure("precharge", "Gas pressure of an accumulator without oil, at 20 °C"),
    quantity("flow", Dimension::Flow, "Delivery of a pump, low-pressure stage"),
    quantity("flow_high", Dimension::Flow, "Delivery of a pump, high-pressure stage; `flow` where not given"),
    column(
        "leak",
        Holds::Quantity(Dimension::Flow, DefaultUnit::LeakFlow),
        "Leak at rated pressure; 0 is a statement, blank says nothing",
    ),
    pressure("return_pressure", "Pressure that the return spring of a single-acting clamp makes"),
    quantity("stiffness", Dimension::Stiffness, "Force per length that a clamp yields under"),
    physical(column(
        "force_ratio",
        Holds::Number,
        "Contact force / (area x pressure): friction, lever; 1 where not given",
    )),
    quantity("force_max", Dimension::Force, "Highest force that it may exert"),
    quantity("support_capacity", Dimension::Force, "Force that a work support bears at rated pressure"),
    column("includes", Holds::Words(Kind::WORDS), "Kinds built in, separated by blanks"),
    text("seal", "Seal material"),
    column("status", Holds::Word(Status::WORDS), "`active` where not given"),
    column("replaced_by", Holds::PartNo, "Part number of the replacement"),
    column(
        "uom",
        Holds::Word(&["each", "m", "ft"]),
        "Unit it is bought in; a blank is m (ft) for tube and hose, else each",
    ),
    column("unit_price", Holds::Money, "Price per unit"),
    text("currency", "Currency of the price"),
    column("lead_time", Holds::Number, "Days from order to delivery"),
    text("supplier", "Who delivers it"),
    column("pack_qty", Holds::Number, "Units per pack; nothing is rounded where not given"),
];

/// Columns of the circuits table.
pub static CIRCUITS: &[Column] = &[
    text("plant", "Plant"),
    text("pallet", "Pallet"),
    text("fixture", "Fixture"),
    text("circuit", "Circuit of the fixture; `1` where not given"),
    column(
        "acting",
        Holds::Word(Acting::WORDS),
        "`double` where every clamp is double-acting, else `single`, where not given",
    ),
    column("charging", Holds::Word(Charging::WORDS), "`cylinder` where not given"),
    text("station", "The load station that charges it"),
    pressure("pressure_set", "Wanted charge pressure"),
    pressure("pressure_min", "Clamps hold down to here"),
    column("temp_charge", Holds::Temperature, "Temperature at charging; 20 °C where not given"),
    column("temp_min", Holds::Temperature, "Lowest temperature until release"),
    column("temp_max", Holds::Temperature, "Highest temperature until release"),
    quantity("hold_time", Dimension::Time, "Time it must hold"),
    seconds("clamp_time_max", "Longest time to clamp; seconds where no unit is given"),
    seconds("unclamp_time_max", "Longest time to unclamp; seconds where no unit is given"),
    text("fluid", "Name of a fluid of the policy; `default` where not given"),
    column("need_date", Holds::Date, "When its parts are needed"),
    column("built", Holds::Word(YesNo::WORDS), "`yes`: nothing is bought for it any more; `no` where not given"),
];

/// Columns of the load stations.
pub static STATIONS: &[Column] = &[
    required(text("station", "The key")),
    column("pump", Holds::PartNo, "Part number of its pump"),
    column("drive_ram", Holds::PartNo, "Part number of its drive ram"),
    pressure("pump_setting", "Pressure the pump is set to"),
    column("built", Holds::Word(YesNo::WORDS), "`yes`: nothing is bought for it any more; `no` where not given"),
];

/// Columns of the orders.
pub static ORDERS: &[Column] = &[
    required(column("part_no", Holds::PartNo, "What is ordered or in stock")),
    required(column("qty", Holds::Number, "How much")),
    text("uom", "Unit of the quantity; a blank is m (ft) for tube and hose, else each"),
    text("order_no", "Order number"),
    text("supplier", "Who delivers it"),
    column("unit_price", Holds::Money, "Price per unit"),
    text("currency", "Currency of the price"),
    column("promised_date", Holds::Date, "When it is promised (ISO 8601)"),
];

/// Columns of the waivers.
pub static WAIVERS: &[Column] = &[
    text("plant", "`*` or empty matches all"),
    text("pallet", "`*` or empty matches all"),
    text("fixture", "`*` or empty matches all"),
    text("circuit", "`*` or empty matches all"),
    text("position", "`*` or empty matches all"),
    required(text("rule", "The rule that is waived")),
    required(text("reason", "Why it is accepted")),
    required(text("approved_by", "Who accepted it")),
    required(column("expires", Holds::Date, "Last day of validity (ISO 8601)")),
];

impl Table {
    /// Its known columns, in reading order.
    #[must_use]
    pub fn columns(self) -> &'static [Column] {
        match self {
            Self::Lists => LISTS,
            Self::Components => COMPONENTS,
            Self::Circuits => CIRCUITS,
            Self::Stations => STATIONS,
            Self::Orders => ORDERS,
            Self::Waivers => WAIVERS,
        }
    }

    /// The known column of a name.
    #[must_use]
    pub fn column(self, name: &str) -> Option<&'static Column> {
        self.columns().iter().find(|column| column.name == name)
    }
}
