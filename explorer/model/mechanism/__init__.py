"""The moving wing: elements, hinge moments, linkage, servo, slots, strength.

``element`` and ``linkage`` are its geometry; the others hold it against torque, play, gaps and breaking.
Read through the graph; other model files may import from here.  What is one for every flap has a name that
begins with ``element_``; a new way to fail is a file of its own, listed in ``SUBJECTS``.
"""
