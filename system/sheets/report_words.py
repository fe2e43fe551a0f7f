"""What a report says of its method, and of how far to trust it."""

from __future__ import annotations

METHOD = (
    "Enclosures and drivers: small-signal parameters in a lumped or transmission-line model, solved frequency by"
    " frequency; coils of drivers as the kit describes them, cold unless it says otherwise.",
    "Crossover: all parts with their losses, couplings of coils where the board is laid out, solved together with the"
    " drivers' impedances by nodal analysis.",
    "Radiation: volume velocities, the cabinet's edges and walls as diffraction, the planes near it as mirror images.",
    "Protective high-pass: every capacitor that stock offers, and none, against the linear limit on the programme and"
    " the damage limit on a swept sine at the amplifier's rated volts.",
    "Stress of parts: the worse of both signals for volts, the programme for heat; sizes to order leave 1.5 dB.",
    "Meter readings: direct current with the tolerances of parts, coils and meter.",
)
TRUST = (
    "All figures are computed from what the kit file states. A driver's own figures vary by a tenth and more from copy"
    " to copy: measure before you rely on a margin below 1.5 dB, which is the model's own uncertainty.",
    "Small signals: above the linear limit cones move less than told and distort; coils and volts are those of a cold"
    " loudspeaker.",
    "Level above 1 kHz is as good as the drivers' response tables; without one a driver is a rigid piston.",
    "Walls reflect fully unless the kit says otherwise, furniture is not there, and no room resonates: below 200 Hz a"
    " real room adds and takes 10 dB and more.",
    "Boards are taken to be rigid and tight but for the leak that is stated. Whether it buzzes, rubs or leaks only"
    " listening and the meter tell.",
    "Computed ceilings are not a test to run: never feed a sine at such volts to a loudspeaker.",
)
