"""``python -m explorer``: the command line, with the current folder taken off the path of modules."""

import sys

if __name__ == "__main__":
    if not sys.flags.safe_path:
        del sys.path[0]

    from explorer.console.cli import main

    main()
