"""The words of this report in plain language."""

from __future__ import annotations

from reports.blocks import Facts, Section
from reports.report import Report

WORDS = (
    ("Car, sample", "One imagined car out of many: every uncertain input takes a value it may well have."),
    ("Median", "Half of the cars lie above this value and half below."),
    ("90 % range", "Nine cars in ten lie in it; one in twenty lies above, one in twenty below."),
    ("5 to 95 % band", "Nine cars in ten lie inside it."),
    (
        "Standard uncertainty, standard deviation",
        "The usual size of a miss. About two values in three lie within one of it, nineteen in "
        "twenty within two.",
    ),
    (
        "Interval",
        "The run counts cars, so a probability is known only about as well as counting allows. The "
        "true one lies in "
        "a 95 % interval nineteen times out of twenty.",
    ),
    ("Limit", "A requirement on a quantity, and how often it must be met."),
    ("Margin", "How far a car lies on the good side of a limit; negative means that it misses it."),
    (
        "Pass",
        "The whole interval of the probability reaches what was required. A prediction, never a clearance.",
    ),
    ("Fail", "The whole interval stays below what was required."),
    ("Undecided", "The requirement lies inside the interval: the run cannot say."),
    (
        "Guard band",
        "How far inside the limit the median car must lie, so that enough of the others meet it too "
        "(JCGM 106:2012).",
    ),
    (
        "Sobol index",
        "The share of a margin's spread that an input answers for: alone (first-order) or together "
        "with others (total).",
    ),
    (
        "Loss",
        "What a wrong verdict counts for: a good car turned down counts one, a car passed that does not meet "
        "the limit p/(1 - p), where p is the probability required. A measurement is worth the loss it saves.",
    ),
    ("Tied", "The intervals of two inputs overlap, so which matters more is not known."),
    ("Correlated", "Two inputs that tend to be high together, or one high when the other is low."),
    ("Seed", "The number from which all random numbers follow: the same seed gives the same report."),
    (
        "Cap",
        "Where a search for a speed stops. A car at the cap did not reach what was searched for below it.",
    ),
    ("Downforce", "How hard the air presses the car down."),
    ("Pitch", "How far the nose is up. Squat at the rear raises the nose."),
    ("Drag area", "Drag coefficient times the area it belongs to: what the air's resistance grows with."),
)


def build(report: Report) -> Section:
    """All words: a reader cannot know beforehand which will be needed."""
    return Section(
        "glossary", "Glossary", (Facts(tuple((word, (text,)) for word, text in WORDS)),), appendix=True
    )
