//! The numbers of one row of Circuits, in the reader's units.

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::{Pressure, Volume};
use crate::report::workbook::basis::policy_rows::fluid_name;
use crate::report::workbook::units::Units;
use crate::tables::component::Component;
use crate::tables::figures::{Rating, SideFigures};
use crate::tables::station::Station;
use crate::tables::words::{Charging, Kind, Side};

use super::column::Col;

/// Columns that hold what the lists, the tables and the run say.
pub static INPUTS: &[Col] = &[
    Col::Capacity,
    Col::Wanted,
    Col::Least,
    Col::Weakest,
    Col::Swept,
    Col::Line,
    Col::Dead,
    Col::Accumulator,
    Col::PumpSetting,
    Col::PumpRating,
    Col::ReturnLoss,
    Col::Reducing,
    Col::Relief,
    Col::TubeRating,
    Col::PumpOil,
    Col::DilationPer,
    Col::ElasticPer,
    Col::FullAtRun,
    Col::ChargeAtRun,
    Col::DemandAtRun,
];

/// The row's numbers by column; `None` is unknown.
pub struct CircuitRow {
    numbers: [Option<f64>; Col::ALL.len()],
    /// Named cells of Basis with the fluid's figures.
    pub modulus_name: Option<String>,
    pub free_air_name: Option<String>,
    /// Named cell with the pressure ratio, where the cylinder states none.
    pub ratio_name: Option<&'static str>,
    /// Whether the side is known to have no relief valve.
    pub is_unrelieved: bool,
}

impl CircuitRow {
    /// Collects them.
    #[must_use]
    pub fn of(audit: &Audit, circuit: &CircuitAudit, side: &SideFigures, units: Units) -> Self {
        let service = circuit.circuit.service();
        let plant = &audit.plant;
        let mut row = Self {
            numbers: [None; Col::ALL.len()],
            modulus_name: None,
            free_air_name: None,
            ratio_name: None,
            is_unrelieved: side.kinds_are_known && !side.kinds.has(Kind::ReliefValve),
        };
        row.set_volumes(side, units, service.charging());
        row.set_chain(side, units, service.pressure_set);
        if side.side == Side::Clamp {
            row.set(Col::Least, service.pressure_min.map(|least| units.pressure(least)));
        }
        row.set_compliances(side, units);
        if let Some(station) = plant.station(&service.station) {
            row.set_station(audit, station, units);
        }
        if let Some(fluid) = plant.policy.fluid(&service.fluid) {
            row.set(Col::Modulus, Some(fluid.bulk_modulus.si()));
            row.set(Col::FreeAir, Some(fluid.free_air));
            row.modulus_name = Some(fluid_name("bulk_modulus", &service.fluid, &plant.policy));
            row.free_air_name = Some(fluid_name("free_air", &service.fluid, &plant.policy));
        }
        let cylinder = side.cylinder.and_then(|line| circuit.circuit.lines.get(line)?.component(&plant.components));
        if service.charging() == Charging::Cylinder && cylinder.is_some_and(|part| part.pressure_ratio.is_none()) {
            row.ratio_name = Some("limit_pressure_ratio");
        }
        row
    }

    fn set(&mut self, column: Col, number: Option<f64>) {
        self.numbers[column as usize] = number.filter(|number| number.is_finite());
    }

    /// The number of a column.
    #[must_use]
    pub fn get(&self, column: Col) -> Option<f64> {
        self.numbers[column as usize]
    }

    fn set_volumes(&mut self, side: &SideFigures, units: Units, charging: Charging) {
        let volumes = &side.volumes;
        let mut put = |column, volume: Option<Volume>| self.set(column, volume.map(|volume| units.volume(volume)));
        put(Col::Swept, volumes.swept);
        put(Col::Line, volumes.line);
        put(Col::Dead, volumes.dead);
        put(Col::Capacity, volumes.capacity);
        put(Col::Compression, volumes.compression);
        put(Col::Air, volumes.air);
        put(Col::Dilation, volumes.dilation);
        put(Col::Elastic, volumes.elastic);
        put(Col::Accumulator, volumes.accumulator);
        put(Col::Demand, volumes.demand);
        put(Col::DemandAtRun, volumes.demand);
        put(Col::Usable, side.usable);
        put(Col::Reserve, side.reserve);
        self.set(Col::Fill, side.fill);
        let third = if charging == Charging::Cylinder { Col::Capacity } else { Col::Swept };
        let terms = [self.get(Col::Line), self.get(Col::Dead), self.get(third)];
        self.set(Col::Rest, terms.into_iter().sum());
    }

    fn set_chain(&mut self, side: &SideFigures, units: Units, wanted: Option<Pressure>) {
        let chain = &side.chain;
        let mut put = |column, value: Option<Pressure>| self.set(column, value.map(|value| units.pressure(value)));
        let pressure = |rating: Option<Rating>| rating.map(|rating| rating.pressure);
        put(Col::Wanted, wanted);
        put(Col::Full, chain.full);
        put(Col::FullAtRun, chain.full);
        put(Col::Charge, chain.charge);
        put(Col::ChargeAtRun, chain.charge);
        put(Col::Pump, chain.pump);
        put(Col::PumpNeeded, chain.pump_needed);
        put(Col::Potential, chain.potential);
        put(Col::Weakest, pressure(chain.weakest));
        put(Col::Reducing, pressure(chain.reducing));
        put(Col::Relief, pressure(chain.relief));
        put(Col::TubeRating, pressure(chain.tube));
        put(Col::ReturnLoss, Some(chain.return_loss));
        self.set(Col::Ratio, chain.ratio);
    }

    /// Volume per pressure of the tubes and hoses, and of the clamps.
    fn set_compliances(&mut self, side: &SideFigures, units: Units) {
        let Some(charge) = self.get(Col::Charge) else { return };
        let per = |volume: Option<f64>| volume.map(|volume| if charge == 0.0 { 0.0 } else { volume / charge });
        let clamps = per(self.get(Col::Elastic));
        let unit = units.volume(Volume::new(1.0)) / units.pressure(Pressure::new(1.0));
        let whole = side.compliance.map(|compliance| compliance.si() * unit);
        // At no pressure at all only the sum is known; it matters as soon as a pressure is tried.
        let tubes = if charge == 0.0 { whole } else { per(self.get(Col::Dilation)) };
        self.set(Col::DilationPer, tubes.filter(|_| self.get(Col::Dilation).is_some()));
        self.set(Col::ElasticPer, clamps);
    }

    fn set_station(&mut self, audit: &Audit, station: &Station, units: Units) {
        let pump = audit.plant.pump_of(station);
        let pressure = |value: Option<Pressure>| value.map(|value| units.pressure(value));
        self.set(Col::PumpSetting, pressure(station.pump_setting));
        self.set(Col::PumpRating, pressure(pump.and_then(|pump| pump.rated_pressure)));
        self.set(Col::PumpOil, pump.and_then(|pump| pump.capacity).map(|oil| units.volume(oil)));
    }
}

/// The part on the line of a rating.
#[must_use]
pub fn part_of<'a>(audit: &'a Audit, circuit: &CircuitAudit, rating: Option<Rating>) -> Option<&'a Component> {
    circuit.circuit.lines.get(rating?.line)?.component(&audit.plant.components)
}
