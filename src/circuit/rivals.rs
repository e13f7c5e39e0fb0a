//! Pairs of figures of which the lower, or the higher, counts: where their spread may have them change places, what is
//! made of them bends there, though no datum moved by itself may show it.

use crate::physics::quantity::Pressure;
use crate::rules::Asked;
use crate::rules::pressure::ratio_of_areas;
use crate::tables::component::Component;
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
    /// The return springs of two clamps, of which the weakest empties the circuit.
    Springs {
        circuit: usize,
        lines: (usize, usize),
    },
    /// The ratios of areas of two double-acting clamps, of which the largest presses on a closed rod side.
    Ratios {
        circuit: usize,
        lines: (usize, usize),
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
const OF_AREAS: [&str; 4] = ["area_clamp", "area_unclamp", "volume_clamp", "volume_unclamp"];
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
            let clamps = of_kind(Kind::Clamp);
            let is_emptied_in_time =
                replica.circuits[circuit].service.as_ref().is_some_and(|service| service.unclamp_time_max.is_some());
            let spring =
                |line: usize| Some(spring_of(replica.part(circuit, line)?)?.si()).filter(|_| is_emptied_in_time);
            let springs = against_the_first(replica, circuit, &clamps, spring);
            all.extend(springs.map(|lines| Self::Springs { circuit, lines }));
            // The largest comes first.
            let ratio = |line: usize| Some(-ratio_of_rod_side(replica.part(circuit, line)?)?);
            let ratios = against_the_first(replica, circuit, &clamps, ratio);
            all.extend(ratios.map(|lines| Self::Ratios { circuit, lines }));
            all.extend(clamps.into_iter().map(|line| Self::Arm { circuit, line }));
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
            Self::Springs { circuit, lines: (one, other) } => {
                let spring = |line: usize| spring_of(replica.part(circuit, line)?);
                Some((spring(one)? - spring(other)?).si())
            }
            Self::Ratios { circuit, lines: (one, other) } => {
                let ratio = |line: usize| ratio_of_rod_side(replica.part(circuit, line)?);
                Some(ratio(one)? - ratio(other)?)
            }
        }
    }

    /// Whether it may hang on a datum of this column or key.
    pub(super) fn hangs_on(self, key: &str) -> bool {
        match self {
            Self::Warmest(_) | Self::Coldest(_) => OF_TEMPERATURES.contains(&key),
            Self::Pump { .. } | Self::Reduced { .. } | Self::Settings { .. } => OF_PRESSURES.contains(&key),
            Self::Arm { .. } | Self::Strokes { .. } => OF_LENGTHS.contains(&key),
            Self::Springs { .. } => key == "return_pressure",
            Self::Ratios { .. } => OF_AREAS.contains(&key),
        }
    }
}

/// The spring of a clamp, as far as it presses oil back.
fn spring_of(part: &Component) -> Option<Pressure> {
    part.return_pressure.filter(|pressure| *pressure > Pressure::ZERO)
}

fn ratio_of_rod_side(part: &Component) -> Option<f64> {
    if part.is_double_acting() { ratio_of_areas(part) } else { None }
}

/// The line with the least figure beside each line of another part.
fn against_the_first(
    replica: &Replica,
    circuit: usize,
    lines: &[usize],
    figure: impl Fn(usize) -> Option<f64>,
) -> impl Iterator<Item = (usize, usize)> {
    let known = || lines.iter().filter_map(|line| Some((*line, figure(*line)?)));
    let first = known().min_by(|(_, a), (_, b)| a.total_cmp(b)).map(|(line, _)| line);
    let number = |line: usize| replica.part(circuit, line).map(|part| part.part_no.as_str());
    let mut parts: Vec<Option<&str>> = first.into_iter().map(number).collect();
    let mut pairs = Vec::new();
    for (line, _) in known() {
        if let Some(first) = first.filter(|_| !parts.contains(&number(line))) {
            parts.push(number(line));
            pairs.push((first, line));
        }
    }
    pairs.into_iter()
}
