"""The simulated board: heat flow, camera, supply; the worked example and random trials."""
