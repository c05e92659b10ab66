"""What several views of cases show alike: their rows, their order, their parts."""
