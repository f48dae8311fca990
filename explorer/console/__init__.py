"""The command line: commands and what they print; nothing is computed here.

``cli_*`` hold the commands, everything heavy imported inside them so that ``--help`` answers at once; ``cli``
lists them.  ``options``, ``telling`` and ``working`` are what they share.
May import: everything, ``reports`` too.
Imported by: nothing.
To add: a command in the file of its subject, listed in ``COMMANDS``.
"""
