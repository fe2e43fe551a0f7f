"""The report as sheets of one page: what to stop for and what it will do, the bench sides, graphs, trust, sign-off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from system import wording
from system.assumptions import Assumption, Figures, RestsOn, crossed
from system.findings import Finding
from system.protect import alike
from system.report import Account, Report
from system.sheets import build_sheet, report_charts
from system.sheets.around_texts import seat_text, side
from system.sheets.pages.blocks import TICK, Beside, Block, Fields, Grid, Heading, Listing, Points, Sheet, Text
from system.sheets.parts_texts import (
    ACTIONS,
    PEAK,
    given_text,
    members_text,
    order_text,
    pair_text,
    part_words,
    size_text,
    stock_text,
)
from system.sheets.report_words import METHOD, TRUST
from system.sheets.texts import COMPARED, VERDICTS, cabinet_text, heading, placement_text
from system.shopping import Line, Spot
from system.workshop.cautionmodel import ALWAYS
from system.workshop.cautions import MOST_ON_TOP, Where, cautions

STANDING: tuple[Where, ...] = ("placement", "listening")  # whose cautions belong to where it stands
COMPUTED = "computed; nothing on this page was measured on this unit"
NONE = "None found for this build. What holds with every build stands on the bench side."


def sheets(report: Report) -> list[Sheet]:
    """In the order in which they are wanted."""
    accounts = report.accounts
    return [
        _first(report),
        *(_bench(report, account, number) for number, account in enumerate(accounts, 1)),
        Sheet("What it will do", _names(report), tuple(report_charts.questions(report)), "", "does", "Graphs"),
        Sheet("Where it stands, and where people sit", "", tuple(_places(accounts)), "", "stands", "Placement"),
        Sheet(
            "Assumptions, worst first", "", tuple(_assumptions(report)), "", "rests-on", "Assumptions"
        ),
        Sheet("Method, and how far to trust it", "", tuple(_method(report)), "", "method", "Method", "flowing"),
        Sheet("The kit file", report.kit.path.name, tuple(_echo(report)), "", "kit", "Kit file", "flowing"),
        Sheet("Sign-off", report.kit.name, tuple(_signed(report)), build_sheet.foot(report.kit, report.checksum),
              "signed", "Sign-off", "signed"),
    ]  # fmt: skip


def _names(report: Report) -> str:
    return wording.listed([account.variant.name for account in report.accounts])


def _first(report: Report) -> Sheet:
    job = report.job
    left = Fields((("job", job.number), ("serials", ", ".join(job.serials)), ("date", job.date)))
    right = Fields(
        (
            ("figures", _standing(report)),
            ("amplifier, signal", heading(report.kit).removeprefix(f"{report.kit.name}: ")),
            ("kit file", report.kit.path.name),
            ("its SHA-256", report.checksum),
        )
    )
    return Sheet(
        title=report.kit.name,
        under=f"Report on {_names(report)}",
        blocks=(
            Beside((left,), (right,), 0.38),
            *_stops(report),
            Heading("Does the woofer need a protective high-pass?"),
            _verdicts(report),
            Heading("Side by side" if len(report.accounts) > 1 else "In short"),
            _side_by_side(report),
        ),
        foot="",
    )


def _standing(report: Report) -> str:
    if report.measured is None:
        return COMPUTED
    return f"computed; impedance also measured on this unit: {report.measured.name}"


def _stops(report: Report) -> Iterator[Block]:
    """Three lines at most: the gravest cautions that this build triggers, then the first warning there is."""
    found: dict[str, tuple[int, list[str]]] = {}
    for account in report.accounts:
        for caution in account.sheet.cautions:
            if caution.urgency > ALWAYS:
                found.setdefault(caution.short, (caution.urgency, []))[1].append(account.variant.name)
    grave = sorted(found.items(), key=lambda each: -each[1][0])  # stable
    lines = [f"{_of(names, report)}{short}" for short, (_, names) in grave]
    warnings = [_finding(finding) for finding in report.findings if finding.severity == "warning"]
    shown = [*lines[: MOST_ON_TOP - bool(warnings)], *warnings[:1]]
    yield Heading("Stops")
    yield Points(tuple(shown) or (NONE,), "box" if shown else "dash")
    if shown:
        sides = "bench sides" if len(report.accounts) > 1 else "bench side"
        yield Text(
            f"These come first; what triggers them, and what else there is, stands on the {sides} and under method."
        )


def _of(names: Sequence[str], report: Report) -> str:
    return "" if len(names) == len(report.accounts) else f"{wording.listed(names)}: "


def _finding(finding: Finding) -> str:
    allowed = f"; {finding.allowed}" if finding.allowed else ""
    return f"{finding.message or finding.found}{allowed}"


def _verdicts(report: Report) -> Grid:
    rows = []
    for account in report.accounts:
        groups = alike(account.verdicts)
        for verdict, woofers in groups:
            whose = f", {wording.listed(woofers)}" if len(groups) > 1 else ""
            rows.append((f"{account.variant.name}{whose}", VERDICTS[verdict.verdict], verdict.because))
        if not groups:
            rows.append((account.variant.name, wording.NOTHING, "no woofers"))
    title = "Verdict for each variant" if len(report.accounts) > 1 else "Verdict"
    return Grid(("variant", "verdict", "because"), tuple(rows), title, heads=True)


def _side_by_side(report: Report) -> Grid:
    columns = [account.column for account in report.accounts]
    rows = [(label.strip(), *(cell(column) for column in columns)) for label, cell in COMPARED]
    names = [account.variant.name for account in report.accounts]
    title = "Variants side by side" if len(names) > 1 else f"{names[0]} in short"
    return Grid(("", *names), tuple(rows), title, heads=True)


def _bench(report: Report, account: Account, number: int) -> Sheet:
    sheet, name = account.sheet, account.variant.name
    return Sheet(
        title=f"Bench side: {name}",
        under=f"{report.kit.name}. {build_sheet.under_of(sheet)}",
        blocks=(
            build_sheet.minded(sheet.cautions[:MOST_ON_TOP], "box"),
            Heading("Parts plan"),
            _parts(account),
            *_members(account),
            Heading("To buy, for one cabinet"),
            *_buy(report, name),
            Beside(
                (Heading("Wiring, point by point"), build_sheet.wiring(sheet.joints)),
                (
                    Heading("Polarity"),
                    build_sheet.polarity(sheet.polarities),
                    *build_sheet.polarity_words(sheet.polarities),
                    Heading("On the board"),
                    build_sheet.on_the_board(sheet),
                ),
                0.5,
            ),
            Heading("The meter must read, in ohm"),
            Text(build_sheet.MEASURE),
            build_sheet.readings(sheet),
            Heading("Mind also"),
            build_sheet.minded(sheet.cautions[MOST_ON_TOP:]),
        ),
        foot=build_sheet.foot(report.kit, report.checksum),
        anchor=f"bench-{number}",
        label=f"Bench: {name}",
        place="bench",
    )


def _parts(account: Account) -> Grid:
    rows = tuple(_part(account, reference, spot) for reference, spot in account.sheet.spots.items())
    header = ("place", "do", "part", "from, to", "bears here", "order at least", "kit has", "verdict", "done")
    return Grid(header, rows, f"Parts plan of {account.variant.name}", heads=True)


def _part(account: Account, reference: str, spot: Spot) -> tuple[str, ...]:
    place = spot.reason.place
    kind = place.part.kind
    head = (reference, ACTIONS[spot.reason.action], build_sheet.part_of(spot), " to ".join(place.between))
    found = account.known.stress.parts.get(reference)
    if found is None or spot.need is None:
        return (*head, "", "", "", "", TICK)
    peak = PEAK.get(spot.need.kind, "")
    bears = f"{size_text(kind, spot.bears, 2)}{peak}"
    if found.surface is not None:
        bears += f", {wording.degrees(found.surface.temperature)}"
    given = given_text(kind, _rating(found.ratings, spot.need.kind), spot.need)
    return (*head, bears, order_text(kind, spot.need), given, found.verdict.replace("_", " "), TICK)


def _rating(ratings: Sequence[object], kind: str) -> float | None:
    return next((rated.rating for rated in ratings if rated.kind == kind), None)  # type: ignore[attr-defined]


def _members(account: Account) -> Iterator[Block]:
    """What is made of several, and what each of them bears."""
    made = tuple(f"{name}: {members_text(spot)}" for name, spot in account.sheet.spots.items() if spot.members)
    if made:
        yield Points(made)


def _buy(report: Report, name: str) -> Iterator[Block]:
    lines = [line for line in report.bag.lines if line.each[name]]
    if not lines:
        yield Text("Nothing: no part is fitted.")
        return
    rows = tuple(_line(report, line, line.each[name]) for line in lines)
    header = ("pieces", "part", "order at least", "kit has", "for", "from stock, each")
    yield Grid(header, rows, f"To buy for {name}")


def _line(report: Report, line: Line, count: int) -> tuple[str, ...]:
    wanted = line.wanted
    one = replace(line, count=1)  # prices are told of one
    offered = [stock_text(one, report.kit.stock.of(wanted.kind)), *pair_text(wanted, line.offer), *line.offer.remarks]
    return (
        str(count),
        part_words(wanted),
        size_text(wanted.kind, wanted.rating),
        size_text(wanted.kind, line.given),
        " ".join(line.places),
        "; ".join(dict.fromkeys(offered)),
    )


def _places(accounts: Sequence[Account]) -> Iterator[Block]:
    """Placement and seats, variant by variant."""
    for number, account in enumerate(accounts, 1):
        variant, seating = account.variant, account.seating
        yield Heading(f"Where may people sit? {variant.name}")
        yield Text(
            f"Cabinet {cabinet_text(variant)}, {placement_text(variant.placement)}; heard from"
            f" {variant.listening.distance:g} m."
        )
        if seating is not None:
            yield Points(tuple(f"{side(seat)}: {seat_text(seat)}" for seat in seating.seats))
        yield from report_charts.seats(account, number)
        told = [c for where in STANDING for c in cautions(account.known.kit, variant, where, account.known)]
        yield build_sheet.minded(list({each.short: each for each in told}.values()))


ASSUMED = (
    "Each is taken to be a fifth less and a fifth more than stated, alone, and the variant is worked out again. Margin:"
    " of the woofer that the verdict goes by, its protective place linked; below 0 dB it is over its limit. Worst"
    " first: by the margin, then by the -3 dB point."
)


def _assumptions(report: Report) -> Iterator[Block]:
    yield Text(ASSUMED)
    for account in report.accounts:
        found = account.rests_on
        yield Heading(f"{account.variant.name}: as stated {_figures(found)}")
        header = (
            "what", "stated as", "from", "margin, 20 % less", "margin, 20 % more", "-3 dB point, 20 % less",
            "-3 dB point, 20 % more", "level, 20 % less", "level, 20 % more",
        )  # fmt: skip
        rows = tuple(_assumption(found, each) for each in found.assumptions)
        yield Grid(header, rows, f"Assumptions of {account.variant.name}", heads=True)
        if found.others:
            yield Text(
                "Assumed besides, and not varied, since it is no number of these or moves none of these figures:"
            )
            yield Points(tuple(dict.fromkeys(_finding(each) for each in found.others)))


def _figures(found: RestsOn) -> str:
    base = found.base
    whose = f" of {found.woofer}" if found.woofer else ""
    return (
        f"margin {wording.decibels(base.margin, sign=True)}{whose}, -3 dB {wording.hertz(base.minus_3)},"
        f" {wording.decibels(base.level)} (2.83 V, 1 m)"
    )


def _assumption(found: RestsOn, each: Assumption) -> tuple[str, ...]:
    tried = (each.less, each.more)
    return (
        each.name,
        each.value,
        each.origin,
        *(_margin(found.base, then) for then in tried),
        *(wording.NOTHING if then is None else wording.hertz(then.minus_3) for then in tried),
        *(wording.NOTHING if then is None else _change(then.level - found.base.level) for then in tried),
    )


def _change(decibels: float) -> str:
    rounded = round(decibels, 1) + 0.0  # no minus before a zero
    return wording.decibels(rounded, sign=bool(rounded))


def _margin(base: Figures, then: Figures | None) -> str:
    if then is None or then.margin is None:
        return wording.NOTHING
    what = crossed(base, then)
    return f"{then.margin:+.1f} dB{f': {what}' if what else ''}"


def _method(report: Report) -> Iterator[Block]:
    yield Heading("Method")
    yield Points(METHOD)
    yield Heading("Limits of trust")
    yield Points(TRUST)
    open_ = {
        f"{item.what}: {item.why}": None for account in report.accounts for item in account.known.limits.not_judged
    }
    if open_:
        yield Heading("Not judged")
        yield Points(tuple(open_))
    if report.findings:
        yield Heading("What there is to say of the kit file")
        told = {f"line {f.line}: {f.severity}: {_finding(f)}": None for f in report.findings}
        yield Points(tuple(told))


def _echo(report: Report) -> Iterator[Block]:
    if report.settings:
        yield Text("Put in for this report, and not in the file:", strong=True)
        yield Listing(tuple(f"--set {setting}" for setting in report.settings))
    yield Text(f"As it was read; {build_sheet.foot(report.kit, report.checksum)}")
    yield Listing(tuple(report.text.splitlines()))


def _signed(report: Report) -> Iterator[Block]:
    yield Fields((("variant built", report.accounts[0].variant.name if len(report.accounts) == 1 else ""),))
    yield Fields(report.job.fields)
    yield Beside((Fields(((build_sheet.SIGNED[0], ""),)),), (Fields(((build_sheet.SIGNED[1], ""),)),))
