"""numba, set up before its first import so that a stale cache can never be used.

numba's disk cache notices a changed file but not a changed module that it calls,
and would then compute with the old one. So the cache folder's name carries a hash
of every source that compiled code can reach.
"""

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import platformdirs

_F = TypeVar("_F", bound=Callable[..., Any])


def source_hash() -> str:
    """Hash of all control core and simulator sources, 16 hexadecimal digits."""
    import legcore

    digest = hashlib.sha256()
    for folder in (Path(legcore.__file__).parent, Path(__file__).parent):
        for path in sorted(folder.rglob("*.py")):
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


cache_folder = Path(platformdirs.user_cache_dir("hocklift", False)) / f"compiled-{source_hash()}"
os.environ["NUMBA_CACHE_DIR"] = str(cache_folder)

import numba  # noqa: E402  (only after its cache folder is set)

# In case somebody imported numba before us and it has read the environment already.
numba.config.CACHE_DIR = str(cache_folder)  # type: ignore[attr-defined]  # made at run time


def native(function: _F) -> _F:
    """Compile `function` to machine code on first use, and keep it on disk.

    Division by zero raises as in Python, so that both runs of the core agree there too.
    """
    return cast(_F, numba.njit(cache=True, error_model="python")(function))
