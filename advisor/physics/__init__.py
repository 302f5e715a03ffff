"""What physics and geometry say of an arrow: pure functions of SI numbers.

Kilograms, metres, seconds, newtons and radians go in and come out. A parameter bears the name of
the quantity it takes, part first (`shaft_outside_diameter`, `vane_length`). No function here
judges: whether a number is too small is for a rule to say. Impossible numbers raise `ValueError`.
"""
