//! A concrete change to a circuit, and what it makes of it.

use crate::physics::quantity::Pressure;
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::component::Component;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::words::Side;

/// Which column of a line or station a new setting goes into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SettingColumn {
    SetPressure,
    Precharge,
}

impl SettingColumn {
    /// Name of the column.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SetPressure => "set_pressure",
            Self::Precharge => "precharge",
        }
    }
}

/// Which part of a load station.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum StationRole {
    Pump,
    DriveRam,
}

impl StationRole {
    /// Name of the column.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pump => "pump",
            Self::DriveRam => "drive_ram",
        }
    }
}

/// One group of a split: positions that go on a charging cylinder of their own.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Name of the group, the circuit's with `-A`, `-B` …
    pub name: String,
    /// Indices of the circuit's clamps and work supports that go there.
    pub lines: Vec<usize>,
    /// Share of the conductors' and other dead volume.
    pub share: f64,
    /// Its charging cylinder.
    pub cylinder: u32,
}

/// A concrete change.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Another part on one line.
    Swap { line: usize, to: u32 },
    /// Another part on every line that has a part.
    Succeed { from: u32, to: u32 },
    /// Another setting on one line.
    Setting { line: usize, column: SettingColumn, to: Pressure },
    /// A further line.
    Add { part: u32, side: Side, setting: Option<(SettingColumn, Pressure)> },
    /// Another pump setting of the load station.
    StationSetting { to: Pressure },
    /// Another pump or drive ram of the load station.
    StationPart { role: StationRole, to: u32 },
    /// The circuit in groups, each on a charging cylinder of its own in the place of the one on
    /// `line`.
    Split { line: usize, groups: Vec<Group> },
}

impl Change {
    /// The part of the table that comes in, if one does.
    #[must_use]
    pub const fn part(&self) -> Option<u32> {
        match self {
            Self::Swap { to, .. } | Self::Succeed { to, .. } | Self::StationPart { to, .. } => Some(*to),
            Self::Add { part, .. } => Some(*part),
            Self::Setting { .. } | Self::StationSetting { .. } | Self::Split { .. } => None,
        }
    }

    /// The one line that it changes.
    #[must_use]
    pub const fn line(&self) -> Option<usize> {
        match self {
            Self::Swap { line, .. } | Self::Setting { line, .. } => Some(*line),
            _ => None,
        }
    }

    /// What tells most changes of a circuit apart.
    #[must_use]
    pub const fn gist(&self) -> (u8, usize, u64) {
        match self {
            Self::Swap { line, to } => (0, *line, *to as u64),
            Self::Succeed { to, .. } => (1, 0, *to as u64),
            Self::Setting { line, to, .. } => (2, *line, to.si().to_bits()),
            Self::Add { part, .. } => (3, 0, *part as u64),
            Self::StationSetting { to } => (4, 0, to.si().to_bits()),
            Self::StationPart { to, .. } => (5, 0, *to as u64),
            Self::Split { line, .. } => (6, *line, 0),
        }
    }

    /// List lines that it changes or adds.
    #[must_use]
    pub fn changed_lines(&self) -> usize {
        match self {
            Self::Swap { .. } | Self::Succeed { .. } | Self::Setting { .. } | Self::Add { .. } => 1,
            Self::StationSetting { .. } | Self::StationPart { .. } => 0,
            Self::Split { groups, .. } => groups.iter().map(|group| group.lines.len() + 1).sum(),
        }
    }

    /// Whether it touches the load station, and with it every circuit there.
    #[must_use]
    pub const fn is_of_station(&self) -> bool {
        matches!(self, Self::StationSetting { .. } | Self::StationPart { .. })
    }

    /// The circuits that take the changed one's place: one, or one a group.
    #[must_use]
    pub fn applied(&self, plant: &Plant, circuit: &Circuit) -> Vec<Circuit> {
        let mut changed = circuit.clone();
        match self {
            Self::Succeed { from, to } => {
                for line in changed.lines.iter_mut().filter(|line| line.part == PartRef::Known(*from)) {
                    line.part = PartRef::Known(*to);
                }
                self.change_station(plant, &mut changed);
            }
            Self::Add { .. } => changed.lines.extend(self.added()),
            Self::Split { line, groups } => {
                return groups.iter().map(|group| grouped(plant, circuit, *line, group)).collect();
            }
            _ => {
                self.apply_in_place(plant, &mut changed);
            }
        }
        vec![changed]
    }

    /// Its line, changed.
    #[must_use]
    pub fn applied_to(&self, line: &Line) -> Line {
        let mut changed = line.clone();
        self.apply_to(&mut changed);
        changed
    }

    /// Makes the change on its line.
    fn apply_to(&self, line: &mut Line) {
        match self {
            Self::Swap { to, .. } => line.part = PartRef::Known(*to),
            Self::Setting { column, to, .. } => set(line, *column, *to),
            _ => {}
        }
    }

    /// Makes the change on a circuit in place, where it is of one line or of the load station; false where it isn't.
    pub fn apply_in_place(&self, plant: &Plant, circuit: &mut Circuit) -> bool {
        if let Some(line) = self.line() {
            circuit.lines.get_mut(line).into_iter().for_each(|line| self.apply_to(line));
        } else if self.is_of_station() {
            self.change_station(plant, circuit);
        } else {
            return false;
        }
        true
    }

    /// Takes back what [`Change::apply_in_place`] made of a circuit.
    pub fn take_back(&self, changed: &mut Circuit, as_it_stood: &Circuit) {
        if let Some(line) = self.line() {
            if let (Some(changed), Some(stood)) = (changed.lines.get_mut(line), as_it_stood.lines.get(line)) {
                changed.part.clone_from(&stood.part);
                (changed.set_pressure, changed.precharge) = (stood.set_pressure, stood.precharge);
            }
        } else {
            changed.trial_station.clone_from(&as_it_stood.trial_station);
        }
    }

    /// The line that comes in.
    #[must_use]
    pub fn added(&self) -> Option<Line> {
        let Self::Add { part, side, setting } = self else { return None };
        let mut line = Line::of_part(*part);
        line.side = *side;
        if let Some((column, to)) = setting {
            set(&mut line, *column, *to);
        }
        Some(line)
    }

    /// Puts the changed load station on a circuit that uses it.
    pub fn change_station(&self, plant: &Plant, circuit: &mut Circuit) {
        let Some(mut station) = circuit.station(plant).cloned() else { return };
        match self {
            Self::StationSetting { to } => station.pump_setting = Some(*to),
            Self::StationPart { role: StationRole::Pump, to } => station.pump = StationPart::Known(*to),
            Self::StationPart { role: StationRole::DriveRam, to } => station.drive_ram = StationPart::Known(*to),
            Self::Succeed { from, to } => {
                for part in [&mut station.pump, &mut station.drive_ram] {
                    if *part == StationPart::Known(*from) {
                        *part = StationPart::Known(*to);
                    }
                }
            }
            _ => return,
        }
        circuit.trial_station = Some(Box::new(station));
    }
}

fn set(line: &mut Line, column: SettingColumn, to: Pressure) {
    match column {
        SettingColumn::SetPressure => line.set_pressure = Some(to),
        SettingColumn::Precharge => line.precharge = Some(to),
    }
}

/// One group of a split as a circuit: its own clamps and cylinder, every other part once more,
/// conductors in proportion to the group's swept volume.
fn grouped(plant: &Plant, circuit: &Circuit, cylinder: usize, group: &Group) -> Circuit {
    let mut part = circuit.clone();
    part.key = CircuitKey { circuit: group.name.as_str().into(), ..circuit.key.clone() };
    part.trial_share = Some(group.share);
    part.lines = circuit
        .lines
        .iter()
        .enumerate()
        .filter_map(|(index, line)| {
            let component = line.component(&plant.components)?;
            if component.is_actuator() {
                return group.lines.contains(&index).then(|| line.clone());
            }
            let mut line = shared(line, component, group);
            if index == cylinder {
                line.part = PartRef::Known(group.cylinder);
            }
            Some(line)
        })
        .collect();
    part
}

/// A line that every group has, its length shared.
fn shared(line: &Line, component: &Component, group: &Group) -> Line {
    let mut line = line.clone();
    if let Some(length) = line.length.value().filter(|_| component.is_conductor()) {
        line.length = crate::tables::line::Cell::Value(length * group.share);
    }
    line
}
