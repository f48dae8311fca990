"""The desk: a study as a page one works in, served on this machine only, and stopped with its command.

The folder is the only state: the desk reads and writes the study file of the command line.  A change goes one
way: a form's fields (``entry_forms``), into the text with its comments (``editing``), read as any study is
(``workbench``), judged by more and more cars and asked what drives it (``firming``), drawn (``rows``,
``pages``, ``templates``).
``logs`` keeps what is dropped on it and has it fitted, ``gate`` keeps strangers out, ``server`` holds the
addresses together.  May import everything but the console, which alone imports it; its libraries are the
extra ``desk``.
"""
