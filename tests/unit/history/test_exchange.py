"""The record as one document, and back."""

import json
from pathlib import Path

import pytest

from kept import KEY, entry, report
from motemap.bodies import BodyKey
from motemap.errors import RecordError
from motemap.history import Store, export_document, import_document


def fill(store: Store) -> None:
    store.put(
        [
            entry(report("2031-05-02T10:00:00")),
            entry(report("2031-05-03T10:00:00"), done=("blower", "wet swab")),
            entry(report("2031-05-02T10:00:00"), body=BodyKey("Halvern", "Halvern Q7", "K-2")),
        ]
    )


def test_out_and_in_again_is_the_same_record(tmp_path: Path) -> None:
    with Store.open(tmp_path / "one") as store:
        fill(store)
        document = json.loads(json.dumps(export_document(store, "1.2.3")))
    assert document["report"] == "motemap.history"
    assert document["tool_version"] == "1.2.3"
    with Store.open(tmp_path / "two") as store:
        assert import_document(store, document, path="x.json") == 3
        assert import_document(store, document, path="x.json") == 3
        assert json.loads(json.dumps(export_document(store, "1.2.3"))) == document
        assert [each.n_states for each in store.bodies()] == [1, 2]
        assert len(store.entries(KEY)) == 2


@pytest.mark.parametrize(
    ("document", "word"),
    [
        ({}, "no exported record"),
        ({"report": "motemap.check", "report_version": 1}, "no exported record"),
        ({"report": "motemap.history", "report_version": 2}, "newer version"),
        ({"report": "motemap.history", "report_version": 1}, "incomplete"),
        (
            {
                "report": "motemap.history",
                "report_version": 1,
                "bodies": [{"maker": "a", "model": "b", "serial": "c", "states": [{}]}],
            },
            "incomplete",
        ),
    ],
)
def test_what_is_no_export_is_refused_whole(
    tmp_path: Path, document: dict[str, object], word: str
) -> None:
    with Store.open(tmp_path / "db") as store:
        with pytest.raises(RecordError, match=word) as caught:
            import_document(store, document, path="x.json")
        assert caught.value.path == "x.json"
        assert store.bodies() == ()


def test_one_bad_state_keeps_none(tmp_path: Path) -> None:
    with Store.open(tmp_path / "one") as store:
        fill(store)
        document = export_document(store, "1.2.3")
    del document["bodies"][0]["states"][0]["frame"]["counts"]
    with Store.open(tmp_path / "two") as store:
        with pytest.raises(RecordError, match="incomplete"):
            import_document(store, document, path="x.json")
        assert store.bodies() == ()
