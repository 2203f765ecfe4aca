"""Modules of texts, made to tell them in the reader's language: done when they are imported, as pytest does to asserts.

Written as `f"No data since {when}"` in a function, a text becomes `said("No data since {when}", when=when)`; a
constant of the module is looked up each time it is asked for (`words.CALM`). So those who write texts write plain
Python, and a type checker sees what they wrote. Rules for them, held by a test: constants are taken from their module
(`words.CALM`, never `from … import CALM`), and what depends on a number goes through `plural`.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Mapping, Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from types import CodeType, ModuleType
from typing import Any, Final

_LISTED: Final = frozenset({
    "collector.backup.card", "collector.messages.words", "dashboard.guide", "dashboard.refusals", "dashboard.times",
})  # fmt: skip
#: Modules that draw or tabulate and hold texts of their own beside identifiers: there a text has a capital or a space.
_DRAWING: Final = frozenset({
    "backuprows", "board", "capacity", "course", "carriers", "changeover", "checks", "desk", "duelist", "figures",
    "fleetrows", "freshness", "handover", "health", "limits_rows", "orders", "past", "planner", "ranges", "record",
    "safe_copies", "stockroom", "tables", "told", "unitlist", "wall", "way_test",
})  # fmt: skip
#: Those whose mappings are rows of a table: their keys are its columns.
_TABLES: Final = frozenset({"carriers", "figures", "health", "tables"})
_WORDS: Final = re.compile(r"dashboard\.(\w+_)?words")
_PLAIN: Final = re.compile(r"^\W*[A-Z][a-z]|[a-z,;:.] [a-z]| [a-z]{2,}|[a-z]{2,} |^[a-z]{3,}[,:] ")
#: Marks between fields: no text, but French puts a space before them.
_MARKS: Final = re.compile(r"\}[:;] ?\{|\} %")
_MARKUP: Final = re.compile(r"[<>=]|^--|^sw-| sw-|^ww-|%[-dHbY]|SELECT|[a-z]\.[a-z]+\(")
#: Methods whose texts are shown: Streamlit's, and a list's of what is shown.
_SHOWING: Final = frozenset({
    "button", "caption", "checkbox", "date_input", "error", "expander", "form_submit_button", "header", "info",
    "markdown", "metric", "multiselect", "number_input", "popover", "segmented_control", "selectbox", "subheader",
    "success", "tabs", "text_area", "text_input", "time_input", "title", "toggle", "warning", "write", "append",
})  # fmt: skip
_CONSTANT: Final = re.compile(r"_?[A-Z][A-Z0-9_]*")
_IDENTIFIER: Final = re.compile(r"[a-z0-9]+([_./:][a-z0-9]*)+|\.?\d*[a-z]|[a-z]+=.*|%.*|\W*[A-Z]?\W*")


def is_words(module: str) -> bool:
    """Whether a module holds texts that are translated."""
    return module in _LISTED or _WORDS.fullmatch(module) is not None or is_drawing(module)


def is_drawing(module: str) -> bool:
    """Whether a module draws or tabulates, and holds texts beside identifiers."""
    return module.startswith("dashboard.") and module.removeprefix("dashboard.") in _DRAWING


def is_constant(name: str) -> bool:
    """Whether a name is that of a module's constant."""
    return _CONSTANT.fullmatch(name) is not None


def is_text(value: object, *, drawing: bool = False) -> bool:
    """Whether a constant can be a text for people, rather than an identifier."""
    if not isinstance(value, str) or not any(map(str.isalpha, value)) or _IDENTIFIER.fullmatch(value):
        return False
    return not drawing or (_PLAIN.search(value) is not None and not _MARKUP.search(value))


class _Texts(ast.NodeTransformer):
    """Rewrites the functions of a module; `found` keeps the texts, with their lines."""

    def __init__(self, module: str) -> None:
        self._drawing = is_drawing(module)
        self._tables = module.rpartition(".")[2] in _TABLES
        self._own: set[str] = set()
        self.found: list[tuple[int, str | tuple[str, str]]] = []
        self._inside = 0

    def visit_Module(self, node: ast.Module) -> ast.AST:
        """Only the module's own constants are texts: what it takes from elsewhere may be identifiers."""
        for statement in node.body:
            targets = statement.targets if isinstance(statement, ast.Assign) else [getattr(statement, "target", None)]
            self._own |= {target.id for target in targets if isinstance(target, ast.Name) and is_constant(target.id)}
        return self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        """Rewrite a function's body, but not its docstring, defaults or annotations."""
        self._inside += 1
        start = 1 if ast.get_docstring(node, clean=False) is not None else 0
        node.body[start:] = [self.visit(statement) for statement in node.body[start:]]
        self._inside -= 1
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        """Leave annotations as they are."""
        node.value = self.visit(node.value) if node.value is not None else None
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        """What is compared is an identifier."""
        return node

    def visit_Dict(self, node: ast.Dict) -> ast.AST:
        """A mapping's keys are identifiers."""
        node.values = [self.visit(value) for value in node.values]
        if self._tables:  # but the columns of a table are texts
            node.keys = [key if key is None else self._column(key) for key in node.keys]
        return node

    def _column(self, key: ast.expr) -> ast.expr:
        if self._inside and isinstance(key, ast.Constant) and isinstance(key.value, str) and key.value.isalpha():
            self.found.append((key.lineno, key.value))
            return _call("__said__", key, key)
        told: ast.expr = self.visit(key)
        return told

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        """What a mapping is asked for is an identifier."""
        node.value = self.visit(node.value)
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        """A plural's two forms are told by `plural` itself; a format's own arguments go on."""
        if isinstance(node.func, ast.Name) and node.func.id == "plural":
            one, many, *_ = (getattr(argument, "value", "") for argument in node.args)
            self.found.append((node.lineno, (one, many)))
            node.args[2:] = [self.visit(argument) for argument in node.args[2:]]
            node.keywords = [self.visit(keyword) for keyword in node.keywords]
            return node
        if isinstance(node.func, ast.Name) and node.func.id == "said" and isinstance(node.args[0], ast.Constant):
            self.found.append((node.lineno, str(node.args[0].value)))
            return node
        if isinstance(node.func, ast.Attribute) and not self._shows(
            node.func
        ):  # what a method is given is an identifier or a mark
            kept = [one for one in node.args if not isinstance(one, ast.Constant)]
            node.func.value = self.visit(node.func.value)
            node.args = [self.visit(one) if one in kept else one for one in node.args]
            return node
        node.func = self.visit(node.func)
        node.args = [self.visit(argument) for argument in node.args]
        for keyword in node.keywords:
            if not isinstance(keyword.value, ast.Constant) or keyword.arg in ("help", "placeholder", "label", "note"):
                keyword.value = self.visit(keyword.value)
        return node

    @staticmethod
    def _shows(function: ast.Attribute) -> bool:
        """Whether a method shows what it is given, as `st.button` does."""
        return function.attr in _SHOWING

    def visit_Name(self, node: ast.Name) -> ast.AST:
        """A constant that a function uses is looked up."""
        if self._inside and isinstance(node.ctx, ast.Load) and node.id in self._own:
            return _call("__deep__", node, node)
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        """A text without fields."""
        if not self._inside or not is_text(node.value, drawing=self._drawing):
            return node
        self.found.append((node.lineno, str(node.value)))
        return _call("__said__", node, node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        """A text with fields."""
        if not self._inside:
            return node
        fields: dict[str, ast.expr] = {}
        text = "".join(self._part(part, fields) for part in node.values)
        if is_text(re.sub(r"\{\w+\}", "", text), drawing=self._drawing):
            self.found.append((node.lineno, text))
        elif not _MARKS.search(text) or _MARKUP.search(text):
            return self.generic_visit(node)
        keywords = [ast.keyword(name, value) for name, value in fields.items()]
        return _call("__said__", node, ast.Constant(text), keywords)

    def visit_FormattedValue(self, node: ast.FormattedValue) -> ast.AST:
        """A field of a string that is no text."""
        return ast.copy_location(ast.FormattedValue(self._value(node), -1, None), node)

    def _part(self, part: ast.expr, fields: dict[str, ast.expr]) -> str:
        if isinstance(part, ast.Constant):
            return str(part.value).replace("{", "{{").replace("}", "}}")
        assert isinstance(part, ast.FormattedValue)  # noqa: S101 - there is nothing else in an f-string
        named = _name_of(part.value)
        name, again = named, 1
        while name in fields:
            name, again = f"{named}{again + 1}", again + 1
        fields[name] = self._value(part)
        return f"{{{name}}}"

    def _value(self, part: ast.FormattedValue) -> ast.expr:
        value: ast.expr = self.visit(part.value)
        if part.format_spec is not None:
            return _call("__number__", part, value, extra=[part.format_spec])
        return value


def _call(
    name: str, at: ast.AST, first: ast.expr, keywords: Sequence[ast.keyword] = (), extra: Sequence[ast.expr] = ()
) -> ast.Call:  # fmt: skip
    call = ast.Call(ast.Name(name, ast.Load()), [first, *extra], list(keywords))
    return ast.fix_missing_locations(ast.copy_location(call, at))


def _name_of(value: ast.expr) -> str:
    """What a field is called in the text: the first name in its expression that is no function's."""
    if isinstance(value, ast.Attribute):
        return value.attr
    called = {id(node.func) for node in ast.walk(value) if isinstance(node, ast.Call)}
    names = [node.id for node in ast.walk(value) if isinstance(node, ast.Name) and id(node) not in called]
    return next((name.lower().strip("_") for name in names), "value")


def texts_of(source: str, module: str) -> list[tuple[int, str | tuple[str, str]]]:
    """The texts of a module's functions with their lines; a pair is a plural's two forms."""
    texts = _Texts(module)
    texts.visit(ast.parse(source))
    return texts.found


class Words(ModuleType):
    """A module whose constants are told in the language spoken now."""

    def __getattribute__(self, name: str) -> Any:  # noqa: ANN401 - a module holds anything
        """A constant is looked up; all else is as it is."""
        value = super().__getattribute__(name)
        return _deep(value, keys=not is_drawing(super().__getattribute__("__name__"))) if name.isupper() else value


def _deep(value: object, *, keys: bool) -> object:
    from collector.tongue.saying import deep

    return deep(value, keys=keys)


class _Loader(SourceFileLoader):
    """Loads a module of texts; its bytecode is not kept, so that it is never mixed up with the plain one."""

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        return Words(spec.name)

    def exec_module(self, module: ModuleType) -> None:
        from collector.tongue import saying

        deep = saying.deep_values if is_drawing(self.name) else saying.deep

        module.__dict__.update(__said__=saying.said, __deep__=deep, __number__=saying.number)
        super().exec_module(module)

    def path_stats(self, path: str) -> Mapping[str, object]:
        raise OSError("not kept")

    def source_to_code(self, data: Any, path: Any, *_: object, _optimize: int = -1) -> CodeType:  # type: ignore[override]  # noqa: ANN401
        texts = _Texts(self.name)
        tree = ast.fix_missing_locations(texts.visit(ast.parse(data, path)))
        code: CodeType = compile(tree, path, "exec", dont_inherit=True, optimize=_optimize)
        return code

    def set_data(self, path: str, data: object, *, _mode: int = 0o666) -> None:
        """Keep nothing."""


class _Finder(MetaPathFinder):
    """Finds modules of texts."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:  # fmt: skip
        """The module as Python finds it, to be loaded by our loader."""
        if not is_words(fullname):
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.origin and spec.origin.endswith(".py"):
            spec.loader = _Loader(fullname, spec.origin)
        return spec


def install() -> None:
    """Have modules of texts loaded so; once."""
    if not any(isinstance(finder, _Finder) for finder in sys.meta_path):
        sys.meta_path.insert(0, _Finder())
