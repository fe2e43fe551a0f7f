"""Command lines of every command, right and wrong, about kits right and wrong: one case from one number."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache

from system.codes import CODES
from tests.support_fuzz_cases import HAND, LIST, READINGS, SWEEP, Case, Draft, Seed, seeds
from tests.support_fuzz_kits import LARGE, marked, readable, spoilt
from tests.support_fuzz_tables import spoilt_table
from tests.support_fuzz_tree import places, read
from tests.support_fuzz_values import MARKUP, NUMBERS, TEXTS, UNITS, scaled

WEIGHTS = {  # how often, in per mille; what takes long is rare
    "proofread": 560, "predict": 80, "expect": 40, "stress": 40, "parts": 35, "compare": 25, "explain": 40,
    "symptom": 30, "schema": 5, "start": 15, "overview": 15, "limits": 12, "protect": 12, "swap": 15, "revalue": 5,
    "spread": 8, "buildsheet": 14, "report": 8, "verify": 20, "characterise": 15, "bare": 6,
}  # fmt: skip

COMMON = ("--variant", "--set")
OPTIONS: dict[str, tuple[str, ...]] = {
    "proofread": ("--set", "--json"),
    "predict": (*COMMON, "--json", "-o", "--csv", "--volts", "--points", "--from", "--frequencies", "--netlist"),
    "compare": (*COMMON, "--json", "-o", "--csv", "--volts", "--points", "--against"),
    "limits": (*COMMON, "--json", "-o", "--csv", "--points"),
    "protect": (*COMMON, "--json", "-o", "--csv"),
    "parts": (*COMMON, "--json", "-o", "--csv", "--count", "--hand", "--wind", "--layout"),
    "stress": (*COMMON, "--json", "-o", "--csv"),
    "swap": (*COMMON, "--json", "-o", "--with", "--table"),
    "revalue": (*COMMON, "--json", "--move", "--target"),
    "spread": (*COMMON, "--json", "-o", "--csv", "--builds", "--law", "--at-least", "--seed"),
    "buildsheet": (*COMMON, "--json", "-o", "--cabinet", "--paper", "--job", "--serial"),
    "report": (*COMMON, "-o", "--job", "--serial", "--date", "--measured"),
    "expect": (*COMMON, "--json", "-o", "--csv", "--points", "--frequencies"),
    "verify": (*COMMON, "--json", "-o", "--csv", "--readings", "--sweep", "--microphone", "--against"),
    "symptom": (*COMMON, "--json", "-o"),
    "characterise": ("--json", "-o", "--csv", "--dc", "--diameter", "--model", "--creep", "--name", "--added-mass"),
    "explain": (),
    "schema": (),
    "start": ("-o", "--smallest", "--force"),
    "overview": COMMON,
    "bare": COMMON,
}
ALWAYS = {"predict": ["--points", "9"], "spread": ["--builds", "100"]}  # so that it takes little time
ENDINGS = {
    "report": [".html", ".html", ".txt"],
    "buildsheet": [".html", ".html", ".html", ".pdf", ".svg", ".png", ".txt"],
    "characterise": [".yaml", ".txt", ".json", ".svg"],
    "start": [".yaml", ""],
}
DRAWN = ("report", "buildsheet")
KIT = "kit/kit.yaml"


def case(number: int, only: tuple[str, ...] = ()) -> Case:
    """The case of this number: the same one every time."""
    chance = random.Random(number)
    names = [name for name in WEIGHTS if not only or name in only]
    command = chance.choices(names, [WEIGHTS[name] for name in names])[0]
    draft = Draft(command, _seed(command, chance))
    _kit_files(draft, chance)
    _words(draft, chance)
    if (not draft.mutations and chance.random() < 0.3) or chance.random() < 0.06:
        _wrong_words(draft, chance)
    draft.words = [_kept_inside(word) for word in draft.words]
    return draft.case()


def _kept_inside(word: str) -> str:
    """No word of a command line may lead out of the case's folder, where something might be overwritten."""
    return "out/x" if word.startswith("/") or ".." in word.split("/") else word


def _seed(command: str, chance: random.Random) -> Seed:
    every = seeds()
    light = [each for each in every if each.light]
    if command != "proofread" or chance.random() < 0.45:
        return chance.choice(light)
    if chance.random() < 0.5:
        return chance.choice(every[len(light) : len(light) + 2])
    return chance.choice(every[len(light) :])


def _kit_files(draft: Draft, chance: random.Random) -> None:
    seed = draft.seed
    draft.files.update({f"kit/{name}": content for name, content in seed.beside.items()})
    draft.files[KIT] = seed.kit.encode()
    draft.special += [("link", "kit/leads_out.txt", "../secret.txt"), ("link", "kit/loop.txt", "loop.txt")]
    draft.special += [("folder", "kit/deeper", ""), ("pipe", "kit/pipe.txt", "")]
    roll = chance.random()
    if draft.command in DRAWN and roll < 0.4:
        draft.files[KIT] = marked(seed.kit, chance)
        draft.mutations.append("own words marked")
    elif roll < (0.72 if draft.command == "proofread" else 0.45):
        draft.files[KIT], names = spoilt(seed.kit, chance)
        while draft.command != "proofread" and LARGE & set(names):
            draft.files[KIT], names = spoilt(seed.kit, chance)
        draft.mutations += names
    elif roll < 0.82 and seed.beside:
        name = chance.choice(sorted(seed.beside))
        draft.files[f"kit/{name}"], what = spoilt_table(seed.beside[name].decode("utf-8", "replace"), chance)
        draft.mutations.append(what)
    elif roll < 0.87:
        _replaced(draft, seed, chance)


def _replaced(draft: Draft, seed: Seed, chance: random.Random) -> None:
    """Instead of a file there is something else."""
    name = f"kit/{chance.choice([*sorted(seed.beside), 'kit.yaml'])}"
    kind, target = chance.choice([("link", "../secret.txt"), ("link", "nothing"), ("pipe", ""), ("folder", "")])
    del draft.files[name]
    draft.special.append((kind, name, target))
    draft.mutations.append(f"{kind} for a file")
    # the kit itself may be a link; what it names may not lead out
    draft.refused = draft.command == "proofread" and f"{name[4:]}" in seed.kit and seed.name in ("example", "full")


def _words(draft: Draft, chance: random.Random) -> None:
    command = draft.command
    draft.words += [] if command == "bare" else [command]
    _FIRST.get(command, _kit)(draft, chance)
    options = OPTIONS[command]
    for option in chance.sample(options, k=min(len(options), chance.choice([0, 1, 1, 2, 3]))):
        _option(draft, option, chance)
    if command in DRAWN and "-o" not in draft.words and chance.random() < 0.8:
        _option(draft, "-o", chance)
    if command in ALWAYS and ALWAYS[command][0] not in draft.words:
        draft.words += ALWAYS[command]
    if command == "swap" and not {"--with", "--table"} & set(draft.words):
        _option(draft, chance.choice(["--with", "--with", "--table"]), chance)
    if command == "verify" and "--against" in draft.words and "--sweep" not in draft.words:
        _option(draft, "--sweep", chance)
    if command == "verify" and not {"--sweep", "--readings", "--microphone"} & set(draft.words):
        _option(draft, chance.choice(["--sweep", "--readings", "--readings"]), chance)


def _kit(draft: Draft, chance: random.Random) -> None:
    draft.words.append(KIT)
    if draft.command == "swap":
        draft.words.append(chance.choice(["R1", "L1", "C3", "woofer", "dome", "nobody"]))
    if draft.command == "compare" and chance.random() < 0.3:
        content, names = spoilt(chance.choice(seeds()[:5]).kit, chance)
        if not LARGE & set(names):
            draft.files["kit/other.yaml"] = content
            draft.words.append("kit/other.yaml")
            draft.mutations += names


def _sweep(draft: Draft, chance: random.Random) -> None:
    for number in range(chance.choice([1, 1, 1, 2])):
        draft.words.append(_bench(draft, f"sweep{number}.txt", SWEEP.read_text(), chance))


def _symptom(draft: Draft, chance: random.Random) -> None:
    words = ["thin", "no tweeter", "hum", "boomy", *TEXTS[:40], *MARKUP]
    draft.words += chance.sample(words, k=chance.choice([0, 1, 1, 2]))
    draft.words += [KIT] if chance.random() < 0.5 else []
    draft.mutations.append("words")


def _explain(draft: Draft, chance: random.Random) -> None:
    draft.words.append(chance.choice([*CODES, "units", *TEXTS, *MARKUP]))
    draft.mutations.append("words")


_FIRST: dict[str, Callable[[Draft, random.Random], None]] = {
    "characterise": _sweep,
    "symptom": _symptom,
    "explain": _explain,
    "schema": lambda draft, _: None,
    "start": lambda draft, _: None,
}


def _name(draft: Draft, chance: random.Random) -> str:
    right = "first" if draft.seed.name == "smallest" else "one"
    return right if chance.random() < 0.8 else _word()(draft, chance)


def _against(draft: Draft, chance: random.Random) -> str:
    """Of `compare` a variant, of `verify` a sweep."""
    return _name(draft, chance) if draft.command == "compare" else _VALUES["--sweep"](draft, chance)


def _bench(draft: Draft, name: str, text: str, chance: random.Random) -> str:
    """A file that is not the kit's, often spoilt."""
    if chance.random() < 0.45:
        draft.files[f"bench/{name}"], what = spoilt_table(text, chance)
        draft.mutations.append(what)
    else:
        draft.files[f"bench/{name}"] = text.encode()
    return f"bench/{name}"


def _option(draft: Draft, option: str, chance: random.Random) -> None:
    value = _VALUES.get(option)
    if value is None:
        draft.words.append(option)
    elif option == "--added-mass":
        draft.words += [option, chance.choice(["10 g", "1 g", "nan", "0"]), value(draft, chance)]
    else:
        draft.words += [option, value(draft, chance)]


def _output(draft: Draft, chance: random.Random) -> str:
    ending = chance.choice(ENDINGS.get(draft.command, [".txt", ".json", ".svg", ".png", ".pdf", ""]))
    name = f"out/result{ending}"
    roll = chance.random()
    if roll < 0.08:
        draft.files[name] = b"old"
        draft.words += ["--force"] if chance.random() < 0.5 and "--force" not in draft.words else []
    elif roll < 0.2:
        draft.mutations.append("output")
        name = chance.choice(["out", "out/", "nowhere/x.txt", "out/pipe.txt", "out/dead.txt", "out/x.docx", "", "."])
        name = chance.choice(
            [name, "a" * 300 + ".txt", "out/\udcff.txt", "kit/kit.yaml", "secret.txt/x.txt", "~", "out/x/y"]
        )
        draft.special += [("pipe", "out/pipe.txt", ""), ("link", "out/dead.txt", "nothing")]
        draft.words += ["--force"] if chance.random() < 0.3 and name != KIT else []
    draft.outputs.append(name)
    return name


def _netlist(draft: Draft, chance: random.Random) -> str:
    draft.outputs.append("out/circuit.cir")
    return "out/circuit.cir"


def _csv(draft: Draft, chance: random.Random) -> str:
    roll = chance.random()
    if roll < 0.15:
        draft.files["out/csv"] = b"a file"
    elif roll < 0.3:
        draft.files["out/csv/first.csv"] = draft.files["out/csv/one_impedance.txt"] = b"old"
    draft.outputs.append("out/csv")
    return "out/csv"


def _setting(draft: Draft, chance: random.Random) -> str:
    """A path of the kit, or something like one, and a value."""
    paths = list(_paths(draft.seed.kit))
    odd = [
        "",
        ".",
        "a",
        "a.b.c",
        "variants",
        "drivers.woofer.",
        "variants.*.parts",
        "cabinets.box.chambers.99999999999",
    ]
    odd += ["cabinets.box.chambers." + "9" * 5000, "cabinets.box.chambers.-1", "kit.kit", "drivers.woofer.re.re"]
    odd += [".".join(["a"] * chance.choice([20, 2000])), "cabinets.box.chambers.\u0663", "variants.one.parts.C1"]
    path = chance.choice(paths) if paths and chance.random() < 0.75 else chance.choice([*odd, *TEXTS, *MARKUP])
    if chance.random() < 0.5:  # the same value another size, which may well be taken
        where, value = chance.choice([*_paths(draft.seed.kit).items()] or [("kit", "a")])
        return f"{where}={scaled(value, chance)}"
    values = [*NUMBERS, *TEXTS, "link", "omit", "[1, 2]", "{a: b}", "[" * 60, "{", "[*a]", "{a: 1, a: 2}", "!!int 3"]
    value = chance.choice([*values, *(f"{chance.choice(NUMBERS)} {unit}" for unit in UNITS[:12])])
    return f"{path}{chance.choice(['=', '=', '=', '', '=='])}{value}".replace("\0", "")


@lru_cache(maxsize=400)
def _paths(kit: str) -> dict[str, str]:
    """Every path of a kit, with the text that stands there."""
    tree = read(kit) if readable(kit) else []
    found = ((".".join(path), holder[index]) for holder, index, path in places(tree))
    return {path: value if isinstance(value, str) else "" for path, value in found}


def _number(*usual: str) -> Callable[[Draft, random.Random], str]:
    return lambda _, chance: chance.choice(usual) if chance.random() < 0.8 else chance.choice(NUMBERS)


def _word(*usual: str) -> Callable[[Draft, random.Random], str]:
    odd = [text.replace("\0", "") for text in (*TEXTS, *MARKUP, "\udcff")]
    return lambda _, chance: chance.choice(usual) if usual and chance.random() < 0.85 else chance.choice(odd)


def _file(name: str, text: str) -> Callable[[Draft, random.Random], str]:
    def value(draft: Draft, chance: random.Random) -> str:
        if chance.random() < 0.12:
            draft.mutations.append("file")
            return chance.choice(["kit/pipe.txt", "kit", "nothing", "", "-", "kit/loop.txt", "\udcff", "a" * 300, KIT])
        return _bench(draft, name, text, chance)

    return value


_VALUES: dict[str, Callable[[Draft, random.Random], str]] = {
    "-o": _output,
    "--csv": _csv,
    "--netlist": _netlist,
    "--set": _setting,
    "--variant": _name,
    "--against": _against,
    "--volts": _number("2.83", "10", "1e-6"),
    "--points": _number("1", "2", "9", "40"),
    "--from": _number("10", "100"),
    "--frequencies": _file("list.txt", LIST),
    "--count": _number("1", "2", "10"),
    "--hand": _file("hand.csv", HAND),
    "--wind": _word("L1", "L2", "C2"),
    "--with": _word("1 ohm", "1.2 mH", "8.2 uF", "link", "omit", "{coil: 1.2 mH, dc_resistance: 0.5 ohm}", "dome"),
    "--move": _word("C2", "L1"),
    "--target": _file("target.txt", "20 0\n20000 -3\n"),
    "--builds": _number("100", "150"),
    "--law": _word("uniform", "normal"),
    "--at-least": _number("90", "0", "100", "101"),
    "--seed": _number("0", "1"),
    "--paper": _word("a4", "letter"),
    "--job": _word(*MARKUP),
    "--serial": _word(),
    "--date": _word(),
    "--measured": _file("sweep.txt", SWEEP.read_text()),
    "--readings": _file("readings.txt", READINGS),
    "--sweep": _file("sweep.txt", SWEEP.read_text()),
    "--microphone": _file("mic.txt", (SWEEP.parent / "dome-response.txt").read_text()),
    "--dc": _number("5.1", "5.2 ohm"),
    "--diameter": _number("30 mm", "108 mm"),
    "--model": _word("semi_inductance", "shunted_coil", "power_law"),
    "--name": _word("woofer"),
    "--added-mass": _file("sweep2.txt", SWEEP.read_text()),
}


def _wrong_words(draft: Draft, chance: random.Random) -> None:
    """The line itself: a word left out, given twice, misspelt, or one too many."""
    draft.mutations.append("words")
    words = draft.words
    kind = chance.randrange(6)
    odd = [*TEXTS, *MARKUP, "--", "-", "-x", "--variants", "--json=1", "--set", "-o", "--help", "\udcff", "kit"]
    odd = [text.replace("\0", "") for text in odd]
    if kind == 0 and len(words) > 1:
        del words[chance.randrange(1, len(words))]
    elif kind == 1 and words:
        words.insert(chance.randrange(len(words) + 1), chance.choice(words))
    elif kind == 2:
        words.insert(chance.randrange(len(words) + 1), chance.choice(odd))
    elif kind == 3 and words:
        words[chance.randrange(len(words))] = chance.choice(odd)
    elif kind == 4:
        draft.stdin = chance.choice([LIST, "", "\0", "nan\n", "x" * 100_000])
        words += ["--frequencies", "-"]
    elif kind == 5 and words:
        at = chance.randrange(len(words))
        words[at] = words[at][:-1]
    # a word changed may make another file the output: only what is still there is one
    named = [words[at + 1] for at in range(len(words) - 1) if words[at] in ("-o", "--output", "--csv", "--netlist")]
    draft.outputs = named
    draft.refused = False
