"""Which recordings go first, and what is left of those that are cut down."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from recordings.check import verify
from recordings.cut import starts_of
from recordings.folder import Kept, describe, recordings_of, settle_open, size_of
from recordings.packer import about_row
from recordings.reader import Recording
from recordings.retention import Action, Keeper, Limits, Step, next_step, stretches_in
from recordings.store import Store
from recordings.writer import Recorder
from shared.events import Event
from shared.updates import Value
from shared.words import Severity
from tests.recordings.logs import entry_of, finding, joined, night
from tests.recordings.test_damage import flip

DAY_S = 86_400.0
NOW_S = 1_000 * DAY_S
META = {"title": "garage", "profile": {"addresses": ["ws://127.0.0.1:1"]}}


def kept(name: str, age_days: float, *stretches: tuple[float, float], size: int = 100) -> Kept:
    """A recording of log time 0 to 1000 that ended some days ago, in a run of its own."""
    ended_s = NOW_S - age_days * DAY_S
    return Kept(Path(name), size, ended_s, name, 0.0, 1000.0, stretches)


def steps(files: Sequence[Kept], limits: Limits, cut_to: float = 0.1) -> list[tuple[Action, str]]:
    """Every step until none is due, where cutting leaves a part of the size."""
    files = list(files)
    taken = []
    while (step := next_step(files, limits, NOW_S)) is not None:
        at = files.index(step.kept)
        taken.append((step.action, step.kept.path.name))
        if step.action is Action.DELETE:
            del files[at]
        else:
            files[at] = replace(step.kept, size=int(step.kept.size * cut_to), is_cut=True)
        assert len(taken) < 100
    return taken


LOUD = (400.0, 520.0)
FILES = (
    kept("oldest-loud", 40.0, LOUD),
    kept("old-quiet", 35.0),
    kept("loud", 20.0, LOUD),
    kept("quiet", 10.0),
    kept("newest-loud", 1.0, LOUD),
)


def test_without_limits_nothing_goes() -> None:
    assert steps(FILES, Limits()) == []


def test_by_age_what_is_quiet_goes_and_what_is_loud_is_cut() -> None:
    assert steps(FILES, Limits(keep_s=30 * DAY_S)) == [
        (Action.DELETE, "old-quiet"),
        (Action.CUT, "oldest-loud"),
    ]


def test_by_size_the_oldest_quiet_goes_first() -> None:
    assert steps(FILES, Limits(keep_bytes=450)) == [(Action.DELETE, "old-quiet")]


def test_by_size_events_outlive_every_quiet_stretch() -> None:
    """Quiet files, then quiet stretches of loud files, then what has an event, oldest first."""
    assert steps(FILES, Limits(keep_bytes=25)) == [
        (Action.DELETE, "old-quiet"),
        (Action.DELETE, "quiet"),
        (Action.CUT, "oldest-loud"),
        (Action.CUT, "loud"),
        (Action.CUT, "newest-loud"),
        (Action.DELETE, "oldest-loud"),
    ]


def test_files_in_use_count_for_the_size_but_never_go() -> None:
    step = next_step([FILES[3]], Limits(keep_bytes=1000), NOW_S, in_use_bytes=950)
    assert step == Step(Action.DELETE, FILES[3])
    assert next_step([], Limits(keep_bytes=1000), NOW_S, in_use_bytes=5000) is None


def test_the_minute_before_an_event_in_the_next_file_is_kept() -> None:
    """Files of one run share log time: a file is loud if its neighbour's margin reaches into it."""
    before = Kept(Path("before"), 100, NOW_S, "run", 0.0, 1000.0, ())
    after = Kept(Path("after"), 100, NOW_S, "run", 1000.2, 2000.0, ((960.0, 1100.0),))
    other = replace(before, path=Path("other"), series="another run")
    assert stretches_in(before, [before, after]) == ((960.0, 1100.0),)
    assert stretches_in(other, [other, after]) == ()
    step = next_step([other, before], Limits(keep_bytes=0), NOW_S, around=[after])
    assert step == Step(Action.DELETE, other)
    step = next_step([before], Limits(keep_bytes=0), NOW_S, around=[after])
    assert step == Step(Action.CUT, before)


@st.composite
def folders(draw: st.DrawFn) -> list[Kept]:
    ages = sorted(draw(st.lists(st.floats(0.0, 60.0), max_size=8)), reverse=True)
    return [
        kept(
            f"f{number}",
            age,
            *draw(st.lists(st.just(LOUD), max_size=1)),
            size=draw(st.integers(1, 300)),
        )
        for number, age in enumerate(ages)
    ]


@given(
    folders(),
    st.one_of(st.none(), st.floats(0.0, 60.0)),
    st.one_of(st.none(), st.integers(0, 1500)),
    st.floats(0.0, 1.0),
)
def test_no_event_goes_before_anything_quiet(
    files: list[Kept], days: float | None, keep_bytes: int | None, cut_to: float
) -> None:
    """Whatever the folder and the limits: order, and the limits hold in the end."""
    limits = Limits(None if days is None else days * DAY_S, keep_bytes)
    taken = steps(files, limits, cut_to)
    loud = {one.path.name for one in files if one.stretches}
    gone = [name for action, name in taken if action is Action.DELETE]
    cut = [name for action, name in taken if action is Action.CUT]
    first_loud = next((at for at, name in enumerate(gone) if name in loud), None)
    if first_loud is not None:
        assert {one.path.name for one in files} - loud == set(gone[:first_loud])
        assert set(cut) == loud
    left = [one for one in files if one.path.name not in gone]
    if keep_bytes is not None:
        cut_sizes = (int(f.size * cut_to) if f.path.name in cut else f.size for f in left)
        assert sum(cut_sizes) <= keep_bytes
    if days is not None:
        assert all(one.stretches or NOW_S - one.ended_wall_s <= days * DAY_S + 1e-3 for one in left)


# -- on disk --


def make(path: Path, events: Sequence[Event] = (), meta: object = META, count: int = 4000) -> Path:
    """A closed recording of about 1000 s, with its events."""
    recorder = Recorder(path, dict(msgspec.convert(meta, dict[str, object])))
    for index, update in enumerate(night(count)):
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if index % 40 == 39:
            recorder.flush()
    for event in events:
        recorder.event(event)
    recorder.note(3.0, "tightened", "trial", {"what": "terminal"})
    recorder.close()
    return path


FAULT = finding(1, start_s=500.0, end_s=505.0, count=4)


def test_cutting_leaves_events_as_they_were(tmp_path: Path) -> None:
    """The minute around stays to the byte, the rest goes, the file is whole and smaller."""
    path = make(tmp_path / "a.ohmv", [finding(1, start_s=500.0), FAULT])
    before = size_of(path)
    recording = Recording(path)
    entries, updates = list(recording.entries()), joined(recording.batches())
    changes, anchors = list(recording.event_changes()), recording.anchors()
    recording.close()
    keeper = Keeper(tmp_path, META, Limits(keep_bytes=before - 1))
    assert keeper([]) == ""
    assert list(tmp_path.iterdir()) == [path]
    assert size_of(path) < 0.4 * before
    report = verify(path)
    assert report.is_whole
    assert report.is_closed
    recording = Recording(path)
    left = joined(recording.batches())
    near_ones = [u for u in updates if 440.0 <= u.time_s <= 565.0]
    assert [u.time_s for u in left] == [u.time_s for u in near_ones]
    assert left[1:] == near_ones[1:]
    said: dict[str, Value] = {}
    for update in updates[: updates.index(near_ones[0]) + 1]:
        said |= update.values
    assert left[0].values == said
    assert starts_of(recording.meta) == (440.0,)
    near = [e for e in entries if 441.0 <= e.own_s - 1000.0 <= 564.0]
    kept_entries = list(recording.entries())
    assert [e for e in kept_entries if 441.0 <= e.own_s - 1000.0 <= 564.0] == near
    assert all(435.0 <= e.own_s - 1000.0 <= 570.0 for e in kept_entries)
    assert list(recording.event_changes()) == changes
    assert recording.anchors() == anchors
    assert [note.facts for note in recording.notes] == [{"what": "terminal"}]
    assert recording.meta["title"] == "garage"
    recording.close()


def test_a_quiet_recording_is_deleted_and_others_are_left_alone(tmp_path: Path) -> None:
    """Not another host's, not one in use, not what is no recording."""
    quiet = make(tmp_path / "a.ohmv", [finding(1, severity=Severity.NOTICE)], count=400)
    other = make(tmp_path / "b.ohmv", meta={"title": "cellar"}, count=400)
    used = make(tmp_path / "c.ohmv", count=400)
    (tmp_path / "d.ohmv").write_text("no recording")
    told: list[str] = []
    keeper = Keeper(tmp_path, META, Limits(keep_s=DAY_S), lambda: 4e9, told.append)
    assert keeper([used]) == ""
    assert not quiet.exists()
    assert other.exists()
    assert used.exists()
    assert (tmp_path / "d.ohmv").exists()
    assert [line.split(":")[0] for line in told] == ["deleted a.ohmv"]


def test_a_recording_that_another_program_writes_is_left_alone(tmp_path: Path) -> None:
    """However old or big: the lock tells."""
    log = night(200)
    writer = Recorder(tmp_path / "a.ohmv", META)
    writer.updates(log[:100])
    assert writer.flush()
    assert not settle_open(tmp_path / "a.ohmv")
    assert Keeper(tmp_path, META, Limits(0.0, 0), lambda: 4e9)([]) == ""
    assert (tmp_path / "a.ohmv").exists()
    writer.updates(log[100:])
    writer.close()
    assert writer.trouble == ""
    recording = Recording(tmp_path / "a.ohmv")
    assert joined(recording.batches()) == log
    recording.close()


def killed(path: Path) -> Path:
    """A recording whose writer went without closing it."""
    store = Store(path, "x", [about_row(name, value) for name, value in META.items()])
    copy = path.with_name("copy")
    for suffix in ("", "-wal"):
        Path(f"{copy}{suffix}").write_bytes(Path(f"{path}{suffix}").read_bytes())
    store.finish()
    for suffix in ("", "-wal"):
        Path(f"{copy}{suffix}").replace(f"{path}{suffix}")
    return path


def test_a_killed_recording_is_settled_once(tmp_path: Path) -> None:
    """Its side files are folded in, it is whole, and it says that it was found so."""
    path = killed(tmp_path / "a.ohmv")
    found = describe(path, META)
    assert found is not None
    assert not found.is_closed
    assert settle_open(path)
    assert list(tmp_path.iterdir()) == [path]
    assert verify(path).is_whole
    assert [one.is_closed for one in recordings_of(tmp_path, META)] == [True]


def test_a_recording_that_cannot_be_cut_stays_and_is_said(tmp_path: Path) -> None:
    """Damage is never copied over what is there."""
    path = make(tmp_path / "a.ohmv", [FAULT])
    flip(path, "sample_blocks")
    content = path.read_bytes()
    trouble = Keeper(tmp_path, META, Limits(keep_bytes=10))([])
    assert trouble.startswith("old recordings: ")
    assert "damaged" in trouble
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]
