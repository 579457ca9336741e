"""Each scheme's measurement model, from the definition of the quantities: amounts in mol, volumes in L, masses in g.

What may be wrong, and how far, is what the lab's documentation says: a tolerance is triangular, a balance's linearity,
a last digit, an endpoint and a temperature rectangular.
"""

from quantities import ROOT3, ROOT6, nominal
from substances import molar_mass

BETA = 2.1e-4  # expansion of water and dilute solutions per degree (QUAM:2012, A1.4)


def readable(piece):
    """The finest step that is read: a tenth of the graduation, or the last digit of a display."""
    shown = piece["kind"] in ("balance", "spectrophotometer", "ph-meter", "millivoltmeter", "conductance-meter")
    return piece["graduation"] * (1.0 if shown else 0.1)


def at_20(bench, spec, volume):
    """A volume read in a laboratory whose temperature is off from 20 degrees, by the same amount for every volume."""
    off = bench.shared("temperature", spec["temperature"] / ROOT3)
    return volume * (1.0 + BETA * off)


def mark(bench, spec, use, piece):
    """Volume of a single-mark piece, L; the same piece serves every trial, and a pipette every use."""
    if piece["kind"] == "pipette":
        use = piece["key"]
    off = bench.shared(f"calibration of the {use}", piece["tolerance"] / ROOT6)
    return at_20(bench, spec, (piece["capacity"] + off) / 1000.0)


def burette_reading(bench, spec, value, trial):
    return value + bench.anew(spec["reading"] / ROOT6, random=trial)


def after_the_tap(bench, spec, difference, fillings, trial):
    """Delivered volume, L: the calibration enters with every filling, the endpoint once.

    ISO 385 limits the error at a point and the difference of the errors at two points alike, so half of the variance of
    a delivery's error is the burette's and half its own.
    """
    half = (spec["burette"]["tolerance"] / ROOT6) / 2.0**0.5
    off = 0.0
    for _ in range(fillings):
        off = off + bench.shared("calibration of the burette", half) + bench.anew(half, random=trial)
    last_drop = bench.anew(spec["drop"] / 2.0 / ROOT3, random=trial)
    return at_20(bench, spec, (difference + off + last_drop) / 1000.0)


def from_burette(bench, spec, pieces, piece):
    """Volume, L, delivered to a mark from a burette of its own, in a trial."""
    half = (piece["tolerance"] / ROOT6) / 2.0**0.5
    volume = 0.0
    for start, end in pieces:
        off = bench.shared("calibration of the excess burette", half) + bench.anew(half, random=True)
        read = burette_reading(bench, spec, end, True) - burette_reading(bench, spec, start, True)
        volume = volume + read + off
    return at_20(bench, spec, volume / 1000.0)


def titre(bench, spec, pieces, trial=True):
    difference = 0.0
    for start, end in pieces:
        difference = difference + (
            burette_reading(bench, spec, end, trial) - burette_reading(bench, spec, start, trial)
        )
    return after_the_tap(bench, spec, difference, len(pieces), trial)


def two_titres(bench, spec, row, trial=True):
    """Titres to the two endpoints, both from the start of their portion."""
    if spec["portion"] == "another":
        return titre(bench, spec, row["burette"], trial), titre(bench, spec, row["second"], trial)
    read = [
        tuple(burette_reading(bench, spec, value, trial) for value in piece)
        for piece in row["burette"]
    ]
    at_first = burette_reading(bench, spec, row["first"], trial)
    first = after_the_tap(bench, spec, at_first - read[0][0], 1, trial)
    whole = 0.0
    for start, end in read:
        whole = whole + (end - start)
    return first, after_the_tap(bench, spec, whole, len(read), trial)


def mean(values):
    return sum(values[1:], start=values[0]) / len(values)


def weighing(bench, value, use, piece, trial, times=1.0):
    """A mass as displayed, g."""
    off = bench.shared(f"linearity, {use}", times * piece["tolerance"] / ROOT3)
    return value + off + bench.anew(times * readable(piece) / 2.0 / ROOT3, random=trial)


def difference(bench, row, piece, trial=True):
    """Mass of what was put into a vessel, g. The errors of a blank's weighings are others than those of a trial's."""
    of = "" if trial else " in the blank"
    full = weighing(bench, row["full"], f"full{of}", piece, trial)
    return full - weighing(bench, row["empty"], f"empty{of}", piece, trial)


def sample(bench, spec, row):
    """L by volume, g by mass."""
    piece = spec["sample"]
    if spec["by"] == "mass":
        # tared and loaded: two weighings
        return weighing(bench, row["mass"], "sample", piece, True, times=2**0.5)
    if spec["by"] == "mass-difference":
        before = weighing(bench, row["before"], "before", piece, True)
        return before - weighing(bench, row["after"], "after", piece, True)
    if piece["kind"] == "cylinder":
        read = row["volume"] + bench.anew(2.0 * readable(piece) / ROOT6, random=True)
        read = read + bench.shared("calibration of the cylinder", piece["tolerance"] / ROOT6)
        return at_20(bench, spec, read / 1000.0)
    return mark(bench, spec, "sample glassware", piece)


def whole_per_part(bench, spec):
    """How many times what was pipetted the flask held."""
    if spec["aliquot"] is None:
        return 1.0
    flask, pipette = spec["aliquot"]
    return mark(bench, spec, "flask", flask) / mark(bench, spec, "pipette", pipette)


def express(bench, spec, moles, amount):
    """Amount of substance in a sample of `amount` (L or g), in the unit asked for."""
    moles = moles * spec["expressed_per_analyte"]
    unit = spec["unit"]
    if unit == "mol/L":
        return moles / amount
    if unit == "mmol/L":
        return 1000.0 * moles / amount
    grams = moles * molar_mass(bench, spec["expressed"])
    if unit == "g/L":
        return grams / amount
    if unit == "mg/L":
        return 1000.0 * grams / amount
    if unit == "%w/v":
        return grams / (amount * 10.0)  # per 100 mL
    assert unit == "%w/w"
    return 100.0 * grams / amount


def determinations(model, bench, spec):
    """Results of the trials, each off by what a whole determination does not repeat."""
    for result in model(bench, spec):
        yield result * (1.0 + bench.anew(spec["repeatability"] / 100.0, random=True))


def lot(bench, spec, code):
    value, standard = spec["lots"][code]
    return bench.shared(f"molarity of {code}", standard, value)


def blank_titre(bench, spec):
    """Mean of the blanks, L; 0 where none is asked for."""
    if not spec["blank"]:
        return 0.0
    return mean([titre(bench, spec, row["burette"], trial=False) for row in spec["blanks"]])


def direct(bench, spec):
    blank = blank_titre(bench, spec)
    for row in spec["trials"]:
        used = titre(bench, spec, row["burette"]) - blank
        moles = lot(bench, spec, row["lot"]) * used * spec["analyte_per_titrant"]
        moles = moles * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def back(bench, spec):
    blank = blank_titre(bench, spec)
    for row in spec["trials"]:
        molarity = lot(bench, spec, row["lot"])
        left = molarity * titre(bench, spec, row["burette"]) * spec["excess_per_titrant"]
        if spec["blank"]:
            added = molarity * blank * spec["excess_per_titrant"]
        else:
            if spec["excess"]["kind"] == "burette":
                volume = from_burette(bench, spec, row["excess"], spec["excess"])
            else:
                volume = mark(bench, spec, "excess pipette", spec["excess"])
            added = lot(bench, spec, row["excess_lot"]) * volume
        moles = (added - left) * spec["analyte_per_excess"] * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def standardisation(bench, spec):
    blank = blank_titre(bench, spec)
    for row in spec["trials"]:
        purity = 1.0
        if spec["purity"] is not None:
            fraction, half_width = spec["purity"]
            purity = bench.shared("purity", half_width / ROOT3, fraction)
        weighed = sample(bench, spec, row) * purity / molar_mass(bench, spec["weighed"])
        titrated = weighed / whole_per_part(bench, spec)
        used = titre(bench, spec, row["burette"]) - blank
        yield express(bench, spec, titrated * spec["titrant_per_weighed"], used)


def two_endpoint(bench, spec):
    blanks = (0.0, 0.0)
    if spec["blank"]:
        pairs = [two_titres(bench, spec, row, trial=False) for row in spec["blanks"]]
        blanks = mean([pair[0] for pair in pairs]), mean([pair[1] for pair in pairs])
    for row in spec["trials"]:
        first, second = two_titres(bench, spec, row)
        # what one mole of titrant at each endpoint says of the analyte, worked out by hand for each mixture
        at_first, at_second = spec["analyte_per_titre"]
        net = at_first * (first - blanks[0]) + at_second * (second - blanks[1])
        moles = lot(bench, spec, row["lot"]) * net * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def gravimetric(bench, spec):
    blank = 0.0
    if spec["blank"]:
        weighed = [difference(bench, row, spec["balance"], trial=False) for row in spec["blanks"]]
        blank = mean(weighed)
    for row in spec["trials"]:
        grams = difference(bench, row, spec["balance"]) - blank
        moles = grams / molar_mass(bench, spec["precipitate"]) * spec["analyte_per_precipitate"]
        moles = moles * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def water_density(celsius):
    """g/mL: Tanaka et al., Metrologia 38 (2001) 301-309; the temperature may be uncertain."""
    from_densest = celsius - 3.983035
    lost = from_densest * from_densest * (celsius + 301.797) / (522528.9 * (celsius + 69.34881))
    return 0.99997495 * (1.0 - lost)


def density(bench, spec):
    """g/mL, allowing for the air that vessel and weights displace.

    A balance adjusted with weights of 8.0 g/mL that shows W for something of volume V stands for a mass m with
    m - air V = W (1 - air/8.0); the difference of two such readings is that of the content.
    """
    air = bench.shared("density of air", 0.0001 / ROOT3, 0.0012)
    for row in spec["trials"]:
        empty = weighing(bench, row["empty"], "empty", spec["balance"], True)
        liquid = weighing(bench, row["full"], "full", spec["balance"], True) - empty
        shown_per_mass = 1.0 - air / 8.0
        if spec["water"] is None:
            volume = sample(bench, spec, row) * 1000.0
        else:
            water = weighing(bench, row["water"], "full of water", spec["balance"], True) - empty
            celsius = bench.shared("temperature of the water", 0.5 / ROOT3, spec["water"])
            volume = water * shown_per_mass / (water_density(celsius) - air)
        yield liquid * shown_per_mass / volume + air


def calibration_line(bench, spec):
    made_up = spec["made_up_in"]

    def flask(trial):
        off = bench.anew(made_up["tolerance"] / ROOT6, random=trial)
        return at_20(bench, spec, (made_up["capacity"] + off) / 1000.0)

    x = []
    for row in spec["standards"]:
        volume = stock_volume(bench, spec, row["stock"], False)
        x.append(lot(bench, spec, row["lot"]) * volume / flask(False))
    y = [row["absorbance"] for row in spec["standards"]]
    stocks = [row["stock"] for row in spec["standards"]]
    deviations = spec.get("standard_deviations") or [relative_deviation(spec, stock) for stock in stocks]
    known = [nominal(c) for c in x]
    plain = fitted(known, y, deviations, spec["degree"])
    standard, freedom = scatter(known, y, deviations, plain, spec["instrument"])
    # read off once without errors, to see how much an absorbance there scatters
    strongest = max(range(len(stocks)), key=lambda n: stocks[n])
    to_stock = stocks[strongest] / known[strongest]
    lowest, highest = min(stocks), max(stocks)

    def scatters(absorbance):
        stock = abscissa(plain, absorbance) * to_stock
        return standard * relative_deviation(spec, min(max(stock, lowest), highest))

    readings = [row["absorbance"] for row in spec["trials"]]
    blanks = [row["absorbance"] for row in spec["blanks"]] if spec["blank"] else []
    in_blank = sum(blanks) / len(blanks) if blanks else None
    scales = [standard * one for one in deviations] + [scatters(read) for read in readings]
    scales += [scatters(in_blank) for _ in blanks]
    ones = bench.ensemble(len(scales), 1.0, freedom)
    bench.random.extend(ones[len(y) : len(y) + len(readings)])
    noise = [one * scale for one, scale in zip(ones, scales)]
    beta = fitted(x, [read + off for read, off in zip(y, noise)], deviations, spec["degree"])
    own, of_blanks = noise[len(y) : len(y) + len(readings)], noise[len(y) + len(readings) :]
    for row, read, off in zip(spec["trials"], readings, own):
        found = abscissa(beta, read + (0.0 if bench.drop_random else off))
        if blanks:
            found = found - abscissa(beta, mean([b + off for b, off in zip(blanks, of_blanks)]))
        moles = found * flask(True) * spec["analyte_per_species"]
        moles = moles * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def relative_deviation(spec, stock):
    """Standard deviation of an absorbance, but for a factor, where a standard holds so much stock."""
    weights = spec["weights"]
    if weights == "equal":
        return 1.0
    if weights == "1/c":
        return stock**0.5
    if weights == "1/c^2":
        return stock
    stated = zip((row["stock"] for row in spec["standards"]), spec["standard_deviations"])
    stated = sorted(stated, key=lambda one: one[0])
    for (low, at_low), (high, at_high) in zip(stated, stated[1:]):
        if low <= stock <= high and high > low:
            return at_low + (at_high - at_low) * (stock - low) / (high - low)
    return stated[-1][1]


def fitted(x, y, deviations, degree):
    """Coefficients by weighted least squares: Cramer's rule on the normal equations."""
    weights = [1.0 / d**2 for d in deviations]

    def total(parts):
        parts = list(parts)
        return sum(parts[1:], start=parts[0])

    power = [total(w * a**k for w, a in zip(weights, x)) for k in range(2 * degree + 1)]
    right = [total(w * a**k * b for w, a, b in zip(weights, x, y)) for k in range(degree + 1)]
    rows = [[power[i + k] for k in range(degree + 1)] for i in range(degree + 1)]
    whole = determinant(rows)
    return [
        determinant([[*row[:k], r, *row[k + 1 :]] for row, r in zip(rows, right)]) / whole for k in range(degree + 1)
    ]


def determinant(rows):
    if len(rows) == 1:
        return rows[0][0]
    minors = [determinant([row[:k] + row[k + 1 :] for row in rows[1:]]) for k in range(len(rows))]
    parts = [(-1.0) ** k * a * minor for k, (a, minor) in enumerate(zip(rows[0], minors))]
    return sum(parts[1:], start=parts[0])


def abscissa(beta, height):
    """Where the line or parabola is so high, from the end where concentrations are small."""
    if len(beta) == 2:
        return (height - beta[0]) / beta[1]
    c, b, a = beta[0] - height, beta[1], beta[2]
    return (-b + (b * b - 4.0 * a * c) ** 0.5) / (2.0 * a)


def scatter(x, y, deviations, beta, instrument):
    """Residual standard deviation of what deviates by one, with its degrees of freedom; at least that of the last digit
    where the standards weigh as much as they do on the whole."""
    weights = [1.0 / d**2 for d in deviations]
    residuals = [b - sum(k * a**n for n, k in enumerate(beta)) for a, b in zip(x, y)]
    freedom = len(x) - len(beta)
    whole = sum(weights) / len(weights)
    observed = (sum(w / whole * r * r for w, r in zip(weights, residuals)) / freedom) ** 0.5
    digit = readable(instrument) / 2.0 / ROOT3
    standard, freedom = (observed, freedom) if observed > digit else (digit, float("inf"))
    return standard * whole**0.5, freedom


def least_squares(x, y):
    """The normal equations, undoctored."""
    n = len(x)
    sx, sy = sum(x[1:], start=x[0]), sum(y[1:], start=y[0])
    sxx = sum((a * a for a in x[1:]), start=x[0] * x[0])
    sxy = sum((a * b for a, b in zip(x[1:], y[1:])), start=x[0] * y[0])
    slope = (n * sxy - sx * sy) / (n * sxx - sx * sx)
    return slope, (sy - slope * sx) / n


def stock_volume(bench, spec, volume, random):
    """Volume of stock as it is measured, L; a burette's delivery is two readings, a cylinder's volume one."""
    if volume == 0.0:
        return 0.0
    taken = spec["taken_with"]
    reading = 2**0.5 * spec["reading"] / ROOT6 if taken["kind"] == "burette" else 2.0 * readable(taken) / ROOT6
    volume = volume + bench.anew(reading, random=random)
    volume = volume + bench.shared("calibration, stock", taken["tolerance"] / ROOT6)
    return at_20(bench, spec, volume / 1000.0)


def standard_addition(bench, spec):
    """Each series by itself: concentration at which its line is zero, with the sign turned."""
    made_up = spec["made_up_in"]

    def flask():
        off = bench.anew(made_up["tolerance"] / ROOT6, random=True)
        return at_20(bench, spec, (made_up["capacity"] + off) / 1000.0)

    for row in spec["trials"]:
        molarity = lot(bench, spec, row["lot"])
        x = [molarity * stock_volume(bench, spec, v, True) / flask() for v in spec["stocks"]]
        known, y = [nominal(one) for one in x], row["absorbances"]
        ones = [1.0] * len(x)
        standard, freedom = scatter(known, y, ones, fitted(known, y, ones, 1), spec["instrument"])
        noise = bench.ensemble(len(x), standard, freedom)
        bench.random.extend(noise)
        read = y if bench.drop_random else [b + off for b, off in zip(y, noise)]
        intercept, slope = fitted(x, read, ones, 1)
        moles = intercept / slope * flask() * spec["analyte_per_species"]
        moles = moles * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def wavelengths(bench, spec):
    """The second unknown is eliminated from Beer's law at both wavelengths."""
    made_up, photometer = spec["made_up_in"], spec["instrument"]
    relative = spec["absorptivity_percent"] / 100.0
    known = [
        [bench.shared(f"absorptivity {w} {s}", value * relative, value) for s, value in enumerate(row)]
        for w, row in enumerate(spec["absorptivities"])
    ]
    accuracy = [bench.shared(f"photometer {w}", photometer["tolerance"] / ROOT3) for w in range(2)]
    for row in spec["trials"]:
        read = [
            value + off + bench.anew(readable(photometer) / 2.0 / ROOT3, random=True)
            for value, off in zip(row["absorbances"], accuracy)
        ]
        other_to_other = known[0][1] / known[1][1]
        mine = known[0][0] - known[1][0] * other_to_other
        concentration = (read[0] - read[1] * other_to_other) / mine / spec["path"]
        off = bench.anew(made_up["tolerance"] / ROOT6, random=True)
        volume = at_20(bench, spec, (made_up["capacity"] + off) / 1000.0)
        moles = concentration * volume * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def mass_and_titre(bench, spec):
    """What the sample takes beyond what it would take, were all of it the other, is the analyte's surplus."""
    blank = blank_titre(bench, spec)
    for row in spec["trials"]:
        used = lot(bench, spec, row["lot"]) * (titre(bench, spec, row["burette"]) - blank)
        used = used * whole_per_part(bench, spec)
        mass = sample(bench, spec, row)
        mine, others = spec["titrant_per"]
        per_gram = others / molar_mass(bench, spec["other"])
        surplus = mine - molar_mass(bench, spec["analyte"]) * per_gram
        moles = (used - mass * per_gram) / surplus
        yield express(bench, spec, moles, mass)


def curve(bench, spec):
    """Amount by the equivalence volume of a curve of (volume added, mL; what a meter shows)."""
    for row in spec["trials"]:
        found = METHODS[spec["method"]](bench, spec, row["points"])
        half = (spec["burette"]["tolerance"] / ROOT6) / 2.0**0.5
        off = bench.shared("calibration of the burette", half) + bench.anew(half, random=True)
        # all points are counted from one reading at the start
        off = off + bench.anew(spec["reading"] / ROOT6, random=True)
        used = at_20(bench, spec, (found + off) / 1000.0)
        moles = lot(bench, spec, row["lot"]) * used * spec["analyte_per_titrant"]
        moles = moles * whole_per_part(bench, spec)
        yield express(bench, spec, moles, sample(bench, spec, row))


def steepest(points):
    """Number of the step in which a curve changes fastest."""
    slopes = [abs((d - b) / (c - a)) for (a, b), (c, d) in zip(points, points[1:])]
    return slopes.index(max(slopes))


def second_derivative_zero(bench, spec, points):
    """Finite differences of finite differences; where a straight line through the two of them beside the jump is zero.

    It lies between the places of the two, equally likely anywhere; every trial goes in the same steps."""
    first = steepest(points) - 1
    read = [
        (
            v + bench.anew(spec["reading"] / ROOT6, random=True),
            y + bench.anew(2.0 * readable(spec["meter"]) / ROOT6, random=True),
        )
        for v, y in points[first : first + 4]
    ]
    for _ in range(2):
        read = [((a + c) / 2.0, (d - b) / (c - a)) for (a, b), (c, d) in zip(read, read[1:])]
    (low, above), (high, below) = read
    within = (nominal(high) - nominal(low)) / 2.0
    return low + (high - low) * above / (above - below) + bench.shared("where the jump is", 1.0 / ROOT3) * within


def started(bench, spec):
    """Volume before the titration, mL."""
    return spec["start"] * (1.0 + bench.shared("volume before the titration", 0.02 / ROOT3))


def fit_with_scatter(bench, x, y, of_readings):
    """Slope and intercept; ordinates off by their scatter, or by what readings are worth if that is more."""
    slope, intercept = least_squares(x, [nominal(one) for one in y])
    freedom = len(x) - 2
    observed = (sum((nominal(b) - intercept - slope * a) ** 2 for a, b in zip(x, y)) / freedom) ** 0.5
    expected = of_readings(slope)
    standard, freedom = (observed, freedom) if observed > expected else (expected, float("inf"))
    noise = bench.ensemble(len(x), standard, freedom)
    bench.random.extend(noise)
    return least_squares(x, y if bench.drop_random else [b + off for b, off in zip(y, noise)])


def gran_zero(bench, spec, points):
    at = steepest(points)
    middle = (points[at][0] + points[at + 1][0]) / 2.0
    straight = [(v, ph) for v, ph in points if 0.5 * middle <= v < 0.98 * middle]
    start = started(bench, spec)
    y = [(v if spec["weak"] else start + v) * 10.0**-ph for v, ph in straight]
    of_ph = [LN10 * nominal(f) * 2.0 * readable(spec["meter"]) / ROOT6 for f in y]

    def of_readings(slope):
        each = [a * a + (slope * spec["reading"] / ROOT6) ** 2 for a in of_ph]
        return (sum(each) / len(each)) ** 0.5

    slope, intercept = fit_with_scatter(bench, [v for v, _ in straight], y, of_readings)
    return -intercept / slope


def meeting_lines(bench, spec, points):
    plain = [(v, g * (spec["start"] + v) / spec["start"]) for v, g in points]

    def left(part):
        slope, intercept = least_squares([v for v, _ in part], [g for _, g in part])
        return sum((g - intercept - slope * v) ** 2 for v, g in part)

    cut = min(range(3, len(points) - 2), key=lambda at: left(plain[:at]) + left(plain[at:]))
    start = started(bench, spec)
    lines = []
    for part in (points[:cut], points[cut:]):
        y = [g * (start + v) / start for v, g in part]
        of_meter = [2.0 * readable(spec["meter"]) / ROOT6 * (spec["start"] + v) / spec["start"] for v, _ in part]

        def of_readings(slope, of_meter=of_meter):
            each = [a * a + (slope * spec["reading"] / ROOT6) ** 2 for a in of_meter]
            return (sum(each) / len(each)) ** 0.5

        lines.append(fit_with_scatter(bench, [v for v, _ in part], y, of_readings))
    (slope, intercept), (next_slope, next_intercept) = lines
    return (next_intercept - intercept) / (slope - next_slope)


METHODS = {"second-derivative": second_derivative_zero, "gran": gran_zero, "two-lines": meeting_lines}
LN10 = 2.302585092994046
