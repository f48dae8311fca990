"""A block to sign: who has read this, and on what terms."""

from __future__ import annotations

from reports.blocks import Paragraph, Section, Signatures
from reports.report import NO_CLEARANCE, Report

_ROLES = ("Builder", "Reviewer", "Responsible at the track")


def build(report: Report) -> Section:
    """Lines to sign on, with the study they are for."""
    reproduction = report.summary.reproduction
    return Section(
        "signatures",
        "Sign-off",
        (
            Paragraph(
                (
                    f"For study {reproduction.study_sha256[:12]}, seed {reproduction.seed}, version "
                    f"{reproduction.version}. {NO_CLEARANCE}",
                )
            ),
            Signatures(_ROLES),
        ),
    )
