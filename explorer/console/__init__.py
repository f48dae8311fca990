"""The command line: commands and what they print; nothing is computed here.

``cli`` and its sister files hold the commands, everything heavy imported inside them so that ``--help``
answers at once.
May import: everything, ``reports`` too.
Imported by: nothing.
To add: a command in the file of its subject.
"""
