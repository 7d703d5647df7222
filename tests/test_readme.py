"""What README.md prints must run: its circuit file, its Python, its two set-up commands' shape."""

import re
import tomllib

import hbsim


def test_two_setup_commands_of_one_line(root):
    commands = re.findall(r"^    (python3 -m venv .*)$", (root / "README.md").read_text(), re.M)
    assert len(commands) == 2
    assert "pip install ." in commands[0] and "predict examples/beacon_2304.toml --plot doubler.png" in commands[0]
    assert '".[test]"' in commands[1] and commands[1].endswith("pytest")


def test_circuit_file_of_the_readme_solves(root, tmp_path):
    text = re.search(r"```toml\n(.*?)```", (root / "README.md").read_text(), re.S).group(1)
    file = tmp_path / "stage.toml"
    file.write_text(text)
    assert hbsim.load(file).solve(harmonics=8).output_dbm(2) > -30


def test_python_of_the_readme_runs(root, monkeypatch):
    monkeypatch.chdir(root)
    text = re.search(r"```python\n(.*?)```", (root / "README.md").read_text(), re.S).group(1)
    names = {}
    exec(text, names)  # noqa: S102
    assert names["table"].shape == (15, 3) and names["table"].solved.all()


def test_commands_of_the_readme_are_understood(root):
    from hbsim.cli import _parser
    shown = re.findall(r"^    hbsim (.*?)(?:   .*)?$", (root / "README.md").read_text(), re.M)
    assert len(shown) >= 5
    import shlex
    for line in shown:
        _parser().parse_args(shlex.split(line))


def test_every_kind_is_in_the_table(root):
    from hbsim.devices.kinds import DEVICES
    from hbsim.linear.kinds import KINDS
    text = (root / "README.md").read_text()
    for kind in [*KINDS, *DEVICES]:
        assert f"`{kind}`" in text, kind


def test_licence_and_author(root):
    project = tomllib.loads((root / "pyproject.toml").read_text())["project"]
    assert project["license"] == "MIT" and project["authors"] == [{"name": "hbsim contributors"}]
    assert "MIT" in (root / "README.md").read_text()
