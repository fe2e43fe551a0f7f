"""The circuit that results in a variant: what hangs, what is shorted, and what a link or an omission does at dc."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from enclosures.frozen import frozen
from system.circuit import Circuit, Joined
from system.context import Context, Path_
from system.document import nearest
from system.kit import Hookup, Place

Places = Mapping[str, Place]
Hookups = Mapping[str, Hookup]


def circuit(source: tuple[str, str], places: Places, hookups: Hookups) -> Circuit:
    """Fitted places and drivers as edges between points that links have joined."""
    joined = Joined(place.between for place in places.values() if place.state == "link")
    fitted = {name: place for name, place in places.items() if place.state == "fit"}
    ends = {name: place.between for name, place in fitted.items()}
    ends |= {name: (hookup.plus, hookup.minus) for name, hookup in hookups.items()}
    ohms = {name: _ohms(place) for name, place in fitted.items()}
    ohms |= {name: hookup.driver.re for name, hookup in hookups.items()}
    edges = {name: (joined.at(a), joined.at(b)) for name, (a, b) in ends.items()}
    return Circuit((joined.at(source[0]), joined.at(source[1])), edges, ohms)


def _ohms(place: Place) -> float:
    return {"capacitor": math.inf, "coil": place.part.resistance, "resistor": place.part.value}[place.part.kind]


def check_circuit(
    variant: str,
    source: tuple[str, str],
    places: Places,
    hookups: Hookups,
    omitted: Sequence[Hookup],
    lowest_load: float | None,
    reason: str,
    context: Context,
) -> None:
    """Report what is wrong with the circuit of `variant`, each cause once."""
    board = _Board(variant, source, places, hookups, {h.name: h for h in omitted}, reason, context)
    board.check(lowest_load)
    board.note_reversed()


@frozen
class _Board:
    variant: str
    source: tuple[str, str]
    places: Places
    hookups: Hookups
    omitted: Hookups
    reason: str
    context: Context

    def check(self, lowest_load: float | None) -> None:
        made = circuit(self.source, self.places, self.hookups)
        links = [name for name, place in self.places.items() if place.state == "link"]
        if made.shorted:
            blame = self._blame(links, lambda c: not c.shorted)
            found = f"{self.variant}: {_list(blame)} {_verb(blame, 'joins', 'join')} the input's two points"
            allowed = "the amplifier would drive a short circuit"
            self.context.report.error("input_shorted", self._path(blame), found, allowed)
            return
        told = self._check_tweeters(made)
        if lowest_load is not None:
            told |= self._check_load(made, links, lowest_load / 2, told)
        self._check_hanging(made, told)

    def _with(self, names: Iterable[str]) -> Circuit:
        """The circuit with these places fitted and these drivers hooked up."""
        chosen = set(names)
        places = {name: replace(place, state="fit") if name in chosen else place for name, place in self.places.items()}
        hookups = {**self.hookups, **{name: hookup for name, hookup in self.omitted.items() if name in chosen}}
        return circuit(self.source, places, hookups)

    def _blame(self, names: Sequence[str], cured: Callable[[Circuit], bool]) -> list[str]:
        """The fewest of `names` that cure the fault when they are fitted: one if one will do; none if all will not."""
        single = next((name for name in names if cured(self._with([name]))), None)
        if single is not None:
            return [single]
        if not cured(self._with(names)):
            return []
        needed = list(names)
        for name in names:
            fewer = [other for other in needed if other != name]
            if cured(self._with(fewer)):
                needed = fewer
        return needed

    def _path(self, names: Sequence[str]) -> Path_:
        """Where the variant, or else the crossover, says what it says of the first of these places or drivers."""
        here = ("variants", self.variant)
        if not names:
            return here
        tries: tuple[Path_, ...] = (
            (*here, "parts", names[0], "state"),
            (*here, "parts", names[0]),
            (*here, "hookup", names[0]),
            ("crossover", "parts", names[0], "normally"),
            ("crossover", "parts", names[0]),
            ("crossover", "hookup", names[0]),
        )
        return next((path for path in tries if self.context.has(path)), here)

    def _changed(self) -> list[str]:
        return [name for name, place in self.places.items() if place.state != "fit"]

    def _cause(self, blame: Sequence[str]) -> str:
        """The states that are to blame, in words: C1 linked and R1 left out."""
        return _list([f"{name} {_WORDS[self._state(name)]}" for name in blame])

    def _state(self, name: str) -> str:
        return self.places[name].state if name in self.places else "omit"

    def _check_tweeters(self, made: Circuit) -> set[str]:
        """A tweeter that carries dc only because of a link or an omission. Returns what is to blame."""
        changed = self._changed()
        before, now = self._with(changed).live_at_dc(), made.live_at_dc()
        told: set[str] = set()
        for name, hookup in self.hookups.items():
            if hookup.driver.role == "tweeter" and name in now and name not in before:
                blame = self._blame(changed, lambda c, name=name: name not in c.live_at_dc())  # type: ignore[misc]
                told.update(blame)
                found = f"{self.variant}: with {self._cause(blame)}, direct current reaches {name}, a tweeter"
                self.context.report.error("tweeter_dc", self._path(blame), found, "keep its capacitor fitted")
        return told

    def _check_load(self, made: Circuit, links: list[str], least: float, told: set[str]) -> set[str]:
        """The resistance at the input under `least` (ohm) because of links. Returns what is to blame."""
        ohm = made.input_resistance()
        if ohm >= least or not links or self._with(links).input_resistance() < least:
            return set()
        silenced = set(self.hookups) - made.live()
        links = sorted(links, key=lambda name: not silenced & self._with([name]).live())  # what shorts a driver first
        blame = self._blame(links, lambda c: c.input_resistance() >= least)
        if not set(blame) <= told:
            found = f"{self.variant}: with {self._cause(blame)}, the input has {ohm:.2f} ohm at dc"
            allowed = f"half of amplifier.lowest_load, {least:g} ohm, is the least"
            self.context.report.error("link_shorts_load", self._path(blame), found, allowed)
        return set(blame)

    def _check_hanging(self, made: Circuit, told: set[str]) -> None:
        live = made.live()
        dead = {name: ends for name, ends in made.edges.items() if name not in live}
        by_cause: dict[tuple[str, ...], list[str]] = {}
        changed = [*self._changed(), *self.omitted]
        for number, group in enumerate(_groups(dead, keep_apart=set(made.source) | _points(made, live))):
            blame = self._blame(changed, lambda c, group=group: set(group) <= c.live())  # type: ignore[misc]
            if not blame or not set(blame) <= told:
                by_cause.setdefault(tuple(blame) or ("", str(number)), []).extend(group)
        causes = [([] if key[0] == "" else list(key), group) for key, group in by_cause.items()]
        for blame, group in _with_their_driver(causes, set(self.hookups)):
            self._report_dead(group, blame, dead, made)

    def _report_dead(
        self, group: list[str], blame: list[str], dead: Mapping[str, tuple[str, str]], made: Circuit
    ) -> None:
        drivers = [name for name in group if name in self.hookups]
        shorted = [name for name in group if dead[name][0] == dead[name][1]]
        path = self._path(blame or drivers or group)
        if len(shorted) == len(group) and not drivers:
            who = f"{_list(blame)} {_verb(blame, 'bridges', 'bridge')}" if blame else "a link bridges"
            self.context.report.note(
                "part_bridged", path, f"{self.variant}: {who} {_list(group)} too", "no current flows there"
            )
            return
        if drivers and set(drivers) <= set(shorted):
            code, what = "driver_shorted", f"{_list(drivers)} {_verb(drivers, 'has', 'have')} both marks on one point"
        elif drivers:
            parts = [name for name in group if name not in drivers]
            code, what = (
                "driver_unconnected",
                f"{_list(drivers)} {_verb(drivers, 'has', 'have')} no path to both input points",
            )
            what += f", nor {_verb(parts, 'has', 'have')} {_list(parts)}" if parts else ""
        else:
            code, what = "part_hangs", f"{_list(group)} {_verb(group, 'leads', 'lead')} nowhere"
        found = f"{self.variant}: {f'with {self._cause(blame)}, ' if blame else ''}{what}"
        reason = self.reason or self._reason_of(blame or ([] if drivers else group))
        if reason:
            self.context.report.warning(code, path, found, f"computed as it stands, because: {reason}")
        else:
            self.context.report.error(code, path, found, self._hint(group, made, blame))

    def _reason_of(self, names: Iterable[str]) -> str:
        """What the places to blame, or else the parts that hang, give as their reason."""
        return next((reason for name in names if name in self.places and (reason := self.places[name].reason)), "")

    def _hint(self, group: list[str], made: Circuit, blame: list[str]) -> str:
        """What could help: the point that was probably meant, or a reason."""
        counts = Counter(point for ends in made.edges.values() for point in ends)
        first = sorted(group, key=lambda name: name not in self.hookups)
        loose = [p for name in first for p in made.edges[name] if counts[p] == 1 and p not in made.source]
        if loose and not blame:
            guess = nearest(loose[0], [*made.source, *(point for point in counts if point not in loose)])
            return f"nothing else is at point {loose[0]}{f': did you mean {guess}?' if guess else ''}"
        return (
            f"fit {'it' if len(blame) == 1 else 'them'}, or give the variant a reason"
            if blame
            else "give the variant a reason"
        )

    def note_reversed(self) -> None:
        """A driver is against its marks if only its minus leads to the hot point on its own side of the driver."""
        made = circuit(self.source, self.places, self.hookups)
        for name, hookup in self.hookups.items():
            way = made.way_round(name)
            path = ("crossover", "hookup", name)
            if way == "against_its_marks" and not hookup.reversed_on_purpose:
                found = f"{name} is wired against its marks: minus on {hookup.minus}, plus on {hookup.plus}"
                self.context.report.note(
                    "driver_reversed", path, found, "if it is meant, write reversed: on_purpose", key=True
                )
            elif way == "by_its_marks" and hookup.reversed_on_purpose:
                found = f"{name} is said to be reversed, and is wired by its marks"
                self.context.report.warning(
                    "not_reversed", (*path, "reversed"), found, "swap plus and minus, or leave reversed out"
                )


_WORDS = {"link": "linked", "omit": "left out"}


def _verb(names: Sequence[str], one: str, several: str) -> str:
    return one if len(names) == 1 else several


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _with_their_driver(
    causes: list[tuple[list[str], list[str]]], drivers: set[str]
) -> list[tuple[list[str], list[str]]]:
    """(blame, group) pairs; without blame, parts that lead nowhere go with the one driver that is cut off."""
    cut_off = [group for blame, group in causes if not blame and drivers & set(group)]
    if len(cut_off) != 1:
        return causes
    loose = [group for blame, group in causes if not blame and not drivers & set(group)]
    for group in loose:
        cut_off[0].extend(group)
    return [(blame, group) for blame, group in causes if group not in loose]


def _points(made: Circuit, live: Iterable[str]) -> set[str]:
    return {point for name in live for point in made.edges[name]}


def _groups(dead: Mapping[str, tuple[str, str]], keep_apart: set[str]) -> list[list[str]]:
    """Dead edges that hang together, not counting what hangs together through points that are alive."""
    joined = Joined(
        (f"={name}", f"={other}")
        for name, ends in dead.items()
        for other, ends_too in dead.items()
        if (set(ends) & set(ends_too)) - keep_apart
    )
    groups: dict[str, list[str]] = {}
    for name in dead:
        groups.setdefault(joined.at(f"={name}"), []).append(name)
    return list(groups.values())
