"""Push and resistance: power or motor, gears, grip of the driven tyres, top speed."""
