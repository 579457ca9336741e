"""A laboratory's glassware, made up for the cross-check, and its table as the program reads it."""


def piece(kind, key, capacity, tolerance, graduation=None):
    decimals = len(str(graduation).split(".")[1]) if graduation is not None and "." in str(graduation) else 0
    if kind in ("burette", "cylinder"):
        decimals += 1  # one digit is estimated past the finest mark
    return dict(
        kind=kind,
        key=key,
        capacity=float(capacity),
        tolerance=float(tolerance),
        graduation=None if graduation is None else float(graduation),
        decimals=decimals,
        written=(capacity, tolerance, graduation),
    )


BURETTES = [
    piece("burette", "burette-10", "10", "0.025", "0.02"),
    piece("burette", "burette-25", "25", "0.04", "0.1"),
    piece("burette", "burette-50-a", "50", "0.05", "0.1"),
    piece("burette", "burette-50-b", "50", "0.11", "0.1"),
]
CYLINDERS = [
    piece("cylinder", "cylinder-25", "25", "0.17", "0.5"),
    piece("cylinder", "cylinder-50", "50", "0.5", "1"),
    piece("cylinder", "cylinder-100", "100", "0.6", "1"),
]
PIPETTES = [
    piece("pipette", "pipette-10", "10", "0.02"),
    piece("pipette", "pipette-20", "20", "0.033"),
    piece("pipette", "pipette-25", "25", "0.03"),
    piece("pipette", "pipette-50", "50", "0.06"),
    piece("pipette", "pipette-100", "100", "0.08"),
]
FLASKS = [
    piece("flask", "flask-50", "50", "0.07"),
    piece("flask", "flask-100", "100", "0.1"),
    piece("flask", "flask-250", "250", "0.16"),
    piece("flask", "flask-500", "500", "0.3"),
]
BALANCES = [
    piece("balance", "balance-fine", "220", "0.00021", "0.0001"),
    piece("balance", "balance-coarse", "320", "0.0018", "0.001"),
]
SPECTROPHOTOMETERS = [
    piece("spectrophotometer", "photometer-fine", "3", "0.003", "0.001"),
    piece("spectrophotometer", "photometer-coarse", "2", "0.01", "0.01"),
]
METERS = {
    "pH": [piece("ph-meter", "ph-coarse", "14", "0.02", "0.01"), piece("ph-meter", "ph-fine", "14", "0.01", "0.001")],
    "potential": [piece("millivoltmeter", "volts-coarse", "2000", "2", "1"),
                  piece("millivoltmeter", "volts-fine", "2000", "1", "0.1")],
    "conductance": [piece("conductance-meter", "siemens-coarse", "200", "0.05", "0.01"),
                    piece("conductance-meter", "siemens-fine", "20", "0.01", "0.001")],
}
ALL = BURETTES + CYLINDERS + PIPETTES + FLASKS + BALANCES + SPECTROPHOTOMETERS + sum(METERS.values(), [])


def table():
    """The text of a glassware table."""
    names = {
        "balance": ("capacity_g", "linearity_g", "readability_g"),
        "spectrophotometer": ("range", "accuracy", "readability"),
        "ph-meter": ("range", "accuracy", "readability"),
        "millivoltmeter": ("range", "accuracy", "readability"),
        "conductance-meter": ("range", "accuracy", "readability"),
    }
    lines = []
    for one in ALL:
        keys = names.get(one["kind"], ("capacity_mL", "tolerance_mL", "graduation_mL"))
        lines += ["[[glassware]]", f'key = "{one["key"]}"', f'kind = "{one["kind"]}"']
        lines += [f'{key} = "{value}"' for key, value in zip(keys, one["written"]) if value is not None]
        lines += ['standard = "made up for the cross-check"', ""]
    return "\n".join(lines)
