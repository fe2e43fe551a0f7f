"""The part of `system.api` that belongs to the bench: what must be measured, and what measurements mean.

Used by way of `system.api`, which tells the units and how faults are raised.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from system import asked
from system.findings import COMMAND_LINE, Finding, KitError, usage_error

if TYPE_CHECKING:
    from system.answers import Characterised, ExpectedOf
    from system.asked import Frequencies
    from system.bench.characterise import Batch
    from system.bench.meter import Reading
    from system.bench.sweeps import MicrophoneTable, Sweep
    from system.bench.verify import Verified
    from system.kit import Kit, Variant


def expect(kit: Kit, variant: str | Variant, frequencies: Frequencies | None = None, seed: int = 0) -> ExpectedOf:
    """What an ohmmeter and an impedance sweep must read on a crossover built as drawn, and what each reading proves.

    The sweep is at `frequencies` (F,) in Hz as for `predict`: magnitude (F,) in ohm and phase (F,) in rad as drawn, of
    nine copies of ten (drawn with `seed`), and with the meter's error. Windows of readings are in ohm, inf where open.

    Raises KitError for a variant that is not there, for frequencies out of range, and where the circuit has no solution
    or a link all but shorts the amplifier.
    """
    from system.answers import ExpectedOf, read_only, widened
    from system.bench.expect import expect as right
    from system.checks import examine_impedance

    chosen = asked.variant(kit, variant)
    examine_impedance(kit, [chosen])
    result = right(kit, chosen, asked.frequencies(frequencies), seed=asked.seed(seed))
    return read_only(widened(ExpectedOf, result, kit=kit))


def verify(
    kit: Kit,
    variant: str | Variant,
    readings: str | Path | Sequence[Reading] | None = None,
    sweep: str | Path | Sweep | None = None,
    microphone: str | Path | MicrophoneTable | None = None,
    against: str | Path | Sweep | None = None,
) -> Verified:
    """Whether a finished loudspeaker is built as drawn, by what was measured of it, and what is likely wrong.

    Each measurement is a file or what was read from one: ohmmeter `readings` (ohm), an impedance `sweep` (Hz, ohm,
    degrees), a `microphone`'s response (Hz, dB, degrees), and `against`, the sweep of the other one of a pair. The
    result is `pass`, `marginal`, `fail`, `cannot_tell`; its curves are (F,) in ohm at the sweep's frequencies, and
    probabilities go from 0 to 1.

    Raises KitError for a variant that is not there, for nothing measured, for every fault of every file, for a sweep
    that is too short to be compared, and where the circuit has no solution.
    """
    from system.answers import read_only
    from system.bench.meter import read_readings
    from system.bench.sweeps import read_microphone, read_sweep
    from system.bench.verify import verify as judge

    if readings is sweep is microphone is None:
        raise usage_error("nothing that was measured", "give readings, sweep or microphone, or several of them")
    if against is not None and sweep is None:
        raise usage_error("against without sweep", "give the sweep of this loudspeaker too")
    one = asked.variant(kit, variant)
    faults: list[Finding] = []
    said = asked.read(readings, lambda path: read_readings(path, kit, one), faults) or ()
    swept, other = asked.read(sweep, read_sweep, faults), asked.read(against, read_sweep, faults)
    heard = asked.read(microphone, read_microphone, faults)
    if faults:
        raise KitError(faults, kit.name)
    try:
        return read_only(judge(kit, one, said, swept, heard, other))
    except KitError:
        raise
    except ValueError as error:
        file = swept.name if swept is not None else COMMAND_LINE
        refused = Finding("error", "sweep_refused", file, 1, 1, "", str(error), "sweep from 20 Hz to 20 kHz")
        raise KitError([refused], kit.name) from error


def characterise(
    sweep: str | Path | Sweep,
    *,
    dc: float | None = None,
    added_mass: tuple[float, str | Path | Sweep] | None = None,
    known_box: tuple[float, str | Path | Sweep] | None = None,
    diameter: float | None = None,
    model: str | None = None,
    creep: bool = False,
) -> Characterised:
    """A driver's figures with their 95 % intervals from its impedance in free air, and from a second sweep.

    A sweep is a file (Hz, ohm, degrees) or what was read from one. `dc` (ohm) is the resistance that a meter reads;
    `added_mass` is a mass in kg and the sweep with it on the cone, `known_box` a volume in m3 and the sweep on a closed
    box of it; `diameter` (m) is across the cone from middle to middle of the surround. `model` names the voice coil's
    model, the one the sweep supports where it is None; `creep` lets the suspension creep. Figures are in SI units by
    their kit keys; data that cannot carry them are refused in the result (`refused`), not raised.

    Raises KitError for every fault of a file, both kinds of second sweep at once, values out of range and a model that
    is none.
    """
    from system.answers import Characterised, read_only, widened
    from system.bench import characterise as bench
    from system.bench.fitting_models import COILS
    from system.bench.sweeps import read_sweep
    from system.document import advice

    if added_mass is not None and known_box is not None:
        raise usage_error("added_mass together with known_box", "one second sweep at a time")
    if model is not None and model not in COILS:
        raise usage_error(f"model {model}", advice(model, list(COILS)))
    asked.within("dc", dc, 0.1, 1000.0, "ohm")
    asked.within("diameter", diameter, 5e-3, 1.0, "m")
    asked.within("added_mass", added_mass[0] if added_mass else None, 1e-5, 1.0, "kg")
    asked.within("known_box", known_box[0] if known_box else None, 1e-5, 1.0, "m3")
    faults: list[Finding] = []
    first = asked.read(sweep, read_sweep, faults)
    second = None
    for method, given in (("added_mass", added_mass), ("known_box", known_box)):
        if given is not None and (other := asked.read(given[1], read_sweep, faults)) is not None:
            second = bench.Second(method, given[0], other)
    if faults or first is None:
        raise KitError(faults)
    area = None if diameter is None else bench.area(diameter)
    found = bench.characterise(first, dc, model, creep, second, area)
    return read_only(widened(Characterised, found, second=second))


def pairs(drivers: Sequence[Characterised]) -> Batch:
    """Several drivers of one kind put into pairs for left and right, with how far apart they are (relative, rms).

    Each comes from a sweep of its own by `characterise`; ranges of figures are in SI units by their kit keys, and
    impedances are compared in ohm over ohm. `to_dict` gives what `characterise --json` has of several sweeps.

    Raises KitError for fewer than two drivers.
    """
    from system.answers import read_only
    from system.bench.characterise import batch

    if len(drivers) < 2:
        raise usage_error(f"{len(drivers)} driver to put into pairs", "two or more, each from its own sweep")
    return read_only(batch(drivers))
