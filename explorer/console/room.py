"""Whether the system lets a command have what its libraries need, asked before any of them is loaded.

A library that gets no memory or no file does not say so: it ends the process, or leaves a child's traceback.
"""

from __future__ import annotations

from explorer.errors import SquatlineError

# Libraries, workers and charts map so much [bytes]; less ended in crashes inside them.
LEAST_MEMORY = 1_000_000_000
# Pipes to workers, libraries being loaded and results; fewer left a worker without its pipe.
LEAST_FILES = 64
ENOUGH_FILES = 256


def require_room() -> None:
    """Allow this process more open files where it may, and refuse where a limit leaves too little.

    Raises
    ------
    SquatlineError
        When fewer files may be open, or less memory used, than the libraries need.
    """
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    files, most_files = resource.getrlimit(resource.RLIMIT_NOFILE)
    if 0 <= files < ENOUGH_FILES:
        files = ENOUGH_FILES if most_files < 0 else min(ENOUGH_FILES, most_files)
        resource.setrlimit(resource.RLIMIT_NOFILE, (files, most_files))
        if files < LEAST_FILES:
            raise SquatlineError(
                "too few files may be open at a time here",
                key="ulimit -n",
                found=str(files),
                allowed=f"{LEAST_FILES} at least",
                remedy="allow more open files (ulimit -n), or ask whoever runs this machine to",
            )
    memory, _ = resource.getrlimit(resource.RLIMIT_AS)
    if 0 <= memory < LEAST_MEMORY:
        raise SquatlineError(
            "too little memory may be used here",
            key="ulimit -v",
            found=f"{memory // 1_000_000} MB",
            allowed=f"{LEAST_MEMORY // 1_000_000} MB at least",
            remedy="allow more (ulimit -v), or run it on a machine with more memory",
        )
