"""What the README shows is run as it stands."""

from __future__ import annotations

import re

from places import ROOT

from cmjlab.simulate.jump import simulate_jump

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_ten_lines_run_as_they_stand(tmp_path, monkeypatch, capsys, undrawn):
    import cmjlab as cj

    [code] = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)
    name = re.search(r'read_recording\("(.*?)"\)', code).group(1)
    monkeypatch.chdir(tmp_path)
    cj.write_recording(simulate_jump(noise_sd_n=1.0, seed=1).recording, tmp_path / name)
    names: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), names)
    assert 0.30 < names["jump"].metrics["jump_height_m"] < 0.40
    assert names["between"].kind == "change_between"
    assert names["page"].is_file()
    assert "smallest detectable change" in capsys.readouterr().out


def test_every_command_of_the_table_exists():
    from typer.main import get_command

    from cmjlab.cli.app import app

    known = set(get_command(app).commands)
    shown = set(re.findall(r"`cmjlab ([a-z]+)", README))
    assert shown
    assert shown <= known


def test_both_commands_are_one_line_and_name_what_is_there():
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    assert (ROOT / lines[0].split()[-1] / "study.toml").is_file()
    assert lines[1].endswith("tests/check.py")
