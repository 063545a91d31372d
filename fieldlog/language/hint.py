"""What a recogniser that knows text may take as said before: the trade's words, hardly a value.

Chosen on one half of 200 synthesised phrases with noise at 15 and 10 dB, heard again on the other
half (docs/recogniser.md): it is the largest single gain in noise. It makes words likely, it allows
nothing; numbers are left out because each would become likelier than its neighbours.
"""

HINT = (
    "Front tread depth is okay. Petcock leaking. Pinch bolts loose. Chain adjuster bent. "
    "Headlamp aim low. Throttle cable kinked. Fork seal perished. Rear sprocket teeth worn. "
    "Radiator hose chafed. Frame cracked. Millimeters, thirty-seconds, thou, psi, volts, "
    "newton meters."
)
