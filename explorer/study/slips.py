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
_YES_OR_NO = {"yes": "true", "on": "true", "true": "true", "no": "false", "off": "false", "false": "false"}


def slip_in(line: str) -> str | None:
    """Return the remedy for a line that is no TOML, where it can be told."""
    if _CURLY.search(line):
        return 'write straight quotes: "'
    if _INCHES.search(line):
        return 'write "in" for inches, within the quotes: "17.3 in"'
    if re.search(r"[\"']", _WHOLE_TEXT.sub("", line).partition("#")[0]):
        return "begin and end each text with the same kind of quote, and leave none over"
    if (commas := _COMMAS.findall(line)) and "{" in line:
        return f"write decimal points: {', '.join('.'.join(pair) for pair in commas)}"
    if comma := _COMMA.search(line):
        number = f"{comma[1]}.{comma[2]}"
        return f"write a decimal point: {number}" + (
            f', and quotes: "{number} {comma[3]}"' if comma[3] else ""
        )
    if bare := _BARE.search(line):
        return f'put a number with its unit in quotes: "{bare[1]}"'
    if bare := _BARE_WITHIN.search(line):
        return f'put a number with its unit in quotes: "{bare[1]}"'
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
