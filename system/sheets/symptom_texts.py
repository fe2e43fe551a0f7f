"""The text of `symptom`: checks in order, then what each mistake would read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from system import wording
from system.bench.complaints import COMPLAINTS, EFFORT_WORDS
from system.bench.suspects import Suspect
from system.bench.symptoms import Check, Symptom, reads_words, window_words
from system.kit import Kit
from system.sheets.symptom_data import words
from system.sheets.tables import table, wrap

GONE = -40.0  # dB, from which a change is called a hole


def every() -> str:
    """All complaints, and how to ask."""
    rows = [[word, each.title] for word, each in COMPLAINTS.items()]
    lines = ["What is wrong? kitwright symptom WORD [KIT.yaml], with one of these words:", ""]
    lines += table(["word", "what is heard or seen"], rows, indent="  ")
    lines += ["", *wrap("Many other words are understood: bright, tinny, bottoming. With a kit, checks have figures.")]
    return "\n".join(lines)


def plain(found: Symptom) -> str:
    """Without a kit: words only."""
    lines = [f"{found.word}: {found.complaint.title}", *wrap(ORDER), *_checks(found.checks)]
    lines += ["", *wrap("Meter readings, rows of the sweep and volts need the kit: kitwright symptom WORD KIT.yaml")]
    return "\n".join(lines)


ORDER = "In this order: nothing is opened or soldered before what costs nothing has been looked at."


def symptoms(kit: Kit, found: Sequence[Symptom]) -> str:
    """A block a variant: the checks with their figures, then the mistakes that would do this."""
    first = found[0]
    lines = [f"{kit.name}, {first.word}: {first.complaint.title}", *wrap(ORDER)]
    for each in found:
        assert each.variant is not None
        lines += ["", f"{each.variant.name}:", *_checks(each.checks), *_suspects(each.suspects)]
    return "\n".join(lines)


def _checks(checks: Sequence[Check]) -> Iterator[str]:
    for i, check in enumerate(checks, 1):
        only = f" ({check.only})" if check.only else ""
        yield ""
        yield from wrap(f"{EFFORT_WORDS[check.effort]}{only}: {check.do}", "      ", f"  {i:>2}. ")
        yield from wrap(f"right: {check.right}", "        ", "      ")
        yield from wrap(f"if not: {check.wrong}", "        ", "      ")
        yield from wrap(f"proof: {check.proof}", "        ", "      ")
        told = [*check.figures, *map(window_words, check.windows)]
        told += [f"{wording.ohms(ohm)} at {wording.hertz(hz)}" for hz, ohm in check.rows]
        if told:
            yield from wrap(f"here: {'; '.join(told)}", "        ", "      ")
        if check.suspects:
            yield from wrap(f"would show: {'; '.join(map(words, check.suspects))}", "        ", "      ")


def _suspects(suspects: Sequence[Suspect]) -> Iterator[str]:
    if not suspects:
        return
    yield ""
    yield from wrap("mistakes that would do this, the likelier first, and how each is told:", "  ")
    for suspect in suspects:
        yield from wrap(f"{words(suspect)}: {'; '.join(_told(suspect))}", "      ", "    - ")


def _told(suspect: Suspect) -> Iterator[str]:
    """What tells it, and what does not."""
    if suspect.meter is not None:
        wrong, right = suspect.meter.wrong, suspect.meter.right
        between = f"{' to '.join(right.between)}, drivers {right.drivers}"
        yield f"meter {between}: {reads_words(wrong)} instead of {reads_words(right)}"
    if suspect.sweep is not None:
        at, row = wording.hertz(suspect.sweep.frequency), suspect.sweep
        yield f"sweep at {at}: {wording.ohms(row.wrong)} instead of {wording.ohms(row.right)}"
    blind = [name for name, proof in (("meter", suspect.meter), ("sweep", suspect.sweep)) if proof is None]
    if blind:
        yield f"{' and '.join(blind)} cannot show it"
    if suspect.heard is not None and suspect.heard_at is not None:
        at = wording.hertz(suspect.heard_at)
        change = "silence" if suspect.heard < GONE else wording.decibels(suspect.heard, sign=True)
        yield f"heard: {change} at {at}"
