"""The house in order: who may import whom, who may read ungated rows, which addresses there are, what lies on top."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.urls import URLPattern, URLResolver, get_resolver
from importlinter.cli import lint_imports

ROOT = Path(settings.BASE_DIR)
ARCHIVE = ROOT / "archive"
BEHIND_THE_GATE = ("access", "models", "migrations")

TOP = {
    "README.md", "DEVELOPERS.md", "manage.py", "requirements.txt", "archive", "config", "fixtures", "tests",
}

# Tables with nothing gated in them: rooms before the gate may read these models' rows themselves.
FREE = {"Account", "Audience", "Season", "House", "DBTaskResult"}

# Columns and relations that hold more than a viewer may meet. A page gets what `archive.access` made of them.
NEVER_IN_A_TEMPLATE = re.compile(
    r"\{[{%][^%}]*\.(?:ungated|objects|master|masters|consents|conditions|decision|sha256|original_name"
    r"|latitude_deg|longitude_deg|item_ptr|created_by|created_at|\w+_set|pk)\b"
)
# The form field's template marks the framework's own escaped widget, help and errors; nothing of the archive's.
MAY_SAY_SAFE = {"django/forms/field.html"}


# The one module that reads with no gate, to measure what the gate costs, over an archive made up and thrown away.
UNGATED_PEER = ARCHIVE / "management" / "bench" / "gate.py"


def modules(*but: str) -> Iterator[tuple[Path, ast.Module]]:
    """Every module of the archive outside the named rooms, parsed."""
    for path in sorted(ARCHIVE.rglob("*.py")):
        if path.relative_to(ARCHIVE).parts[0] not in but:
            yield path, ast.parse(path.read_text(encoding="utf-8"), str(path))


def where(path: Path, node: ast.AST) -> str:
    return f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"


def gated_models() -> set[str]:
    return {model.__name__ for model in apps.get_app_config("archive").get_models()} - FREE


# --- who may import whom ---


def test_import_contracts_hold(capsys):
    kept = lint_imports(str(ROOT / ".importlinter"), no_cache=True) == 0
    assert kept, capsys.readouterr().out


def test_the_pure_rooms_read_no_setting_by_another_way():
    """`importlib.import_module("django…")` would pass the contract."""
    for path, tree in modules(*({room.name for room in ARCHIVE.iterdir()} - {"timecode", "sky", "media"})):
        for node in ast.walk(tree):
            called = isinstance(node, ast.Call) and ast.unparse(node.func)
            assert called not in {"__import__", "import_module", "importlib.import_module"}, where(path, node)


# --- who may read ungated rows ---


def ungated_reads(path: Path, tree: ast.Module) -> list[str]:
    """Ways round the gate: its managers, another manager of a gated model, SQL of one's own."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in {"ungated", "_default_manager", "_base_manager"}:
            found.append(f"{where(path, node)} .{node.attr}")
        if isinstance(node, ast.Attribute) and node.attr == "objects" and not _is_free(node.value):
            found.append(f"{where(path, node)} {ast.unparse(node)}")
        if isinstance(node, ast.Constant) and node.value == "ungated":
            found.append(f"{where(path, node)} 'ungated'")
    return found


def _is_free(value: ast.expr) -> bool:
    return isinstance(value, ast.Name) and value.id in FREE


def test_only_the_gate_and_the_models_read_ungated_rows():
    rooms = [(path, tree) for path, tree in modules(*BEHIND_THE_GATE) if path != UNGATED_PEER]
    found = [each for path, tree in rooms for each in ungated_reads(path, tree)]
    assert not found, "\n".join(found)


def test_the_check_of_ungated_reads_sees_each_way():
    for line in (
        "Recording.ungated.all()", "Topic.objects.all()", "models.Item.objects", "getattr(Item, 'ungated')",
        "Item._default_manager", "Item._base_manager.get()",
    ):
        assert ungated_reads(ARCHIVE / "x.py", ast.parse(line)), line
    assert not ungated_reads(ARCHIVE / "x.py", ast.parse("Account.objects.get(pk=1); Audience.objects.all()"))


def reverse_names() -> set[str]:
    """Names by which rows of gated models hang on others, such as `recording.cues`: no manager is named there."""
    return {
        relation.get_accessor_name()
        for model in apps.get_app_config("archive").get_models()
        for relation in model._meta.related_objects
        if relation.related_model.__name__ in gated_models() and not relation.hidden
    }


def test_rooms_before_the_gate_follow_no_relation_to_gated_rows():
    """`recording.transcripts.all()` reads ungated rows as surely as `Transcript.ungated` does."""
    names = reverse_names() | {"topics"}
    found = [
        f"{where(path, node)} {ast.unparse(node)}"
        for path, tree in modules(*BEHIND_THE_GATE)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and node.attr in {"all", "filter", "exclude", "values_list", "values", "count", "exists", "first", "get"}
        and isinstance(node.value, ast.Attribute)
        and node.value.attr in names
    ]
    assert not found, "\n".join(found)


def test_rooms_before_the_gate_write_no_sql():
    found = [
        f"{where(path, node)} {ast.unparse(node)}"
        for path, tree in modules(*BEHIND_THE_GATE, "management")
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in {"cursor", "raw", "executescript"}
        and "connection" in ast.unparse(node).lower()
    ]
    assert not found, "\n".join(found)


def test_every_gated_model_calls_its_manager_ungated():
    """So that the check above can see it. Topics keep `objects` as well: the tagging library asks for it."""
    free = FREE | {"Decision", "LedgerRow", "Membership", "PolicyVersion", "IndexDebt"}
    for model in apps.get_app_config("archive").get_models():
        names = {manager.name for manager in model._meta.managers}
        if model.__name__ not in free:
            expected = {"ungated", "objects"} if model.__name__ in {"Topic", "TopicTie"} else {"ungated"}
            assert names == expected, model.__name__


# --- templates ---


def test_templates_hold_no_columns_that_the_gate_guards():
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in sorted((ARCHIVE / "views" / "templates").rglob("*.html"))
        for match in NEVER_IN_A_TEMPLATE.finditer(path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n".join(found)


def test_the_check_of_templates_sees_columns():
    for text in ("{{ item.pk }}", "{% if recording.master.sha256 %}", "{{ place.latitude_deg|floatformat }}"):
        assert NEVER_IN_A_TEMPLATE.search(text)
    assert not NEVER_IN_A_TEMPLATE.search("{{ item.ref }} .pk {{ label.identity }}")


def test_templates_mark_nothing_safe():
    """Words that came from people are always escaped; our own mark-up comes from templates, not from strings."""
    folder = ARCHIVE / "views" / "templates"
    found = {
        str(path.relative_to(folder))
        for path in folder.rglob("*.html")
        if re.search(r"\|\s*safe\b|autoescape\s+off", path.read_text(encoding="utf-8"))
    }
    assert found <= MAY_SAY_SAFE


# --- addresses ---


def addresses(patterns: list[URLPattern | URLResolver] | None = None, before: str = "") -> list[tuple[str, str]]:
    """(name, route) of every address but those of the system's own account pages."""
    found: list[tuple[str, str]] = []
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            if pattern.app_name != "admin":
                found += addresses(pattern.url_patterns, route)
        else:
            found.append((pattern.name or "", route))
    return found


def test_every_address_has_a_name_of_its_own():
    names = [name for name, _route in addresses()]
    assert "" not in names, [route for name, route in addresses() if not name]
    assert len(names) == len(set(names)), sorted(name for name in names if names.count(name) > 1)


def test_addresses_carry_refs_and_never_row_numbers():
    """`<int:…>` in an address would be a row number, a position or a count; each must be argued for here."""
    argued: set[str] = set()
    numbered = {name for name, route in addresses() if "<int:" in route}
    assert numbered <= argued, numbered - argued


def test_the_system_pages_hold_no_content():
    """The framework's own pages are for accounts and system tables only."""
    from django.contrib import admin

    shown = {model.__name__ for model in admin.site._registry}
    assert not shown & (gated_models() - {"Membership"}), shown & gated_models()


# --- the top level, and what the repository says of itself ---


def test_the_visible_top_level_is_exactly_this():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith((".", "__pycache__"))}
    assert visible == TOP


def tracked() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("not a git work tree: nothing is tracked")
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


def test_no_file_names_a_path_of_somebodys_machine():
    foreign = re.compile(r"(?<![\w.:/-])/(?:home|root|work|Users)/\w+")
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in tracked()
        if path.suffix in {".py", ".md", ".html", ".css", ".js", ".json", ".yml", ".in", ".txt", ".ini", ".toml"}
        and "vendor" not in path.parts
        for match in foreign.finditer(path.read_text(encoding="utf-8", errors="replace"))
    ]
    assert not found, "\n".join(found)


def test_commit_messages_speak_of_the_work_alone():
    said = subprocess.run(["git", "log", "--format=%B"], cwd=ROOT, capture_output=True, text=True)
    if said.returncode:
        pytest.skip("not a git work tree: no messages")
    found = re.findall(r".*(?:(?<!&)#\d+|\b(?:TODO|FIXME|WIP)\b|/tmp/|https?://).*", said.stdout)
    assert not found, "\n".join(found)


def test_run_time_files_are_not_tracked():
    assert not [path for path in tracked() if ".undersky" in path.parts or path.suffix in {".sqlite3", ".pyc"}]
