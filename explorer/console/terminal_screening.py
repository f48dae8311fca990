"""What ``squatline screen`` prints: who matters where, and who may be given a plain value."""

from __future__ import annotations

from collections.abc import Iterator

from explorer.analyses.screening import ScreenedInputs
from explorer.graph.written import chance
from explorer.study.study import Study
from reports.blocks import Block, Bullets, Column, Heading, Note, Paragraph, Table, cell


def screening_blocks(study: Study, look: ScreenedInputs) -> Iterator[Block]:
    """Say which inputs matter, and what follows for those that do not."""
    yield Heading(study.title)
    yield Table(
        "inputs",
        "Inputs that may matter: largest share of the spread of any limit's margin.",
        (
            Column("Input"),
            Column("Share", number=True),
            Column("Of the margin of"),
            Column("Limits it may matter to", number=True),
        ),
        tuple(
            (
                cell(one.name),
                cell(f"{chance(one.most.share)} (at most {chance(one.most.share_at_most)})"),
                cell(str(one.limit)),
                cell(str(len(one.matters_to))),
            )
            for one in look.inputs
            if one.matters_to and one.most is not None
        ),
    )
    for limit, note in look.notes:
        yield Note(limit, (note,))
    yield Paragraph((verdict_on_the_rest(look),), lead=True)
    if look.idle:
        yield Bullets(((", ".join(one.name for one in look.idle),),))
    yield Paragraph(
        (
            f"From {look.rows} cars, each input drawn anew in turn while the others stay. "
            "A quick look that only sorts out; 'squatline run' ranks.",
        )
    )


def verdict_on_the_rest(look: ScreenedInputs) -> str:
    """Say how many inputs matter to no limit, and what follows."""
    idle, every, tiny = len(look.idle), len(look.inputs), chance(look.negligible)
    if not idle:
        return (
            f"None of the {every} inputs can be left alone: each may answer for {tiny} of the spread of some "
            "margin."
        )
    together = chance(look.rest_at_most)
    return (
        f"{idle} of {every} inputs matter to no limit: each answers for less than {tiny} of the spread of "
        f"any margin, all of them together for at most {together}. Each may be given a plain value, and none "
        "is worth measuring better for these limits:"
    )
