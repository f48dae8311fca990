"""Air forces: rear wing in four variants, splitter and floor, and the car as a map."""
