"""Complaints and the checks that follow from each, as plain words; `symptoms` puts a build's figures to them.

Words in braces stand for what a build calls it: {woofers}, {tweeters}, {input}, {openings}.
The order of checks is that of `EFFORTS`: first what keeps the build whole, then what costs nothing, soldering last.
Everything here is common practice without a source, unless it says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

Effort = Literal["off", "look", "listen", "exchange", "meter", "sweep", "open", "solder"]
EFFORTS: tuple[Effort, ...] = get_args(Effort)
EFFORT_WORDS: Mapping[Effort, str] = {
    "off": "before anything else",
    "look": "look",
    "listen": "listen",
    "exchange": "exchange wires",
    "meter": "meter",
    "sweep": "sweep or microphone",
    "open": "open the cabinet",
    "solder": "solder",
}


@dataclass(frozen=True, slots=True)
class CheckWords:
    """One check: what to `do`, what is so where all is `right`, what it means where it is `wrong`, what is its proof.

    `needs` names a key of NEEDS, what a build must have for the check to concern it; `figures` what of the build is
    told with it, a key of `system.bench.symptoms.FIGURES`.
    """

    effort: Effort
    do: str
    right: str
    wrong: str
    proof: str
    needs: str = ""
    figures: str = ""


@dataclass(frozen=True, slots=True)
class Complaint:
    """What is heard, other words for it, the checks by name in order; `suspects` is a key of the module `suspects`."""

    title: str
    also: tuple[str, ...]
    checks: tuple[str, ...]
    suspects: str


NEEDS: Mapping[str, str] = {
    "opening": "with a port or a mouth",
    "sealed": "with a sealed box",
    "box": "with a box",
    "filled": "with filling",
    "parts": "with a crossover",
    "woofer": "with a woofer",
    "tweeter": "with a tweeter",
}

CHECKS: Mapping[str, CheckWords] = {
    "off": CheckWords(
        "off",
        "Switch the amplifier off and unplug it. Power nothing again before the meter reading at {input} is right.",
        "it stays as it is while you look",
        "smell or heat goes on after that: it may burn; take it outside",
        "the meter reading at {input}",
        figures="input",
    ),
    "down": CheckWords(
        "off",
        "Turn the volume down until it stops, and note where the knob stands.",
        "it stops at a quarter of the volts (12 dB lower): cones, air or amplifier had come to a limit",
        "it is there at any volume: a rub, a loose part, or the source",
        "the volts at which each limit is reached",
        figures="limits",
    ),
    "settings": CheckWords(
        "look",
        "Tone controls, loudness and sound programmes off, balance in the middle, the receiver set for this variant.",
        "no change: go on",
        "it was a setting, and nothing of the cabinet",
        "hearing it with everything off",
        figures="receiver",
    ),
    "wires": CheckWords(
        "look",
        "Amplifier off: pull gently at every wire end, at amplifier and cabinet; no loose strand; plus to plus.",
        "all hold, all marked alike on both sides",
        "a loose end is silent or crackles, a loose strand shorts the amplifier, one crossed pair takes the bass away",
        "the meter reading at {input}, taken at the amplifier's end of the cable",
        figures="input",
    ),
    "board": CheckWords(
        "look",
        "Hold the board beside the list of parts: each value, each link, each place left out.",
        "board and list agree",
        "a wrong or exchanged part, or the board of another variant: change it before you measure",
        "the list of parts; then meter and sweep",
        needs="parts",
        figures="board",
    ),
    "marks": CheckWords(
        "look",
        "Follow the wires of {tweeters} from the board to the marks on the driver.",
        "plus and minus as listed",
        "against its marks: it cancels where it takes over",
        "no meter and no sweep shows it: the microphone does",
        needs="tweeter",
        figures="marks",
    ),
    "cones": CheckWords(
        "look",
        "Play a soft bass tone of the run-up and look along the cones of {woofers}.",
        "all move out together, equally far",
        "one stands still: it is not connected; one goes in as the other goes out: it is against its marks",
        "the sweep about the resonance",
        needs="woofer",
        figures="motion",
    ),
    "press": CheckWords(
        "look",
        "Amplifier off: both hands flat beside the cone of {woofers}, press gently, let go.",
        "it comes back slowly, over about a second",
        "it springs back at once: the box leaks at a joint, a driver's rim, or its terminals",
        "the sweep: a lower peak",
        needs="sealed",
        figures="peak",
    ),
    "mouth": CheckWords(
        "look",
        "Look into {openings} with a lamp.",
        "free, edges smooth, filling held back behind netting",
        "something in the way, or filling sucked in: clear it",
        "the sweep: two peaks with a saddle between them",
        needs="opening",
        figures="peak",
    ),
    "screws": CheckWords(
        "look",
        "Grille off. Screws of drivers, terminals, feet and stand: snug, evenly, by hand.",
        "all snug, the noise is still there",
        "something was loose, and buzzed",
        "the run-up: silent through its frequency",
    ),
    "placement": CheckWords(
        "look",
        "Stand the cabinet where this variant is made for; then try half a metre more from walls and corners.",
        "hardly a change: go on",
        "the room or the placement, not the cabinet",
        "the response as placed: `kitwright predict`",
        figures="placement",
    ),
    "vents": CheckWords(
        "look",
        "Feel the amplifier: vents free, nothing on top, only one cabinet on each pair of terminals.",
        "merely warm",
        "hot: air is missing, or its load is too low",
        "the lowest impedance of the sweep",
        figures="load",
    ),
    "hot_parts": CheckWords(
        "look",
        "Cold and unplugged: look and smell for brown resistors, a swollen capacitor, soft glue, marks on the board.",
        "no marks: it was the amplifier or a voice coil",
        "a burnt part has failed because of something else: find that first",
        "what each part bears: `kitwright stress`",
        figures="hot",
    ),
    "tracks": CheckWords(
        "listen",
        "Two other recordings that you know, from another source, softly.",
        "the same with all: go on",
        "only with one: the recording or the source",
        "your ears",
    ),
    "ear": CheckWords(
        "listen",
        "Hiss between two stations, very softly; your ear to each driver in turn, through a rolled sheet of paper.",
        "each sounds like its twin in the other cabinet",
        "silent, dull or scratchy: that driver or its branch",
        "volts at that driver, then its meter reading",
    ),
    "run_up": CheckWords(
        "listen",
        "The sines of the run-up, from below, slowly through the pitch of the noise; a hand on panels, grille, wires.",
        "no place where it starts",
        "it starts at one frequency: what you touch when it stops is loose",
        "the run-up, step by step",
        figures="run_up",
    ),
    "air": CheckWords(
        "listen",
        "A soft bass tone; listen close to {openings}.",
        "no breath below the volts given",
        "breath or flutter well below: a sharp edge, filling or something else in the opening",
        "the volts at which its air gets fast",
        needs="opening",
        figures="air",
    ),
    "joints": CheckWords(
        "listen",
        "A bass tone of the run-up; a wet finger along joints, driver rims, terminals, the hole of the cable.",
        "no draught, no hiss",
        "a draught: seal it; in a box it costs bass and hisses",
        "the sweep: a lower peak",
        needs="box",
        figures="peak",
    ),
    "pair": CheckWords(
        "listen",
        "Both cabinets side by side, the same mono music; exchange plus and minus of one of them (amplifier off).",
        "less bass when exchanged: it had been right",
        "more bass when exchanged: one cabinet or one wire is against the other",
        "your ears",
    ),
    "swap_sides": CheckWords(
        "exchange",
        "Amplifier off: exchange the left and right cabinets' wires at the amplifier.",
        "it goes to the other cabinet: source or amplifier",
        "it stays with this cabinet: go on with it",
        "the side on which it is heard",
    ),
    "source": CheckWords(
        "exchange",
        "Amplifier off: pull the signal leads out of its input, switch on, volume low.",
        "the noise is gone: leads or source; lead them apart from mains, try another socket on the same strip",
        "it stays: the amplifier. Never cut a mains earth to cure a hum",
        "your ears",
    ),
    "known_cabinet": CheckWords(
        "exchange",
        "Amplifier off: this amplifier with another cabinet that is known to be good, then on, softly.",
        "the fault is gone: it is this cabinet",
        "it is still there: amplifier, source or wires",
        "the lowest impedance of the sweep",
        figures="load",
    ),
    "meter": CheckWords(
        "meter",
        "Amplifier off and disconnected: read ohms at {input}, then between the pairs listed.",
        "inside the windows: what carries direct current is right",
        "outside: a part, link or driver that carries direct current is not as drawn",
        "the meter reading",
    ),
    "drive": CheckWords(
        "meter",
        "A battery meter on alternating volts, at each driver's terminals, while a soft sine of the run-up plays.",
        "near the volts given: its branch is right, the driver itself is silent or worn",
        "far from them: its branch, from the board's input to these terminals",
        "volts at the driver",
        figures="drive",
    ),
    "sweep": CheckWords(
        "sweep",
        "Impedance sweep at {input}, 20 Hz to 20 kHz, at a tenth of a volt.",
        "near the figures given at all frequencies",
        "off by more than a tenth: a part, a driver or the cabinet is not as drawn; where it is off tells which",
        "rows of the sweep; `kitwright verify` weighs all of them",
    ),
    "sweep_pair": CheckWords(
        "sweep",
        "The same sweep of the other cabinet, laid over it.",
        "within a tenth of each other: both are alike; look at amplifier, wires and room",
        "apart: the one that differs from the figures given",
        "both sweeps: `kitwright verify --against`",
    ),
    "microphone": CheckWords(
        "sweep",
        "A microphone at the listening point, a sweep of the one cabinet, softly.",
        "follows the response as drawn",
        "a hole where drivers take over from each other: one is against its marks",
        "the microphone: `kitwright verify --microphone`",
        needs="tweeter",
        figures="marks",
    ),
    "filling": CheckWords(
        "open",
        "A driver out: how much filling, where, and is it loose?",
        "as the kit says, away from cones and openings",
        "too much dulls and thins the bass, too little booms, some on a cone rattles",
        "the sweep: height of its peaks",
        needs="filled",
        figures="filling",
    ),
    "inside": CheckWords(
        "open",
        "A driver out: wires clear of cones and tied, board and parts tight, no chips, joints filled with glue.",
        "nothing moves that should not",
        "a wire against a cone, a part that knocks, a gap",
        "the run-up: silent through its frequency",
    ),
    "battery": CheckWords(
        "open",
        "Woofers only, wires off: 1.5 V for a moment, plus of the cell to plus of the driver. Never a tweeter.",
        "every cone jumps outward",
        "inward: its marks or wires are exchanged",
        "the jump of the cone",
        needs="woofer",
        figures="battery",
    ),
    "rub": CheckWords(
        "open",
        "Woofer out, face up: press the cone evenly with spread fingers, a few millimetres, and listen.",
        "no sound at all",
        "a scrape: coil or gap are harmed or dirty; the driver is to be replaced",
        "the run-up: a scrape at low volts",
        needs="woofer",
    ),
    "spare": CheckWords(
        "open",
        "The driver of the other cabinet in its place.",
        "the fault is gone: the driver was it",
        "it is still there: board or wires",
        "its meter reading, wires apart",
        figures="apart",
    ),
    "joints_of_solder": CheckWords(
        "solder",
        "Unplugged, discharged: move each part with a wooden stick under a lamp; solder anew what is dull or moves.",
        "all bright and still",
        "a dry joint: it crackles, or goes with warmth",
        "the meter reading while you move it",
        needs="parts",
    ),
    "one_end": CheckWords(
        "solder",
        "Lift one end of the suspected part and measure it by itself.",
        "within its tolerance: put it back, go to the next",
        "another value, open or shorted: replace it, and find why",
        "its value by itself",
        needs="parts",
        figures="values",
    ),
}

COMPLAINTS: Mapping[str, Complaint] = {
    "no_sound": Complaint(
        "nothing at all from one cabinet",
        ("silent", "dead", "nothing"),
        ("settings", "wires", "swap_sides", "meter", "sweep", "joints_of_solder"),
        "silent",
    ),
    "no_tweeter": Complaint(
        "no sound from the tweeter",
        ("no_treble", "no_highs", "tweeter_silent", "tweeter_dead"),
        ("settings", "board", "ear", "swap_sides", "meter", "drive", "sweep", "spare", "joints_of_solder", "one_end"),
        "no_tweeter",
    ),
    "no_bass": Complaint(
        "hardly any bass",
        ("no_woofer", "woofers_silent", "no_low_end"),
        (
            "settings",
            "wires",
            "board",
            "cones",
            "mouth",
            "pair",
            "swap_sides",
            "meter",
            "drive",
            "sweep",
            "battery",
            "joints_of_solder",
        ),
        "no_bass",
    ),
    "one_woofer_silent": Complaint(
        "one woofer of a cabinet does not play",
        ("one_driver_silent", "woofer_silent", "woofer_dead"),
        ("wires", "cones", "ear", "meter", "sweep", "spare", "joints_of_solder"),
        "one_silent",
    ),
    "one_side_quieter": Complaint(
        "one cabinet is quieter than the other",
        ("quiet", "off_centre", "unbalanced", "left_quieter", "right_quieter"),
        ("settings", "wires", "board", "tracks", "swap_sides", "meter", "sweep", "sweep_pair", "joints_of_solder"),
        "quieter",
    ),
    "thin": Complaint(
        "thin, without body or warmth",
        ("lean", "weak_bass", "no_warmth", "tinny"),
        (
            "settings",
            "wires",
            "board",
            "cones",
            "press",
            "mouth",
            "placement",
            "joints",
            "pair",
            "meter",
            "sweep",
            "filling",
            "battery",
            "one_end",
        ),
        "thin",
    ),
    "boomy": Complaint(
        "boomy, one-note bass",
        ("boom", "muddy", "fat_bass", "too_much_bass"),
        ("settings", "board", "mouth", "placement", "tracks", "sweep", "filling"),
        "boomy",
    ),
    "hollow": Complaint(
        "hollow or distant, voices come from nowhere",
        ("phasey", "distant", "diffuse", "no_centre", "nasal"),
        ("wires", "board", "marks", "cones", "ear", "pair", "meter", "sweep", "microphone", "battery"),
        "hollow",
    ),
    "harsh": Complaint(
        "harsh, sharp, too bright",
        ("bright", "sharp", "sibilant", "shrill", "too_much_treble"),
        ("settings", "board", "marks", "placement", "tracks", "meter", "sweep", "microphone", "one_end"),
        "harsh",
    ),
    "dull": Complaint(
        "dull, as if under a blanket",
        ("muffled", "dark", "veiled", "woolly"),
        ("settings", "board", "marks", "ear", "swap_sides", "meter", "drive", "sweep", "microphone", "one_end"),
        "dull",
    ),
    "buzz": Complaint(
        "a buzz with some notes",
        ("buzzing", "vibration", "resonance"),
        ("down", "screws", "run_up", "joints", "swap_sides", "inside", "rub"),
        "leaky",
    ),
    "rattle": Complaint(
        "a rattle or knock in the bass",
        ("rattling", "knock", "knocking", "slap", "bottoming"),
        ("down", "screws", "run_up", "swap_sides", "filling", "inside", "rub"),
        "unprotected",
    ),
    "chuffing": Complaint(
        "breath or flutter from an opening",
        ("chuff", "port_noise", "wind", "puffing", "flutter", "hiss"),
        ("down", "mouth", "air", "joints", "sweep", "filling"),
        "leaky",
    ),
    "hum": Complaint(
        "a steady hum without music",
        ("humming", "mains_hum", "drone"),
        ("settings", "wires", "swap_sides", "source", "known_cabinet"),
        "",
    ),
    "distorted": Complaint(
        "distorted when loud",
        ("distortion", "rough", "strained", "clipping", "breaking_up"),
        ("down", "settings", "board", "cones", "tracks", "swap_sides", "meter", "sweep", "rub"),
        "unprotected",
    ),
    "crackle": Complaint(
        "crackles or comes and goes",
        ("crackling", "scratchy", "intermittent", "cuts_out", "pops"),
        ("down", "wires", "tracks", "swap_sides", "source", "meter", "inside", "rub", "joints_of_solder"),
        "",
    ),
    "amplifier_shuts_down": Complaint(
        "the amplifier switches off or gets hot",
        ("shuts_down", "shutdown", "protection", "amplifier_off", "amplifier_hot", "trips"),
        ("off", "wires", "board", "vents", "known_cabinet", "meter", "sweep", "one_end"),
        "low_impedance",
    ),
    "smell_or_heat": Complaint(
        "a smell, smoke, or something hot",
        ("smell", "smoke", "heat", "burning", "hot", "fire"),
        ("off", "board", "hot_parts", "meter", "sweep", "spare", "one_end"),
        "hot",
    ),
}
