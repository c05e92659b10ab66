"""What several views of measurements show alike: their rows, their order, their parts."""
