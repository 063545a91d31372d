"""What a recogniser that knows text may take as said before: the trade's words, hardly a value.

It makes words likely; it allows nothing. It is no phrase of the grammar on purpose: on bad sound
Whisper repeats what it is told was said before, and a hint made of findings ("petcock leaking") came
back as findings. Numbers are left out because each would become likelier than its neighbours.
Figures in docs/recogniser.md.
"""

HINT = (
    "The mechanic reads out each part of the motorcycle and its condition: tire tread, brake pads, "
    "chain slack, sprocket, fork seal, headlamp, cable, hose, bolts, in millimeters, psi, volts or "
    "newton meters, okay, worn, loose, cracked, plugged, missing or leaking."
)
