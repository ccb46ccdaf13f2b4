"""Kernels of pysheds, compiled when they are called: as it stands, all 80 are when it is imported.

Only a dozen of them are ever called here, and the others take half a minute. What a kernel is
compiled from stays the same, the signature that pysheds declares, and so does where it is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import terrain._kernels._jit  # noqa: F401  (settles the cache's folder before numba is imported)


def compile_when_called() -> None:
    """Let numba put off the kernels of pysheds; call this before anything imports that library."""
    import numba
    from numba.core.extending import is_jitted
    from numba.core.typing.templates import Signature

    real = numba.njit

    def njit(*given: Any, **options: Any) -> Any:
        at_once = real(*given, **options)
        signatures = [one for one in given if isinstance(one, Signature)]
        if not signatures:
            return at_once

        def wrapper(function: Callable[..., Any]) -> Any:
            if not function.__module__.startswith("pysheds."):
                return at_once(function)
            kernel = real(**options)(function)
            return _put_off(kernel, *signatures) if is_jitted(kernel) else kernel

        return wrapper

    numba.njit = njit


def _put_off(dispatcher: Any, signature: Any) -> Any:
    """Compile a kernel by its signature on the first call, by Python or by another kernel."""

    def compiled() -> Any:
        from numba.core import typeinfer

        del dispatcher._compile_for_args, dispatcher.get_call_template
        with typeinfer.register_dispatcher(dispatcher):
            code = dispatcher.compile(signature)
        dispatcher.disable_compile()
        return code

    def template(arguments: Any, named: Any) -> Any:
        compiled()
        return dispatcher.get_call_template(arguments, named)

    dispatcher._compile_for_args = lambda *_, **__: compiled()
    dispatcher.get_call_template = template
    return dispatcher
