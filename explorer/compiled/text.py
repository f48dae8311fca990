"""A record as the text of one machine routine, in LLVM's language: some samples at a time, as one vector.

Lines stand in the order of the record.  A loop goes round until every sample of the vector is done.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

from explorer.compiled.record import Loop, Operand, Record, Region, Value, is_truth

#: Samples in a vector: enough to keep the processor busy, few enough to stay in its registers.
WIDTH = 16
NUMBERS, TRUTHS = f"<{WIDTH} x double>", f"<{WIDTH} x i1>"

#: Instructions, by the operation of numpy they stand for; of those on truths only some are needed.
INSTRUCTIONS = {
    "add": "fadd",
    "subtract": "fsub",
    "multiply": "fmul",
    "divide": "fdiv",
    "negative": "fneg",
    "less": "fcmp olt",
    "less_equal": "fcmp ole",
    "greater": "fcmp ogt",
    "greater_equal": "fcmp oge",
    "equal": "fcmp oeq",
    "not_equal": "fcmp une",
}
ON_TRUTHS = {"and": "and", "or": "or", "equal": "icmp eq", "not_equal": "icmp ne"}
#: Functions that processors have.
BUILT_IN = {"absolute": "fabs", **{name: name for name in ("sqrt", "floor", "ceil", "rint", "copysign")}}
#: Functions of the mathematical library of C, called sample by sample.
LIBRARY = {"power": "pow", "arctan2": "atan2", "arcsin": "asin", "arccos": "acos", "arctan": "atan"}
LIBRARY |= {name: name for name in ("exp", "expm1", "log", "log1p", "sin", "cos", "tan", "hypot")}
LIBRARY |= {name: name for name in ("sinh", "cosh", "tanh")}


def routine(record: Record, inputs: Sequence[Value], outputs: Sequence[Operand]) -> str:
    """Write what the outputs are made of.

    The routine takes a table of pointers, to the samples of the inputs and then to those of the outputs, and
    the number of samples, a multiple of ``WIDTH``.
    """
    return _Writer(record, record.made_of(outputs)).text(inputs, outputs)


class _Writer:
    def __init__(self, record: Record, needed: set[Value]) -> None:
        self.record = record
        self.needed = needed
        self.lines: list[str] = []
        self.helpers: set[str] = set()
        self.block = "samples"
        self.loops = 0

    def text(self, inputs: Sequence[Value], outputs: Sequence[Operand]) -> str:
        pointers = []
        for place in range(len(inputs) + len(outputs)):
            pointers.append(f"  %at{place} = getelementptr ptr, ptr %table, i64 {place}")
            pointers.append(f"  %row{place} = load ptr, ptr %at{place}")
            self._put(f"%p{place} = getelementptr double, ptr %row{place}, i64 %sample")
        for place, value in enumerate(inputs):
            self._put(f"{self._name(value)} = load {NUMBERS}, ptr %p{place}, align 8")
        self._region(self.record.top)
        for place, operand in enumerate(outputs, start=len(inputs)):
            number = self._name(operand)
            if is_truth(operand):
                self._put(f"%out{place} = uitofp {TRUTHS} {number} to {NUMBERS}")
                number = f"%out{place}"
            self._put(f"store {NUMBERS} {number}, ptr %p{place}, align 8")
        return "\n".join(
            [
                *sorted(self.helpers),
                "define void @routine(ptr %table, i64 %count) {",
                "start:",
                *pointers,
                "  br label %samples",
                "samples:",
                f"  %sample = phi i64 [ 0, %start ], [ %next, %{self.block} ]",
                *self.lines,
                f"  %next = add i64 %sample, {WIDTH}",
                "  %more = icmp ult i64 %next, %count",
                "  br i1 %more, label %samples, label %end",
                "end:",
                "  ret void",
                "}",
                "",
            ]
        )

    def _put(self, line: str) -> None:
        self.lines.append(f"  {line}")

    def _begin(self, block: str) -> None:
        self.lines.append(f"{block}:")
        self.block = block

    def _name(self, operand: Operand) -> str:
        if not isinstance(operand, Value):
            exact = struct.pack(">d", operand).hex().upper()
            one = f"i1 {operand:d}" if isinstance(operand, bool) else f"double 0x{exact}"
            return f"<{', '.join([one] * WIDTH)}>"
        if operand.operation == "result":
            # What comes out of a loop is what its last round was to begin with.
            loop, place = self.record.loops[operand]
            operand = loop.carried[place]
        return f"%v{operand.number}"

    def _region(self, region: Region) -> None:
        for item in region.items:
            if isinstance(item, Loop):
                if not self.needed.isdisjoint(item.results):
                    self._loop(item)
            elif item in self.needed and item.operation not in ("input", "carried", "result"):
                self._operation(item)

    def _loop(self, loop: Loop) -> None:
        self.loops += 1
        n, before = self.loops, self.block
        self._put(f"br label %round{n}")
        self._begin(f"round{n}")
        top = len(self.lines)
        self._put(f"%done{n} = bitcast {TRUTHS} {self._name(loop.carried[loop.done])} to i{WIDTH}")
        self._put(f"%open{n} = icmp ne i{WIDTH} %done{n}, -1")
        self._put(f"%left{n} = icmp ult i32 %count{n}, {loop.limit}")
        self._put(f"%again{n} = and i1 %open{n}, %left{n}")
        self._put(f"br i1 %again{n}, label %body{n}, label %after{n}")
        self._begin(f"body{n}")
        self._region(loop.body)
        self._put(f"%counted{n} = add i32 %count{n}, 1")
        self._put(f"br label %round{n}")
        last = self.block
        carried = [f"  %count{n} = phi i32 [ 0, %{before} ], [ %counted{n}, %{last} ]"]
        for value, first, then in zip(loop.carried, loop.initial, loop.changed, strict=True):
            if value in self.needed:
                ways = f"[ {self._name(first)}, %{before} ], [ {self._name(then)}, %{last} ]"
                carried.append(f"  {self._name(value)} = phi {_kind(value)} {ways}")
        self.lines[top:top] = carried
        self._begin(f"after{n}")

    def _operation(self, value: Value) -> None:
        name, operation = self._name(value), value.operation
        names = [self._name(one) for one in value.operands]
        typed = [f"{_kind(one)} {self._name(one)}" for one in value.operands]
        one_kind = f"{_kind(value.operands[0])} {', '.join(names)}"
        if operation == "where":
            self._put(f"{name} = select {', '.join(typed)}")
        elif operation == "not":
            self._put(f"{name} = xor {one_kind}, {self._name(True)}")
        elif is_truth(value.operands[0]):
            self._put(f"{name} = {ON_TRUTHS[operation]} {one_kind}")
        elif operation in INSTRUCTIONS:
            self._put(f"{name} = {INSTRUCTIONS[operation]} {one_kind}")
        elif operation in ("minimum", "maximum"):
            # What is not a number comes through, first or second.
            self._put(f"{name}.a = fcmp {'ole' if operation == 'minimum' else 'oge'} {one_kind}")
            self._put(f"{name}.b = fcmp uno {typed[0]}, {names[0]}")
            self._put(f"{name}.c = or {TRUTHS} {name}.a, {name}.b")
            self._put(f"{name} = select {TRUTHS} {name}.c, {', '.join(typed)}")
        elif operation == "isnan":
            self._put(f"{name} = fcmp uno {typed[0]}, {names[0]}")
        elif operation in ("isfinite", "isinf"):
            self._put(f"{name}.size = {self._called('fabs', typed)}")
            order = "olt" if operation == "isfinite" else "oeq"
            self._put(f"{name} = fcmp {order} {NUMBERS} {name}.size, {self._name(float('inf'))}")
        elif operation in BUILT_IN:
            self._put(f"{name} = {self._called(BUILT_IN[operation], typed)}")
        else:
            self.helpers.add(_sample_by_sample(LIBRARY[operation], len(names)))
            self._put(f"{name} = call {NUMBERS} @each.{LIBRARY[operation]}({', '.join(typed)})")

    def _called(self, function: str, typed: Sequence[str]) -> str:
        function = f"{NUMBERS} @llvm.{function}.v{WIDTH}f64"
        self.helpers.add(f"declare {function}({', '.join([NUMBERS] * len(typed))})")
        return f"call {function}({', '.join(typed)})"


def _kind(operand: Operand) -> str:
    return TRUTHS if is_truth(operand) else NUMBERS


def _sample_by_sample(function: str, count: int) -> str:
    """Write a routine that calls a function of the library for each sample of a vector."""
    takes = ", ".join(f"{NUMBERS} %{place}" for place in range(count))
    lines = [
        f"declare double @{function}({', '.join(['double'] * count)})",
        f"define internal {NUMBERS} @each.{function}({takes}) noinline {{",
    ]
    so_far = "poison"
    for k in range(WIDTH):
        for place in range(count):
            lines.append(f"  %given{k}.{place} = extractelement {NUMBERS} %{place}, i32 {k}")
        given = ", ".join(f"double %given{k}.{place}" for place in range(count))
        lines.append(f"  %found{k} = call double @{function}({given})")
        lines.append(f"  %all{k} = insertelement {NUMBERS} {so_far}, double %found{k}, i32 {k}")
        so_far = f"%all{k}"
    return "\n".join([*lines, f"  ret {NUMBERS} {so_far}", "}"])
