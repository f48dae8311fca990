"""How the car stands: masses, springs, the balance of forces, and going over backwards.

``car`` and ``suspension`` give masses and springs, ``equilibrium`` solves the balance and ``pitch`` reads it;
``supports``, ``near_ground``, ``gap_spare``, ``gap_way``, ``gap_line`` and ``scan`` are its mathematics where
points touch the road or the splitter's gap acts.  Read through the graph; other model files may import from
here.  A new part that carries load goes into ``supports``, a new question about the attitude into ``pitch``.
"""
