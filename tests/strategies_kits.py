"""Random whole kits, as a person would write them: a tree of mappings and amounts, read through the kit reader.

`kits()` draws a draft: one to three drivers, a crossover of a low and a high way, a cabinet, a placement, a listening
point, an amplifier. `rated_kits()` says of everything what it stands, too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from tests.support_laws import Amount, Draft, Tree

# Amounts.


def amounts(unit: str, low: float, high: float) -> st.SearchStrategy[Amount]:
    """Three digits, evenly over the logarithm; simplest is the lowest."""
    steps = 997
    return st.integers(0, steps).map(lambda n: Amount(Decimal(f"{low * (high / low) ** (n / steps):.3g}"), unit))


def even(unit: str, low: int, high: int) -> st.SearchStrategy[Amount]:
    """Whole numbers; simplest is the one nearest zero."""
    return st.integers(low, high).map(lambda n: Amount(Decimal(n), unit))


def some_or_none(unit: str, low: float, high: float) -> st.SearchStrategy[Amount]:
    return st.one_of(st.just(Amount(Decimal(0), unit)), amounts(unit, low, high))


# Drivers.

COILS = {
    "le": st.fixed_dictionaries({"le": amounts("mH", 0.02, 1.5)}),
    "shunted_coil": st.fixed_dictionaries(
        {
            "model": st.just("shunted_coil"),
            "series": amounts("mH", 0.02, 0.5),
            "shunted": amounts("mH", 0.05, 1.5),
            "shunt_resistance": amounts("ohm", 1, 30),
        }
    ),
    "semi_inductance": st.fixed_dictionaries(
        {
            "model": st.just("semi_inductance"),
            "series": amounts("mH", 0.02, 0.5),
            "shunted": amounts("mH", 0.1, 1.5),
            "semi": amounts("", 0.01, 0.1),
        }
    ),
    "power_law": st.fixed_dictionaries(
        {"model": st.just("power_law"), "factor": amounts("", 0.01, 0.1), "exponent": amounts("", 0.5, 0.9)}
    ),
}


FIGURES = {
    "woofer": {
        "re": ("ohm", 3, 8),
        "bl": ("N/A", 3, 12),
        "mms": ("g", 5, 40),
        "cms": ("mm/N", 0.3, 2),
        "rms": ("kg/s", 0.4, 3),
        "sd": ("cm2", 50, 220),
    },
    "tweeter": {
        "re": ("ohm", 3, 8),
        "bl": ("N/A", 1.5, 4),
        "mms": ("g", 0.2, 0.8),
        "cms": ("mm/N", 0.03, 0.3),
        "rms": ("kg/s", 0.3, 2),
        "sd": ("cm2", 4, 9),
    },
}


@st.composite
def a_driver(draw: st.DrawFn, role: str, coils: Sequence[str]) -> Tree:
    figures = {key: draw(amounts(*bounds)) for key, bounds in FIGURES[role].items()}
    return {"role": role, **figures, "voice_coil": draw(st.one_of([COILS[name] for name in coils]))}


# The board. Points are named after their way; every way hangs on `in` and `common`.


def resistors(low: float = 0.5, high: float = 20) -> st.SearchStrategy[Tree]:
    return st.fixed_dictionaries({"resistor": amounts("ohm", low, high)})


def coils(low: float, high: float) -> st.SearchStrategy[Tree]:
    return st.fixed_dictionaries({"coil": amounts("mH", low, high), "dc_resistance": some_or_none("ohm", 0.02, 1.5)})


@st.composite
def capacitors(draw: st.DrawFn, low: float, high: float) -> Tree:
    loss = draw(
        st.sampled_from(
            [
                {},
                {"series_resistance": draw(some_or_none("ohm", 0.01, 0.5))},
                {"dissipation_factor": draw(amounts("%", 0.05, 5)), "at": Amount(Decimal(1), "kHz")},
            ]
        )
    )
    part: Tree = {"capacitor": draw(amounts("uF", low, high)), **loss}
    if draw(st.booleans()):
        part["leakage_resistance"] = draw(amounts("Mohm", 0.1, 10))
    return part


LETTERS = {"R": "resistor", "L": "coil", "C": "capacitor"}


@dataclass
class Board:
    """The parts put in so far, with their numbers."""

    parts: Tree

    def add(self, part: Tree, plus: str, minus: str) -> None:
        letter = next(letter for letter, kind in LETTERS.items() if kind in part)
        number = 1 + sum(name.startswith(letter) for name in self.parts)
        self.parts[f"{letter}{number}"] = {**part, "between": [plus, minus]}


# In series and across, by the kind of way: coils from a few kHz down for the low way, and so on.
LADDERS = {
    "low": (coils(0.3, 6), capacitors(4, 100)),
    "high": (capacitors(2, 30), coils(0.1, 1.5)),
}


@st.composite
def networks(draw: st.DrawFn, way: str, board: Board, shunts: bool = True) -> str:
    """Put a ladder of order 0 to 4 and what may stand before its drivers on the board; the point they hang on."""
    series, across = LADDERS[way]
    here = "in"
    for step in range(draw(st.integers(0, 4))):
        if step % 2 == 0:
            there = f"{way}{step // 2 + 1}"
            board.add(draw(series), here, there)
            here = there
        else:
            board.add(draw(across), here, "common")
    if shunts and draw(st.booleans()):  # a level network
        board.add(draw(resistors()), here, f"{way}_level")
        here = f"{way}_level"
        if draw(st.booleans()):
            board.add(draw(resistors(3, 50)), here, "common")
    if shunts and draw(st.booleans()):  # a resistor and a capacitor across, or with a coil too
        board.add(draw(resistors()), here, f"{way}_shunt")
        if draw(st.booleans()):
            board.add(draw(coils(0.1, 3)), f"{way}_shunt", f"{way}_shunt2")
            board.add(draw(capacitors(2, 100)), f"{way}_shunt2", "common")
        else:
            board.add(draw(capacitors(2, 100)), f"{way}_shunt", "common")
    return here


def _hung(driver: str, plus: str, minus: str, turned: bool) -> Tree:
    if turned:
        return {"driver": driver, "plus": minus, "minus": plus, "reversed": "on_purpose"}
    return {"driver": driver, "plus": plus, "minus": minus}


# Cabinets.

MM = "mm"
LOSSES = st.one_of(st.just("lossless"), st.integers(3, 150))
fills = st.one_of(
    st.fixed_dictionaries({"flow_resistivity": amounts("Pa.s/m2", 500, 9000)}),
    st.fixed_dictionaries(
        {"flow_resistivity": amounts("Pa.s/m2", 500, 9000), "model": st.sampled_from(["low_frequency", "rigid_fibre"])}
    ),
)
ends = st.sampled_from(["unflanged", "flanged"])


@dataclass(frozen=True)
class Air:
    """What may be about the air of a cabinet: `lossless` leaves out every loss but the openings' radiation."""

    lossless: bool = False
    filled: bool = True

    def losses(self, draw: st.DrawFn, *names: str, fill: bool = False) -> Tree:
        """Of a box; a filling stands for its absorption."""
        filling = self.fill(draw) if fill else {}
        losses = {name: "lossless" if self.lossless else draw(LOSSES) for name in names}
        if filling:
            del losses["absorption"]
        return {"losses": losses, **filling}

    def fill(self, draw: st.DrawFn) -> Tree:
        return {"fill": draw(fills)} if self.filled and not self.lossless and draw(st.booleans()) else {}


def _sealed(draw: st.DrawFn, air: Air, _cutout: Tree) -> Tree:
    return {"volume": draw(amounts("L", 4, 60)), **air.losses(draw, "leak", "absorption", fill=True)}


def _vented(draw: st.DrawFn, air: Air, cutout: Tree) -> Tree:
    port = {"diameter": draw(amounts(MM, 30, 90)), "length": draw(amounts(MM, 30, 300)), "end": draw(ends), **cutout}
    return {
        "volume": draw(amounts("L", 6, 80)),
        "ports": [port],
        **air.losses(draw, "leak", "absorption", "port", fill=True),
    }


def _radiator(draw: st.DrawFn, air: Air, cutout: Tree) -> Tree:
    radiator = {
        "sd": draw(amounts("cm2", 60, 140)),
        "mms": draw(amounts("g", 15, 120)),
        "cms": draw(amounts("mm/N", 0.3, 3)),
        "rms": draw(some_or_none("kg/s", 0.3, 3)),
        **cutout,
    }
    return {"volume": draw(amounts("L", 6, 80)), "radiators": [radiator], **air.losses(draw, "leak", "absorption")}


def _line(draw: st.DrawFn, air: Air, cutout: Tree) -> Tree:
    profile = []
    for _ in range(draw(st.integers(1, 3))):
        section: Tree = {"length": draw(amounts(MM, 200, 900)), "area": draw(amounts("cm2", 50, 150))}
        if draw(st.booleans()):
            section |= {
                "end_area": draw(amounts("cm2", 50, 150)),
                "taper": draw(st.sampled_from(["area_linear", "conical", "exponential"])),
            }
        profile.append({**section, **air.fill(draw)})
    mouth: Tree = {"end": draw(ends), **cutout}
    if draw(st.booleans()):
        mouth["port"] = {"diameter": draw(amounts(MM, 40, 79)), "length": draw(amounts(MM, 30, 200))}
    walls = "lossless" if air.lossless or draw(st.booleans()) else "lossy"
    return {"profile": profile, "mouth": mouth, "walls": walls}


CHAMBERS: dict[str, Callable[[st.DrawFn, Air, Tree], Tree]] = {
    "sealed": _sealed,
    "vented": _vented,
    "passive_radiator": _radiator,
    "line": _line,
}


def _chamber(draw: st.DrawFn, kind: str, names: list[str], air: Air, cutout: Tree) -> Tree:
    fields = CHAMBERS[kind](draw, air, cutout)
    if kind != "line":
        return {"kind": kind, "drivers": names, **fields}
    length = sum(float(section["length"].number) for section in fields["profile"])
    places = {name: Amount(Decimal(round(length * draw(st.integers(0, 90)) / 100)), MM) for name in names}
    return {"kind": kind, "drivers": places, **fields}


@st.composite
def baffles(draw: st.DrawFn, hookup: Iterable[str]) -> Tree:
    """A cabinet's outside with the drivers above each other, off its middle; openings have room at the bottom."""
    width, height = draw(even(MM, 260, 500)), draw(even(MM, 900, 1200))
    heights = {"woofer_a": 0.28, "woofer_b": 0.5, "tweeter": 0.7}
    across = (110, int(width.number) - 110)
    cutouts = {
        name: [draw(even(MM, *across)), Amount(Decimal(round(float(height.number) * heights[name])), MM)]
        for name in hookup
    }
    radius = draw(even(MM, 0, 20))
    outside = {"width": width, "height": height, "depth": draw(even(MM, 200, 400)), "edge_radius": radius}
    return {"baffle": outside, "cutouts": cutouts}


def _opening_cutout(baffle: Tree, number: int) -> Tree:
    """At the bottom of the front, and of a second chamber at its top."""
    return {"cutout": [baffle["width"].times(Decimal("0.5")), baffle["height"].times(OPENINGS[number])]}


OPENINGS = (Decimal("0.1"), Decimal("0.88"))  # of the height


# Placements, each with what it draws.
PLACEMENTS: dict[str, st.SearchStrategy[Any]] = {
    "in_wall": st.just("in_wall"),
    "free_standing": st.just("free_standing"),
    "near": st.fixed_dictionaries(
        {
            "wall_behind": even(MM, 50, 1000),
            "wall_left": even(MM, 300, 2000),
            "wall_right": even(MM, 300, 2000),
            "below": even(MM, 10, 700),
        }
    ),
}


ANGLES = (("angle_horizontal", 60), ("angle_vertical", 20))  # degrees


@st.composite
def kits(
    draw: st.DrawFn,
    kinds: Sequence[str] = ("none", *CHAMBERS),
    placements: Sequence[str] = ("in_wall",),
    coils: Sequence[str] = tuple(COILS),
    air: Air = Air(),
    shunts: bool = True,
    most_woofers: int = 2,
    least_woofers: int = 1,
    tweeter: bool | None = None,
    alike: bool = False,
    coupled: bool = False,
) -> Draft:
    """A whole kit. `kinds` of chambers for the woofers (`none`: on nothing), `coils` of the voice, `shunts` across.

    Woofers that are `alike` are one kind, the same way round, on one chamber. `coupled` coils share flux.
    """
    drivers: Tree = {"woofer": draw(a_driver("woofer", coils))}
    board, hookup = Board({}), {}
    count = draw(st.integers(least_woofers, most_woofers))
    here = draw(networks("low", board, shunts))
    other = "woofer"
    if count == 2 and not alike and draw(st.booleans()):
        other = "bass"
        drivers["bass"] = draw(a_driver("woofer", coils))
    in_series = count == 2 and draw(st.booleans())
    turned = draw(st.booleans())
    hookup["woofer_a"] = _hung("woofer", here, "middle" if in_series else "common", turned)
    if count == 2:
        turned = turned if alike else draw(st.booleans())
        hookup["woofer_b"] = _hung(other, "middle" if in_series else here, "common", turned)
    if draw(st.booleans()) if tweeter is None else tweeter:
        drivers["tweeter"] = draw(a_driver("tweeter", coils))
        hookup["tweeter"] = _hung("tweeter", draw(networks("high", board, shunts)), "common", draw(st.booleans()))

    placement = draw(st.sampled_from(list(placements)))
    cabinet: Tree = {}
    if placement != "in_wall" or draw(st.booleans()):
        cabinet = draw(baffles(hookup))
    housed = [name for name in hookup if name != "tweeter"]
    apart = len(housed) == 2 and not alike and draw(st.booleans())
    chambers = []
    for i, names in enumerate([[name] for name in housed] if apart else [housed]):
        kind = draw(st.sampled_from(list(kinds)))
        cutout = _opening_cutout(cabinet["baffle"], i) if cabinet else {}
        if kind != "none":
            chambers.append(_chamber(draw, kind, names, air, cutout))
    if chambers:
        cabinet["chambers"] = chambers
    listening: Tree = {"distance": draw(amounts("m", 0.9, 4))}
    # near planes, where even 4 m ahead is on this side of them
    for angle, most in (("angle_horizontal", 4), ("angle_vertical", 3)) if placement == "near" else ANGLES:
        if draw(st.booleans()):
            listening[angle] = draw(even("deg", -most, most))
    tree: Tree = {
        "format": 1,
        "kit": "A random kit",
        "air": {"density": Amount(Decimal("1.2041"), "kg/m3"), "speed_of_sound": Amount(Decimal("343.21"), "m/s")},
        "amplifier": {
            "power": draw(amounts("W", 10, 200)),
            "load": Amount(Decimal(draw(st.sampled_from([4, 8]))), "ohm"),
            "output_resistance": draw(some_or_none("ohm", 0.01, 5)),
            "cable": draw(some_or_none("ohm", 0.01, 0.5)),
        },
        "listening": listening,
        "drivers": drivers,
        "crossover": {"input": ["in", "common"], "parts": board.parts, "hookup": hookup},
        "cabinets": {"box": cabinet},
        "variants": {"v": {"cabinet": "box", "placement": placement, "reason": "a law leaves out what it likes"}},
    }
    wound = [name for name, part in board.parts.items() if "coil" in part]
    if coupled and len(wound) > 1 and draw(st.booleans()):
        percent = draw(st.integers(-95, 95))
        shared = {"coils": draw(st.permutations(wound))[:2], "coefficient": Amount(Decimal(percent) / 100, "")}
        tree["crossover"]["coupled"] = [shared]
    if placement == "near":
        tree["variants"]["v"]["placement"] = draw(PLACEMENTS["near"])
    return Draft(tree)


EXCURSIONS = {"woofer": (2, 8), "tweeter": (0.2, 0.6)}  # mm
RATINGS: dict[str, st.SearchStrategy[Tree]] = {
    "capacitor": st.fixed_dictionaries({"voltage_rating": amounts("V", 35, 400)}),
    "resistor": st.fixed_dictionaries({"power_rating": amounts("W", 2, 20)}),
    "coil": st.one_of(
        st.fixed_dictionaries({"core": st.just("air"), "current_rating": amounts("A", 1, 10)}),
        st.fixed_dictionaries({"core": st.just("iron"), "saturation_current": amounts("A", 2, 20)}),
    ),
}


@st.composite
def rated_kits(draw: st.DrawFn, protected: bool = False, **how: Any) -> Draft:
    """A whole kit that says what everything stands. `protected`: with a place C0 before all, a link as a rule."""
    tree = draw(kits(**how)).tree
    for driver in tree["drivers"].values():
        linear = draw(amounts("mm", *EXCURSIONS[driver["role"]]))
        driver["linear_excursion"] = linear
        driver["damage_excursion"] = linear.times(Decimal(draw(st.integers(11, 30))) / 10)
        driver["thermal"] = {
            "coil_resistance": draw(amounts("K/W", 1, 8)),
            "magnet_resistance": draw(amounts("K/W", 1, 6)),
            "highest": draw(even("degC", 100, 220)),
        }
        driver["origin"] = "measured"
    for part in tree["crossover"]["parts"].values():
        part |= draw(next(rating for kind, rating in RATINGS.items() if kind in part))
    if draw(st.booleans()):
        tree["amplifier"]["current_limit"] = draw(amounts("A", 3, 20))
    tree["programme"] = {
        "spectrum": draw(st.sampled_from(["iec", "pink", "bass_heavy", "sine"])),
        "crest_factor": draw(even("dB", 6, 15)),
        "from": draw(even("Hz", 20, 40)),
    }
    if protected:
        board = tree["crossover"]
        for part in board["parts"].values():
            part["between"] = ["after" if point == "in" else point for point in part["between"]]
        for one in board["hookup"].values():
            one |= {mark: "after" for mark in ("plus", "minus") if one[mark] == "in"}
        part = {
            "capacitor": Amount(Decimal(220), "uF"),
            "type": "non_polar",
            "series_resistance": Amount(Decimal("0.1"), "ohm"),
        }
        board["parts"]["C0"] = {**part, "between": ["in", "after"], "normally": "link"}
    return Draft(tree)
