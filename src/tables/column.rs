//! The columns of every table, as data: the reader, the README, the starter
//! folder and the workbook are all made from them.

use std::borrow::Cow;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::limit::{is_above, is_below};
use crate::physics::quantity::{Area, Expansion, Flow, Force, Length, Pressure, Stiffness, Temperature, Time, Volume};
use crate::physics::unit::{Dimension, UnitUse};

use super::circuit_key::Name;
use super::kinds::Kinds;
use super::origin::{CellFault, Origin};
use super::spread::{OwnSpread, SpreadKind};
use super::station_part::StationPart;
use super::sureness::Measure;
pub use super::words::Table;
use super::words::{Acting, Charging, Kind, Side, Status, Uom, YesNo, Zone};

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
    /// A number for each length of the unit system: 1/mm or 1/in.
    PerLength,
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
    /// Whether 0 is a value; elsewhere it is a blank.
    pub zero_counts: bool,
    /// Whether text is shown as given, instead of being compared.
    pub as_given: bool,
    /// What a plain number counts, as a header may say it.
    pub counted_in: &'static [&'static str],
    /// The kind of datum by whose spread it is known; `None` where it is known exactly, unless a row states otherwise.
    pub spread: Option<SpreadKind>,
    /// Meaning and default, for the README and the starter.
    pub meaning: &'static str,
}

const fn column(holds: Holds, meaning: &'static str) -> Column {
    let physical = matches!(holds, Holds::Quantity(..) | Holds::Words(_) | Holds::PerLength);
    Column {
        name: "",
        holds,
        required: false,
        physical,
        zero_counts: false,
        as_given: false,
        counted_in: &[],
        spread: None,
        meaning,
    }
}

impl Column {
    const fn named(mut self, name: &'static str) -> Self {
        self.name = name;
        self
    }

    const fn required(mut self) -> Self {
        self.required = true;
        self
    }

    const fn physical(mut self) -> Self {
        self.physical = true;
        self
    }

    const fn zero(mut self) -> Self {
        self.zero_counts = true;
        self
    }

    const fn as_given(mut self) -> Self {
        self.as_given = true;
        self
    }

    const fn counted_in(mut self, words: &'static [&'static str]) -> Self {
        self.counted_in = words;
        self
    }

    const fn known_to(mut self, spread: SpreadKind) -> Self {
        self.spread = Some(spread);
        self
    }

    /// Whether a header with `±` behind its name states how far its figures are known.
    #[must_use]
    pub const fn may_state_spread(&self) -> bool {
        matches!(self.holds, Holds::Quantity(dimension, _) if !matches!(dimension, Dimension::Time))
            || matches!(self.holds, Holds::Temperature)
            || self.spread.is_some()
    }

    /// What its figures are measured in.
    #[must_use]
    pub const fn measure(&self) -> Measure {
        match self.holds {
            Holds::Quantity(dimension, DefaultUnit::LeakFlow) => Measure::Quantity(dimension, UnitUse::Leak),
            Holds::Quantity(dimension, _) => Measure::Quantity(dimension, UnitUse::Usual),
            Holds::Temperature => Measure::Quantity(Dimension::Temperature, UnitUse::Usual),
            _ => Measure::Plain(""),
        }
    }
}

const fn pressure(meaning: &'static str) -> Column {
    quantity(Dimension::Pressure, meaning)
}

const fn quantity(dimension: Dimension, meaning: &'static str) -> Column {
    column(Holds::Quantity(dimension, DefaultUnit::Plain), meaning)
}

const fn text(meaning: &'static str) -> Column {
    column(Holds::Text, meaning)
}

const fn number(meaning: &'static str) -> Column {
    column(Holds::Number, meaning)
}

const fn days(meaning: &'static str) -> Column {
    number(meaning).counted_in(&[
        "d",
        "day",
        "calendar days",
        "Tag",
        "Tage",
        "Kalendertage",
        "jours",
        "giorni",
        "días",
        "dagen",
        "days",
    ])
}

/// What a number of pieces is called where lists are kept, in the languages of the trade (common practice, no source).
const PIECES: &[&str] = &[
    "pc", "pcs", "piece", "ea", "each", "St", "Stk", "Stck", "Stück", "Stueck", "Anzahl", "Menge", "pce", "pces",
    "pièce", "pièces", "pz", "pezzi", "pza", "pzas", "piezas", "ud", "uds", "stuks", "szt", "ks", "db", "unit",
    "units", "no", "nos", "nr", "number", "count", "n", "qty", "pieces",
];

/// A number of pieces, or of what a part is bought in.
const fn pieces(meaning: &'static str) -> Column {
    number(meaning).counted_in(PIECES)
}

const fn seconds(meaning: &'static str) -> Column {
    column(Holds::Quantity(Dimension::Time, DefaultUnit::Seconds), meaning)
}

const fn date(meaning: &'static str) -> Column {
    column(Holds::Date, meaning)
}

const fn yes_no(meaning: &'static str) -> Column {
    column(Holds::Word(YesNo::WORDS), meaning)
}

/// Cells of one row, by the place of a column among its table's.
pub trait RowSource {
    /// In SI; `None` where blank, unreadable, or 0 where only more makes sense.
    fn number(&mut self, column: usize) -> Option<f64>;
    fn decimal(&mut self, column: usize) -> Option<Decimal>;
    fn date(&mut self, column: usize) -> Option<NaiveDate>;
    /// Text, as the column is compared or shown.
    fn text(&mut self, column: usize) -> Cow<'_, str>;
    fn word<T>(&mut self, column: usize, find: fn(&str) -> Option<T>, words: &[&str]) -> Option<T>;
    fn words<T>(&mut self, column: usize, find: fn(&str) -> Option<T>, words: &[&str]) -> Vec<T>;
    /// A part of a load station.
    fn station_part(&mut self, column: usize) -> StationPart;
}

/// What a column's cells become.
pub trait Field: Sized {
    fn read(source: &mut impl RowSource, column: usize) -> Self;
    /// Whether two rows say different things; rounding of units is no difference.
    fn is_other(&self, other: &Self) -> bool;
    /// The number that it holds, in SI; `None` where it holds none.
    fn number(&self) -> Option<f64> {
        None
    }
    /// Holds another number, where it holds numbers.
    fn put_number(&mut self, _number: f64) {}
}

macro_rules! quantity_fields {
    ($($quantity:ident),+) => {$(
        impl Field for Option<$quantity> {
            fn read(source: &mut impl RowSource, column: usize) -> Self {
                source.number(column).map($quantity::new)
            }

            fn is_other(&self, other: &Self) -> bool {
                match (self, other) {
                    (Some(one), Some(other)) => {
                        is_above(one.si(), other.si()) || is_below(one.si(), other.si())
                    }
                    _ => self.is_some() != other.is_some(),
                }
            }

            fn number(&self) -> Option<f64> {
                self.map($quantity::si)
            }

            fn put_number(&mut self, number: f64) {
                *self = Some($quantity::new(number));
            }
        }
    )+};
}
quantity_fields!(Area, Expansion, Flow, Force, Length, Pressure, Stiffness, Temperature, Time, Volume);

macro_rules! plain_fields {
    ($($(<$word:ident>)? $type:ty: |$source:ident, $column:ident| $read:expr;)+) => {$(
        impl Field for $type {
            fn read($source: &mut impl RowSource, $column: usize) -> Self {
                $read
            }

            fn is_other(&self, other: &Self) -> bool {
                self != other
            }
        }
    )+};
}
impl Field for Option<f64> {
    fn read(source: &mut impl RowSource, column: usize) -> Self {
        source.number(column)
    }

    fn is_other(&self, other: &Self) -> bool {
        self != other
    }

    fn number(&self) -> Option<f64> {
        *self
    }

    fn put_number(&mut self, number: f64) {
        *self = Some(number);
    }
}
plain_fields! {
    Option<Decimal>: |source, column| source.decimal(column);
    Option<NaiveDate>: |source, column| source.date(column);
    String: |source, column| source.text(column).into_owned();
    Name: |source, column| source.text(column).into();
    Option<Kind>: |source, column| source.word(column, Kind::find, Kind::WORDS);
    Option<Status>: |source, column| source.word(column, Status::find, Status::WORDS);
    Option<Uom>: |source, column| source.word(column, Uom::find, Uom::WORDS);
    Option<Acting>: |source, column| source.word(column, Acting::find, Acting::WORDS);
    Option<Charging>: |source, column| source.word(column, Charging::find, Charging::WORDS);
    bool: |source, column| source.word(column, YesNo::find, YesNo::WORDS) == Some(YesNo::Yes);
    Kinds: |source, column| source.words(column, Kind::find, Kind::WORDS).into_iter().fold(Kinds::NONE, Kinds::with);
    StationPart: |source, column| source.station_part(column);
}

/// Makes a row's struct, its columns, its reader and the comparison of two rows from one list.
///
/// `keys` are columns that the reader takes by itself; `rest` are fields that no column holds.
macro_rules! table {
    (
        $(#[$doc:meta])*
        $row:ident, $columns:ident;
        keys { $($key:ident = $of_key:expr;)* }
        columns { $($field:ident: $type:ty = $of_field:expr;)+ }
        rest { $($(#[$about:meta])* $rest:ident: $kept:ty,)* }
    ) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Default, PartialEq)]
        pub struct $row {
            $(pub $field: $type,)+
            $($(#[$about])* pub $rest: $kept,)*
        }

        /// Its columns.
        pub static $columns: &[Column] =
            &[$($of_key.named(stringify!($key)),)* $($of_field.named(stringify!($field)),)+];

        impl $row {
            /// Reads the columns of a row.
            #[allow(unused_assignments, reason = "the last column has none behind it")]
            pub fn read(source: &mut impl RowSource) -> Self {
                const KEYS: &[&str] = &[$(stringify!($key)),*];
                let mut column = KEYS.len();
                let mut next = || {
                    column += 1;
                    column - 1
                };
                Self { $($field: Field::read(source, next()),)+ ..Self::default() }
            }

            /// The number in a column, by its place among the table's.
            #[must_use]
            #[allow(unused_assignments, reason = "the last column has none behind it")]
            pub fn number(&self, column: usize) -> Option<f64> {
                const KEYS: &[&str] = &[$(stringify!($key)),*];
                let mut at = KEYS.len();
                $(if at == column {
                    return self.$field.number();
                }
                at += 1;)+
                None
            }

            /// Puts another number into a column of numbers.
            #[allow(unused_assignments, reason = "the last column has none behind it")]
            pub fn put_number(&mut self, column: usize, number: f64) {
                const KEYS: &[&str] = &[$(stringify!($key)),*];
                let mut at = KEYS.len();
                $(if at == column {
                    return self.$field.put_number(number);
                }
                at += 1;)+
            }

            /// Names of the columns in which two rows differ.
            #[must_use]
            pub fn differing(&self, again: &Self) -> Vec<&'static str> {
                let unreadable = |row: &Self, name: &str| {
                    row.faults.iter().find(|fault| fault.column == name).map(|fault| fault.found.clone())
                };
                let mut names = Vec::new();
                $(if self.$field.is_other(&again.$field)
                    || unreadable(self, stringify!($field)) != unreadable(again, stringify!($field))
                {
                    names.push(stringify!($field));
                })+
                names
            }

            /// Whether a cell of this column can't be read.
            #[must_use]
            pub fn is_unreadable(&self, column: &str) -> bool {
                self.faults.iter().any(|fault| fault.column == column)
            }
        }
    };
}

/// Columns of the lists.
pub static LISTS: &[Column] = &[
    text("Plant; empty where not given").named("plant"),
    text("Pallet; empty where not given").named("pallet"),
    text("Fixture; the file's stem where not given").named("fixture"),
    text("Circuit of the fixture; `1` where not given").named("circuit"),
    text("The place on the fixture").named("position"),
    column(Holds::PartNo, "Key into the component table").named("part_no").required(),
    pieces("Pieces, above 0").named("qty").zero().required(),
    quantity(Dimension::Length, "Length of each piece (tube, hose)").named("length").known_to(SpreadKind::Length),
    quantity(Dimension::Length, "Stroke used of each clamp; the component's stroke where not given").named("stroke_used").known_to(SpreadKind::Stroke),
    column(Holds::Word(Side::WORDS),
        "`clamp`, `unclamp` or `both`; `clamp` where not given. In a double-acting circuit clamps and work supports count on both, in a single-acting one every line counts on the clamp side",
    ).named("side"),
    column(Holds::Share,
        "Part of the circuit's oil that flows through each piece of this conductor; 1 where not given",
    ).named("share").zero(),
    quantity(Dimension::Force, "Force per piece, at the contact").named("force_required"),
    pressure("The setting of this piece; the component's where not given").named("set_pressure").known_to(SpreadKind::ValveSetting),
    pressure("The precharge of this piece; the component's where not given").named("precharge").known_to(SpreadKind::Precharge),
    column(
        Holds::Word(Zone::WORDS),
        "`charge` ahead of the check valve, `full` behind it, `reduced` behind the reducing valve. Where not given: charging cylinder, filter and a coupling without a check valve built in `charge`, clamps and work supports on a side with a reducing valve `reduced`, else `full`",
    )
    .named("zone"),
    number("Of a clamp or work support: the step of the clamping sequence in which it moves (work supports 1, clamps 2 where not given); of a sequence valve: the step that it opens (2 where not given)").named("step").counted_in(&["no", "nr", "number"]),
    quantity(Dimension::Length, "Of a clamp with an arm: from the piston's axis to the contact; the component's `arm_rated` where not given").named("arm_length").known_to(SpreadKind::Length),
    quantity(Dimension::Length, "Of a clamp: length of the clamped part whose growth moves the piston; 0 where not given").named("grip_length").known_to(SpreadKind::Length).zero(),
    date("Date on which the piece was fitted (hose, clamp, accumulator)").named("fitted_on"),
    text("On a work support: the positions it stands under, in any circuit of the fixture, separated by blanks",
    ).named("supports"),
    text("Any text").named("note"),
];

table! {
    /// What a part number stands for, and its ratings. A figure that is `None` was blank, or 0 where only more
    /// makes sense.
    Component, COMPONENTS;
    keys {}
    columns {
    part_no: String = column(Holds::PartNo, "The key").required();
    kind: Option<Kind> = column(Holds::Word(Kind::WORDS), "What it is").required().physical();
    description: String = text("Any text").as_given();
    rated_pressure: Option<Pressure> = pressure("Highest pressure it is rated for");
    min_pressure: Option<Pressure> = pressure("Lowest pressure it works at").zero();
    area_clamp: Option<Area> = quantity(Dimension::Area, "Effective piston area, clamping").known_to(SpreadKind::Area);
    area_unclamp: Option<Area> = quantity(Dimension::Area, "Effective piston area, unclamping; makes a clamp double-acting").known_to(SpreadKind::Area);
    piston_area: Option<Area> = quantity(Dimension::Area, "Piston area of a charging cylinder or drive ram").known_to(SpreadKind::Area);
    stroke: Option<Length> = quantity(Dimension::Length, "Full stroke of a clamp, work support, charging cylinder or drive ram").known_to(SpreadKind::Stroke);
    volume_clamp: Option<Volume> = quantity(Dimension::Volume, "Volume swept at full stroke, clamping").known_to(SpreadKind::Volume);
    volume_unclamp: Option<Volume> = quantity(Dimension::Volume, "Volume swept at full stroke, unclamping; makes a clamp double-acting").known_to(SpreadKind::Volume);
    dead_volume: Option<Volume> = quantity(Dimension::Volume, "Oil inside it at rest").zero().known_to(SpreadKind::DeadVolume);
    capacity: Option<Volume> = quantity(Dimension::Volume, "Oil that a charging cylinder displaces; usable oil of a pump").known_to(SpreadKind::Capacity);
    pressure_ratio: Option<f64> = number("Circuit pressure / pump pressure of a charging cylinder, where the piston areas don't say it; the policy's where not given").physical().known_to(SpreadKind::Ratio);
    return_loss: Option<Pressure> = pressure("Pressure that a charging cylinder's spring and friction take").zero().known_to(SpreadKind::ReturnLoss);
    set_pressure: Option<Pressure> = pressure("Setting of a relief, reducing or sequence valve").known_to(SpreadKind::ValveSetting);
    full_scale: Option<Pressure> = pressure("Full scale of a gauge");
    inner_diameter: Option<Length> = quantity(Dimension::Length, "Bore of a tube or hose").known_to(SpreadKind::Diameter);
    outer_diameter: Option<Length> = quantity(Dimension::Length, "Outside diameter of a tube").known_to(SpreadKind::Diameter);
    tensile_strength: Option<Pressure> = pressure("Tensile strength of a tube's material");
    elastic_modulus: Option<Pressure> = pressure("Elastic modulus of a tube's material; 205 GPa where not given").known_to(SpreadKind::ElasticModulus);
    poisson: Option<f64> = number("Poisson ratio of a tube's material; 0.3 where not given").counted_in(&["nu", "ν"]).physical().zero();
    expansion: Option<Expansion> = quantity(Dimension::Expansion, "Volume per length that a hose expands at rated pressure").zero().known_to(SpreadKind::HoseExpansion);
    gas_volume: Option<Volume> = quantity(Dimension::Volume, "Gas volume of an accumulator").known_to(SpreadKind::GasVolume);
    precharge: Option<Pressure> = pressure("Gas pressure of an accumulator without oil, at 20 °C").known_to(SpreadKind::Precharge);
    flow: Option<Flow> = quantity(Dimension::Flow, "Delivery of a pump, low-pressure stage").known_to(SpreadKind::Flow);
    flow_high: Option<Flow> = quantity(Dimension::Flow, "Delivery of a pump, high-pressure stage; `flow` where not given").known_to(SpreadKind::Flow);
    leak: Option<Flow> = column(Holds::Quantity(Dimension::Flow, DefaultUnit::LeakFlow), "Leak at rated pressure; 0 is a statement, blank says nothing").zero().known_to(SpreadKind::Leak);
    return_pressure: Option<Pressure> = pressure("Pressure that the return spring of a single-acting clamp makes").zero().known_to(SpreadKind::ReturnPressure);
    stiffness: Option<Stiffness> = quantity(Dimension::Stiffness, "Force per length that a clamp yields under").known_to(SpreadKind::Stiffness);
    force_ratio: Option<f64> = number("Contact force / (area x pressure): friction, lever; counts as 1 where not given, and a pass is then not assessed").physical().known_to(SpreadKind::ForceRatio);
    arm_rated: Option<Length> = quantity(Dimension::Length, "Arm length up to which a clamp's rating and force hold").known_to(SpreadKind::Length);
    arm_factor: Option<f64> = column(Holds::PerLength, "Loss of a clamp's force for each length of arm beyond `arm_rated`; 0 where not given").zero();
    time_min: Option<Time> = seconds("Shortest clamping time allowed; seconds where no unit is given");
    force_max: Option<Force> = quantity(Dimension::Force, "Highest force that it may exert");
    support_capacity: Option<Force> = quantity(Dimension::Force, "Force that a work support bears at rated pressure").known_to(SpreadKind::SupportCapacity);
    capacity_from: Option<Pressure> = pressure("Pressure at which a work support's capacity starts; 0 where not given").zero().known_to(SpreadKind::SupportCapacity);
    closing_volume: Option<Volume> = quantity(Dimension::Volume, "Oil that slips back while a check valve or coupling closes; 0 where not given").zero().known_to(SpreadKind::ClosingVolume);
    kv: Option<f64> = number("Flow of water in m³/h at 1 bar (valves, manifolds, fittings)").counted_in(&["m3/h", "m³/h"]).physical().known_to(SpreadKind::Kv);
    accuracy: Option<f64> = column(Holds::Share, "Accuracy of a gauge, share of full scale").counted_in(&["FS", "full scale", "of full scale", "share of full scale"]).physical().zero();
    air_ratio: Option<f64> = number("Oil pressure / air pressure of an air-driven pump").physical().known_to(SpreadKind::Ratio);
    family: String = text("Parts of one family can stand in for each other");
    service_life: Option<f64> = days("Days that it may stay fitted");
    cycle_life: Option<f64> = number("Cycles that it lasts").counted_in(&["cycle", "Zyklen", "cycles"]);
    includes: Kinds = column(Holds::Words(Kind::WORDS), "Kinds built in, separated by blanks");
    seal: String = text("Seal material");
    status: Option<Status> = column(Holds::Word(Status::WORDS), "`active` where not given");
    replaced_by: String = column(Holds::PartNo, "Part number of the replacement");
    uom: Option<Uom> = column(Holds::Word(Uom::WORDS), "Unit it is bought in; a blank is m (ft) for tube and hose, else each");
    unit_price: Option<Decimal> = column(Holds::Money, "Price per unit").zero();
    currency: String = text("Currency of the price");
    lead_time: Option<f64> = days("Days from order to delivery").zero();
    supplier: String = text("Who delivers it").as_given();
    pack_qty: Option<Decimal> = pieces("Units per pack; nothing is rounded where not given");
    }
    rest {
        /// Its row.
        origin: Origin,
        /// Cells that can't be read (L04).
        faults: Vec<CellFault>,
        /// Whether one of these is in a physical column: lines of the part are then set aside.
        is_spoiled: bool,
        /// Standard uncertainties that the row states itself.
        spreads: Vec<OwnSpread>,
    }
}

table! {
    /// Service data of a circuit, one row of the circuits table.
    Service, CIRCUITS;
    keys {
        plant = text("Plant");
        pallet = text("Pallet");
        fixture = text("Fixture");
        circuit = text("Circuit of the fixture; `1` where not given");
    }
    columns {
    acting: Option<Acting> = column(Holds::Word(Acting::WORDS), "`double` where every clamp is double-acting, else `single`, where not given");
    charging: Option<Charging> = column(Holds::Word(Charging::WORDS), "`cylinder` where not given");
    station: Name = text("The load station that charges it");
    pressure_set: Option<Pressure> = pressure("Wanted charge pressure");
    pressure_min: Option<Pressure> = pressure("Clamps hold down to here");
    temp_charge: Option<Temperature> = column(Holds::Temperature, "Temperature at charging; 20 °C where not given").zero().known_to(SpreadKind::Temperature);
    temp_min: Option<Temperature> = column(Holds::Temperature, "Lowest temperature until release").zero().known_to(SpreadKind::Temperature);
    temp_max: Option<Temperature> = column(Holds::Temperature, "Highest temperature until release").zero().known_to(SpreadKind::Temperature);
    hold_time: Option<Time> = quantity(Dimension::Time, "Time it must hold");
    clamp_time_max: Option<Time> = seconds("Longest time to clamp; seconds where no unit is given");
    unclamp_time_max: Option<Time> = seconds("Longest time to unclamp; seconds where no unit is given");
    fluid: Name = text("Name of a fluid of the policy; `default` where not given");
    need_date: Option<NaiveDate> = date("When its parts are needed");
    built: bool = yes_no("`yes`: in service, and nothing is bought for it any more; planned, `no`, where not given");
    source: Name = text("Circuits of one pallet with the same word here are filled in one stroke of one charging cylinder; on its own where not given");
    dwell: Option<Time> = seconds("Time for which the station stays coupled at pressure; 0 where not given, seconds where no unit is given").zero();
    cycles_per_day: Option<f64> = number("Cycles of charging and release a day").counted_in(&["cycles", "Zyklen", "per day", "pro Tag", "1/d", "1/day", "1/Tag", "cycles/day", "cycles per day"]);
    cutting_force: Option<Force> = quantity(Dimension::Force, "Pull that the circuit's clamps must hold by friction");
    friction: Option<f64> = column(Holds::Share, "Coefficient of friction at the clamps' contacts").counted_in(&["mu", "µ", "μ"]).known_to(SpreadKind::Friction);
    part_expansion: Option<f64> = number("Linear expansion of the clamped part, 1/K; the policy's where not given").counted_in(&["1/K", "K-1"]).zero().known_to(SpreadKind::MetalExpansion);
    topped_up: Option<NaiveDate> = date("When oil was last added");
    }
    rest {
        origin: Origin,
        /// Cells that can't be read (L04).
        faults: Vec<CellFault>,
        /// Standard uncertainties that the row states itself.
        spreads: Vec<OwnSpread>,
    }
}

table! {
    /// A load station, one row of the stations table: a pump and a drive ram, shared by many pallets.
    Station, STATIONS;
    keys {}
    columns {
    station: String = text("The key").required();
    pump: StationPart = column(Holds::PartNo, "Part number of its pump");
    drive_ram: StationPart = column(Holds::PartNo, "Part number of its drive ram");
    pump_setting: Option<Pressure> = pressure("Pressure the pump is set to").known_to(SpreadKind::PumpSetting);
    relief_setting: Option<Pressure> = pressure("Setting of the station's locked relief valve").known_to(SpreadKind::ValveSetting);
    air_pressure: Option<Pressure> = pressure("Air pressure of an air-driven pump").known_to(SpreadKind::PumpSetting);
    built: bool = yes_no("`yes`: nothing is bought for it any more; `no` where not given");
    }
    rest {
        origin: Origin,
        faults: Vec<CellFault>,
        /// Standard uncertainties that the row states itself.
        spreads: Vec<OwnSpread>,
    }
}

table! {
    /// What is ordered or in stock, one row of the orders table.
    Order, ORDERS;
    keys {}
    columns {
    part_no: String = column(Holds::PartNo, "What is ordered or in stock").required();
    qty: Option<Decimal> = pieces("How much").required().zero();
    uom: String = text("Unit of the quantity; a blank is m (ft) for tube and hose, else each");
    order_no: String = text("Order number");
    supplier: String = text("Who delivers it").as_given();
    unit_price: Option<Decimal> = column(Holds::Money, "Price per unit").zero();
    currency: String = text("Currency of the price");
    promised_date: Option<NaiveDate> = date("When it is promised (ISO 8601)");
    received: Option<Decimal> = pieces("How much of it has come; 0 where not given").zero();
    }
    rest {
        /// Index into the component table, where it has the part.
        component: Option<u32>,
        /// The unit that `uom` stands for in the plant's own words.
        own_unit: Option<&'static str>,
        /// An earlier row with an order number that is the same, cell for cell.
        repeats: Option<u32>,
        origin: Origin,
        faults: Vec<CellFault>,
    }
}

/// Columns of the waivers.
pub static WAIVERS: &[Column] = &[
    text("`*` or empty matches all").named("plant"),
    text("`*` or empty matches all").named("pallet"),
    text("`*` or empty matches all").named("fixture"),
    text("`*` or empty matches all").named("circuit"),
    text("`*` or empty matches all").named("position"),
    text("The rule that is waived").named("rule").required(),
    text("Why it is accepted").named("reason").required(),
    text("Who accepted it").named("approved_by").required(),
    column(Holds::Date, "Last day of validity (ISO 8601)").named("expires").required(),
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
