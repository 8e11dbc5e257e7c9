"""What the mutation run (tests/full/mutation) excuses is still there to be excused."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.full.mutation.equivalent import EQUIVALENT
from tests.full.mutation.mutants import Mutant, function_at, mutants_of

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("name", sorted({path for path, *_ in EQUIVALENT}))
def test_every_change_that_is_excused_can_still_be_made(name: str) -> None:
    path = ROOT / name
    excused = {key[1:] for key in EQUIVALENT if key[0] == name}
    changes = {key[1:] for key in excused}
    made = [m for m in mutants_of(path, name) if (m.before, m.after) in changes]
    assert excused <= {(function_at(path, m.line), m.before, m.after) for m in made}


def mutants(code: str, name: str, folder: Path) -> Iterator[tuple[Mutant, str]]:
    path = folder / "code.py"
    path.write_text(code, encoding="utf-8")
    for mutant in mutants_of(path, name):
        yield mutant, mutant.applied(code)


DRAWN = """\
MARGIN = 4.0

def draw(ax, count):
    if count > 3:
        ax.text(0.5, -2.0, "é", size=2 * MARGIN + 1, clip=False)
    return ax.names[0]
"""


def test_layout_is_left_alone_where_something_is_drawn(tmp_path: Path) -> None:
    made = {
        m.words.partition(": ")[2]
        for m, _ in mutants(DRAWN, "telemetry/report/figures/a.py", tmp_path)
    }
    assert made == {
        "count > 3  ->  count >= 3", "count > 3  ->  count <= 3", "3  ->  4", "3  ->  2",
        "False  ->  True", "0  ->  1", "0  ->  -1",
    }  # fmt: skip
    every = {m.words for m, _ in mutants(DRAWN, "telemetry/numerics/a.py", tmp_path)}
    assert len(every) == len(made) + 2 + 2 + 1 + 2 + 2 + 2 + 2  # 4.0, 0.5, -2.0, 2.0, 2, 1, * and +


def test_every_mutant_is_code_that_differs(tmp_path: Path) -> None:
    found = list(mutants(DRAWN, "telemetry/numerics/a.py", tmp_path))
    assert found
    for _, text in found:
        assert ast.dump(ast.parse(text)) != ast.dump(ast.parse(DRAWN))
