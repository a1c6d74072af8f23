"""How timestudy.json came about: facts and figures of published cases, sources beside each.

Published numbers were read in the public pages named (or recalled, where the source says
FROM MEMORY); `recomputed` figures are this script's own arithmetic on the published data.
Run it to see that the recomputed figures follow from the data.
"""

import json
import math
import pathlib

FILE = pathlib.Path(__file__).with_name("timestudy.json")


def observations(values: list[float], factor: float) -> float:
    """(factor sqrt(n sum x^2 - (sum x)^2) / sum x)^2, factor 40 for +-5 %, 20 for +-10 %."""
    total, squares = sum(values), sum(x * x for x in values)
    return (factor * math.sqrt(len(values) * squares - total**2) / total) ** 2


def individuals(values: list[float]) -> tuple[float, float, float, float]:
    moving = [abs(b - a) for a, b in zip(values, values[1:], strict=False)]
    mean, spread = sum(values) / len(values), sum(moving) / len(moving)
    return mean, spread, mean + 3 * spread / 1.128, mean - 3 * spread / 1.128


if __name__ == "__main__":
    cases = json.loads(FILE.read_text())
    for case in cases["n_observations"]:
        print(case["name"], observations(case["values"], case["factor"]), case["recomputed"])
    chart = cases["nist_individuals_chart"]
    print("individuals chart", individuals(chart["values"]), chart["published"])
