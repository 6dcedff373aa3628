"""A simulated drive for the demo and the tests: a car, a route, sensors, faults, frames."""
