"""The register of finding codes: what each means, why it matters and what to do. `explain CODE` prints from here."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from system.findings import COMMAND_LINE, Finding, KitError

_DOCUMENT = {
    "file_missing": "A file that was named does not exist. Files named in a kit are looked up in the kit's own folder.",
    "file_outside": (
        "A file named in a kit lies outside of the kit's folder, or a link leads there. A kit and its tables travel "
        "together, and a kit from somebody else must not read your other files. Copy the file beside the kit."
    ),
    "file_unreadable": "The file exists and cannot be read: it is a folder, or the system refuses it.",
    "file_too_large": (
        "The file is larger than 1 MiB. A kit or a table takes a few kilobytes; this is probably another file."
    ),
    "file_not_utf8": (
        "The file is not UTF-8 text. Editors call it UTF-8 or Unicode when saving; old ones write other codes for the "
        "micro, ohm and square signs."
    ),
    "kit_empty": "The file holds no kit at all. `start` writes one to edit.",
    "yaml_syntax": (
        "The file is no YAML at this place. Usual causes are a tab in the indentation, a missing space after a colon, "
        "a bracket or quote that is not closed, or lines of one mapping that are not indented alike. Control "
        "characters do not belong in a kit either, written out or as an escape in quotes."
    ),
    "yaml_documents": "A line --- begins a second document. A kit is one document.",
    "yaml_tag": (
        "A YAML tag (a word with an exclamation mark) stands before a value. Kits need none: everything is text."
    ),
    "yaml_alias": (
        "A YAML alias (*name) points nowhere, or aliases repeat each other until there are too many values. For "
        "cabinets and variants that share something, `like:` does it."
    ),
    "yaml_key": "A list or a mapping is used as a key. Keys are single words.",
    "yaml_too_deep": "Values are nested far deeper than any kit needs.",
    "duplicate_key": "The same key is given twice in one mapping. One of the two would be lost without a word.",
    "setting": (
        "A --set is not of the form path=value, or its path leads nowhere. Paths are the keys joined by points, and "
        "items of lists are counted from 0: cabinets.compact.chambers.0.volume=9 L. A key that is not there yet is "
        "added, and so is the item that a list has next."
    ),
}

_FORM = {
    "format": (
        "The kit file says another format than this program reads. The key is there so that old kits can be told from "
        "new ones."
    ),
    "unknown_key": (
        "A key is not known at this place, often because of a typing mistake. It would have no effect, so it is an "
        "error."
    ),
    "missing_key": "A required key is missing. The finding points at the entry that lacks it.",
    "unknown_word": "A word is not one of those allowed here.",
    "unknown_name": "A name refers to a driver, hookup name, part or cabinet that the kit does not have.",
    "wrong_type": "There is a list, a mapping or a plain text where another of these belongs.",
    "list_length": "A list has too few or too many items, such as a pair with three.",
    "empty": "Something that needs at least one entry has none, or a key has no value.",
    "too_long": "A text is longer than it can be meant.",
    "name": "A reference, a point or a name is one word of letters, digits and underscores.",
    "name_twice": "A part and a driver on the board have the same name, and readings could not be told apart.",
    "given_twice": "One thing is given in two ways, such as a port with a diameter and an area.",
    "like_unknown": "`like:` names a cabinet or variant that does not exist.",
    "like_loop": "`like:` goes round in a circle, or through too many steps.",
    "unused": "A driver or cabinet of the kit is not used by anything.",
    "assumed": (
        "Something that is a physical fact was not given, and a default stands for it. Results rest on it: give the "
        "value if you know it."
    ),
}

_QUANTITY = {
    "quantity_no_unit": "A number stands without its unit. 8 could be litres, ohms or inches; write the unit.",
    "quantity_unit": (
        "The unit is not known, or capital and small letters are mixed up: M is a million and m a thousandth. "
        "`explain units` lists what is read."
    ),
    "quantity_dimension": (
        "The unit belongs to another kind of quantity, such as henries for a capacitor, or a plain number has a unit."
    ),
    "quantity_decimal_comma": (
        "The number has a comma. It can be a decimal point or a thousands separator, a factor of a thousand apart."
    ),
    "quantity_letter_point": (
        "A letter stands in the place of the decimal point, as on the body of a part: 4R7, 2k2, 4u7."
    ),
    "quantity_exponent": "The number has an e, which some markings use for the point and computers for a power of ten.",
    "quantity_number": "This is no finite number, or more than one.",
    "quantity_range": "The value is outside of what is physically possible or can be meant, often by a wrong prefix.",
}

_DRIVER = {
    "driver_insufficient": (
        "The small-signal parameters do not fix the driver. Any sufficient set of re, fs, qms, qes, qts, vas, sd, "
        "mms, cms, rms and bl will do, or re with an impedance table and a response table."
    ),
    "driver_disagrees": (
        "Data sheets give more figures than needed, and these do not fit each other. Up to 3 % is rounding (a note), "
        "up to 10 % a warning, more is an error: one figure is wrong. `prefer: [..]` says which figures to keep."
    ),
    "driver_impossible": "The parameters contradict physics, such as a total Q above one of its parts.",
    "driver_unused": (
        "Some small-signal parameters are given, not enough for a full set, and the tables are used instead. What "
        "`large_signal` says of a driver counts only beside a full set."
    ),
    "air_load_without_mms": (
        "`air_load: none` says that the moving mass was stated without any air. Without a stated mass there is nothing "
        "to add air to: the mass that follows from the other figures holds the air of free air."
    ),
    "excursion_order": "The excursion at which damage begins is given smaller than the linear excursion.",
    "curve_places": (
        "The places of a curve over excursion do not rise from the innermost to the outermost, or lie on one side of "
        "the rest position only. Inward is below zero."
    ),
    "curve_short": (
        "A curve over excursion ends before the limit of the cone's excursion, so what is computed farther out rests "
        "on a continuation and not on the data sheet."
    ),
    "large_signal_disagrees": (
        "A curve over excursion says something else of the driver at rest than its small-signal figures. Up to 3 % is "
        "a note, up to 10 % a warning, and the curve is scaled; more is an error: one of the two is of another driver, "
        "or in another unit. Polynomials are in T.m, N/mm and mH over powers of mm."
    ),
    "large_signal_negative": (
        "A force factor, a stiffness or an inductance falls to zero or below within the driver's excursion. No driver "
        "does that: a sign or a power of the polynomial is wrong, or it was fitted to a smaller range. Then give a "
        "table instead, `at` and `is`."
    ),
    "thermal_order": (
        "The time constant of the voice coil is not below that of the magnet. The two may be mixed up, or one of them "
        "is in another unit: a coil takes seconds, a magnet many minutes."
    ),
    "thermal_unused": (
        "Nothing tells how hot the voice coil gets: there is no thermal resistance and no power rating of the coil "
        "alone. Give coil_resistance, or `power: {rated: .., of: coil}`."
    ),
    "power_of_system": (
        "The rated power is that of a whole system, and its high-pass is not given, so it says nothing about how hot "
        "the coil gets."
    ),
    "standard_baffle": (
        "The response was measured in the standard baffle of IEC 60268-5. It is treated as measured in a large wall; "
        "the baffle's own ripple stays in it."
    ),
    "spread_unused": (
        "A driver's `spread` says how far copies differ in something that this driver is not computed from: fs and qts "
        "of a driver known by its tables only, the level of one without a response table, the linear excursion of one "
        "that has none."
    ),
    "table_number": "A cell of a table is no number.",
    "table_decimal_comma": "A number in a table has a decimal comma. Save it with points.",
    "table_columns": "A row of a table has a wrong number of columns, or not as many as the rows before.",
    "table_order": "Frequencies in a table must rise from row to row, none twice.",
    "table_frequency": "A frequency in a table is outside of what can be meant.",
    "table_magnitude": (
        "A magnitude in a table is outside of what can be meant: an impedance is in ohm, a response in dB of sound "
        "pressure re 20 uPa, not in volts or pascals, and not relative to zero."
    ),
    "table_rows": "A table has too few rows to be interpolated.",
    "table_phase": "The kit says that the phase was measured, and the table has no phase column.",
}

_BOARD = {
    "part_kind": (
        "A place holds exactly one of capacitor, coil and resistor, and a variant does not make another kind of it."
    ),
    "part_field": "A part has a property that belongs to another kind of part.",
    "polarised": (
        "A polarised electrolytic fails when the voltage across it reverses, which in a crossover it does all the "
        "time. Non-polar electrolytics and film capacitors are for crossovers."
    ),
    "made_of_disagrees": (
        "The parts that a place is made of do not come to its value. Up to 3 % is a note, up to 10 % a warning, more "
        "is an error."
    ),
    "saturation_unknown": (
        "A coil with an iron core saturates at some current. Without saturation_current its stress is `cannot_tell`."
    ),
    "new_value": (
        "A variant gives a place a new value. What it was made of and its measured value no longer hold; its loss and "
        "ratings are kept, which is a guess until the new part is known."
    ),
    "same_point": "A part, a driver or the input has both ends on one point.",
    "coupled_twice": "A pair of coupled coils is given twice, or a coil is coupled to itself.",
    "coupling_not_passive": (
        "The coefficients of the coupled coils contradict each other: coils coupled like this would give back more "
        "energy than was stored in them (their inductance matrix is not positive definite)."
    ),
    "driver_unconnected": (
        "In this variant a driver lies on no loop through the amplifier, so it is silent. If that is meant, give the "
        "variant or the part a `reason:`; then it is computed as it stands."
    ),
    "driver_shorted": "In this variant both marks of a driver are on one point. With a `reason:` it is computed so.",
    "part_hangs": "In this variant a part leads nowhere and carries no current. With a `reason:` it is computed so.",
    "part_bridged": "A link bridges another part as well, and no current flows in that.",
    "input_shorted": "The input's two points are joined by links: the amplifier would drive a short circuit.",
    "link_shorts_load": (
        "Because of a link the resistance at the input is under half of the lowest load that the amplifier stands. "
        "There is no way to allow it: it breaks amplifiers."
    ),
    "tweeter_dc": (
        "Because of a link or an omission a tweeter lies on a path for direct current, without a capacitor before it. "
        "There is no way to allow it: the bass burns it."
    ),
    "driver_reversed": (
        "A driver is wired with its minus mark towards the hot point. Many crossovers want that of a tweeter; "
        "`reversed: on_purpose` says so and ends this note."
    ),
    "not_reversed": "A driver is said to be reversed on purpose, and its plus mark leads to the hot point.",
    "no_driver": "A variant leaves out every driver.",
}

_CABINET = {
    "chamber_empty": "A variant leaves out every driver of a chamber; the chamber is left out too.",
    "axis_left_out": "The driver on whose axis one listens is left out in a variant.",
    "driver_twice": "A driver is in two chambers.",
    "chamber_needs_parameters": (
        "A driver that is known by its tables only cannot work into a chamber: what the chamber does to its cone "
        "cannot be told. Leave it out of chambers; it then has a closed back of its own, as its tables have."
    ),
    "cutout_outside": (
        "The centre of a cutout lies outside of its face, or its acoustic centre behind the cabinet. Cutouts are seen "
        "from outside that face, from its lower left corner."
    ),
    "cutout_over_edge": (
        "What sounds at a cutout is wider than the room its centre leaves to an edge of its face. Its effective area "
        "is taken, so the true hole would reach farther still."
    ),
    "cutouts_overlap": (
        "Two cutouts on one face reach into each other. One may lie wholly in the other, as a driver before the middle "
        "of a larger one."
    ),
    "cutout_no_baffle": "A cutout is on another face than the front, and the cabinet's size is not given.",
    "cutout_missing": "A driver has no cutout in its cabinet, so its place on the baffle is guessed.",
    "listening_outside": (
        "The listening point that the distance and angles lead to, or a seat, lies behind a wall, under the floor, "
        "above the ceiling or in the cabinet itself, or a panel hides it, as this variant stands."
    ),
    "faces_plane": (
        "A driver, port, mouth or radiator is on a face of the cabinet that touches a wall or the floor in this "
        "variant, so it has no air before it."
    ),
    "tuning_impossible": (
        "No length of the ports gives this tuning: even without any length they tune the box lower, or ports whose "
        "length is given tune it higher already."
    ),
    "programme_empty": "The programme's table has no level between the lowest frequency and 20 kHz.",
    "edge_radius": "The edge radius is more than half of the front's smaller side, or as large as the cabinet's depth.",
    "fill_twice": "A filling is given in two ways.",
    "fill_too_dense": (
        "The mass of the filling over its volume is more than fibre can be packed to; probably the mass is wrong."
    ),
    "absorption_and_fill": (
        "A filled box has both a loss Q for absorption and a filling. The filling's model gives the loss."
    ),
    "tuning_and_length": "A vented box has a tuning, which gives its ports their length, and a port with a length.",
    "inner_end_without_port": "A mouth has an inner_end, which is the end of a port inside, and no port.",
    "position_outside_line": (
        "A driver is farther from the closed end than the line is long, or than a sealed box is long along its "
        "standing wave."
    ),
    "position_disagrees": (
        "Two drivers are on one face of the cabinet, and the line does not bend between them: as far as they are apart "
        "outside they must be apart along the line. One of the two figures is wrong, or the line folds there."
    ),
    "mouth_outside_line": "A mouth is farther from the closed end than the line is long.",
    "mouth_twice": (
        "A line says both mouth and mouths, or it is open twice in one place. Of two openings without a port in one "
        "place each would have the whole area of the line."
    ),
    "port_wider": (
        "The port before a mouth has more area than the section of the line that it leaves. Then it is no port: make "
        "it narrower, or describe it as the line's last section."
    ),
    "port_near_wall": (
        "The inner end of a port is closer to the wall that it faces than its own diameter. The air has to turn there, "
        "which adds mass, tunes lower and makes noise. `clearance` says how close it is, and then its mass is computed."
    ),
    "port_too_long": (
        "A port is as long as the cabinet is deep behind its opening, or longer. It can bend, so this is only a "
        "warning; it is computed as a straight one."
    ),
    "lining_too_thick": (
        "A lining meets its own other side and leaves no air in the middle. A section that is full of fibre takes no "
        "lining."
    ),
    "boards_too_thick": "The boards are so thick that nothing is left between them in one direction.",
    "boards_without_size": "A cabinet says what its boards are, and not how large it is, so nothing can be cut.",
    "piece_outside": "A brace or a divider is larger than the space between the boards, however it is turned.",
    "flange_order": "The flange of a driver is no wider than its hole, so nothing would hold it on the board.",
    "volume_off": (
        "What the outside of the cabinet leaves, once boards, drivers, ports, braces and the crossover are taken off, "
        "is not the net volume that the kit computes with. Up to 5 % is drowned by what drivers differ (our own "
        "judgement); beyond, change the depth, the braces or the volume in the kit."
    ),
    "line_outside": (
        "A line, laid out as its bends say, does not go into the cabinet: it is longer or wider than the space between "
        "the boards in every direction it could lie."
    ),
    "fold_thickness": (
        "A fold goes round the end of a board, and twice its inner radius is not the thickness of that board. The line "
        "is computed as the kit says; cut the divider as thick as that, or change the radius."
    ),
    "driver_too_deep": "A driver is deeper behind its flange than the cabinet is behind the face that it is on.",
    "rebate_too_deep": "A flange is as thick as the board that it is to be let into, or thicker.",
    "hole_over_joint": (
        "A hole reaches over the edge of the board that it is in, or into the boards behind that. Of a driver whose "
        "hole is not given the cone is taken, so the true hole reaches farther."
    ),
    "holes_overlap": "Two holes, or the flanges about them, reach into each other.",
    "tips_over": (
        "Leaned by less than 10 degrees the cabinet falls over. 10 degrees is common practice, no source. Its centre "
        "is taken in its middle: heavy drivers high up make it worse. Give it a wider foot, or fix it to the wall."
    ),
    "taper_without_end_area": "A section says how it tapers and not to what area; it is taken as straight.",
    "surface_without_plane": (
        "A surface is given for a wall, floor or ceiling that this placement has no distance to, so it is far away."
    ),
    "panel_side": (
        "A panel of this kind is not on that side of the cabinet: a desk is below it, a shelf below or above, a screen "
        "behind or beside it, and an opening all round."
    ),
    "panel_measure": (
        "A panel has a measure that says nothing of it. Below and above it is `front` and `width`, beside it `front` "
        "and `height`, behind it `width` and `height`; an opening has `front` only, its boards meet at the corners."
    ),
    "panel_too_short": "A panel ends behind the cabinet's back, where there is nothing that it could reflect.",
    "placement_needs_baffle": "Away from a wall the cabinet's size decides what is heard, and it is not given.",
}

_KIT = {
    "layout_field": (
        "A measure on the board's layout is of another kind of part: a coil is a ring with inner, outer and height, "
        "everything else a box with a size."
    ),
    "layout_size": "The hole in a coil's winding is as wide as the coil, or wider.",
    "layout_edge": (
        "A part sticks out over the edge of the board. A coil whose size is not given has the size of a winding with "
        "its inductance and dc resistance; give its own if it is smaller."
    ),
    "layout_overlap": (
        "Two parts that one variant fits are in the same place on the board; a warning where a size is only worked "
        "out. Parts that no variant fits together may share a place; one that is `raised` may be over another."
    ),
    "layout_incomplete": (
        "The layout has no place for some parts of the crossover. What they couple to and what gets hot beside them is "
        "not looked at."
    ),
    "assembly_too_warm": (
        "The air about the parts is as warm as what the hot-melt glue bears, so the board would come apart by itself."
    ),
    "air_impossible": "At this temperature, pressure and humidity the air would be mostly water vapour.",
    "air_twice": "The air is given by its weather and by its density and speed of sound.",
    "stock_columns": "The heading of a stock list has a wrong column, or a row has more cells than the heading.",
    "stock_row": "A row of the stock list is at fault.",
    "stock_empty": "The stock list has no article of this kind.",
    "hand_columns": (
        "The list of parts in hand does not begin with the heading ref,value, has no rows, or has a row with more or "
        "fewer than two columns."
    ),
    "hand_row": "A row of the list of parts in hand names no place of the kit, or its value is not one of that part.",
    "hand_few": "There are fewer parts in hand for a place than there are cabinets to be built.",
    "sweep_refused": (
        "An impedance sweep was read, and it cannot carry what is asked of it: the band, the level, the points or the "
        "second measurement will not do. Nothing is told rather than something wrong; the text says what to measure."
    ),
    "spread_too_wide": (
        "A tolerance or a spread is 100 % or more. It counts to either side, so the value of a part or a driver could "
        "come out as nothing or below."
    ),
    "window_finer_than_meter": (
        "The window asks for smaller differences than the meter can show, so that nobody could check them. Widen the "
        "window, or say in `meter` how fine your instruments are; without it 0.1 dB and 0.1 ohm are assumed."
    ),
    "band_order": "The band of `window` or `revalue` does not run from a lower to a higher frequency.",
    "move_twice": "`revalue` names a place twice among those whose value may move.",
    "move_coupled": (
        "`revalue` may not move a coil that is coupled to another: what coupling one of another value would have, "
        "nothing tells."
    ),
    "move_never_fitted": "`revalue` may move a place that no variant fits, so no value there would be heard.",
    "step_coupled": (
        "The part that is to make up for the step of the baffle is a coil that is coupled to another: what coupling"
        " one of another value would have, nothing tells."
    ),
    "step_never_fitted": "The part that is to make up for the step of the baffle is fitted in no variant.",
    "target_short": (
        "The table of the response that `revalue` is to reach does not cover the whole band, and what to reach beyond "
        "it nobody has said. Add rows, or narrow the band with from and to."
    ),
    "revalue_impossible": (
        "What `revalue` is asked for cannot be had: more values differ in places that do not move than may differ at "
        "all, a variant draws no current, or no values were found in stock that keep every limit of the kit. Let more "
        "parts move, or give it more stock."
    ),
    "target_span": (
        "The response that `revalue` is to reach has levels so far apart that no crossover can follow them; probably "
        "the table holds something else."
    ),
}

_RESULT = {
    "frequency_list": "A line of the frequency list is no frequency in Hz.",
    "impedance_link": "Because of a link the impedance falls under half of the lowest load that the amplifier stands.",
    "no_current": (
        "No current flows in this variant, since a place that is left out interrupts the only path. It is computed as "
        "it stands, because a reason is given: nothing moves, and the impedance is infinite. No sweep can be held "
        "against it."
    ),
    "no_figure": "A single figure of the summary does not exist for this variant; it is null in the output.",
    "sweep_unit": (
        "The values of a measured sweep are in another unit than asked for: an impedance is the magnitude in ohm, not "
        "in decibels, kilohms or volts, and not its real part; a microphone's response is in dB. Export it again in "
        "that unit. Nothing is converted on a guess."
    ),
    "sweep_phase": (
        "The phase of a measured sweep cannot be one in degrees, or not that of a loudspeaker: a passive load turns "
        "voltage against current by 90 degrees at most, and one whose magnitude changes turns by more than a few. "
        "Export it in degrees, or leave the column out; beyond 90 degrees look for a channel whose wires are swapped."
    ),
    "sweep_repeats": (
        "A frequency comes twice in a measured sweep, with values too far apart to be averaged, as when two sweeps are "
        "saved in one file."
    ),
    "sweep_tidied": (
        "A measured sweep was read with some tidying: columns that were not read, rows that were sorted, or rows at "
        "the same frequency that were averaged."
    ),
    "reading_line": (
        "A line of meter readings is two terminals, `connected` or `apart` (the drivers), and the ohm read, or `open`: "
        "in common connected 3.4. Terminals are the points of the input and of the drivers' wires, as `expect` lists."
    ),
    "reading_point": "A meter reading names a point that is no terminal of the variant, or one point twice.",
    "reading_value": "A meter reading is no resistance. Write ohm with a point, or `open` where it shows overload.",
    "reading_twice": "Two terminals are read twice with the drivers in the same state. Keep the better reading.",
    "nothing_to_draw": "All tolerances of parts and drivers are zero, so that every copy of the kit is the kit itself.",
    "circuit_unsolvable": (
        "The circuit has no unique solution, for example because parts of 0 ohm close a loop or lie across the input."
    ),
    "impedance_low": "The impedance falls below the lowest load that the amplifier stands.",
    "fill_without_effect": (
        "The rigid-fibre model adds mass and resistance to moving air and leaves its compression adiabatic. In a box "
        "the air only compresses, so this model does nothing there; the default model power_law does."
    ),
    "cabinet_table_in_wall": "A response table of the driver in its cabinet is used for a variant in a wall.",
    "fill_range": (
        "The filling's power law (power_law or power_law_1970) is used outside of the range of frequency over flow "
        "resistivity that it was fitted to, 0.01 to 1. The model low_frequency has no such range."
    ),
    "fill_gives_power": (
        "So far below the range that it was fitted to, the power law gives the filling's bulk modulus a phase of the "
        "wrong sign, so that computed losses come out too small or below zero. The model low_frequency stays physical."
    ),
    "response_join": (
        "A driver in a chamber is computed as a piston from its parameters at low frequency, and by its response table "
        "where it is no longer one. Where the two meet they are far apart, so one of them is not this driver's, or the "
        "table's volts, distance or way round are not as stated."
    ),
    "polarity": (
        "About the frequency at which a tweeter takes over, the sum is louder with the tweeter connected the other way "
        "round, for this cabinet, crossover and listening point."
    ),
    "excursion_unknown": "A driver that is known by its tables only has no computed excursion.",
    "impedance_table_unused": "A driver in a chamber has an impedance table, which was measured without the chamber.",
    "table_range": "A response table does not cover the frequencies asked for; it is continued beyond its ends.",
    "minimum_phase": "A response table has no phase; the phase that belongs to its level is computed (minimum phase).",
    "usage": "The command line asks for something that does not go, such as a variant that the kit does not have.",
    "unknown_code": "`explain` was asked for a code that no finding has.",
    "unknown_symptom": "`symptom` was asked for a complaint that it does not know. `symptom` alone lists all of them.",
}

CODES: Mapping[str, str] = MappingProxyType(
    {**_DOCUMENT, **_FORM, **_QUANTITY, **_DRIVER, **_BOARD, **_CABINET, **_KIT, **_RESULT}
)


def explanation(code: str) -> str:
    """What `explain CODE` prints. Raises KitError for a code that is not in the register."""
    if code in CODES:
        return f"{code}\n{CODES[code]}"
    close = difflib.get_close_matches(code, CODES, 1, 0.5)
    allowed = f"did you mean {close[0]}?" if close else "codes stand in brackets in a finding: error[CODE]"
    raise KitError(
        [Finding("error", "unknown_code", COMMAND_LINE, 1, 1, "", f'no finding has the code "{code}"', allowed)]
    )
