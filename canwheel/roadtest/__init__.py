"""A simulated drive for the demo and the tests: a car, a route, sensors, faults, frames.

::

    drive = simulate(Scenario(effects=(NoSignal(Corner.RL),)), seed=1)     # simulation, faults
    drive.time_s, drive.reading_kph, drive.windows                         # readings, and the truth
    frames = record_frames(drive, BAKERY_VAN)                              # recording, layouts
    write_log(frames, path), path.write_text(dbc_text(BAKERY_VAN))         # recording, bus_layout
    case = random_case(rng)                                                # cases

Nothing but the command line's demo and the tests uses it.
"""
