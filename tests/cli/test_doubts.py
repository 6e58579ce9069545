"""Entries of doubtful clock are listed and countersigned on the command line."""

from tests.cli.conftest import PASSES, Pitbird


def from_a_phone_that_runs_ahead() -> str:
    """The newest bump test once more, as a phone four hours ahead would send it."""
    import json

    from pitbird.fleet.times import HOUR, Ms, ms_of, text_of
    from pitbird.services import clock
    from pitbird.services.appending import append
    from pitbird.services.doubts import at_another_time
    from pitbird.store import book

    row = next(row for row in book.newest(5) if row.kind == "bump-test")
    body = json.loads(row.leaf)["body"]
    ahead = at_another_time(body, Ms(ms_of(body["at"]) + 4 * HOUR)) | {"id": clock.new_id()}
    append(ahead, recorded_at=clock.now())
    return text_of(clock.now())


def test_a_doubtful_pass_is_listed_and_countersigned_by_a_keeper(begun: Pitbird) -> None:
    assert "No entry is left out" in begun("doubts").out
    begun(PASSES)
    now = from_a_phone_that_runs_ahead()
    assert "Left out for their clock (see `pitbird doubts`): 1." in begun("gate").out
    listed = begun("doubts")
    assert "bump-test" in listed.out
    assert "P-07" in listed.out
    index = listed.out.splitlines()[2].split()[0]
    late = begun(f"countersign {index} --at 2099-01-01T00:00+00:00 --reason x")
    assert late.status == 2
    assert "cannot have happened later" in late.err
    assert begun(f"countersign {index} --at {now} --reason x --by P-07").status == 2
    done = begun(f"countersign {index} --at 2026-01-01T00:00+00:00 --reason seen")
    assert done.status == 0, done.err
    assert "No entry is left out" in begun("doubts").out


def test_what_is_wrong_is_said_all_at_once(begun: Pitbird) -> None:
    done = begun("countersign 9999 --at yesterday --reason x")
    assert done.status == 2
    assert len(done.faults) >= 2
