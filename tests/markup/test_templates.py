"""Templates escape by themselves, and miss nothing silently."""

import ast
import re
from pathlib import Path

import pytest
from jinja2 import Environment, UndefinedError, nodes
from markupsafe import Markup

import pwindow as pw
from pwindow.markup import part, templates_of

ROOT = Path(pw.__file__).parent
TEMPLATES = sorted(path for path in ROOT.rglob("*.j2") if "_shipped" not in path.parts)
HOSTILE = "<img src=x onerror=alert(1)> & \"'"


def package_of(template):
    assert template.parent.name == "templates", (
        "templates lie in a folder of this name beside what fills them"
    )
    return ".".join(template.relative_to(ROOT.parent).parts[:-2])


def named(path):
    return str(path.relative_to(ROOT))


def unescaped(environment: Environment, source: str) -> list[str]:
    """What of a template goes past escaping: ``safe``, or a stretch where it is turned off."""
    tree = environment.parse(source)
    safe = [one.name for one in tree.find_all(nodes.Filter) if one.name == "safe"]
    return safe + [type(one).__name__ for one in tree.find_all(nodes.ScopedEvalContextModifier)]


@pytest.mark.parametrize("path", TEMPLATES, ids=named)
def test_no_template_can_forget_to_escape(path):
    environment = templates_of(package_of(path))
    assert path.name in environment.list_templates()
    assert environment.autoescape is True, "whatever the name of a template ends with"
    assert unescaped(environment, path.read_text(encoding="utf-8")) == []


def test_what_goes_past_escaping_is_found():
    environment = templates_of("pwindow.markup")
    assert unescaped(environment, "{{ name|safe }}") == ["safe"]
    assert unescaped(environment, "{% autoescape false %}{{ name }}{% endautoescape %}") != []


def makers_of(*names: str) -> set[str]:
    """Modules that call something of one of these names."""
    return {
        named(path)
        for path in ROOT.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) in names
    }


def test_environments_have_one_owner():
    assert makers_of("Environment", "Template") == {"markup/parts.py"}


def test_only_templates_drawn_pictures_and_the_shipped_style_are_markup():
    assert {name for name in makers_of("Markup") if not name.startswith("review/")} == {
        "panels/shared/served.py"
    }


@pytest.fixture
def package(tmp_path, monkeypatch):
    """A package with one template, which puts in a name and a table of the shared parts."""
    folder = tmp_path / "written_for_this_test" / "templates"
    folder.mkdir(parents=True)
    (folder.parent / "__init__.py").touch()
    (folder / "cards.html.j2").write_text(
        '{% from "shared/parts.html.j2" import heads, items, table %}\n'
        "{% macro card(name) -%}\n"
        '<p title="{{ name }}">{{ name }}</p>{{ heads([name]) }}{{ items([name]) }}{{ table([name], [(name, 7)]) }}\n'
        "{%- endmacro %}\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    return "written_for_this_test"


def test_names_are_shown_as_text_and_markup_as_it_is(package):
    found = part(package, "cards", "card", name=HOSTILE)
    assert isinstance(found, Markup) and "<img" not in found and found.count("&lt;img") == 6
    assert found.startswith('<p title="&lt;img src=x onerror=alert(1)&gt; &amp; &#34;&#39;">')
    assert "<b>2047</b>" in part(package, "cards", "card", name=Markup("<b>2047</b>"))


def test_what_is_not_given_or_not_known_raises(package):
    with pytest.raises(UndefinedError, match="'name' was not provided"):
        part(package, "cards", "card")
    with pytest.raises(TypeError, match="nickname"):
        part(package, "cards", "card", name="2047", nickname="first")


def texts_of(path):
    """Strings of a module, without its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    told = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told
    ]


@pytest.mark.parametrize("part_of_package", ["panels", "review"])
def test_pages_and_documents_write_tags_in_templates_only(part_of_package):
    tag = re.compile(r"</?[a-z][a-z0-9]*[\s>]")
    found = {
        named(path): list(filter(tag.search, texts_of(path)))
        for path in (ROOT / part_of_package).rglob("*.py")
    }
    assert len(found) > 5 and not any(found.values())


def test_names_are_escaped_by_hand_in_one_place():
    """In the texts of pictures, which no template makes."""
    by_hand = {
        named(path)
        for path in ROOT.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if (isinstance(node, ast.ImportFrom) and node.module in ("html", "xml.sax.saxutils"))
        or (
            isinstance(node, (ast.Import, ast.ImportFrom))
            and any(one.name in ("html", "escape") for one in node.names)
        )
    }
    assert by_hand == {"charts/labels.py"}


def test_a_number_and_its_unit_stand_on_one_line(package):
    found = part(package, "cards", "card", name="95 % at 98.8 m/min, 2 prints of 50 µm, 0.2 mg/m, 7 cm³/m²")
    assert "95\xa0% at 98.8\xa0m/min, 2 prints of 50\xa0µm, 0.2\xa0mg/m, 7\xa0cm³/m²" in found
