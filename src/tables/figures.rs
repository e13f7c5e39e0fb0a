//! What is computed of a circuit.

use crate::physics::quantity::{Compliance, Force, Pressure, Temperature, Time, Volume};

use super::kinds::Kinds;
use super::sureness::Sureness;
use super::words::{Acting, Side, Zone, words};

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
        /// Of which nothing is asked.
        Line = "a line that is set aside",
        Stroke = "stroke of the part",
        FullScale = "full scale of the gauge",
        StationRating = "rating of the pump or the drive ram",
        PumpSetting = "pump setting",
        Topup = "days that a filling lasts",
        Friction = "holding by friction",
        /// A datum that the policy's `[asked]` names.
        Datum = "data that the policy asks for",
    }
}

impl Figure {
    /// The datum at the root of why figures are unknown: `no pressure_set` of `fill: charge pressure (row 6): no
    /// pressure_set`.
    #[must_use]
    pub fn root_of(because: &str) -> &str {
        let unclamp = because.strip_prefix(Side::Unclamp.word()).and_then(|rest| rest.strip_prefix(" side: "));
        let mut rest = unclamp.unwrap_or(because);
        while let Some(deeper) = Self::ALL.iter().find_map(|figure| below(rest, figure.word())) {
            rest = deeper;
        }
        rest
    }
}

/// What stands behind a figure's name, with or without the row of a line, and a colon.
fn below<'a>(text: &'a str, figure: &str) -> Option<&'a str> {
    let rest = text.strip_prefix(figure)?;
    let rest = rest.strip_prefix(" (row ").and_then(|row| row.split_once(')')).map_or(rest, |(_, rest)| rest);
    rest.strip_prefix(": ")
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

/// What is known of one zone of a side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ZoneFigures {
    /// Indices of the lines that sit in it.
    pub lines: Vec<usize>,
    /// Kinds in it, built-in ones included.
    pub kinds: Kinds,
    /// Its pressure after charging.
    pub pressure: Option<Pressure>,
    /// The lowest rating of its lines; `None` where one is unknown, or where it has no line.
    pub weakest: Option<Rating>,
    /// Lowest setting of its relief valves and its line.
    pub relief: Option<Rating>,
    /// What the pump could bring to it.
    pub potential: Option<Pressure>,
    /// At the highest temperature, by itself; clamp side only, of a zone that traps oil.
    pub hot: Option<Pressure>,
}

/// What the circuits filled in one stroke have in common, on one side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GroupFigures {
    /// Circuits in it; 1 where the circuit has no source.
    pub members: u32,
    /// Pieces of charging cylinders, set-aside lines with a known quantity included.
    pub cylinder_pieces: f64,
    /// False where a part of one of them is not known: no cylinder is then found missing.
    pub kinds_are_known: bool,
    pub swept: Option<Volume>,
    pub demand: Option<Volume>,
    pub capacity: Option<Volume>,
    /// The highest of the members'.
    pub cycles_per_day: Option<f64>,
    /// Days that a filling lasts; `None` where unknown or without end.
    pub topup_days: Option<f64>,
    pub topup_is_endless: bool,
    /// True where a blank leak makes the days an upper bound.
    pub topup_is_bound: bool,
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
    /// Whether a line of it is a reducing valve: what sits behind it is a zone of its own.
    pub has_reducing_valve: bool,
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
    /// `charge`, `full` and `reduced`, in this order.
    pub zones: [ZoneFigures; 3],
    pub group: GroupFigures,
    pub gaps: Vec<Gap>,
}

/// What the trapped oil does, clamp side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Holding {
    /// Once the check valve has closed and the oil has the fixture's temperature.
    pub settled: Option<Pressure>,
    /// At the lowest temperature; only where one is given.
    pub cold: Option<Pressure>,
    /// What the rules take for it: at the charging temperature where no lowest one is given.
    pub cold_or_settled: Option<Pressure>,
    /// The same in zone `full`.
    pub cold_full: Option<Pressure>,
    /// At the highest temperature; only where one is given.
    pub hot: Option<Pressure>,
    /// The same in zone `full`.
    pub hot_full: Option<Pressure>,
    /// Holding pressure of zone `full`.
    pub hold_full: Option<Pressure>,
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
    /// True where a valve on the way back states no kv: the time is a lower bound.
    pub unclamp_is_bound: bool,
    /// Time of each step of the clamping sequence.
    pub step_times: Vec<(f64, Option<Time>)>,
    /// What the clamps hold by friction.
    pub friction: Option<Force>,
    /// Highest Reynolds number of the return.
    pub reynolds: Option<f64>,
    /// Gaps of the holding figures and times.
    pub gaps: Vec<Gap>,
    /// How sure its verdict is; only where that is asked for, and there is a verdict.
    pub sureness: Option<Box<Sureness>>,
}

impl CircuitFigures {
    /// A circuit of one side, of which nothing beyond it is known.
    #[must_use]
    pub fn blank(acting: Acting, clamp: SideFigures) -> Self {
        Self {
            acting,
            clamp,
            unclamp: None,
            holding: Holding::default(),
            clamp_time: None,
            unclamp_time: None,
            unclamp_is_bound: false,
            step_times: Vec::new(),
            friction: None,
            reynolds: None,
            gaps: Vec::new(),
            sureness: None,
        }
    }

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

    /// The same, to be filled.
    pub fn side_mut(&mut self, side: Side) -> Option<&mut SideFigures> {
        match side {
            Side::Unclamp => self.unclamp.as_mut(),
            Side::Clamp | Side::Both => Some(&mut self.clamp),
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
            has_reducing_valve: false,
            cylinder: None,
            cylinder_pieces: 0.0,
            volumes: Volumes::default(),
            compliance: None,
            fill: None,
            usable: None,
            reserve: None,
            chain: Chain::default(),
            zones: Default::default(),
            group: GroupFigures { members: 1, kinds_are_known: true, ..GroupFigures::default() },
            gaps: Vec::new(),
        }
    }

    /// A zone of the side.
    #[must_use]
    pub const fn zone(&self, zone: Zone) -> &ZoneFigures {
        match zone {
            Zone::Charge => &self.zones[0],
            Zone::Full => &self.zones[1],
            Zone::Reduced => &self.zones[2],
        }
    }

    /// A zone of the side, to be filled.
    pub const fn zone_mut(&mut self, zone: Zone) -> &mut ZoneFigures {
        match zone {
            Zone::Charge => &mut self.zones[0],
            Zone::Full => &mut self.zones[1],
            Zone::Reduced => &mut self.zones[2],
        }
    }

    /// The zone of the clamps: behind the reducing valve, where there is one.
    #[must_use]
    pub const fn clamp_zone(&self) -> Zone {
        if self.has_reducing_valve { Zone::Reduced } else { Zone::Full }
    }

    /// The zone that a line of the side sits in.
    #[must_use]
    pub fn zone_of(&self, line: usize) -> Zone {
        let sits_in = |zone: &Zone| self.zone(*zone).lines.binary_search(&line).is_ok();
        Zone::ALL.iter().copied().find(sits_in).unwrap_or(Zone::Full)
    }

    /// The pressure that a line of the side sees: behind the reducing valve or before it.
    #[must_use]
    pub const fn pressure_at(&self, is_reduced: bool) -> Option<Pressure> {
        if is_reduced { self.chain.charge } else { self.chain.full }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_is_what_no_figure_stands_before() {
        for because in [
            "no pressure_set",
            "fill: charge pressure (row 6): no pressure_set",
            "charge pressure: no pressure_set",
            "unclamp side: charge pressure (row 6): no pressure_set",
        ] {
            assert_eq!(Figure::root_of(because), "no pressure_set");
        }
        assert_eq!(Figure::root_of("fill is not known"), "fill is not known");
    }
}
