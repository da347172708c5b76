"""Motors, their controllers and the supply they share.

A `Train` is all driven wheels of a launcher in a row. `hold` says what keeps them at their speeds, `Bus` what the
supply gives to all at any speeds, `spin_up` and `recover` how they get there.
"""
