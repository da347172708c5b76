"""Heat in motors: from losses to winding temperatures.

`Network` is winding and case with air around; `convection` and `fins` give the case's resistance to air where it is not
given; `windings` brings the losses of throwing at a rate to temperatures.
"""
