"""Makes tests/it/reference/crosscheck/cases.json: random hand-ins with the result and uncertainty they must have.

    python3 -m venv VENV && VENV/bin/pip install uncertainties==3.2.3 GTC==1.5.1 scipy==1.17.1
    VENV/bin/python tests/tools/crosscheck/generate.py

It is an implementation of its own: the formulae in models.py come from the definitions, the ratios in chemistry.py are
worked out by hand, correlation follows from shared variables. Value and combined standard uncertainty are those of the
`uncertainties` package; degrees of freedom are those of GTC (Willink and Hall's form of Welch-Satterthwaite, which knows
estimates that rest on the same data), and its uncertainty has to agree as well. Not run by `cargo test`, which only reads
what it wrote. The same seed writes the same file.
"""

import json
import math
import platform
import random
import statistics
from importlib.metadata import version
from pathlib import Path

import GTC
from scipy.stats import norm, t as student

import draw
import models
from pieces import table
from quantities import Bench, nominal, split

SEED = 20250917
EACH = 30
OUT = Path(__file__).resolve().parents[2] / "it" / "reference" / "crosscheck" / "cases.json"

KINDS = [
    ("direct", "direct", draw.direct, models.direct),
    ("indirect", "indirect", draw.direct, models.direct),
    ("back", "back", draw.back, models.back),
    ("standardisation", "standardisation", draw.standardisation, models.standardisation),
    ("two-endpoint, same portion", "two-endpoint", lambda r, s: draw.two_endpoint(r, s, "same"), models.two_endpoint),
    ("two-endpoint, another portion", "two-endpoint", lambda r, s: draw.two_endpoint(r, s, "another"),
     models.two_endpoint),
    ("gravimetric", "gravimetric", draw.gravimetric, models.gravimetric),
    ("density by volume", "density", lambda r, s: draw.density(r, s, False), models.density),
    ("density by water", "density", lambda r, s: draw.density(r, s, True), models.density),
    ("calibration line", "calibration-line", draw.calibration_line, models.calibration_line),
    ("curve, second derivative", "curve", lambda r, s: draw.curve(r, s, "second-derivative"), models.curve),
    ("curve, Gran", "curve", lambda r, s: draw.curve(r, s, "gran"), models.curve),
    ("curve, two lines", "curve", lambda r, s: draw.curve(r, s, "two-lines"), models.curve),
    ("back, excess by burette", "back", lambda r, s: draw.back(r, s, True), models.back),
    ("calibration line, weighted", "calibration-line",
     lambda r, s: draw.calibration_line(r, s, 1, ("1/c", "1/c^2", "1/s^2"), (0, 1, 2)), models.calibration_line),
    ("calibration parabola", "calibration-line",
     lambda r, s: draw.calibration_line(r, s, 2, ("equal", "1/c", "1/c^2", "1/s^2"), (0, 1, 2)),
     models.calibration_line),
    ("standard addition", "standard-addition", draw.standard_addition, models.standard_addition),
    ("two wavelengths", "two-signals", draw.wavelengths, models.wavelengths),
    ("mass and titre", "two-signals", draw.mass_and_titre, models.mass_and_titre),
]


def expected(model, spec):
    bench = Bench("uncertainties")
    results = list(models.determinations(model, bench, spec))
    result = models.mean(results)
    systematic, predicted = split(result, bench)
    observed = None
    if len(results) > 1:
        observed = statistics.stdev(nominal(x) for x in results) / math.sqrt(len(results))
    counted = observed is not None and observed > predicted
    standard = math.hypot(systematic, observed if counted else predicted)

    # the same model again, with degrees of freedom
    bench = Bench("gtc")
    bench.drop_random = counted
    again = models.mean(list(models.determinations(model, bench, spec)))
    if counted:
        again = again + GTC.ureal(0.0, observed, len(results) - 1)
    freedom = GTC.dof(again)
    assert math.isclose(GTC.uncertainty(again), standard, rel_tol=1e-11), (spec, standard)
    assert math.isclose(GTC.value(again), nominal(result), rel_tol=1e-13)
    finite = math.isfinite(freedom)
    coverage = student.ppf(0.975, freedom) if finite else norm.ppf(0.975)
    return dict(
        value=nominal(result),
        systematic=systematic,
        predicted_random=predicted,
        observed_random=observed,
        standard=standard,
        freedom=freedom if finite else None,
        expanded=coverage * standard,
    )


def main():
    rng = random.Random(SEED)
    cases = []
    for kind, scheme, drawn, model in KINDS:
        for number in range(1, EACH + 1):
            case = drawn(rng, scheme)
            cases.append(
                dict(
                    name=f"{kind} {number}",
                    kind=kind,
                    procedure=case.text(),
                    lots={code: [f"{v:.10g}", f"{u:.10g}"] for code, (v, u) in case.spec["lots"].items()},
                    rows=case.rows,
                    expected=expected(model, case.spec),
                )
            )
    about = dict(
        generator="tests/tools/crosscheck/generate.py",
        seed=SEED,
        libraries={name: version(name) for name in ("uncertainties", "GTC", "scipy")},
        python=platform.python_version(),
        glassware=table(),
    )
    OUT.parent.mkdir(parents=True, exist_ok=True)
    lines = ",\n".join(json.dumps(case, ensure_ascii=False, separators=(",", ":")) for case in cases)
    OUT.write_text(f'{{"about":{json.dumps(about)},\n"cases":[\n{lines}\n]}}\n')
    finite = sum(case["expected"]["freedom"] is not None for case in cases)
    print(f"{len(cases)} cases, {finite} with finite degrees of freedom, {OUT.stat().st_size} bytes")


if __name__ == "__main__":
    main()
