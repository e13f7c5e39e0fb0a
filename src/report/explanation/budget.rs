//! The oil that a side takes, item by item, against what its charging cylinder can give.

use crate::circuit::line_oil::{LineOil, line_oils};
use crate::physics::accumulator::accumulator_oil;
use crate::physics::air::free_air_loss;
use crate::physics::compression::{compression_of_chamber, compression_of_filling};
use crate::physics::quantity::{Compliance, Pressure, Volume};
use crate::physics::volume::{DEMAND, FILL};
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::workings::{Workings, times};
use super::{Chapter, WorkStep};

/// The items of a sum in the order of the calculation, then the sum.
pub(super) fn chapter(workings: &Workings, side: &SideFigures) -> Chapter {
    let mut chapter = Chapter::new(format!("Oil budget, {} side", side.side));
    let items = line_oils(&workings.inputs, side);
    let budget = Budget { workings, side, items: &items, prefix: side.side.word() };
    budget.at_rest(&mut chapter);
    budget.under_pressure(&mut chapter);
    budget.demand(&mut chapter);
    chapter
}

struct Budget<'a> {
    workings: &'a Workings<'a>,
    side: &'a SideFigures,
    items: &'a [LineOil<'a>],
    prefix: &'static str,
}

impl Budget<'_> {
    fn is_by_cylinder(&self) -> bool {
        self.workings.service.charging() == Charging::Cylinder
    }

    fn sum(&self, name: &str, formula: &'static str, value: Option<Volume>, column: &str) -> WorkStep {
        let because = if value.is_none() { self.workings.gap(self.side, Figure::Demand) } else { String::new() };
        let step = WorkStep::new(name, value.map(Value::Volume)).by(formula, "").because(because);
        step.in_column(format!("{}_{column}_cm3", self.prefix))
    }

    fn item(&self, of: &LineOil, formula: &'static str, numbers: String, value: Option<Volume>) -> WorkStep {
        let name = self.workings.named(&of.joined);
        let step =
            WorkStep::new(name, value.map(Value::Volume)).by(formula, numbers).from(self.workings.rows(&of.joined));
        let because = if of.joined.is_set_aside() { "the line is set aside" } else { "" };
        step.because(because).item()
    }

    fn at_rest(&self, chapter: &mut Chapter) {
        let volumes = &self.side.volumes;
        for of in self.items.iter().filter(|of| of.joined.component.is_actuator()) {
            chapter.add(self.item(of, "n max(A s, V s/s_full)", self.swept(of), of.swept));
        }
        chapter.add(self.sum("Swept volume, V_sw", "Σ n max(A s, V s/s_full)", volumes.swept, "swept"));
        for of in self.items.iter().filter(|of| of.joined.component.is_conductor()) {
            let numbers = of.joined.component.inner_diameter.map(|bore| {
                let (bore, length) = (self.workings.length(bore), self.workings.length(of.joined.length));
                format!("{}π/4 × ({bore})² × {length}", times(of.joined.pieces))
            });
            chapter.add(self.item(of, "n π/4 ID² L", numbers.unwrap_or_default(), of.line));
        }
        chapter.add(self.sum("Oil in tubes and hoses, V_line", "Σ n π/4 ID² L", volumes.line, "line"));
        for of in self.items.iter().filter(|of| of.dead > Volume::ZERO) {
            let one = of.joined.component.dead_volume.unwrap_or(Volume::ZERO);
            let numbers = format!("{}{}", times(of.joined.pieces), self.workings.volume(one));
            chapter.add(self.item(of, "n dead_volume", numbers, Some(of.dead)));
        }
        chapter.add(self.sum("Dead volume, V_dead", "Σ n dead_volume", volumes.dead, "dead"));
    }

    fn swept(&self, of: &LineOil) -> String {
        let (part, line) = (of.joined.component, of.joined.line);
        let (area, volume) = match self.side.side {
            Side::Unclamp => (part.area_unclamp, part.volume_unclamp),
            Side::Clamp | Side::Both => (part.area_clamp, part.volume_clamp),
        };
        let used = line.stroke_used.or(part.stroke);
        let length = |length| self.workings.length(length);
        let by_area = area.zip(used).map(|(area, used)| format!("{} × {}", self.workings.area(area), length(used)));
        let by_volume = volume.map(|volume| {
            let share = line.stroke_used.zip(part.stroke);
            let share = share.map(|(used, full)| format!(" × {}/{}", length(used), length(full))).unwrap_or_default();
            format!("{}{share}", self.workings.volume(volume))
        });
        let both: Vec<String> = by_area.into_iter().chain(by_volume).collect();
        let n = times(of.joined.pieces);
        if both.len() == 2 { format!("{n}max({})", both.join(", ")) } else { format!("{n}{}", both.join("")) }
    }

    /// Oil of a zone that comes under pressure; `None` where a line lacks what enters.
    fn held(&self, zone: Zone) -> Option<Volume> {
        let mut held = Volume::ZERO;
        for of in self.items.iter().filter(|of| of.zone == zone) {
            held += of.line? + of.dead;
            if !self.is_by_cylinder() {
                held += of.swept?;
            }
        }
        Some(held)
    }

    /// Oil that is compressed: of each zone, and in the charging cylinder itself.
    fn compressed(&self) -> Vec<(String, Option<Volume>, Option<Pressure>)> {
        let mut all = Vec::new();
        for zone in Zone::ALL.iter().copied() {
            let figures = self.side.zone(zone);
            if !figures.lines.is_empty() {
                all.push((format!("Oil of zone {zone}"), self.held(zone), figures.pressure));
            }
        }
        let cylinders: Vec<&LineOil> =
            self.items.iter().filter(|of| of.joined.component.is(Kind::ChargingCylinder)).collect();
        if self.is_by_cylinder() && !cylinders.is_empty() {
            let own: Option<Volume> = cylinders.iter().map(|of| of.capacity).sum();
            all.push(("Oil in the charging cylinder".to_owned(), own, self.side.chain.full));
        }
        all
    }

    fn under_pressure(&self, chapter: &mut Chapter) {
        let volumes = &self.side.volumes;
        let fluid = self.workings.inputs.fluid;
        let (formula, name) = if self.is_by_cylinder() {
            ("V (1 − exp(−p/K))", "Compression, V_comp")
        } else {
            ("V (exp(p/K) − 1)", "Compression, V_comp")
        };
        for (of, held, pressure) in self.compressed() {
            let known = held.zip(pressure).zip(fluid);
            let value = known.map(|((held, p), fluid)| {
                if self.is_by_cylinder() {
                    compression_of_filling(held, p, fluid.bulk_modulus)
                } else {
                    compression_of_chamber(held, p, fluid.bulk_modulus)
                }
            });
            let numbers = known.map(|((held, p), fluid)| {
                let (held, modulus) = (self.workings.volume(held), self.workings.pressure(fluid.bulk_modulus));
                format!("V = {held}, p = {}, K = {modulus}", self.workings.pressure(p))
            });
            let step = WorkStep::new(of, value.map(Value::Volume)).by(formula, numbers.unwrap_or_default());
            chapter.add(step.item());
        }
        chapter.add(self.sum(name, "Σ over the zones", volumes.compression, "compression"));
        for (of, held, pressure) in self.compressed() {
            let known = held.zip(pressure).zip(fluid);
            let value = known.map(|((held, p), fluid)| free_air_loss(fluid.free_air, held, p));
            let numbers = known.map(|((held, p), fluid)| {
                let (held, p) = (self.workings.volume(held), self.workings.pressure(p));
                format!("x = {}, V = {held}, p = {p}", self.workings.number(fluid.free_air))
            });
            let step = WorkStep::new(of, value.map(Value::Volume))
                .by("x V (1 − p_atm/(p + p_atm))", numbers.unwrap_or_default());
            chapter.add(step.item());
        }
        chapter.add(self.sum("Free air, V_air", "Σ over the zones", volumes.air, "air"));
        self.giving(chapter, |of| of.conductor, "p e");
        chapter.add(self.sum("Dilation of tubes and hoses, V_dil", "Σ p e", volumes.dilation, "dilation"));
        self.giving(chapter, |of| of.clamp, "p n A²/k");
        chapter.add(self.sum("Elasticity of clamps, V_el", "Σ p n A²/k", volumes.elastic, "elastic"));
        self.accumulators(chapter);
        chapter.add(self.sum("Accumulators, V_acc", "Σ n V_gas max(0, 1 − ρ0/ρ)", volumes.accumulator, "accumulator"));
    }

    fn giving(&self, chapter: &mut Chapter, of: impl Fn(&LineOil) -> Option<Compliance>, formula: &'static str) {
        for item in self.items {
            let pressure = self.side.zone(item.zone).pressure;
            match of(item) {
                Some(give) if give == Compliance::ZERO => {}
                give => {
                    let value = give.zip(pressure).map(|(give, p)| p * give);
                    let numbers = give.zip(pressure).map(|(give, p)| {
                        let round = self.workings.round_pressure();
                        let (each, round) = (self.workings.volume(round * give), self.workings.pressure(round));
                        format!("{} at {each} per {round}", self.workings.pressure(p))
                    });
                    chapter.add(self.item(item, formula, numbers.unwrap_or_default(), value));
                }
            }
        }
    }

    fn accumulators(&self, chapter: &mut Chapter) {
        let gas = self.workings.plant.policy.gas.into();
        let temperature = self.workings.inputs.charge_temperature();
        for item in self.items.iter().filter(|item| item.joined.component.is(Kind::Accumulator)) {
            let known = item.bottle.zip(self.side.zone(item.zone).pressure).zip(temperature);
            let value = known.map(|((bottle, p), temperature)| accumulator_oil(bottle, p, temperature, gas));
            let numbers = known.map(|((bottle, p), temperature)| {
                format!(
                    "n V_gas = {}, precharge {}, at {} and {}",
                    self.workings.volume(bottle.gas_volume),
                    self.workings.pressure(bottle.precharge),
                    self.workings.pressure(p),
                    self.workings.temperature(temperature)
                )
            });
            let formula = "n V_gas max(0, 1 − ρ0/ρ(p + p_atm, T1))";
            chapter.add(self.item(item, formula, numbers.unwrap_or_default(), value));
        }
    }

    fn demand(&self, chapter: &mut Chapter) {
        let (volumes, group) = (&self.side.volumes, &self.side.group);
        let shown = |volume: Option<Volume>| volume.map_or_else(|| "unknown".to_owned(), |v| self.workings.volume(v));
        let terms =
            [volumes.swept, volumes.compression, volumes.air, volumes.dilation, volumes.elastic, volumes.accumulator];
        let formula = DEMAND.formula;
        let numbers = terms.map(shown).join(" + ");
        let demand = self.sum("Demand, D", formula, volumes.demand, "demand");
        chapter.add(demand.by(formula, numbers));
        if !self.is_by_cylinder() {
            return;
        }
        let members = self.workings.group();
        for audit in &members {
            let Some(figures) = audit.figures.side(self.side.side) else { continue };
            if members.len() > 1 {
                let demand = WorkStep::new(
                    format!("Demand of {}", audit.circuit.key.path()),
                    figures.volumes.demand.map(Value::Volume),
                );
                chapter.add(demand.item());
            }
        }
        if members.len() > 1 {
            let step = WorkStep::new("Demand of all that one stroke fills, D_g", group.demand.map(Value::Volume));
            chapter.add(step.by("D_g = Σ D", ""));
        }
        for item in self.items.iter().filter(|item| item.joined.component.is(Kind::ChargingCylinder)) {
            let part = item.joined.component;
            let reach = self.workings.inputs.drive_ram().and_then(|ram| ram.stroke).zip(part.stroke);
            let reach = reach
                .map(|(ram, own)| format!(" × min(1, {}/{})", self.workings.length(ram), self.workings.length(own)));
            let numbers = format!("{}{}{}", times(item.joined.pieces), shown(part.capacity), reach.unwrap_or_default());
            chapter.add(self.item(item, "n capacity min(1, ram stroke/cylinder stroke)", numbers, item.capacity));
        }
        let capacity =
            self.sum("Capacity, C", "C = Σ n c of all charging cylinders of the stroke", volumes.capacity, "capacity");
        let mut because =
            if volumes.capacity.is_none() { self.workings.gap(self.side, Figure::Capacity) } else { String::new() };
        if volumes.capacity.is_none() && because.is_empty() {
            "the capacity of a charging cylinder of the stroke is not known".clone_into(&mut because);
        }
        chapter.add(capacity.because(because));
        let limit = self.workings.plant.policy.limits.fill;
        let fill = WorkStep::new("Fill, u", self.side.fill.map(Value::Ratio));
        let numbers = format!("{}/{}", shown(group.demand), shown(volumes.capacity));
        let because = if self.side.fill.is_none() { self.workings.gap(self.side, Figure::Fill) } else { String::new() };
        chapter.add(fill.by(FILL.formula, numbers).because(because).in_column(format!("{}_fill", self.prefix)));
        let usable = WorkStep::new("Usable oil", self.side.usable.map(Value::Volume));
        let numbers = format!("{} × {}", self.workings.number(limit), shown(volumes.capacity));
        chapter.add(usable.by("limits.fill × C", numbers));
        let because =
            if self.side.reserve.is_none() { self.workings.gap(self.side, Figure::Fill) } else { String::new() };
        let reserve = self.sum("Reserve", "", self.side.reserve, "reserve").because(because);
        let numbers = format!("{} − {}", shown(self.side.usable), shown(group.demand));
        chapter.add(reserve.by("usable oil − D_g", numbers));
    }
}
