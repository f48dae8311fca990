"""The sections of the report, in the order of a design review.

Each module builds one section from a report, or None when the run holds nothing for it.  To add one, write a
module with a ``build`` function and put it in its place here.  For all three forms,
and for commands that print one of them.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping
from dataclasses import replace

from reports.blocks import Section
from reports.options import Purpose
from reports.report import Report
from reports.sections import (
    actions,
    assumptions,
    candidates,
    decision,
    design,
    distributions,
    failing,
    failures,
    fits,
    glance,
    glossary,
    hazards,
    history,
    inputs,
    levers,
    linkage,
    measuring,
    models,
    rare_failures,
    reproduction,
    runs,
    sensitivity,
    sideview,
    signatures,
    speed_steps,
    strip,
    sweeps,
    validation,
    verdicts,
    whatif,
)

Build = Callable[[Report], Section | None]

SECTIONS: Mapping[str, Build] = {
    "decision": decision.build,
    "actions": actions.build,
    "signatures": signatures.build,
    "glance": glance.build,
    "verdicts": verdicts.build,
    "failing": failing.build,
    "levers": levers.build,
    "measuring": measuring.build,
    "candidates": candidates.build,
    "whatif": whatif.build,
    "hazards": hazards.build,
    "speed_steps": speed_steps.build,
    "linkage": linkage.build,
    "runs": runs.build,
    "sweeps": sweeps.build,
    "sensitivity": sensitivity.build,
    "design": design.build,
    "validation": validation.build,
    "fits": fits.build,
    "failures": failures.build,
    "inputs": inputs.build,
    "models": models.build,
    "reproduction": reproduction.build,
    "glossary": glossary.build,
    "assumptions": assumptions.build,
    "distributions": distributions.build,
    "outputs": distributions.build_others,
    "sideview": sideview.build,
    "more_sweeps": sweeps.build_others,
    "seldom": rare_failures.build,
    "push": runs.build_push,
    "failing_others": failing.build_others,
    "drivers": sensitivity.build_others,
    "steps": levers.build_steps,
    "measured_alone": measuring.build_alone,
    "history": history.build,
}


# What each purpose prints: everything, what is talked about at a table, one sheet to be written on.
_FOR: Mapping[Purpose, Mapping[str, Build]] = {
    "record": SECTIONS,
    "review": {name: build for name, build in SECTIONS.items() if name not in ("models", "reproduction")},
    "strip": {"strip": strip.build},
}


def sections(report: Report) -> tuple[Section, ...]:
    """Build every section that the run has something for and the reader has not left out."""
    wanted, out = _FOR[report.options.purpose], report.options.leave_out
    built = [build(report) for name, build in wanted.items() if name not in out]
    letters = iter(string.ascii_uppercase)
    return tuple(
        replace(section, title=f"{next(letters)}. {section.title}") if section.appendix else section
        for section in built
        if section is not None
    )
