"""How the car stands: masses, springs, the balance of forces, and going over backwards."""
