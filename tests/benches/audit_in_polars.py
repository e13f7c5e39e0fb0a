"""The audit of a bench plant in polars expressions: the same figures, findings and needs as the program's, on the streaming engine.

usage: audit_in_polars.py PLANT OUT          (pip install polars numpy)
Writes circuits.csv, findings.csv (without reasons and remedies) and purchase.csv. `same_audit.py` holds them against
the program's. It reads what `bench_plant` makes: one list, policy limits as they are by default, single-acting circuits
that a cylinder or a coupler charges, at 20 °C; what it can't judge ends it with a sentence. Units, where nothing else is
said: bar, cm³, mm, minutes, K.
"""
import math
import pathlib
import resource
import sys
import time

import numpy as np
import polars as pl

PLACE = ["plant", "pallet", "fixture", "circuit"]
ATMOSPHERE, T1 = 1.01325, 293.15
# The policy's defaults.
POLICY = 'date = "2026-03-02"\n[asked]\nuncoupled = []\n'
FILL, FILL_WATCH, FILL_LOW, PRESSURE_WATCH, RATIO = 0.90, 0.85, 0.25, 0.95, 0.5
GAUGE_LOW, GAUGE_HIGH, DESIGN_FACTOR = 0.25, 0.75, 4.0
SEQUENCE_LOW, SEQUENCE_HIGH, PRECHARGE_LOW, PRECHARGE_HIGH = 1.10, 0.90, 0.5, 0.9
TOLERANCE, CATALOGUE_TOLERANCE, RELIEF_MARGIN, RELIEF_RESEAT = 0.05, 0.02, 0.10, 0.90
METAL = 11.7e-6
BULK, BULK_HIGH, EXPANSION, FREE_AIR, HEAT, DENSITY = 15_000.0, 17_500.0, 7.0e-4, 0.005, 1900.0, 870.0
VISCOSITY_40, VISCOSITY_100, SEALS = 32.0, 5.36, ["NBR", "FKM", "PU"]

# Bits of a part: kinds that it is or has built in, then what a rule may find in it.
CHECK, ISOLATION, GAUGE, FILTER, RELIEF = (1 << n for n in range(5))
CYLINDER, ISOLATING, SEQUENCE, WALL, DIAL, LOWEST, FORCE, DOUBLE, SEAL, NO_RETURN, UNSTATED_LEAK, FAULTY = (1 << n for n in range(5, 17))
KINDS = {CHECK: ["check_valve"], ISOLATION: ["isolation_valve"], GAUGE: ["gauge", "test_point"], FILTER: ["filter"], RELIEF: ["relief_valve"]}

MINOR = {"L03", "L05", "L08", "M02", "M05", "P11", "P12", "P17", "H04", "T01", "T02", "B01"}
OBSERVATION = {"M08", "M10", "V02", "V03", "P14"}

c = pl.col


def above(x, limit):
    return x > limit * (1 + 1e-9)


def below(x, limit):
    return x < limit * (1 - 1e-9)


# ---- Nitrogen: Span, Lemmon, Jacobsen, Wagner, Yokozeki, J. Phys. Chem. Ref. Data 29 (2000) 1361, table of coefficients

GAS_CONSTANT, CRITICAL_T, CRITICAL_DENSITY = 8.31451 / 0.02801348, 126.192, 11183.9 * 0.02801348
# n, i, j, l of n δ^i τ^j exp(-δ^l), without the exponential where l = 0.
TERMS = np.array([
    (0.924803575275, 1, 0.25, 0), (-0.492448489428, 1, 0.875, 0), (0.661883336938, 2, 0.5, 0), (-1.92902649201, 2, 0.875, 0),
    (-0.0622469309629, 3, 0.375, 0), (0.349943957581, 3, 0.75, 0), (0.564857472498, 1, 0.5, 1), (-1.61720005987, 1, 0.75, 1),
    (-0.481395031883, 1, 2, 1), (0.421150636384, 3, 1.25, 1), (-0.0161962230825, 3, 3.5, 1), (0.172100994165, 4, 1, 1),
    (0.00735448924933, 6, 0.5, 1), (0.0168077305479, 6, 3, 1), (-0.00107626664179, 7, 0, 1), (-0.0137318088513, 7, 2.75, 1),
    (0.000635466899859, 8, 0.75, 1), (0.00304432279419, 8, 2.5, 1), (-0.0435762336045, 1, 4, 2), (-0.0723174889316, 2, 6, 2),
    (0.0389644315272, 3, 6, 2), (-0.021220136391, 4, 3, 2), (0.00408822981509, 5, 3, 2), (-5.51990017984e-5, 8, 6, 2),
    (-0.0462016716479, 4, 16, 3), (-0.00300311716011, 5, 11, 3), (0.0368825891208, 5, 15, 3), (-0.0025585684622, 8, 12, 3),
    (0.00896915264558, 3, 12, 4), (-0.0044151337035, 5, 7, 4), (0.00133722924858, 6, 4, 4), (0.000264832491957, 9, 16, 4)]).T[..., None]
# n, i, j, η, β, γ of n δ^i τ^j exp(-η(δ-1)² - β(τ-γ)²).
BELLS = np.array([(19.6688194015, 1, 0, 20, 325, 1.16), (-20.911560073, 1, 1, 20, 325, 1.16),
                  (0.0167788306989, 3, 2, 15, 300, 1.13), (2627.67566274, 2, 3, 25, 275, 1.25)]).T[..., None]
GAS_DEGREE = 14


def gas_pressure(density, t):
    """Absolute pressure of nitrogen, bar."""
    d, tau = density / CRITICAL_DENSITY, CRITICAL_T / t
    n, i, j, l = TERMS
    power = n * d**i * tau**j * np.where(l > 0, np.exp(-(d**l)), 1) * (i - np.where(l > 0, l * d**l, 0))
    n, i, j, eta, beta, gamma = BELLS
    bell = n * d**i * tau**j * np.exp(-eta * (d - 1) ** 2 - beta * (tau - gamma) ** 2) * (i - 2 * eta * d * (d - 1))
    return density * GAS_CONSTANT * t * (1 + power.sum(0) + bell.sum(0)) / 1e5


def gas_density(pressure, t):
    """Density of nitrogen, kg/m³, by secants."""
    pressure = np.asarray(pressure, dtype=float)
    before = pressure * 1e5 / (GAS_CONSTANT * t)
    density = before * 0.95
    miss = gas_pressure(before, t) - pressure
    for _ in range(12):
        now = gas_pressure(density, t) - pressure
        step = np.where(now == miss, 0.0, now * (density - before) / np.where(now == miss, 1.0, now - miss))
        before, miss, density = density, now, density - step
    return density


def isotherm(t, low, high):
    """P/ρ of nitrogen at one temperature, and its slope, as polynomials of the absolute pressure between two, mapped to -1 ... 1."""
    fit = np.polynomial.chebyshev.Chebyshev.interpolate(
        lambda x: (p := low + (x + 1) / 2 * (high - low)) / gas_density(p, t), GAS_DEGREE).convert(kind=np.polynomial.Polynomial)
    return fit.coef.tolist(), (fit.deriv().coef * 2 / (high - low)).tolist()


def horner(coefficients, x):
    total = pl.lit(coefficients[-1])
    for coefficient in coefficients[-2::-1]:
        total = total * x + coefficient
    return total


# ---- Tables

TEXTS = {*PLACE, "part_no", "kind", "description", "seal", "includes", "status", "currency", "supplier", "acting", "charging", "station",
         "pump", "drive_ram"}


def table(path):
    """A small table: texts as they are, all else numbers."""
    names = pl.read_csv(path, n_rows=0).columns
    return pl.read_csv(path, schema={name: pl.String if name in TEXTS else pl.Float64 for name in names})


def of(*kinds):
    return c.kind.is_in(kinds)


def where(condition, value):
    return pl.when(condition).then(value)


def has(bit):
    return c.bits & bit != 0


def parts_of(folder):
    """The component table, with what a piece of each part adds to a circuit."""
    conductor, rated, inner, outer = of("tube", "hose"), c.rated_pressure, c.inner_diameter, c.outer_diameter
    words = c.includes.fill_null("").str.split(" ")
    seals = c.seal.str.split(" ").list.eval(~pl.element().is_in(SEALS)).list.any()
    repeated = pl.struct(pl.all()).n_unique().over("part_no") > 1
    wall = where(of("tube"), c.tensile_strength / DESIGN_FACTOR * (outer**2 - inner**2) / (outer**2 + inner**2))
    parts = table(folder / "components.csv").with_columns(repeated=repeated).unique("part_no", keep="first", maintain_order=True)
    marks = [
        *((bit, pl.any_horizontal(of(*kinds), *(words.list.contains(kind) for kind in kinds))) for bit, kinds in KINDS.items()),
        (CYLINDER, of("charging_cylinder")), (ISOLATING, of("isolation_valve")), (SEQUENCE, of("sequence_valve")), (WALL, wall.is_not_null()),
        (DIAL, of("gauge")), (LOWEST, c.min_pressure.is_not_null()), (FORCE, c.force_max.is_not_null()),
        (DOUBLE, of("clamp") & c.area_unclamp.is_not_null()), (SEAL, seals),
        (NO_RETURN, of("sequence_valve", "reducing_valve") & ~words.list.contains("check_valve")),
        (UNSTATED_LEAK, of("clamp", "work_support", "check_valve", "isolation_valve", "relief_valve", "coupling") & c.leak.is_null()),
    ]
    bits = pl.sum_horizontal(where(is_it, pl.lit(bit)).otherwise(0) for bit, is_it in marks)
    parts = parts.with_columns(lacking=lacking(), bits=bits.cast(pl.Int32)).with_columns(
        bits=c.bits | where(c.lacking | c.repeated, pl.lit(FAULTY)).otherwise(0))
    in_charge = of("charging_cylinder", "filter") | of("coupling") & ~has(CHECK)
    rating = where(~of("pump", "drive_ram"), pl.min_horizontal(pl.coalesce(rated, where(of("gauge"), c.full_scale)), wall))
    area = math.pi / 4 * inner**2 / 1000
    stretch = area * (3 * 0.4 * inner**2 + 2 * 1.3 * outer**2) / (2.05e6 * (outer**2 - inner**2))
    return parts.with_columns(
        in_charge=in_charge, rating=rating, wall=wall,
        swept=where(of("clamp", "work_support"), c.area_clamp * c.stroke / 1000),
        bore=where(conductor, area),
        stretch=where(of("hose"), c.expansion / rated / 1000).when(of("tube")).then(stretch),
        resistance=where(conductor, 128 / (math.pi * inner**4)),
        dead_trapped=where(~in_charge, c.dead_volume),
        leak_per_bar=where(~in_charge, c.leak / rated),
        cylinder=where(has(CYLINDER), pl.lit(1.0)),
        cylinder_capacity=where(has(CYLINDER), c.capacity),
        reach=where(has(CYLINDER), c.stroke),
        ratio=where(has(CYLINDER), pl.coalesce(c.pressure_ratio, RATIO)),
        loss=where(has(CYLINDER), c.return_loss.fill_null(0.0)),
        rating_full=where(~in_charge, rating), rating_charge=where(in_charge, rating),
        early=where(of("work_support"), c.min_pressure),
        sequence=where(has(SEQUENCE), c.set_pressure), relief=where(of("relief_valve"), c.set_pressure),
        scale=where(has(DIAL), c.full_scale),
        bearable=where(of("clamp"), c.force_max / c.area_clamp * 10 + spring()),
        spring=where(of("clamp") & (c.return_pressure > 0), c.return_pressure),
        # Ratings in order, to find the first of the weakest lines.
        rank=rating.rank("dense").fill_null(2**20).cast(pl.Int64),
    )


def spring():
    """What a return spring takes of the pressure on a clamp."""
    return where(c.area_unclamp.is_null(), c.return_pressure.fill_null(0.0)).otherwise(0.0)


def lacking():
    """L09: a figure that the kind needs."""
    def lacks(*names):
        return pl.any_horizontal(c(name).is_null() for name in names)
    moves = lacks("rated_pressure", "area_clamp", "stroke")
    tube = lacks("inner_diameter") | lacks("rated_pressure") & lacks("outer_diameter", "tensile_strength")
    return (
        where(of("clamp", "work_support"), moves).when(of("tube")).then(tube).when(of("hose")).then(lacks("rated_pressure", "inner_diameter"))
        .when(of("gauge")).then(c.rated_pressure.is_null() & c.full_scale.is_null())
        .when(of("charging_cylinder")).then(lacks("rated_pressure", "capacity"))
        .when(of("accumulator")).then(lacks("rated_pressure", "gas_volume", "precharge"))
        .when(of("relief_valve", "reducing_valve", "sequence_valve")).then(lacks("rated_pressure", "set_pressure"))
        .when(of("other")).then(False).otherwise(c.rated_pressure.is_null()))


def lines_of(folder, parts):
    """The list joined with the table, cells read as numbers; what sets a line aside is told apart."""
    lists = list((folder / "lists").iterdir())
    if len(lists) > 1:
        sys.exit(f"{folder}: {len(lists)} lists. Expected one, since lines of several are not held against each other (L12).")
    texts = dict.fromkeys([*PLACE, "position", "part_no", "qty", "length"], pl.String)
    qty, length = (c(name).cast(pl.Float64, strict=False) for name in ("qty", "length"))
    lines = pl.scan_csv(lists[0], schema=texts, row_index_name="row").with_columns(
        qty=qty, length=length, counted=((qty > 0) & (qty % 1 == 0)).fill_null(False),
        unreadable=c.length.is_not_null() & ~(length >= 0).fill_null(False))
    return lines.join(parts.lazy(), on="part_no", how="left").with_columns(
        unknown=c.bits.is_null(), shapeless=c.bore.is_not_null() & ~c.unreadable & ~(c.length > 0).fill_null(False))


ASIDE = c.unknown | ~c.counted | c.unreadable | c.shapeless


def sums_by_circuit(lines):
    """All that figures and rules need of a circuit's lines."""
    def total(name):
        return (c.qty * c(name)).sum()

    def along(name):
        return (c.qty * c.length * c(name)).sum()
    return lines.group_by(PLACE).agg(
        pl.len().alias("lines"), c.unknown.any(), ASIDE.any().alias("aside"), c.bits.bitwise_or(),
        (c.position.n_unique() < c.position.len()).alias("repeats"),
        total("swept").alias("swept"), along("bore").alias("line"), total("dead_volume").alias("dead"),
        total("dead_trapped").alias("dead_trapped"), along("stretch").alias("stretch"), along("resistance").alias("resistance"),
        total("leak_per_bar").alias("leak"), total("gas_volume").alias("gas"), c.precharge.min(), c.precharge.max().alias("precharge_most"),
        total("cylinder").alias("cylinders"), total("cylinder_capacity").alias("nominal"), c.reach.max(),
        c.ratio.min(), c.ratio.max().alias("ratio_most"), c.loss.min(), c.loss.max().alias("loss_most"),
        c.rating_full.min(), c.rating_charge.min(), c.wall.min(), c.part_no.min_by(c.rank * 2**40 + c.row).alias("weakest_part"),
        c.min_pressure.max(), c.early.max(), c.sequence.min(), c.sequence.max().alias("sequence_most"),
        c.relief.min(), c.relief.max().alias("relief_most"), c.scale.min(), c.scale.max().alias("scale_most"),
        c.bearable.min(), c.spring.min(),
    )


def needs_by_part(lines):
    """Pieces, or metres of tube and hose, and the circuits that use them."""
    # A circuit by the sum of its names' hashes: numbers are told apart sooner than four texts.
    place = sum((c(name).hash(seed) for seed, name in enumerate(PLACE)), pl.lit(0, pl.UInt64))
    asked = where(c.bore.is_not_null(), c.qty * c.length / 1000).otherwise(c.qty)
    unclear = ~c.counted | c.bore.is_not_null() & (c.unreadable | c.shapeless)
    return lines.filter(~c.unknown).group_by("part_no").agg(needed=asked.sum(), unclear=unclear.any(), circuits=place.n_unique())


# ---- Figures of circuits

def circuits_of(folder, sums, parts):
    """Sums, the circuit's row and its station side by side."""
    rows = table(folder / "circuits.csv").with_columns(row=True)
    pump = parts.select(pump="part_no", pump_rated="rated_pressure", pump_capacity="capacity", flow="flow")
    ram = parts.select(drive_ram="part_no", ram_rated="rated_pressure", ram_stroke="stroke")
    stations = table(folder / "stations.csv").join(pump, on="pump", how="left").join(ram, on="drive_ram", how="left").with_columns(
        strained=above(c.pump_setting, c.ram_rated), overdriven=above(c.pump_setting, c.pump_rated))
    return stations, sums.lazy().join(rows.lazy(), on=PLACE, how="full", coalesce=True).join(stations.lazy(), on="station", how="left")


def unsupported(circuits):
    """What this script does not judge."""
    return circuits.select(
        pl.any_horizontal(
            c.acting == "double", c.acting.is_null() & has(DOUBLE), c.station.is_not_null() & c.pump_setting.is_null(),
            ~c.charging.fill_null("cylinder").is_in(["cylinder", "coupler"]), c.precharge != c.precharge_most, c.ratio != c.ratio_most,
            c.loss != c.loss_most, (c.cylinders > 1) & (c.reach > c.ram_stroke),
        ).sum()).item()


def charged(circuits):
    """From rest to charge pressure."""
    by_cylinder = c.charging.fill_null("cylinder") == "cylinder"
    circuits = circuits.with_columns(
        by_cylinder=by_cylinder, listed=c.lines.is_not_null(), known=~c.aside,
        ratio=where(by_cylinder, c.ratio).otherwise(1.0), loss=where(by_cylinder, c.loss).otherwise(0.0),
        leak=where(~c.aside, c.leak),
    ).with_columns(
        p=where(c.station.is_null(), c.pressure_set).otherwise(pl.min_horizontal("pump_setting", "pump_rated") * c.ratio - c.loss),
        potential=c.pump_rated * c.ratio - c.loss, needed=(c.pressure_set + c.loss) / c.ratio,
        capacity=where(by_cylinder & c.known, c.nominal * pl.min_horizontal(1.0, c.ram_stroke / c.reach).fill_null(1.0)),
        weakest=where(~c.unknown, pl.min_horizontal("rating_full", "rating_charge")),
        weakest_part=where(~c.unknown, c.weakest_part),
        rating_full=where(~c.unknown, c.rating_full), rating_charge=where(~c.unknown, c.rating_charge),
        swept=where(c.known, c.swept), line=where(c.known, c.line), dead=where(c.known, c.dead),
        trapped=where(c.known, c.line + c.dead_trapped + c.swept),
    ).with_columns(p=where(c.p >= 0, c.p), potential=where((c.p >= 0) | c.p.is_null(), c.potential))
    standing = c.line + c.dead + where(by_cylinder, c.capacity).otherwise(c.swept)
    squeezed = where(by_cylinder, 1 - (-c.p / BULK).exp()).otherwise((c.p / BULK).exp() - 1)
    return circuits.with_columns(
        compression=standing * squeezed, air=FREE_AIR * standing * (1 - ATMOSPHERE / (c.p + ATMOSPHERE)),
        dilation=where(c.known, c.p * c.stretch), elastic=where(c.known, 0 * c.p))


def viscosity(t):
    """ASTM D341 through both points, mm²/s."""
    def scale(v):
        return math.log10(math.log10(v + 0.7))
    slope = (scale(VISCOSITY_40) - scale(VISCOSITY_100)) / (math.log10(373.15) - math.log10(313.15))
    return 10 ** (10 ** (scale(VISCOSITY_40) + slope * (math.log10(313.15) - t.log10()))) - 0.7


def demand_and_times(circuits):
    demand = c.swept + c.compression + c.air + c.dilation + c.elastic + c.accumulator
    dynamic = viscosity(c.cold) * 1e-6 * DENSITY
    circuits = circuits.with_columns(demand=demand)
    return circuits.with_columns(
        fill=where(c.by_cylinder & (c.capacity > 0), c.demand / c.capacity), reserve=where(c.by_cylinder, FILL * c.capacity - c.demand),
        clamp_time=c.ratio * c.demand / (c.flow * 1000) * 60,
        # mm and cm³ into m and m³, bar into Pa.
        unclamp_time=where(c.resistance > 0, c.swept * 1e-6 * dynamic * c.resistance * 1e9 / (c.spring * 1e5)))


# ---- Trapped oil

NODES, WEIGHTS = (column.tolist() for column in np.polynomial.legendre.leggauss(6))
GONE = 1e-5  # 1 Pa counts as 0.


class Oil:
    """The oil that a circuit holds, referred to the state at charge, over pressure, at the temperature in a column.

    `isotherms` are those of nitrogen by temperature, and the absolute pressures between which they hold; without them
    there is no accumulator.
    """

    def __init__(self, temperature, isotherms=None, low=0.0, high=1.0):
        self.t, self.isotherms, self.low, self.high = temperature, isotherms or {}, low, high

    def at(self, circuits, *names, dry=False):
        """Adds to columns of pressure the oil at it (`_oil`) and its slope (`_slope`); `dry` where no accumulator takes part."""
        wet = bool(self.isotherms) and not dry
        if wet:
            scale = 2 / (self.high - self.low)
            circuits = circuits.with_columns(((c(p) + ATMOSPHERE - self.low) * scale - 1).alias(f"{p}_x") for p in names)
            circuits = circuits.with_columns(
                self.isotherm(f"{p}_x", n).alias(f"{p}_{word}") for p in names for n, word in enumerate(("gas", "gas_slope")))
        added = []
        for p in names:
            taken = taken_slope = pl.lit(0.0)
            if wet:
                absolute, volume = c(p) + ATMOSPHERE, c.gas * c.filled
                taken = c.gas - volume * c(f"{p}_gas") / absolute
                taken_slope = where(taken > 0, volume * (c(f"{p}_gas") / absolute - c(f"{p}_gas_slope")) / absolute).otherwise(0.0)
                taken = taken.clip(0.0)
            shrunk = (-EXPANSION * (self.t - T1)).exp() * ((c(p) - c.p) / BULK_HIGH).exp()
            box = c.trapped * (1 + 3 * METAL * (self.t - T1)) + c.stretch * (c(p) - c.p) + taken
            added += [(box * shrunk).alias(f"{p}_oil"), ((c.stretch + taken_slope + box / BULK_HIGH) * shrunk).alias(f"{p}_slope")]
        return circuits.with_columns(added)

    def isotherm(self, x, n):
        value = None
        for t, polynomials in self.isotherms.items():
            here = horner(polynomials[n], c(x))
            value = here if value is None else where(self.t == t, here).otherwise(value)
        return value

    def state(self, circuits, name, oil, start):
        """Adds the pressure at which there is that much oil, by Newton's steps; 0 where the clamps are slack."""
        circuits = circuits.with_columns(oil.alias("wanted"), start.alias(name))
        for _ in range(6 if self.isotherms else 4):
            circuits = self.at(circuits, name)
            circuits = circuits.with_columns((c(name) - (c(f"{name}_oil") - c.wanted) / c(f"{name}_slope")).clip(0.0).alias(name))
        return circuits

    def fall(self, circuits, name, start, end, dry=False):
        """Adds the minutes from one pressure down to another, by Gauss's rule over the logarithm of pressure."""
        middle, half = (start.log() + end.log()) / 2, (start.log() - end.log()) / 2
        nodes = [f"node{n}" for n in range(len(NODES))]
        circuits = self.at(circuits.with_columns((middle + half * x).exp().alias(node) for node, x in zip(nodes, NODES)), *nodes, dry=dry)
        slopes = pl.sum_horizontal(w * c(f"{node}_slope") for node, w in zip(nodes, WEIGHTS))
        return circuits.with_columns((half / self.leak_rate() * slopes).alias(name))

    def leak_rate(self):
        """cm³/min and bar."""
        return c.leak * viscosity(pl.lit(293.15)) / viscosity(self.t)

    def after(self, circuits, name, start, empty):
        """Adds the pressure that hold_time leaves; `empty` is that at which the accumulators have nothing left."""
        circuits = circuits.with_columns(bend=pl.max_horizontal(pl.min_horizontal(empty, start), GONE))
        circuits = self.fall(self.fall(circuits, "until_bend", start, c.bend), "until_gone", c.bend, pl.lit(GONE), dry=True)
        circuits = circuits.with_columns(start.alias(name), gone=c.hold_time >= c.until_bend + c.until_gone, minutes=0.0)
        for step in range(4):
            circuits = self.at(self.fall(circuits, "minutes", start, c(name)) if step else circuits, name)
            circuits = circuits.with_columns((c(name) * ((c.minutes - c.hold_time) * self.leak_rate() / c(f"{name}_slope")).exp()).alias(name))
        return circuits.with_columns(
            where(c.gone, 0.0).otherwise(c(name)).alias(name), unsolved=c.unsolved | ~c.gone & ((c(name) < empty) | c(name).is_nan()))


def settled(circuits, oil):
    """Once the oil has the fixture's temperature: the oil, and its pressure."""
    warmth = EXPANSION * T1 * c.p * 1e5 / (DENSITY * HEAT)
    circuits = circuits.with_columns(oil=(c.trapped + c.accumulator) * (-EXPANSION * warmth).exp())
    return oil.state(circuits, "settled", c.oil, c.p)


def reserve(*times):
    """Minutes until pressure_min is what is left."""
    return where(below(c.state, c.pressure_min), 0.0).when(c.leak > 0).then(pl.min_horizontal(*times))


def held_warm(circuits):
    """Circuits that stay at the temperature of charging and hold no gas; their hold is not timed."""
    oil, reseated = Oil(pl.lit(T1)), RELIEF_RESEAT * c.relief
    circuits = settled(circuits.with_columns(accumulator=where(c.known, 0.0), cold=pl.lit(T1)), oil)
    opened = above(c.p, c.relief).fill_null(False)
    circuits = circuits.with_columns(state=where(opened, pl.min_horizontal(c.settled, reseated)).otherwise(c.settled))
    return oil.fall(circuits, "minutes", c.state, c.pressure_min).with_columns(hold_reserve=reserve(c.minutes))


def held(circuits):
    """Circuits with accumulators, heat, cold or a time to hold."""
    circuits = circuits.with_columns(
        cold=pl.min_horizontal(c.temp_min + 273.15, T1), hot=pl.max_horizontal(c.temp_max + 273.15, T1), unsolved=False,
        reseated=RELIEF_RESEAT * c.relief, accumulator=where(c.known, 0.0))
    reach = (0.9 * (circuits["precharge"].min() or 0.0) + ATMOSPHERE, 1.3 * circuits["p"].max() + ATMOSPHERE)
    isotherms = {t: isotherm(t, *reach) for t in {T1, *circuits["cold"].unique(), *circuits["hot"].unique()}}
    filled = {p: float(gas_density(p + ATMOSPHERE, T1)[0]) for p in circuits["precharge"].drop_nulls().unique()}
    empty = pl.DataFrame(
        [(p, t, density, float(gas_pressure(density, t)[0]) - ATMOSPHERE) for p, density in filled.items() for t in isotherms],
        schema=["precharge", "t", "filled", "empty"], orient="row")
    warm = Oil(pl.lit(T1), {T1: isotherms[T1]}, *reach)
    cold, hot = (Oil(c(name), {t: isotherms[t] for t in circuits[name].unique()}, *reach) for name in ("cold", "hot"))
    circuits = (
        circuits.join(empty.select("precharge", "filled", cold="t", empty_cold="empty"), on=["precharge", "cold"], how="left")
        .join(empty.select("precharge", hot="t", empty_hot="empty"), on=["precharge", "hot"], how="left")
        .with_columns(filled=c.filled.fill_null(0.0), empty_cold=c.empty_cold.fill_null(GONE), empty_hot=c.empty_hot.fill_null(GONE)))
    # At charge pressure and temperature all oil is as it was charged: what is beyond the trapped volume is in the accumulators.
    circuits = settled(warm.at(circuits, "p").with_columns(accumulator=c.p_oil - c.trapped), warm)
    circuits = hot.state(circuits, "unrelieved", c.trapped + c.accumulator, c.p)
    opened = above(c.unrelieved, c.relief).fill_null(False)
    circuits = hot.at(circuits, "reseated").with_columns(
        oil=where(opened, pl.min_horizontal("oil", "reseated_oil")).otherwise(c.oil), hottest=pl.min_horizontal("unrelieved", "relief"))
    circuits = cold.state(circuits, "state", c.oil, c.settled)
    circuits = hot.state(circuits, "state_hot", c.oil, c.settled)
    circuits = hot.state(cold.at(circuits, "pressure_min"), "end_hot", c.pressure_min_oil, c.pressure_min)
    circuits = cold.fall(circuits, "reserve_cold", c.state, c.pressure_min)
    circuits = hot.fall(circuits, "reserve_hot", c.state_hot, c.end_hot)
    circuits = cold.after(circuits, "held_cold", c.state, c.empty_cold)
    circuits = hot.after(circuits, "held_hot", c.state_hot, c.empty_hot)
    circuits = cold.state(hot.at(circuits, "held_hot"), "held_hot_cold", c.held_hot_oil, c.state)
    return circuits.with_columns(
        hold_reserve=reserve(c.reserve_cold, c.reserve_hot),
        p_hold=where(c.leak == 0, c.state).otherwise(pl.min_horizontal("held_cold", where(c.held_hot > 0, c.held_hot_cold).otherwise(0.0))),
        p_cold=where(c.temp_min.is_not_null(), c.state), p_hot=where(c.temp_max.is_not_null(), c.hottest))


HELD = ["p_cold", "p_hot", "p_hold", "unsolved"]


def figures(circuits):
    """All figures of all circuits."""
    circuits = charged(circuits).collect(engine="streaming")
    if count := unsupported(circuits):
        sys.exit(f"{count} circuits are charged, listed or set in a way that this script does not judge.")
    moves = (c.gas > 0).fill_null(False) | pl.any_horizontal(c(name).is_not_null() for name in ("temp_min", "temp_max", "hold_time"))
    rest = circuits.filter(moves)
    # The columns of `held` stay unknown where no circuit has any.
    rest = held(rest) if rest.height else rest.with_columns(pl.lit(None, pl.Float64).alias(name) for name in HELD)
    if rest["unsolved"].cast(pl.Boolean).any():
        sys.exit(f"{rest['unsolved'].sum()} circuits fall below their accumulator's precharge and aren't empty: they are not solved here.")
    circuits = held_warm(circuits.filter(~moves).lazy()).collect(engine="streaming")
    return demand_and_times(pl.concat([circuits, rest], how="diagonal_relaxed"))


# ---- Rules

def circuit_rules():
    """(rule, condition, measured, limit, unit) of circuits and sides. A condition that needs something unknown is null, and no finding."""
    def over(rule, figure, limit, unit="bar", unless=None):
        condition = above(figure, limit)
        return rule, condition if unless is None else condition & ~unless, figure, limit, unit

    def under(rule, figure, limit, unit="bar"):
        return rule, below(figure, limit), figure, limit, unit

    def without(rule, bit, also=True):
        return rule, ~has(bit) & ~c.unknown & also, None, None, ""
    fill, asked = c.fill, c.pressure_set.is_not_null() & c.station.is_not_null()
    watched = [where(~above(c.p, rating) & above(c.p, PRESSURE_WATCH * rating), rating) for rating in (c.rating_full, c.rating_charge)]
    held = where(~below(c.state, c.pressure_min), c.p_hold)
    return [
        ("L08", c.row.is_null() | ~c.listed.fill_null(False), None, None, ""),
        without("M01", CYLINDER, c.by_cylinder), over("M02", where(has(CYLINDER), c.cylinders), pl.lit(1.0), ""),
        without("M03", CHECK), without("M04", ISOLATION), without("M05", GAUGE), without("M10", FILTER, ~c.by_cylinder),
        under("M09", c.pump_capacity, c.ratio * c.demand, "cm3"),
        over("V01", fill, pl.lit(FILL), ""), over("V02", fill, pl.lit(FILL_WATCH), "", unless=above(fill, FILL)),
        under("P03", where(asked, c.p), (1 - TOLERANCE) * c.pressure_set), over("P11", where(asked, c.p), (1 + TOLERANCE) * c.pressure_set),
        over("P13", where(c.station.is_not_null() & ~has(RELIEF), c.potential), c.weakest),
        over("P14", c.p, PRESSURE_WATCH * pl.min_horizontal(*watched)),
        over("H01", c.p_hot, c.rating_full), under("H02", c.state, c.pressure_min), under("H03", held, c.pressure_min),
        over("T01", c.clamp_time, c.clamp_time_max, "s"), over("T02", c.unclamp_time, c.unclamp_time_max, "s"),
    ]


SIDES = {"M01", "M02", "M04", "M09", "V01", "V02", "V03", "P03", "P11", "P13", "P14"}


def line_rules():
    """The same of lines, joined with their circuit's figures; what is set aside is judged by its ratings alone."""
    known, p, setting, rated = ~ASIDE, c.p, c.set_pressure, pl.coalesce(c.rated_pressure, where(has(DIAL), c.full_scale))
    exponent, date = r"[+-]?\d+([.,]\d+)?[eE][+-]?\d+", r"\d{4}-\d\d-\d\d|\d{1,2}[./]\d{1,2}[./]\d{2,4}"
    altered = c.part_no.str.contains(f"^({exponent}|{date})$") | c.lost_zeros
    weak, ring = below(rated, p), has(RELIEF) & of("relief_valve")
    others = ~has(CYLINDER) & ~has(ISOLATING) & ~of("pump", "drive_ram")
    late, early = above(setting, SEQUENCE_HIGH * p), below(setting, SEQUENCE_LOW * c.early_circuit)
    least = SEQUENCE_LOW * c.early_circuit
    high = above(setting, c.rating_full_circuit)
    off = below(p, GAUGE_LOW * c.full_scale)
    bare = c.force_max.is_not_null() & known
    force = c.area_clamp * (pl.max_horizontal("p", "p_hot") - spring()).clip(0.0) / 10
    low = below(c.precharge, PRECHARGE_LOW * c.pressure_min)
    plain = None, None, ""
    return [
        ("L01", c.unknown & ~altered, *plain), ("L05", c.unknown & altered, *plain), ("L02", ~c.counted, c.qty, None, ""),
        ("L03", c.position.is_not_null() & ~c.first, *plain), ("L04", c.unreadable, *plain), ("L06", c.shapeless, *plain),
        ("M06", known & has(DOUBLE), *plain), ("M07", known & has(SEAL), *plain), ("M11", known & has(NO_RETURN), *plain),
        ("M08", known & c.by_cylinder & above(c.reach, c.ram_stroke), c.reach, c.ram_stroke, "mm"),
        ("P01", has(CYLINDER) & weak, p, rated, "bar"), ("P05", others & weak, p, rated, "bar"),
        ("P06", has(ISOLATING) & weak, p, rated, "bar"),
        ("P07", known & below(p, c.min_pressure), p, c.min_pressure, "bar"), ("P08", below(c.wall, p), p, c.wall, "bar"),
        ("P09", known & has(SEQUENCE) & (late | early), setting, where(late, SEQUENCE_HIGH * p).otherwise(least), "bar"),
        ("P10", known & ring & (high | ~above(setting, p)), setting, where(high, c.rating_full_circuit).otherwise(p), "bar"),
        ("P12", known & has(DIAL) & (off | above(p, GAUGE_HIGH * c.full_scale)), p,
         where(off, GAUGE_LOW).otherwise(GAUGE_HIGH) * c.full_scale, "bar"),
        ("P17", known & ring & above(setting, p) & below(setting, (1 + RELIEF_MARGIN) * p), setting, (1 + RELIEF_MARGIN) * p, "bar"),
        ("F02", bare & above(force, c.force_max), force, c.force_max, "N"),
        ("H04", known & of("accumulator") & (low | above(c.precharge, PRECHARGE_HIGH * c.pressure_min)), c.precharge,
         where(low, PRECHARGE_LOW).otherwise(PRECHARGE_HIGH) * c.pressure_min, "bar"),
    ]


def suspects():
    """Circuits of which a line may break a rule; their lines are looked at one by one."""
    p = c.p
    return pl.any_horizontal(
        c.aside, c.repeats, has(DOUBLE | SEAL | NO_RETURN), above(c.reach, c.ram_stroke), below(c.rating_full, p), below(c.rating_charge, p),
        below(p, c.min_pressure), above(c.sequence_most, SEQUENCE_HIGH * p), below(c.sequence, SEQUENCE_LOW * c.early),
        above(c.relief_most, c.rating_full), below(c.relief, (1 + RELIEF_MARGIN) * p), ~above(c.relief, p),
        below(p, GAUGE_LOW * c.scale_most), above(p, GAUGE_HIGH * c.scale), pl.max_horizontal("p", "p_hot") > c.bearable * (1 - 1e-9),
        below(c.precharge, PRECHARGE_LOW * c.pressure_min), above(c.precharge_most, PRECHARGE_HIGH * c.pressure_min),
    )


FINDING = ["rule", "severity", *PLACE, "side", "position", "part_no", "measured", "limit", "unit"]


def found(frame, rule, condition, measured, limit, unit, **places):
    """Findings of one rule."""
    severity = "minor" if rule in MINOR else "observation" if rule in OBSERVATION else "major"
    number = {"measured": measured, "limit": limit}
    return frame.lazy().filter(condition).select(
        pl.lit(rule).alias("rule"), pl.lit(severity).alias("severity"),
        *(places.get(name, pl.lit(None, pl.String)).alias(name) for name in [*PLACE, "side", "position", "part_no"]),
        *((pl.lit(None) if value is None else value).cast(pl.Float64).alias(name) for name, value in number.items()), pl.lit(unit).alias("unit"))


def findings_of(circuits, lines, parts, stations):
    """Findings on circuits, parts and stations, and on lines of those circuits alone in which a line may break a rule."""
    here, side = {name: c(name) for name in PLACE}, {"side": pl.lit("clamp")}
    sources = pl.concat([stations["pump"], stations["drive_ram"]]).implode()
    used, station = parts.filter(c.used | c.part_no.is_in(sources)), {"position": c.station}
    rows = [found(circuits, *rule, **here, **(side if rule[0] in SIDES else {})) for rule in circuit_rules()]
    rows += [
        found(used, "L09", c.lacking, None, None, "", part_no=c.part_no),
        found(parts, "L11", c.repeated, None, None, "", part_no=c.part_no),
        found(used, "B01", c.status == "obsolete", None, None, "", part_no=c.part_no),
        found(stations, "P02", c.strained, c.pump_setting, c.ram_rated, "bar", **station),
        found(stations, "P04", c.overdriven, c.pump_setting, c.pump_rated, "bar", **station),
        smaller_cylinders(circuits, parts),
    ]
    few = circuits.filter(suspects()).select(
        *PLACE, "p", "p_hot", "pressure_min", "by_cylinder", "ram_stroke", rating_full_circuit="rating_full", early_circuit=c.early.fill_null(0.0))
    if few.height:
        names = parts["part_no"]
        shortened = names.str.strip_chars_start("0").filter(names.str.starts_with("0"))
        looked_at = lines.join(few.lazy(), on=PLACE).sort("row").with_columns(
            first=pl.struct(*PLACE, "position").is_first_distinct(), lost_zeros=c.part_no.is_in(shortened.implode())).collect(engine="streaming")
        rows += [found(looked_at, *rule, **here, **side, position=c.position, part_no=c.part_no) for rule in line_rules()]
    return pl.concat(pl.collect_all(rows))


def smaller_cylinders(circuits, parts):
    """V03: some smaller cylinder of the same ratio and return loss would do."""
    low = circuits.filter(below(c.fill, FILL_LOW) & (c.cylinders == 1))
    choice = parts.filter(has(CYLINDER) & ~has(SEAL | FAULTY) & (c.status != "obsolete")).select(
        other_capacity="capacity", other_stroke="stroke", other_rating="rated_pressure", other_ratio="ratio", other_loss="loss")
    usable = c.other_capacity * pl.min_horizontal(1.0, c.ram_stroke / c.other_stroke)
    taken = (1 - (-c.p / BULK).exp()) + FREE_AIR * (1 - ATMOSPHERE / (c.p + ATMOSPHERE))
    demand = c.demand + (usable - c.capacity) * taken
    serve = (
        low.lazy().select(*PLACE, "fill", "demand", "capacity", "nominal", "p", "ratio", "loss", "ram_stroke").join(choice.lazy(), how="cross")
        .filter(below(c.other_capacity, c.nominal) & (c.ratio == c.other_ratio) & (c.loss == c.other_loss)
                & ~below(c.other_rating, c.p) & ~above(demand / usable, FILL))
        .unique(PLACE))
    return found(serve, "V03", True, c.fill, pl.lit(FILL_LOW), "", **{name: c(name) for name in PLACE}, side=pl.lit("clamp"))


# ---- Verdicts and outputs

def lacks():
    """(rule, condition) of what can't be assessed."""
    no_p, cylinder, station = c.p.is_null() & c.listed, c.by_cylinder & c.listed, c.station.is_not_null() & c.listed
    no_weakest = c.weakest.is_null() & c.listed
    wanted, uncertain = c.pressure_min.is_not_null() & c.listed, has(UNSTATED_LEAK)
    unfilled, set_asked = cylinder & c.fill.is_null(), station & c.pressure_set.is_not_null() & no_p
    return [
        ("M01", cylinder & ~has(CYLINDER) & c.unknown),
        *((rule, c.unknown & ~has(bit)) for rule, bit in (("M03", CHECK), ("M04", ISOLATION), ("M05", GAUGE))),
        ("M08", station & cylinder & c.reach.is_not_null() & c.ram_stroke.is_null()),
        ("M09", station & (c.pump_rated.is_null() | c.pump_capacity.is_not_null() & c.demand.is_null())),
        ("M10", ~c.by_cylinder & c.unknown & ~has(FILTER)),
        ("V01", unfilled), ("V02", unfilled), ("V03", unfilled), ("P01", has(CYLINDER) & no_p), ("P03", set_asked),
        ("P05", no_p | c.unknown), ("P06", has(ISOLATING) & no_p), ("P07", has(LOWEST) & no_p), ("P08", has(WALL) & no_p),
        ("P09", has(SEQUENCE) & no_p), ("P10", c.relief.is_not_null() & (no_p | no_weakest)), ("P11", set_asked), ("P12", has(DIAL) & no_p),
        ("P13", station & ~has(RELIEF) & (c.potential.is_null() | no_weakest)), ("P14", no_p | no_weakest),
        ("P17", c.relief.is_not_null() & no_p),
        ("H01", c.temp_max.is_not_null() & (c.p_hot.is_null() | no_weakest)), ("H02", wanted & c.state.is_null()),
        ("H03", wanted & c.hold_time.is_not_null() & ~below(c.state, c.pressure_min).fill_null(False)
         & (c.p_hold.is_null() | uncertain & ~below(c.p_hold, c.pressure_min))),
        ("F02", has(FORCE) & (no_p | c.temp_max.is_not_null() & c.p_hot.is_null())),
        ("T01", c.clamp_time_max.is_not_null() & c.clamp_time.is_null()), ("T02", c.unclamp_time_max.is_not_null() & c.unclamp_time.is_null()),
    ]


def words(pairs):
    return pl.concat_str([where(condition, pl.lit(word)) for word, condition in pairs], separator=" ", ignore_nulls=True)


def judged(circuits, findings):
    """Verdicts, what was not assessed and what was not asked."""
    held = pl.any_horizontal(c(name).is_not_null() for name in ("pressure_min", "hold_time", "temp_min", "temp_max"))
    grave = findings.lazy().filter(c.severity.is_in(["major", "minor"]) & c.pallet.is_not_null())
    broken = grave.select(PLACE).unique().with_columns(broken=True)
    return (
        circuits.lazy().join(broken, on=PLACE, how="left")
        .with_columns(
            not_assessed=words(lacks()),
            not_asked=words([("V", ~c.by_cylinder), ("H", ~held), ("F", ~has(FORCE)), ("T", c.clamp_time_max.is_null() & c.unclamp_time_max.is_null())]))
        .with_columns(verdict=where(c.broken | has(FAULTY) | c.strained | c.overdriven, pl.lit("does not conform"))
                      .when(c.not_assessed != "").then(pl.lit("not assessed")).otherwise(pl.lit("conforms"))))


VOLUMES = ["swept", "line", "dead", "capacity", "compression", "air", "dilation", "elastic", "accumulator", "demand"]
SIDE = {**{f"{name}_cm3": name for name in VOLUMES}, "fill": "fill", "reserve_cm3": "reserve", "charge_bar": "p", "pump_needed_bar": "needed",
        "potential_bar": "potential", "weakest_bar": "weakest", "weakest_part": "weakest_part", "tube_bar": "wall"}
WHOLE = {"p_settled_bar": "settled", "p_cold_bar": "p_cold", "p_hot_bar": "p_hot", "p_hot_full_bar": "p_hot", "p_hold_bar": "p_hold",
         "hold_reserve_min": "hold_reserve", "clamp_time_s": "clamp_time", "unclamp_time_s": "unclamp_time"}


def write_circuits(circuits, path):
    nothing = pl.lit(None, pl.String)
    circuits.sort(PLACE).select(
        *PLACE, "verdict", *(c(name).alias(f"clamp_{column}") for column, name in SIDE.items()),
        *(nothing.alias(f"unclamp_{column}") for column in SIDE),
        *(c(name).alias(column) for column, name in WHOLE.items()), *(nothing.alias(name) for name in ("source", "topup_days", "friction_N")),
        "not_assessed", "not_asked").sink_csv(path, engine="streaming")


def write_purchase(needs, circuits, parts, stations, path):
    users = circuits.filter(c.lines > 0).group_by("station").agg(circuits=pl.len())
    pieces = pl.concat(
        stations.select("station", part_no=name).drop_nulls().join(users, on="station", how="left").group_by("part_no")
        .agg(needed=pl.len().cast(pl.Float64), unclear=pl.lit(False), circuits=c.circuits.sum()) for name in ("pump", "drive_ram"))
    nothing = pl.lit(None, pl.String)
    (
        pl.concat([needs, pieces], how="vertical_relaxed").group_by("part_no").agg(c.needed.sum(), c.unclear.any(), c.circuits.sum())
        .with_columns(needed=where(~c.unclear, c.needed)).join(parts, on="part_no").sort("part_no")
        .select("part_no", "description", "kind", where(of("tube", "hose"), pl.lit("m")).otherwise(pl.lit("each")).alias("uom"), "needed",
                pl.lit(0).alias("ordered"), c.needed.alias("order_qty"), "unit_price", "currency", (c.needed * c.unit_price).alias("extended"),
                "circuits", "supplier", c.lead_time.alias("lead_time_days"), "status", *(nothing.alias(name) for name in (
                    "replaced_by", "need_date", "order_by", "promised_date")), c.part_no.alias("order_part"))
        .write_csv(path))


def main(folder, out):
    start = time.perf_counter()
    folder, out = pathlib.Path(folder), pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)
    if (folder / "policy.toml").read_text() != POLICY:
        sys.exit(f"{folder / 'policy.toml'}: the limits of this script are the policy's defaults. Expected a plant of bench_plant.")
    parts = parts_of(folder)
    lines = lines_of(folder, parts)
    sums, needs = pl.collect_all([sums_by_circuit(lines), needs_by_part(lines)], engine="streaming")
    stations, circuits = circuits_of(folder, sums, parts)
    circuits = figures(circuits)
    parts = parts.with_columns(used=c.part_no.is_in(needs["part_no"].implode()))
    findings = findings_of(circuits, lines, parts, stations)
    findings.sort(FINDING).write_csv(out / "findings.csv")
    write_circuits(judged(circuits, findings), out / "circuits.csv")
    write_purchase(needs, circuits, parts, stations, out / "purchase.csv")
    seconds, peak = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    counts = f"{circuits['lines'].sum()} lines, {circuits.height} circuits, {findings.height} findings"
    print(f"polars {pl.__version__}: {counts}, {seconds:.2f} s, {peak:.2f} GiB")


if __name__ == "__main__":
    main(*sys.argv[1:])
