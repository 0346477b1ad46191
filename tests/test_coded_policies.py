"""Policies as code: found by name in another package, compiled once, their answers kept to the contract.

Everything is exact: records of whole numbers are equal or not. No outside source is needed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from policies import PACKAGE, install, kept, python, registered, scenario_file, sixth_defender

from engine import cli
from engine.inputs import load_scenario
from engine.kernel.batch import play_block, trace_possession
from engine.policies import coded
from engine.state.record import COLUMN, N_RECORD, RECORD
from engine.world.pack import pack

N = 2000
SEED = 3
FAULTS = COLUMN["policy_faults"]

#: The example's own scenario: its policy with two calls, and without any.
SIDELINE = 'name = "sideline"\npolicy = "sideline"\n' + "".join(
    f'[[setting.call]]\ncall = "{call}"\n' for call in ("wing", "corner")
)
LANE = 'name = "lane only"\npolicy = "sideline"'


def records_of(world: Any, n: int = N) -> Any:
    records = np.zeros((n, N_RECORD), np.int32)
    play_block(world, SEED, 0, records)
    return records


def packed_with(folder: Path, defence: str, *settings: str) -> Any:
    return pack(load_scenario(scenario_file(folder, defence, *settings)))


# --- in a package of its own ------------------------------------------------------------------------------

#: Tells what a process finds: names, records of the first setting, and what it had to compile.
TELL = """
import json, sys
import numpy as np
from engine.inputs import load_scenario
from engine.kernel import batch
from engine.world.pack import pack
from engine.policies import coded
from engine.state.record import N_RECORD

packed = pack(load_scenario(sys.argv[1]))
numbers = np.array(json.loads(sys.argv[2]))
records = np.zeros((len(numbers), N_RECORD), np.int32)
batch.play_list(packed.settings[0].world, 3, numbers, records)
told = {"names": coded.names(), "records": records.tolist()}
stats = getattr(batch._entry(), "stats", None)
if stats is not None:
    told["kernel"] = [sum(c.values()) for c in (stats.cache_hits, stats.cache_misses)]
    told["policy"] = [function.cache_hits for function in coded.compile_policy("sideline")]
print(json.dumps(told))
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the example installed in it."""
    folder = tmp_path_factory.mktemp("site")
    install(PACKAGE, folder)
    return folder


@pytest.fixture(scope="module")
def sideline(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return scenario_file(tmp_path_factory.mktemp("sideline"), 'zone = "two_three"', SIDELINE, LANE)


def tell(site: Path, scenario: Path, numbers: Sequence[int] = range(N), **switches: str) -> dict[str, Any]:
    asked = (str(scenario), json.dumps(list(numbers)))
    found: dict[str, Any] = json.loads(python("-c", TELL, *asked, site=site, **switches).stdout)
    return found


def kept_files(site: Path) -> dict[str, tuple[int, int]]:
    """Numba's files of the package: name -> size and time of the last change."""
    files = [file for module in site.rglob("*.py") for file in kept(module)]
    return {file.name: (file.stat().st_size, file.stat().st_mtime_ns) for file in files}


@pytest.fixture(scope="module")
def first(site: Path, sideline: Path) -> dict[str, Any]:
    """What the first process finds; it compiles the policy (and the engine, if nobody has before)."""
    assert not kept_files(site)
    return tell(site, sideline)


def test_a_policy_of_an_installed_package_is_found_by_its_name_and_plays(first: dict[str, Any]) -> None:
    assert "sideline" in first["names"]
    records = np.array(first["records"])
    assert first["policy"] == [0, 0], "nothing was compiled before"
    # Both calls of the setting are made.
    assert set(records[:, COLUMN["first_call"]]) == {0, 1, 2}
    assert records[:, COLUMN["trap_set"]].sum() > 10


def test_a_second_process_compiles_nothing(site: Path, sideline: Path, first: dict[str, Any]) -> None:
    before = kept_files(site)
    assert len(before) == 4, "where and call, an index and the code of each"
    second = tell(site, sideline)
    assert second["kernel"] == [1, 0], "one hit, no miss"
    assert second["policy"] == [1, 1], "where and call both come from the disk"
    assert kept_files(site) == before
    assert second["records"] == first["records"]


def test_an_edit_in_a_helper_of_the_package_is_noticed(
    tmp_path: Path, site: Path, sideline: Path, first: dict[str, Any]
) -> None:
    copy = tmp_path / "site"
    install(PACKAGE, copy)
    assert tell(copy, sideline)["records"] == first["records"]
    helper = copy / "sideline_policy" / "lanes.py"
    text = helper.read_text(encoding="utf-8")
    assert text.count("SHARE = 0.6\n") == 1
    helper.write_text(text.replace("SHARE = 0.6\n", "SHARE = 0.15\n"), encoding="utf-8")
    edited = tell(copy, sideline)
    assert edited["policy"] == [0, 0] and edited["kernel"] == [1, 0]
    assert edited["records"] != first["records"]


def test_interpreted_is_bit_for_bit_compiled(site: Path, sideline: Path, first: dict[str, Any]) -> None:
    called = np.flatnonzero(np.array(first["records"])[:, COLUMN["n_calls"]])
    numbers = [*range(2), *called[:2].tolist()]  # some 150 steps each, and one bit changes all that follow
    found = tell(site, sideline, numbers, NUMBA_DISABLE_JIT="1")
    assert found["records"] == [first["records"][number] for number in numbers]


@pytest.mark.full
def test_compare_does_not_depend_on_the_number_of_threads(tmp_path: Path, site: Path, sideline: Path) -> None:
    texts = []
    for threads in ("1", "2"):
        target = tmp_path / f"{threads}.json"
        command = ("compare", str(sideline), "-n", "9000", "--quiet", "--threads", threads)
        done = python("-m", "engine.cli", *command, "--json", str(target), site=site)
        assert "policy sideline" in done.stdout
        texts.append(target.read_bytes())
    assert texts[0] == texts[1]
    settings = {one["name"]: one for one in json.loads(texts[0])["settings"]}
    assert settings["sideline"]["called_possessions"] > 0 == settings["lane only"]["called_possessions"]


def test_check_asks_the_example_and_finds_no_fault(site: Path, sideline: Path) -> None:
    lines = python("-m", "engine.cli", "check", str(sideline), site=site).stdout.splitlines()
    told = [line.strip() for line in lines if line.startswith("  policy")]
    assert len(told) == 2
    assert told[0].startswith('policy sideline (setting "sideline"): asked on 8,000 floors, wants a trap on ')
    assert all(line.endswith("no fault") for line in told)


# --- a name that is not there -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("defence", "setting", "key"),
    [
        ('policy = "nobody"', 'name = "corner"\n[[setting.call]]\ncall = "corner"', "defence.policy"),
        ("", 'name = "second"\npolicy = "nobody"', "setting[2].policy"),
    ],
)
@pytest.mark.parametrize("command", ["check", "compare"])
def test_an_unknown_policy_is_one_line_that_lists_the_known(
    tmp_path: Path,
    site: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    defence: str,
    setting: str,
    key: str,
    command: str,
) -> None:
    monkeypatch.syspath_prepend(str(site))
    corner = 'name = "first"\n[[setting.call]]\ncall = "corner"'
    file = scenario_file(tmp_path, f'zone = "two_three"\n{defence}', corner, setting)
    with registered("at hand", where=stays):
        assert cli.run([command, str(file), "--quiet"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert err.startswith(f"trapledger: {file}: {key}: 'nobody' is not allowed; allowed: ")
    assert err.endswith("the name of a coded policy: at hand, sideline\n")


def test_a_package_that_does_not_load_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    info = tmp_path / "broken-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: broken\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(
        f"[{coded.ENTRY_POINTS}]\nlost = no_such_module:POLICY\nother = math:pi\n", encoding="utf-8"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    expected = {"lost": "ModuleNotFoundError", "other": "math:pi is not a CodedPolicy named other"}
    for name, said in expected.items():
        file = scenario_file(tmp_path, f'zone = "two_three"\npolicy = "{name}"')
        assert cli.run(["check", str(file)]) == 2
        err = capsys.readouterr().err
        assert err.count("\n") == 1 and f"defence.policy: '{name}' is not allowed" in err and said in err


# --- answers, good and bad --------------------------------------------------------------------------------


def stays(floor: Any, orders: Any) -> None:
    """Everybody where the base defence wants him, said once more."""
    for i in range(5):
        orders.x[i] = floor.planned_x[i]
        orders.y[i] = floor.planned_y[i]


def never(floor: Any) -> int:
    return 0


def lost_after_a_second(floor: Any, orders: Any) -> None:
    if floor.t_s > 1.0:
        orders.x[0] = math.nan
        orders.y[3] = floor.baseline_y_m - 0.5


def one_too_many(floor: Any) -> int:
    return floor.n_calls + 1


def less_than_none(floor: Any) -> int:
    return -1


def at_once(floor: Any) -> int:
    return 1 if floor.calls_made == 0 else 0


def sags(floor: Any, orders: Any) -> None:
    """Nearer to the rim, and on the floor where the plan follows a ball that flies off it."""
    for i in range(5):
        orders.x[i] = min(max(0.7 * orders.x[i], -floor.half_width_m), floor.half_width_m)
        orders.y[i] = max(0.7 * orders.y[i], floor.baseline_y_m)


@pytest.mark.parametrize("zone", ["two_three", "man_to_man", "one_three_one"])
def test_a_policy_that_changes_nothing_is_its_base_in_every_column(tmp_path: Path, zone: str) -> None:
    with registered("nothing", stays, never):
        packed = packed_with(tmp_path, f'zone = "{zone}"', 'name = "nothing"\npolicy = "nothing"')
        home, nothing = records_of(packed.home), records_of(packed.settings[0].world)
    assert packed.settings[0].world["policy_where"][0] == packed.settings[0].world["policy_call"][0] == 1
    differs = (home != nothing).any(axis=0)
    assert not differs.any(), [RECORD[i] for i in np.flatnonzero(differs)]


def test_a_policy_that_changes_places_changes_the_game(tmp_path: Path) -> None:
    """So that the test above says something."""
    with registered("sags", sags):
        packed = packed_with(tmp_path, 'zone = "two_three"', 'name = "sags"\npolicy = "sags"')
        home, sagged = records_of(packed.home), records_of(packed.settings[0].world)
    assert sagged[:, COLUMN["three_gap_mm"]].sum() > 1.2 * home[:, COLUMN["three_gap_mm"]].sum()
    assert sagged[:, FAULTS].sum() == 0


def test_a_place_off_the_court_or_not_a_number_is_counted_and_the_plan_is_kept(tmp_path: Path) -> None:
    n = 300
    with registered("lost", lost_after_a_second):
        packed = packed_with(tmp_path, 'zone = "two_three"', 'name = "lost"\npolicy = "lost"')
        world = packed.settings[0].world
        home, lost = records_of(packed.home, n), records_of(world, n)
        trace = trace_possession(world, SEED, 0)
    others = [i for i in range(N_RECORD) if i != FAULTS]
    np.testing.assert_array_equal(lost[:, others], home[:, others])
    assert ((lost[:, FAULTS] > 0) == (lost[:, COLUMN["time_ms"]] > 1000)).all()
    # Two faults in each step whose clock reads more than a second.
    late = int((trace.states["t"] > 1.0).sum())
    assert int(trace.record[FAULTS]) == int(lost[0, FAULTS]) == 2 * late > 0


CORNER = 'name = "coded"\npolicy = "{}"\n[[setting.call]]\ncall = "corner"'


@pytest.mark.parametrize("answer", [one_too_many, less_than_none])
def test_a_call_that_is_not_there_is_counted_and_not_made(tmp_path: Path, answer: Any) -> None:
    n = 300
    with registered("wrong", call=answer):
        packed = packed_with(tmp_path, 'zone = "two_three"', CORNER.format("wrong"))
        home, wrong = records_of(packed.home, n), records_of(packed.settings[0].world, n)
    others = [i for i in range(N_RECORD) if i != FAULTS]
    np.testing.assert_array_equal(wrong[:, others], home[:, others])
    assert (wrong[:, FAULTS] > 0).all()


def test_the_call_is_made_when_the_policy_says_so(tmp_path: Path) -> None:
    with registered("at once", call=at_once):
        packed = packed_with(tmp_path, 'zone = "two_three"', CORNER.format("at once"))
        records = records_of(packed.settings[0].world, 300)
    assert (records[:, COLUMN["first_call"]] == 1).all() and (records[:, COLUMN["n_calls"]] == 1).all()
    assert records[:, FAULTS].sum() == 0


# --- check ------------------------------------------------------------------------------------------------


def beyond_the_array(floor: Any, orders: Any) -> None:
    if floor.t_s > 2.0:
        orders.x[0] = sixth_defender(floor)


def divides(floor: Any, orders: Any) -> None:
    orders.x[0] = 1.0 / (floor.half_width_m - floor.half_width_m)


def makes_a_list(floor: Any, orders: Any) -> None:
    places = [0.0] * int(floor.handler + 2)
    orders.x[0] = places[1]


def no_such_field(floor: Any) -> int:
    return floor.crowd_noise if floor.t_s < -1.0 else 0


def a_word(floor: Any) -> Any:
    return "trap"


def all_off_the_court(floor: Any, orders: Any) -> None:
    orders.y[4] = 99.0


def random_places(floor: Any, orders: Any) -> None:
    orders.x[0] = np.random.random()


REFUSED: list[tuple[str, Any, Any, tuple[str, ...]]] = [
    ("index", beyond_the_array, None, ("does not raise (where: ", "IndexError", "of possession 0")),
    ("division", divides, None, ("does not raise (where: ", "divide by zero")),
    ("allocation", makes_a_list, None, ("Numba compiles (where: it allocates memory",)),
    ("field", None, no_such_field, ("Numba compiles (call: ", "crowd_noise")),
    ("word", None, a_word, ("whole number (it answered 'trap' at ",)),
    ("off court", all_off_the_court, None, ("places on the court (the place of centre is off", "99.0")),
    ("wrong call", None, one_too_many, ("calls of the setting (call asks for one", "among the setting's 1")),
    ("random", random_places, None, ("same compiled and as plain Python (where does not",)),
]


@pytest.mark.parametrize(("name", "where", "call", "parts"), REFUSED, ids=[case[0] for case in REFUSED])
def test_check_refuses_a_policy_in_one_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    where: Any,
    call: Any,
    parts: tuple[str, ...],
) -> None:
    file = scenario_file(tmp_path, 'zone = "two_three"', CORNER.format(name))
    with registered(name, where, call):
        assert cli.run(["check", str(file), "--quiet"]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"trapledger: {file}: setting[1].policy: '{name}' is not allowed; allowed: ")
    assert err.count("\n") == 1, err
    assert all(part in err for part in parts), err


def test_check_names_the_line_that_raised(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The line is the helper's, which is compiled and would have read beyond the array without a word."""
    file = scenario_file(tmp_path, 'zone = "two_three"\npolicy = "index"')
    with registered("index", beyond_the_array):
        assert cli.run(["check", str(file)]) == 2
    code = sixth_defender.py_func.__code__
    err = capsys.readouterr().err
    assert "defence.policy" in err and Path(code.co_filename).name == "policies.py"
    assert f"{code.co_filename}, line {code.co_firstlineno + 3}: IndexError" in err


def test_check_tells_faults_on_some_floors(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = scenario_file(tmp_path, 'zone = "two_three"\npolicy = "lost"')
    with registered("lost", lost_after_a_second):
        assert cli.run(["check", str(file)]) == 0
    told = [line.strip() for line in capsys.readouterr().out.splitlines() if "policy lost" in line]
    assert told[0].startswith("policy lost (staying home): asked on 8,000 floors, at fault on ")
    assert [line.split("the place of ")[1].split(" is off")[0] for line in told[1:]] == [
        "left_guard", "right_forward",
    ]  # fmt: skip
    assert all(line.startswith("fault: ") and "first (" in line for line in told[1:])


def test_a_policy_that_does_not_compile_is_one_line_when_it_is_played(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = scenario_file(tmp_path, 'zone = "two_three"', CORNER.format("allocation"))
    with registered("allocation", makes_a_list):
        assert cli.run(["compare", str(file), "-n", "50", "--quiet"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert err.startswith("trapledger: policy: 'allocation' is not allowed; ")


def test_a_policy_has_a_function_and_its_name_is_the_last_one_registered() -> None:
    with pytest.raises(ValueError, match="neither where nor call"):
        coded.CodedPolicy("empty", "", "")
    with registered("again", call=never):
        before = coded.compile_policy("again")
        coded.register(coded.CodedPolicy("again", "", "", call=at_once))
        assert coded.find("again").call is at_once
        assert coded.compile_policy("again")[1] is not before[1]
