//! Circuits that one charging cylinder fills in one stroke, and the figures of all of them.

use std::borrow::Cow;

use crate::physics::quantity::Volume;
use crate::physics::topping_up::{cycles_of_filling, days_of_filling};
use crate::physics::volume::{fill, reserve, usable_oil};
use crate::rules::Asked;
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::{Chain, CircuitFigures, Figure, Gap, GroupFigures, Holding, SideFigures};
use crate::tables::plant::Plant;
use crate::tables::words::{Acting, Charging, Side};

use super::affected::Affected;
use super::near_oil::NearOil;
use super::pressure_chain::{GroupChain, add_chain, renew_ratings, same_pressures};
use super::side::{CircuitInputs, SideSums, demand_gap, outline, sums_of};
use super::times::add_times;
use super::trapped::{Lost, add_holding};

/// Computes the figures of circuits of one pallet, in key order.
///
/// Circuits with the same `source` that are charged by cylinder are a group; they must all be
/// there.
#[must_use]
pub fn pallet_figures(plant: &Plant, circuits: &[Circuit], asked: Asked) -> Vec<CircuitFigures> {
    let services: Vec<_> = circuits.iter().map(Circuit::service).collect();
    let inputs = inputs_of(plant, circuits, &services);
    let mut figures: Vec<CircuitFigures> = inputs.iter().map(outlined).collect();
    work_out_pallet(&inputs, &mut figures, Affected::ALL, asked, &[]);
    figures
}

/// Works out figures of circuits again of which nothing else has changed than what is affected; `near` has their oil by circuit.
///
/// Why a figure is unknown is told once: no gap comes to those that there are, and no note.
pub(super) fn renew(
    plant: &Plant,
    circuits: &[Circuit],
    figures: &mut [CircuitFigures],
    affected: Affected,
    asked: Asked,
    near: &[Option<NearOil>],
) {
    let services: Vec<_> = circuits.iter().map(Circuit::service).collect();
    let inputs = inputs_of(plant, circuits, &services);
    let told: Vec<Told> = figures.iter().map(Told::of).collect();
    work_out_pallet(&inputs, figures, affected, asked, near);
    told.into_iter().zip(figures).for_each(|(told, figures)| told.leave(figures));
}

/// How many reasons and notes a circuit has.
struct Told {
    gaps: usize,
    of_sides: [usize; 2],
    notes: usize,
}

impl Told {
    fn of(figures: &CircuitFigures) -> Self {
        let of_sides =
            [Some(&figures.clamp), figures.unclamp.as_ref()].map(|side| side.map_or(0, |side| side.gaps.len()));
        Self { gaps: figures.gaps.len(), of_sides, notes: figures.holding.validity.len() }
    }

    /// Drops what has come since.
    fn leave(self, figures: &mut CircuitFigures) {
        figures.gaps.truncate(self.gaps);
        figures.holding.validity.truncate(self.notes);
        let sides = [Some(&mut figures.clamp), figures.unclamp.as_mut()];
        for (side, gaps) in sides.into_iter().zip(self.of_sides) {
            if let Some(side) = side {
                side.gaps.truncate(gaps);
            }
        }
    }
}

/// Figures of a circuit that has a charging cylinder of its own, or none.
#[must_use]
pub fn circuit_figures(plant: &Plant, circuit: &Circuit, service: &Service, asked: Asked) -> CircuitFigures {
    let inputs = [CircuitInputs::of(plant, circuit, service)];
    let mut figures = outlined(&inputs[0]);
    work_out_pallet(&inputs, std::slice::from_mut(&mut figures), Affected::ALL, asked, &[]);
    figures
}

fn inputs_of<'a>(plant: &'a Plant, circuits: &'a [Circuit], services: &'a [Cow<Service>]) -> Vec<CircuitInputs<'a>> {
    circuits.iter().zip(services).map(|(circuit, service)| CircuitInputs::of(plant, circuit, service)).collect()
}

/// Which lines and kinds a circuit has where: what no number moves.
fn outlined(inputs: &CircuitInputs) -> CircuitFigures {
    let unclamp = (inputs.acting == Acting::Double).then(|| outline(inputs, Side::Unclamp));
    CircuitFigures { unclamp, ..CircuitFigures::blank(inputs.acting, outline(inputs, Side::Clamp)) }
}

/// Figures of a circuit by itself of which lines have other parts or settings, none that changes kinds, the sides that
/// lines count on, their zones or a pressure: all that doesn't follow from these is worked out again.
///
/// * `before` – figures of the circuit as it was, of whose gaps none is told again
#[must_use]
pub fn renewed_figures(
    plant: &Plant,
    circuit: &Circuit,
    service: &Service,
    before: &CircuitFigures,
    asked: Asked,
) -> CircuitFigures {
    let inputs = [CircuitInputs::of(plant, circuit, service)];
    let unclamp = before.unclamp.as_ref().map(same_pressures);
    let mut figures = CircuitFigures { unclamp, ..CircuitFigures::blank(before.acting, same_pressures(&before.clamp)) };
    for side in std::iter::once(&mut figures.clamp).chain(&mut figures.unclamp) {
        renew_ratings(&inputs[0], side);
    }
    let affected = Affected { chain: false, ..Affected::ALL };
    work_out_pallet(&inputs, std::slice::from_mut(&mut figures), affected, asked, &[]);
    figures
}

/// Figures of a circuit by itself whose load station has another pump that gives the same pressure; `None` where it gives
/// another.
///
/// * `before` – figures of the circuit as it was, of whose gaps none is told again
#[must_use]
pub fn with_other_pump(
    plant: &Plant,
    circuit: &Circuit,
    service: &Service,
    before: &CircuitFigures,
    asked: Asked,
) -> Option<CircuitFigures> {
    let inputs = CircuitInputs::of(plant, circuit, service);
    let mut figures = CircuitFigures { gaps: Vec::new(), friction: None, ..before.clone() };
    figures.holding = Holding { reserve: None, reserve_is_endless: false, validity: Vec::new(), ..figures.holding };
    let mut sides = std::iter::once(&mut figures.clamp).chain(&mut figures.unclamp);
    if !sides.all(|side| keeps_pressures(&inputs, side)) {
        return None;
    }
    if asked.times {
        add_times(&inputs, &mut figures);
    }
    Some(figures)
}

/// Works out the chain of a side again, its gaps forgotten; whether nothing of it is another but what the pump could
/// bring.
fn keeps_pressures(inputs: &CircuitInputs, side: &mut SideFigures) -> bool {
    let (chain, zones) = (side.chain, side.zones.clone());
    side.gaps.clear();
    let group = GroupChain::of(std::iter::once((inputs, &*side)));
    add_chain(inputs, side, &group);
    Chain { potential: chain.potential, ..side.chain } == chain
        && side
            .zones
            .iter()
            .zip(&zones)
            .all(|(zone, was)| (zone.pressure, zone.relief, zone.weakest) == (was.pressure, was.relief, was.weakest))
}

/// Indices of the circuits of each group, those of one circuit included.
fn groups(inputs: &[CircuitInputs]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::with_capacity(inputs.len());
    let mut by_source: std::collections::HashMap<&str, usize> = std::collections::HashMap::new();
    for (index, member) in inputs.iter().enumerate() {
        let source = member.service.source.as_str();
        if source.is_empty() || member.charging != Charging::Cylinder {
            groups.push(vec![index]);
        } else {
            let at = *by_source.entry(source).or_insert_with(|| {
                groups.push(Vec::new());
                groups.len() - 1
            });
            groups[at].push(index);
        }
    }
    groups
}

/// Works out the figures of all circuits of a pallet, or of all that have to do with each other.
fn work_out_pallet(
    inputs: &[CircuitInputs],
    figures: &mut [CircuitFigures],
    affected: Affected,
    asked: Asked,
    near: &[Option<NearOil>],
) {
    let near_of = |member: usize| near.get(member).and_then(Option::as_ref);
    if inputs.len() == 1 {
        return work_out(inputs, figures, &[0], affected, asked, near_of);
    }
    for members in groups(inputs) {
        work_out(inputs, figures, &members, affected, asked, near_of);
    }
}

/// Works out the figures of a group; `members` are indices into both.
fn work_out<'a>(
    inputs: &[CircuitInputs],
    figures: &mut [CircuitFigures],
    members: &[usize],
    affected: Affected,
    asked: Asked,
    near_of: impl Fn(usize) -> Option<&'a NearOil>,
) {
    let sums = charged_side(inputs, figures, members, Side::Clamp, affected);
    let double = |member: &usize| inputs[*member].acting == Acting::Double;
    if members.iter().any(double) {
        let double: Vec<usize> = members.iter().copied().filter(double).collect();
        let _ = charged_side(inputs, figures, &double, Side::Unclamp, affected);
    }
    let mut lost: Vec<Lost> = Vec::with_capacity(members.len());
    for (member, sums) in members.iter().copied().zip(&sums) {
        let (inputs, figures) = (&inputs[member], &mut figures[member]);
        if affected.oil {
            let mut before = std::mem::take(&mut figures.holding);
            figures.holding.validity = std::mem::take(&mut before.validity);
            lost.push(add_holding(inputs, figures, sums.as_ref(), asked, &before, near_of(member)));
        }
        if affected.times && asked.times {
            add_times(inputs, figures);
        }
    }
    if affected.oil && asked.topup {
        add_topping_up(inputs, figures, members, &lost);
    }
}

/// The same side of all members, up to fill and reserve; their sums by member, `None` where the volumes of the side
/// are unknown as a whole or not asked for.
fn charged_side(
    inputs: &[CircuitInputs],
    figures: &mut [CircuitFigures],
    members: &[usize],
    side: Side,
    affected: Affected,
) -> Vec<Option<SideSums>> {
    if affected.chain {
        let of_members = members.iter().filter_map(|member| Some((&inputs[*member], figures[*member].side(side)?)));
        let chain = GroupChain::of(of_members);
        for member in members.iter().copied() {
            if let Some(own) = figures[member].side_mut(side) {
                add_chain(&inputs[member], own, &chain);
            }
        }
    }
    let is_summed = affected.volumes || (affected.oil && side == Side::Clamp);
    let sums_of_member = |member: &usize| -> Option<SideSums> {
        let own = figures[*member].side_mut(side).filter(|_| is_summed)?;
        let mut sums = sums_of(&inputs[*member], own)?;
        if affected.volumes {
            sums.add_to(&inputs[*member], own);
        }
        Some(sums)
    };
    let sums: Vec<Option<SideSums>> = members.iter().map(sums_of_member).collect();
    if affected.volumes {
        let of_members = members.iter().filter_map(|member| figures[*member].side(side));
        let group = common(of_members.zip(&sums));
        for member in members.iter().copied() {
            if let Some(own) = figures[member].side_mut(side) {
                own.group = group.clone();
                add_fill(&inputs[member], own);
            }
        }
    }
    sums
}

/// What the members have in common: D_g, C_g and the cylinders.
fn common<'a>(members: impl Iterator<Item = (&'a SideFigures, &'a Option<SideSums>)>) -> GroupFigures {
    let mut group = GroupFigures {
        kinds_are_known: true,
        swept: Some(Volume::ZERO),
        demand: Some(Volume::ZERO),
        capacity: Some(Volume::ZERO),
        ..GroupFigures::default()
    };
    let plus = |so_far: Option<Volume>, more: Option<Volume>| Some(so_far? + more?);
    for (figures, sums) in members {
        group.members += 1;
        group.cylinder_pieces += figures.cylinder_pieces;
        group.kinds_are_known &= figures.kinds_are_known;
        group.swept = plus(group.swept, figures.volumes.swept);
        group.demand = plus(group.demand, figures.volumes.demand);
        group.capacity = plus(group.capacity, sums.as_ref().and_then(|sums| sums.own_capacity));
    }
    group
}

/// Fill and reserve of what a charging cylinder charges.
fn add_fill(inputs: &CircuitInputs, figures: &mut SideFigures) {
    if inputs.charging != Charging::Cylinder {
        figures.group.capacity = None;
        return;
    }
    let capacity = figures.group.capacity;
    (figures.reserve, figures.fill) = (None, None);
    figures.volumes.capacity = capacity;
    figures.usable = capacity.map(|capacity| usable_oil(capacity, inputs.plant.policy.limits.fill));
    let Some(demand) = figures.group.demand else {
        let because = if figures.volumes.demand.is_some() {
            format!("the demand of another circuit of the source '{}' is not known", inputs.service.source)
        } else {
            demand_gap(inputs, figures)
        };
        figures.gaps.push(Gap { figure: Figure::Fill, because });
        return;
    };
    figures.reserve = figures.usable.map(|usable| reserve(usable, demand));
    figures.fill = capacity.and_then(|capacity| fill(demand, capacity));
    if figures.fill.is_none() {
        let because = if capacity.is_none() {
            "the capacity of a charging cylinder is not known"
        } else {
            "the side has no charging cylinder"
        };
        figures.gaps.push(Gap { figure: Figure::Fill, because: because.to_owned() });
    }
}

/// How long a filling lasts, the same for all members.
fn add_topping_up(inputs: &[CircuitInputs], figures: &mut [CircuitFigures], members: &[usize], lost: &[Lost]) {
    let Some(first) = members.first().map(|first| &figures[*first]) else { return };
    let of_members = || members.iter().map(|member| &inputs[*member]);
    if of_members().any(|member| member.charging != Charging::Cylinder) {
        return;
    }
    let all: Option<Volume> = lost.iter().map(|lost| lost.oil).sum();
    let is_bound = lost.iter().any(|lost| lost.is_bound);
    let rates = of_members().filter_map(|member| member.service.cycles_per_day);
    let rate = rates.reduce(f64::max);
    let because = lost.iter().find_map(|lost| lost.because.clone());
    let reserve = first.clamp.reserve;
    let is_endless = all.is_some_and(|all| all <= Volume::ZERO);
    let cycles = reserve.zip(all).and_then(|(reserve, all)| cycles_of_filling(reserve, all));
    let days = cycles.zip(rate).and_then(|(cycles, rate)| days_of_filling(cycles, rate));
    for member in members {
        let of_member = &mut figures[*member];
        let group = &mut of_member.clamp.group;
        group.cycles_per_day = rate;
        group.topup_days = days;
        group.topup_is_endless = is_endless;
        group.topup_is_bound = is_bound;
        if days.is_none() && !is_endless {
            let because = because.clone().unwrap_or_else(|| {
                if rate.is_none() {
                    "no cycles_per_day is given".to_owned()
                } else {
                    "the reserve is not known".to_owned()
                }
            });
            of_member.gaps.push(Gap { figure: Figure::Topup, because });
        }
    }
}
