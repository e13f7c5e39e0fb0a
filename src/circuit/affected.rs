//! What of a circuit's figures, and which rules, a datum moves.

use crate::rules::{Asked, Rule, makeup, pressure, volume};

/// What has to be looked at again once a datum has moved.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Affected {
    /// Pressures of the chain, settings and ratings, and with them everything else.
    pub(super) chain: bool,
    /// Volumes, fill and reserve.
    pub(super) volumes: bool,
    /// The trapped oil.
    pub(super) oil: bool,
    pub(super) times: bool,
    /// What a rule makes of the datum itself, but for those on pressures and ratings.
    pub(super) rules: bool,
    /// What these make of it.
    pub(super) pressures: bool,
}

/// Nothing is affected.
const NOTHING: Affected =
    Affected { chain: false, volumes: false, oil: false, times: false, rules: false, pressures: false };
const RULES: Affected = Affected { rules: true, ..NOTHING };
const ALL_RULES: Affected = Affected { pressures: true, ..RULES };
const TIMES: Affected = Affected { times: true, ..NOTHING };
const OIL: Affected = Affected { oil: true, ..NOTHING };
/// The oil that is filled in, and how long that takes.
const FILLING: Affected = Affected { volumes: true, times: true, ..NOTHING };

/// Columns and keys that move no pressure of the chain, no setting and no rating, with what they do move.
const OF_KEYS: &[(&str, Affected)] = &[
    ("stroke", FILLING.and(OIL).and(RULES)),
    ("stroke_used", FILLING.and(OIL).and(RULES)),
    ("dead_volume", FILLING.and(OIL)),
    ("elastic_modulus", FILLING.and(OIL)),
    ("poisson", FILLING.and(OIL)),
    ("expansion", FILLING.and(OIL)),
    ("gas_volume", FILLING.and(OIL)),
    ("stiffness", FILLING.and(OIL)),
    ("length", FILLING.and(OIL)),
    ("temp_charge", FILLING.and(OIL).and(RULES)),
    ("area_clamp", FILLING.and(OIL).and(ALL_RULES)),
    ("area_unclamp", FILLING.and(OIL).and(ALL_RULES)),
    ("volume_clamp", FILLING.and(OIL).and(ALL_RULES)),
    ("volume_unclamp", FILLING.and(OIL).and(ALL_RULES)),
    ("precharge", FILLING.and(OIL).and(RULES)),
    ("capacity", FILLING),
    ("bulk_modulus", FILLING),
    ("free_air", FILLING),
    ("flow", TIMES),
    ("flow_high", TIMES),
    ("kv", TIMES),
    ("return_pressure", TIMES.and(RULES)),
    ("viscosity_40", OIL.and(TIMES)),
    ("viscosity_100", OIL.and(TIMES)),
    ("density", OIL.and(TIMES)),
    ("temp_min", OIL.and(TIMES).and(RULES)),
    ("temp_max", OIL.and(RULES)),
    ("leak", OIL),
    ("closing_volume", OIL),
    ("grip_length", OIL),
    ("part_expansion", OIL),
    ("linear_expansion", OIL),
    ("bulk_modulus_high", OIL),
    ("free_air_low", OIL),
    ("thermal_expansion", OIL),
    ("leak_viscosity", OIL),
    ("specific_heat", OIL),
    ("relief_reseat", OIL.and(RULES)),
    ("force_ratio", RULES),
    ("support_capacity", RULES),
    ("capacity_from", RULES),
    ("friction", RULES),
];

impl Affected {
    pub(super) const ALL: Self =
        Self { chain: true, volumes: true, oil: true, times: true, rules: true, pressures: true };

    /// That of a datum by its column or key: of everything, where no more is known of it.
    pub(super) fn of(key: &str) -> Self {
        OF_KEYS.iter().find(|(name, _)| *name == key).map_or(Self::ALL, |(_, affected)| *affected)
    }

    pub(super) const fn and(self, other: Self) -> Self {
        Self {
            chain: self.chain || other.chain,
            volumes: self.volumes || other.volumes,
            oil: self.oil || other.oil,
            times: self.times || other.times,
            rules: self.rules || other.rules,
            pressures: self.pressures || other.pressures,
        }
    }

    /// As far as figures are asked for: how long a filling lasts hangs on the oil that is lost, too.
    pub(super) const fn within(self, asked: Asked) -> Self {
        Self { times: self.times && asked.times, oil: self.oil || (self.volumes && asked.topup), ..self }
    }

    /// Whether figures are moved, and not only what rules make of them.
    pub(super) const fn moves_figures(self) -> bool {
        self.chain || self.volumes || self.oil || self.times
    }

    /// Whether a rule may find something else.
    pub(super) fn concerns(self, rule: &Rule) -> bool {
        let is_of_sides = rule.figures == Asked::SIDES;
        if self.chain || self.pressures {
            return true;
        }
        if self.rules {
            return !is_of_sides || rule.family.letter != pressure::FAMILY.letter;
        }
        let of_times = self.times && rule.figures.times;
        let of_oil = self.oil && Asked { times: false, ..rule.figures } != Asked::SIDES;
        // A pump must have the oil that a side needs.
        let is_of_volumes = [volume::FAMILY.letter, makeup::FAMILY.letter].contains(&rule.family.letter);
        of_times || of_oil || (self.volumes && (is_of_volumes || rule.figures.topup))
    }
}
