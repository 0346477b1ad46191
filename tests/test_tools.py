"""The repository's own rules: style, types, one direction of imports, sources, and README's two commands."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.inputs import load_constants, load_level
from engine.state.arrays import CONSTANTS

ROOT = Path(__file__).parents[1]
CONSTANTS_FILE = ROOT / "configs" / "model" / "constants.toml"
#: Programs of the environment that runs the tests.
PROGRAMS = Path(sys.executable).parent


def run(*command: str) -> str:
    """Output of a tool that must succeed; on failure the test shows it."""
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\n{done.stderr}"
    return done.stdout


# --- style, types, imports --------------------------------------------------------------------------------


def test_ruff_finds_nothing() -> None:
    run(sys.executable, "-m", "ruff", "check", "--no-cache", ".")


def test_the_package_is_formatted() -> None:
    # Not the tests: some keep tables in columns.
    run(sys.executable, "-m", "ruff", "format", "--check", "--no-cache", "engine", "benchmarks")


#: What a module reads of a class, right and misspelt.
READ = {
    "engine.inputs.scenario.Scenario": ("offence_team.name", "offense_team.name"),
    "engine.world.pack.Packed": ("settings", "setings"),
    "engine.study.play.PlayResult": ("scenario.zone.title", "scenario.zone.titel"),
    "engine.study.compare.CompareResult": ("scenario.settings[0].calls", "scenario.settings[0].cals"),
}


@pytest.fixture(scope="module")
def types_told(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> tuple[list[int], str]:
    """What mypy says of the package and, in the same run, of a module that misspells attributes: the lines
    that do, and all it said. Its cache is kept between runs, in pytest's own folder; were it stale, the
    misspelt attributes would go unseen."""
    lines, wrong = [], []
    for name, spellings in READ.items():
        module, kind = name.rsplit(".", 1)
        lines.append(f"from {module} import {kind}")
        for i, attribute in enumerate(spellings):
            lines.append(f"def read_{kind}_{i}(one: {kind}) -> None: print(one.{attribute})")
        wrong.append(len(lines))
    reader = tmp_path_factory.mktemp("types") / "reader.py"
    reader.write_text("\n".join(lines) + "\n")
    cache = request.config.cache.mkdir("types")  # type: ignore[union-attr]
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--cache-dir", str(cache), "engine", str(reader)],
        cwd=ROOT, capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    return wrong, done.stdout + done.stderr


def test_types_hold(types_told: tuple[list[int], str]) -> None:
    wrong, told = types_told
    *errors, last = told.splitlines()
    assert [line for line in errors if "reader.py:" not in line] == [], told
    files = sum(1 for _ in (ROOT / "engine").rglob("*.py"))
    assert last == f"Found {len(wrong)} errors in 1 file (checked {files + 1} source files)", told


def test_a_misspelt_attribute_is_noticed(types_told: tuple[list[int], str]) -> None:
    wrong, told = types_told
    found = re.findall(r"reader\.py:(\d+): error: .* has no attribute .*\[attr-defined\]", told)
    assert [int(number) for number in found] == wrong, told


def test_imports_go_one_way() -> None:
    assert "1 kept, 0 broken" in run(str(PROGRAMS / "lint-imports"), "--no-cache")


def test_every_module_has_its_layer() -> None:
    with open(ROOT / "pyproject.toml", "rb") as file:
        contract = tomllib.load(file)["tool"]["importlinter"]["contracts"][0]
    layered = {name.strip() for layer in contract["layers"] for name in layer.split("|")}
    found = {
        f"engine.{path.stem}"
        for path in (ROOT / "engine").iterdir()
        if (path.suffix == ".py" and path.stem != "__init__") or (path / "__init__.py").exists()
    }
    assert found == layered


# --- what is committed ------------------------------------------------------------------------------------


def committed() -> Iterator[tuple[str, str]]:
    """Name and text of every file committed or about to be, this one apart (it holds the patterns)."""
    listed = run("git", "ls-files", "--cached", "--others", "--exclude-standard").splitlines()
    assert len(listed) > 50
    for name in listed:
        path = ROOT / name
        if path.suffix in (".xlsx", ".xlsm", ".ods"):
            if zipfile.is_zipfile(path):  # one is locked as a whole
                with zipfile.ZipFile(path) as archive:
                    for inside in archive.namelist():
                        yield f"{name}/{inside}", archive.read(inside).decode("utf-8", "replace")
        elif path.is_file() and path != Path(__file__):
            yield name, path.read_text(encoding="utf-8")


def test_no_file_names_a_machine_or_a_registry() -> None:
    path = re.compile(r"""(?<![\w.}>*-])/(?:work|tmp|root|home|mnt|Users|var/folders)(?:/|\b)(?!\.)""")
    hosts = ("py" + r"pi\.", "python" + "hosted", "index" + "-url", "conda" + r"\.", "registry" + r"\.")
    host = re.compile("|".join((*hosts, "ana" + r"conda\.org", r"\bmirrors?\.[a-z]+\.")))
    found = [
        f"{name}:{number}: {line.strip()}"
        for name, text in committed()
        for number, line in enumerate(text.splitlines(), 1)
        if path.search(line) or host.search(line)
    ]
    assert not found, "\n".join(found)


def test_no_test_is_skipped_and_no_check_silenced_without_its_code() -> None:
    silenced = re.compile(
        r"pytest\.(?:skip|xfail)|mark\.(?:skip|xfail)|type: ignore(?!\[)|TODO|FIXME|noqa(?!: ?[A-Z])"
    )
    found = [
        f"{name}:{number}: {line.strip()}"
        for name, text in committed()
        if name.endswith(".py")
        for number, line in enumerate(text.splitlines(), 1)
        if silenced.search(line)
    ]
    assert not found, "\n".join(found)


def test_files_stay_short() -> None:
    long = {name: text.count("\n") for name, text in committed() if name.endswith(".py")}
    # arrays.py is one declaration of arrays, which is read as a table.
    found = {name: lines for name, lines in long.items() if lines >= 450 and name != "engine/state/arrays.py"}
    assert not found, found


# --- constants and sources --------------------------------------------------------------------------------


def test_the_kernel_knows_the_constants_of_the_file_in_its_order() -> None:
    with open(CONSTANTS_FILE, "rb") as file:
        assert tuple(tomllib.load(file)) == CONSTANTS


def used_names() -> set[str]:
    """Attributes read, and strings, in the code that may use a constant: the kernel and pack."""
    names: set[str] = set()
    for path in [
        *(ROOT / "engine" / "kernel").glob("*.py"),
        ROOT / "engine" / "world" / "pack.py",
        ROOT / "engine" / "world" / "shots.py",
    ]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                names.add(node.attr)
            elif isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
                names.add(str(node.slice.value))
    return names


def test_every_constant_is_used() -> None:
    unused = set(CONSTANTS) - used_names()
    assert not unused, sorted(unused)


LEVELS = sorted((ROOT / "configs" / "levels").glob("*.toml"))


def fitted_per_level(name: str, source: str) -> bool:
    """A constant that the fit of the levels moves: every level gives it, two at least by their fit."""
    if re.fullmatch(r"fitted per level to .+: benchmarks/fit_levels\.py", source) is None:
        return False
    levels = [load_level(path.stem) for path in LEVELS]
    return all(name in one.constants for one in levels) and sum(name in one.knobs for one in levels) >= 2


def from_script(name: str, source: str) -> bool:
    """A constant of ours made by a script: one that is there, and that either measured it for every level, in
    whose file it then stands under the same script, or is what the constant is a switch of, or is the test
    that holds it to what it measures."""
    pattern = r"(measured|a switch of)\b.*?((?:benchmarks/|tests/test_)\w+\.py)\b.*"
    script = re.fullmatch(pattern, source)
    if script is None or not (ROOT / script[2]).is_file():
        return False
    if script[1] == "a switch of" or script[2].startswith("tests"):
        return f'"{name}"' in (ROOT / script[2]).read_text(encoding="utf-8")
    # What is believed against men only stands in the other table of a level that is measured against a zone.
    levels = [tomllib.loads(path.read_text(encoding="utf-8")) for path in LEVELS]
    found = [level["constants"].get(name) or level["other_defence"].get(name, {}) for level in levels]
    return all(f"measured: {script[2]}" == item.get("source") for item in found)


def test_other_levels_take_over_what_is_fitted_on_professionals() -> None:
    constants, professional = load_constants(), load_level("professional")
    taken = {name for name, c in constants.items() if "fitted at the professional level" in c.source}
    assert taken == {"noise_points", "shot_rhythm_logit", "block_p"}
    assert taken < set(professional.knobs)
    for name in taken:
        assert constants[name].value == professional.value_of(name) > 0.0, name
    for name in taken - {"noise_points"}:
        for level in ("under_14", "school", "college"):
            assert name not in load_level(level).constants, (name, level)
    hands = constants["touch_max_p"]
    assert hands.value == professional.value_of("touch_max_p") and "touch_max_p" in professional.knobs


def test_professionals_and_college_men_misjudge_by_the_make_of_their_twos_and_boys_as_college_men() -> None:
    professional, college = load_level("professional"), load_level("college")
    assert professional.knobs["noise_points"] == college.knobs["noise_points"] == "two_point"
    for level in map(load_level, ("school", "under_14")):
        assert level.value_of("noise_points") == college.value_of("noise_points")
        assert "noise_points" not in level.knobs and "college" in level.constants["noise_points"].source


def test_rhythm_is_an_input_at_every_level_but_the_professionals() -> None:
    constant = load_constants()["shot_rhythm_logit"]
    assert "an input elsewhere" in constant.source and constant.low < constant.value < constant.high
    given = {path.stem for path in LEVELS if "shot_rhythm_logit" in load_level(path.stem).constants}
    assert given == {"professional"}


def test_every_constant_says_where_it_comes_from_and_what_it_does() -> None:
    # That value, unit, range, source and meaning are there is the loader's check; here: they say something.
    constants = load_constants()

    def known(name: str) -> bool:
        source = constants[name].source
        other = re.fullmatch(r"as (\w+)", source)
        if other:
            return other[1] in constants and other[1] != name and known(other[1])
        said = r"evidence|from memory|practice|first estimate|numerical|seen|input|rule|shape|set near|times"
        ours = from_script(name, source) or fitted_per_level(name, source)
        return ours or re.search(said, source) is not None

    for name, constant in constants.items():
        assert len(constant.source.split()) >= 1 and len(constant.meaning.split()) >= 2, name
        assert known(name), f"{name}: {constant.source}"
        assert constant.low < constant.high, name


def test_a_script_is_no_source_of_what_it_did_not_measure() -> None:
    measured = "measured: benchmarks/fit_beliefs.py"
    assert LEVELS and from_script("belief_gap_m", measured)
    assert not from_script("reaction_s", measured)
    assert not from_script("belief_gap_m", "measured: benchmarks/fit_nothing.py")
    assert not from_script("belief_gap_m", "a switch of benchmarks/fit_beliefs.py")
    assert from_script("screen_lost_s", "measured: as it runs (tests/test_screens.py)")
    assert not from_script("reaction_s", "measured: as it runs (tests/test_screens.py)")
    fitted = "fitted per level to its share of threes: benchmarks/fit_levels.py"
    assert fitted_per_level("reluctance_threes_points", fitted)
    assert not fitted_per_level("shot_rhythm_logit", fitted)


RULES = sorted((ROOT / "configs" / "rules").glob("*.toml"))


@pytest.mark.parametrize("path", RULES, ids=lambda path: path.stem)
def test_every_number_of_a_rule_set_has_its_source(path: Path) -> None:
    with open(path, "rb") as file:
        rules = tomllib.load(file)
    sources = rules.pop("sources")
    assert sources and all(isinstance(text, str) and text.strip() for text in sources.values())
    numbers = {f"{table}.{key}" for table, keys in rules.items() if isinstance(keys, dict) for key in keys}
    covered = {number for number in numbers if number in sources or number.split(".")[0] in sources}
    assert covered == numbers, sorted(numbers - covered)
    tagged = [key for key, text in sources.items() if "SEEN" not in text and "from memory" not in text]
    untold = [key for key in tagged if "practice" not in sources[key] and "own" not in sources[key]]
    assert not untold, untold


def test_there_are_four_rule_sets() -> None:
    assert [path.stem for path in RULES] == ["college", "high_school", "international", "professional"]


# --- README -----------------------------------------------------------------------------------------------


def readme_blocks() -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return [block.strip() for block in re.findall(r"^```sh\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)]


def test_readme_gives_its_two_commands_first() -> None:
    first, second = readme_blocks()[:2]
    assert "pip install" in first and "compare configs/scenarios/friday_night.toml" in first
    assert "pytest" not in first
    assert "pip install" in second and "[test]" in second and "pytest" in second
    for block in (first, second):
        assert len(block.splitlines()) == 1, "a command is one line"


def test_ci_runs_exactly_these_two() -> None:
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & 0o111, "executable"
    text = script.read_text(encoding="utf-8")
    # Its own way of taking the blocks out of README, run here, gives the same two.
    function = re.search(r"^block\(\) \{.*?^\}", text, re.MULTILINE | re.DOTALL)
    assert function
    for number, wanted in enumerate(readme_blocks()[:2], 1):
        assert run("bash", "-euc", f"{function.group()}\nblock {number}").strip() == wanted
    assert re.search(r"^for n in 1 2; do$", text, re.MULTILINE)
    assert "ADDOPTS" not in text, "what the tests' own configuration plays, no less"
    # Nothing else installs, plays or tests.
    assert not re.search(r"pip install|pytest|trapledger", re.sub(r"#.*", "", text))
