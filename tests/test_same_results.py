"""The comparison of two checkouts: what it calls a difference, and that it runs a checkout."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.full.same_compare import Difference, differences, strict
from tests.full.same_corpus import (
    LIST,
    Corpus,
    CorpusLog,
    CorpusSeason,
    jobs_of_logs,
    jobs_of_seasons,
    read_corpus,
    thirds,
    write_list,
)
from tests.full.same_results import compared, log_task, main, report, run_batch, season_task

ROOT = Path(__file__).parents[1]


def finding(code: str, place: str, **more: Any) -> dict[str, Any]:
    return {
        "code": code,
        "level": "watch",
        "place": place,
        "title": f"{place} fell by 0.5 V",
        "explanations": ["a plug", "a lead"],
        "evidence": {"drop_v": 0.5, "updates": 12},
        **more,
    }


def document() -> dict[str, Any]:
    return {
        "busbook": "0.1.0",
        "findings": [
            finding("sag-unexplained", "left wing"),
            finding("pack-low", "pack 1"),
            finding("pack-low", "pack 2"),
        ],
        "events": [
            {"kind": "sag", "place": "bus", "start_s": 10.0, "residual_v": 5.5},
            {"kind": "sag", "place": "bus", "start_s": 20.0, "residual_v": 5.2},
            {"kind": "sag", "place": "bus", "start_s": 30.0, "residual_v": 5.1},
        ],
        "trends": [{"code": "pack-weak", "place": "pack 1", "quantity": "drop per amp"}],
        "not_judged": ["tail: too few flights"],
        "servos": 3,
        "sure": True,
        "lowest_v": None,
    }


def changed(change: Callable[[dict[str, Any]], Any]) -> list[Difference]:
    """What is found where one side is the document and the other has the change."""
    other = copy.deepcopy(document())
    change(other)
    return list(differences(document(), other))


def places(found: list[Difference]) -> list[tuple[str, str]]:
    return [(one.kind, one.path) for one in found]


def test_a_document_is_the_same_as_itself() -> None:
    assert list(differences(document(), document())) == []


@pytest.mark.parametrize(
    ("value", "same"),
    [
        (0.5 * (1 + 9e-10), True),
        (0.5 * (1 - 9e-10), True),
        (0.5 * (1 + 2e-9), False),
        (0.5 * (1 - 2e-9), False),
        (-0.5, False),
        (0.0, False),
    ],
)
def test_numbers_differ_from_a_share_of_1e_9_on(value: float, same: bool) -> None:
    found = changed(lambda d: d["findings"][0]["evidence"].update(drop_v=value))
    where = "$.findings[0].evidence.drop_v"
    assert found == ([] if same else [Difference("number", where, "0.5", json.dumps(value))])


def test_large_numbers_differ_by_their_share_and_nothing_by_rounding() -> None:
    assert list(differences(1e6, 1e6 + 9e-4)) == []
    assert places(list(differences(1e6, 1e6 + 2e-3))) == [("number", "$")]
    assert list(differences(0.0, 9e-13)) == []
    assert places(list(differences(0.0, 2e-12))) == [("number", "$")]


def test_a_whole_number_may_be_written_with_decimals_but_a_truth_is_no_number() -> None:
    assert changed(lambda d: d.update(servos=3.0)) == []
    assert places(changed(lambda d: d.update(sure=1))) == [("value", "$.sure")]
    assert places(changed(lambda d: d.update(lowest_v=0))) == [("value", "$.lowest_v")]


@pytest.mark.parametrize("level", ["ground", None])
def test_another_level_is_a_difference_of_that_finding(level: str | None) -> None:
    found = changed(lambda d: d["findings"][1].update(level=level))
    assert found == [Difference("value", "$.findings[1].level", '"watch"', json.dumps(level))]


def test_another_order_is_one_difference() -> None:
    (found,) = changed(lambda d: d["findings"].insert(0, d["findings"].pop(1)))
    assert (found.kind, found.path) == ("order", "$.findings")
    assert json.loads(found.a)[0] == "code=sag-unexplained place=left wing"
    assert json.loads(found.b)[0] == "code=pack-low place=pack 1"


def test_in_another_order_numbers_are_still_compared_finding_by_finding() -> None:
    def change(d: dict[str, Any]) -> None:
        d["findings"][0]["evidence"]["drop_v"] = 0.6
        d["findings"].reverse()

    assert places(changed(change)) == [
        ("order", "$.findings"),
        ("number", "$.findings[0].evidence.drop_v"),
    ]


def test_a_missing_place_is_told_and_drags_nothing_after_it_along() -> None:
    (found,) = changed(lambda d: d["findings"].pop(1))
    assert (found.kind, found.path, found.b) == ("item gone", "$.findings[1]", "")
    assert json.loads(found.a)["place"] == "pack 1"


def test_another_place_is_a_finding_gone_and_one_added() -> None:
    found = changed(lambda d: d["findings"][0].update(place="right wing"))
    assert places(found) == [("item gone", "$.findings[0]"), ("item added", "$.findings[0]")]


def test_of_several_like_events_the_moment_tells_which_is_gone() -> None:
    (found,) = changed(lambda d: d["events"].pop(1))
    assert (found.kind, found.path) == ("item gone", "$.events[1]")
    assert json.loads(found.a)["start_s"] == 20.0


def test_keys_of_one_side_alone_are_a_class_of_their_own() -> None:
    assert places(changed(lambda d: d["events"][0].update(phase="flight"))) == [
        ("key added", "$.events[0].phase")
    ]
    assert places(changed(lambda d: d["events"][0].pop("residual_v"))) == [
        ("key gone", "$.events[0].residual_v")
    ]


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("$.findings[0].title", lambda d: d["findings"][0].update(title="lower than usual")),
        (
            "$.findings[0].explanations[1]",
            lambda d: d["findings"][0].update(explanations=["a plug", "a worn lead"]),
        ),
        ("$.not_judged[0]", lambda d: d.update(not_judged=["tail: 2 flights of 5"])),
        ("$.trends[0].quantity", lambda d: d["trends"][0].update(quantity="drop for each ampere")),
    ],
)
def test_words_that_people_read_are_a_class_of_their_own(
    path: str, change: Callable[[dict[str, Any]], Any]
) -> None:
    assert places(changed(change)) == [("text", path)]


def test_words_that_are_gone_are_no_mere_matter_of_words() -> None:
    assert places(changed(lambda d: d["findings"][0].update(title=""))) == [
        ("value", "$.findings[0].title")
    ]
    assert places(changed(lambda d: d["findings"][0]["explanations"].pop())) == [
        ("item gone", "$.findings[0].explanations[1]")
    ]


def test_the_version_of_the_program_is_no_result() -> None:
    assert changed(lambda d: d.update(busbook="0.2.0")) == []


@pytest.mark.parametrize("text", ['{"a": NaN}', '{"a": -Infinity}', '{"a": 1, "a": 2}', "{"])
def test_what_is_no_json_is_not_taken(text: str) -> None:
    with pytest.raises(ValueError, match=r"no JSON number|stands twice|Expecting"):
        strict(text)


def write(folder: Path, **files: Any) -> Path:
    folder.mkdir()
    for name, content in files.items():
        (folder / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    return folder


def test_compare_prints_file_path_and_both_sides_and_exits_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = document()
    other["findings"][0].update(level="ground", title="new words")
    a, b = write(tmp_path / "a", x=document()), write(tmp_path / "b", x=other)
    assert main(["compare", str(a), str(b)]) == 1
    shown = capsys.readouterr().out
    assert 'x.json: $.findings[0].level: "watch" -> "ground"' in shown
    assert "new words" not in shown
    assert "1  text title" in shown
    assert main(["compare", str(a), str(a)]) == 0


def test_texts_count_only_where_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = document()
    other["findings"][0]["title"] = "new words"
    a, b = write(tmp_path / "a", x=document()), write(tmp_path / "b", x=other)
    assert main(["compare", str(a), str(b)]) == 0
    assert main(["compare", str(a), str(b), "--texts"]) == 1
    assert "new words" in capsys.readouterr().out


def test_added_keys_may_be_allowed_and_keys_gone_never(tmp_path: Path) -> None:
    a, b = write(tmp_path / "a", x=document()), write(tmp_path / "b", x=document() | {"more": 1})
    assert main(["compare", str(a), str(b)]) == 1
    assert main(["compare", str(a), str(b), "--added-keys"]) == 0
    assert main(["compare", str(b), str(a), "--added-keys"]) == 1


def test_a_log_without_result_on_one_side_is_a_difference(tmp_path: Path) -> None:
    a, b = write(tmp_path / "a", x={}, y={}), write(tmp_path / "b", x={})
    assert [name for name, _ in compared(a, b)] == ["y.json"]
    assert report(compared(a, b), added_keys=True) == 1
    assert report(compared(b, a)) == 1
    (tmp_path / "c").mkdir()
    with pytest.raises(SystemExit, match="holds no results"):
        list(compared(a, tmp_path / "c"))


def test_the_corpus_has_every_kind_of_fault_and_enough_of_all(tmp_path: Path) -> None:
    from telemetry.simulate import FaultKind

    logs, seasons = jobs_of_logs(tmp_path), jobs_of_seasons(tmp_path)
    assert len(logs) >= 150
    assert len({job.keywords["name"] for job in logs}) == len(logs)
    flown = [job.keywords.get("fault") for job in logs]
    judged = [job.keywords["kind"] for job in seasons]
    for kind in FaultKind:
        assert flown.count(kind) >= 3
        assert judged.count(kind) >= 2
    assert judged.count(None) >= 4
    assert sum(job.keywords["light"] for job in seasons) == 6


def test_a_season_is_judged_after_each_third(tmp_path: Path) -> None:
    assert thirds(13) == (4, 8, 13)
    season = CorpusSeason(name="x", logs=("1.csv", "2.csv", "3.csv"), profile="x.toml")
    steps = season_task(season, tmp_path).steps
    assert [name for name in steps if name.startswith("history")] == [
        "history 1",
        "history 2",
        "history 3",
    ]
    assert steps["add 2"][:2] == ["add", "2.csv"]


def test_this_checkout_is_run_and_a_refused_log_kept_with_its_sentence(tmp_path: Path) -> None:
    sample = ROOT / "sample_logs" / "tern-bench-stir.csv"
    (tmp_path / "bad.csv").write_bytes(b"")
    (tmp_path / "good.csv").write_bytes(sample.read_bytes())
    tasks = [log_task(CorpusLog(file=file)) for file in ("bad.csv", "good.csv")]
    bad, good = run_batch(tasks, tmp_path, ROOT)
    assert bad["review"]["exit"] == 2
    assert "bad.csv" in bad["review"]["document"]["errors"][0]["message"]
    assert good["review"]["exit"] == 0
    assert good["review"]["document"]["reviews"][0]["log"]["file"] == "good.csv"


def test_a_corpus_keeps_its_light_choice(tmp_path: Path) -> None:
    corpus = Corpus(
        logs=(
            CorpusLog(file="a.csv", options=("--set", "#1=time[s]")),
            CorpusLog(file="b.csv", light=True),
        ),
        seasons=(CorpusSeason(name="s", logs=("c.csv",), note=("tail", "2026-04-04"), light=True),),
    )
    write_list(tmp_path, corpus)
    assert (tmp_path / LIST).exists()
    assert read_corpus(tmp_path) == corpus
    assert read_corpus(tmp_path).light() == Corpus(logs=corpus.logs[1:], seasons=corpus.seasons)
