//! Circuits that one charging cylinder fills in one stroke, and the figures of all of them.

use crate::physics::quantity::Volume;
use crate::physics::topping_up::{cycles_of_filling, days_of_filling};
use crate::physics::volume::{fill, reserve, usable_oil};
use crate::rules::Asked;
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::{Chain, CircuitFigures, Figure, Gap, GroupFigures, Holding, SideFigures};
use crate::tables::plant::Plant;
use crate::tables::words::{Acting, Charging, Side};

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
    figures_near(plant, circuits, asked, &[])
}

/// The same of circuits whose oil was worked out before; `near` has it by circuit, or nothing at all.
pub(super) fn figures_near(
    plant: &Plant,
    circuits: &[Circuit],
    asked: Asked,
    near: &[Option<NearOil>],
) -> Vec<CircuitFigures> {
    let blank = Service::default();
    let services: Vec<&Service> = circuits.iter().map(|circuit| circuit.service.as_ref().unwrap_or(&blank)).collect();
    let inputs: Vec<CircuitInputs> =
        circuits.iter().zip(services).map(|(circuit, service)| CircuitInputs::of(plant, circuit, service)).collect();
    if let [only] = inputs.as_slice() {
        return group_figures(&[only], asked, &[near.first().and_then(Option::as_ref)]);
    }
    let mut figures: Vec<Option<CircuitFigures>> = vec![None; circuits.len()];
    for members in groups(&inputs) {
        let of_group: Vec<&CircuitInputs> = members.iter().map(|member| &inputs[*member]).collect();
        let near: Vec<Option<&NearOil>> = members.iter().map(|member| near.get(*member)?.as_ref()).collect();
        for (member, of_member) in members.iter().zip(group_figures(&of_group, asked, &near)) {
            figures[*member] = Some(of_member);
        }
    }
    figures.into_iter().flatten().collect()
}

/// Works out the trapped oil of circuits again of which nothing else has changed; not what a filling lasts.
pub(super) fn renew_oil(
    plant: &Plant,
    circuits: &[Circuit],
    figures: &mut [CircuitFigures],
    asked: Asked,
    near: &[Option<NearOil>],
) {
    for (index, (circuit, figures)) in circuits.iter().zip(figures).enumerate() {
        let service = circuit.service();
        let inputs = CircuitInputs::of(plant, circuit, &service);
        // Gaps are told once: what is worked out again leaves those that there are.
        let gaps = (figures.gaps.len(), figures.clamp.gaps.len());
        let sums = sums_of(&inputs, &mut figures.clamp);
        let validity = std::mem::take(&mut figures.holding.validity);
        figures.holding = Holding { validity, ..Holding::default() };
        let _ = add_holding(&inputs, figures, sums.as_ref(), asked, near.get(index).and_then(Option::as_ref));
        figures.gaps.truncate(gaps.0);
        figures.clamp.gaps.truncate(gaps.1);
    }
}

/// Figures of a circuit that has a charging cylinder of its own, or none.
#[must_use]
pub fn circuit_figures(plant: &Plant, circuit: &Circuit, service: &Service, asked: Asked) -> CircuitFigures {
    let inputs = CircuitInputs::of(plant, circuit, service);
    let mut figures = group_figures(&[&inputs], asked, &[None]);
    figures.swap_remove(0)
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
    let inputs = CircuitInputs::of(plant, circuit, service);
    let clamp = renewed_side(&inputs, &before.clamp);
    let unclamp = before.unclamp.as_ref().map(|side| renewed_side(&inputs, side).figures);
    let mut figures = CircuitFigures { unclamp, ..CircuitFigures::blank(before.acting, clamp.figures) };
    let lost = add_holding(&inputs, &mut figures, clamp.sums.as_ref(), asked, None);
    if asked.times {
        add_times(&inputs, &mut figures);
    }
    if asked.topup {
        add_topping_up(&[&inputs], std::slice::from_mut(&mut figures), &[lost]);
    }
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
    let clamp = with_other_potential(&inputs, &before.clamp)?;
    let unclamp = match &before.unclamp {
        Some(side) => Some(with_other_potential(&inputs, side)?),
        None => None,
    };
    let Holding { settled, cold, cold_or_settled, cold_full, hot, hot_full, .. } = before.holding;
    let Holding { hold_full, start, leak_temperature, hold, hold_is_bound, .. } = before.holding;
    let holding = Holding {
        settled,
        cold,
        cold_or_settled,
        cold_full,
        hot,
        hot_full,
        hold_full,
        start,
        leak_temperature,
        hold,
        hold_is_bound,
        ..Holding::default()
    };
    let mut figures = CircuitFigures { unclamp, holding, ..CircuitFigures::blank(before.acting, clamp) };
    if asked.times {
        add_times(&inputs, &mut figures);
    }
    Some(figures)
}

/// A side with what another pump could bring to it; `None` where one of its pressures is another.
fn with_other_potential(inputs: &CircuitInputs, before: &SideFigures) -> Option<SideFigures> {
    let mut figures = same_pressures(before);
    let group = GroupChain::of(&[inputs], &[&figures]);
    add_chain(inputs, &mut figures, &group);
    let is_same =
        Chain { potential: before.chain.potential, ..figures.chain } == before.chain
            && figures.zones.iter().zip(&before.zones).all(|(zone, was)| {
                (zone.pressure, zone.relief, zone.weakest) == (was.pressure, was.relief, was.weakest)
            });
    for (zone, was) in figures.zones.iter_mut().zip(&before.zones) {
        zone.hot = was.hot;
    }
    is_same.then(|| SideFigures {
        volumes: before.volumes,
        compliance: before.compliance,
        fill: before.fill,
        usable: before.usable,
        reserve: before.reserve,
        group: before.group.clone(),
        ..figures
    })
}

fn renewed_side(inputs: &CircuitInputs, before: &SideFigures) -> SideWork {
    let mut work = SideWork { figures: same_pressures(before), sums: None };
    renew_ratings(inputs, &mut work.figures);
    work.sums = sums_of(inputs, &mut work.figures);
    if let Some(sums) = &mut work.sums {
        sums.add_to(inputs, &mut work.figures);
    }
    work.figures.group = common(std::slice::from_ref(&work));
    add_fill(inputs, &mut work.figures);
    work
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

/// One side of a member in work.
pub(super) struct SideWork {
    pub(super) figures: SideFigures,
    /// `None` where the volumes of the side are unknown as a whole.
    pub(super) sums: Option<SideSums>,
}

fn group_figures(members: &[&CircuitInputs], asked: Asked, near: &[Option<&NearOil>]) -> Vec<CircuitFigures> {
    let clamp = charged_side(members, Side::Clamp);
    let double: Vec<&CircuitInputs> =
        members.iter().copied().filter(|member| member.acting == Acting::Double).collect();
    let mut unclamp = charged_side(&double, Side::Unclamp).into_iter();
    let mut figures: Vec<CircuitFigures> = Vec::with_capacity(members.len());
    let mut lost: Vec<Lost> = Vec::with_capacity(members.len());
    for ((member, near), work) in members.iter().zip(near).zip(clamp) {
        let SideWork { figures: clamp, sums } = work;
        let unclamp = if member.acting == Acting::Double { unclamp.next().map(|work| work.figures) } else { None };
        let mut of_member = CircuitFigures { unclamp, ..CircuitFigures::blank(member.acting, clamp) };
        lost.push(add_holding(member, &mut of_member, sums.as_ref(), asked, *near));
        if asked.times {
            add_times(member, &mut of_member);
        }
        figures.push(of_member);
    }
    if asked.topup {
        add_topping_up(members, &mut figures, &lost);
    }
    figures
}

/// The same side of all members, up to fill and reserve.
fn charged_side(members: &[&CircuitInputs], side: Side) -> Vec<SideWork> {
    if members.is_empty() {
        return Vec::new();
    }
    let mut all: Vec<SideWork> =
        members.iter().map(|member| SideWork { figures: outline(member, side), sums: None }).collect();
    let outlines: Vec<&SideFigures> = all.iter().map(|work| &work.figures).collect();
    let chain = GroupChain::of(members, &outlines);
    for (member, work) in members.iter().zip(&mut all) {
        add_chain(member, &mut work.figures, &chain);
        work.sums = sums_of(member, &mut work.figures);
        if let Some(sums) = &mut work.sums {
            sums.add_to(member, &mut work.figures);
        }
    }
    let group = common(&all);
    for (member, work) in members.iter().zip(&mut all) {
        work.figures.group = group.clone();
        add_fill(member, &mut work.figures);
    }
    all
}

/// What the members have in common: D_g, C_g and the cylinders.
fn common(all: &[SideWork]) -> GroupFigures {
    let mut group = GroupFigures {
        members: u32::try_from(all.len()).unwrap_or(u32::MAX),
        kinds_are_known: true,
        swept: Some(Volume::ZERO),
        demand: Some(Volume::ZERO),
        capacity: Some(Volume::ZERO),
        ..GroupFigures::default()
    };
    let plus = |so_far: Option<Volume>, more: Option<Volume>| Some(so_far? + more?);
    for work in all {
        let figures = &work.figures;
        group.cylinder_pieces += figures.cylinder_pieces;
        group.kinds_are_known &= figures.kinds_are_known;
        group.swept = plus(group.swept, figures.volumes.swept);
        group.demand = plus(group.demand, figures.volumes.demand);
        group.capacity = plus(group.capacity, work.sums.as_ref().and_then(|sums| sums.own_capacity));
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
fn add_topping_up(members: &[&CircuitInputs], figures: &mut [CircuitFigures], lost: &[Lost]) {
    let Some(first) = figures.first() else { return };
    if members.iter().any(|member| member.charging != Charging::Cylinder) {
        return;
    }
    let all: Option<Volume> = lost.iter().map(|lost| lost.oil).sum();
    let is_bound = lost.iter().any(|lost| lost.is_bound);
    let rates = members.iter().filter_map(|member| member.service.cycles_per_day);
    let rate = rates.reduce(f64::max);
    let because = lost.iter().find_map(|lost| lost.because.clone());
    let reserve = first.clamp.reserve;
    let is_endless = all.is_some_and(|all| all <= Volume::ZERO);
    let cycles = reserve.zip(all).and_then(|(reserve, all)| cycles_of_filling(reserve, all));
    let days = cycles.zip(rate).and_then(|(cycles, rate)| days_of_filling(cycles, rate));
    for of_member in figures {
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
