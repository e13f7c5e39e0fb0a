//! The figures of a specimen's circuit, computed in plain numbers, and what is found of them.

use clampbook::physics::quantity::{Compliance, Pressure, Time, Volume};
use clampbook::tables::figures::{Chain, Holding, Rating, SideFigures, Volumes};
use clampbook::tables::finding::{Finding, Subject};
use clampbook::tables::kinds::Kinds;
use clampbook::tables::plant::Plant;
use clampbook::tables::value::Value;
use clampbook::tables::words::{Charging, Kind, Severity, Side, State};

use super::{Given, LOSS, PUMP_RATING, PUMP_SETTING, finding, key};

pub fn side(plant: &Plant, given: Given, which: Side) -> SideFigures {
    let fluid = plant.policy.fluid(given.fluid).expect("a fluid of the policy");
    let (modulus, air_share) = (fluid.bulk_modulus.bar(), fluid.free_air);
    let swept = if which == Side::Unclamp { given.swept.map(|swept| swept - 12.0) } else { given.swept };
    let (line, dead) = (12.5, 4.25);
    let ratio = match given.charging {
        Charging::Cylinder => given.ratio.unwrap_or(plant.policy.limits.pressure_ratio),
        _ => 1.0,
    };
    let pump = PUMP_SETTING.min(PUMP_RATING);
    let full = if given.has_station { Some(pump * ratio - LOSS) } else { given.wanted };
    let charge = full.map(|full| given.reducing.map_or(full, |valve| valve.min(full)));
    let rest = match given.charging {
        Charging::Cylinder => Some(line + dead + given.capacity),
        _ => swept.map(|swept| line + dead + swept),
    };
    let compression = rest.zip(charge).map(|(rest, charge)| match given.charging {
        Charging::Cylinder => -rest * (-charge / modulus).exp_m1(),
        _ => rest * (charge / modulus).exp_m1(),
    });
    let air = rest.zip(charge).map(|(rest, charge)| air_share * rest * (1.0 - 1.01325 / (charge + 1.01325)));
    let (tubes, actuators) = (0.002, 0.0007);
    let dilation = charge.map(|charge| charge * tubes);
    let elastic = charge.map(|charge| charge * actuators);
    let accumulator = Some(3.125);
    let demand = [swept, compression, air, dilation, elastic, accumulator].into_iter().sum::<Option<f64>>();
    let fill = demand.filter(|_| given.capacity > 0.0).map(|demand| demand / given.capacity);
    let usable = plant.policy.limits.fill * given.capacity;
    let volume = |value: Option<f64>| value.map(Volume::from_cm3);
    let pressure = |value: Option<f64>| value.map(Pressure::from_bar);
    let rating = |value: f64| Some(Rating { pressure: Pressure::from_bar(value), line: 0 });
    let kinds = Kinds::NONE.with(Kind::Clamp).with(Kind::ChargingCylinder);
    SideFigures {
        side: which,
        lines: vec![0, 1],
        kinds: if given.has_relief { kinds.with(Kind::ReliefValve) } else { kinds },
        kinds_are_known: true,
        cylinder: (given.charging == Charging::Cylinder).then_some(1),
        cylinder_pieces: 1.0,
        volumes: Volumes {
            swept: volume(swept),
            line: volume(Some(line)),
            dead: volume(Some(dead)),
            capacity: volume(Some(given.capacity)),
            compression: volume(compression),
            air: volume(air),
            dilation: volume(dilation),
            elastic: volume(elastic),
            accumulator: volume(accumulator),
            demand: volume(demand),
        },
        compliance: Some(Compliance::new((tubes + actuators) * 1e-11)),
        fill,
        usable: volume(fill.map(|_| usable)),
        reserve: volume(demand.filter(|_| fill.is_some()).map(|demand| usable - demand)),
        chain: Chain {
            pump: pressure(given.has_station.then_some(pump)),
            ratio: Some(ratio),
            return_loss: Pressure::from_bar(LOSS),
            full: pressure(full),
            reducing: given.reducing.and_then(rating),
            relief: if given.has_relief { rating(155.0) } else { None },
            charge: pressure(charge),
            pump_needed: pressure(given.wanted.map(|wanted| (wanted + LOSS) / ratio)),
            potential: pressure(given.has_station.then_some(PUMP_RATING * ratio - LOSS)),
            weakest: rating(given.weakest),
            tube: None,
        },
        gaps: Vec::new(),
    }
}

pub fn side_findings(plant: &Plant, given: Given, figures: &SideFigures) -> Vec<Finding> {
    let limits = &plant.policy.limits;
    let mut found = Vec::new();
    let mut add = |rule, severity, measured: Value, limit: Value| {
        let waived = rule == "V01" && given.name == "waived overfull";
        found.push(Finding {
            side: Some(figures.side),
            measured: Some(measured),
            limit: Some(limit),
            state: if waived { State::Waived } else { State::New },
            waiver: waived.then_some(0),
            ..finding(rule, severity, Subject::Side, &key(given))
        });
    };
    if let Some(fill) = figures.fill {
        let pair = |limit| (Value::Ratio(fill), Value::Ratio(limit));
        if fill > limits.fill {
            let (measured, limit) = pair(limits.fill);
            add("V01", Severity::Major, measured, limit);
        } else if fill > limits.fill_watch {
            let (measured, limit) = pair(limits.fill_watch);
            add("V02", Severity::Observation, measured, limit);
        }
    }
    if let (Some(charge), Some(wanted)) = (figures.chain.charge, given.wanted.map(Pressure::from_bar)) {
        let pair = (Value::Pressure(charge), Value::Pressure(wanted));
        if charge < wanted * (1.0 - limits.pressure_tolerance) {
            add("P03", Severity::Major, pair.0, pair.1);
        } else if charge > wanted * (1.0 + limits.pressure_tolerance) {
            add("P11", Severity::Minor, pair.0, pair.1);
        }
    }
    let weakest = Pressure::from_bar(given.weakest);
    if let Some(potential) = figures.chain.potential
        && !given.has_relief
        && potential.bar() > given.weakest + 1e-6
    {
        add("P13", Severity::Major, Value::Pressure(potential), Value::Pressure(weakest));
    }
    if let Some(charge) = figures.chain.charge
        && charge > weakest * limits.pressure_watch
        && charge <= weakest
    {
        add("P14", Severity::Observation, Value::Pressure(charge), Value::Pressure(weakest));
    }
    found
}

pub fn holding(given: Given, clamp: &SideFigures) -> Holding {
    let Some((charge, minutes)) = clamp.chain.charge.zip(given.hold_minutes) else { return Holding::default() };
    let at = |share: f64| charge * (-0.4 * share).exp();
    Holding {
        start: Some(charge),
        hold: Some(at(1.0)),
        reserve: Some(Time::from_minutes(300.0)),
        curve: (0..=12)
            .map(|step| f64::from(step) / 12.0)
            .map(|share| (Time::from_minutes(minutes * share), at(share)))
            .collect(),
        ..Holding::default()
    }
}
