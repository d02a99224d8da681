"""Put back everything process-wide that a notebook run in the calling process may change."""

from __future__ import annotations

import builtins
import decimal
import linecache
import logging
import os
import random
import sys
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

CELL_FOLDER = "[cell]"
INLINE_BACKEND = "module://matplotlib_inline.backend_inline"
_SYS_NAMES = (
    *("stdin", "stdout", "stderr", "displayhook", "excepthook", "ps1", "ps2", "ps3"),
    *("last_type", "last_value", "last_traceback", "last_exc"),
)
_MISSING = object()
# What a fresh interpreter starts with (documentation of the warnings module), last one first.
_DEFAULT_FILTERS: tuple[tuple[str, type[Warning], str], ...] = (
    ("ignore", ResourceWarning, ""),
    ("ignore", ImportWarning, ""),
    ("ignore", PendingDeprecationWarning, ""),
    ("ignore", DeprecationWarning, ""),
    ("default", DeprecationWarning, "__main__"),
)


@contextmanager
def process_state_kept() -> Iterator[None]:
    """Within: the state a fresh interpreter would have, where that matters. After: the caller's state again.

    Covers sys streams, hooks, prompts, path and argv, `__main__`, builtins, the environment, the working
    folder, warnings filters, root logging, random numbers, decimal context, and numpy, pandas and matplotlib
    settings. Not covered: modules stay imported, and what a notebook assigns inside them stays assigned.
    """
    with ExitStack() as stack:
        for keeper in _KEEPERS:
            stack.enter_context(keeper())
        stack.enter_context(decimal.localcontext(decimal.DefaultContext))
        stack.enter_context(warnings.catch_warnings())
        warnings.resetwarnings()
        for action, category, module in _DEFAULT_FILTERS:
            warnings.filterwarnings(action, category=category, module=module)  # type: ignore[arg-type]
        warnings.showwarning = (
            _show_warning  # the caller may collect or log them; catch_warnings puts it back
        )
        yield


def _show_warning(
    message: Any, category: Any, filename: str, lineno: int, file: Any = None, line: Any = None
) -> None:
    (file or sys.stderr).write(warnings.formatwarning(message, category, filename, lineno, line))


@contextmanager
def _sys() -> Iterator[None]:
    kept = {name: getattr(sys, name, _MISSING) for name in _SYS_NAMES}
    path, argv, main = list(sys.path), list(sys.argv), sys.modules.get("__main__")
    try:
        yield
    finally:
        for name, value in kept.items():
            if value is not _MISSING:
                setattr(sys, name, value)
            elif hasattr(sys, name):
                delattr(sys, name)
        sys.path[:], sys.argv[:] = path, argv
        if main is None:
            sys.modules.pop("__main__", None)
        else:
            sys.modules["__main__"] = main


@contextmanager
def _builtins() -> Iterator[None]:
    kept = dict(vars(builtins))
    try:
        yield
    finally:
        for name in set(vars(builtins)) - set(kept):
            delattr(builtins, name)
        vars(builtins).update(kept)


@contextmanager
def _environment() -> Iterator[None]:
    environ, folder = dict(os.environ), os.getcwd()
    try:
        yield
    finally:
        os.chdir(folder)
        if dict(os.environ) != environ:
            os.environ.clear()
            os.environ.update(environ)


@contextmanager
def _logging() -> Iterator[None]:
    root = logging.getLogger()
    kept = list(root.handlers), root.level, logging.root.manager.disable
    try:
        yield
    finally:
        root.handlers[:] = kept[0]
        root.setLevel(kept[1])
        logging.disable(kept[2])


@contextmanager
def _random() -> Iterator[None]:
    kept = random.getstate()
    try:
        yield
    finally:
        random.setstate(kept)


@contextmanager
def _linecache() -> Iterator[None]:
    # IPython enters the source of each cell here and never takes it out: memory that grows with every
    # notebook.
    before = set(linecache.cache)
    try:
        yield
    finally:
        for name in [n for n in linecache.cache if n not in before and n.startswith(f"{CELL_FOLDER}/")]:
            del linecache.cache[name]


@contextmanager
def _numpy() -> Iterator[None]:
    numpy: Any = sys.modules.get("numpy")
    kept = (numpy.get_printoptions(), numpy.geterr(), numpy.random.get_state()) if numpy else None
    try:
        yield
    finally:
        numpy = sys.modules.get("numpy")
        if kept is not None:
            options, errors, state = kept
            numpy.set_printoptions(**options)
            numpy.seterr(**errors)
            numpy.random.set_state(state)
        elif numpy:  # first imported by the notebook: back to what the import gives
            numpy.set_printoptions(**_numpy_defaults())
            numpy.seterr(divide="warn", over="warn", under="ignore", invalid="warn")


def _numpy_defaults() -> dict[str, Any]:
    return {
        "precision": 8, "threshold": 1000, "edgeitems": 3, "linewidth": 75, "suppress": False, "nanstr":
        "nan", "infstr": "inf", "sign": "-", "formatter": None, "floatmode": "maxprec", "legacy": False,
    }  # fmt: skip


def _pandas_options(pandas: Any) -> dict[str, Any]:
    """Every pandas option as dotted name and value."""

    def walk(tree: dict[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
        for name, value in tree.items():
            if isinstance(value, dict):
                yield from walk(value, f"{prefix}{name}.")
            else:
                yield prefix + name, value

    return dict(walk(pandas.options.d, ""))


@contextmanager
def _pandas() -> Iterator[None]:
    pandas: Any = sys.modules.get("pandas")
    kept = _pandas_options(pandas) if pandas else None
    try:
        yield
    finally:
        pandas = sys.modules.get("pandas")
        if pandas:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # pandas warns of options that it means to drop
                for name, value in _pandas_options(pandas).items():
                    if kept is None:
                        pandas.reset_option(f"^{name}$")
                    elif value is not kept[name] and value != kept[name]:
                        pandas.set_option(name, kept[name])


@contextmanager
def _matplotlib() -> Iterator[None]:
    """Within: the inline backend and matplotlib's start settings; the caller's figures are set aside."""
    os.environ["MPLBACKEND"] = INLINE_BACKEND  # for a first import within; _environment takes it away again
    matplotlib: Any = sys.modules.get("matplotlib")
    settings, backend, figures = {}, None, {}
    if matplotlib:
        settings, backend = _raw(matplotlib.rcParams), matplotlib.get_backend(auto_select=False)
        figures = _swap_figures({})
        start = _raw(matplotlib.rcParamsOrig)
        _set_raw(matplotlib.rcParams, {name: value for name, value in start.items() if name != "backend"})
        matplotlib.use(INLINE_BACKEND)
    with _inline_backend():
        try:
            yield
        finally:
            matplotlib = sys.modules.get("matplotlib")
            if "matplotlib.pyplot" in sys.modules:
                sys.modules["matplotlib.pyplot"].close("all")
                _swap_figures(figures)
            if matplotlib:
                if backend is not None:
                    matplotlib.use(backend)
                _set_raw(matplotlib.rcParams, settings or _raw(matplotlib.rcParamsOrig))


def _raw(settings: Any) -> dict[str, Any]:
    # Past rcParams' own access: reading a backend not yet chosen would choose one, writing it back is
    # refused.
    return {name: dict.__getitem__(settings, name) for name in dict.keys(settings)}


def _set_raw(settings: Any, values: dict[str, Any]) -> None:
    for name, value in values.items():
        dict.__setitem__(settings, name, value)


def _swap_figures(new: dict[Any, Any]) -> dict[Any, Any]:
    """Replace pyplot's open figures by `new`; the former ones."""
    helpers: Any = sys.modules.get("matplotlib._pylab_helpers")
    if helpers is None:
        return {}
    former = dict(helpers.Gcf.figs)
    helpers.Gcf.figs.clear()
    helpers.Gcf.figs.update(new)
    return former


@contextmanager
def _inline_backend() -> Iterator[None]:
    """Within: an inline backend that has not met a shell; it sets itself up once and keeps that shell."""
    from matplotlib_inline.config import InlineBackend

    instance = InlineBackend._instance
    inline: Any = sys.modules.get("matplotlib_inline.backend_inline")
    current, to_draw, drawn = "unset", [], False
    if inline:
        current = getattr(inline.configure_inline_support, "current_backend", "unset")
        to_draw, drawn = inline.show._to_draw, inline.show._draw_called
        inline.configure_inline_support.current_backend = "unset"
        inline.show._to_draw, inline.show._draw_called = [], False
    InlineBackend._instance = None
    try:
        yield
    finally:
        InlineBackend._instance = instance
        inline = sys.modules.get("matplotlib_inline.backend_inline")
        if inline:
            inline.configure_inline_support.current_backend = current
            inline.show._to_draw, inline.show._draw_called = to_draw, drawn


_KEEPERS = (_sys, _builtins, _environment, _logging, _random, _linecache, _numpy, _pandas, _matplotlib)
