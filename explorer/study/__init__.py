"""The study file: its shape, its meaning, and the inputs as distributions.

``schema`` is the shape of ``study.toml`` (pydantic), ``study`` what it means, ``asked_for`` what it asks of
its cars; ``entries`` turns an input's entry into one of the ``distributions``, ``builds`` overrides inputs,
``template`` writes a study to start from.
May import: ``errors``, ``files``, ``graph``, ``model`` (for the quantities there are).
To add: a key in ``schema`` and its meaning in ``study``; a kind of distribution in ``distributions`` and
the keys that mean it in ``entries``.
"""
