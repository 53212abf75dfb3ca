"""README and DEVELOPERS say what is there: every room, every command, both set-up lines."""

from pathlib import Path

from webapp.cli import COMMANDS

ROOT = Path(__file__).parent.parent


def test_readme_first_paragraph_is_the_job():
    words = (ROOT / "README.md").read_text().split("\n\n")[1].lower()
    for must in ("agave", "distillery", "ripe", "each week", "plant"):
        assert must in words


def test_ci_runs_the_readme_command():
    readme = (ROOT / "README.md").read_text()
    command = next(line for line in readme.splitlines() if line.startswith("python3 -m venv") and "pytest" in line)
    assert "tests.browsers" in command and "README.md" in (ROOT / ".ci/run").read_text()


def test_constraints_name_no_host():
    text = (ROOT / ".ci/constraints.txt").read_text()
    assert "://" not in text and "--index" not in text
    assert all("==" in line for line in text.splitlines() if line and not line.startswith("#"))


def test_every_room_and_command_is_documented():
    developers, readme = (ROOT / "DEVELOPERS.md").read_text(), (ROOT / "README.md").read_text()
    for room in (p.name for p in (ROOT / "webapp").iterdir() if p.is_dir() and p.name not in ("__pycache__", "templates", "translations", "migrations")):
        assert f"`{room}/`" in developers, f"DEVELOPERS.md does not tell what {room}/ owns"
    for command in set(COMMANDS) - {"work", "people", "tonnage"}:
        assert command in readme, f"README.md does not mention pinario {command}"
