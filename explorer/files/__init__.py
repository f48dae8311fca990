"""Files as they come and go: read with a bound, written whole or not at all, refusals of the system in words.

For what every package does with the disk and with text of strangers.  Anybody may import it; it imports only
the errors.  A new way of writing goes into ``writing.py``, of reading into ``reading.py``, what a terminal
or a chart must not be given into ``characters.py``.
"""
