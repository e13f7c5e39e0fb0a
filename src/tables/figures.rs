//! What is computed of a circuit.

use crate::physics::quantity::{Compliance, Pressure, Temperature, Time, Volume};

use super::kinds::Kinds;
use super::words::{Acting, Side, words};

words! {
    /// Figures that a rule may lack.
    Figure {
        /// Which kinds are on a side.
        Presence = "the parts on the side",
        Swept = "swept volume",
        Capacity = "charging cylinder capacity",
        Demand = "demand",
        Fill = "fill",
        Ratio = "pressure ratio",
        Full = "pressure before the reducing valve",
        Charge = "charge pressure",
        Potential = "potential pressure",
        Weakest = "weakest rating",
        TubeRating = "tube rating",
        Cold = "pressure at the lowest temperature",
        Hot = "pressure at the highest temperature",
        Hold = "holding pressure",
        HoldReserve = "hold reserve",
        Force = "clamp force",
        ForceLimit = "force rating",
        SupportLoad = "force on the work support",
        ClampTime = "clamp time",
        UnclampTime = "unclamp time",
        Fluid = "fluid of the circuit",
        DriveRamStroke = "stroke of the drive ram",
        Setting = "valve setting",
        PressureMin = "lowest pressure of the clamps",
        Cell = "a cell that can't be read",
        Stroke = "stroke of the part",
        FullScale = "full scale of the gauge",
        StationRating = "rating of the pump or the drive ram",
        PumpSetting = "pump setting",
    }
}

/// Why a figure is unknown.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    pub figure: Figure,
    /// The datum that is missing, e.g. `no station and no pressure_set`.
    pub because: String,
}

/// A rating and the line that has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rating {
    pub pressure: Pressure,
    /// Index into the circuit's lines.
    pub line: usize,
}

/// The volumes of a side; `None` is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Volumes {
    pub swept: Option<Volume>,
    pub line: Option<Volume>,
    pub dead: Option<Volume>,
    pub capacity: Option<Volume>,
    pub compression: Option<Volume>,
    pub air: Option<Volume>,
    pub dilation: Option<Volume>,
    pub elastic: Option<Volume>,
    pub accumulator: Option<Volume>,
    pub demand: Option<Volume>,
}

/// The pressure chain of a side; `None` is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Chain {
    /// Pressure the station's pump gives.
    pub pump: Option<Pressure>,
    /// Circuit pressure / pump pressure.
    pub ratio: Option<f64>,
    pub return_loss: Pressure,
    /// Before a reducing valve.
    pub full: Option<Pressure>,
    /// Lowest setting of the side's reducing valves and its line.
    pub reducing: Option<Rating>,
    /// Lowest setting of the side's relief valves and its line.
    pub relief: Option<Rating>,
    /// Charge pressure, behind the reducing valve.
    pub charge: Option<Pressure>,
    /// Pump pressure needed for the pressure set.
    pub pump_needed: Option<Pressure>,
    /// What the pump could reach at its rating.
    pub potential: Option<Pressure>,
    pub weakest: Option<Rating>,
    /// Lowest tube rating by wall stress.
    pub tube: Option<Rating>,
}

/// Everything of one side.
#[derive(Clone, Debug, PartialEq)]
pub struct SideFigures {
    /// `Clamp` or `Unclamp`.
    pub side: Side,
    /// Indices of the lines that count on it.
    pub lines: Vec<usize>,
    /// Kinds on the side, built-in ones included.
    pub kinds: Kinds,
    /// False where a line's part is not known: nothing is then found missing.
    pub kinds_are_known: bool,
    /// Line of the first charging cylinder whose part is known.
    pub cylinder: Option<usize>,
    /// Pieces of charging cylinders, set-aside lines with a known quantity included.
    pub cylinder_pieces: f64,
    pub volumes: Volumes,
    /// Elastic compliance of tubes, hoses and clamps.
    pub compliance: Option<Compliance>,
    pub fill: Option<f64>,
    pub usable: Option<Volume>,
    pub reserve: Option<Volume>,
    pub chain: Chain,
    pub gaps: Vec<Gap>,
}

/// What the trapped oil does, clamp side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Holding {
    /// At the lowest temperature; only where one is given.
    pub cold: Option<Pressure>,
    /// At the highest temperature; only where one is given.
    pub hot: Option<Pressure>,
    /// Where the leak starts: `cold`, else the charge pressure (less what a relief valve let out).
    pub start: Option<Pressure>,
    /// Temperature of the leak.
    pub leak_temperature: Option<Temperature>,
    pub hold: Option<Pressure>,
    /// True where a blank leak makes `hold` an upper bound.
    pub hold_is_bound: bool,
    /// `None` where unknown or without end.
    pub reserve: Option<Time>,
    /// True where nothing leaks: the reserve has no end.
    pub reserve_is_endless: bool,
    /// Pressure over time, for circuits with a hold time: at least 12 points.
    pub curve: Vec<(Time, Pressure)>,
    /// Notes on figures outside a formula's validity.
    pub validity: Vec<String>,
}

/// Everything of one circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitFigures {
    pub acting: Acting,
    pub clamp: SideFigures,
    /// Double-acting circuits only.
    pub unclamp: Option<SideFigures>,
    pub holding: Holding,
    pub clamp_time: Option<Time>,
    pub unclamp_time: Option<Time>,
    /// Highest Reynolds number of the return.
    pub reynolds: Option<f64>,
    /// Gaps of the holding figures and times.
    pub gaps: Vec<Gap>,
}

impl CircuitFigures {
    /// The sides, clamp first.
    pub fn sides(&self) -> impl Iterator<Item = &SideFigures> {
        std::iter::once(&self.clamp).chain(self.unclamp.as_ref())
    }

    /// The figures of a side.
    #[must_use]
    pub fn side(&self, side: Side) -> Option<&SideFigures> {
        match side {
            Side::Unclamp => self.unclamp.as_ref(),
            Side::Clamp | Side::Both => Some(&self.clamp),
        }
    }

    /// Why a figure is unknown, on any side or of the circuit.
    #[must_use]
    pub fn gap(&self, figure: Figure) -> Option<&Gap> {
        let of_sides = self.sides().flat_map(|side| side.gaps.iter());
        of_sides.chain(&self.gaps).find(|gap| gap.figure == figure)
    }
}

impl SideFigures {
    /// A side without lines, of which no figure is known.
    #[must_use]
    pub fn blank(side: Side) -> Self {
        Self {
            side,
            lines: Vec::new(),
            kinds: Kinds::NONE,
            kinds_are_known: true,
            cylinder: None,
            cylinder_pieces: 0.0,
            volumes: Volumes::default(),
            compliance: None,
            fill: None,
            usable: None,
            reserve: None,
            chain: Chain::default(),
            gaps: Vec::new(),
        }
    }

    /// The pressure that a line of the side sees: behind the reducing valve or before it.
    #[must_use]
    pub const fn pressure_at(&self, is_reduced: bool) -> Option<Pressure> {
        if is_reduced { self.chain.charge } else { self.chain.full }
    }
}
