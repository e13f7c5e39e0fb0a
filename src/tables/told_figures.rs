//! The figures of a circuit that are told before and after a change, as every report names them.

use super::figures::CircuitFigures;
use super::value::Value;

/// One of them.
pub struct ToldFigure {
    pub name: &'static str,
    /// `None` where it is unknown.
    pub read: fn(&CircuitFigures) -> Option<Value>,
    /// Whether a remedy's sentence tells it; what-if tells all.
    pub by_remedies: bool,
}

const fn told(name: &'static str, read: fn(&CircuitFigures) -> Option<Value>) -> ToldFigure {
    ToldFigure { name, read, by_remedies: false }
}

const fn by_remedies(name: &'static str, read: fn(&CircuitFigures) -> Option<Value>) -> ToldFigure {
    ToldFigure { by_remedies: true, ..told(name, read) }
}

/// In the order of the calculation.
pub static TOLD_FIGURES: &[ToldFigure] = &[
    told("demand", |figures| figures.clamp.volumes.demand.map(Value::Volume)),
    told("swept volume", |figures| figures.clamp.volumes.swept.map(Value::Volume)),
    told("capacity", |figures| figures.clamp.volumes.capacity.map(Value::Volume)),
    by_remedies("fill", |figures| figures.clamp.fill.map(Value::Ratio)),
    told("reserve", |figures| figures.clamp.reserve.map(Value::Volume)),
    told("unclamp demand", |figures| figures.unclamp.as_ref()?.volumes.demand.map(Value::Volume)),
    by_remedies("unclamp fill", |figures| figures.unclamp.as_ref()?.fill.map(Value::Ratio)),
    by_remedies("charge pressure", |figures| figures.clamp.chain.charge.map(Value::Pressure)),
    told("pump pressure needed", |figures| figures.clamp.chain.pump_needed.map(Value::Pressure)),
    told("potential pressure", |figures| figures.clamp.chain.potential.map(Value::Pressure)),
    by_remedies("weakest rating", |figures| {
        figures.clamp.chain.weakest.map(|weakest| Value::Pressure(weakest.pressure))
    }),
    told("settled pressure", |figures| figures.holding.settled.map(Value::Pressure)),
    by_remedies("pressure at the highest temperature", |figures| figures.holding.hot.map(Value::Pressure)),
    told("pressure at the highest temperature, zone full", |figures| figures.holding.hot_full.map(Value::Pressure)),
    by_remedies("pressure at the lowest temperature", |figures| figures.holding.cold.map(Value::Pressure)),
    by_remedies("holding pressure", |figures| figures.holding.hold.map(Value::Pressure)),
    told("hold reserve", |figures| figures.holding.reserve.map(Value::Minutes)),
    by_remedies("clamp time", |figures| figures.clamp_time.map(Value::Seconds)),
    by_remedies("unclamp time", |figures| figures.unclamp_time.map(Value::Seconds)),
    told("days of a filling", |figures| figures.clamp.group.topup_days.map(Value::Number)),
    told("held by friction", |figures| figures.friction.map(Value::Force)),
    told("unclamp charge pressure", |figures| figures.unclamp.as_ref()?.chain.charge.map(Value::Pressure)),
];
