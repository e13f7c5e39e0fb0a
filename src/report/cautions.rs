//! What every reader must know before relying on a result: cautions and limits of validity.

/// Cautions, the most important first.
pub static CAUTIONS: &[&str] = &[
    "Trapped oil is stored energy. Release the pressure and see the gauge read zero before any work on a circuit; lock out and tag the load station.",
    "A calculation is no substitute for a proof test: charge, measure and hold every new or changed circuit under supervision before it goes to the machine.",
    "The makers' instructions, local codes and the judgement of licensed practice come first wherever they ask for more than this report.",
    "A pallet whose gauge reads less than its lowest pressure must not travel: release it, find the leak, charge it again.",
    "A gauge shows the pressure of its own zone: pressure can remain behind a sequence, reducing or check valve where no gauge shows it. Release every zone.",
    "Accumulators hold gas under pressure even when the oil is released. Follow the rules for pressure equipment where they are fitted or removed.",
];

/// What a buyer must know.
pub static BUYING_CAUTIONS: &[&str] = &[
    "These parts hold trapped oil under pressure. Order no other part in the place of a listed one, not even one that looks the same, before the engineer has had it audited.",
    "A replacement that is named was calculated, not tried: every new or changed circuit is charged, measured and held under supervision before it goes to the machine.",
    "The makers' instructions and local codes come first. Accumulators may fall under rules for pressure equipment; ask for the papers with the part.",
];

/// Where the figures hold, and where they don't.
pub static LIMITS_OF_VALIDITY: &[&str] = &[
    "One temperature for the whole circuit: oil, metal and gas are taken to be equally warm.",
    "Leakage is computed for the viscosity at which the ratings are stated, at the lowest temperature of the circuit. Warm oil leaks faster than computed.",
    "The bulk modulus of the oil is a constant tangent modulus. The true one rises with pressure and falls with temperature; entrained air beyond the policy's free air lowers it.",
    "Gas is nitrogen and slow (isothermal); fast charging warms it and takes in less oil at first.",
    "The metal of the circuit expands with the policy's linear expansion. Parts of other metals are not told apart.",
    "Tube ratings by wall stress are static: pressure cycles, bends, corrosion and damage are not in them.",
    "Friction of seals shows only where the component table states a force ratio, a return loss or a return pressure.",
    "Return flow is taken as laminar; the report says where it is not.",
    "The result is as good as the lists and the component table. A line that could not be read is set aside; a circuit that is not assessed has not passed.",
    "What the lists and the component table leave out can't be audited: an unknown figure is an empty cell, and the rules that need it are listed as not assessed.",
];
