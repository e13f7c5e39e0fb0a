"""Write the table of propagated uncertainties that comes from other libraries.

Run by hand (pip install uncertainties numpy scipy); `cargo test` only reads the table. None of the values comes from
this project's own code: standard uncertainties of data that spread little are those of the package uncertainties
(derivatives by its own rules), of data that spread far numpy's quadrature over normal distributions (20 points each),
probabilities scipy's, deviates a reading of the two published formulas with numpy.
"""

import csv
import pathlib

import numpy as np
import scipy
import uncertainties
from scipy.stats import norm
from uncertainties import umath, ufloat

HERE = pathlib.Path(__file__).parent
UNC = f"uncertainties {uncertainties.__version__}"

MODELS = {
    # area x pressure x force ratio
    "product": lambda x, y, z: x * y * z,
    # filling over capacity
    "quotient": lambda x, y, z: (x + y) / z,
    # compression of a filling
    "compression": lambda x, y, z: x * (1 - umath.exp(-y / z)),
    # hoop stress
    "wall": lambda x, y, z: z * (y**2 - x**2) / (y**2 + x**2),
}
POINTS = {
    "product": [(1.2e-3, 2.1e7, 0.9), (5e-4, 1.6e7, 0.85)],
    "quotient": [(60.0, 12.0, 90.0), (200.0, 35.0, 260.0)],
    "compression": [(500.0, 2.0e7, 1.5e9), (1200.0, 3.5e7, 1.75e9)],
    "wall": [(6.0, 8.0, 1000.0), (4.0, 8.0, 900.0)],
}
LITTLE = (0.003, 0.01, 0.002)
FAR = (0.01, 0.02, 0.05)


def quadrature(formula, point, shares):
    """Standard deviation of a formula over normally distributed data."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(20)
    weights = weights / weights.sum()
    x, y, z = (value * (1 + share * nodes) for value, share in zip(point, shares))
    grid = np.meshgrid(x, y, z, indexing="ij")
    values = np.vectorize(lambda *data: float(formula(*data)))(*grid)
    weight = np.einsum("i,j,k->ijk", weights, weights, weights)
    mean = (weight * values).sum()
    return np.sqrt((weight * (values - mean) ** 2).sum())


def splitmix64(seed):
    mask = (1 << 64) - 1
    state = seed
    while True:
        state = (state + 0x9E3779B97F4A7C15) & mask
        z = state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & mask
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & mask
        yield z ^ (z >> 31)


def deviates(seed):
    bits = splitmix64(seed)
    while True:
        r1, r2 = (((next(bits) >> 11) + 1) / 2.0**53 for _ in range(2))
        radius = np.sqrt(-2 * np.log(r1))
        yield radius * np.cos(2 * np.pi * r2)
        yield radius * np.sin(2 * np.pi * r2)


def rows():
    for model, formula in MODELS.items():
        for point, shares in [(p, s) for p in POINTS[model] for s in (FAR, LITTLE)]:
            inputs = [ufloat(x, x * share) for x, share in zip(point, shares)]
            arguments = {"model": model}
            for name, value in zip("xyz", inputs):
                arguments[name] = repr(value.nominal_value)
                arguments[f"u_{name}"] = repr(value.std_dev)
            if shares == LITTLE:
                # Three points of each datum see the bend that a derivative does not.
                expected, room, source = formula(*inputs).std_dev, 1e-3, UNC
            else:
                # What two data do together is left out.
                expected, room, source = quadrature(formula, point, shares), 2e-3, f"numpy {np.__version__} (quadrature)"
            yield "combined_uncertainty", arguments, expected, room * expected, source
    for u in [0.05, 0.2, float(np.log(1.5))]:
        deviation = scipy.stats.lognorm(s=u).std()
        yield ("contribution", {"model": "lognormal", "x": 0, "u_x": repr(u)}, deviation, 7e-3 * deviation,
               f"scipy {scipy.__version__}")
    for slack, u in [(1.0, 1.0), (-0.5, 1.0), (3.0, 2.0), (-4.0, 2.0), (10.0, 2.0), (0.0, 3.0)]:
        p = norm.cdf(slack / u)
        yield ("probability_of_conformity", {"slack": slack, "u": u}, p, 1e-12 * p, f"scipy {scipy.__version__}")
    for seed in [1, 42, 2**63 + 5]:
        row = deviates(seed)
        for number in range(4):
            value = float(next(row))
            yield "deviate", {"seed": seed, "number": number}, value, 1e-12 * abs(value), f"numpy {np.__version__}"
    sample = [1.5, -0.25, 4.0, 2.75, -3.5, 0.125]
    yield ("standard_deviation", {"sample": " ".join(map(str, sample))}, np.std(sample, ddof=1), 1e-12,
           f"numpy {np.__version__}")


with open(HERE / "uncertainties.csv", "w", newline="", encoding="utf-8") as file:
    file.write(f"# made by make_uncertainties.py with {UNC}, numpy {np.__version__}, scipy {scipy.__version__}\n")
    table = csv.writer(file, lineterminator="\n")
    table.writerow("function arguments expected tolerance unit source kind".split())
    for function, arguments, expected, tolerance, source in rows():
        text = "; ".join(f"{key}={value}" for key, value in arguments.items())
        table.writerow([function, text, repr(float(expected)), f"{tolerance:.3g}", "1", source, "other library"])
