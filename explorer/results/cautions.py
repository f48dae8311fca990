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

#: In the order of what they could turn over, the most first; the order is judgement.
NOT_MODELLED = (
    "Yaw, roll and steering in time, gusts from the side, a car that slides or leaves the ground sideways: "
    "no limit notices, whatever it says of front load and grip.",
    "Bending of splitter, chassis and wing supports under load: it moves the gap under the splitter and the "
    "angle of the wing, and with them lift-off.",
    "What the parts do to each other's air, beyond what their coefficients were measured with: wheels, floor "
    "and wing; stall that goes back at another angle than it came.",
    "Tyres that warm, wear, slip or lose their shape: friction is one number a car, less with load at most.",
    "Wheels with mass: they follow the road, and a bump near the frequency at which they hop has no answer.",
    "Pitch and load in time while drive and brakes come on or go off: each is taken up at once, and wheels "
    "that lock or spin are held at the limit of their grip.",
    "Wear and heat of what scrapes, and a point that catches on the road instead of sliding over it.",
    "A battery that empties or cools down from run to run, beyond its voltage and resistance as given.",
    "Parts that tire; dirt, damage, or a part that comes off.",
    "The driver, beyond a reaction time and when the flap is opened.",
)
