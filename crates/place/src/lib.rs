//! Frames, the tank's shape, stations, fixtures and their geometry.
