//! Volumes of oil: swept, in conductors, at hand and asked for.

use std::f64::consts::PI;

use crate::physics::formula::Formula;
use crate::physics::quantity::{Area, Length, Volume};

pub static CIRCLE_AREA: Formula = Formula {
    function: "circle_area",
    figure: "Area of a bore or piston",
    unit: "m²",
    formula: "A = π/4 d²",
    symbols: "d diameter",
    validity: "always",
    source: "Esposito, Fluid Power with Applications, chapter 6, piston area",
};

/// Area of a circle.
///
/// Formula, validity and source: [`CIRCLE_AREA`].
///
/// * `diameter` – 0 or more
///
/// By hand: π/4 × (20 mm)² = 314.16 mm².
/// ```
/// use clampbook::physics::{quantity::Length, volume::circle_area};
/// assert!((circle_area(Length::from_mm(20.0)).mm2() - 314.16).abs() < 0.005);
/// ```
#[must_use]
pub fn circle_area(diameter: Length) -> Area {
    Area::new(PI / 4.0 * diameter.si() * diameter.si())
}

pub static SWEPT_VOLUME: Formula = Formula {
    function: "swept_volume",
    figure: "Swept volume",
    unit: "m³",
    formula: "V_sw = Σ n v, v = max(A s, V s/s_full)",
    symbols: "n pieces; A piston area; s stroke used, the full one s_full where a list gives none; V volume stated at full stroke; clamps and work supports",
    validity: "of the two products the larger one, since a stated volume may be rounded and a stated area too",
    source: "Esposito, Fluid Power with Applications, chapter 6, volume = area × stroke",
};

/// Volume that one clamp or work support sweeps.
///
/// Formula, validity and source: [`SWEPT_VOLUME`].
///
/// * `area` – piston area A
/// * `stroke_used` – stroke s; where the list gives none, the full stroke
/// * `volume` – stated volume V at full stroke
/// * `full_stroke` – s_full
///
/// A volume without either stroke is swept whole. Nothing is returned where neither product is
/// known.
///
/// By hand: 5 cm² × 2 cm = 10 cm³; 12 cm³ stated over 2.5 cm are 9.6 cm³ over 2 cm.
/// ```
/// use clampbook::physics::quantity::{Area, Length, Volume};
/// use clampbook::physics::volume::swept_volume;
/// let swept = swept_volume(
///     Some(Area::from_cm2(5.0)),
///     Some(Length::from_mm(20.0)),
///     Some(Volume::from_cm3(12.0)),
///     Some(Length::from_mm(25.0)),
/// );
/// assert!(swept.is_some_and(|v| (v.cm3() - 10.0).abs() < 1e-9));
/// ```
#[must_use]
pub fn swept_volume(
    area: Option<Area>,
    stroke_used: Option<Length>,
    volume: Option<Volume>,
    full_stroke: Option<Length>,
) -> Option<Volume> {
    let used = stroke_used.or(full_stroke);
    let by_area = area.zip(used).map(|(area, used)| area * used);
    let by_volume = volume.and_then(|volume| match (stroke_used, full_stroke) {
        (None, _) => Some(volume),
        (Some(used), Some(full)) if full > Length::ZERO => Some(volume * (used / full)),
        _ => None,
    });
    match (by_area, by_volume) {
        (Some(one), Some(other)) => Some(one.max(other)),
        (one, other) => one.or(other),
    }
}

pub static CONDUCTOR_VOLUME: Formula = Formula {
    function: "conductor_volume",
    figure: "Oil in tubes and hoses",
    unit: "m³",
    formula: "V_line = Σ n π/4 ID² L",
    symbols: "ID bore and L length of a tube or hose",
    validity: "a round bore; other parts state their oil as dead volume, V_dead = Σ n dead_volume",
    source: "elementary geometry",
};

/// Volume inside one piece of tube or hose.
///
/// Formula, validity and source: [`CONDUCTOR_VOLUME`].
///
/// * `inner_diameter`, `length` – 0 or more
///
/// By hand: π/4 × (0.7 cm)² × 100 cm = 38.48 cm³ in a metre of 10 × 1.5 mm tube.
/// ```
/// use clampbook::physics::{quantity::Length, volume::conductor_volume};
/// let bore = conductor_volume(Length::from_mm(7.0), Length::new(1.0));
/// assert!((bore.cm3() - 38.48).abs() < 0.005);
/// ```
#[must_use]
pub fn conductor_volume(inner_diameter: Length, length: Length) -> Volume {
    circle_area(inner_diameter) * length
}

/// The oil that a side takes from rest to charge pressure, part by part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    pub swept: Volume,
    pub compression: Volume,
    pub air: Volume,
    pub dilation: Volume,
    pub elastic: Volume,
    pub accumulator: Volume,
}

pub static DEMAND: Formula = Formula {
    function: "Demand::total",
    figure: "Demand",
    unit: "m³",
    formula: "D = V_sw + V_comp + V_air + V_dil + V_el + V_acc",
    symbols: "swept, compressed, lost by air, by dilation of tubes and hoses, by clamps that give way, taken by accumulators",
    validity: "all parts at the same charge pressure and temperature",
    source: "volume balance",
};

impl Demand {
    /// Demand of a side.
    ///
    /// Formula, validity and source: [`DEMAND`].
    ///
    /// By hand: 70 + 5 + 1 + 2 + 0.5 + 10 = 88.5 cm³.
    /// ```
    /// use clampbook::physics::{quantity::Volume, volume::Demand};
    /// let demand = Demand {
    ///     swept: Volume::from_cm3(70.0),
    ///     compression: Volume::from_cm3(5.0),
    ///     air: Volume::from_cm3(1.0),
    ///     dilation: Volume::from_cm3(2.0),
    ///     elastic: Volume::from_cm3(0.5),
    ///     accumulator: Volume::from_cm3(10.0),
    /// };
    /// assert!((demand.total().cm3() - 88.5).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn total(&self) -> Volume {
        self.swept + self.compression + self.air + self.dilation + self.elastic + self.accumulator
    }
}

pub static FILL: Formula = Formula {
    function: "fill",
    figure: "Fill",
    unit: "1",
    formula: "u = D_g/C",
    symbols: "D_g = Σ D demand and C capacity of all circuits that one stroke fills",
    validity: "a charging cylinder; a coupler and a live circuit have no capacity",
    source: "definition; a circuit takes at most 90 % of the capacity (common practice, no source)",
};

/// Share of the charging cylinder's capacity that the demand takes.
///
/// Formula, validity and source: [`FILL`].
///
/// * `capacity` – above 0; nothing is returned without one
///
/// By hand: 77.4 cm³ of 120 cm³ are 0.645.
/// ```
/// use clampbook::physics::{quantity::Volume, volume::fill};
/// let fill = fill(Volume::from_cm3(77.4), Volume::from_cm3(120.0));
/// assert!(fill.is_some_and(|u| (u - 0.645).abs() < 1e-12));
/// ```
#[must_use]
pub fn fill(demand: Volume, capacity: Volume) -> Option<f64> {
    (capacity > Volume::ZERO).then(|| demand / capacity)
}

pub static USABLE_OIL: Formula = Formula {
    function: "usable_oil",
    figure: "Usable oil",
    unit: "m³",
    formula: "V = limit × C",
    symbols: "limit limits.fill; C capacity",
    validity: "as for the fill",
    source: "a circuit takes at most 90 % of the capacity (common practice, no source)",
};

/// Oil that a circuit may take from its charging cylinders.
///
/// Formula, validity and source: [`USABLE_OIL`].
///
/// * `capacity` – of all charging cylinders of the side
/// * `fill_limit` – 0 to 1, 0.9 by common practice
///
/// By hand: 90 % of 8 in³ are 7.2 in³.
/// ```
/// use clampbook::physics::{quantity::Volume, volume::usable_oil};
/// assert!((usable_oil(Volume::from_in3(8.0), 0.9).in3() - 7.2).abs() < 1e-12);
/// ```
#[must_use]
pub fn usable_oil(capacity: Volume, fill_limit: f64) -> Volume {
    capacity * fill_limit
}

pub static RESERVE: Formula = Formula {
    function: "reserve",
    figure: "Reserve",
    unit: "m³",
    formula: "reserve = limit × C − D_g",
    symbols: "below 0 where more is asked for than may be taken",
    validity: "as for the fill",
    source: "volume balance",
};

/// Usable oil that the demand leaves; below 0 where it asks for more.
///
/// Formula, validity and source: [`RESERVE`].
///
/// By hand: 108 cm³ usable less 77.4 cm³ leave 30.6 cm³.
/// ```
/// use clampbook::physics::{quantity::Volume, volume::reserve};
/// let left = reserve(Volume::from_cm3(108.0), Volume::from_cm3(77.4));
/// assert!((left.cm3() - 30.6).abs() < 1e-9);
/// ```
#[must_use]
pub fn reserve(usable: Volume, demand: Volume) -> Volume {
    usable - demand
}

pub static EFFECTIVE_CAPACITY: Formula = Formula {
    function: "effective_capacity",
    figure: "Capacity",
    unit: "m³",
    formula: "C = Σ n c, c = capacity × min(1, ram stroke/cylinder stroke)",
    symbols: "capacity at the full stroke of a charging cylinder, as it is where one of the strokes is not known",
    validity: "ram and cylinder in contact from the start of the stroke",
    source: "Esposito, Fluid Power with Applications, chapter 6, volume = area × stroke",
};

/// Oil that a charging cylinder can give with its load station's drive ram.
///
/// Formula, validity and source: [`EFFECTIVE_CAPACITY`].
///
/// * `capacity` – at the cylinder's full stroke
/// * `ram_stroke`, `cylinder_stroke` – the capacity as it is where one is not known
///
/// By hand: 180 cm³ over 120 mm, of which the ram reaches 90: 135 cm³.
/// ```
/// use clampbook::physics::{quantity::{Length, Volume}, volume::effective_capacity};
/// let mm = Length::from_mm;
/// let c = effective_capacity(Volume::from_cm3(180.0), Some(mm(90.0)), Some(mm(120.0)));
/// assert!((c.cm3() - 135.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn effective_capacity(capacity: Volume, ram_stroke: Option<Length>, cylinder_stroke: Option<Length>) -> Volume {
    match ram_stroke.zip(cylinder_stroke) {
        Some((ram, cylinder)) if cylinder > Length::ZERO => capacity * (ram / cylinder).min(1.0),
        _ => capacity,
    }
}
