"""The melt desk: judge a sample, plan a treatment, keep the clocks of a melt, learn a furnace's kinetics."""
