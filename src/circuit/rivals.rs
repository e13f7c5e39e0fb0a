//! Pairs of figures of which the lower, or the higher, counts: where their spread may have them change places, what is
//! made of them bends there, though no datum moved by itself may show it.

use crate::physics::quantity::Pressure;
use crate::rules::Asked;
use crate::tables::words::{Kind, Side};

use super::group::pallet_figures;
use super::replica::Replica;
use super::side::USUAL_TEMPERATURE;

/// Two figures of which one counts; indices are those of a [`Replica`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rival {
    /// `temp_charge` against `temp_max` or `temp_min`.
    Warmest(usize),
    Coldest(usize),
    /// Two of what bounds a pump's pressure.
    Pump {
        station: usize,
        bounds: (usize, usize),
    },
    /// The pressure before a reducing valve against its setting.
    Reduced {
        circuit: usize,
        side: Side,
    },
    /// The settings of two reducing or two relief valves.
    Settings {
        circuit: usize,
        lines: (usize, usize),
    },
    /// A clamp's arm against the one for which it is rated.
    Arm {
        circuit: usize,
        line: usize,
    },
    /// The strokes of charging cylinder and drive ram.
    Strokes {
        circuit: usize,
        line: usize,
    },
}

/// Data of which the pairs are made, temperatures first.
const OF_TEMPERATURES: [&str; 3] = ["temp_charge", "temp_min", "temp_max"];
const OF_PRESSURES: [&str; 10] = [
    "pump_setting",
    "rated_pressure",
    "relief_setting",
    "air_pressure",
    "air_ratio",
    "pressure_ratio",
    "piston_area",
    "return_loss",
    "pressure_set",
    "set_pressure",
];
const OF_LENGTHS: [&str; 3] = ["arm_length", "arm_rated", "stroke"];

impl Rival {
    /// All pairs of some circuits.
    pub(super) fn all(replica: &Replica) -> Vec<Self> {
        let mut all = Vec::new();
        for station in 0..replica.plant.stations.len() {
            let pairs = (1..4).flat_map(|other| (0..other).map(move |one| (one, other)));
            all.extend(pairs.map(|bounds| Self::Pump { station, bounds }));
        }
        for circuit in 0..replica.circuits.len() {
            all.extend([Self::Warmest(circuit), Self::Coldest(circuit)]);
            let of_kind = |kind: Kind| -> Vec<usize> {
                let lines = 0..replica.circuits[circuit].lines.len();
                lines.filter(|line| replica.part(circuit, *line).is_some_and(|part| part.is(kind))).collect()
            };
            let reducing = of_kind(Kind::ReducingValve);
            if !reducing.is_empty() {
                all.extend([Side::Clamp, Side::Unclamp].map(|side| Self::Reduced { circuit, side }));
            }
            for valves in [reducing, of_kind(Kind::ReliefValve)] {
                all.extend(valves.windows(2).map(|pair| Self::Settings { circuit, lines: (pair[0], pair[1]) }));
            }
            all.extend(of_kind(Kind::Clamp).into_iter().map(|line| Self::Arm { circuit, line }));
            all.extend(of_kind(Kind::ChargingCylinder).into_iter().map(|line| Self::Strokes { circuit, line }));
        }
        all
    }

    /// The one less the other; `None` where one of them is not known.
    pub(super) fn gap(self, replica: &Replica) -> Option<f64> {
        match self {
            Self::Warmest(circuit) | Self::Coldest(circuit) => {
                let service = replica.circuits.get(circuit)?.service.as_ref()?;
                let end = if matches!(self, Self::Warmest(_)) { service.temp_max } else { service.temp_min };
                Some((end? - service.temp_charge.unwrap_or(USUAL_TEMPERATURE)).si())
            }
            Self::Pump { station, bounds: (one, other) } => {
                let station = replica.plant.stations.get(station)?;
                let pump = replica.plant.pump_of(station)?;
                let by_air = station.air_pressure.zip(pump.air_ratio).map(|(air, ratio)| air * ratio);
                let bounds = [station.pump_setting, pump.rated_pressure, station.relief_setting, by_air];
                Some((bounds[one]? - bounds[other]?).si())
            }
            Self::Reduced { circuit, side } => {
                let figures = pallet_figures(&replica.plant, &replica.circuits, Asked::SIDES);
                let chain = figures.get(circuit)?.sides().find(|known| known.side == side)?.chain;
                Some((chain.full? - chain.reducing?.pressure).si())
            }
            Self::Settings { circuit, lines: (one, other) } => {
                let setting = |line: usize| -> Option<Pressure> {
                    replica.circuits.get(circuit)?.lines.get(line)?.setting_with(replica.part(circuit, line)?)
                };
                Some((setting(one)? - setting(other)?).si())
            }
            Self::Arm { circuit, line } => {
                let length = replica.circuits.get(circuit)?.lines.get(line)?.arm_length?;
                Some((length - replica.part(circuit, line)?.arm_rated?).si())
            }
            Self::Strokes { circuit, line } => {
                let station = replica.circuits.get(circuit)?.station(&replica.plant)?;
                let ram = replica.plant.drive_ram_of(station)?;
                Some((ram.stroke? - replica.part(circuit, line)?.stroke?).si())
            }
        }
    }

    /// Whether it may hang on a datum of this column or key.
    pub(super) fn hangs_on(self, key: &str) -> bool {
        match self {
            Self::Warmest(_) | Self::Coldest(_) => OF_TEMPERATURES.contains(&key),
            Self::Pump { .. } | Self::Reduced { .. } | Self::Settings { .. } => OF_PRESSURES.contains(&key),
            Self::Arm { .. } | Self::Strokes { .. } => OF_LENGTHS.contains(&key),
        }
    }
}
