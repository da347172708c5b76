"""Motors, their controllers and the common supply.

motor.py      equations of one motor; all driven wheels of a launcher as a `Drivetrain`
supply.py     currents that hold the wheels at their speeds, speeds at given throttles, peak draw of the supply
spinup.py     spin-up time and its peak current and power
transient.py  speeds and energies of the wheels over time
"""
