"""Lines that are no TOML though it can be told what was meant: the slips of who writes numbers by hand."""

from __future__ import annotations

import re

_BEGIN = r"^[^#\"'\n=:]*=[ \t]*"
_NUMBER = r"[+-]?\d[\d.]*(?:[eE][+-]?\d+)?"
_CURLY = re.compile(r"[“”„‘’«»]")  # noqa: RUF001
_COMMA = re.compile(r"^[^#\"'\n]*=[ \t]*([+-]?\d+),(\d+)[ \t]*([^\s#,}]*)")
# A comma between digits, where no list stands.
_COMMAS = re.compile(r"=[ \t]*([+-]?\d+),(\d+)(?=[ \t]*[,}])")
_INCHES = re.compile(r"\d[ \t]*\"\"(?!\")")
_WHOLE_TEXT = re.compile(r"\"[^\"]*\"|'[^']*'")
_BARE = re.compile(rf"{_BEGIN}({_NUMBER}[ \t]*[^\s\d.\"'{{}}\[\]#,][^\"'{{}}\[\]#,]*?)[ \t]*(?:#.*)?$")
# The same within { }, where a comma or the brace ends it.
_BARE_WITHIN = re.compile(
    rf"[{{,][^\"'{{}}=]*=[ \t]*({_NUMBER}[ \t]*[A-Za-z°%µ][^\"'{{}}\[\]#,]*?)[ \t]*[,}}]"
)
_WORD = re.compile(rf"{_BEGIN}([A-Za-z][^\"'{{}}\[\]#=]*?)[ \t]*(?:#.*)?$")
_COLON = re.compile(r"^[ \t]*(\w+)[ \t]*:[ \t]*([^#]*[^#\s])")
_NO_VALUE = re.compile(rf"{_BEGIN}(?:#.*)?$")
_OPEN_HEADING = re.compile(r"^[ \t]*(?:(\[\[)[ \t]*([\w.]+)[ \t]*\]?|(\[)[ \t]*([\w.]+))[ \t]*(?:#.*)?$")
_NO_EQUALS = re.compile(rf"^[ \t]*(\w+)[ \t]+({_NUMBER}|\".*\"|{{.*}}|\[.*\])[ \t]*(?:#.*)?$")
_NAME_OF_TWO = re.compile(r"^[ \t]*([A-Za-z][\w-]*(?:[ \t]+[\w-]+)+)[ \t]*=(?!=)")
_HEADING_OF_TWO = re.compile(r"^[ \t]*(\[+)[ \t]*([\w.]+(?:[ \t]+[\w.]+)+)[ \t]*(\]+)")
_NO_COMMA = re.compile(r"=[ \t]*(?:\"[^\"]*\"|'[^']*'|[+-]?[\d.]+)[ \t]+(\w+)[ \t]*=")
_WORD_WITHIN = re.compile(r"[{,][ \t]*\w+[ \t]*=[ \t]*([A-Za-z][^\"'{}\[\]=,]*?)[ \t]*[,}]")
_BACKSLASH = re.compile(r"\"([^\"]*\\[^\"]*)\"")
_COMMENT = re.compile(r"^[ \t]*(?:;|//|--|%|')[ \t]*(.*)$")
_BEHIND = re.compile(rf"{_BEGIN}(?:\"[^\"]*\"|{{[^{{}}]*}})[ \t]+([^\s#,=}}\]].*)$")
_SEMICOLONS = re.compile(r"\[([^\[\]\"'#]*;[^\[\]\"'#]*)\]")
_YES_OR_NO = {"yes": "true", "on": "true", "true": "true", "no": "false", "off": "false", "false": "false"}


def heading_again(rows: list[str], line: int) -> str:
    """Return the remedy for a heading in some line that stands above already."""
    name = rows[line - 1].partition("#")[0].strip(" \t[]")
    above = [re.sub(r"\s", "", row.partition("#")[0]) for row in rows[: line - 1]]
    if f"[[{name}]]" in above:
        return f"write [[{name}]], with two brackets: there may be several"
    first = f" in line {above.index(f'[{name}]') + 1}" if f"[{name}]" in above else ""
    return f"this heading stands above already: move what is below it up to the first{first}, or rename it"


def slip_in(line: str) -> str | None:
    """Return the remedy for a line that is no TOML, where it can be told."""
    if _CURLY.search(line):
        return 'write straight quotes: "'
    outside = _WHOLE_TEXT.sub("", line).partition("#")[0]
    if re.search(r"[\u00a0\u2007\u202f\u3000]", outside):
        return "type the spaces anew: one of them only looks like a space"
    if _INCHES.search(line) or re.fullmatch(r"[^\"'#]*\d[ \t]*\"[ \t]*", line):
        return 'write "in" for inches, within the quotes: "17.3 in"'
    if comment := _COMMENT.search(line):
        return f"begin a comment with #: # {comment[1]}"
    if path := _BACKSLASH.search(line):
        return "write / in place of \\: " + '"' + re.sub(r"\\+", "/", path[1]) + '"'
    if re.search(r"[\"']", outside):
        return "begin and end each text with the same kind of quote, and leave none over"
    if rows := _SEMICOLONS.search(line):
        numbers = [re.sub(r"(?<=\d),(?=\d)", ".", number.strip()) for number in rows[1].split(";")]
        return f"write decimal points, and commas between: [{', '.join(numbers)}]"
    if outside.count("{") > outside.count("}"):
        open_end = outside.rstrip().endswith((",", "{"))
        return "keep all from { to } on one line" if open_end else "close the braces: write } where they end"
    if without := _NO_COMMA.search(line):
        return f"write a comma before {without[1]}"
    if (commas := _COMMAS.findall(line)) and "{" in line:
        return f"write decimal points: {', '.join('.'.join(pair) for pair in commas)}"
    if comma := _COMMA.search(line):
        number = f"{comma[1]}.{comma[2]}"
        if len(comma[2]) == 3 and comma[1] != "0" and not comma[3]:
            return f"write {comma[1]}{comma[2]} without a comma, or a decimal point: {number}"
        return f"write a decimal point: {number}" + (
            f', and quotes: "{number} {comma[3]}"' if comma[3] else ""
        )
    if bare := _BARE.search(line):
        return f'put a number with its unit in quotes: "{bare[1]}"'
    if bare := _BARE_WITHIN.search(line):
        return f'put a number with its unit in quotes: "{bare[1]}"'
    if (within := _WORD_WITHIN.search(line)) and within[1].lower() not in _YES_OR_NO:
        return f'put words in quotes: "{within[1]}"'
    if behind := _BEHIND.search(line):
        return f"begin a comment with #: # {behind[1]}"
    if two := _NAME_OF_TWO.search(line):
        return f"write _ in place of each space: {'_'.join(two[1].split())}"
    if two := _HEADING_OF_TWO.search(line):
        return f"write _ in place of each space: {two[1]}{'_'.join(two[2].split())}{two[3]}"
    if re.search(r"^[ \t]*[\w-]+[ \t]*={2,}", line):
        return "write = once"
    if (word := _WORD.search(line)) and word[1].lower() in _YES_OR_NO:
        return f"write {_YES_OR_NO[word[1].lower()]}, in small letters and without quotes"
    if word:
        return f'put words in quotes: "{word[1]}"'
    if colon := _COLON.search(line):
        return f"write = in place of the colon: {colon[1]} = {colon[2]}"
    if _NO_VALUE.search(line):
        return "write the value behind =, or take the line out"
    if heading := _OPEN_HEADING.search(line):
        return f"close the heading: [[{heading[2]}]]" if heading[1] else f"close the heading: [{heading[4]}]"
    if missing := _NO_EQUALS.search(line):
        return f"write = between name and value: {missing[1]} = {missing[2]}"
    return None
