"""Kits from Python: what the commands do, as functions that return values.

    from system import api

    kit = api.load_kit("kit.yaml")
    prediction = api.predict(kit, "tall")

Everything is in SI units: volts rms, ohm, m, s, Pa, W, K; a level is in dB re 20 uPa. Excursion and air speed are
one-way peaks. Curves are arrays over frequency, (F,). Results are frozen values, and their arrays cannot be written to.
What is wrong with an input is raised as one KitError with all its `findings`. `to_dict` gives a result as the command's
JSON has it; the functions `plot_...` draw it onto axes of your own.

A variant is meant by its name, or given as the `Variant` itself. Importing this module loads no numpy; calling it does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from system import asked
from system.findings import Finding, KitError, usage_error

if TYPE_CHECKING:
    from system.answers import Characterised, ExpectedOf, SpreadOf, SwappedDriver, SwappedPart
    from system.api_bench import characterise, expect, pairs, verify
    from system.around import Around
    from system.asked import Frequencies
    from system.bench.characterise import Batch
    from system.bench.verify import Verified
    from system.ceilings import Ceilings
    from system.compare import Comparison
    from system.kit import Kit, Variant
    from system.predict import Prediction
    from system.protect import Verdict
    from system.revalue import Front
    from system.sheets.onto_axes import (
        plot_air_speed,
        plot_angle_map,
        plot_excursion,
        plot_group_delay,
        plot_impedance,
        plot_level,
        plot_limits,
        plot_maximum_level,
        plot_polar,
        plot_protection,
        plot_spread,
        plot_step_response,
    )
    from system.shopping import Shopping
    from system.stress import Stress

# What is given out from here and lies elsewhere; loaded when it is asked for.
ELSEWHERE = {
    "system.answers": ("Characterised", "ExpectedOf", "SpreadOf", "SwappedDriver", "SwappedPart"),
    "system.api_bench": ("characterise", "expect", "pairs", "verify"),
    "system.around": ("Around",),
    "system.bench.characterise": ("Batch",),
    "system.bench.verify": ("Verified",),
    "system.ceilings": ("Ceilings",),
    "system.compare": ("Comparison",),
    "system.kit": ("Kit", "Variant"),
    "system.predict": ("Prediction",),
    "system.protect": ("Verdict",),
    "system.revalue": ("Front",),
    "system.sheets.onto_axes": (
        "plot_air_speed", "plot_angle_map", "plot_excursion", "plot_group_delay", "plot_impedance", "plot_level",
        "plot_limits", "plot_maximum_level", "plot_polar", "plot_protection", "plot_spread", "plot_step_response",
    ),
    "system.shopping": ("Shopping",),
    "system.stress": ("Stress",),
}  # fmt: skip
HOME = {name: module for module, names in ELSEWHERE.items() for name in names}

__all__ = [
    "Around", "Batch", "Ceilings", "Characterised", "Comparison", "ExpectedOf", "Finding", "Front", "Kit", "KitError",
    "Prediction", "Shopping", "SpreadOf", "Stress", "SwappedDriver", "SwappedPart", "Variant", "Verdict", "Verified",
    "around", "characterise", "compare", "expect", "findings", "limits", "load_kit", "pairs", "parts", "plot_air_speed",
    "plot_angle_map", "plot_excursion", "plot_group_delay", "plot_impedance", "plot_level", "plot_limits",
    "plot_maximum_level", "plot_polar", "plot_protection", "plot_spread", "plot_step_response", "predict", "protect",
    "revalue", "spread", "stress", "swap", "to_dict", "verify",
]  # fmt: skip

FEWEST, MOST = 100, 1_000_000  # copies of `spread`, as in the kit's own `spread.builds`
MOST_CABINETS = 100  # of `parts`


def __getattr__(name: str) -> Any:
    if name not in HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *HOME})


def load_kit(path: str | Path, settings: Iterable[str] = ()) -> Kit:
    """Read and check the kit file at `path`.

    `settings` are what-ifs as `--set` takes them, `"crossover.parts.C1=150 uF"`, put in before the file is checked; a
    quantity carries its unit, as in the file. The `Kit` is in SI units, with its notes and warnings as `kit.findings`.

    Raises KitError with every fault of the file and of the tables it names.
    """
    from system import kitfile

    return kitfile.load_kit(path, tuple(settings))


def findings(kit: Kit, *predictions: Prediction) -> tuple[Finding, ...]:
    """Everything there is to say about the kit and these predictions of it: notes and warnings, at their lines.

    What is found is told in words and in the units the kit file uses.

    Raises KitError where a link brings the impedance under half of what the amplifier stands (ohm).
    """
    from system.checks import examine

    return (*kit.findings, *examine(kit, predictions))


def predict(
    kit: Kit,
    variant: str | Variant,
    frequencies: Frequencies | None = None,
    volts: float = 2.83,
    detail: bool = True,
) -> Prediction:
    """What a variant does at the listening point, sine by sine: response, impedance, excursion, air speed, volts.

    `frequencies` (F,) are in Hz, rising, 1 Hz to 100 kHz; 400 from 20 Hz to 20 kHz where it is None. `volts` are V rms
    at the amplifier's output. Pressures and currents come as rms phasors (F,) in Pa and A with e^{+jwt}, the delay of
    the distance taken out; impedance (F,) in ohm; excursion (F,) in m and air speed (F,) in m/s as one-way peaks.
    `detail` adds the filling's band, the pressure along a line, handovers and the baffle's step, and takes several
    times as long; `to_dict` has all that `predict --json` has only with it.

    The chain is that of `system.predict`; sources stand with the models (`docs/models`).

    Raises KitError for a variant that is not there (with the nearest name), for frequencies or volts out of range, and
    where the circuit has no solution or a link all but shorts the amplifier.
    """
    from system.answers import read_only
    from system.checks import examine
    from system.detail import predict_in_detail
    from system.predict import predict as plainly

    compute = predict_in_detail if detail else plainly
    result = compute(kit, asked.variant(kit, variant), asked.frequencies(frequencies), asked.volts(volts))
    examine(kit, [result])
    return read_only(result)


def around(kit: Kit, variant: str | Variant, frequencies: Frequencies | None = None, volts: float = 2.83) -> Around:
    """What a variant does off its axis, every 10 degrees in both planes, as `predict --around` has it.

    `frequencies` (F,) in Hz and `volts` in V rms as for `predict`. Pressures come as rms phasors (F,) in Pa by plane,
    `horizontal` to the left (negative) and right or `vertical` down (negative) and up, and angle in degrees; averages
    of ANSI/CTA-2034-A as squared pressures (F,) in Pa2, their indices in dB; and what reaches the kit's seats.

    Raises KitError as `predict` does, where the listening distance does not clear the cabinet, and for a cabinet that
    is neither in a wall nor of known size.
    """
    from system.answers import read_only
    from system.around import around as on_all_sides

    return read_only(on_all_sides(kit, predict(kit, variant, frequencies, volts, detail=False)))


def limits(kit: Kit, variant: str | Variant, frequencies: Frequencies | None = None, seed: int = 0) -> Ceilings:
    """What gives first, at how many volts, how loud and how hot: on sines, on the programme, and over hours.

    `frequencies` (F,) are in Hz as for `predict`; the programme's moments are drawn with `seed`. Curves over frequency
    are (F,) in V rms, dB re 20 uPa at the listening point, temperatures over time (T,) in K.

    Sources stand with `system.limits`, `system.heat`, `system.distortion` (`docs/models`).

    Raises KitError as `predict` does.
    """
    from system.answers import read_only
    from system.ceilings import ceilings
    from system.checks import examine

    (result,) = ceilings(kit, [asked.variant(kit, variant)], asked.frequencies(frequencies), seed)
    examine(kit, [result.prediction])
    return read_only(result)


def protect(kit: Kit, variant: str | Variant, seed: int = 0) -> tuple[Verdict, ...]:
    """Whether each woofer of a variant needs a protective high-pass: a verdict a woofer, in hookup order.

    A `Verdict` has the word (`needed`, `helps`, `not_needed`, `makes_worse`, `undecided`), the choices from stock (F)
    with their margins (dB), costs and excursions (m, one-way peak), and how many builds, drawn with `seed`, it holds
    for. Its `curves` are (F,) in m over its own `frequency` (F,) in Hz, on a sine of its `sine_volts` (V rms).

    Raises KitError for a variant that is not there, and where the circuit has no solution or a link all but shorts the
    amplifier.
    """
    from system.answers import read_only
    from system.checks import examine_impedance
    from system.protect import Closely
    from system.protect import protect as judge

    chosen = asked.variant(kit, variant)
    examine_impedance(kit, [chosen])
    return read_only(judge(kit, chosen, Closely(asked.seed(seed))))


def stress(kit: Kit, variant: str | Variant) -> Stress:
    """What each fitted part bears against its ratings, and what to order: V, A and W, rms and peak; surfaces in K.

    On a swept sine at the amplifier's rated volts (V rms), and on the programme at clipping.

    Raises KitError for a variant that is not there, and where the circuit has no solution or a link all but shorts the
    amplifier.
    """
    from system.answers import read_only
    from system.ceilings import swept_case
    from system.checks import examine
    from system.stress import stress as borne

    case = swept_case(kit, asked.variant(kit, variant))
    examine(kit, [case.result])
    return read_only(borne(case))


def parts(kit: Kit, variants: Iterable[str | Variant] | None = None, count: int = 2) -> Shopping:
    """What to fit where and why, what to buy for `count` cabinets of any one of the variants, and the bags' labels.

    `variants` are all of the kit's where it is None. Values are in ohm, F and H, ratings in V, W and A, changes in dB.

    Raises KitError for a variant that is not there, a count outside 1 to 100, and where a circuit has no solution or a
    link all but shorts the amplifier.
    """
    from system.answers import read_only
    from system.checks import examine_impedance
    from system.shopping import shopping

    asked.within("count", count, 1, MOST_CABINETS, "cabinets")
    chosen = asked.variants(kit, variants)
    examine_impedance(kit, chosen)
    return read_only(shopping(kit, chosen, count))


def swap(
    kit: Kit,
    reference: str,
    what: str | Path,
    variants: Iterable[str | Variant] | None = None,
    settings: Iterable[str] = (),
) -> SwappedPart | SwappedDriver:
    """Whether another part or driver may take the place of what the kit has at `reference`, and what that changes.

    For a part, `what` is a value with its unit, a mapping, `link` or `omit`: `"1.2 mH"`,
    `"{coil: 1.2 mH, dc_resistance: 0.5 ohm}"`. For a driver, by its own or its hookup name, another one of the kit or a
    YAML file that holds one. `variants` are all of the kit's where it is None; one that is named gets the substitute
    even if it has a value of its own there. Since the substitute is read by the kit reader, `settings` must be those
    that `kit` was read with. Changes of level are in dB, of impedance in ohm, excursions in m (one-way peak); curves
    are (F,) on the summary's own grid.

    Raises KitError for a reference, substitute or variant that is none, for a kit that its file and `settings` do not
    give, and where a circuit has no solution.
    """
    from system.answers import SwappedDriver, SwappedPart, read_only
    from system.checks import examine
    from system.substitute import hookups_of, place_of, substitute_driver, substitute_part, unknown
    from system.swap import swap_part
    from system.swap_advice import advise
    from system.swap_driver import swap_driver

    given, chosen, text = tuple(settings), asked.variants(kit, variants), str(what)
    if load_kit(kit.path, given) != kit:
        raise usage_error(
            f"a kit that {kit.path} does not give with settings={given!r}", "the settings that load_kit was called with"
        )
    result: SwappedPart | SwappedDriver
    if place_of(kit, reference) is not None:
        made = substitute_part(kit, given, reference, text, chosen, variants is not None)
        swaps = tuple(swap_part(kit, made.kit, reference, chosen, made.untouched))
        result = SwappedPart(reference, text, swaps, {each.name: advise(each, reference) for each in swaps}, made.told)
    else:
        hookups = hookups_of(kit, reference)
        if not hookups:
            raise unknown(kit, reference)
        made = substitute_driver(kit, given, reference, text, chosen)
        fits = tuple(swap_driver(kit, made.kit, hookups, chosen, made.untouched))
        result = SwappedDriver(reference, text, fits, made.told)
    examine(made.kit, [each.after.result for each in result.swaps])
    return read_only(result)


def revalue(
    kit: Kit,
    variants: Iterable[str | Variant] | None = None,
    move: Iterable[str] = (),
    target: str | Path | None = None,
    seed: int = 0,
) -> Front:
    """Values for all variants at once: how good each can be against how many values differ between them.

    `variants` are all of the kit's where it is None. Only the parts in `move` may get other values, all that can where
    it is empty. `target` is `"flat"` or the file of a table (Hz, dB), the kit's own where it is None. Random starts are
    drawn with `seed`. Values are in ohm, F and H, deviations in dB over the front's own `frequency` (F,) in Hz. It may
    take minutes.

    Raises KitError for a variant that is not there, parts that cannot move, a target that is none, and where no values
    in stock keep every limit.
    """
    from system.aims import read_target
    from system.revalue import revalue as search

    spec, moving = kit.revalue, tuple(move)
    if moving:
        spec = replace(spec, move=moving)
    if target is not None:
        spec = replace(spec, target=read_target(str(target)))
    return search(kit, asked.variants(kit, variants), spec, asked.seed(seed))


def spread(
    kit: Kit,
    variant: str | Variant,
    builds: int | None = None,
    seed: int = 0,
    law: str | None = None,
    at_least: float = 0.9,
) -> SpreadOf:
    """How far apart copies of a variant come out, how many stay alike and inside the limits, and what decides.

    `builds` copies (the kit's own number where it is None) are drawn with `seed`, by the `law` `"uniform"` or
    `"normal"` (the kit's own where it is None). `at_least`, 0 to 1, is the share of them that is asked to stay inside.
    Bands are (F,) in dB and ohm over the result's own `frequency` (F,) in Hz, for 2.83 V rms.

    Raises KitError for a variant that is not there, other laws, fewer than 100 or more than 1000000 builds, a share
    outside 0 to 1, and where the circuit has no solution or a link all but shorts the amplifier.
    """
    from system.answers import SpreadOf, read_only, widened
    from system.builds import LAWS
    from system.checks import examine_impedance
    from system.spread import spread as drawn

    count, how = kit.spread.builds if builds is None else builds, kit.spread.law if law is None else law
    asked.within("builds", count, FEWEST, MOST, "copies")
    if how not in LAWS:
        raise usage_error(f"law {how}", f"one of {', '.join(LAWS)}")
    asked.within("at_least", at_least, 0, 1, "of all copies")
    chosen = asked.variant(kit, variant)
    examine_impedance(kit, [chosen])
    result = drawn(kit, chosen, count, asked.seed(seed), how)
    return read_only(widened(SpreadOf, result, kit=kit, seed=seed, law=how, at_least=at_least))


def compare(
    *kits: Kit,
    variants: Iterable[str] | None = None,
    frequencies: Frequencies | None = None,
    volts: float = 2.83,
    against: str | None = None,
) -> Comparison:
    """The variants of one kit or of two side by side: predictions, worst cases, verdicts, and how alike they sound.

    `variants` are names that each of the kits has, all of its own where it is None. `frequencies` (F,) are in Hz and
    `volts` in V rms as for `predict`. `against` names the one that the others are matched with (dB), the first where it
    is None; with two kits, a word for the kit stands before each name. Worst excursions are in m (one-way peak), air
    speeds in m/s.

    Raises KitError for a variant that is not there, for frequencies or volts out of range, and where a circuit has no
    solution or a link all but shorts the amplifier.
    """
    from system.answers import read_only
    from system.compare import compare as beside

    if not kits:
        raise usage_error("nothing to compare", "one kit or more")
    names = None if variants is None else tuple(variants)
    chosen = [asked.variants(kit, names) for kit in kits]
    return read_only(beside(kits, chosen, asked.frequencies(frequencies), asked.volts(volts), against))


def to_dict(result: object) -> dict[str, Any]:
    """A result of this module as plain data, exactly as the command's JSON has it; units stand in the names.

    Of `predict`, `limits`, `protect` and `stress` it is what stands under the variant's name, of `around` what stands
    there under `around`; of the others, all of the document but the kit's name and the findings, asked for that variant
    alone. What does not exist or is not finite is None. Frequencies of `predict`, `around` and `limits` (Hz) are the
    result's own `frequency`.

    Raises TypeError for anything else.
    """
    from system.sheets.answer_data import plain

    return plain(result)
