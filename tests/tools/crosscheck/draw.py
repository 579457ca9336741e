"""Draws cases: a procedure with its text, and a hand-in with its readings as they would be written down."""

import math

import chemistry
from pieces import BALANCES, BURETTES, CYLINDERS, FLASKS, METERS, PIPETTES, SPECTROPHOTOMETERS

PER_VOLUME = ["mol/L", "mmol/L", "g/L", "mg/L", "%w/v"]


class Draw:
    """One case in the making: `spec` for the model, `rows` and `text` for the program."""

    def __init__(self, rng, scheme):
        self.rng, self.scheme = rng, scheme
        self.rows = []
        self.tables = {}
        temperature = rng.choice([0, 0, 2, 4, 5.5])
        self.spec = dict(
            scheme=scheme, trials=[], blanks=[], standards=[], lots={}, aliquot=None, purity=None,
            reading=rng.choice([0.01, 0.02, 0.03]), drop=rng.choice([0.02, 0.05]), temperature=temperature,
            repeatability=rng.choice([0, 0, 0.1, 0.35]),
        )

    # what is drawn

    def near(self, x, relative):
        return x * self.rng.uniform(1 - relative, 1 + relative)

    def chem(self, known):
        chosen = self.rng.choice(known)
        self.spec.update(chosen)
        return chosen

    def express_as(self):
        """The unit, and the species the analyte is expressed as."""
        self.spec["unit"] = self.rng.choice(PER_VOLUME) if self.spec["by"] == "volume" else "%w/w"
        self.spec["expressed"], self.spec["expressed_per_analyte"] = self.rng.choice(self.spec["expressed"])

    def sample(self, kinds=("pipette", "cylinder", "mass", "mass-difference"), aliquot=0.35):
        kind = self.rng.choice(kinds)
        if kind in ("mass", "mass-difference"):
            self.spec.update(by=kind, sample=self.rng.choice(BALANCES))
            self.nominal = self.rng.choice([0.3, 0.5, 1.2])
        else:
            pool = CYLINDERS if kind == "cylinder" else PIPETTES + FLASKS[:2]
            self.spec.update(by="volume", sample=self.rng.choice(pool))
            self.nominal = self.spec["sample"]["capacity"]
        if self.rng.random() < aliquot:
            holds = self.nominal if self.spec["by"] == "volume" else 0
            flask = self.rng.choice([f for f in FLASKS if f["capacity"] >= holds])
            pipette = self.rng.choice([p for p in PIPETTES if p["capacity"] <= flask["capacity"]])
            self.spec["aliquot"] = (flask, pipette)

    def lot(self, prefix, nominal):
        """Two lots at most; which one a trial used is drawn for each."""
        codes = [f"{prefix}-{n}" for n in range(1, self.rng.choice([1, 1, 2]) + 1)]
        for code in codes:
            if code not in self.spec["lots"]:
                value = float(f"{self.near(nominal, 0.03):.5g}")
                self.spec["lots"][code] = (value, float(f"{value * self.rng.uniform(0.0, 0.003):.2g}"))
        return codes

    # how it is written

    def write(self, value, piece):
        return f"{value:.{piece['decimals']}f}"

    def row(self, trial, cells, lot=None, excess_lot=None):
        """Keeps a row as it is written and gives back what was written, as numbers."""
        self.rows.append(dict(trial=trial, lot=lot, excess_lot=excess_lot, cells=cells))
        return {column: float(text) for column, text in cells.items()}

    def sample_cells(self, taken):
        """Columns of the sample for the amount taken, which is what is read, but for the writing."""
        piece, by = self.spec["sample"], self.spec["by"]
        if by == "mass":
            return {"sample_g": self.write(taken, piece)}
        if by == "mass-difference":
            after = self.rng.uniform(10, 20)
            return {"sample_before_g": self.write(after + taken, piece), "sample_after_g": self.write(after, piece)}
        if piece["kind"] == "cylinder":
            return {"sample_mL": self.write(taken, piece)}
        return {}

    def take(self):
        if self.spec["by"] == "volume" and self.spec["sample"]["kind"] != "cylinder":
            return self.nominal
        return self.nominal * self.rng.uniform(0.85, 0.99)

    def deliver(self, volume, prefix="burette", piece=None):
        """Columns of a delivery, refilled now and then."""
        piece = piece or self.spec["burette"]
        pieces = self.rng.choice([1, 1, 1, 2, 3])
        cells = {}
        for n in range(1, pieces + 1):
            part = volume / pieces
            start = self.rng.uniform(0, piece["capacity"] - part)
            number = "" if n == 1 else f"_{n}"
            cells[f"{prefix}_start{number}_mL"] = self.write(start, piece)
            cells[f"{prefix}_end{number}_mL"] = self.write(start + part, piece)
        return cells

    def trials(self):
        return range(1, self.rng.choice([1, 2, 3, 3, 4, 5]) + 1)

    def scatter(self):
        """How far titres are off beyond what reading explains: mostly little, sometimes a lot."""
        return self.rng.choice([0.0002, 0.0005, 0.005, 0.02])

    def text(self):
        """The procedure's file."""
        spec = self.spec
        root = [f'key = "case"', 'title = "Case"', f'scheme = "{self.scheme}"']
        if "reactions" in spec:
            root.append(f"reactions = {quoted(spec['reactions'])}")
        sample = dict(by=spec["by"], glassware=spec["sample"]["key"], nominal=plain(self.nominal))
        if spec["aliquot"]:
            flask, pipette = spec["aliquot"]
            sample.update(made_up_in=flask["key"], taken_with=pipette["key"])
        if self.scheme == "standardisation":
            sample["species"] = spec["weighed"]
        if spec["purity"]:
            sample.update(purity=plain(spec["purity"][0]), purity_half_width=plain(spec["purity"][1]))
        result = {"unit": spec["unit"]}
        if self.scheme != "density":
            result.update({"analyte": spec["analyte"], "as": spec["expressed"]})
        trials = ["[trials]", "minimum = 1", f"blank = {'true' if spec['blank'] else 'false'}",
                  'accept = { rule = "all" }']
        uncertainty = dict(burette_reading_mL=plain(spec["reading"]), drop_mL=plain(spec["drop"]),
                           temperature_C=plain(spec["temperature"]),
                           repeatability_percent=plain(spec["repeatability"]))
        sections = {"sample": sample, **self.tables, "result": result, "uncertainty": uncertainty}
        lines = root
        for name, keys in sections.items():
            lines += [f"[{name}]"]
            lines += [f"{key} = {quoted(value)}" for key, value in keys.items()]
        return "\n".join([*lines, *trials, '[marking]', 'recording = { points = "1" }', ""])


def one_of(rng, known):
    """Draws only where there is a choice, so that what is drawn after it stays."""
    return rng.choice(known) if len(known) > 1 else known[0]


def quoted(value):
    if isinstance(value, list):
        return "[" + ", ".join(quoted(one) for one in value) + "]"
    return f'"{value}"'


def plain(number):
    return f"{number:.10f}".rstrip("0").rstrip(".")


def pieces_of(read, prefix="burette"):
    """Start and end of each filling."""
    found = []
    for n in range(1, 10):
        number = "" if n == 1 else f"_{n}"
        if f"{prefix}_start{number}_mL" in read:
            found.append((read[f"{prefix}_start{number}_mL"], read[f"{prefix}_end{number}_mL"]))
    return found


def sample_of(read):
    names = dict(sample_mL="volume", sample_g="mass", sample_before_g="before", sample_after_g="after")
    return {names[column]: value for column, value in read.items() if column in names}


def titrant(case, nominal, table="titrant"):
    case.spec["burette"] = case.rng.choice(BURETTES)
    case.tables[table] = dict(
        species=case.spec["titrant"], nominal_mol_per_L=plain(nominal), burette=case.spec["burette"]["key"]
    )


def titration(case, titre_for, lots, excess_lots=None, blank_titre=None, fields=None):
    """Rows of a titration: blanks, perhaps a rough one, and trials whose titre goes with the sample."""
    rng, spec = case.rng, case.spec
    fields = fields or (lambda volume: case.deliver(volume))
    read_row = lambda read: dict(burette=pieces_of(read), second=pieces_of(read, "second"),
                                 first=read.get("burette_first_endpoint_mL"),
                                 excess=pieces_of(read, "excess"), **sample_of(read))
    spec["blank"] = blank_titre is not None
    # a blank that the procedure does not ask for is shown and not used
    written = rng.choice([1, 2, 3]) if spec["blank"] else rng.choice([0, 0, 1])
    for _ in range(written):
        volume = case.near(blank_titre or 0.4, 0.005)
        spec["blanks"].append(read_row(case.row("blank", fields(volume), rng.choice(lots), (excess_lots or [None])[0])))
    scatter = case.scatter()
    if rng.random() < 0.3:
        case.row("rough", {**fields(titre_for(1.0) * 1.02), **case.sample_cells(case.take())}, lots[0],
                 (excess_lots or [None])[0])
    for number in case.trials():
        taken = case.take()
        volume = titre_for(taken / case.nominal) * (1 + rng.gauss(0, scatter))
        lot, excess_lot = rng.choice(lots), rng.choice(excess_lots or [None])
        read = case.row(str(number), {**fields(volume), **case.sample_cells(taken)}, lot, excess_lot)
        spec["trials"].append(dict(lot=lot, excess_lot=excess_lot, **read_row(read)))


def direct(rng, scheme):
    case = Draw(rng, scheme)
    case.chem(chemistry.DIRECT if scheme == "direct" else chemistry.INDIRECT)
    case.sample()
    case.express_as()
    titrant(case, 0.1)
    full = case.spec["burette"]["capacity"]
    blank = rng.choice([None, full * rng.uniform(0.005, 0.05)])
    titre = full * rng.uniform(0.3, 0.8)
    titration(case, lambda share: (blank or 0) + titre * share, case.lot("T", 0.1), blank_titre=blank)
    return case


def back(rng, scheme, by_burette=False):
    case = Draw(rng, scheme)
    case.chem(chemistry.BACK)
    case.sample()
    case.express_as()
    titrant(case, 0.1)
    spec, full = case.spec, case.spec["burette"]["capacity"]
    added = full * rng.uniform(0.7, 0.9)  # mL of titrant that the excess would take
    used = added * rng.uniform(0.4, 0.7)
    spec["excess"] = rng.choice(BURETTES if by_burette else PIPETTES)
    volume = spec["excess"]["capacity"] * (0.6 if by_burette else 1.0)
    molarity = 0.1 * added * spec["excess_per_titrant"] / volume
    case.tables["excess"] = dict(species=chemistry_of(spec, "excess"), nominal_mol_per_L=plain(round(molarity, 5)),
                                 glassware=spec["excess"]["key"])
    excess_lots = case.lot("E", molarity)
    if by_burette:
        case.tables["excess"]["nominal_mL"] = plain(volume)
        fields = lambda titre: {**case.deliver(titre), **case.deliver(case.near(volume, 0.01), "excess", spec["excess"])}
        titration(case, lambda share: added - used * share, case.lot("T", 0.1), excess_lots, fields=fields)
        return case
    blank = rng.choice([None, added])
    titration(case, lambda share: added - used * share, case.lot("T", 0.1), excess_lots, blank)
    return case


def chemistry_of(spec, key):
    """The species under a key that the case then uses for a piece."""
    known = [c for c in chemistry.BACK if c["reactions"] == spec["reactions"]]
    return known[0][key]


def standardisation(rng, scheme):
    case = Draw(rng, scheme)
    case.chem(chemistry.STANDARDISATION)
    spec = case.spec
    case.sample(kinds=("mass", "mass-difference"))
    spec.update(unit=rng.choice(PER_VOLUME), analyte=spec["titrant"], expressed=spec["titrant"],
                expressed_per_analyte=1)
    spec["purity"] = rng.choice([None, (0.9995, 0.0005), (0.998, 0.001), (1.0, 0.0)])
    titrant(case, 0.1)
    full = spec["burette"]["capacity"]
    blank = rng.choice([None, full * rng.uniform(0.002, 0.03)])
    titre = full * rng.uniform(0.3, 0.8)
    # the titrant's lot is what is looked for, and enters nothing
    titration(case, lambda share: (blank or 0) + titre * share, case.lot("T", 0.1), blank_titre=blank)
    return case


def two_endpoint(rng, scheme, portion):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.SAME if portion == "same" else chemistry.ANOTHER)
    spec["portion"] = portion
    if portion == "same":
        case.sample()
    else:
        # portions have to be alike: a single mark, or a part of what was made up
        alike = rng.random() < 0.5
        case.sample(kinds=("pipette",) if alike else ("mass", "cylinder"), aliquot=0.3 if alike else 1.0)
    case.express_as()
    titrant(case, 0.1)
    case.tables["second"] = dict(portion=portion, reactions=spec["then"], analyte=spec["other"])
    full = spec["burette"]["capacity"]
    analyte, other = rng.uniform(0.1, 0.25) * full, rng.uniform(0.1, 0.25) * full

    def fields(volume):
        """`volume` is what the analyte takes; the other species is there in a fixed proportion to it."""
        first, second = (volume * a + volume * other / analyte * b for a, b in spec["uses"])
        if portion == "another":
            return {**case.deliver(first), **case.deliver(second, "second")}
        cells = case.deliver(second)
        # the first endpoint is passed in the first filling
        start, end = (float(cells[f"burette_{place}_mL"]) for place in ("start", "end"))
        cells["burette_first_endpoint_mL"] = case.write(start + min(first, (end - start) * 0.9), spec["burette"])
        return cells

    blank = rng.choice([None, 0.006 * full])
    titration(case, lambda share: analyte * share, case.lot("T", 0.1), blank_titre=blank, fields=fields)
    return case


def weighed(case, content, water=None, empty=None):
    """Columns of a crucible or a vessel, by the scheme."""
    piece = case.spec["balance"]
    empty = empty or case.rng.uniform(18, 30)
    names = ("crucible_g", "crucible_and_precipitate_g")
    if case.scheme == "density":
        names = ("vessel_g", "vessel_and_liquid_g")
    cells = {names[0]: case.write(empty, piece), names[1]: case.write(empty + content, piece)}
    if water is not None:
        cells["vessel_and_water_g"] = case.write(empty + water, piece)
    return cells


def weighings_of(read):
    names = dict(crucible_g="empty", crucible_and_precipitate_g="full", vessel_g="empty",
                 vessel_and_liquid_g="full", vessel_and_water_g="water")
    return {names[column]: value for column, value in read.items() if column in names}


def gravimetric(rng, scheme):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.GRAVIMETRIC)
    case.sample()
    case.express_as()
    spec["balance"] = rng.choice(BALANCES)
    mass = rng.uniform(0.2, 0.6)
    case.tables["precipitate"] = dict(species=spec["precipitate"], balance=spec["balance"]["key"], nominal_g="0.4")
    spec["blank"] = rng.random() < 0.5
    for _ in range(rng.choice([1, 2, 3]) if spec["blank"] else rng.choice([0, 0, 1])):
        spec["blanks"].append(weighings_of(case.row("blank", weighed(case, rng.uniform(0.001, 0.004)))))
    scatter = case.scatter()
    for number in case.trials():
        taken = case.take()
        content = mass * taken / case.nominal * (1 + rng.gauss(0, scatter))
        read = case.row(str(number), {**weighed(case, content), **case.sample_cells(taken)})
        spec["trials"].append({**weighings_of(read), **sample_of(read)})
    return case


def density(rng, scheme, by_water):
    case = Draw(rng, scheme)
    spec = case.spec
    kinds = ("pipette", "cylinder")
    case.sample(kinds=kinds, aliquot=0)
    spec.update(unit="g/mL", blank=False, balance=rng.choice(BALANCES), water=None)
    case.tables["density"] = dict(balance=spec["balance"]["key"])
    if by_water:
        spec["water"] = rng.choice([15, 18, 20, 21.5, 25, 30])
        case.tables["density"]["water_C"] = plain(spec["water"])
    true, scatter = rng.uniform(0.75, 1.4), rng.choice([0.00002, 0.0003, 0.003])
    for number in case.trials():
        taken = case.take()
        content = taken * true * (1 + rng.gauss(0, scatter))
        water = taken * 0.9968 if by_water else None
        # a vessel calibrated with water is not read, whatever is on it
        read = case.row(str(number), {**weighed(case, content, water), **case.sample_cells(taken)})
        spec["trials"].append({**weighings_of(read), **sample_of(read)})
    return case


def calibration_line(rng, scheme, degree=1, weights=("equal",), blanks=(0,)):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.LINE)
    case.sample()
    case.express_as()
    spec.update(blank=False, degree=degree, weights=one_of(rng, weights), taken_with=rng.choice(BURETTES + CYLINDERS[:2]), made_up_in=rng.choice(FLASKS),
                instrument=rng.choice(SPECTROPHOTOMETERS))
    most = min(spec["taken_with"]["capacity"], spec["made_up_in"]["capacity"]) * 0.9
    count = rng.choice([3, 4, 5, 6, 7]) + degree - 1
    # without stock a weight by concentration has no end
    first = rng.choice([0, 1])
    if "c" in spec["weights"]:
        first = 1
    stocks = [round(most * n / count, 2) for n in range(first, count + 1)]
    if len(stocks) < 3 + degree - 1:
        stocks.append(round(most * 0.95, 2))
    if rng.random() < 0.3:
        stocks.append(stocks[-1])  # a standard made twice
    case.tables["calibration"] = dict(
        species=spec["stock"], nominal_mol_per_L="0.001", taken_with=spec["taken_with"]["key"],
        made_up_in=spec["made_up_in"]["key"], stock_mL=[plain(v) for v in stocks],
        spectrophotometer=spec["instrument"]["key"],
    )
    if degree == 2:
        case.tables["calibration"]["line"] = "quadratic"
    if spec["weights"] != "equal":
        case.tables["calibration"]["weights"] = spec["weights"]
    if spec["weights"] == "1/s^2":
        stated = [round(0.001 * rng.uniform(0.5, 5.0) * (1 + n), 5) for n in range(len(stocks))]
        spec["standard_deviations"] = stated
        case.tables["calibration"]["standard_deviations"] = [plain(s) for s in stated]
    lots = case.lot("S", 0.001)
    lot, noise, offset = rng.choice(lots), rng.choice([0.0, 0.002, 0.006]), rng.uniform(0, 0.03)

    bend = 0.0 if degree == 1 else rng.uniform(0.05, 0.2)

    def absorbance(share):
        seen = offset + 0.9 * share * (1 + bend - bend * share) + rng.gauss(0, noise)
        return case.write(max(0.0, seen), spec["instrument"])

    for number, stock in enumerate(stocks, 1):
        read = case.row(f"standard-{number}", {"absorbance": absorbance(stock / most)}, lot)
        spec["standards"].append(dict(stock=stock, lot=lot, absorbance=read["absorbance"]))
    # a blank that the procedure does not ask for is shown and not used
    written = one_of(rng, blanks)
    spec["blank"] = written > 0 and rng.random() < 0.8
    for _ in range(written):
        read = case.row("blank", {"absorbance": absorbance(rng.uniform(0.02, 0.1))}, lot)
        spec["blanks"].append(dict(absorbance=read["absorbance"]))
    share = rng.uniform(0.2, 0.9)
    for number in case.trials():
        taken = case.take()
        cells = {"absorbance": absorbance(share * taken / case.nominal), **case.sample_cells(taken)}
        read = case.row(str(number), cells, rng.choice(lots))
        spec["trials"].append(dict(absorbance=read["absorbance"], **sample_of(read)))
    return case


def alike(case):
    """A sample of which every vessel gets the same."""
    while True:
        case.spec["aliquot"] = None
        case.sample()
        is_read = case.spec["by"] != "volume" or case.spec["sample"]["kind"] == "cylinder"
        if case.spec["aliquot"] or not is_read:
            return


def standard_addition(rng, scheme):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.LINE)
    alike(case)
    case.express_as()
    spec.update(blank=False, taken_with=rng.choice(BURETTES + CYLINDERS[:2]), made_up_in=rng.choice(FLASKS),
                instrument=rng.choice(SPECTROPHOTOMETERS))
    most = min(spec["taken_with"]["capacity"], spec["made_up_in"]["capacity"]) * 0.6
    count = rng.choice([3, 4, 5, 8])
    spec["stocks"] = [round(most * n / count, 2) for n in range(count + 1)]
    case.tables["addition"] = dict(
        species=spec["stock"], nominal_mol_per_L="0.001", taken_with=spec["taken_with"]["key"],
        made_up_in=spec["made_up_in"]["key"], stock_mL=[plain(v) for v in spec["stocks"]],
        spectrophotometer=spec["instrument"]["key"],
    )
    lots, noise, alone = case.lot("S", 0.001), rng.choice([0.0, 0.002, 0.006]), rng.uniform(0.1, 0.5)
    for number in case.trials():
        taken = case.take()
        cells = {}
        for n, v in enumerate(spec["stocks"], 1):
            seen = alone * taken / case.nominal + 0.5 * v / most + rng.gauss(0, noise)
            cells["vessel_absorbance" if n == 1 else f"vessel_absorbance_{n}"] = case.write(seen, spec["instrument"])
        lot = rng.choice(lots)
        read = case.row(str(number), {**cells, **case.sample_cells(taken)}, lot)
        absorbances = [value for column, value in read.items() if column.startswith("vessel")]
        spec["trials"].append(dict(lot=lot, absorbances=absorbances, **sample_of(read)))
    return case


def wavelengths(rng, scheme):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.PAIRS)
    case.sample()
    case.express_as()
    spec.update(blank=False, made_up_in=rng.choice(FLASKS), instrument=rng.choice(SPECTROPHOTOMETERS),
                absorptivity_percent=rng.choice([0, 0.3, 1.2]), path=rng.choice([1.0, 0.5, 4.0]))
    first, second = [[plain(one) for one in row] for row in spec["absorptivities"]]
    case.tables["mixture"] = dict(
        other=spec["other"], first=first, second=second, uncertainty_percent=plain(spec["absorptivity_percent"]),
        path_cm=plain(spec["path"]), made_up_in=spec["made_up_in"]["key"], spectrophotometer=spec["instrument"]["key"],
    )
    shares = rng.uniform(0.2, 0.5), rng.uniform(0.1, 0.4)
    amounts = [share / spec["absorptivities"][n][n] for n, share in enumerate(shares)]
    for number in case.trials():
        taken = case.take()
        seen = [sum(e * a for e, a in zip(row, amounts)) * taken / case.nominal for row in spec["absorptivities"]]
        seen = [one * (1 + rng.gauss(0, case.scatter())) for one in seen]
        names = ("absorbance", "absorbance_second")
        cells = {name: case.write(one, spec["instrument"]) for name, one in zip(names, seen)}
        read = case.row(str(number), {**cells, **case.sample_cells(taken)})
        spec["trials"].append(dict(absorbances=[read[name] for name in names], **sample_of(read)))
    return case


def mass_and_titre(rng, scheme):
    case = Draw(rng, scheme)
    spec = case.spec
    case.chem(chemistry.MIXTURES)
    case.sample(kinds=("mass", "mass-difference"))
    case.express_as()
    titrant(case, 0.1)
    case.tables["mixture"] = dict(other=spec["other"])
    full = spec["burette"]["capacity"]
    blank = rng.choice([None, full * rng.uniform(0.002, 0.02)])
    # the titre of a mixture of both
    masses = [mixture_mass(name) for name in (spec["analyte"], spec["other"])]
    share = rng.uniform(0.3, 0.8)
    per_gram = sum(s * use / m for s, use, m in zip((share, 1 - share), spec["titrant_per"], masses))
    part = spec["aliquot"][1]["capacity"] / spec["aliquot"][0]["capacity"] if spec["aliquot"] else 1.0
    molarity = case.nominal * per_gram * part / (0.6 * full / 1000)
    case.tables["titrant"]["nominal_mol_per_L"] = plain(round(molarity, 5))
    lots = case.lot("T", molarity)
    titration(case, lambda share: (blank or 0) + 0.6 * full * share, lots, blank_titre=blank)
    return case


def mixture_mass(name):
    """Near enough to draw a case with."""
    return {"NaCl": 58.4, "KCl": 74.6, "NaBr": 102.9, "Na2CO3": 106.0, "NaHCO3": 84.0, "K2CO3": 138.2}[name]


def curve(rng, scheme, method):
    """A titration curve: of a weak or strong acid, of a chloride, or of a conductance."""
    case = Draw(rng, scheme)
    spec = case.spec
    signal = {"gran": "pH", "two-lines": "conductance"}.get(method) or rng.choice(["pH", "potential"])
    case.chem([chemistry.DIRECT[-1]] if signal == "potential" else [chemistry.DIRECT[0], chemistry.DIRECT[2]])
    case.sample()
    case.express_as()
    titrant(case, 0.1)
    spec.update(blank=False, method=method, start=rng.choice([50.0, 75.0, 120.0]), meter=rng.choice(METERS[signal]),
                weak=signal == "pH" and rng.random() < 0.6)
    case.tables["curve"] = dict(signal=signal, method=method, meter=spec["meter"]["key"], start_mL=plain(spec["start"]))
    if spec["weak"] or signal == "potential":
        case.tables["curve"]["pK"] = "4.76" if signal == "pH" else "9.75"
    column, unit = {"pH": ("pH", ""), "potential": ("potential", "_mV"), "conductance": ("conductance", "_mS")}[signal]
    full = spec["burette"]["capacity"]
    equivalence, noise = full * rng.uniform(0.4, 0.65), rng.choice([0.0, 1.0, 3.0])
    lots = case.lot("T", 0.1)
    for number in case.trials():
        taken = case.take()
        own = equivalence * taken / case.nominal * (1 + rng.gauss(0, case.scatter()))
        fine = full / 250
        if method == "second-derivative":
            near = math.floor(own / fine) * fine
            volumes = [own * n / 12 for n in range(12)] + [near + fine * n for n in range(-4, 6)]
            volumes += [own * (1.1 + n / 12) for n in range(4)]
        else:
            volumes = [own * n / 15 for n in range(24)]
        cells = {}
        step = spec["meter"]["graduation"]
        for n, v in enumerate(sorted({round(v, 2) for v in volumes if v < full}), 1):
            shown = shows(signal, spec["weak"], v, own, spec["start"]) + step * noise * rng.uniform(-1, 1)
            place = "" if n == 1 else f"_{n}"
            cells[f"volume{place}_mL"] = case.write(v, spec["burette"])
            cells[f"{column}{place}{unit}"] = case.write(shown, spec["meter"])
        lot = rng.choice(lots)
        read = case.row(str(number), {**cells, **case.sample_cells(taken)}, lot)
        points = []
        for n in range(1, 150):
            place = "" if n == 1 else f"_{n}"
            if f"volume{place}_mL" in read:
                points.append((read[f"volume{place}_mL"], read[f"{column}{place}{unit}"]))
        spec["trials"].append(dict(lot=lot, points=points, **sample_of(read)))
    return case


def shows(signal, weak, v, equivalence, start):
    """What a meter shows, near enough to the chemistry for a case."""
    more = 0.1 * (v - equivalence) / (start + v)
    if signal == "potential":
        return 300 + 59.16 * math.asinh(more / 2 / 10 ** (-9.75 / 2)) / math.log(10)
    if signal == "conductance":
        titrated, base = 0.1 * equivalence / (start + v), 0.1 * v / (start + v)
        return 350 * max(-more, 0) + 198 * max(more, 0) + 50 * base + 76 * titrated
    if weak and v < 0.02 * equivalence:
        return 2.9 + 0.05 * v
    if weak and more < -1e-5:
        return 4.76 + math.log10(v / (equivalence - v))
    return 7 + math.asinh(more / 2e-7) / math.log(10)
