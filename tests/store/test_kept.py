"""What is kept between two starts: given back as it was, and never in the place of the truth."""

import os
import pickle

import numpy as np
import pytest

from analysis.records.laps import read_laps
from analysis.store import kept
from analysis.store.kept import Kept
from analysis.store.store import open_store

LAPS = b"started_at,seconds,product,operation\n2026-11-02T08:00:00Z,300,card box,cut\n"
OTHER = LAPS.replace(b"300", b"400")
ANSWER = {("this week", (1,)): ["12 good pieces"]}


@pytest.fixture
def store(tmp_path):
    return _store(tmp_path / "own.sqlite", LAPS)


def _store(file, laps: bytes):
    store = open_store(str(file))
    store.import_laps(read_laps(laps, name="laps.csv"))
    return store


def _only_file(folder):
    (file,) = (folder / "kept").iterdir()
    return file


def test_an_unchanged_store_finds_its_answers_at_the_next_start(tmp_path, store):
    Kept(tmp_path, store).put("answers", ANSWER)
    assert Kept(tmp_path, open_store(store.url)).get("answers") == ANSWER


def test_a_changed_store_is_answered_anew(tmp_path, store):
    Kept(tmp_path, store).put("answers", ANSWER)
    store.remove_laps(list(store.laps().lap_id))
    assert Kept(tmp_path, store).get("answers") is None


def test_another_store_in_the_same_place_with_as_many_changes_is_answered_anew(tmp_path, store):
    Kept(tmp_path, store).put("answers", ANSWER)
    store.close()
    for file in tmp_path.glob("own.sqlite*"):
        file.unlink()
    other = _store(tmp_path / "own.sqlite", OTHER)
    assert (other.url, other.version()) == (store.url, 1)
    assert Kept(tmp_path, other).get("answers") is None


def test_a_newer_program_answers_anew(tmp_path, store, monkeypatch):
    Kept(tmp_path, store).put("answers", ANSWER)
    monkeypatch.setattr(kept, "program", lambda: "a newer one")
    assert Kept(tmp_path, store).get("answers") is None


def test_a_half_written_file_is_as_if_it_were_not_there(tmp_path, store):
    Kept(tmp_path, store).put("answers", ANSWER)
    file = _only_file(tmp_path)
    whole = file.read_bytes()
    for length in range(len(whole)):
        file.write_bytes(whole[:length])
        assert Kept(tmp_path, store).get("answers") is None


class Harmful:
    """A pickle that runs code when it is read."""

    def __init__(self, trace):
        self.trace = str(trace)

    def __reduce__(self):
        return os.mkdir, (self.trace,)


@pytest.mark.parametrize("how", ["writable by others", "a link to elsewhere"])
def test_a_file_somebody_else_could_have_written_is_not_run(tmp_path, store, how):
    trace = tmp_path / "code was run"
    place = Kept(tmp_path, store)
    place.put("answers", ANSWER)
    file = _only_file(tmp_path)
    file.write_bytes(place.made_from + pickle.dumps(Harmful(trace)))
    if how == "writable by others":
        file.chmod(0o666)
    else:
        elsewhere = file.rename(tmp_path / "elsewhere")
        file.symlink_to(elsewhere)
    assert place.get("answers") is None
    assert not trace.exists()


def test_what_cannot_be_kept_leaves_no_rubbish_and_no_error(tmp_path, store):
    Kept(tmp_path, store).put("answers", lambda: None)
    (tmp_path / "no folder").write_bytes(b"")
    Kept(tmp_path / "no folder", store).put("answers", ANSWER)
    assert list((tmp_path / "kept").iterdir()) == []
    assert Kept(tmp_path / "no folder", store).get("answers") is None


def test_a_large_answer_goes_to_the_disk_in_pieces_and_comes_back_whole(
    tmp_path, store, monkeypatch
):
    monkeypatch.setattr(kept, "PIECE_BYTES", 1000)
    pieces, sync = [], os.fsync

    def noted(handle: int) -> None:
        pieces.append(os.fstat(handle).st_size)
        sync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    answer = {"text": "x" * 5000, "array": np.arange(100_000), "many": [str(n) for n in range(999)]}
    Kept(tmp_path, store).put("answers", answer)
    whole = _only_file(tmp_path).stat().st_size
    assert pieces[-1] == whole > 800_000  # all of it lies there before it takes the place
    assert max(np.diff([0, *pieces])) < 2000
    back = Kept(tmp_path, store).get("answers")
    assert (back["text"], back["many"]) == (answer["text"], answer["many"])
    assert np.array_equal(back["array"], answer["array"])


def test_what_is_too_large_is_not_kept_and_leaves_what_was_there(tmp_path, store, monkeypatch):
    Kept(tmp_path, store).put("answers", ANSWER)
    monkeypatch.setattr(kept, "MOST_BYTES", 1000)
    Kept(tmp_path, store).put("answers", "x" * 1001)
    assert Kept(tmp_path, store).get("answers") == ANSWER
    assert _only_file(tmp_path)
