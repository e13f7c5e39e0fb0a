//! Formulas on typed quantities. This floor knows no table, rule or file.
//!
//! Arguments have full words as names; symbols stand in the formulas only:
//!
//! | symbol | meaning | unit | name |
//! | --- | --- | --- | --- |
//! | A | piston area | m² | `area` |
//! | C | capacity of the charging cylinders | m³ | `capacity` |
//! | C_el, e | volume that a part gives per pressure | m³/Pa | `elasticity`, `*_compliance` |
//! | D | demand | m³ | `demand` |
//! | E | elastic modulus | Pa | `elastic_modulus` |
//! | F | force | N | `force` |
//! | G | leak per pressure | m³/(s Pa) | `conductance` |
//! | ID, OD | diameters of a tube or hose | m | `inner_diameter`, `outer_diameter` |
//! | K | bulk modulus of oil, isothermal tangent | Pa | `bulk_modulus` |
//! | k | stiffness of a clamp | N/m | `stiffness` |
//! | L | length | m | `length` |
//! | M | trapped oil referred to its state at charge | m³ | `referred_oil` |
//! | n | pieces | 1 | `pieces` |
//! | P | absolute pressure | Pa | `absolute` |
//! | p | gauge pressure | Pa | `pressure` |
//! | p1, T1 | pressure and temperature at charge | Pa, K | `full_pressure`, `charge_temperature` |
//! | p_atm | atmosphere, 101 325 Pa | Pa | [`quantity::ATMOSPHERE`] |
//! | Q | flow | m³/s | `flow` |
//! | R | laminar resistance; gas constant of nitrogen | Pa s/m³; J/(kg K) | `resistance` |
//! | r, i | circuit pressure over pump pressure | 1 | `ratio` |
//! | Re | Reynolds number | 1 | `reynolds_number` |
//! | s | stroke | m | `stroke_used`, `full_stroke` |
//! | T | absolute temperature | K | `temperature` |
//! | t | time | s | `time` |
//! | u, D_g | demand over capacity; demand of all circuits that one stroke fills | 1; m³ | `fill` |
//! | V | volume | m³ | `volume` |
//! | V_box | what the circuit holds of oil | m³ | |
//! | V_g, V_x | oil in accumulators; free air | m³ | |
//! | a | linear expansion of the metal | 1/K | `metal_expansion` |
//! | α | volumetric expansion of the oil | 1/K | `thermal_expansion` |
//! | x | free air at rest, volume fraction | 1 | `free_air` |
//! | μ, ν | viscosity, kinematic viscosity; ν also Poisson's ratio | Pa s, m²/s; 1 | `viscosity`, `poisson` |
//! | ρ, ρ₀ | density of nitrogen, at its precharge | kg/m³ | `density` |
//! | y, T_U, T_L | a figure; its highest and lowest limit | | |
//! | u_c, Z_i | standard uncertainty of a figure; what one datum adds to it | | `uncertainty`, `contribution` |
//! | Φ | distribution of the standard normal deviate | 1 | |
//! | δ, τ | density and inverse temperature over the critical ones | 1 | |
//!
//! Each formula is data beside its function ([`formula::Formula`]), with validity and source; [`formulas`] lists them.
//! What was checked against what is in `tests/published`.

pub mod accumulator;
pub mod air;
pub mod chain;
pub mod compression;
pub mod dilation;
pub mod draws;
pub mod fall;
pub mod flow;
pub mod force;
pub mod formula;
pub mod formulas;
pub mod leak;
pub mod limit;
pub mod nitrogen;
pub mod propagation;
pub mod quantity;
mod recent;
pub mod topping_up;
pub mod trapped_circuit;
pub mod tube_rating;
pub mod unit;
pub mod validity;
pub mod volume;
pub mod zone;
