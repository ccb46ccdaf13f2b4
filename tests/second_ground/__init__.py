"""A second generator of invented ground: gullies whose heads work their way up a drained land.

It shares no code with the first one. There a bed is planned along a line and carved from a section;
here a land is worn down step by step, drops of base level travel up its drainage at a speed that
goes with the area above, split where waters meet, and leave a trench whose walls fall in with age.
Nothing of the program under test is used.
"""
