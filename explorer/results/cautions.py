"""Sentences that stand in every report: what is assumed, what is left out, and the cautions.

Common practice of model clubs, no single source; club rules, local law and competent people come first.
"""

from __future__ import annotations

CAUTIONS = (
    "A pass is a prediction from the numbers given, never a clearance to run.",
    "Club rules, local law and the judgement of competent people on the spot come before anything printed "
    "here.",
    "Run only on a closed area, with nobody and nothing beside or beyond the strip that a car out of control "
    "could reach; the kinetic energy in this report says how hard it would hit.",
    "Stand well back and to the side, behind a barrier where there is one; never in line with the strip.",
    "Post spotters with a clear view of every way in, and stop at once when one of them says so.",
    "Set the radio's fail-safe to cut the drive, brake and close the flaps; test it, wheels off the ground, "
    "by switching the transmitter off before every session.",
    "Charge, carry and store lithium batteries as their maker says, away from people and anything that "
    "burns; take a battery that was hit, swollen or hot out of use.",
    "Tyres grow and burst at these speeds: use tyres rated for them, glue and balance them, replace them "
    "early, and keep faces away from the plane of the wheels on the bench.",
    "Work up to speed in steps, look the car over after each, and stop when anything differs from the "
    "prediction.",
)

ASSUMPTIONS = (
    "The car runs straight and level unless a condition says otherwise; left and right wheels of an axle "
    "move together.",
    "Air forces are steady: at each speed the car has taken up its attitude.",
    "Named points under the car sink into the road and carry nothing there, unless the study says "
    'contact = "points" under [models].',
    "Downforce of each part falls in a straight line with nose-up pitch, by the slope given.",
    "On a straight, the flap counts as shut the moment the brakes come on, and the wake of the car ahead "
    "stays as strong as given until this car pulls out of it.",
    "Inputs vary independently of each other except where a correlation is given.",
)

NOT_MODELLED = (
    "Yaw and steering in time, gusts from the side, roll; the car leaving the ground sideways.",
    "Bending of chassis, wing supports and splitter under load.",
    "Changes of the air flow that no input describes, such as dirt, damage or a part coming off.",
    "The driver.",
)
