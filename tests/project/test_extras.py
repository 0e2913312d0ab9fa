"""A library that is not installed is answered with one sentence and the command that helps."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable

import pandas as pd
import pytest
from places import PACKAGE, ROOT

import cmjlab as cj
from cmjlab.errors import MissingExtraError

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
#: Name under which a package is imported, where it differs.
IMPORTED = {
    "python-docx": "docx",
    "fonttools": "fontTools",
    "tomli-w": "tomli_w",
    "lazy_loader": "lazy_loader",
}
#: Brought by packages of the extra: the notebook format and its kernels come with nbclient.
COMES_WITH = {"nbformat": "lab", "jupyter_client": "lab"}


def _names(requirements: list[str]) -> set[str]:
    packages = {re.split(r"[><=\[ ]", r)[0] for r in requirements}
    return {IMPORTED.get(p, p) for p in packages}


BASE = _names(PROJECT["dependencies"])
EXTRA = {
    name: extra
    for extra in ("lab", "docx", "cluster")
    for name in _names(PROJECT["optional-dependencies"][extra])
} | COMES_WITH


def _imported() -> dict[str, set[str]]:
    """Return outside packages -> files of the library that import them, by hand or by name."""
    found: dict[str, set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                names = [node.module]
            elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "optional":
                names = [str(ast.literal_eval(node.args[0]))]
            for name in names:
                top = name.split(".")[0]
                if top != "cmjlab" and top not in sys.stdlib_module_names:
                    found.setdefault(top, set()).add(str(path.relative_to(PACKAGE)))
    return found


def test_every_package_of_the_base_is_imported_and_every_import_is_declared():
    used = _imported()
    assert sorted(BASE - set(used)) == [], "declared and imported nowhere"
    assert sorted(set(used) - BASE - set(EXTRA)) == [], "imported and declared nowhere"


def test_the_base_works_without_any_extra():
    """With every library of the extras blocked, the package and its commands still load."""
    blocked = ", ".join(f"{name!r}: None" for name in EXTRA)
    code = (
        f"import sys; sys.modules.update({{{blocked}}})\n"
        "import cmjlab as cj, pkgutil, importlib\n"
        "[getattr(cj, name) for name in cj.__all__]\n"
        "for m in pkgutil.walk_packages(cj.__path__, 'cmjlab.'):\n"
        "    if m.name not in ('cmjlab.__main__', 'cmjlab.report.notebooks.kernel'):\n"
        "        importlib.import_module(m.name)\n"
        "print('loaded')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip().endswith("loaded"), done.stderr


def _copies(place) -> object:
    from cmjlab.report.notebooks.copy import copy_notebooks

    return copy_notebooks(place / "copies")


def _run(place) -> object:
    from cmjlab.report.notebooks.run import run_notebooks

    return run_notebooks(cj.Study.open(cj.demo_study(), place / "results"), only=["02"])


def _word(place) -> object:
    from cmjlab.report.render.docx import _library

    return _library()


def _window(place) -> object:
    from cmjlab.review.widget import _widgets

    return _widgets()


def _cluster(place) -> object:
    return cj.Study.open(cj.demo_study(mini=True), place).measure(cluster="tcp://127.0.0.1:1")


def _remote(place) -> object:
    return cj.Study.open("memory://squad/block", place)


def _opinion(place) -> object:
    from cmjlab.stats.reliability.second_opinion import icc_second_opinion

    frame = pd.DataFrame(
        {"athlete": list("aabbcc"), "session": ["s1", "s2"] * 3, "x": [1.0, 2, 3, 3, 5, 4]}
    )
    return icc_second_opinion(frame, "x")


@pytest.mark.parametrize(
    ("module", "extra", "use"),
    [
        ("nbformat", "lab", _copies),
        ("nbclient", "lab", _run),
        ("ipykernel", "lab", _run),
        ("seaborn", "lab", _run),
        ("pingouin", "lab", _run),
        ("pingouin", "lab", _opinion),
        ("ipywidgets", "lab", _window),
        ("docx", "docx", _word),
        ("dask", "cluster", _cluster),
        ("distributed", "cluster", _cluster),
        ("fsspec", "cluster", _remote),
    ],
)
def test_a_missing_library_is_named_with_the_command(
    module: str, extra: str, use: Callable[..., object], monkeypatch, tmp_path
):
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(MissingExtraError) as stop:
        use(tmp_path)
    text = str(stop.value)
    assert f"({module} is missing)" in text
    assert f'-m pip install "cmjlab[{extra}]"' in text
    assert EXTRA[module] == extra
    assert len(text) < 300
    assert not (tmp_path / "results" / "notebooks").exists()


def test_the_command_answers_in_one_sentence(tmp_path):
    code = "import sys; sys.modules['nbclient'] = None\nfrom cmjlab.__main__ import main\nmain()"
    done = subprocess.run(
        [sys.executable, "-c", code, "notebooks", str(cj.demo_study()), "--results", str(tmp_path)],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode != 0
    assert 'pip install "cmjlab[lab]"' in done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr
