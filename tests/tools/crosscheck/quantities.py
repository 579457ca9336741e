"""Quantities with uncertainty, so that one formula serves two libraries.

A measurement model is written once, as ordinary arithmetic on what a `Bench` hands out. The bench decides what a quantity
is: a variable of the `uncertainties` package, or an uncertain real number of GTC (which knows degrees of freedom).

Every cause of uncertainty is an input of its own with value 0, added to what it falsifies. Inputs that trials share are
made once and used again, so that correlation follows from the arithmetic and is nowhere put in by hand.
"""

import math

import GTC
from GTC import type_b  # noqa: F401  (registers reporting)
from uncertainties import ufloat
from uncertainties.core import AffineScalarFunc

ROOT3, ROOT6 = math.sqrt(3.0), math.sqrt(6.0)


class Bench:
    """Hands out inputs and remembers which of them are drawn anew in each trial."""

    def __init__(self, library):
        self.library = library
        self.kept = {}
        self.random = []
        self.drop_random = False

    def shared(self, name, standard, value=0.0):
        """The same input under the same name."""
        if name not in self.kept:
            self.kept[name] = self._input(value, standard)
        return self.kept[name]

    def anew(self, standard, *, random):
        """A new input at every call; `random` if it is a trial's own, and so averages out."""
        made = self._input(0.0, 0.0 if random and self.drop_random else standard)
        if random:
            self.random.append(made)
        return made

    def ensemble(self, count, standard, freedom):
        """Inputs whose standard uncertainty is one and the same estimate with `freedom` degrees of freedom."""
        if self.library == "gtc" and standard > 0.0:
            return list(GTC.multiple_ureal([0.0] * count, [standard] * count, freedom))
        return [self._input(0.0, standard) for _ in range(count)]

    def _input(self, value, standard):
        if standard == 0.0:
            return value
        if self.library == "gtc":
            return GTC.ureal(value, standard)
        return ufloat(value, standard)


def nominal(x):
    """The value without its uncertainty."""
    if isinstance(x, AffineScalarFunc):
        return x.nominal_value
    return GTC.value(x)


def split(result, bench):
    """Systematic and random part of the standard uncertainty, by the variables of `uncertainties`."""
    parts = {variable: amount for variable, amount in result.error_components().items()}
    mine = [variable for variable in bench.random if isinstance(variable, AffineScalarFunc)]
    random = math.fsum(parts.pop(variable, 0.0) ** 2 for variable in mine)
    systematic = math.fsum(amount**2 for amount in parts.values())
    return math.sqrt(systematic), math.sqrt(random)
