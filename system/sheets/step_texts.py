"""The step of the baffle in words: what is left of it, what the board makes up, and which value would do the rest."""

from __future__ import annotations

from system import wording
from system.step import NEAR, Balance, Setting, Step, Unjudged

LITTLE = 0.05  # dB: less reads as nothing


def step_text(step: Step | Unjudged) -> str:
    """One line of `predict`."""
    if isinstance(step, Unjudged):
        return f"step of the baffle: not judged, {step.why}"
    low, high = (_range(each) for each in (step.low, step.high))
    asked = f", the target asks for {step.asked:+.1f} dB" if abs(step.asked) >= LITTLE else ""
    return (
        f"step of the baffle: as placed, {low} {_loses(step.step)} against {high},"
        f" and the board {_gives(step.correction)}{asked}: {_needed(step)}{_named(step)}"
    )


def _range(ends: tuple[float, float]) -> str:
    low, high = ends
    return f"{low:.0f} to {wording.hertz(high)}" if high < 1000 else f"{low / 1000:g} to {wording.hertz(high)}"


def _loses(step: float) -> str:
    if abs(step) < LITTLE:
        return "loses nothing"
    return f"loses {step:.1f} dB" if step > 0 else f"gains {-step:.1f} dB"


def _gives(correction: float) -> str:
    if abs(correction) < LITTLE:
        return "gives it nothing"
    return f"gives it {correction:.1f} dB" if correction > 0 else f"takes {-correction:.1f} dB from it"


def _left(needed: float) -> str:
    """What remains once a value is in its place."""
    if abs(needed) < LITTLE:
        return "nothing"
    return f"{needed:+.1f} dB to be made up" if needed > 0 else f"{-needed:.1f} dB too much"


def _needed(step: Step) -> str:
    about = f"(+-{step.scatter:.1f} dB about the seat)"
    if abs(step.needed) < LITTLE:
        return f"needs no more correction {about}"
    if step.needed > 0:
        return f"still needs {step.needed:+.1f} dB of correction {about}"
    return f"has {-step.needed:.1f} dB more correction than it needs {about}"


def _named(step: Step) -> str:
    if step.place is None:
        return ""
    if step.setting is None:
        return f"; {wording.place(step.place)} here, so no value of it is tried"
    return f"; {setting_text(step.setting)}"


def setting_text(setting: Setting) -> str:
    """Which value of the part to take, what that leaves, and what forbids a better one."""
    best, own = setting.best, setting.own
    name, value = setting.reference, wording.part_value(setting.part.kind, best.value)
    drawn = wording.part_value(setting.part.kind, own.value)
    if best is own:
        text = f"no other value of {name} in stock does better than its {drawn} (lowest {_ohm(best.lowest)})"
    else:
        text = (
            f"{name} {value} instead of {drawn} leaves {_left(best.needed)}"
            f" (level {best.level - own.level:+.1f} dB, lowest {_ohm(best.lowest)})"
        )
    if abs(best.needed) > NEAR:
        allowed = " that keeps the lowest load" if setting.barred else ""
        text += f", and nothing in stock from a quarter to four times it{allowed} comes within {NEAR:g} dB"
    return text + _barred(setting.barred, setting)


def _barred(barred: Balance | None, setting: Setting) -> str:
    if barred is None:
        return ""
    return (
        f"; {wording.part_value(setting.part.kind, barred.value)} would leave {_left(barred.needed)}, at"
        f" {_ohm(barred.lowest)}, below the {_ohm(setting.bound)} that it may not fall under"
    )


def _ohm(value: float | None) -> str:
    """Two decimals, since a limit is passed by less than a tenth too."""
    return wording.NOTHING if value is None else f"{value:.2f} ohm"
