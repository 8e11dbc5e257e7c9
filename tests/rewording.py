"""Runs the program with every text for people in other words, and prints all that it finds.

    python tests/rewording.py FOLDER [reworded]

Within each text of three words or more every word gets a few letters after its first, other ones
in each text: what reads a sentence that other code wrote no longer finds what it looks for. The
letters are easily taken out again (:func:`as_written`), so the two runs have to give the same,
numbers and texts.
"""

from __future__ import annotations

import ast
import dataclasses
import json
import re
import sys
import zlib
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

LEAST_WORDS = 2
_WORD = re.compile(r"[A-Za-z]{2,}")
_FIELD = re.compile(r"(\{[^{}]*\})")
_LETTERS = re.compile(r"zq[a-z]{3}q", re.IGNORECASE)
# Words of other people's logs, and the forms of the program's own files: read by rights.
_READ = (
    "telemetry.importer.names.words",
    "telemetry.importer.clock.stamps",
    "telemetry.aircraft.profile.writing",
    "telemetry.book.files.layout",
)


def as_written(text: str) -> str:
    """A reworded text as it stands in the program."""
    return _LETTERS.sub("", text)


def in_other_words(text: str, where: str) -> str:
    """A text with letters added to its words; what stands in braces is left."""
    number = zlib.crc32(where.encode())
    letters = "zq" + "".join(chr(97 + number // 26**k % 26) for k in range(3)) + "q"
    return "".join(
        piece if piece.startswith("{") else _WORD.sub(lambda m: m[0][0] + letters + m[0][1:], piece)
        for piece in _FIELD.split(text)
    )


class _Rewording(ast.NodeTransformer):
    """Rewords the texts of a module: no docstrings, patterns or lists of words."""

    def __init__(self, module: str) -> None:
        self.module = module

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        asked = node.func
        if isinstance(asked, ast.Attribute):
            taken_apart = asked.attr == "split" and isinstance(asked.value, ast.Constant)
            pattern = isinstance(asked.value, ast.Name) and asked.value.id == "re"
            if taken_apart or pattern:
                return node
        return self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        return self._reworded(node, [node])

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        parts = [v for v in node.values if isinstance(v, ast.Constant)]
        for value in node.values:
            if isinstance(value, ast.FormattedValue):
                value.value = self.visit(value.value)
        return self._reworded(node, parts)

    def _reworded(self, node: ast.expr, parts: list[ast.Constant]) -> ast.AST:
        texts = [p for p in parts if isinstance(p.value, str)]
        words = "{}".join(str(p.value) for p in texts).split()
        if sum(_WORD.search(w) is not None for w in words) >= LEAST_WORDS:
            for part in texts:
                where = f"{self.module} {node.lineno} {node.col_offset}"
                part.value = in_other_words(str(part.value), where)
        return node


class _Loader(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        path = self.get_filename(fullname)
        tree = _Rewording(fullname).visit(ast.parse(self.get_data(path)))
        return compile(ast.fix_missing_locations(tree), path, "exec", dont_inherit=True)


class _Finder(MetaPathFinder):
    def find_spec(
        self, name: str, path: Any, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name.partition(".")[0] != "telemetry" or name in _READ:
            return None
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and isinstance(spec.loader, SourceFileLoader):
            spec.loader = _Loader(spec.loader.name, spec.loader.path)
        return spec


def everything(folder: Path) -> dict[str, Any]:
    """What is found in the logs of a folder: reviews and their documents, joined, across flights.

    A log is reviewed with the profile of its name where there is one. Logs named "part" are joined;
    those named "season" are put into a book, as flights of the aircraft of its profile.
    """
    import telemetry
    from telemetry.aircraft.profile import profile_errors, read_profile
    from telemetry.circuit.budget import budget
    from telemetry.circuit.together import together
    from telemetry.report.documents.of_budget import budget_document
    from telemetry.report.documents.of_history import history_document
    from telemetry.report.documents.of_review import document_of
    from telemetry.report.writers import json as report_json

    out: dict[str, Any] = {}
    for path in sorted(folder.glob("*.csv")):
        log = telemetry.read_log(path)
        own = path.with_suffix(".toml")
        profile = read_profile(own) if own.exists() else None
        review = telemetry.review(log, profile)
        out[path.name] = {
            "channels": [dataclasses.asdict(c) for c in log.channels],
            "review": report_json.review_document(review),
            "document": dataclasses.asdict(document_of(review)),
        }
        if profile is not None and (state := together([review])) is not None:
            found = budget(state.aircraft, state.resistances, state.measured)
            out[path.name]["budget"] = report_json.budget_document(found, [path.name])
            out[path.name]["budget document"] = dataclasses.asdict(
                budget_document(found, state.aircraft, 1, "one flight")
            )
    # A saved map may name a column that this log has not.
    odd = folder / "odd.csv"
    header = telemetry.read_log(odd).provenance.header
    kept = telemetry.ColumnMap(name="kept", fingerprint=header, readings={"none such": "ignore"})
    again = telemetry.read_log(odd, column_maps=(kept,))
    out["by a map"] = [again.provenance.notes, *(c.reason for c in again.channels)]
    parts = [telemetry.read_log(p) for p in sorted(folder.glob("part*.csv"))]
    joined = telemetry.join_logs(parts)
    out["joined"] = {"notes": joined.provenance.notes, "time": [float(t) for t in joined.time_s]}
    for path in sorted(folder.glob("*.wrong")):
        out[path.name] = [str(error) for error in profile_errors(path)]
    book = telemetry.Logbook(folder / "book")
    telemetry.add_logs(book, sorted(folder.glob("season*.csv")), aircraft="season")
    history = telemetry.history(book, "season")
    out["history"] = report_json.history_document(history)
    out["history document"] = dataclasses.asdict(history_document(history))
    return out


if __name__ == "__main__":
    if "reworded" in sys.argv[2:]:
        sys.meta_path.insert(0, _Finder())
    text = json.dumps(everything(Path(sys.argv[1])), default=str, indent=1, sort_keys=True)
    sys.stdout.write(text)
