//! The formulas in words, for the reader of Basis.

/// A formula as a reader sees it.
pub struct FormulaInWords {
    pub name: &'static str,
    pub formula: &'static str,
    pub symbols: &'static str,
    pub source: &'static str,
}

macro_rules! formulas {
    ($(#[$doc:meta])* $all:ident: $($name:literal, $formula:literal, $symbols:literal, $source:literal;)+) => {
        $(#[$doc])*
        pub static $all: &[FormulaInWords] =
            &[$(FormulaInWords { name: $name, formula: $formula, symbols: $symbols, source: $source }),+];
    };
}

formulas! {
    /// How sure each verdict is.
    SURENESS_FORMULAS:
    "Uncertainty of a figure", "u² = Σ Z_i², Z_i² = (a² + b²)/6 − ((a + b)/6)², a = g(x_i + √3 u_i) − g, b = g(x_i − √3 u_i) − g",
        "g distance from a figure to its limit; x_i a datum with the standard uncertainty u_i, moved by itself; three points of Gauss's rule. Where g bends within the spread: the standard deviation of draws at random, where that is more.",
        "JCGM 100, 5.1; Abramowitz and Stegun, table 25.10; JCGM 101, 7";
    "Margin, probability of conformity", "m = g/u; p = Φ(m)",
        "Of the rule with the least margin; Φ the normal distribution. Of draws at random: the share that keeps the limit.",
        "JCGM 106, 7";
}

formulas! {
    /// Every formula, in the order of the calculation.
    FORMULAS:
    "Swept volume", "V_sw = Σ n max(A s, V s/s_full)",
        "n pieces; A piston area; s stroke used; V volume swept at full stroke s_full. Clamps and work supports.",
        "Geometry";
    "Line volume", "V_line = Σ n π/4 ID² L", "ID bore and L length of a tube or hose", "Geometry";
    "Dead volume", "V_dead = Σ n v", "v oil in a part at rest", "Component table";
    "Capacity", "C = Σ n c", "c oil that a charging cylinder displaces", "Component table";
    "Compression", "V_comp = V_0 (1 − exp(−p1/K)) with V_0 = V_line + V_dead + C; for coupler and live V_0 = V_line + V_dead + V_sw and V_comp = V_0 (exp(p1/K) − 1)",
        "p1 charge pressure; K bulk modulus, constant, tangent, isothermal",
        "Definition of the tangent modulus, integrated";
    "Free air", "V_air = x V_0 (1 − p_atm/(p1 + p_atm))", "x free air at rest; p_atm 101 325 Pa", "Boyle's law";
    "Dilation of tubes", "V = p1 n π/4 ID² L [3(1 − 2ν) ID² + 2(1 + ν) OD²]/[E (OD² − ID²)]",
        "OD outside diameter; E elastic modulus; ν Poisson ratio. Thick wall, closed ends. Without OD: 0.",
        "Lamé's thick-walled cylinder";
    "Dilation of hoses", "V = p1 n L e/p_rated", "e expansion per length at rated pressure p_rated, made linear",
        "Measure of ISO 6801";
    "Clamp elasticity", "V_el = p1 Σ n A²/k", "k stiffness of a clamp", "Hooke's law";
    "Accumulator", "V_g(p,T) = Σ n V_gas max(0, 1 − ρ0/ρ(p + p_atm, T)); V_acc = V_g(p1, T1)",
        "ρ density of nitrogen; ρ0 at precharge and 20 °C; slow (isothermal)",
        "Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361, or the ideal gas";
    "Demand, fill, reserve", "D = V_sw + V_comp + V_air + V_dil + V_el + V_acc; u = D/C; reserve = limit C − D",
        "limit: limits.fill", "Volume balance; limit by common practice";
    "Pressure chain", "p_full = p_pump r − loss; p1 = min(p_full, reducing valve); pump needed = (p_set + loss)/r; potential = pump rating × r − loss",
        "p_pump the lower of the pump's setting and rating; r pressure ratio; loss return loss of the charging cylinder",
        "Balance of forces on two pistons";
    "Tube rating by wall stress", "p = (R_m/S) (OD² − ID²)/(OD² + ID²)", "R_m tensile strength; S design factor",
        "Lamé, hoop stress at the bore";
    "Trapped oil at another temperature", "M(p,T) = V_box(p,T) exp(−α ΔT) exp((p − p1)/K) = M(p1,T1), with V_box = V_t (1 + 3 a ΔT) + C_el (p − p1) + V_g(p,T) − V_x(p,T)",
        "V_t = V_line + V_dead + V_sw; α expansion of the oil; a of the metal; C_el compliance of tubes, hoses and clamps; V_x free air. Solved by bracketing; 0 where the clamps are slack.",
        "Conservation of the trapped oil";
    "Leak", "t(p) = ∫ (∂M/∂p)/(G p) dp from p to p_cold, G = Σ n leak/p_rated",
        "Time from p_cold down to p; holding pressure at t = hold time; hold reserve at the lowest pressure. At the lowest temperature.",
        "Conservation of the trapped oil; laminar gap flow";
    "Clamp force", "F = f A max(0, p − p_return)", "f force ratio; p_return return pressure, single-acting clamps only",
        "force is pressure times area";
    "Work support", "F = F_rated p/p_rated", "F_rated support capacity at rated pressure", "Common practice, no source";
    "Clamp time", "t = r V_sw/Q + r (D − V_sw)/Q_high", "Q, Q_high delivery of the pump, low- and high-pressure stage",
        "Volume over flow";
    "Viscosity", "log10 log10(ν + 0.7) = A − B log10 T", "through the viscosities at 40 and 100 °C", "ASTM D341";
    "Unclamp time", "t = V_sw R/p_return, R = Σ n 128 μ L/(π ID⁴) in series plus the largest branch",
        "Lowest return pressure of the clamps that state one; laminar, noted where Re > 2300", "Hagen–Poiseuille";
}
