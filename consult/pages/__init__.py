"""What several views of the practice show alike: their rows, their order, their parts."""
